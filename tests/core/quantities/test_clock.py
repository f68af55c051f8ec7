"""Stamps that repeat, and clocks that part from the numbering: against the times they were made from."""

import numpy as np
import pytest

from throwbook.core.quantities.clock import (
    CLOCK_FROM_KEY,
    CLOCK_KEY,
    CLOCK_U_KEY,
    CLOCK_UNTIL_KEY,
    BoardTimes,
    ClockTrouble,
    clock_u_s,
    holes_in,
    parting_of,
    period_of,
    spread_evenly,
    with_clock,
)

RATES_HZ = [25.0, 90.0, 200.0, 333.0, 1000.0]
TICKS_S = [0.001, 0.01, 0.0156, 0.055]
"""A millisecond counter, a hundredth, and the timer ticks of two kinds of old computers (common practice, no source)."""


def true_times(rate_hz: float, seconds: float = 15.0, phase: float = 0.3) -> np.ndarray:
    return (np.arange(round(seconds * rate_hz)) + phase) / rate_hz


def stamps(time_s: np.ndarray, tick_s: float) -> np.ndarray:
    return np.floor(time_s / tick_s) * tick_s


@pytest.mark.parametrize("tick_s", TICKS_S)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_span_between_spread_stamps_is_true_within_its_uncertainty(rate_hz: float, tick_s: float):
    time_s = true_times(rate_hz)
    spread = spread_evenly(stamps(time_s, tick_s))
    assert (np.diff(spread.time_s) > 0).all()
    if not spread.repeated:
        return
    off_s = spread.time_s - time_s
    from_start_s = np.abs(off_s - off_s[len(off_s) // 9])
    assert from_start_s.max() <= spread.u_s + 1e-9
    assert spread.u_s <= 3.0 / rate_hz + 1e-9
    assert f"{spread.repeated:,} of {len(time_s):,} time stamps repeat" in spread.note


def test_stamps_that_rise_stay_as_they_are():
    time_s = true_times(200.0)
    spread = spread_evenly(time_s)
    assert (spread.time_s is time_s, spread.repeated, spread.u_s, spread.note) == (True, 0, 0.0, "")
    assert with_clock({"rig": "x"}, spread) == {"rig": "x"}


def test_the_rows_of_the_last_tick_lie_as_the_others_do():
    """Five rows a tick of 25 ms, twenty ticks: the row at 0.475 s and four more, 5 ms apart; the last tick's end isn't seen."""
    spread = spread_evenly(np.repeat(0.025 * np.arange(20), 5))
    assert spread.time_s == pytest.approx(0.005 * np.arange(100), abs=0.002)
    assert (spread.repeated, spread.u_s) == (80, pytest.approx(0.005))
    # One row more in the last tick than a tick has room for: it may have been taken as much earlier.
    longer = spread_evenly(np.repeat(0.025 * np.arange(20), [5] * 19 + [6]))
    assert longer.u_s == pytest.approx(0.010, rel=0.05)


def test_a_hole_behind_a_stamp_that_repeats_stays_a_hole():
    time_s = np.concatenate((true_times(200.0, 5.0), 7.0 + true_times(200.0, 5.0)))
    spread = spread_evenly(stamps(time_s, 0.01))
    assert np.diff(spread.time_s).max() == pytest.approx(2.0, abs=0.02)
    assert spread.u_s < 0.02


def test_a_clock_that_sticks_and_goes_on_where_it_stuck_is_as_uncertain_as_it_stuck_long():
    time_s = true_times(200.0)
    stuck = np.where(time_s < 5.0, time_s, np.where(time_s < 5.8, 5.0, time_s - 0.8))
    spread = spread_evenly(stuck)
    assert 0.75 < spread.u_s < 0.85
    assert np.abs(spread.time_s - time_s - (spread.time_s - time_s)[0]).max() <= spread.u_s


def test_a_clock_that_never_moves_is_left_alone():
    spread = spread_evenly(np.full(50, 3.0))
    assert (np.diff(spread.time_s) == 0).all()
    assert period_of(None, spread.time_s) == 0.0


@pytest.mark.parametrize("by_s", [-0.7, 0.03, 0.9])
def test_a_jump_of_the_clock_is_what_it_parts_from_the_numbers(by_s: float):
    time_s = true_times(200.0)
    jumped = np.where(np.arange(len(time_s)) >= 1500, time_s + by_s, time_s)
    parting = parting_of(np.arange(len(time_s)), jumped)
    assert parting.by_s == pytest.approx(abs(by_s), abs=1e-6)
    assert (parting.first, parting.last) == (1499, 1500)


@pytest.mark.parametrize("seed", range(5))
def test_jitter_drift_and_lost_samples_are_no_disagreement(seed: int):
    rng = np.random.default_rng(seed)
    index = np.flatnonzero(rng.random(3000) > 0.05)
    index = index[(index < 1000) | (index > 1200)]
    time_s = 1.08 * index / 200.0 + rng.uniform(0, 0.002, len(index))
    assert parting_of(index, time_s) is None
    assert period_of(index, time_s) == pytest.approx(1.08 / 200.0, rel=1e-3)


def test_what_an_earlier_reader_said_of_the_clock_is_kept_beside_what_is_found_now():
    spread = spread_evenly(stamps(true_times(200.0), 0.01))
    head = with_clock({CLOCK_KEY: "it jumped", CLOCK_U_KEY: 0.9}, spread)
    assert head[CLOCK_KEY].startswith("it jumped; ")
    assert clock_u_s(head) == 0.9


@pytest.mark.parametrize("said", [-1.0, float("nan"), float("inf"), "0.9", None, [1]])
def test_an_uncertainty_that_is_none_counts_as_none(said):
    assert clock_u_s({CLOCK_U_KEY: said}) == 0.0


@pytest.mark.parametrize("ticks", [1.2, 1.5, 1.9, 2.5, 3.0, 7.7])
def test_samples_at_one_rate_come_out_at_one_rate_however_coarse_their_clock(ticks: float):
    time_s = true_times(50.0)
    spread = spread_evenly(stamps(time_s, ticks / 50.0))
    np.testing.assert_allclose(np.diff(spread.time_s), 0.02, rtol=0.01)


def test_samples_that_were_lost_between_coarse_stamps_leave_their_holes():
    index = np.flatnonzero(np.random.default_rng(1).random(3000) > 0.05)
    time_s = index / 200.0
    spread = spread_evenly(stamps(time_s, 0.0155), index)
    np.testing.assert_allclose(np.diff(spread.time_s), np.diff(time_s), rtol=0.01)


def test_a_clock_that_changes_its_rate_on_the_way_parts_from_the_numbers_everywhere():
    time_s = true_times(200.0)
    slower = np.where(time_s < 9.0, time_s, 9.0 + 0.95 * (time_s - 9.0))
    parting = parting_of(np.arange(len(time_s)), slower)
    assert parting.by_s == pytest.approx(0.3, rel=0.1)
    assert (parting.first, parting.last) == (0, len(time_s) - 1)


def test_only_what_spans_the_place_where_the_clock_was_wrong_is_uncertain_by_it():
    head = {CLOCK_U_KEY: 0.9, "clock_from_s": 7.0, "clock_until_s": 7.9}
    spans = [(-np.inf, 3.0), (2.0, 6.9), (2.0, 7.0), (7.5, 7.6), (7.9, 9.0), (8.0, 9.0), (-np.inf, 8.0)]
    assert [clock_u_s(head, *span) > 0.0 for span in spans] == [False, False, True, True, True, False, True]


STEPS_MS = {
    "2 and 4": [2, 2, 2, 4],
    "2, 3 and 4": [2, 3, 2, 2, 4, 2, 3],
    "3 and 4": [3, 3, 4],
    "1 and 2": [1, 1, 1, 1, 2],
    "a late one made up for": [5, 5, 5, 5, 9, 1, 5, 5],
    "seldom a late one made up for": [5] * 80 + [9, 1],
}


@pytest.mark.parametrize("name", STEPS_MS)
def test_steps_that_go_up_and_down_lose_nothing(name: str):
    rng = np.random.default_rng(1)
    pattern = STEPS_MS[name]
    shuffled = len(pattern) < 8  # what is made up for at once stays beside what it makes up for
    steps = np.concatenate([rng.permutation(pattern) if shuffled else pattern for _ in range(700)]) * 1e-3
    after, _ = holes_in(np.cumsum(steps))
    assert len(after) == 0


# One missing row beside a jitter of a quarter of the period looks like the jitter.
@pytest.mark.parametrize(
    ("missing", "jitter"), [(1, 0.0), (1, 0.1), (2, 0.0), (2, 0.25), (7, 0.25), (150, 0.0), (150, 0.25)]
)
def test_rows_that_are_missing_are_found_beside_a_jitter(missing: int, jitter: float):
    rng = np.random.default_rng(missing)
    index = np.arange(3000)
    gone = [400, 900, 1700, 2500]
    keep = np.ones(3000, dtype=bool)
    for at in gone:
        keep[at : at + missing] = False
    time_s = (index + rng.uniform(-jitter, jitter, 3000))[keep] / 200.0
    after, lost = holes_in(time_s)
    kept = index[keep]
    assert kept[after].tolist() == [at - 1 for at in gone]
    assert np.abs(lost - missing).max() <= (1 if jitter > 0.1 else 0)


@pytest.mark.parametrize("share", [0.003, 0.03, 0.1])
def test_lone_rows_that_are_missing_are_counted_to_one_in_a_hundred(share: float):
    index = np.flatnonzero(np.random.default_rng(3).random(5000) > share)
    _, lost = holes_in(index / 200.0)
    assert lost.sum() == pytest.approx(index[-1] - index[0] + 1 - len(index), rel=0.01)


def test_what_was_wrong_with_a_clock_reaches_from_the_first_trouble_to_the_last():
    troubles = (ClockTrouble("one", 0.02, 30, 40), ClockTrouble("other", 0.05, 10, 20))
    head = BoardTimes(np.arange(100) / 50.0, 0.02, troubles).head()
    assert head == {
        "rate_hz": 50.0,
        CLOCK_KEY: "one; other",
        CLOCK_U_KEY: 0.05,
        CLOCK_FROM_KEY: 0.2,
        CLOCK_UNTIL_KEY: 0.8,
    }


def test_where_most_stamps_repeat_the_period_is_that_of_the_whole_record():
    """Ten rows of which nine say 0: a second over nine steps, over eighteen where every other sample is lost."""
    time_s = np.array([0.0] * 9 + [1.0])
    assert period_of(None, time_s) == 1.0 / 9.0
    assert period_of(2 * np.arange(10), time_s) == 1.0 / 18.0
