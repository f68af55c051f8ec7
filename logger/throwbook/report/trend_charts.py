"""Drawings of a rig over the years: trend with chart and forecast, before and after a service, profiles as bands."""

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from throwbook.core.quantities.text import printable
from throwbook.core.quantities.units import at_reference
from throwbook.core.rig import DIRECTIONS
from throwbook.core.trend.control_chart import stage_lines
from throwbook.core.trend.history import (
    PEAK_RUN_CURRENT,
    RUN_CURRENT,
    SOURCE_RESISTANCE,
    SWITCH_LAG,
    TAKE_UP,
    TRAVEL_TIME,
    RigHistory,
)
from throwbook.core.trend.profile_trend import GRID, CheckProfile, Spot, SpotHeights, check_profiles
from throwbook.core.trend.signals import LOW, OUT, SUSPECT
from throwbook.core.trend.trend_result import TrendResult, figure_name, telling_first
from throwbook.report import chart_style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DRAWN = (RUN_CURRENT, PEAK_RUN_CURRENT, TRAVEL_TIME, SOURCE_RESISTANCE, TAKE_UP, SWITCH_LAG)
PAGE = (8.0, 9.5)
MANY = 60
"""More checks are drawn smaller."""
MARKS: dict[str, dict[str, Any]] = {
    OUT: {
        "marker": "s",
        "markersize": 6.5,
        "markerfacecolor": chart_style.VERMILLION,
        "markeredgecolor": chart_style.BLACK,
    },
    SUSPECT: {
        "marker": "D",
        "markersize": 5.5,
        "markerfacecolor": chart_style.ORANGE,
        "markeredgecolor": chart_style.BLACK,
    },
    LOW: {
        "marker": "v",
        "markersize": 6.5,
        "markerfacecolor": chart_style.SKY,
        "markeredgecolor": chart_style.BLACK,
    },
}
PLAIN: dict[str, Any] = {
    "marker": "o",
    "markersize": 5.0,
    "markerfacecolor": chart_style.BLACK,
    "markeredgecolor": chart_style.BLACK,
}


def draw_trends(
    path: str | Path,
    history: RigHistory,
    trends: Sequence[TrendResult],
    spots: Sequence[Spot] = (),
    heights: Sequence[SpotHeights] = (),
) -> None:
    """Write the drawings to ``path``: what signalled first stands first.

    .pdf: a page for each figure, then the places that bind and the profiles. .png and .svg: one page with every figure that
    signalled (running current where none did) and the places that bind.
    """
    paged = chart_style.format_of(path) == "pdf"
    order = [one for one in telling_first(trends) if one in DRAWN]
    if not paged:
        signalled = [one for one in order if any(t.figure == one and t.first_signal for t in trends)]
        figures = [draw_figure(history, trends, signalled or [RUN_CURRENT], heights)]
    else:
        figures = [draw_figure(history, trends, [one]) for one in order]
        if heights:
            figures.append(draw_figure(history, trends, [], heights))
        if any(check_profiles(history, one) for one in DIRECTIONS):
            figures.append(draw_profiles(history, spots))
    with chart_style.pages(path, len(figures)) as add:
        for figure in figures:
            add(figure)


def draw_figure(
    history: RigHistory,
    trends: Sequence[TrendResult],
    names: Sequence[str],
    heights: Sequence[SpotHeights] = (),
) -> "Figure":
    """One page: figures over the years, one panel a direction; places that bind; before and after each service below."""
    from matplotlib.figure import Figure

    chosen = [one for name in names for one in trends if one.figure == name]
    # Of several figures the services are drawn in the panels alone: their effects have a page of their own.
    effects = [(one, effect) for one in chosen for effect in one.service_effects] if len(names) == 1 else []
    rows = len(chosen) + len(heights)
    with chart_style.drawing():
        figure = Figure(figsize=(PAGE[0], 0.6 + 3.4 * rows + 1.6 * bool(effects)), layout="constrained")
        ratios = [3.4] * rows + [1.6] * bool(effects)
        grid = figure.subplots(max(len(ratios), 1), 1, squeeze=False, height_ratios=ratios or [1])
        title = f"{history.rig.name}: trend at {at_reference(history.rig.units)} and nominal voltage"
        _head(figure, title + (" (baseline provisional)" if history.provisional else ""))
        for one, axes in zip(chosen, grid[:, 0], strict=False):
            _trend_panel(axes, history, one)
        for place, axes in zip(heights, grid[len(chosen) :, 0], strict=False):
            _spot_panel(axes, history, place)
        if effects:
            _effect_panel(grid[-1, 0], effects)
    return figure


def _head(figure: "Figure", title: str) -> None:
    """Where the titles of the panels stand too: at the left."""
    figure.suptitle(printable(title), x=0.01, ha="left", fontsize=11, fontweight="bold")


