"""A channel at its end: found whatever the order of its rows, told as "at least", never as a figure with a ±.

The records are drawn by hand; every number is invented.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.core.drawn_strokes import RIG, Drawn, cut_by_hand
from throwbook.core.analysis.clipping import _by_the_board, _start_at_the_top, peak_of_start, ripple_of
from throwbook.core.diagnosis.assess import assess_record, assess_trace
from throwbook.core.trace import Trace

LSB_A = 0.002


def cut_off_at(trace, full_a, head=None):
    """The record as a board with this full scale gives it, in counts of 2 mA."""
    current_a = np.clip(np.round(trace.current_a / LSB_A) * LSB_A, -full_a, full_a)
    return replace(trace, current_a=current_a, head=head or {})


def with_peak(drawn, peak_a, lasts_s, at_s=6.0):
    trace = drawn.trace()
    raised = (trace.time_s >= at_s) & (trace.time_s < at_s + lasts_s)
    current_a = trace.current_a + np.where(raised, drawn.sign * (peak_a - drawn.level_a), 0.0)
    return replace(trace, current_a=current_a)


def clipped_of(found):
    return next((sign for sign in found.signs if sign.sign == "clipped"), None)


@pytest.mark.parametrize("key", ["full_scale_a", "board_full_scale_a"])
@pytest.mark.parametrize("lasts_s", [0.3, 0.8])
@pytest.mark.parametrize("sign", [1, -1])
def test_a_peak_beyond_the_full_scale_that_the_board_names_never_passes(key, lasts_s, sign):
    trace = with_peak(Drawn(rate_hz=20, sign=sign, peak_a=2.0), 9.0, lasts_s)
    found = assess_trace(cut_off_at(trace, 4.0, {key: 4.0, "over_range_samples": int(20 * lasts_s)}), RIG)
    assert found.figures.peak_run_current_a is None
    assert clipped_of(found).level == "watch"
    assert clipped_of(found).value == pytest.approx(4.0, abs=0.03)
    peak = next(check for check in found.checks if check.name == "peak_run_current")
    assert peak.decision == "fail"  # at least 4 A, and 3.6 A are allowed
    assert found.verdict == "fail"


def test_a_peak_lost_within_its_limit_is_undecided_and_the_throw_at_best_watch():
    trace = with_peak(Drawn(peak_a=2.0), 9.0, 0.5)
    found = assess_trace(cut_off_at(trace, 3.0, {"full_scale_a": 3.0}), RIG)
    peak = next(check for check in found.checks if check.name == "peak_run_current")
    assert (peak.measured, peak.decision) == (None, "undecided")
    assert "wider range" in peak.settle
    assert found.verdict == "watch"
    assert "at least that" in clipped_of(found).because


def test_the_boards_own_count_of_readings_over_its_range_is_believed():
    trace = with_peak(Drawn(peak_a=2.0), 9.0, 0.012)
    cut = cut_off_at(trace, 3.0)
    at_end = int(np.sum(cut.current_a >= 3.0))
    assert at_end == 3
    assert clipped_of(assess_trace(cut, RIG)) is None  # three equal readings alone prove nothing
    assert clipped_of(assess_trace(replace(cut, head={"over_range_samples": at_end}), RIG)) is not None


def test_three_readings_at_the_full_scale_that_the_board_names_are_cut_off():
    """Too few for a pile-up, no count of them in the head: only the full scale tells it."""
    cut = cut_off_at(with_peak(Drawn(peak_a=2.0), 9.0, 0.012), 3.0)
    assert clipped_of(assess_trace(cut, RIG)) is None
    named = assess_trace(replace(cut, head={"full_scale_a": 3.0}), RIG)
    assert clipped_of(named) is not None
    assert named.figures.peak_run_current_a is None


@pytest.mark.parametrize(("at_top", "piled"), [(58, False), (62, True)])
def test_three_times_the_rows_of_the_next_step_are_a_pile_up(at_top, piled):
    """A parabola seen through a coarse converter holds 2.4 times as many rows in its highest step as in the next:
    1 to sqrt(2) - 1. The tops of a ripple whose next steps hold 20 rows each, in any order."""
    drawn = Drawn(peak_a=1.5, noise_a=0.0, ripple=0.0)
    trace = drawn.trace()
    inside = np.flatnonzero((trace.time_s > drawn.start_s + 1.0) & (trace.time_s < drawn.end_s - 0.1))
    steps = np.concatenate([np.zeros(at_top), 1.0 + np.arange(len(inside) - at_top) // 20])
    current_a = np.round(trace.current_a / LSB_A) * LSB_A
    current_a[inside] = 2.3 - LSB_A * np.random.default_rng(5).permutation(steps)
    found = assess_trace(replace(trace, current_a=current_a), RIG)
    assert (clipped_of(found) is not None) == piled


def test_an_inrush_cut_off_is_at_least_that_and_the_run_keeps_its_figures():
    found = assess_trace(cut_off_at(Drawn(peak_a=13.9).trace(), 5.0, {"board_full_scale_a": 5.0}), RIG)
    assert found.figures.inrush_a is None
    assert clipped_of(found).level == "info"
    assert "inrush current: at least that" in clipped_of(found).because
    assert found.figures.run_current_a.value == pytest.approx(1.83, abs=0.05)
    assert found.figures.peak_run_current_a is not None


def test_a_full_scale_that_is_not_reached_says_nothing():
    found = assess_trace(cut_off_at(Drawn().trace(), 50.0, {"full_scale_a": 50.0}), RIG)
    assert clipped_of(found) is None
    assert found.figures.inrush_a is not None


def test_readings_far_beyond_the_full_scale_show_that_the_head_is_wrong():
    found = assess_trace(replace(Drawn().trace(), head={"full_scale_a": 2.0}), RIG)
    assert clipped_of(found) is None


def test_the_full_scale_is_meant_before_the_calibration():
    head = {
        "full_scale_a": 4.0,
        "board_amp_lsb_a": LSB_A,
        "calibration_gain": 1.1,
        "calibration_zero_a": 0.05,
    }
    cut = cut_off_at(with_peak(Drawn(rate_hz=20, peak_a=2.0), 9.0, 0.3), 4.0)
    found = assess_trace(replace(cut, current_a=0.05 + 1.1 * cut.current_a, head=head), RIG)
    assert clipped_of(found).value == pytest.approx(4.4, abs=0.05)
    assert found.figures.peak_run_current_a is None


@pytest.mark.parametrize("head", [{"full_scale_a": "4 A"}, {"full_scale_a": True}, {"full_scale_a": -4.0}])
def test_a_head_that_makes_no_sense_is_not_believed(head):
    assert clipped_of(assess_trace(replace(Drawn().trace(), head=head), RIG)) is None


@pytest.mark.parametrize("share", [0.04, 0.07, 0.2, 0.4])
@pytest.mark.parametrize("seed", range(5))
def test_tops_of_a_ripple_cut_off_one_by_one_are_found(share, seed):
    """A fifth of the rows at the very same top reading, none of them next to each other: that is a channel at its end."""
    drawn = Drawn(peak_a=2.0, ripple=0.3, ripple_hz=83.0, seed=seed)
    trace = drawn.trace()
    moving = (trace.time_s > drawn.start_s) & (trace.time_s < drawn.end_s)
    full_a = float(np.quantile(trace.current_a[moving], 1.0 - share))
    found = assess_trace(cut_off_at(trace, round(full_a / LSB_A) * LSB_A), RIG)
    assert clipped_of(found).value == pytest.approx(full_a, abs=0.05)
    assert found.figures.peak_run_current_a is None
    assert found.verdict != "pass"


@pytest.mark.parametrize("step_a", [0.02, 0.05, 0.074])
@pytest.mark.parametrize("noise_a", [0.0, 0.004, 0.02])
@pytest.mark.parametrize("rate_hz", [12, 25, 100, 1000])
def test_a_quiet_run_on_a_coarse_converter_repeats_its_top_and_is_not_cut_off(step_a, noise_a, rate_hz):
    drawn = Drawn(rate_hz=rate_hz, noise_a=noise_a, ripple=0.0, peak_a=4.0)
    trace = drawn.trace()
    found = assess_trace(replace(trace, current_a=np.round(trace.current_a / step_a) * step_a), RIG)
    assert clipped_of(found) is None


@pytest.mark.parametrize("noise_a", [0.0, 0.004, 0.02])
def test_a_flat_run_without_a_start_peak_on_a_coarse_converter_is_not_cut_off(noise_a):
    time_s = np.arange(0, 15, 0.02)
    moving = (time_s > 1.0) & (time_s < 14.0)
    level_a = np.minimum(1.85, 10.0 * np.maximum(time_s - 1.0, 0.0))
    rng = np.random.default_rng(3)
    current_a = np.where(moving, level_a, 0.0) + rng.normal(0.0, noise_a, len(time_s))
    trace = replace(
        Drawn().trace(), time_s=time_s, current_a=np.round(current_a / 0.074) * 0.074, voltage_v=None
    )
    assert clipped_of(assess_trace(trace, RIG)) is None


def test_start_and_run_at_the_very_same_reading_are_both_cut_off():
    trace = Drawn(rate_hz=25, noise_a=0.0, ripple=0.0, peak_a=9.0, bump_a=1.5, bump_width=0.05).trace()
    coarse = replace(trace, current_a=np.minimum(np.round(trace.current_a / 0.074) * 0.074, 2.22))
    found = assess_trace(coarse, RIG)
    assert clipped_of(found) is not None
    assert found.figures.peak_run_current_a is None


def test_readings_over_the_range_in_one_movement_leave_the_other_movement_alone():
    first, second = with_peak(Drawn(peak_a=2.0), 9.0, 0.5), Drawn(peak_a=2.0, seed=2).trace()
    joined = replace(
        first,
        time_s=np.concatenate([first.time_s, second.time_s + first.time_s[-1] + 0.005]),
        current_a=np.concatenate([first.current_a, second.current_a]),
        voltage_v=None,
    )
    cut = cut_off_at(joined, 3.0, {"full_scale_a": 3.0, "over_range_samples": 100})
    there, back = assess_record(cut, RIG)
    assert clipped_of(there) is not None
    assert clipped_of(back) is None
    assert back.figures.peak_run_current_a is not None


@pytest.mark.parametrize("stall_from", [0.2, 0.5])
def test_how_far_a_throw_went_is_a_bound_where_its_current_was_cut_off(stall_from):
    """Whether the motor stood from somewhere on isn't seen: it went less far than what was read would have taken it."""
    drawn = Drawn(stall_from=stall_from, run_s=9.0, level_a=2.0)
    found = assess_trace(cut_off_at(drawn.trace(), 2.4, {"full_scale_a": 2.4}), RIG)
    short = next(sign for sign in found.signs if sign.sign == "stopped-short")
    assert short.at_fraction_u is None
    assert "at most" in short.because


