"""What counts as rest, and where a movement ends, on boards and machines that never read nothing.

Drawn by hand; the currents and times are invented.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.core.drawn_strokes import ACTUATOR, RIG, Drawn
from throwbook.core.analysis.rest import (
    NO_REST,
    Rest,
    _Blocks,
    _calmest,
    _few_rows,
    _level_undriven,
    _looks_like_rest,
    find_rest,
    smoothing_width,
    zero_of,
)
from throwbook.core.diagnosis.assess import assess_record, assess_trace
from throwbook.core.rig import Rig
from throwbook.core.trace import Trace

NO_LOAD_A = ACTUATOR.no_load_current_a
RATES_HZ = [12.0, 50.0, 200.0, 1000.0]
NOISES_A = [0.003, 0.03]


def loud(assessment):
    return {sign.sign for sign in assessment.signs if sign.level != "info"}


def outside(trace: Trace, drawn: Drawn, before_a: float, after_a: float) -> Trace:
    """The record with so much current flowing before and after its movement."""
    since = trace.time_s
    extra = np.where(since < drawn.start_s, before_a, 0.0) + np.where(since >= drawn.end_s, after_a, 0.0)
    return replace(trace, current_a=trace.current_a + extra)


def on_one_rig(**changes) -> Rig:
    return replace(RIG, actuator=replace(ACTUATOR, **changes))


def a_throw_was_judged(found, drawn: Drawn, rate_hz: float) -> None:
    assert len(found) == 1
    assert (found[0].end, loud(found[0])) == ("cut-off", set())
    assert abs(found[0].figures.start_s.value - drawn.start_s) <= 1.01 / rate_hz
    assert abs(found[0].figures.end_s.value - drawn.end_s) <= 1.01 / rate_hz


@pytest.mark.parametrize("noise_a", NOISES_A)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(
    ("before_a", "after_a"), [(0.6, 0.6), (0.9, 0.9), (0.0, 0.45), (0.45, 0.0), (0.5, 0.8)]
)
def test_a_drive_that_holds_its_place_is_at_rest(before_a, after_a, rate_hz, noise_a):
    """A holding current is rest, at whatever level: a step up into the run and a step down out of it."""
    drawn = Drawn(rate_hz=rate_hz, noise_a=noise_a, rest_s=3.0, after_s=3.0, ripple=0.05, level_a=2.4)
    a_throw_was_judged(assess_record(outside(drawn.trace(), drawn, before_a, after_a), RIG), drawn, rate_hz)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("offset_a", [0.7, -0.7, 1.2])
@pytest.mark.parametrize("rest_s", [1.0, 20.0])
def test_a_large_offset_beside_a_long_rest_is_rest(rest_s, offset_a, rate_hz):
    """The movement is the smaller part of the record, and rest is nowhere near nothing."""
    drawn = Drawn(rate_hz=rate_hz, offset_a=offset_a, rest_s=rest_s, after_s=rest_s)
    a_throw_was_judged(assess_record(drawn.trace(), RIG), drawn, rate_hz)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("typed", [1.3, 1.6, 1.95, 2.2])
def test_a_no_load_current_typed_too_high_is_no_missing_start(typed, rate_hz):
    """The run lies at less than half of what was typed: neither noise nor an open circuit."""
    rig = on_one_rig(no_load_current_a=NO_LOAD_A * typed, full_load_current_a=4.0)
    drawn = Drawn(rate_hz=rate_hz, level_a=0.98, peak_a=6.0, after_s=2.0)
    found = assess_record(drawn.trace(), rig)
    assert len(found) == 1
    assert "no-start" not in {sign.sign for sign in found[0].signs}
    if found[0].usable:
        assert found[0].figures.end_s.value == pytest.approx(drawn.end_s, abs=2.0 / rate_hz)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("typed", [3.0, 4.5, 8.0])
def test_a_rating_of_another_actuator_is_told_and_no_fault_is_named(typed, rate_hz):
    rig = on_one_rig(no_load_current_a=1.5 * typed, full_load_current_a=6.0 * typed)
    for found in assess_record(Drawn(rate_hz=rate_hz, level_a=1.5, peak_a=3.0).trace(), rig):
        assert found.verdict == "unusable"
        assert "do not belong together" in found.unusable_because
        assert not {"no-start", "stall", "stopped-short"} & {sign.sign for sign in found.signs}


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("pause_s", [1.5, 2.0, 8.0])
@pytest.mark.parametrize("runs_s", [2.0, 6.0])
def test_a_pause_between_two_runs_is_no_throw(runs_s, pause_s, rate_hz):
    """The record starts and ends in a run: both are cut records, and nothing went the other way."""
    whole = Drawn(rate_hz=rate_hz, rest_s=0.5 * pause_s, after_s=0.5 * pause_s).trace()
    rows = int(runs_s * rate_hz)
    start, end = int(0.5 * pause_s * rate_hz), int((0.5 * pause_s + 13.2) * rate_hz)
    parts = [slice(end - rows, len(whole)), slice(0, start + rows)]
    record = Trace(
        np.arange(sum(part.stop - part.start for part in parts)) / rate_hz,
        np.concatenate([whole.current_a[part] for part in parts]),
        np.concatenate([whole.voltage_v[part] for part in parts]),
        "lock",
    )
    found = assess_record(record, RIG)
    assert [each.end for each in found] == ["cut-off", "still-running"]
    for each in found:
        assert "cut-record" in loud(each)
        assert each.figures.travel_time_s is None
    assert assess_trace(record, RIG).verdict != "pass"


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(
    ("level_a", "verdict"), [(0.6, "unusable"), (1.0, "unusable"), (2.5, "unusable"), (9.2, "fail")]
)
def test_one_level_through_the_whole_record_is_a_stall_or_unusable(level_a, verdict, rate_hz):
    rows = max(12, int(8.0 * rate_hz))
    noise = np.random.default_rng(4).normal(0.0, 0.01, rows)
    record = Trace(np.arange(rows) / rate_hz, level_a + noise, np.full(rows, 12.0), "lock")
    found = assess_trace(record, RIG)
    assert found.verdict == verdict
    assert {sign.sign for sign in found.signs if sign.level == "fail"} == (
        {"stall"} if verdict == "fail" else set()
    )


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("noise_a", [0.0, 0.003, 0.1])
def test_one_quiet_level_is_a_no_start(noise_a, rate_hz):
    rows = max(20, int(8.0 * rate_hz))
    noise = np.random.default_rng(4).normal(0.0, noise_a, rows)
    found = assess_trace(Trace(np.arange(rows) / rate_hz, 0.05 + noise, None, "lock"), RIG)
    assert {sign.sign for sign in found.signs if sign.level == "fail"} == {"no-start"}


@pytest.mark.parametrize("noise_a", NOISES_A)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(("residual_a", "for_s"), [(0.49, 0.8), (0.49, 5.0), (0.3, 0.8), (0.4, 2.0)])
def test_a_current_that_flows_on_after_the_cut_off_is_no_run(residual_a, for_s, rate_hz, noise_a):
    drawn = Drawn(rate_hz=rate_hz, noise_a=noise_a, after_s=6.0)
    trace = drawn.trace()
    on = (trace.time_s >= drawn.end_s) & (trace.time_s < drawn.end_s + for_s)
    found = assess_record(replace(trace, current_a=trace.current_a + np.where(on, residual_a, 0.0)), RIG)
    a_throw_was_judged(found, drawn, rate_hz)
    assert any("flowed on" in note for note in found[0].notes)


@pytest.mark.parametrize("rate_hz", [100.0, 200.0, 1000.0])
@pytest.mark.parametrize("for_s", [0.11, 0.14])
def test_a_short_current_after_the_cut_off_does_not_lengthen_the_throw(for_s, rate_hz):
    drawn = Drawn(rate_hz=rate_hz, after_s=2.0)
    trace = drawn.trace()
    on = (trace.time_s >= drawn.end_s) & (trace.time_s < drawn.end_s + for_s)
    found = assess_record(replace(trace, current_a=trace.current_a + np.where(on, 0.49, 0.0)), RIG)
    a_throw_was_judged(found, drawn, rate_hz)


@pytest.mark.parametrize("noise_a", NOISES_A)
@pytest.mark.parametrize("rate_hz", [50.0, 200.0, 1000.0])
@pytest.mark.parametrize(("begins_s", "lasts_s"), [(0.1, 0.15), (0.2, 0.3), (0.15, 0.5), (0.24, 0.4)])
@pytest.mark.parametrize("height", [0.5, 0.8])
def test_a_settling_bump_after_the_stop_is_no_part_of_the_travel_time(
    height, begins_s, lasts_s, rate_hz, noise_a
):
    """It stays below the run and begins without a surge."""
    drawn = Drawn(rate_hz=rate_hz, noise_a=noise_a, after_s=2.0)
    trace = drawn.trace()
    since = trace.time_s - drawn.end_s - begins_s
    bump = np.where(
        (since >= 0) & (since < lasts_s), height * drawn.level_a * np.sin(np.pi * since / lasts_s), 0.0
    )
    found = assess_record(replace(trace, current_a=trace.current_a + bump), RIG)
    a_throw_was_judged(found, drawn, rate_hz)


@pytest.mark.parametrize("rate_hz", [25.0, 100.0, 400.0])
@pytest.mark.parametrize("settles_a", [0.0, 0.8])
def test_a_drive_that_slows_its_motor_down_ends_where_its_current_fell(settles_a, rate_hz):
    """It falls at once below what any motor turns with, and on from there; what settles on top of that is lower than the run."""
    drawn = Drawn(rate_hz=rate_hz, after_s=2.0)
    trace = drawn.trace()
    since = trace.time_s - drawn.end_s
    slows = np.where((since >= 0.0) & (since < 0.5), 0.52 - 0.9 * since, 0.0)
    settles = np.where((since >= 0.1) & (since < 0.3), settles_a * np.sin(np.pi * (since - 0.1) / 0.2), 0.0)
    found = assess_record(replace(trace, current_a=trace.current_a + slows + settles), RIG)
    a_throw_was_judged(found, drawn, rate_hz)


def test_few_rows_beside_a_movement_tell_no_noise():
    """One of seven rows still settles: what the record's rest scatters by is known, and stays."""
    current_a = np.concatenate(([0.3, 0.0, 0.28, -0.02, 0.0], np.full(50, 2.0), np.zeros(6)))
    zero = zero_of(current_a, 5, 54, Rest(0.0, 0.03, True), 0.95, 0.001)
    assert zero.noise_a == 0.03
    assert zero.u_a > 0.05  # where the zero lies is known no better for that


