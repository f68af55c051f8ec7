"""A jog, a start before a light run, and a drive that holds its place: which of their currents is a movement."""

from dataclasses import replace

import numpy as np
import pytest

from tests.core.drawn_strokes import RIG
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.analysis.current_runs import (
    MANY_PAUSES,
    _follows_a_kick,
    _is_echo,
    _is_kick,
    _without_kicks,
)
from throwbook.core.analysis.residual_current import (
    CurrentRun,
    FullStroke,
    RunRecord,
    _drove,
    _is_left,
    without_what_flowed_before,
)
from throwbook.core.analysis.rest import Rest
from throwbook.core.diagnosis.assess import assess_record
from throwbook.core.rig import Board
from throwbook.core.trace import Trace

RATE_HZ = 100.0
NOISE_A = 0.01
NO_LOAD_A = RIG.actuator.no_load_current_a
SIGNED = replace(RIG, board=Board(placed_in="motor"))


def rows(seconds: float, rate_hz: float = RATE_HZ) -> int:
    return round(seconds * rate_hz)


def start(lasts_s: float, level_a: float, rate_hz: float = RATE_HZ, peak_a: float = 9.0) -> np.ndarray:
    """The inrush of a switch, dying away to a level."""
    since_s = np.arange(rows(lasts_s, rate_hz)) / rate_hz
    return level_a + (peak_a - level_a) * np.exp(-since_s / 0.06)


def flat(lasts_s: float, level_a: float, rate_hz: float = RATE_HZ) -> np.ndarray:
    return np.full(rows(lasts_s, rate_hz), level_a)


def drawn(
    *parts: np.ndarray, rate_hz: float = RATE_HZ, noise_a: float = NOISE_A, top_a: float = np.inf
) -> Trace:
    current_a = np.concatenate(parts)
    current_a = current_a + np.random.default_rng(5).normal(0.0, noise_a, len(current_a))
    time_s = np.arange(len(current_a)) / rate_hz
    return Trace(
        time_s=time_s,
        current_a=np.minimum(current_a, top_a),
        voltage_v=None,
        direction="lock",
        source="drawn",
    )


def judged(*parts: np.ndarray, **how: float):
    return assess_record(drawn(*parts, **how), SIGNED)


@pytest.mark.parametrize("rate_hz", [25.0, 50.0, 400.0])
@pytest.mark.parametrize("lasts_s", [0.16, 0.24])
def test_a_jog_cut_off_while_its_start_dies_away_ends_where_it_was_cut_off(rate_hz, lasts_s):
    (jog,) = judged(
        flat(1.0, 0.0, rate_hz), start(lasts_s, 0.8, rate_hz), flat(1.0, 0.0, rate_hz), rate_hz=rate_hz
    )
    lasted = jog.figures.travel_time_s
    assert abs(lasted.value - lasts_s) <= lasted.u


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 200.0])
def test_a_jog_that_its_drive_then_holds_isnt_a_long_light_run(rate_hz):
    hold_a = 0.5 * NO_LOAD_A
    found = judged(
        flat(1.0, 0.0, rate_hz),
        start(0.24, 1.2, rate_hz),
        flat(0.6, hold_a, rate_hz),
        rate_hz=rate_hz,
    )
    assert len(found) == 1
    lasted = found[0].figures.travel_time_s
    assert abs(lasted.value - 0.24) <= lasted.u <= 0.1


@pytest.mark.parametrize(
    ("rate_hz", "lasts_s", "decay_s"),
    [(100.0, 0.48, 0.1), (100.0, 0.6, 0.1), (200.0, 0.42, 0.09), (200.0, 0.48, 0.09), (200.0, 0.48, 0.1)],
)
def test_a_short_throw_of_which_half_is_its_start_ends_with_its_run(rate_hz, lasts_s, decay_s):
    """How evenly its current falls at first says nothing of how rough its run is: a calm run is no holding current."""
    quick = replace(SIGNED, actuator=replace(RIG.actuator, no_load_speed_m_s=0.1, full_load_speed_m_s=0.07))
    since_s = np.arange(rows(lasts_s, rate_hz)) / rate_hz
    short = 1.2 * NO_LOAD_A + 7.9 * np.exp(-since_s / decay_s)
    rest = flat(1.0, 0.0, rate_hz)
    (found,) = assess_record(drawn(rest, short, rest, rate_hz=rate_hz, noise_a=0.006), quick)
    lasted = found.figures.travel_time_s
    assert abs(lasted.value - lasts_s) <= lasted.u
    peak = found.figures.peak_run_current_a
    assert peak is None or abs(peak.value - 1.2 * NO_LOAD_A) <= peak.u


