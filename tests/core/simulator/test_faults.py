"""Every row of the table of faults does what it says."""

import re

import numpy as np
import pytest

from tests.sign_names import ADD, EVERY
from throwbook.core.simulator import (
    FAULTS,
    PIN_FAULTS,
    SensorModel,
    SimulatedFault,
    ThrowConditions,
    random_machine,
    throw,
)

SENSOR = SensorModel(rate_hz=200, before_s=0.5, after_s=0.5)
ENDS = {
    "obstruction": "stall",
    "never-moved": "stall",
    "limit-welded": "stall",
    "stop-before-limit": "stall",
    "limit-open": "no-run",
    "stripped-nut": "still-running",
    "slipping-clutch": "still-running",
    "cut-record": "still-running",
}


def thrown(kind=None, severity=None, place=None, direction="lock", seed=21, **conditions):
    rng = np.random.default_rng(seed)
    _, machine = random_machine(rng)
    faults = [SimulatedFault(kind, severity, place)] if kind else []
    return throw(machine, direction, ThrowConditions(**conditions), SENSOR, faults, rng)


AT_ONCE = ("lock at high",)
"""A fault that breaks in the other direction or at another severity alone: only in test-all."""


@pytest.mark.parametrize(
    "way",
    [
        pytest.param(way, marks=() if way in AT_ONCE else pytest.mark.long)
        for way in (
            f"{direction} at {level}"
            for direction in ("lock", "unlock")
            for level in ("low", "usual", "high")
        )
    ],
)
@pytest.mark.parametrize("kind", FAULTS)
def test_every_fault_runs_both_ways_at_every_severity_and_ends_as_it_should(kind, way):
    direction, _, level = way.split()
    result = thrown(kind, getattr(FAULTS[kind], level), direction=direction)
    assert result.truth.end == ENDS.get(kind, "cut-off"), "how it ends: ENDS in this file"
    assert np.all(np.diff(result.trace.time_s) > 0)
    assert np.all(np.isfinite(result.trace.current_a))


def test_every_sign_named_is_one_that_there_is():
    for row in (FAULTS | PIN_FAULTS).values():
        assert {row.sign, *row.also} - {""} <= EVERY, ADD
        assert row.low <= row.usual <= row.high


def test_every_sign_but_the_one_of_a_whole_set_has_a_fault_that_gives_it():
    assert {row.sign for row in (FAULTS | PIN_FAULTS).values()} - {""} == EVERY - {"duty-exceeded"}, ADD


@pytest.mark.parametrize("kind", ["even-friction", "dry-screw", "side-load"])
def test_drag_raises_the_running_current_by_its_severity(kind):
    machine = random_machine(np.random.default_rng(21))[1]
    direction = "lock" if machine.extend_locks else "unlock"
    healthy, heavy = thrown(direction=direction).truth, thrown(kind, 0.3, direction=direction).truth
    assert heavy.run_current_a / healthy.run_current_a == pytest.approx(1.3, abs=0.07)


def test_over_rated_runs_above_the_rated_maximum_by_its_severity():
    truth = thrown("over-rated", 0.2)
    assert truth.truth.run_current_a / truth.waveform.plan.machine.rated_a == pytest.approx(1.2, abs=0.07)


@pytest.mark.parametrize("kind", ["hole-edge", "pins-clamp"])
def test_faults_at_the_holes_show_only_on_the_way_in(kind):
    same = thrown(kind, direction="unlock").trace.current_a
    assert np.array_equal(same, thrown(direction="unlock").trace.current_a)
    assert thrown(kind).truth.peak_run_current_a > 1.1 * thrown().truth.peak_run_current_a


def test_weight_on_the_pins_shows_only_at_the_start_of_the_unlock():
    assert thrown("weight-on-pins").truth.bump_fraction is None
    unlocked = thrown("weight-on-pins", direction="unlock").truth
    assert unlocked.bump_fraction < 0.25
    assert unlocked.signs == {"binding-spot"}


def test_cold_grease_and_ice_ease_from_throw_to_throw():
    for kind in ("cold-grease", "water-or-ice"):
        runs = [thrown(kind, throw_number=n).truth.run_current_a for n in (1, 3, 6)]
        assert runs[0] > runs[1] > runs[2]


def test_an_obstruction_stops_it_where_it_stands():
    truth = thrown("obstruction", place=0.35).truth
    assert truth.travel_fraction == pytest.approx(0.35, abs=0.02)
    assert truth.current_end_s > truth.end_s + 0.9
    assert thrown("never-moved").truth.travel_fraction == 0


