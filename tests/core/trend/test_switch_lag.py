"""The lag between the two pins' switches over the seasons: whose side comes later, since when, and after a service."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from scipy.stats import t as student_t

from tests.core.trend.test_history import START, history
from throwbook.core.assessment import Measured
from throwbook.core.trend import series
from throwbook.core.trend.advisory import next_action, worsening_of
from throwbook.core.trend.control_chart import NO_LATER_SIDE, limit_of
from throwbook.core.trend.history import SeasonService
from throwbook.core.trend.series import lines_of
from throwbook.core.trend.trend_result import (
    change_text,
    effect_change_text,
    forecast_text,
    size_text,
    to_json,
    trends_of,
)


def lagging(lags, services=(), unlock_lags=None):
    """A steady rig whose right switch changes so much later than its left one; shares of the stroke; without others both ways alike."""
    rng = np.random.default_rng(3)
    base = history([2.0] * len(lags), services=services)

    def figures(throw, lag):
        later = lag + 0.001 * float(rng.normal())
        return replace(throw.figures, switch_lag_fraction=Measured(later, 0.002))

    both = zip(base.checks, lags, unlock_lags or lags, strict=True)
    checks = [
        replace(
            check,
            throws=tuple(
                replace(one, figures=figures(one, lag if one.direction == "lock" else other))
                for one in check.throws
            ),
        )
        for check, lag, other in both
    ]
    return replace(base, checks=tuple(checks))


def of_lag(rig):
    return {one.direction: one for one in trends_of(rig) if one.figure == "switch_lag"}


STEADY, GROWN = [0.02] * 6, [0.032, 0.038, 0.044, 0.05]


@pytest.mark.parametrize(("sense", "side"), [(1.0, "right"), (-1.0, "left")])
def test_a_side_that_comes_later_signals_with_its_name(sense, side):
    rig = lagging([0.02 + sense * (lag - 0.02) for lag in STEADY + GROWN])
    found = of_lag(rig)
    assert set(found) == {"lock", "unlock"}
    for one in found.values():
        assert one.side == side
        assert one.first_signal is not None
        assert one.first_signal <= START + timedelta(days=91 * 8)
        assert one.change == pytest.approx(0.03, abs=0.012)
        assert f"{side.upper()} SWITCH later" in change_text(one)
        assert to_json(one)["side"] == side
        assert to_json(one)["unit"] == "1"
    action = next_action(rig, trends_of(rig), rig.checks[-1].on)
    assert "switch lag" in action.why
    assert f"{side.upper()} SWITCH later" in action.why


def test_a_steady_lag_signals_nothing_whichever_side_is_the_later_one():
    for lag in (0.02, -0.02, 0.0):
        found = of_lag(lagging([lag] * 12)).values()
        assert [(one.first_signal, one.side, "side" in to_json(one)) for one in found] == [
            (None, "", False)
        ] * 2


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_a_switch_that_was_moved_is_later_one_way_and_earlier_the_other_and_names_no_side(sense):
    lock, unlock = ([0.02 + way * (lag - 0.02) for lag in STEADY + GROWN] for way in (sense, -0.9 * sense))
    rig = lagging(lock, unlock_lags=unlock)
    trends = trends_of(rig)
    for one in of_lag(rig).values():
        assert (one.side, "SWITCH later" in change_text(one)) == ("", False)
    action = next_action(rig, trends, rig.checks[-1].on)
    assert "switch lag" in action.why
    assert "SWITCH later" not in action.why
    assert "the two directions disagree" in action.why


def test_a_lag_that_falls_names_no_later_side():
    grown = of_lag(lagging(STEADY + GROWN))["lock"]
    assert "SWITCH later" in size_text(grown)
    assert size_text(replace(grown, change=-0.02)).partition(" ")[0] == "-2.0"
    assert "SWITCH" not in size_text(replace(grown, change=-0.02))


@pytest.mark.parametrize(("sense", "side"), [(1.0, "right"), (-1.0, "left")])
@pytest.mark.parametrize("after", [0.019, 0.021])
def test_a_service_that_sets_it_back_shows_its_effect(after, sense, side):
    """However the side that was late stands against the other afterwards."""
    on = START + timedelta(days=91 * 9 + 5)
    lags = [0.02 + sense * (lag - 0.02) for lag in STEADY + GROWN + [after] * 4]
    lock = of_lag(lagging(lags, services=[SeasonService(on, "greased", starts_stage=True)]))["lock"]
    assert (lock.side, len(lock.service_effects)) == (side, 1)
    assert lock.service_effects[0].change < -0.02


def test_a_rig_without_switches_has_no_such_trend():
    assert of_lag(history([2.0] * 8)) == {}


CREEPS = [*STEADY, 0.0215, 0.0235, 0.0255, 0.0275]


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_a_lag_that_grows_is_forecast_to_the_lag_at_which_its_sign_shows(sense):
    """By 0.008 of the stroke a year, so 0.0025 short of the limit at the last check: some four months are left."""
    lock = of_lag(lagging([0.02 + sense * (lag - 0.02) for lag in CREEPS]))["lock"]
    ahead, last = lock.forecast, lock.points[-1].date
    assert ahead is not None
    true = last + timedelta(days=365 * (ahead.limit - sense * (0.02 + sense * 0.0075)) / 0.008)
    assert last < ahead.crosses
    assert ahead.low < true < ahead.high
    assert "sign 'switch-lag'" in ahead.limit_from
    assert f"{np.floor(1000 * ahead.limit) / 10:g} % of stroke about {ahead.crosses}" in forecast_text(lock)


def test_how_far_a_lag_wanders_in_a_year_counts_in_its_forecast(monkeypatch):
    rig = lagging(CREEPS)
    was = of_lag(rig)["lock"].forecast
    lag = series.ALLOWANCES["switch_lag"]
    for size in (lag.size * 1.05, lag.size / 1.05):
        monkeypatch.setattr(
            series, "ALLOWANCES", {**series.ALLOWANCES, "switch_lag": replace(lag, size=size)}
        )
        now = of_lag(rig)["lock"].forecast
        assert (now.low, now.crosses, now.high) != (was.low, was.crosses, was.high)


def test_the_limit_is_that_of_the_sign():
    """Throws of the first check that agree: one hundredth of the stroke; throws that scatter: what they leave open."""
    rig = lagging([0.02] * 8)
    line, _ = lines_of(rig, "lock", "switch_lag")
    limit = limit_of(rig.rig, line)
    first = line.throws[0]
    factor = student_t.ppf(0.9975, len(first) - 1) * (1.0 + 1.0 / len(first)) ** 0.5
    assert limit.value == pytest.approx(
        line.origin + max(0.01, float(np.hypot(factor * np.std(first, ddof=1), 0.002)))
    )
    wide = replace(line, throws=(np.array([0.0, 0.02, 0.04]), *line.throws[1:]))
    factor = student_t.ppf(0.9975, 2) * (4.0 / 3.0) ** 0.5
    assert limit_of(rig.rig, wide).value == pytest.approx(0.02 + float(np.hypot(factor * 0.02, 0.002)))


def test_there_is_no_forecast_where_it_cannot_be_known():
    """Too few checks, nothing that grows, or a switch that was moved."""
    short, steady = (of_lag(lagging(lags))["lock"] for lags in (CREEPS[-4:], [0.02] * 10))
    assert (short.forecast, steady.forecast) == (None, None)
    assert "6 needed" in short.no_forecast
    assert "normal variation" in steady.no_forecast
    moved = lagging(CREEPS + GROWN, unlock_lags=[0.04 - lag for lag in CREEPS + GROWN])
    for one in of_lag(moved).values():
        assert (one.forecast, one.no_forecast) == (None, NO_LATER_SIDE)


def test_a_lag_beyond_its_limit_is_looked_into_and_does_not_come_before_a_limit_of_the_rating():
    rig = lagging(STEADY + GROWN)
    today = rig.checks[-1].on
    assert of_lag(rig)["lock"].forecast.crosses < today
    action = next_action(rig, trends_of(rig), today)
    assert action.urgency == 3
    assert "reached its limit about" in action.ahead
    assert "is forecast" not in action.ahead
    worse = worsening_of(rig, trends_of(rig))
    assert (worse.urgency, worse.limits) == (3, ())


def test_a_service_that_set_it_back_leaves_nothing_to_forecast():
    on = START + timedelta(days=91 * 9 + 5)
    rig = lagging(STEADY + GROWN + [0.02] * 7, services=[SeasonService(on, "greased", starts_stage=True)])
    lock = of_lag(rig)["lock"]
    assert (lock.forecast, "normal variation" in lock.no_forecast) == (None, True)
    assert "points of stroke" in effect_change_text(lock, lock.service_effects[0])
