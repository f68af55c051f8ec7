"""The lag between the two pins' switches over the seasons: whose side comes later, since when, and after a service."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tests.core.trend.test_history import START, history
from throwbook.core.assessment import Measured
from throwbook.core.trend.advisory import next_action
from throwbook.core.trend.history import SeasonService
from throwbook.core.trend.trend_result import change_text, size_text, to_json, trends_of


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
