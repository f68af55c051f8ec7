"""Where the start-up transient ends on starts that are no plain inrush; drawn by hand, so that the end is known.

What counts is the running current: its true value lies within its ±, whatever the start looks like.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.core.drawn_strokes import RIG
from throwbook.core.analysis.breaks import _opened_at
from throwbook.core.analysis.transient import (
    _end_of_hold,
    _period_of_ripple,
    _stands_level_from,
    end_of_transient,
)
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.trace import Trace

REST_S, AFTER_S = 0.7, 0.8
LEVEL_A = 2.0


def drawn(rate_hz, run_s, shape, ripple=0.0, ripple_hz=3.0, seed=1):
    """A record whose current while moving is ``shape(s since start)``, a ripple on top; no voltage channel."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(int((REST_S + run_s + AFTER_S) * rate_hz)) / rate_hz
    since_s = time_s - REST_S
    moving = (since_s >= 0.0) & (since_s < run_s)
    wave = 1.0 + ripple * np.sin(2.0 * np.pi * ripple_hz * since_s + rng.uniform(0.0, 6.0))
    current_a = np.where(moving, shape(since_s) * wave, 0.0) + rng.normal(0.0, 0.008, len(time_s))
    return Trace(time_s, current_a, None, "lock", ambient_c=15.0)


def mean_from(shape, from_s, run_s):
    since_s = np.linspace(from_s, run_s, 20001)
    return float(np.mean(shape(since_s)))


def inrush(since_s, peak_a=9.0, decay_s=0.05):
    return LEVEL_A + (peak_a - LEVEL_A) * np.exp(-np.maximum(since_s, 0.0) / decay_s)


def flat_top(hold_s, peak_a, decay_s):
    """A start held at a limit, then let go."""

    def shape(since_s):
        return LEVEL_A + (peak_a - LEVEL_A) * np.exp(-np.maximum(since_s - hold_s, 0.0) / decay_s)

    return shape


def assert_true(found, true_a):
    run = found.figures.run_current_a
    assert run is not None
    assert abs(run.value - true_a) <= run.u
    assert run.u < 0.25 * true_a


@pytest.mark.parametrize("rate_hz", [25, 100, 400])
@pytest.mark.parametrize("ripple_hz", [1.3, 3.1, 7.7])
@pytest.mark.parametrize("ripple", [0.15, 0.3])
@pytest.mark.parametrize("peak_a", [2.0, 9.0])
def test_a_rippled_start_does_not_eat_the_run(rate_hz, ripple_hz, ripple, peak_a):
    def shape(since_s):
        return inrush(since_s, peak_a)

    trace = drawn(rate_hz, 6.0, shape, ripple, ripple_hz)
    found = assess_trace(trace, RIG)
    assert found.inrush_end_s < REST_S + 0.25 * 6.0
    assert_true(found, mean_from(shape, 0.2, 6.0))


@pytest.mark.parametrize("rate_hz", [25, 100, 400])
@pytest.mark.parametrize("run_s", [6.0, 14.0])
@pytest.mark.parametrize("seed", [1, 5, 6, 8])
def test_the_calm_trough_of_a_ripple_is_no_end(rate_hz, run_s, seed):
    """What nothing pushed into a throw by a step was not switched off: every one of these was judged as several throws."""
    trace = drawn(rate_hz, run_s, inrush, ripple=0.3, ripple_hz=1.3, seed=seed)
    assert assess_trace(trace, RIG).movements == 1


@pytest.mark.parametrize("rate_hz", [25, 100, 400])
@pytest.mark.parametrize("hold_s", [0.15, 0.4, 0.9])
@pytest.mark.parametrize("peak_a", [3.0, 5.0])
@pytest.mark.parametrize("decay_s", [0.04, 0.15])
def test_a_flat_topped_start_ends_with_its_own_fall(rate_hz, hold_s, peak_a, decay_s):
    shape = flat_top(hold_s, peak_a, decay_s)
    found = assess_trace(drawn(rate_hz, 6.0, shape), RIG)
    assert found.inrush_end_s < REST_S + hold_s + 12.0 * decay_s + 4.0 / rate_hz
    assert_true(found, mean_from(shape, hold_s + 4.2 * decay_s, 6.0))


