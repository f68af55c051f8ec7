"""What is drawn of trials and trends, as data. Nothing of Textual."""

from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from throwbook.core.analysis.live import START_UP_S
from throwbook.core.assessment import switch_places
from throwbook.core.quantities.rounding import rounded_down
from throwbook.core.trace import FloatArray
from throwbook.core.trend.control_chart import stage_lines
from throwbook.core.trend.signals import OUT
from throwbook.core.wording import FIGURES, SIGNS
from throwbook_tui.present import EDGE, GOOD, QUIET, WARN, three_digits
from throwbook_tui.widgets.chart import Drawing, Level, Series

if TYPE_CHECKING:
    from throwbook.core.trend.trend_result import TrendResult
    from throwbook.jobs.judgements import TrialView

COLUMNS = 400
"""A record is reduced to so many columns of lowest and highest, so that no peak is lost in drawing."""
CHECK, CHECK_OUT = "o", "X"
"""Marks of a trend's checks: as they should be, and out of control."""


def trace_drawing(found: "TrialView") -> Drawing | None:
    """Current over time with rated maximum and place of the signs."""
    trace = found.trace
    if trace is None or len(trace) < 2:
        return None
    time_s = trace.time_s - trace.time_s[0]
    current_a = np.abs(trace.current_a)
    edges = np.unique(np.linspace(0, len(time_s), min(COLUMNS, len(time_s)) + 1).astype(int))[:-1]
    low, high = np.minimum.reduceat(current_a, edges), np.maximum.reduceat(current_a, edges)
    rated_a = found.rig.actuator.full_load_current_a
    run_a = _run_after_start(time_s, current_a)
    top = 1.08 * max(run_a, rated_a)
    levels = [Level(rated_a, f"full load {rated_a:.3g} A", WARN)]
    if float(high.max()) > top:
        levels.append(Level(float(high.max()), f"{FIGURES['inrush_a'].column} {high.max():.3g} A", QUIET))
    judged = found.logged.judgement
    uprights = []
    if judged is not None:
        uprights = [
            (sign.from_s, SIGNS[sign.sign].column)
            for sign in judged.assessment.signs
            if sign.from_s is not None and sign.level != "info"
        ]
    return Drawing(
        0.0,
        float(time_s[-1]),
        0.0,
        top,
        [Series(time_s[edges], low, high)],
        levels,
        uprights=uprights,
    )


def _run_after_start(time_s: FloatArray, current_a: FloatArray) -> float:
    """Highest current once the start-up surge is over [A]: in its scale the run would be a flat line at the bottom."""
    begun_s = time_s[np.argmax(current_a > 0.1 * current_a.max())]
    run = current_a[time_s >= begun_s + START_UP_S]
    return float(run.max()) if len(run) else float(current_a.max())


def profile_drawing(found: "TrialView") -> Drawing | None:
    """Current over travel against the baseline's range."""
    profile, baseline = found.profile, found.baseline
    if profile is None:
        return None
    series = []
    highest = float(np.nanmax(profile.current_a))
    if baseline is not None and baseline.has_profile:
        series += [
            Series(baseline.fraction, baseline.low_a, baseline.low_a, "other", dotted=True),
            Series(baseline.fraction, baseline.high_a, baseline.high_a, "other", dotted=True),
        ]
        if np.isfinite(baseline.high_a).any():
            highest = max(highest, float(np.nanmax(baseline.high_a)))
    series.append(Series(profile.fraction, profile.current_a, profile.current_a, "line"))
    judged = found.logged.judgement
    places = []
    if judged is not None:
        places = [
            (sign.at_fraction, SIGNS[sign.sign].column)
            for sign in judged.assessment.signs
            if sign.at_fraction is not None and sign.level != "info"
        ]
        places += switch_places(judged.assessment.figures)
    words = ("start of stroke", "half", "end")
    return Drawing(0.0, 1.0, 0.0, 1.1 * max(highest, 0.1), series, x_words=words, uprights=places)


def trend_drawing(one: "TrendResult") -> Drawing | None:
    """Points over the years, the chart's lines, the limit that a forecast runs towards."""
    if not one.points:
        return None
    days = np.array([float(point.date.toordinal()) for point in one.points])
    values = np.array([point.corrected for point in one.points])
    out = np.array([point.state == OUT for point in one.points])
    series: list[Series] = []
    # At each check the level that it and those before it show, and what that was held against.
    limits: list[float] = []
    for lines in stage_lines(one.stages, one.points):
        at = np.array([float(day.toordinal()) for day in lines.days])
        for drawn, tone in ((lines.level, "other"), (lines.above, WARN)):
            height = np.array(drawn)
            series.append(Series(at, height, height, tone, dotted=tone == WARN))
            limits += drawn
    # A letter a check, over the lines: two or three of them are seen as well as forty.
    series.append(Series(days[~out], values[~out], values[~out], mark=CHECK))
    series.append(Series(days[out], values[out], values[out], EDGE, mark=CHECK_OUT))
    levels = [
        Level(one.chart.centre, f"centre {three_digits(one.chart.centre)}", GOOD),
        Level(one.chart.upper, f"upper {three_digits(one.chart.upper)}", WARN),
        Level(one.chart.lower, f"lower {three_digits(one.chart.lower)}", WARN),
    ]
    shown = [*values.tolist(), *limits, one.chart.lower]
    last = days[-1]
    if one.forecast is not None:
        levels.append(Level(one.forecast.limit, f"limit {rounded_down(one.forecast.limit)}", EDGE))
        shown.append(one.forecast.limit)
        last = max(last, float(min(one.forecast.crosses.toordinal(), int(days[-1]) + 730)))
    low, high = min(shown), max(shown)
    room = 0.08 * (high - low or 1.0)
    first = days[0] if last > days[0] else days[0] - 1.0
    middle = date.fromordinal(int((first + last) / 2))
    words = (
        date.fromordinal(int(first)).isoformat(),
        middle.isoformat(),
        date.fromordinal(int(last)).isoformat(),
    )
    uprights = [(float(effect.date.toordinal()), effect.action) for effect in one.service_effects]
    unit = "share" if one.unit == "1" else one.unit
    return Drawing(
        float(first),
        float(last),
        low - room,
        high + room,
        series,
        levels,
        y_unit=unit,
        x_words=words,
        uprights=uprights,
    )
