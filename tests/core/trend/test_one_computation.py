"""Chart, state, table, words and picture of a trend follow from one computation, on drawn histories."""

import json
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from matplotlib.figure import Figure

from tests.benchmarks.season_histories import FIRST_DAY, PLAIN, ROUGH, make_history, quarterly
from throwbook.cli import trend
from throwbook.core.trend.advisory import next_action
from throwbook.core.trend.change_test import mirrored, rises_at_every_check
from throwbook.core.trend.history import RigHistory
from throwbook.core.trend.series import lines_of
from throwbook.core.trend.signals import (
    BASELINE,
    IN_CONTROL,
    LOW,
    ODD,
    OUT,
    SUSPECT,
    _needed,
    each_stage,
    whole_of,
)
from throwbook.core.trend.trend_result import change_text, to_json, trends_of
from throwbook.core.wording import TREND_STATES
from throwbook.jobs.trend import RigTrend
from throwbook.report import trend_charts
from throwbook.report.sections import _trend_row as report_row
from throwbook.report.sections import amount
from throwbook_tui.charts import trend_drawing
from throwbook_tui.screens.trend import trend_words

CHECKS = 14
SERVICED = (6, CHECKS - 1)
QUARTERS = np.arange(CHECKS) / 4
WEAR = (
    np.zeros(CHECKS),
    0.12 * np.maximum(0.0, QUARTERS - 1.0),
    0.2 * (QUARTERS >= 2.0),
    -0.2 * (QUARTERS >= 2.0),
    0.3 * (QUARTERS == 2.0),
)
DRAWN = [
    (seed, style, shape, serviced)
    for seed, (style, shape) in enumerate(
        (style, shape) for style in (PLAIN, ROUGH) for shape in range(len(WEAR))
    )
    for serviced in (False, True)
]


@pytest.fixture(scope="module")
def drawn():
    """Rigs that stay, wear, jump up, jump down, are odd once; with and without a service after which one check was made."""
    found = []
    for seed, style, shape, serviced in DRAWN:
        plan = quarterly(CHECKS, WEAR[shape])
        if serviced:
            kinds = tuple("after-service" if i in SERVICED else kind for i, kind in enumerate(plan.kinds))
            plan = replace(plan, kinds=kinds, services=SERVICED)
        history = make_history(np.random.default_rng(7_000 + seed), style, plan).history
        if shape == 0 and not serviced:
            history = one_odd_check(history)
        found.append((history, trends_of(history)))
    return found


def one_odd_check(history: RigHistory) -> RigHistory:
    """The newest check draws a quarter more in one direction."""

    def odd(throw):
        if throw.direction != "lock":
            return throw
        amps = throw.figures.run_current_a
        return replace(
            throw, figures=replace(throw.figures, run_current_a=amps._replace(value=1.25 * amps.value))
        )

    *before, newest = history.checks
    return replace(
        history, checks=(*before, replace(newest, throws=tuple(odd(one) for one in newest.throws)))
    )


def each(drawn):
    return [one for _, trends in drawn for one in trends]


def test_a_level_outside_its_limits_is_what_a_state_says(drawn):
    seen = set()
    for one in each(drawn):
        for point in one.points:
            seen.add(point.state)
            if point.state == BASELINE:
                assert (point.level, point.above, point.below) == (None, None, None)
                continue
            assert (point.level >= point.above) == (point.state in (OUT, SUSPECT))
            assert (point.level <= point.below) == (point.state == LOW)
    assert seen == {BASELINE, IN_CONTROL, OUT, SUSPECT, LOW}


@pytest.mark.parametrize("seed", range(20))
def test_no_limit_lies_far_out_by_a_quotient_of_two_small_numbers(seed):
    """What a rise needs follows its own ±, also where neither it nor its evidence is anything to speak of."""
    history = make_history(np.random.default_rng(8_000 + seed), (PLAIN, ROUGH)[seed % 2], quarterly()).history
    line = lines_of(history, "lock", "run_current")[0]
    for series in each_stage(whole_of(line)):
        for rises in rises_at_every_check(series):
            for one in (*rises, *map(mirrored, rises)):
                # 4.0 for a normal curve; with few checks the tails are wider
                assert 2.5 * one.u < _needed(one, ODD, 0.0) < 9.0 * one.u


