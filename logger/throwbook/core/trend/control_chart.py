"""What is drawn and said about one line of checks: points, chart, EWMA and CUSUM, slope, forecast.

EWMA (ISO 7870-6) and CUSUM (ISO 7870-4) stand in the JSON of a trend and decide nothing; worked figures of the NIST/SEMATECH
e-Handbook 6.3.2 stand in the tests. Values may be in any unit; limits come out in the same.
"""

from bisect import insort
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import sqrt

import numpy as np

from throwbook.core.diagnosis.signs.pins import SMALLEST_LAG, lag_u
from throwbook.core.machine.limits import limits_for
from throwbook.core.quantities.statistics import K, from_half_width, t_quantile
from throwbook.core.rig import Rig
from throwbook.core.trace import FloatArray
from throwbook.core.trend.change_test import Coefficients, learn
from throwbook.core.trend.forecast import CONFIDENCE as FORECAST_CONFIDENCE
from throwbook.core.trend.forecast import FEWEST, crossing, mann_kendall, theil_sen
from throwbook.core.trend.history import (
    PEAK_RUN_CURRENT,
    RUN_CURRENT,
    SOURCE_RESISTANCE,
    SWITCH_LAG,
    TRAVEL_TIME,
    RigHistory,
)
from throwbook.core.trend.series import DAYS_A_YEAR, WEATHER, Line
from throwbook.core.trend.signals import BASELINE, CheckState, TestReading, each_stage, newest_stage, whole_of


def ewma(values: FloatArray, weight: float, start: float) -> FloatArray:
    """Exponentially weighted moving average, shape (n,); ``weight`` is the share of the newest value (0..1]."""
    out = np.empty(len(values))
    level = start
    for i, value in enumerate(values):
        level = weight * value + (1.0 - weight) * level
        out[i] = level
    return out


def ewma_limit(count: int, weight: float, sigma: float, factor: float = 3.0) -> FloatArray:
    """Distance of the EWMA limits from the centre after 1..count values, shape (count,) (ISO 7870-6)."""
    t = np.arange(1, count + 1)
    narrowed = 1.0 - (1.0 - weight) ** (2 * t)
    return np.asarray(factor * sigma * np.sqrt(weight / (2.0 - weight) * narrowed))


def cusum(values: FloatArray, target: float, slack: float) -> tuple[FloatArray, FloatArray]:
    """One-sided sums of what exceeds ``target`` by more than ``slack``: high and low side, each shape (n,) (ISO 7870-4)."""
    high, low = np.empty(len(values)), np.empty(len(values))
    above = below = 0.0
    for i, value in enumerate(values):
        above = max(0.0, above + value - target - slack)
        below = max(0.0, below + target - value - slack)
        high[i], low[i] = above, below
    return high, low


EWMA_WEIGHT = 0.3
"""Of the newest value (NIST/SEMATECH e-Handbook 6.3.2.4: 0.2 to 0.3)."""
CUSUM_SLACK = 0.5
CUSUM_LIMIT = 5.0
"""Both in standard deviations of a check (ISO 7870-4 names 0.5 and 4 or 5)."""
OUTSIDE = 0.005
"""Chance that a check of a rig as it was lies further up than ``factor``, or further down (common practice, no source)."""
KNOWN_BEFORE = 8
"""Degrees of freedom that the allowance for scatter is worth (assumed)."""
PLAIN_CHANCE = 0.05
"""A change that chance makes more often than this isn't told as one, and there is nothing to forecast (common practice, no source)."""
FORECAST_CHECKS = 100
"""A forecast goes by so many checks of the newest stage at most, 25 years of quarters; what older ones say of weather counts."""
SLOPE_CHECKS = 500
"""A slope is drawn through so many checks of the newest stage at most: every pair of them is looked at."""
NO_LIMIT = "this figure has no limit"
NO_LATER_SIDE = "no forecast yet: the two directions disagree, and a switch out of place doesn't grow"


