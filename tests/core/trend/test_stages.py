"""The chart of every stage between services is kept, and what signalled first is shown first."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from tests.core.trend.test_history import START, history
from throwbook.core.trend.history import SeasonService
from throwbook.core.trend.trend_result import Drift, telling_first, to_json, trends_of


def test_each_stage_keeps_the_chart_it_had_at_its_end():
    service = SeasonService(START + timedelta(days=91 * 8 - 10), "greased", True)
    grown = history([2.0] * 5 + [2.3, 2.5, 2.6] + [2.05] * 5, services=[service])
    before = history([2.0] * 5 + [2.3, 2.5, 2.6])
    now = next(one for one in trends_of(grown) if (one.figure, one.direction) == ("run_current", "lock"))
    then = next(one for one in trends_of(before) if (one.figure, one.direction) == ("run_current", "lock"))
    assert len(now.stages) == 2
    assert now.stages[-1] == now.chart
    assert (now.stages[0].since, now.stages[1].since) == (
        grown.checks[0].on.isoformat(),
        grown.checks[8].on.isoformat(),
    )
    assert now.stages[0].upper == then.chart.upper
    assert now.stages[0].lower == then.chart.lower < now.stages[0].centre < now.stages[0].upper
    assert [one["since"] for one in to_json(now)["stages"]] == [one.since for one in now.stages]


def test_what_signalled_first_is_shown_first():
    quiet = trends_of(history([2.0] * 8))
    assert telling_first(quiet) == list(dict.fromkeys(one.figure for one in quiet))
    grown = trends_of(history([2.0] * 5 + [2.6, 2.8, 2.9]))
    signalled = [one for one in grown if one.first_signal]
    assert signalled
    assert telling_first(grown)[0] == min(signalled, key=lambda one: one.first_signal).figure


def test_of_two_figures_that_signalled_the_earlier_stands_first():
    every = {one.figure: one for one in trends_of(history([2.0] * 3)) if one.direction == "lock"}
    late = replace(every["run_current"], first_signal=date(2024, 5, 1))
    early = replace(every["travel_time"], first_signal=date(2023, 5, 1))
    never = replace(every["run_current"], figure="peak_run_current", first_signal=None)
    assert telling_first([late, never, early]) == ["travel_time", "run_current", "peak_run_current"]


@pytest.mark.parametrize(
    ("first", "now", "share"), [(2.0, 2.5, 0.25), (0.0, 0.03, 0.03), (-0.005, 0.03, 0.035)]
)
def test_a_drift_is_a_share_of_the_first_level_or_what_lies_between_where_that_is_nothing(first, now, share):
    assert Drift(first, date(2023, 5, 1), now, now).share == pytest.approx(share)