@pytest.mark.parametrize(
    ("rate_hz", "decay_s", "hold"), [(100.0, 0.09, 0.8), (400.0, 0.03, 0.88), (100.0, 0.06, 0.9)]
)
def test_a_start_that_dies_away_into_a_run_near_what_flowed_before_is_one_movement(rate_hz, decay_s, hold):
    hold_a, light_a = hold * NO_LOAD_A, 1.12 * NO_LOAD_A
    since_s = np.arange(rows(10.8, rate_hz)) / rate_hz
    moved = (
        light_a
        + (9.0 - light_a) * np.exp(-since_s / decay_s)
        + 0.8 * np.clip((since_s - 0.5) / 0.3, 0.0, 1.0)
    )
    found = judged(
        flat(1.5, hold_a, rate_hz), moved, flat(1.0, hold_a, rate_hz), rate_hz=rate_hz, noise_a=0.05
    )
    assert len(found) == 1
    assert found[0].figures.travel_time_s.value == pytest.approx(10.8, abs=2.0 / rate_hz)


@pytest.mark.parametrize("rate_hz", [50.0, 200.0, 1000.0])
@pytest.mark.parametrize("to_a", [0.9, 1.25, 1.6])
def test_a_short_jog_under_a_holding_current_is_a_movement(to_a, rate_hz):
    """A drive's ramp that somebody let go of, lower than the runs before and after it: nothing that stands still draws it."""
    hold_a = 0.45 * NO_LOAD_A
    throw = np.concatenate((np.linspace(0.2, 1.9, rows(0.5, rate_hz)), flat(12.0, 1.9, rate_hz)))
    jog = np.linspace(hold_a, to_a * NO_LOAD_A, rows(0.23, rate_hz))
    rests = flat(1.3, hold_a, rate_hz), flat(0.7, hold_a, rate_hz), flat(1.0, hold_a, rate_hz)
    parts = (flat(1.5, 0.0, rate_hz), throw, rests[0], jog, rests[1], throw, rests[2])
    found = judged(*parts, rate_hz=rate_hz, noise_a=0.02)
    assert len(found) == 3
    assert [sign.sign for sign in found[1].signs if sign.level != "info"] == ["stopped-short"]
    ends = found[1].figures.end_s
    assert ends.value == pytest.approx(15.53, abs=ends.u + 0.01)


@pytest.mark.parametrize("rate_hz", [50.0, 200.0, 1000.0])
@pytest.mark.parametrize(("begins_s", "lasts_s"), [(0.05, 0.3), (0.2, 0.5), (1.0, 0.06)])
def test_what_settles_or_sparks_on_a_holding_current_is_no_movement(begins_s, lasts_s, rate_hz):
    hold_a = 0.45 * NO_LOAD_A
    throw = np.concatenate((np.linspace(0.2, 1.9, rows(0.5, rate_hz)), flat(12.0, 1.9, rate_hz)))
    bump = hold_a + 0.5 * NO_LOAD_A * np.sin(np.linspace(0.0, np.pi, rows(lasts_s, rate_hz)))
    rests = flat(begins_s, hold_a, rate_hz), flat(2.0, hold_a, rate_hz)
    found = judged(flat(1.5, 0.0, rate_hz), throw, rests[0], bump, rests[1], rate_hz=rate_hz, noise_a=0.02)
    assert len(found) == 1
    assert found[0].figures.end_s.value == pytest.approx(14.0, abs=found[0].figures.end_s.u + 0.01)


