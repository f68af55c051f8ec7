"""A rig's history turned into trends: one result for each direction and figure, as JSON and in words.

Drift over services: each service restarts the chart, and none may hide how far a level has come. The newest stage's level is
held against the rig's first check, or the first one after the actuator was replaced. It has drifted when that check lies
lower than a check of the newest stage does but once in 200.

Dispersion: does a figure jump about more from throw to throw than it used to (a loose plug, worn brushes, a slack mounting)?
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from scipy.special import fdtrc

from throwbook.core.quantities.rounding import interval_text, rounded_down
from throwbook.core.quantities.statistics import K
from throwbook.core.rig import DIRECTIONS
from throwbook.core.trend.change_test import ratio_u
from throwbook.core.trend.control_chart import (
    PLAIN_CHANCE,
    Chart,
    Forecast,
    LineFit,
    Point,
    Slope,
    chart_and_points,
    fit_line,
    forecast_of,
    limit_of,
    slope_of,
)
from throwbook.core.trend.history import FIGURES, OF_STROKE, SWITCH_LAG, RigHistory, unit_of
from throwbook.core.trend.maintenance_effect import ServiceEffect, service_effects
from throwbook.core.trend.series import Line, lines_of
from throwbook.core.trend.signals import OUT, CheckState, check_states, rises_together
from throwbook.core.wording import FIGURES as NAMES
from throwbook.core.wording import switch_name

NEW_MACHINE = "replaced"
"""The action after which nothing of before can be held against it."""


@dataclass(frozen=True)
class Drift:
    """How far a level stands above the first one, services in between."""

    first: float
    """Corrected figure of the first check [unit]."""
    on: date
    """Its day."""
    now: float
    """Level of the newest stage [unit]."""
    reach: float
    """A check of that level lies under this but once in 200 (``OUTSIDE``) [unit]."""

    @property
    def share(self) -> float:
        """``now`` over ``first``, less one; for a figure that starts at nothing: the difference."""
        return self.now / self.first - 1.0 if self.first > 0 else self.now - self.first


def drift_of(
    history: RigHistory, line: Line, fit: LineFit, chart: Chart, points: tuple[Point, ...]
) -> Drift | None:
    """The drift of one line; None while no service has restarted its chart, or the level is no higher."""
    renewed = [one.on for one in history.services if one.action == NEW_MACHINE]
    since = max(renewed, default=date.min)
    first = next((i for i, one in enumerate(points) if one.date > since), None)
    if first is None or line.stage[first] == line.stage[-1]:
        return None
    now = line.in_unit(float(fit.learned.mean[fit.stages[-1].level]))
    reach = now - max(chart.factor * chart.sigma, line.scale * float(line.least[-1]))
    begun = points[first]
    return Drift(begun.corrected, begun.date, now, reach) if begun.corrected < reach else None


NEWEST = 3
"""Checks looked at together: one jumpy check may be one odd throw."""
FEWEST_BEFORE = 6
"""Degrees of freedom that the scatter before must rest on (common practice, no source)."""
CHANCE = 5e-4
"""Chance of such a rise without any cause, at one look."""
SMALLEST = 0.04
"""No smaller scatter is called wide: spread of 10 % in a set of three is accepted in practice, about 2.5 sigma."""


@dataclass(frozen=True)
class Dispersion:
    """Standard deviation of a throw within its check, before and over the newest checks (relative)."""

    before: float
    now: float
    chance: float
    """That so great a rise comes by itself (F test)."""
    grown: bool


def dispersion_of(line: Line) -> Dispersion | None:
    """Scatter of the newest ``NEWEST`` checks against all before them; None with too few throws."""
    groups = [one / line.scale for one in line.throws]
    squares = np.array([float(np.sum((one - one.mean()) ** 2)) for one in groups])
    freedom = np.array([len(one) - 1 for one in groups])
    split = len(groups) - NEWEST
    if split < 1:
        return None
    df_before, df_now = int(freedom[:split].sum()), int(freedom[split:].sum())
    if df_before < FEWEST_BEFORE or df_now < NEWEST:
        return None
    before = float(squares[:split].sum()) / df_before
    now = float(squares[split:].sum()) / df_now
    # A meter that reads the same every time has no scatter to compare with.
    chance = float(fdtrc(df_now, df_before, now / before)) if before > 0 else 1.0
    # Every one of the newest checks takes part, or it is one odd throw.
    each = bool(np.all(squares[split:] > before * freedom[split:]))
    grown = chance < CHANCE and now**0.5 > SMALLEST and each
    return Dispersion(before**0.5, now**0.5, chance, grown)


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
    """First point of the newest stage or any before that is out of control, not explained by weather or supply."""
    signals: tuple[date, ...]
    """Every such point."""
    slope: Slope
    forecast: Forecast | None
    no_forecast: str
    """Why there is no forecast; empty where there is one."""
    service_effects: tuple[ServiceEffect, ...]
    as_found: AsFound | None
    provisional: bool
    change: float
    """The change: ``chart.level`` over ``chart.centre`` less one at the newest check (take-up: their difference)."""
    change_u: float
    """Its standard uncertainty."""
    change_chance: float
    """Chance that there is no rise at all (or no fall, where it is one)."""
    dispersion: Dispersion | None = None
    """Scatter from throw to throw; None with too few throws."""
    stages: tuple[Chart, ...] = ()
    """The chart of each stage between services, oldest first, each as it stood at its stage's end; ``chart`` is the last."""
    side: str = ""
    """Of the switch lag: the pin whose switch came later; empty without a signal, or where the two directions disagree."""
    drift: Drift | None = None
    """How far it has come up since the rig's first check, services in between; None: not beyond the chart's limits."""