@dataclass(frozen=True)
class Point:
    """One check."""

    date: date
    sheet: str
    value: float
    """Mean as measured [unit]."""
    corrected: float
    """At 20 degC and nominal voltage [unit]."""
    corrected_u: float
    """Expanded uncertainty (k = 2): of the readings, of what checks differ by without wear, and of the correction [unit]."""
    n: int
    state: str
    because: str
    ewma: float
    """EWMA of the corrected values in their stage [unit]."""
    cusum: float
    """High-side CUSUM in their stage [standard deviations of a check]."""
    ambient_c: float | None
    weather: float
    """What weather and supply add at this check, as learned so far [unit]."""
    level: float | None
    """Level that the checks up to this one show, by the test that comes nearest to its limit [unit]; None: a stage's first."""
    above: float | None
    """A level over this one was out of control at this check, or suspect where it alone carries it [unit]."""
    below: float | None
    """A level under this one was low [unit]."""
    stage: int = 0
    """Which stage it belongs to, counted from 0."""


@dataclass(frozen=True)
class Chart:
    """The lines that decide, as a stage's last check has them [unit]: that check's ``above``, ``below`` and what they rest on."""

    centre: float
    """Level of the stage without the rise (or fall) that comes nearest to its limit."""
    lower: float
    upper: float
    level: float
    """Level now: over ``upper`` it is out of control (or suspect), under ``lower`` low."""
    baseline_throws: int
    """How many throws the stage's first check rests on."""
    factor: float
    """So many standard deviations from the level a check of the stage lies at most, for what is known so far."""
    sigma: float
    """Standard deviation of one check [unit]."""
    ewma_upper: float
    """For who reads on: the averages and sums beside each check decide nothing, see the guide."""
    cusum_limit: float
    since: str
    """Day on which the stage began."""


@dataclass(frozen=True)
class Slope:
    """Theil-Sen slope of the corrected values in the newest stage (its newest ``SLOPE_CHECKS``) [unit a year], its 95 % interval, Mann-Kendall p."""

    per_year: float | None
    low: float | None
    high: float | None
    p_value: float | None


@dataclass(frozen=True)
class ForecastLimit:
    """What a forecast runs towards [unit]."""

    value: float
    limit_from: str


@dataclass(frozen=True)
class Forecast:
    """When the level at 20 degC and nominal voltage crosses the limit."""

    limit: float
    limit_from: str
    crosses: date
    low: date
    high: date
    confidence: float


@dataclass(frozen=True, eq=False)
class Stage:
    """One stage of a line, as its last check sees it."""

    rows: slice
    """Its checks in the line."""
    learned: Coefficients
    """Weather, level and wear learned side by side, from this stage and those before it."""
    level: int
    """Which coefficient of ``learned`` is the level."""
    variance: float
    """Median variance of a check, of this stage and those before it (relative)."""


@dataclass(frozen=True, eq=False)
class LineFit:
    """What a line's checks say of it, stage by stage: one computation for everything that is drawn and said."""

    stages: list[Stage]
    """Oldest first; the last one knows all checks."""
    weather: FloatArray
    """shape (k,): what weather and supply do at each check, as the newest stage sees them (relative)"""

    @property
    def learned(self) -> Coefficients:
        """As the newest stage sees it."""
        return self.stages[-1].learned


