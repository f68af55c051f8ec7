"""Histories of hundreds of checks: the short cut says what the long way says, and the work grows with the checks."""

import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.benchmarks.season_histories import wearing
from tests.drawn import drawn
from throwbook.core.trend.change_test import (
    ANY_LEVEL,
    PAST_WEAR,
    StageSeries,
    evidence,
    learn,
    rises_at_every_check,
)
from throwbook.core.trend.control_chart import FORECAST_CHECKS, SLOPE_CHECKS
from throwbook.core.trend.signals import Whole, each_stage, newest_stage
from throwbook.core.trend.trend_result import trends_of


def whole(rng: np.random.Generator, lengths: list[int]) -> Whole:
    """Stretches of these lengths in weather and on two attachments."""
    k = sum(lengths)
    stage = np.repeat(np.arange(len(lengths), dtype=float), lengths)
    years = np.arange(k) / 4
    return Whole(
        years=years,
        change=rng.normal(0, 0.03, k) + 0.05 * stage,
        variance=rng.uniform(0.5, 2, k) * 1e-4,
        shared=np.stack([rng.normal(0, 1, k), rng.integers(0, 2, k) * 1.0], axis=1),
        mean=np.array([-0.012, 0.0]),
        sd=np.array([0.02, 0.02]),
        between=(0.018, 0.45),
        stage=stage,
        worn=years - np.repeat(years[np.cumsum([0, *lengths[:-1]])], lengths),
    )


def the_long_way(rows: Whole) -> StageSeries:
    """One series of all checks, with a column for the level and the wear of every past stage."""
    newest = rows.stage[-1]
    columns, sd = [rows.shared], [*rows.sd]
    columns.append((rows.stage == newest)[:, None] * 1.0)
    sd.append(ANY_LEVEL)
    for number in np.unique(rows.stage[rows.stage < newest]):
        inside = rows.stage == number
        columns.append(np.stack([inside * 1.0, inside * rows.worn], axis=1))
        sd += [ANY_LEVEL, PAST_WEAR]
    more = len(sd) - len(rows.mean)
    return StageSeries(
        rows.years,
        rows.change,
        rows.variance,
        np.concatenate(columns, axis=1),
        np.concatenate([rows.mean, np.zeros(more)]),
        np.array(sd),
        rows.between,
        level=len(rows.mean),
    )


@settings(deadline=None, max_examples=drawn(30, 10))
@given(st.integers(0, 2**32 - 1), st.lists(st.integers(1, 7), min_size=1, max_size=6))
def test_what_past_stretches_told_is_what_fitting_them_all_gives(seed, lengths):
    rows = whole(np.random.default_rng(seed), lengths)
    short, long = newest_stage(rows), the_long_way(rows)
    inside = rows.stage == rows.stage[-1]
    shape = inside * rows.worn
    one, other = evidence(short, shape[inside][:, None]), evidence(long, shape[:, None])
    assert one.pull == pytest.approx(other.pull, rel=1e-6, abs=1e-6)
    assert one.weight == pytest.approx(other.weight, rel=1e-6, abs=1e-6)
    apart = one.log_plain - other.log_plain
    assert np.ptp(apart) == pytest.approx(0.0, abs=1e-6)  # a constant is the same for every scatter
    for at in range(3):
        mine, its = learn(short, at), learn(long, at)
        p = len(mine.mean)
        assert mine.mean == pytest.approx(its.mean[:p], rel=1e-6, abs=1e-9)
        assert mine.covariance == pytest.approx(its.covariance[:p, :p], rel=1e-6, abs=1e-12)


def test_every_stretch_is_judged_on_those_before_it_only():
    rows = whole(np.random.default_rng(2), [5, 6, 7])
    both = each_stage(rows)[1]
    alone = newest_stage(rows.at(range(11)))
    for one, other in zip(rises_at_every_check(both), rises_at_every_check(alone), strict=True):
        assert [rise.chance for rise in one] == pytest.approx([rise.chance for rise in other], rel=1e-9)


def test_of_a_very_long_stretch_a_forecast_goes_by_the_newest_checks():
    rows = whole(np.random.default_rng(3), [4, FORECAST_CHECKS + 20])
    newest = newest_stage(rows, most=FORECAST_CHECKS)
    assert len(newest.change) == FORECAST_CHECKS
    assert newest.prior.pull.any()  # what the older ones say of weather still counts
    assert len(newest_stage(rows.at(range(4 + FORECAST_CHECKS)), most=FORECAST_CHECKS).change) == 100


def calls(checks: int, every: int) -> int:
    """How many calls the trends of a rig that wears take, with a service before every so many checks: the same every time."""
    history = wearing(checks, every)
    count = 0

    def counting(_frame, event, _what):
        nonlocal count
        count += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(counting)
    try:
        trends_of(history)
    finally:
        sys.setprofile(before)
    return count


@pytest.mark.parametrize("every", [20, pytest.param(10_000, marks=pytest.mark.long)])
def test_ten_times_the_checks_take_no_more_than_ten_times_the_work(every):
    # What no call shows, one of numpy's over more rows, is timed by ``python -m tests.benchmarks.growth --only checks``.
    calls(20, every)  # what is imported or kept at the first call isn't counted
    assert 60 < SLOPE_CHECKS < 600
    assert calls(600, every) < 11 * calls(60, every)