def trends_of(history: RigHistory) -> list[TrendResult]:
    """Every direction and figure that has at least one check, in a fixed order."""
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
    """Figures in the order in which they are shown: what signalled first stands first, then a fixed order."""
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
    relative = line.allowance.relative
    base = abs(chart.centre) if relative else 1.0
    return TrendResult(
        rig=history.rig.name,
        direction=line.direction,
        figure=line.figure,
        unit=unit_of(line.figure),
        points=points,
        chart=chart,
        first_signal=signals[0] if signals else None,
        signals=signals,
        slope=slope_of(line, fit, points),
        forecast=forecast,
        no_forecast=why_not,
        service_effects=service_effects(history, line, fit, states),
        as_found=None if found is None else _as_found(found),
        provisional=history.provisional,
        change=(chart.level - chart.centre) / base,
        change_u=ratio_u(reading.rise, base / line.scale) if relative else reading.rise.any_shape_u,
        change_chance=reading.chance,
        dispersion=dispersion_of(line),
        stages=charts,
        side=line.side if signals else "",
        drift=drift_of(history, line, fit, chart, points),
    )


def _as_found(line: Line) -> AsFound:
    states = check_states(line, {})
    charts, points = chart_and_points(line, fit_line(line), states)
    first = next((one.date for one in points if one.state == OUT), None)
    return AsFound(points, charts[-1], first)


def to_json(result: TrendResult) -> dict[str, Any]:
    """The object of ``trend --json``, as JSON can hold it."""
    slope = result.slope
    return {
        "rig": result.rig,
        "direction": result.direction,
        "figure": result.figure,
        "unit": result.unit,
        "points": [_json(one) for one in result.points],
        "chart": asdict(result.chart),
        "stages": [asdict(one) for one in result.stages],
        "first_signal": None if result.first_signal is None else result.first_signal.isoformat(),
        "signals": [one.isoformat() for one in result.signals],
        "slope_per_year": slope.per_year,
        "slope_low": slope.low,
        "slope_high": slope.high,
        "p_value": slope.p_value,
        "forecast": None if result.forecast is None else _json(result.forecast),
        "no_forecast": result.no_forecast or None,
        "service_effects": [_json(one) for one in result.service_effects],
        "as_found": None if result.as_found is None else _as_found_json(result.as_found),
        "provisional": result.provisional,
        **({"side": result.side} if result.side else {}),
        "rise": result.change,
        "rise_u": None if result.change_u == float("inf") else K * result.change_u,
        "rise_chance_none": result.change_chance,
        "spread": None if result.dispersion is None else asdict(result.dispersion),
        "since_first": None if result.drift is None else {**_json(result.drift), "share": result.drift.share},
    }