def test_the_chart_is_that_of_its_newest_check(drawn):
    for one in each(drawn):
        assert one.chart == one.stages[-1]
        for number, chart in enumerate(one.stages):
            last = [point for point in one.points if point.stage == number][-1]
            if last.state != BASELINE:
                assert (chart.level, chart.upper, chart.lower) == (last.level, last.above, last.below)
            assert chart.lower < chart.centre < chart.upper
            assert chart.lower < chart.level < chart.upper or last.state != IN_CONTROL


def test_the_change_is_now_over_baseline_less_one(drawn):
    for one in each(drawn):
        assert one.change == pytest.approx(one.chart.level / one.chart.centre - 1.0, abs=1e-12)
        said = change_text(one)
        if one.points[-1].state in (OUT, LOW):
            assert said.startswith(f"{100 * (one.chart.level / one.chart.centre - 1.0):+.0f} ")
            assert (one.change > 0.0) == (one.points[-1].state == OUT)
        assert one.first_signal == next((point.date for point in one.points if point.state == OUT), None)


def test_json_holds_what_is_drawn(drawn):
    for one in each(drawn):
        told = json.loads(json.dumps(to_json(one), allow_nan=False))
        assert [point["state"] for point in told["points"]] == [point.state for point in one.points]
        assert [point["level"] for point in told["points"]] == [point.level for point in one.points]
        assert told["chart"]["upper"] == one.chart.upper
        assert told["rise"] == pytest.approx(told["chart"]["level"] / told["chart"]["centre"] - 1.0)


def test_the_command_prints_the_levels_their_limits_and_the_same_change(drawn, capsys):
    def digits(value):
        return f"{value:#.3g}".rstrip(".")

    for history, trends in drawn:
        action = next_action(history, trends, history.checks[-1].on)
        trend.print_trend(RigTrend(history, tuple(trends), (), action))
        printed = [re.split(r"  +", line) for line in capsys.readouterr().out.splitlines()]
        for one in trends:
            row = [
                "running current",
                one.direction,
                f"{digits(one.chart.centre)} A",
                f"{digits(one.chart.level)} A",
            ]
            assert any(cells[:5] == [*row, change_text(one)] for cells in printed)
            for point in one.points:
                state = TREND_STATES[point.state].column
                said = f"{state}: {point.because}" if point.because else state
                lines = ["-", "-"]
                if point.level is not None:
                    lines = [f"{digits(point.level)} A", f"{digits(point.below)} to {digits(point.above)} A"]
                assert any(
                    cells[:2] == [str(point.date), point.sheet] and cells[-3:] == [*lines, said]
                    for cells in printed
                )


def test_screen_and_papers_say_the_same(drawn):
    for one in each(drawn):
        words = " ".join(getattr(cell, "text", str(cell)) for cell in trend_words(one, 0, 1, "metric"))
        assert change_text(one) in words
        row = report_row(one)
        assert row[2:7] == (
            amount(one.chart.centre, one.unit),
            amount(one.chart.level, one.unit),
            change_text(one),
            f"{amount(one.chart.lower, one.unit)} to {amount(one.chart.upper, one.unit)}",
            TREND_STATES[one.points[-1].state].column,
        )


def test_the_pictures_draw_what_decides(drawn):
    for _, trends in drawn:
        for one in trends:
            axes = Figure().subplots()
            trend_charts.draw_trend(axes, one)
            lines = [
                (list(line.get_xdata(orig=False)), list(line.get_ydata(orig=False))) for line in axes.lines
            ]
            screen = trend_drawing(one).series
            for number in range(len(one.stages)):
                points = [point for point in one.points if point.stage == number and point.level is not None]
                if not points:
                    continue
                for name in ("level", "above", "below"):
                    heights = [getattr(point, name) for point in points]
                    assert any(ys == heights for _, ys in lines), name
                    if name != "below":
                        days = [point.date.toordinal() for point in points]
                        assert any(list(s.x) == days and list(s.low) == heights for s in screen), name


def test_one_check_after_a_service_has_limits_for_the_next(drawn):
    alone = [one for one in each(drawn) if one.points[-1].state == BASELINE]
    assert alone
    for one in alone:
        assert one.chart.level == pytest.approx(one.chart.centre, rel=1e-4)
        assert one.chart.upper > 1.05 * one.chart.centre
        assert date.fromisoformat(one.chart.since) > FIRST_DAY
