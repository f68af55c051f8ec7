"""Two pins by themselves: where each is, what its switch says, and what each fault does to them and to nothing else."""

from dataclasses import replace

import numpy as np
import pytest

from throwbook.core.simulator import (
    PIN_FAULTS,
    SensorModel,
    SimulatedFault,
    ThrowConditions,
    random_machine,
    throw,
)

SENSOR = SensorModel(rate_hz=200, before_s=0.5, after_s=0.5, has_switches=True, has_probe=True)
BOTH = ("left", "right")


def thrown(kind=None, direction="lock", side="right", severity=None, place=None, sensor=SENSOR, seed=21):
    rng = np.random.default_rng(seed)
    _, machine = random_machine(rng)
    faults = [SimulatedFault(kind, severity, place, side)] if kind else []
    return throw(machine, direction, ThrowConditions(temperature_c=5.0), sensor, faults, rng)


def switch(result, side):
    return getattr(result.trace, f"{side}_switch")


def changed_s(result, side):
    """When the record shows the change, from switch-on [s]."""
    rows = np.flatnonzero(np.diff(switch(result, side)))
    assert len(rows) == 1
    return float(result.trace.time_s[rows[0] + 1]) - result.truth.start_s


@pytest.mark.parametrize(("direction", "ends"), [("lock", True), ("unlock", False)])
@pytest.mark.parametrize("side", BOTH)
def test_without_a_fault_each_switch_changes_once_near_the_locked_end(side, direction, ends):
    result = thrown(direction=direction)
    truth = result.truth.switches[side]
    assert (switch(result, side)[0], switch(result, side)[-1]) == (not ends, ends)
    late = changed_s(result, side) - truth.at_s
    step_s = 0.0001  # of the reckoning
    assert late > SENSOR.debounce_s - step_s
    assert late < SENSOR.debounce_s + 1 / SENSOR.rate_hz + step_s
    near_the_end = truth.at_fraction if direction == "lock" else 1.0 - truth.at_fraction
    assert 0.85 < near_the_end < 0.99


def test_a_board_without_them_records_what_it_always_did():
    bare = replace(SENSOR, has_switches=False, has_probe=False)
    fitted, without = thrown(), thrown(sensor=bare)
    assert (without.trace.left_switch, without.trace.right_switch, without.trace.temperature_c) == (None,) * 3
    assert np.array_equal(fitted.trace.current_a, without.trace.current_a)
    assert np.array_equal(fitted.trace.voltage_v, without.trace.voltage_v)


@pytest.mark.parametrize("direction", ["lock", "unlock"])
@pytest.mark.parametrize("side", BOTH)
@pytest.mark.parametrize("kind", PIN_FAULTS)
def test_a_fault_of_one_side_leaves_the_other_as_it_was(kind, side, direction):
    other = BOTH[side == "left"]
    healthy, faulty = thrown(direction=direction), thrown(kind, direction, side)
    if kind in ("side-drag", "side-link-off"):  # the whole throw goes at another speed
        assert faulty.truth.switches[other].at_fraction == pytest.approx(
            healthy.truth.switches[other].at_fraction, abs=0.002
        )
    else:
        assert np.array_equal(switch(healthy, other), switch(faulty, other))
        assert np.array_equal(healthy.trace.current_a, faulty.trace.current_a)


@pytest.mark.parametrize("side", BOTH)
def test_a_pin_that_stays_behind_leaves_its_switch_as_it_was(side):
    assert not switch(thrown("pin-behind", "lock", side), side).any()
    assert switch(thrown("pin-behind", "unlock", side), side).all()


@pytest.mark.parametrize("direction", ["lock", "unlock"])
def test_a_late_pin_is_late_both_ways_and_a_moved_switch_late_one_way_and_early_the_other(direction):
    at = thrown(direction=direction).truth.switches["left"].at_fraction
    late = thrown("pin-late", direction, "left", 0.04).truth.switches["left"].at_fraction
    moved = thrown("switch-moved", direction, "left", 0.04).truth.switches["left"].at_fraction
    assert late - at == pytest.approx(0.04, abs=0.002)
    assert moved - at == pytest.approx(0.04 if direction == "lock" else -0.04, abs=0.002)


@pytest.mark.parametrize(
    ("kind", "reads"), [("switch-stuck-open", False), ("magnet-lost", False), ("switch-stuck-closed", True)]
)
def test_a_switch_that_is_stuck_reads_one_thing_both_ways(kind, reads):
    for direction in ("lock", "unlock"):
        assert (switch(thrown(kind, direction), "right") == reads).all()


def test_a_loose_contact_opens_only_where_the_switch_is_closed():
    result, healthy = thrown("switch-chatters"), thrown()
    chattering, calm = switch(result, "right"), switch(healthy, "right")
    assert np.count_nonzero(np.diff(chattering)) > 2
    assert not (chattering & ~calm).any()


def test_drag_on_one_side_makes_that_pin_a_little_later():
    healthy, heavy = thrown().truth, thrown("side-drag", severity=0.4).truth
    further = heavy.switches["right"].at_fraction - healthy.switches["right"].at_fraction
    assert 0.001 < further < 0.01
    assert heavy.run_current_a > 1.2 * healthy.run_current_a


def test_the_probe_reads_the_air_and_more_in_the_sun():
    assert thrown().trace.temperature_c.mean() == pytest.approx(5.0, abs=0.1)
    assert thrown("probe-in-sun", severity=12.0).trace.temperature_c.mean() == pytest.approx(17.0, abs=0.1)