def _as_found_json(found: AsFound) -> dict[str, Any]:
    return {
        "points": [_json(one) for one in found.points],
        "chart": None if found.chart is None else asdict(found.chart),
        "first_signal": None if found.first_signal is None else found.first_signal.isoformat(),
    }


def effect_text(one: TrendResult, effect: ServiceEffect) -> str:
    """What a service changed of a line, with its interval and whether it helped."""
    unit = "" if one.unit == "1" else f" {one.unit}"
    change = interval_text(effect.change, effect.low, effect.high)
    levels = f"{effect.before:.3g} -> {effect.after:.3g}{unit}"
    return f"{figure_name(one.figure)}, {one.direction}: {levels}, {change}: {effect.said}"


def _json(record: Point | Forecast | ServiceEffect | Drift) -> dict[str, Any]:
    return {key: one.isoformat() if isinstance(one, date) else one for key, one in asdict(record).items()}


def only(history: RigHistory, count: int) -> RigHistory:
    """The history as it stood after its first ``count`` checks."""
    checks = history.checks[:count]
    last = checks[-1].on
    return replace(history, checks=checks, services=tuple(one for one in history.services if one.on <= last))


def figure_name(figure: str) -> str:
    """A figure as people call it."""
    return NAMES[FIGURES[figure]].sentence


CHANGE = "change since start"
"""Heads its column on paper, screen and command line; ``ABOUT_CHANGE`` says what it is."""
ABOUT_CHANGE = (
    "Start: level at the start of the chart period (commissioning, or the last service that restarts the chart). "
    "Now: level that the checks show. Change: now minus start, in % of start (take-up and switch lag: in points of stroke). "
    "First out: first check out of control."
)


def change_text(one: TrendResult) -> str:
    """The change, or that there is none to speak of."""
    if one.change_chance > PLAIN_CHANCE:
        return "none since the service" if one.drift is not None else "no more than normal variation"
    return size_text(one)


def size_text(one: TrendResult) -> str:
    """The change with its expanded uncertainty."""
    unit = "points of stroke" if one.figure in OF_STROKE else "%"
    digits = 1 if one.figure == SWITCH_LAG else 0
    side = f" ({switch_name(one.side)} later)" if one.side and one.change > 0 else ""
    return f"{100 * one.change:+.{digits}f} \u00b1 {100 * K * one.change_u:.{digits}f} {unit}{side}"


def drift_text(one: TrendResult) -> str:
    """How far it has come up over its services, as a sentence; empty: not beyond chance."""
    if one.drift is None:
        return ""
    found = one.drift
    far = f"{found.first:.3g} -> {found.now:.3g} {one.unit.replace('1', '')}".strip()
    share = f", {100 * found.share:+.0f} %" if one.figure not in OF_STROKE else ""
    return f"{figure_name(one.figure)} ({one.direction}) has risen since the first check on {found.on}: {far}{share}. A service has restarted the chart since"


def signal_text(one: TrendResult) -> str:
    """When it first showed."""
    return "-" if one.first_signal is None else one.first_signal.isoformat()


def limit_text(one: TrendResult, found: Forecast) -> str:
    """The limit that a forecast runs towards, with its unit."""
    if one.figure in OF_STROKE:
        return f"{rounded_down(100 * found.limit, 1)} % of stroke"
    return f"{rounded_down(found.limit)} {one.unit}"


def effect_change_text(one: TrendResult, effect: ServiceEffect) -> str:
    """What a service changed, with its interval and unit."""
    scale, unit = (100.0, "points of stroke") if one.figure in OF_STROKE else (1.0, one.unit)
    return f"{interval_text(scale * effect.change, scale * effect.low, scale * effect.high)} {unit}"


def forecast_text(one: TrendResult) -> str:
    """When the limit is reached, or why that can't be said."""
    if one.forecast is None:
        return one.no_forecast
    found = one.forecast
    return (
        f"{limit_text(one, found)} about {found.crosses} "
        f"({100 * found.confidence:.0f} % interval: {found.low} to {found.high})"
    )


def forecast_said(one: TrendResult) -> str:
    """The same as a phrase of its own; a limit that the newest check lies beyond isn't ahead any more."""
    if one.forecast is None:
        return one.no_forecast
    ahead = one.forecast.crosses > one.points[-1].date
    return f"{'forecast: reaches its limit' if ahead else 'limit reached:'} {forecast_text(one)}"