def fit_line(line: Line) -> LineFit:
    """Each stage learned once, with what those before it told: the work grows with the checks."""
    stages, seen, first = [], list[float](), 0
    for series in each_stage(whole_of(line), wears=True):
        rows = slice(first, first + len(series.change))
        for one in series.variance.tolist():
            insort(seen, one)
        middle = (seen[(len(seen) - 1) // 2] + seen[len(seen) // 2]) / 2.0
        stages.append(Stage(rows, learn(series), series.level, middle))
        first = rows.stop
    return LineFit(stages, line.weather @ stages[-1].learned.mean[:WEATHER])


def chart_and_points(
    line: Line, fit: LineFit, states: list[CheckState]
) -> tuple[tuple[Chart, ...], tuple[Point, ...]]:
    """The chart of each stage as it stood at its end, oldest first, and every check as a point on it."""
    scale, weather = line.scale, fit.weather
    corrected, off_by = line.at_20_degc(weather)
    scale_there = line.scale_at(corrected)
    covariance = fit.learned.covariance[:WEATHER, :WEATHER]
    correction = np.sum((line.weather @ covariance) * line.weather, axis=1)
    # A hand reading's own ± is the stated one: once is enough.
    of_check = fit.learned.between_square + line.variance - (line.own_u / scale) ** 2
    variance = scale_there**2 * (correction + of_check) + (from_half_width(1.0) * off_by) ** 2
    corrected_u = np.hypot(K * np.sqrt(variance), line.stated_u)
    charts = tuple(_chart(line, one, states[one.rows.stop - 1].reading) for one in fit.stages)
    averages, sums = _running(fit, corrected, charts[-1].sigma)
    points = tuple(
        Point(
            date=check.on,
            sheet=check.sheet,
            value=value,
            corrected=at_20,
            corrected_u=u,
            n=len(throws),
            state=state.state,
            because=state.because,
            ewma=average,
            cusum=total,
            ambient_c=check.ambient_c,
            weather=moved,
            **_lines_at(line, state),
            stage=stage,
        )
        for check, throws, state, stage, value, at_20, u, average, total, moved in zip(
            line.checks,
            line.throws,
            states,
            [number for number, one in enumerate(fit.stages) for _ in range(one.rows.start, one.rows.stop)],
            *(one.tolist() for one in (line.raw, corrected, corrected_u, averages, sums, scale * weather)),
            strict=True,
        )
    )
    return charts, points


def _lines_at(line: Line, state: CheckState) -> dict[str, float | None]:
    if state.state == BASELINE:
        return {"level": None, "above": None, "below": None}
    reading = state.reading
    return {
        "level": line.in_unit(reading.now),
        "above": line.in_unit(reading.above),
        "below": line.in_unit(reading.below),
    }


def _chart(line: Line, stage: Stage, reading: TestReading) -> Chart:
    learned, scale, rows = stage.learned, line.scale, stage.rows
    typical = sqrt(learned.between**2 + stage.variance)
    level_variance = float(learned.covariance[stage.level, stage.level])
    factor = t_quantile(1.0 - OUTSIDE, KNOWN_BEFORE + rows.stop - 1) * sqrt(1.0 + level_variance / typical**2)
    centre = line.in_unit(reading.level)
    newest_limit = ewma_limit(rows.stop - rows.start, EWMA_WEIGHT, scale * typical, factor)[-1]
    return Chart(
        centre=centre,
        lower=line.in_unit(reading.below),
        upper=line.in_unit(reading.above),
        level=line.in_unit(reading.now),
        baseline_throws=len(line.throws[rows.start]),
        factor=factor,
        sigma=scale * typical,
        ewma_upper=centre + float(newest_limit),
        cusum_limit=CUSUM_LIMIT,
        since=line.checks[rows.start].on.isoformat(),
    )


@dataclass(frozen=True)
class StageLines:
    """What is drawn of one stage: one entry for each check after its first, or for that one where there is no other."""

    days: tuple[date, ...]
    level: tuple[float, ...]
    above: tuple[float, ...]
    below: tuple[float, ...]
    centre: float


def stage_lines(charts: Sequence[Chart], points: Sequence[Point]) -> list[StageLines]:
    """The lines that decided at each check, stage by stage, for every picture of a trend."""
    drawn = []
    for number, chart in enumerate(charts):
        begun = date.fromisoformat(chart.since)
        rows = [
            (one.date, one.level, one.above, one.below)
            for one in points
            if one.stage == number and one.level is not None
        ] or [(begun, chart.level, chart.upper, chart.lower)]
        days, level, above, below = zip(*rows, strict=True)
        drawn.append(StageLines(days, level, above, below, chart.centre))
    return drawn


def _running(fit: LineFit, corrected: FloatArray, sigma: float) -> tuple[FloatArray, FloatArray]:
    """EWMA [unit] and high-side CUSUM [sigma] of each stage, started at its first check."""
    averages, sums = np.empty(len(corrected)), np.empty(len(corrected))
    for stage in fit.stages:
        values = corrected[stage.rows]
        averages[stage.rows] = ewma(values, EWMA_WEIGHT, float(values[0]))
        sums[stage.rows] = cusum((values - values[0]) / sigma, 0.0, CUSUM_SLACK)[0]
    return averages, sums


def slope_of(line: Line, fit: LineFit, points: tuple[Point, ...]) -> Slope:
    """Slope within the newest stage; None with fewer than three checks.

    All values are corrected by the same slopes of weather and supply: what those may be off tilts them together. The interval
    holds both ways in which weather may act on a figure that has come up (``Line.at_20_degc``).
    """
    inside = np.flatnonzero(line.stage == line.stage[-1])[-SLOPE_CHECKS:]
    if len(inside) < 3:
        return Slope(None, None, None, None)
    values = np.array([one.corrected for one in points])[inside]
    apart = line.at_20_degc(fit.weather)[1][inside]
    years = line.years[inside] - line.years[inside].mean()
    tilt = years @ line.weather[inside] / max(float(years @ years), 1e-12)
    covariance = fit.learned.covariance[:WEATHER, :WEATHER]
    tilt_u = line.scale_at(values.mean()) * sqrt(float(tilt @ covariance @ tilt))
    middle, *ends = (
        theil_sen(line.years[inside], values + way * apart, shared_u=float(tilt_u))
        for way in (0.0, -1.0, 1.0)
    )
    low, high = min(one.low for one in ends), max(one.high for one in ends)
    return Slope(
        middle.value,
        low if np.isfinite(low) else None,
        high if np.isfinite(high) else None,
        mann_kendall(values).p,
    )


def limit_of(rig: Rig, line: Line) -> ForecastLimit | None:
    """The acceptance limit of this figure, of the switch lag where its sign shows; None where it has none."""
    limits = limits_for(rig, line.origin if line.figure == TRAVEL_TIME else None)
    if line.figure in (RUN_CURRENT, PEAK_RUN_CURRENT):
        return ForecastLimit(limits[line.figure].value, limits[line.figure].limit_from)
    if line.figure == SOURCE_RESISTANCE:
        least = limits["supply_under_load"]
        drop = (rig.actuator.voltage_v - least.value) / rig.actuator.full_load_current_a
        return ForecastLimit(drop, f"voltage under load at the full-load current: {least.limit_from}")
    if line.figure == TRAVEL_TIME:
        longest = limits["travel_time_high"]
        return ForecastLimit(longest.value * line.origin, f"of the baseline's time: {longest.limit_from}")
    if line.figure == SWITCH_LAG:
        first = line.throws[0]
        sd = float(np.std(first, ddof=1)) if len(first) > 1 else 0.0
        beyond = max(SMALLEST_LAG, lag_u(len(first), sd, float(line.stated_u[-1])))
        return ForecastLimit(line.origin + beyond, "from here on the sign 'switch-lag' shows")
    return None


def forecast_of(
    history: RigHistory, line: Line, limit: ForecastLimit | None, no_rise: float
) -> tuple[Forecast | None, str]:
    """The forecast, or None and why; ``no_rise`` is the chance that nothing rises at all."""
    if limit is None:
        return None, NO_LIMIT
    if line.figure == SWITCH_LAG and not line.side:
        return None, NO_LATER_SIDE
    inside = int((line.stage == line.stage[-1]).sum())
    if inside >= FEWEST and no_rise > PLAIN_CHANCE:
        return None, "no forecast yet: no change beyond normal variation"
    series = newest_stage(whole_of(line), most=FORECAST_CHECKS)
    found = crossing(series, (limit.value - line.origin) / line.scale, line.allowance.size)
    if found.at is None or found.low is None or found.high is None:
        return None, f"no forecast yet: {found.why_not}"
    first = history.checks[0].on
    at, low, high = (
        first + timedelta(days=round(one * DAYS_A_YEAR)) for one in (found.at, found.low, found.high)
    )
    return Forecast(limit.value, limit.limit_from, at, low, high, FORECAST_CONFIDENCE), ""