@pytest.mark.parametrize("rate_hz", [25, 100, 400])
@pytest.mark.parametrize("at", [0.4, 0.6, 0.8])
@pytest.mark.parametrize("peak_a", [2.8, 9.0])
def test_a_light_place_late_in_the_run_is_not_what_the_start_decays_to(rate_hz, at, peak_a):
    def shape(since_s):
        light = 0.62 * np.exp(-0.5 * ((since_s / 6.0 - at) / 0.03) ** 2)
        return inrush(since_s, peak_a) * (1.0 - light)

    found = assess_trace(drawn(rate_hz, 6.0, shape), RIG)
    assert found.inrush_end_s < REST_S + 1.0
    assert_true(found, mean_from(shape, 0.21, 6.0))


@pytest.mark.parametrize("eases_s", [1.0, 2.0])
def test_a_start_that_does_not_settle_says_so_in_the_running_current(eases_s):
    """A current that eases through half of the throw has no end of a start to find: both readings lie within the ±."""

    def shape(since_s):
        return LEVEL_A * (1.0 + 0.8 * np.exp(-np.maximum(since_s, 0.0) / eases_s))

    found = assess_trace(drawn(100, 6.0, shape), RIG)
    run = found.figures.run_current_a
    assert run is not None
    assert abs(run.value - mean_from(shape, 0.0, 6.0)) <= run.u
    assert abs(run.value - mean_from(shape, 2.0, 6.0)) <= run.u
    assert any("does not settle" in note for note in found.notes)


def test_a_plain_inrush_settles_and_nothing_is_said():
    found = assess_trace(drawn(200, 6.0, inrush), RIG)
    assert not any("settle" in note for note in found.notes)
    assert found.figures.run_current_a.u < 0.02 * LEVEL_A


def test_a_record_that_begins_in_the_run_has_no_start_to_settle():
    trace = drawn(200, 6.0, inrush)
    late = replace(trace, time_s=trace.time_s[600:] - trace.time_s[600], current_a=trace.current_a[600:])
    assert not any("settle" in note for note in assess_trace(late, RIG).notes)


ROUNDED_TOP_A = (1.1, 4.69, 7.39, 8.65, 9.0, 8.85, 8.46, 7.93, 7.4, 6.87, 6.36, 5.85, 5.43, 5.03, 4.64, 4.35)
"""The first rows of an inrush at 100 Hz as a filter rounds it: it falls fastest where its top is just over."""


@pytest.mark.parametrize("seed", range(4))
def test_an_inrush_whose_top_a_filter_rounds_is_no_ramp(seed):
    decay_s, begins_s = 0.13, 0.01 * (len(ROUNDED_TOP_A) - 1)

    def shape(since_s):
        top_a = np.interp(since_s, 0.01 * np.arange(len(ROUNDED_TOP_A)), ROUNDED_TOP_A)
        fallen_a = inrush(since_s - begins_s, ROUNDED_TOP_A[-1], decay_s)
        return np.where(since_s < begins_s, top_a, fallen_a)

    found = assess_trace(drawn(100, 11.0, shape, seed=seed), RIG)
    assert found.inrush_end_s > REST_S + 3.0 * decay_s
    assert found.figures.peak_run_current_a.value < 1.2 * LEVEL_A
    assert_true(found, mean_from(shape, 6.0 * decay_s, 11.0))


@pytest.mark.parametrize("rate_hz", [21, 50, 200])
def test_a_plain_peak_of_a_short_movement_leaves_its_running_current_known(rate_hz):
    """It takes more than a third of the movement, and all that is left is one level."""

    def shape(since_s):
        return inrush(since_s, 9.6, 0.16)

    found = assess_trace(drawn(rate_hz, 1.7, shape), RIG)
    assert_true(found, mean_from(shape, 0.67, 1.7))
    assert found.figures.run_current_a.u < 0.05 * LEVEL_A