def _trend_panel(axes: "Axes", history: RigHistory, one: TrendResult) -> None:
    days = [point.date for point in one.points]
    axes.set_title(f"{figure_name(one.figure)}, {one.direction}: {_short(one)}")
    draw_trend(axes, one)
    _services(axes, history, days[0])
    axes.set_ylabel(_unit(one))
    axes.set_xlim(day_x(days[0] - timedelta(days=20)), day_x(_end(one) + timedelta(days=30)))
    date_axis(axes)
    axes.legend(loc="upper left", ncols=2)


def draw_trend(axes: "Axes", one: TrendResult) -> None:
    """A figure over the years, on every paper: its checks with their states, the level with the limits that it was held
    against, the drift, the forecast. Days as ``day_x`` counts them.
    """
    size = 5.0 if len(one.points) <= MANY else 2.5
    days = [day_x(point.date) for point in one.points]
    values = [point.corrected for point in one.points]
    measured: dict[str, Any] = {"linestyle": "none", "color": chart_style.GREY, "marker": "x"}
    axes.plot(days, [point.value for point in one.points], **measured, markersize=size, label="as measured")
    axes.plot(days, values, **chart_style.MEASURED, label="corrected")
    for state, look in ({"": PLAIN | {"markersize": size}} | MARKS).items():
        at = [
            n for n, point in enumerate(one.points) if (point.state if point.state in MARKS else "") == state
        ]
        if at:
            axes.plot([days[n] for n in at], [values[n] for n in at], linestyle="none", label=state, **look)
    for number, lines in enumerate(stage_lines(one.stages, one.points)):
        begun = date.fromisoformat(one.stages[number].since)
        until = max(lines.days[-1], begun + timedelta(days=10))  # a stage of one check is seen too
        axes.plot([day_x(begun), day_x(until)], [lines.centre] * 2, color=chart_style.GREY, linewidth=0.8)
        at_days = [day_x(day) for day in lines.days]
        names = ("", "") if number else ("level", "limits of normal variation")
        axes.plot(at_days, lines.level, **chart_style.SECOND, label=names[0])
        marks: dict[str, Any] = {"marker": "_", "markersize": 5}
        axes.plot(at_days, lines.above, **chart_style.EXPECTED, **marks, label=names[1])
        axes.plot(at_days, lines.below, **chart_style.EXPECTED, **marks)
    if one.drift is not None:
        axes.plot([day_x(one.drift.on), days[-1]], [one.drift.reach] * 2, **chart_style.EVENT)
    ahead = one.forecast
    if ahead is not None:
        fan = ([days[-1], day_x(ahead.low), day_x(ahead.high)], [values[-1], ahead.limit, ahead.limit])
        look = {"facecolor": chart_style.ORANGE, "edgecolor": chart_style.ORANGE, "alpha": 0.35}
        axes.fill(*fan, **look, label=f"forecast, {100 * ahead.confidence:.0f} %")
        axes.plot(
            [days[-1], day_x(ahead.crosses)],
            [values[-1], ahead.limit],
            color=chart_style.BLACK,
            linewidth=1.0,
            linestyle=":",
        )
        axes.plot([days[0], day_x(_end(one))], [ahead.limit] * 2, **chart_style.LIMIT, label="limit")


def _end(one: TrendResult) -> date:
    """How far it is drawn: ahead no further than back."""
    first, last = one.points[0].date, one.points[-1].date
    return last if one.forecast is None else max(last, min(one.forecast.high, last + (last - first)))


def draw_place(axes: "Axes", place: SpotHeights) -> None:
    """How far the current at one place stands above what lies beside it, over the years."""
    look = {**chart_style.MEASURED, "marker": "o", "markersize": 4.0}
    axes.plot([day_x(day) for day in place.days], place.heights_a, **look)


def _spot_panel(axes: "Axes", history: RigHistory, place: SpotHeights) -> None:
    """How far the current at one place stands above what lies beside it."""
    axes.set_title(
        f"at {100 * place.at_fraction:.0f} % of the {place.direction} stroke: current above the current beside it"
    )
    draw_place(axes, place)
    axes.axhline(0.0, **chart_style.EVENT)
    _services(axes, history, place.days[0])
    axes.set_ylabel("[A]")
    axes.set_xlim(day_x(place.days[0] - timedelta(days=20)), day_x(place.days[-1] + timedelta(days=30)))
    date_axis(axes)


def _unit(one: TrendResult) -> str:
    return "[share of the stroke]" if one.unit == "1" else f"[{one.unit}]"


def _short(one: TrendResult) -> str:
    """A title that fits on one line."""
    signal = f"first out of control {one.first_signal}" if one.first_signal else "never out of control"
    if one.forecast is None:
        return signal
    return f"{signal}; limit about {one.forecast.crosses} ({one.forecast.low} to {one.forecast.high})"