def test_a_limit_that_slipped_cuts_off_early():
    truth = thrown("limit-early", 0.12).truth
    assert truth.travel_fraction == pytest.approx(0.88)


def test_free_play_is_taken_up_later_by_its_severity():
    assert thrown(
        "free-play", 0.06
    ).truth.take_up_fraction - thrown().truth.take_up_fraction == pytest.approx(0.06)
    assert thrown("linkage-off").truth.take_up_fraction is None


def test_a_stripped_nut_turns_the_motor_but_not_the_rod():
    result = thrown("stripped-nut")
    assert result.truth.travel_fraction < 0.05
    assert result.waveform.motion.speed_rad_s[-1] > 0
    assert result.truth.run_current_a < 0.5 * thrown().truth.run_current_a


def test_a_weak_battery_is_low_at_rest_and_a_long_cable_is_not():
    healthy, weak, cable = (thrown(k).trace.voltage_v for k in (None, "weak-battery", "long-cable"))
    assert weak[:50].mean() < 0.9 * healthy[:50].mean()
    assert cable[:50].mean() == pytest.approx(healthy[:50].mean(), rel=0.001)
    assert thrown("long-cable").truth.source_resistance_ohm > 2 * thrown().truth.source_resistance_ohm


def test_loss_downstream_is_slow_at_full_voltage():
    healthy, slow = thrown().truth, thrown("loss-downstream", 0.3).truth
    assert slow.travel_time_s > 1.25 * healthy.travel_time_s
    assert slow.mean_voltage_v > 0.99 * healthy.mean_voltage_v


def test_faults_of_the_record_leave_the_truth_alone():
    healthy = thrown().truth
    for kind in ("sensor-offset", "sensor-gain", "clipped", "gaps", "noisy"):
        truth = thrown(kind).truth
        assert truth.run_current_a == pytest.approx(healthy.run_current_a)
        assert truth.travel_time_s == pytest.approx(healthy.travel_time_s, rel=1e-3)


def test_gaps_lack_the_share_they_say():
    whole, holed = thrown(), thrown("gaps", 0.3)
    lacking = 1 - len(holed.trace) / len(whole.trace)
    assert lacking == pytest.approx(0.3 * whole.truth.travel_time_s / whole.trace.time_s[-1], rel=0.1)


def test_a_clock_that_jumps_leaves_every_row_but_one_long_step():
    whole, jumped = thrown(), thrown("clock-jump", 0.3, 0.5)
    assert np.array_equal(whole.trace.current_a, jumped.trace.current_a)
    steps = np.diff(jumped.trace.time_s)
    assert steps.max() == pytest.approx(0.3 * whole.truth.travel_time_s + 1 / 200, abs=0.006)
    assert np.sum(steps > 0.1) == 1


def test_clipped_never_passes_full_scale():
    result = thrown("clipped", 0.8)
    limit = 0.8 * result.waveform.plan.machine.healthy_run_current_a("lock")
    assert np.max(np.abs(result.trace.current_a)) <= limit + SENSOR.resolution_a
    assert np.mean(np.abs(result.trace.current_a) >= limit - SENSOR.resolution_a) > 0.3


def test_kinds_are_trade_words_in_one_spelling():
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", kind) for kind in FAULTS)


def test_a_late_record_begins_while_the_motor_runs():
    truth = thrown("late-record", place=0.3)
    assert truth.truth.start_s < 0
    assert np.median(truth.trace.current_a[:10]) > 0.5 * truth.truth.run_current_a


def test_a_loose_contact_opens_for_its_severity_and_the_throw_goes_on_with_a_surge():
    result = thrown("loose-contact", 0.2, place=0.4)
    motion = result.waveform.motion
    off = (motion.time_s > motion.parted_s + 0.005) & (motion.time_s < motion.parted_s + 0.195)
    assert np.max(motion.current_a[off]) < 0.05
    after = (motion.time_s > motion.parted_s + 0.2) & (motion.time_s < motion.parted_s + 0.4)
    assert np.max(motion.current_a[after]) > 1.5 * result.truth.run_current_a
    assert result.truth.travel_fraction == pytest.approx(1.0, abs=0.02)
    assert result.truth.run_current_a == pytest.approx(thrown().truth.run_current_a, rel=0.02)