def test_held_either_way_the_rest_is_found_between_throws_that_went_either_way():
    hold_a = 0.9 * NO_LOAD_A
    there = np.concatenate((start(0.5, 1.9), flat(10.0, 1.9), flat(3.0, hold_a)))
    found = judged(flat(1.0, hold_a), there, -there)
    assert [each.end for each in found] == ["cut-off", "cut-off"]
    assert not any(sign.sign == "cut-record" for each in found for sign in each.signs)


def test_a_holding_current_near_the_threshold_makes_no_movements_of_its_noise():
    hold_a = 0.29 * NO_LOAD_A
    there = np.concatenate((start(0.5, 1.9), flat(10.0, 1.9), flat(3.0, hold_a)))
    assert len(judged(flat(2.0, -hold_a), there, -there, noise_a=0.03)) == 2


def test_a_current_cut_off_flat_hides_the_surge_of_the_next_movement():
    high_a = 1.4 * NO_LOAD_A
    found = judged(
        flat(1.0, 0.0),
        flat(1.2, high_a),
        flat(4.0, 0.5 * NO_LOAD_A),
        flat(2.0, high_a),
        flat(1.0, 0.0),
        top_a=1.2 * NO_LOAD_A,
    )
    assert len(found) == 2


def test_what_the_current_at_rest_would_explain_is_told_and_undecided():
    hold_a = 0.9 * NO_LOAD_A
    throw = np.concatenate((start(0.5, 1.7), flat(10.0, 1.7)))
    usual = make_baseline([judged(flat(1.0, 0.0), throw, flat(1.0, 0.0))[0]], "drawn")
    (found,) = assess_record(drawn(flat(1.5, hold_a), throw, flat(1.5, hold_a)), SIGNED, {"lock": usual})
    assert [sign.level for sign in found.signs if sign.sign == "light-run"] == ["watch"]
    assert found.verdict == "undecided"
    assert "flowed at rest would explain it" in found.because
    light = np.concatenate((start(0.5, NO_LOAD_A), flat(10.0, NO_LOAD_A)))
    (found,) = assess_record(drawn(flat(1.5, 0.0), light, flat(1.5, 0.0)), SIGNED, {"lock": usual})
    assert found.verdict == "fail"


def test_a_held_current_that_gives_way_as_the_motor_starts_is_its_start():
    hold_a = 0.9 * NO_LOAD_A
    gives_way = flat(0.05, 0.65 * NO_LOAD_A)
    climbs = hold_a + (2.0 - hold_a) * np.clip(np.arange(rows(10.0)) / rows(0.5), 0.0, 1.0)
    (found,) = judged(flat(1.5, hold_a), gives_way, climbs, flat(1.5, hold_a))
    assert abs(found.figures.travel_time_s.value - 10.05) <= 0.1


def test_a_rest_is_known_though_a_drive_starts_softly_and_no_row_is_rougher():
    standing_a = 0.75 * NO_LOAD_A
    soft = standing_a + 1.6 * np.clip(np.arange(rows(10.0)) / rows(0.4), 0.0, 1.0)
    (found,) = judged(flat(1.5, standing_a), soft, flat(1.5, standing_a))
    assert found.end == "cut-off"
    assert not any(sign.sign == "cut-record" for sign in found.signs)


def test_what_flows_while_the_motor_has_no_voltage_is_no_movement():
    throw = np.concatenate((start(0.5, 1.9), flat(10.0, 1.9)))
    trace = drawn(
        flat(1.5, -0.7 * NO_LOAD_A), -throw, flat(1.5, -0.7 * NO_LOAD_A), throw, flat(1.0, 1.17 * NO_LOAD_A)
    )
    volts = np.where(np.abs(trace.current_a) > 1.3 * NO_LOAD_A, 12.0, 0.0)
    assert len(assess_record(replace(trace, voltage_v=volts), SIGNED)) == 2