@pytest.mark.parametrize("rate_hz", [200, 400, 1000])
def test_a_relay_that_bounces_in_the_first_rows_does_not_end_the_start(rate_hz):
    trace = drawn(rate_hz, 6.0, inrush)
    current_a = trace.current_a.copy()
    first = int(np.searchsorted(trace.time_s, REST_S))
    current_a[first + 1 : first + max(2, int(0.006 * rate_hz))] *= 0.4
    found = assess_trace(replace(trace, current_a=current_a), RIG)
    assert found.figures.peak_run_current_a.value < 1.1 * LEVEL_A


def ramped_up(hold_s, hold_a, breaks_away_a, taken_up_s):
    """A drive breaks its motor away, speeds it up, turns it light, and takes up the load."""

    def shape(since_s):
        held = hold_a + (breaks_away_a - hold_a) * np.exp(-since_s / 0.02)
        light = 0.5 * LEVEL_A + 0.5 * LEVEL_A / (1.0 + np.exp(-(since_s - taken_up_s) / 0.02))
        return np.where(since_s < hold_s, held, light)

    return shape


@pytest.mark.parametrize("rate_hz", [100, 400])
@pytest.mark.parametrize(("hold_a", "breaks_away_a"), [(3.0, 3.0), (2.4, 3.2)])
def test_a_ramp_ends_where_its_current_falls_though_the_load_is_taken_up_soon(hold_a, breaks_away_a, rate_hz):
    shape = ramped_up(0.45, hold_a, breaks_away_a, taken_up_s=0.65)
    found = assess_trace(drawn(rate_hz, 2.1, shape), RIG)
    assert found.inrush_end_s == pytest.approx(REST_S + 0.45, abs=0.03)
    assert_true(found, mean_from(shape, 0.46, 2.1))


@pytest.mark.parametrize("rate_hz", [50, 400])
def test_a_ramp_over_more_than_a_third_of_a_movement_leaves_the_running_current_open(rate_hz):
    shape = ramped_up(0.45, 3.2, 3.2, taken_up_s=9.0)
    found = assess_trace(drawn(rate_hz, 0.9, shape), RIG)
    for figure, true_a in (
        (found.figures.run_current_a, 0.5 * LEVEL_A),
        (found.figures.peak_run_current_a, 0.5 * LEVEL_A),
    ):
        assert figure is None or abs(figure.value - true_a) <= 1.1 * figure.u


def test_a_ramp_ends_after_the_movement_began():
    current = np.concatenate([np.zeros(60), np.linspace(0.0, 2.0, 200), np.full(1500, 2.0), np.zeros(40)])
    found = end_of_transient(current, np.arange(len(current)) * 0.005, 60, 1759)
    assert 60 + 180 <= found.settled <= 60 + 320


def test_an_inrush_cut_off_flat_is_no_ramp_and_is_not_over_while_it_dies_away():
    since_s = np.arange(56) / 100.0
    current = np.minimum(0.6 + 7.0 * np.exp(-since_s / 0.07), 2.86)
    start = end_of_transient(current, since_s, 0, len(current) - 1)
    assert not start.ramped
    assert start.settled_latest >= 35


def test_where_rows_too_far_apart_show_no_peak_a_load_that_comes_on_may_be_the_run():
    time_s = np.arange(80) / 10.0
    since_s = time_s - 1.03
    load_a = 1.1 + 1.3 * np.clip((since_s - 0.35) / 0.3, 0.0, 1.0) + 0.15 * np.exp(-since_s / 0.1)
    moved = np.where((since_s >= 0.0) & (since_s < 5.0), load_a, 0.0)
    run = assess_trace(as_record(time_s, moved), RIG).figures
    assert abs(run.run_current_a.value - (1.1 + 1.3 * 4.5 / 5.0)) <= 1.2 * run.run_current_a.u