def test_a_zero_beside_which_something_flowed_for_a_while_is_known_no_better_than_that():
    """0.07 A flow on behind each end: longer than the rest behind it, but not up to the movement."""
    quiet = np.random.default_rng(3).normal(-0.07, 0.01, 400)
    current_a = np.concatenate((quiet[:20] + 0.07, quiet[20:90], np.full(220, 0.65), quiet[310:] + 0.07))
    zero = zero_of(current_a, 90, 309, NO_REST, 0.57, 0.001)
    assert abs(zero.level_a + 0.07) <= 2.0 * zero.u_a


@pytest.mark.parametrize("noise_a", NOISES_A)
@pytest.mark.parametrize("rate_hz", [50.0, 200.0, 1000.0])
@pytest.mark.parametrize("bounces_s", [0.05, 0.1, 0.2])
def test_a_limit_contact_that_bounces_ends_the_throw_at_its_first_opening(bounces_s, rate_hz, noise_a):
    drawn = Drawn(rate_hz=rate_hz, noise_a=noise_a, after_s=2.0)
    trace = drawn.trace()
    since = trace.time_s - drawn.end_s
    period_s = bounces_s / 2.5  # open, closed, open, closed, open
    closed = (since >= 0) & (since < bounces_s) & ((since // (0.5 * period_s)) % 2 == 1)
    found = assess_record(replace(trace, current_a=trace.current_a + np.where(closed, 2.4, 0.0)), RIG)
    a_throw_was_judged(found, drawn, rate_hz)
    if rate_hz * bounces_s >= 20.0:
        assert any("bounced" in note for note in found[0].notes)


@pytest.mark.parametrize("rate_hz", [50.0, 200.0, 1000.0])
def test_a_run_hardly_above_the_current_that_holds_is_no_break(rate_hz):
    """The motor's own current takes the place of what held it: so near to that level it still turns."""
    drawn = Drawn(rate_hz=rate_hz, rest_s=3.0, after_s=3.0, level_a=1.15)
    found = assess_record(outside(drawn.trace(), drawn, 0.8, 0.8), RIG)
    assert len(found) == 1
    assert not any("broke off" in note for note in found[0].notes)
    assert "interruption" not in loud(found[0])


@pytest.mark.parametrize("rate_hz", [50.0, 200.0, 1000.0])
@pytest.mark.parametrize("standing_a", [0.55, 0.9])
def test_a_standing_current_between_two_runs_is_rest(standing_a, rate_hz):
    """The record starts and ends in a run, and nowhere in it does nothing flow. At 12 rows a second it can't be told."""
    whole = Drawn(rate_hz=rate_hz, rest_s=1.0, after_s=1.0, offset_a=standing_a).trace()
    rows, start, end = (int(each * rate_hz) for each in (4.0, 1.0, 14.2))
    parts = [slice(end - rows, len(whole)), slice(0, len(whole)), slice(0, start + rows)]
    current_a = np.concatenate([whole.current_a[part] for part in parts])
    record = Trace(
        np.arange(len(current_a)) / rate_hz,
        current_a,
        np.concatenate([whole.voltage_v[part] for part in parts]),
        "lock",
    )
    found = assess_record(record, RIG)
    assert [each.end for each in found] == ["cut-off", "cut-off", "still-running"]
    assert ["cut-record" in loud(each) for each in found] == [True, False, True]
    assert abs(found[1].figures.travel_time_s.value - 13.2) < 2.1 / rate_hz


@pytest.mark.parametrize("rate_hz", [200.0, 1000.0])
def test_a_run_that_reads_near_nothing_is_no_rest_beside_a_standing_current(rate_hz):
    """A board at the motor: the throw back takes off as much as stands, and is rougher than what stands."""
    drawn = Drawn(rate_hz=rate_hz, rest_s=2.0, after_s=3.0, sign=-1, offset_a=1.2, level_a=1.2, ripple=0.1)
    rest = find_rest(drawn.trace().current_a, 1.0 / rate_hz, NO_LOAD_A, ACTUATOR.full_load_current_a)
    assert rest.level_a == pytest.approx(1.2, abs=0.02)


@pytest.mark.parametrize("rate_hz", [25.0, 200.0])
@pytest.mark.parametrize("standing_a", [0.9, 1.2, 1.8])
def test_where_the_motor_has_no_voltage_it_is_at_rest_whatever_flows(standing_a, rate_hz):
    """A board at the motor, and as smooth a run as the rest: the current alone doesn't tell which of the two is which."""
    drawn = Drawn(
        rate_hz=rate_hz, rest_s=2.0, after_s=3.0, sign=-1, offset_a=standing_a, ripple=0.0, peak_a=1.9
    )
    trace = drawn.trace()
    moves = (trace.time_s >= drawn.start_s) & (trace.time_s < drawn.end_s)
    record = replace(trace, voltage_v=np.where(moves, -trace.voltage_v, 0.0))
    rig = replace(RIG, board=replace(RIG.board, placed_in="motor"))
    a_throw_was_judged(assess_record(record, rig), drawn, rate_hz)


@pytest.mark.parametrize("rate_hz", [200.0, 400.0])
@pytest.mark.parametrize("opened_rows", [1, 2])
def test_a_first_opening_that_shows_no_zero_ends_the_throw_too(opened_rows, rate_hz):
    drawn = Drawn(rate_hz=rate_hz, level_a=2.0)
    trace = drawn.trace()
    last = int(np.searchsorted(trace.time_s, drawn.end_s)) - 1
    current_a = trace.current_a.copy()
    opened = last - round(0.04 * rate_hz)
    current_a[opened : opened + opened_rows] *= 0.35
    current_a[opened + opened_rows : last + 1] *= 1.3
    found = assess_trace(replace(trace, current_a=current_a), RIG)
    travel = found.figures.travel_time_s
    true_s = trace.time_s[opened] - drawn.start_s
    assert abs(travel.value - true_s) <= travel.u < 0.07
    assert found.figures.peak_run_current_a.value < 2.4
    assert any("bounced" in note for note in found.notes)


def test_noise_comes_from_the_side_that_is_one_level():
    drawn = Drawn(after_s=1.5, noise_a=0.005)
    trace = drawn.trace()
    flows = (trace.time_s > drawn.end_s) & (trace.time_s < drawn.end_s + 1.2)
    found = assess_trace(replace(trace, current_a=trace.current_a + 0.12 * flows), RIG)
    assert "noisy" not in {sign.sign for sign in found.signs}


def test_of_two_levels_without_a_voltage_the_one_nearer_to_nothing_is_rest():
    moving = np.arange(2000) // 500 % 3 > 0
    level_a = np.where(np.arange(2000) < 1000, 1.2, 1.5) + 0.003 * np.random.default_rng(2).normal(size=2000)
    rest = find_rest(
        level_a + 1.0 * moving, 0.005, NO_LOAD_A, ACTUATOR.full_load_current_a, np.where(moving, 12.0, 0.0)
    )
    assert rest.level_a == pytest.approx(1.2, abs=0.01)


def test_a_few_rows_at_an_end_are_rest_only_within_half_of_the_no_load_current():
    run = np.full(50, 2.0)
    near, far = (_few_rows(np.concatenate([np.full(3, level), run]), NO_LOAD_A) for level in (0.44, 0.5))
    assert (near, far) == (pytest.approx(0.44), None)


@pytest.mark.parametrize("at_the_end", [False, True])
def test_three_rows_of_rest_at_one_end_are_the_rest_of_a_record_switched_with_the_motor(at_the_end):
    run_a = 1.8 + np.random.default_rng(1).normal(0.0, 0.05, 400)
    few_a = [0.02, 0.03, 0.04]
    record = np.concatenate([run_a, few_a] if at_the_end else [few_a, run_a])
    found = find_rest(record, 0.005, NO_LOAD_A, ACTUATOR.full_load_current_a)
    assert (found.seen, found.level_a) == (True, pytest.approx(0.03, abs=0.011))


STILL, SHAKES = np.zeros(40), np.tile([-0.01, 0.01], 20)
"""Forty readings; the second scatters by 0.01 A, by its median 0.0148 A (1.4826 times, normal distribution)."""


@pytest.mark.parametrize(
    ("before", "after", "level_a", "u_a"),
    [
        # type A of 40 readings (JCGM 100, 4.2.3)
        (0.02 + SHAKES, 0.02 + SHAKES, 0.02, 0.014826 / np.sqrt(40)),
        # a drift of 0.03 A, anywhere between its ends (F.2.2.1)
        (0.02 + SHAKES, 0.05 + SHAKES, 0.02, np.hypot(0.014826 / np.sqrt(40), 0.03 / np.sqrt(12))),
        # a converter that sits still inside its step of 0.01 A (F.2.2.1)
        (0.02 + STILL, 0.02 + STILL, 0.02, 0.01 / np.sqrt(12)),
        # 0.3 A that may stop flowing when the motor runs: anywhere from nothing to all of it (4.3.7)
        (0.3 + SHAKES, 0.3 + SHAKES, 0.3, np.hypot(0.014826 / np.sqrt(40), 0.3 / np.sqrt(3))),
        # of two levels the one nearer to nothing
        (0.5 + SHAKES, STILL, 0.0, 0.01 / np.sqrt(12)),
        # a drive that holds its place with the sign of its last movement: anywhere between the two
        (-0.5 + SHAKES, 0.4 + SHAKES, -0.05, 0.9 / np.sqrt(12)),
    ],
)
def test_the_zero_of_a_movement_and_its_uncertainty_by_hand(before, after, level_a, u_a):
    record = np.concatenate([before, [1.0], np.full(50, 1.8), np.tile(after, 3)])
    rest = Rest(level_a, 0.01, True)
    zero = zero_of(record, 41, 90, rest, NO_LOAD_A, 0.01)
    assert (zero.level_a, zero.u_a) == pytest.approx((level_a, u_a), rel=1e-3)


@pytest.mark.parametrize(("noise_a", "rows"), [(0.01, 1), (0.1, 1), (0.2, 4), (0.3, 8), (0.45, 18)])
def test_rows_are_averaged_until_five_sigma_lie_within_the_band_of_a_rest(noise_a, rows):
    """(5 s / (2 x 0.3 i0))^2 rows, the next whole number: the mean of n scatters by s over the root of n."""
    assert smoothing_width(noise_a, 0.9) == rows


def test_a_voltage_gone_for_a_moment_shows_no_level():
    """A stretch is 30 rows. Twelve rows without voltage, eight of which may be braking, are too few; sixty are enough."""
    current_a = np.full(400, 2.0)
    current_a[100:112], current_a[300:360] = 0.0, 0.4
    gone = current_a < 1.0
    assert _level_undriven(current_a, gone, 30, 3.6) == 0.4
    assert _level_undriven(current_a, gone & (np.arange(400) < 200), 30, 3.6) is None


def test_three_rows_that_stand_out_of_a_level_are_a_movement_beside_its_rest():
    current_a = np.full(60, 0.8)
    current_a[30:33] = 5.0
    assert _looks_like_rest(current_a, 0.8, 0.1, 0.9, paused=False)
    current_a[32] = 0.8
    assert not _looks_like_rest(current_a, 0.8, 0.1, 0.9, paused=False)


def test_a_rest_whose_level_drifts_by_a_tenth_of_a_large_no_load_current_is_one_rest():
    current_a = np.concatenate((np.repeat([0.0, 0.2, 0.4], 30), np.full(90, 6.0)))
    blocks = _Blocks(30, current_a.reshape(6, 30)[:, 0])
    assert len(_calmest(current_a, blocks, 0.0, 4.0)) == 60  # without the stretch beside the movement


def test_the_first_row_of_a_start_is_no_noise_of_a_rest_that_reads_the_same_all_along():
    """Of six rows five read nothing, and the sixth was the inrush: the noise then stood above the running current."""
    step_a, ran_a = 0.03, 2.5
    current_a = np.array(
        [0.0, 0.0, -step_a, 0.0, 0.0, 9.8, 4.5, *([ran_a, ran_a + step_a] * 25), 0.0, 0.0, 0.0]
    )
    rest = find_rest(current_a, 0.1, 0.9, 3.6)
    assert rest.level_a == 0.0
    assert 0.0 < rest.noise_a < 5.0 * step_a