def _services(axes: "Axes", history: RigHistory, first: date) -> None:
    for one in history.services:
        if one.on >= first:
            axes.axvline(day_x(one.on), color=chart_style.BLUE, linewidth=1.2, linestyle=(0, (1, 1)))
            axes.annotate(
                printable(one.action),
                (day_x(one.on), 0.02),
                xycoords=("data", "axes fraction"),
                xytext=(3, 0),
                textcoords="offset points",
                rotation=90,
                fontsize=8,
                color=chart_style.BLUE,
                va="bottom",
            )


def _effect_panel(axes: "Axes", effects: Sequence[tuple[TrendResult, Any]]) -> None:
    """Each service's effect with its interval about nought."""
    axes.set_title(f"services: after minus before ({100 * effects[0][1].confidence:.0f} % interval)")
    for row, (one, effect) in enumerate(effects):
        bars = [[effect.change - effect.low], [effect.high - effect.change]]
        axes.errorbar([effect.change], [row], xerr=bars, fmt="o", color=chart_style.BLACK, capsize=4)
        axes.annotate(
            printable(f"{effect.date} {effect.action}, {one.direction}: {effect.answer}"),
            (0.0, row - 0.22),
            xycoords=("axes fraction", "data"),
            fontsize=8,
        )
    axes.axvline(0.0, **chart_style.EVENT)
    axes.set_yticks([])
    axes.set_ylim(len(effects) - 0.4, -0.7)
    axes.set_xlabel(_unit(effects[0][0]))


def draw_profiles(history: RigHistory, spots: Sequence[Spot]) -> "Figure":
    """Current over travel, one band a year, oldest palest; growing places marked."""
    from matplotlib.figure import Figure

    with chart_style.drawing():
        figure = Figure(figsize=(PAGE[0], 7.5), layout="constrained")
        _head(figure, f"{history.rig.name}: current over travel through the years")
        for axes, direction in zip(figure.subplots(2, 1), DIRECTIONS, strict=True):
            _profile_panel(axes, check_profiles(history, direction), direction)
            for spot in spots:
                if spot.direction == direction:
                    axes.axvspan(
                        100.0 * (spot.at_fraction - spot.at_fraction_u),
                        100.0 * (spot.at_fraction + spot.at_fraction_u),
                        facecolor="none",
                        edgecolor=chart_style.VERMILLION,
                        hatch="///",
                        linewidth=0.8,
                    )
                    style_text = f"{spot.sentence}"
                    axes.set_title(f"{direction}: {style_text}")
    return figure


def _profile_panel(axes: "Axes", profiles: Sequence[CheckProfile], direction: str) -> None:
    axes.set_title(direction)
    years = sorted({one.on.year for one in profiles})
    shades = (
        "#bdbdbd",
        chart_style.SKY,
        chart_style.BLUE,
        chart_style.ORANGE,
        chart_style.VERMILLION,
        chart_style.BLACK,
    )
    strokes = ((0, (1, 1)), (0, (4, 1.5)), (0, (6, 1, 1, 1)), (0, (8, 2)), "-", "-")
    shown = years if len(years) <= len(shades) else [years[0], *years[-len(shades) + 1 :]]
    for index, year in enumerate(shown):
        stack = np.stack([one.current_a for one in profiles if one.on.year == year])
        place = len(shades) - len(shown) + index
        reached = np.isfinite(stack).any(axis=0)
        low, high = np.full(len(GRID), np.nan), np.full(len(GRID), np.nan)
        low[reached], high[reached] = (
            np.nanmin(stack[:, reached], axis=0),
            np.nanmax(stack[:, reached], axis=0),
        )
        middle = np.full(len(GRID), np.nan)
        middle[reached] = np.nanmedian(stack[:, reached], axis=0)
        axes.fill_between(100.0 * GRID, low, high, facecolor=shades[place], alpha=0.25, linewidth=0)
        axes.plot(
            100.0 * GRID,
            middle,
            color=shades[place],
            linestyle=strokes[place],
            linewidth=1.4,
            label=str(year),
        )
    axes.set_xlabel("travel from its own start [% of the stroke]")
    axes.set_ylabel("current [A]")
    axes.set_xlim(0, 100)
    if shown:
        axes.legend(loc="upper right", ncols=3)


def day_x(day: date) -> float:
    """A day as matplotlib counts days: since 1970."""
    return float((day - date(1970, 1, 1)).days)


def date_axis(axes: "Axes", most: int = 9) -> None:
    """Dates below, at most so many."""
    from matplotlib import dates

    axes.xaxis_date()
    library: Any = dates
    locator = library.AutoDateLocator(minticks=3, maxticks=most)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(library.ConciseDateFormatter(locator))