def test_a_reading_half_a_count_below_the_full_scale_is_at_its_end():
    head = {"full_scale_a": 32.0, "board_amp_lsb_a": 0.25}
    for highest_a, ceiling_a in ((31.875, 31.875), (31.75, None)):
        shown_a = np.array([2.0, highest_a, 3.0])
        trace = Trace(np.arange(3) / 100.0, shown_a, None, "lock", head=head)
        assert _by_the_board(trace, 1, shown_a) == ceiling_a


AT_1000_HZ = np.arange(4000) / 1000.0


def test_the_peak_of_a_start_dies_away_to_the_level_that_follows_it_not_to_a_later_load():
    """9 A dying away to 1 A, halved every 14 ms; after 0.4 s a load brings it to 5 A. Seen from its first row on."""
    current_a = np.where(AT_1000_HZ < 0.4, 1.0, 5.0) + 8.0 * 2.0 ** (-AT_1000_HZ / 0.014)
    cut = cut_by_hand(AT_1000_HZ, current_a, 0, 84, 3999)
    found = peak_of_start(AT_1000_HZ, cut, 0.0)
    assert (found.lowest_a, found.highest_a) == pytest.approx((9.0, 9.0), rel=2e-3)


def test_a_drive_that_holds_its_current_from_the_first_row_has_no_peak_beyond_it():
    current_a = np.where(AT_1000_HZ < 0.5, 4.0, 2.0) + np.resize([0.0, 0.01, 0.01], len(AT_1000_HZ))
    cut = cut_by_hand(AT_1000_HZ, current_a, 0, 500, 3999, ramped=True, noise_a=0.01)
    found = peak_of_start(AT_1000_HZ, cut, 0.0)
    assert (found.lowest_a, found.highest_a) == pytest.approx((4.0, 4.0), abs=0.04)


def test_the_ripple_of_a_run_is_told_from_twenty_rows_on_as_a_share_of_its_level():
    """Steps of 0.1 A, nothing and -0.1 A at 2 A; the first fifth of a run doesn't count."""
    current_a = 2.0 + np.resize([0.0, 0.1, 0.1], 30)
    time_s = np.arange(30) / 100.0
    assert ripple_of(cut_by_hand(time_s, current_a, 0, 0, 24)) == pytest.approx(
        1.4826 * 0.1 / 2**0.5 / 2.1, rel=1e-3
    )
    assert ripple_of(cut_by_hand(time_s, current_a, 0, 0, 22)) == 0.0


@pytest.mark.parametrize(
    ("first", "later", "cut_off"), [(0, 20, True), (0, 19, False), (19, 20, True), (20, 20, False)]
)
def test_start_and_run_at_one_reading_are_cut_off_from_a_fiftieth_of_the_movement_on(first, later, cut_off):
    shown_a = np.full(1000, 2.0)
    shown_a[first : first + 3] = shown_a[500 : 500 + later] = 5.0
    assert _start_at_the_top(shown_a, np.flatnonzero(shown_a == 5.0), 0.01) == cut_off