def test_what_holds_after_a_jog_is_found_though_the_next_throw_starts_as_lightly():
    hold_a, light_a = 0.35 * NO_LOAD_A, 1.15 * NO_LOAD_A
    throw = np.concatenate((start(0.5, light_a), flat(0.8, light_a), flat(9.0, 2.3)))
    found = judged(
        flat(1.0, 0.0), start(0.29, light_a), flat(0.31, hold_a), throw, flat(1.5, hold_a), rate_hz=RATE_HZ
    )
    assert len(found) == 2


def test_a_jog_of_a_drive_lasts_to_its_end_though_its_run_is_calm_and_low():
    ramp = np.linspace(4.0, 9.0, rows(0.14))
    (jog,) = judged(flat(1.0, 0.0), ramp, flat(0.1, 1.2 * NO_LOAD_A), flat(1.0, 0.0))
    assert abs(jog.figures.travel_time_s.value - 0.24) <= jog.figures.travel_time_s.u


def test_in_the_noise_of_a_held_rest_start_and_end_are_still_known_to_a_row_or_two():
    hold_a = 0.6 * NO_LOAD_A
    (found,) = judged(flat(1.5, hold_a), start(0.5, 3.0), flat(9.5, 3.0), flat(1.5, hold_a), noise_a=0.09)
    assert found.figures.start_s.value == pytest.approx(1.5, abs=2.0 / RATE_HZ)
    assert found.figures.end_s.value == pytest.approx(11.5, abs=2.0 / RATE_HZ)


def test_a_soft_start_out_of_what_holds_begins_where_it_leaves_it():
    hold_a = 0.5 * NO_LOAD_A
    ramp = np.linspace(hold_a, 2.7 * NO_LOAD_A, rows(1.2))
    soft = np.concatenate((ramp, flat(0.3, 1.1 * NO_LOAD_A), flat(11.5, 2.3 * NO_LOAD_A)))
    found = judged(flat(1.0, 0.0), soft, flat(2.0, hold_a), soft, flat(1.0, hold_a))
    assert found[-1].figures.start_s.value == pytest.approx(16.0, abs=0.1)


@pytest.mark.parametrize("rows_left", range(4))
def test_a_record_that_ends_in_the_fall_of_a_start_is_read(rows_left):
    trace = drawn(flat(1.0, 0.0), start(0.06, 0.8)[: 3 + rows_left], np.linspace(3.0, 0.5, rows_left))
    assert len(assess_record(trace, SIGNED)) == 1


def test_a_stall_in_the_noise_of_a_held_rest_is_a_stall():
    """Its last rows are part on and part off."""
    standing_a = 0.66 * NO_LOAD_A
    stood = np.concatenate((start(0.5, 2.0), flat(1.5, 2.0), flat(2.0, 10.0), np.array([7.0, 5.0, 4.0, 3.0])))
    (found,) = judged(flat(1.5, standing_a), standing_a - stood, flat(1.5, standing_a), noise_a=0.04)
    assert found.end == "stall"


STROKE = FullStroke(130.0, 0.05, 1.0, 12.0, NO_LOAD_A, 3.6)


def by_hand(*parts: np.ndarray, time_s: np.ndarray | None = None) -> RunRecord:
    """A record at 100 Hz without noise."""
    current_a = np.concatenate(parts)
    time_s = np.arange(len(current_a)) / RATE_HZ if time_s is None else time_s
    return RunRecord(time_s, current_a, current_a, None, 1.0 / RATE_HZ, Rest(0.0, 0.0, True), STROKE)


@pytest.mark.parametrize(("calm_rows", "is_level"), [(10, False), (60, True)])
def test_a_few_rows_between_two_waves_of_a_ripple_are_no_calm_level(calm_rows, is_level):
    """The load comes on by a step behind them, as where a drive that held its place starts."""
    light = 4.0 + np.tile([0.0, 0.5, 0.4, -0.5, -0.4], 6)
    parts = light, np.full(calm_rows, 4.0), np.full(60, 6.0)
    record = by_hand(*parts, time_s=np.arange(90 + calm_rows) / 50.0)
    assert _is_left(record, 30, 30 + calm_rows, 6.0, 0.5, inner=True) == is_level


