"""A rig's history turned into trends: one result for each direction and figure (contract section 5).

Data in, data out. The order of work: ``season_lines`` makes the checks comparable, ``signals`` says which check first
showed a rise, ``trend_figures`` draws chart, slope, forecast and service effects; ``next_action`` sums a rig up.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any

from logger.core.quantities.uncertainty import K
from logger.core.seasons.creep import Creep, creep_of
from logger.core.seasons.season import FIGURES, RigHistory
from logger.core.seasons.season_lines import Line, lines_of
from logger.core.seasons.service_effect import ServiceEffect, service_effects
from logger.core.seasons.signals import OUT, CheckState, check_states, rises_together
from logger.core.seasons.spread import Spread, spread_of
from logger.core.seasons.trend_figures import (
    Chart,
    Forecast,
    Point,
    Slope,
    chart_and_points,
    fit_line,
    forecast_of,
    limit_of,
    slope_of,
)
from logger.core.trace import DIRECTIONS


@dataclass(frozen=True)
class AsFound:
    """The first movements after a rest, charted by themselves."""

    points: tuple[Point, ...]
    chart: Chart | None
    first_signal: date | None


@dataclass(frozen=True)
class TrendResult:
    """One direction and figure of one rig over the years."""

    rig: str
    direction: str
    figure: str
    unit: str
    points: tuple[Point, ...]
    chart: Chart
    first_signal: date | None
    """First point of the newest stretch or any before that is out of control, not explained by weather or supply."""
    signals: tuple[date, ...]
    """Every such point."""
    slope: Slope
    forecast: Forecast | None
    no_forecast: str
    """Why there is no forecast; empty where there is one."""
    service_effects: tuple[ServiceEffect, ...]
    as_found: AsFound | None
    provisional: bool
    rise: float
    """The change: ``chart.level`` over ``chart.centre`` less one at the newest check (take-up: their difference)."""
    rise_u: float
    """Its standard uncertainty."""
    rise_chance: float
    """Chance that there is no rise at all (or no fall, where it is one)."""
    spread: Spread | None = None
    """Scatter from throw to throw; None with too few throws."""
    stages: tuple[Chart, ...] = ()
    """The chart of each stage between services, oldest first, each as it stood at its stage's end; ``chart`` is the last."""
    creep: Creep | None = None
    """How far it has come up since the rig's first check, services in between; None: not beyond the chart's limits."""


def trends_of(history: RigHistory) -> list[TrendResult]:
    """Every direction and figure that has at least one check, in contract order."""
    results = []
    for figure in FIGURES:
        lines = [lines_of(history, one, figure) for one in DIRECTIONS]
        (lock, _), (unlock, _) = lines
        both = rises_together(lock, unlock) if lock is not None and unlock is not None else {}
        for clean, found in lines:
            if clean is not None:
                results.append(_trend(history, clean, check_states(clean, both), found))
    return results


def telling_first(trends: Sequence[TrendResult]) -> list[str]:
    """Figures in the order in which they are shown: what signalled first stands first, then the contract's order."""
    first = {
        figure: min(
            (one.first_signal for one in trends if one.figure == figure and one.first_signal), default=None
        )
        for figure in dict.fromkeys(one.figure for one in trends)
    }
    return sorted(first, key=lambda one: (first[one] is None, first[one] or date.max))


def _trend(history: RigHistory, line: Line, states: list[CheckState], found: Line | None) -> TrendResult:
    fit = fit_line(line)
    charts, points = chart_and_points(line, fit, states)
    limit = limit_of(history.rig, line)
    forecast, why_not = forecast_of(history, line, limit, states[-1].rise.chance)
    signals = tuple(one.date for one in points if one.state == OUT)
    reading, chart = states[-1].reading, charts[-1]
    # Relative to the level that stands as the baseline beside it; a figure that starts at nothing has a plain difference.
    base = abs(chart.centre) if line.allowance.relative else 1.0
    return TrendResult(
        rig=history.rig.name,
        direction=line.direction,
        figure=line.figure,
        unit=FIGURES[line.figure][1],
        points=points,
        chart=chart,
        first_signal=signals[0] if signals else None,
        signals=signals,
        slope=slope_of(line, points),
        forecast=forecast,
        no_forecast=why_not,
        service_effects=service_effects(history, line, fit, states),
        as_found=None if found is None else _as_found(found),
        provisional=history.provisional,
        rise=(chart.level - chart.centre) / base,
        rise_u=reading.rise.u * line.scale / base,
        rise_chance=reading.chance,
        spread=spread_of(line),
        stages=charts,
        creep=creep_of(history, line, fit, chart, points),
    )


def _as_found(line: Line) -> AsFound:
    states = check_states(line, {})
    charts, points = chart_and_points(line, fit_line(line), states)
    first = next((one.date for one in points if one.state == OUT), None)
    return AsFound(points, charts[-1], first)


def to_json(result: TrendResult) -> dict[str, Any]:
    """The contract's object, and what goes beyond it, as JSON can hold it."""
    slope = result.slope
    return {
        "rig": result.rig,
        "direction": result.direction,
        "figure": result.figure,
        "unit": result.unit,
        "points": [_point(one) for one in result.points],
        "chart": asdict(result.chart),
        "stages": [asdict(one) for one in result.stages],
        "first_signal": None if result.first_signal is None else result.first_signal.isoformat(),
        "signals": [one.isoformat() for one in result.signals],
        "slope_per_year": slope.per_year,
        "slope_low": slope.low,
        "slope_high": slope.high,
        "p_value": slope.p_value,
        "forecast": None if result.forecast is None else _days(asdict(result.forecast)),
        "no_forecast": result.no_forecast or None,
        "service_effects": [_days(asdict(one)) for one in result.service_effects],
        "as_found": _as_found_json(result.as_found),
        "provisional": result.provisional,
        "rise": result.rise,
        "rise_u": None if result.rise_u == float("inf") else K * result.rise_u,
        "rise_chance_none": result.rise_chance,
        "spread": None if result.spread is None else asdict(result.spread),
        "since_first": None
        if result.creep is None
        else {**_days(asdict(result.creep)), "share": result.creep.share},
    }


def _as_found_json(found: AsFound | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "points": [_point(one) for one in found.points],
        "chart": None if found.chart is None else asdict(found.chart),
        "first_signal": None if found.first_signal is None else found.first_signal.isoformat(),
    }


def _point(point: Point) -> dict[str, Any]:
    return _days(asdict(point))


def _days(record: dict[str, Any]) -> dict[str, Any]:
    return {key: one.isoformat() if isinstance(one, date) else one for key, one in record.items()}


def only(history: RigHistory, count: int) -> RigHistory:
    """The history as it stood after its first ``count`` checks."""
    checks = history.checks[:count]
    last = checks[-1].on
    return replace(history, checks=checks, services=tuple(one for one in history.services if one.on <= last))