@pytest.mark.parametrize("rate_hz", [100.0, 400.0])
def test_a_soft_start_that_climbs_on_and_on_leaves_the_running_current_open(rate_hz):
    time_s = np.arange(int(9.0 * rate_hz)) / rate_hz
    since_s = time_s - 1.0
    climbs_a = 0.9 + 1.9 * np.clip((since_s - 0.05) / 1.5, 0.0, 1.0)
    noise_a = np.random.default_rng(1).normal(0.0, 0.03, len(time_s))
    moved = np.where((since_s >= 0.0) & (since_s < 6.0), climbs_a, 0.0) + noise_a
    run = assess_trace(as_record(time_s, moved), RIG).figures.run_current_a
    assert abs(run.value - 2.8) <= run.u
    assert abs(run.value - (2.8 - 1.9 * 0.8 / 6.0)) <= run.u


def as_record(time_s, current_a):
    return Trace(time_s=time_s, current_a=current_a, voltage_v=None, direction="lock", source="drawn")


@pytest.mark.parametrize(("eases_a", "level"), [(0.04, True), (0.06, False), (0.1, False)])
def test_a_peak_has_died_away_where_what_is_left_is_one_level(eases_a, level):
    """It may ease by a sixty-fourth of the peak's height, six halvings: of 5 A above a level of 2 A by 0.047 A."""
    moving = np.concatenate([[5.0], np.full(20, 2.0 + eases_a), np.full(21, 2.0), [2.0]])
    assert _stands_level_from(moving, 1) == level


def hold_then(*fall: float, ripple: float = 0.0) -> int | None:
    """The end of a ramp that holds 4 A for 40 rows, falls over ``fall`` and goes on at 2 A, looked at three rows at a time."""
    current_a = np.concatenate((np.full(40, 4.0), fall, np.full(120, 2.0)))
    current_a = current_a + np.resize([0.0, ripple, ripple], len(current_a))
    total = np.concatenate(([0.0], np.cumsum(current_a)))
    return _end_of_hold(current_a, total, 100, 3)


def test_a_ramp_is_over_after_the_first_row_that_shows_its_fall():
    # 0 to 39 hold; row 40 may be part of both.
    assert hold_then() == 41


def test_a_ramp_whose_fall_shows_in_a_row_is_over_three_rows_later():
    # Between three quarters and a quarter of the fall it halves 1.6 times; six halvings are asked for.
    assert hold_then(3.48) == 42 + 3
    # A row nearer to the hold is none of the fall's.
    assert hold_then(3.52) == 42


def test_a_fall_that_five_sigma_of_two_means_may_hide_is_no_end_of_a_ramp():
    """Steps of x, nothing and -x from row to row: a scatter of 1.4826 x / sqrt(2), five times that over the root of 3 / 2
    rows is 4.28 x."""
    assert hold_then(ripple=2.0 / 4.33) is not None
    assert hold_then(ripple=2.0 / 4.23) is None


def test_a_break_begins_where_its_current_has_fallen_below_four_fifths():
    """At 100 Hz 3 A for two seconds, 2.3 and 1.2 A on the way to nothing, a surge when the contact closes."""
    current_a = np.concatenate(
        (np.full(200, 3.0), [2.3, 1.2], np.zeros(10), [7.0, 5.0, 4.0], np.full(200, 3.0))
    )
    time_s = np.arange(len(current_a)) / 100.0
    opened = _opened_at(current_a, time_s, 0, 202, 212, len(current_a) - 1, 0.5, 0.01)
    assert opened == 200


@pytest.mark.parametrize(("rows", "period"), [(33, 3), (32, None)])
def test_a_ripple_is_told_from_twenty_four_rows_of_the_inner_run_on(rows, period):
    """Of 33 rows 6 to 29 are the inner run, of 32 rows 6 to 28."""
    assert _period_of_ripple(2.0 + 0.8 * np.cos(2.0 * np.pi * np.arange(rows) / 3.0)) == period