def test_a_jog_that_was_cut_off_drove_whatever_flows_on_behind_it():
    cut_off = by_hand(np.zeros(100), np.full(12, 3.0), np.full(10, 0.3), np.zeros(50))
    assert _drove(cut_off, CurrentRun(100, 121, 1))
    dies_away = by_hand(np.zeros(100), 0.3 + 2.7 * 0.8 ** np.arange(22), np.zeros(50))
    assert not _drove(dies_away, CurrentRun(100, 121, 1))


def test_nobody_switches_over_within_a_tenth_of_a_second():
    """What comes right after a tenth of a second still begins where it leaves what flowed on."""
    for gap_s, first in ((0.1, 4), (0.11, 3)):
        time_s = np.concatenate(([0.0, 0.01, 0.02], 0.02 + gap_s + np.arange(20) / RATE_HZ)) - 0.02
        record = by_hand([3.0, 0.3, 0.3], np.full(1, 0.3), np.full(19, 3.0), time_s=time_s)
        before = CurrentRun(0, 0, 1, over=2, residual_a=0.3)
        assert without_what_flowed_before(record, before, CurrentRun(3, 22, 1)).first == first


def test_what_follows_a_braking_is_a_residual_current_only_where_it_is_low_and_flat():
    """A second of 2 A, braked for 0.1 s, then 0.3 A for half a second; the same with a jump to 1.5 A is none."""
    for jumps, residual_a in ((False, 0.3), (True, 0.0)):
        current_a = np.concatenate((np.full(100, 2.0), np.full(10, -1.0), np.full(20, 0.3), np.zeros(50)))
        current_a[115:118] = 1.5 if jumps else 0.3
        runs = [
            CurrentRun(0, 99, 1, over=99),
            CurrentRun(100, 109, -1, over=109),
            CurrentRun(110, 129, 1, over=129),
        ]
        time_s = np.arange(len(current_a)) / RATE_HZ
        (kept,) = _without_kicks(runs, time_s, current_a, Rest(0.0, 0.0, True), STROKE, 1.0 / RATE_HZ)
        assert (kept.last, kept.over, kept.residual_a) == (99, 129, residual_a)


def test_only_a_current_in_the_movements_own_direction_belongs_to_its_braking():
    current_a = np.concatenate((np.full(100, 2.0), np.full(10, -1.0), np.full(20, 0.3)))
    before, time_s = CurrentRun(0, 99, 1, over=109), np.arange(130) / RATE_HZ
    assert _follows_a_kick(before, CurrentRun(110, 129, 1), time_s, current_a, 1.0 / RATE_HZ)
    assert not _follows_a_kick(before, CurrentRun(110, 129, -1), time_s, -current_a, 1.0 / RATE_HZ)
    assert not _follows_a_kick(
        replace(before, residual_a=0.3), CurrentRun(110, 129, 1), time_s, current_a, 1.0 / RATE_HZ
    )


def test_brushes_that_have_jumped_more_than_a_few_times_jump_all_the_way():
    record = by_hand(np.full(200, 2.0), np.zeros(5), np.full(10, 1.9), np.zeros(50))
    bounce = CurrentRun(205, 214, 1)
    assert _is_echo(record, CurrentRun(0, 199, 1, pauses=MANY_PAUSES, over=199), 0, bounce)
    assert not _is_echo(record, CurrentRun(0, 199, 1, pauses=MANY_PAUSES + 1, over=199), 0, bounce)


@pytest.mark.parametrize(("begins", "way", "braked"), [(110, -1, True), (110, 1, False), (160, -1, False)])
def test_a_short_current_the_other_way_right_after_a_movement_brakes_it(begins, way, braked):
    """At 100 Hz, a tenth of a second after its end or more than half a second."""
    time_s = np.arange(200) / RATE_HZ
    assert _is_kick(CurrentRun(0, 99, 1, over=99), CurrentRun(begins, begins + 9, way), time_s) == braked
