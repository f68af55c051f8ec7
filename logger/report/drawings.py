"""Drawings of a report: the throws of a sheet side by side, current over travel, the trend over the years."""

from collections.abc import Sequence
from datetime import date
from math import ceil
from typing import TYPE_CHECKING

from logger.core.sheet import SheetTrial
from logger.report import style
from logger.report.material import Material, SheetPart
from logger.report.plots import thinned

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from logger.core.history import TrendResult
    from logger.core.trace import Trace

WIDTH_INCHES = 7.0
"""All drawings of a report are as wide as the text of an A4 page."""
COLUMNS = 5
MOST_SMALL = 60
"""So many small charts fit; of more, the first, the last and every so many between are drawn."""
POINTS_SMALL = 500
"""Points of a line in a small chart: about two to a dot of print."""
FIGURE_TITLES = {"run_current": "Running current", "travel_time": "Travel time"}


def draw(key: str, material: Material) -> "Figure":
    """The drawing that a ``Picture`` names: ``traces:SHEET``, ``travel:SHEET`` or ``trend``."""
    kind, _, sheet = key.partition(":")
    with style.drawing():
        if kind == "trend":
            return _trend(material)
        part = material.sheet_of(sheet)
        return _small_multiples(part, material) if kind == "traces" else _travel(part, material)


def _figure(height_inches: float) -> "Figure":
    from matplotlib.figure import Figure

    return Figure(figsize=(WIDTH_INCHES, height_inches), layout="constrained")


# ---- each throw by itself ----


def _small_multiples(part: SheetPart, material: Material) -> "Figure":
    """Current over time, one small chart a throw, all on one scale."""
    recorded = [one for one in part.trials if one.id in material.traces]
    step = ceil(len(recorded) / MOST_SMALL)
    shown = recorded[::step]
    rows = ceil(len(shown) / COLUMNS)
    figure = _figure(0.35 + 1.25 * rows)
    grid = figure.subplots(rows, COLUMNS, sharex=True, sharey=True, squeeze=False)
    rated_a = part.rig.actuator.full_load_current_a
    for axes, one in zip(grid.flat, shown, strict=False):
        _one_trace(axes, one, material.traces[one.id], rated_a)
    for axes in list(grid.flat)[len(shown) :]:
        axes.set_visible(False)
    figure.supxlabel("time from the start of the movement [s]", fontsize=8.5)
    figure.supylabel("current [A]", fontsize=8.5)
    return figure


def _one_trace(axes: "Axes", one: SheetTrial, trace: "Trace", rated_a: float) -> None:
    import numpy as np

    run = one.assessment.figures.run_current_a
    turned = run is not None and abs(trace.current_a.min()) > abs(trace.current_a.max())
    start = one.assessment.figures.start_s
    zero_s = trace.time_s[0] + (start.value if start is not None else 0.0)
    time_s, current_a = thinned(
        trace.time_s - zero_s, np.abs(trace.current_a) if turned else trace.current_a, POINTS_SMALL
    )
    axes.plot(time_s, current_a, **{**style.MEASURED, "linewidth": 0.8})
    axes.axhline(rated_a, **{**style.LIMIT, "linewidth": 0.9})
    axes.set_title(f"{one.position} {one.direction}, {one.assessment.verdict}", fontsize=7.5)
    axes.tick_params(labelsize=7)


# ---- current over travel ----


def _travel(part: SheetPart, material: Material) -> "Figure":
    """Every throw's current over travel, lock and unlock side by side, on the baseline's band."""
    figure = _figure(2.7)
    grid = figure.subplots(1, 2, sharey=True)
    for axes, direction in zip(grid, ("lock", "unlock"), strict=True):
        _one_way(axes, part, material, direction)
    grid[0].set_ylabel("current [A]")
    handles, labels = grid[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=4)
    return figure


def _one_way(axes: "Axes", part: SheetPart, material: Material, direction: str) -> None:
    baseline = material.baselines.get(direction)
    if baseline is not None and baseline.has_profile:
        percent = 100.0 * baseline.fraction
        axes.fill_between(
            percent, baseline.low_a, baseline.high_a, label=f"baseline, {baseline.n} throws", **style.BAND
        )
        axes.plot(percent, baseline.median_a, label="its median", **style.EXPECTED)
    profiles = [
        (one, one.assessment.profile)
        for one in part.trials
        if one.direction == direction and one.assessment.profile is not None
    ]
    for number, (one, profile) in enumerate(profiles):
        assert profile is not None
        apart = one.id in part.apart
        look = style.SECOND if apart else style.MEASURED
        label = "as found" if apart else "throws" if number == len(profiles) - 1 else None
        axes.plot(100.0 * profile.fraction, profile.current_a, label=label, **{**look, "linewidth": 0.7})
    axes.axhline(part.rig.actuator.full_load_current_a, label="rated maximum", **style.LIMIT)
    axes.set(xlim=(0, 100), xlabel="travel [% of the stroke]", title=direction)
    axes.set_ylim(bottom=0.0)


# ---- the years ----


def _trend(material: Material) -> "Figure":
    """Running current and travel time over the years, both directions."""
    shown = [one for one in material.trends if one.figure in FIGURE_TITLES]
    figures = [name for name in FIGURE_TITLES if any(one.figure == name for one in shown)]
    figure = _figure(0.4 + 2.1 * len(figures))
    grid = figure.subplots(len(figures), 2, sharex=True, sharey="row", squeeze=False)
    starts = [one.on for one in material.services if one.starts_stretch]
    for row, name in zip(grid, figures, strict=True):
        for axes, direction in zip(row, ("lock", "unlock"), strict=True):
            found = next((one for one in shown if one.figure == name and one.direction == direction), None)
            axes.set_title(f"{FIGURE_TITLES[name]}, {direction}")
            if found is not None:
                _one_trend(axes, found, starts)
        row[0].set_ylabel(f"[{next(one.unit for one in shown if one.figure == name)}]")
    _year_ticks(figure, grid)
    handles, labels = grid[0][0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=4)
    return figure


def _one_trend(axes: "Axes", found: "TrendResult", starts: Sequence[date]) -> None:
    import numpy as np

    days = np.array([_year(one.date) for one in found.points])
    values = [one.corrected for one in found.points]
    size = 4.0 if len(days) <= 60 else 2.0
    axes.plot(
        days, [one.value for one in found.points], "x", color=style.GREY, markersize=size, label="as measured"
    )
    axes.plot(
        days,
        values,
        "-o",
        **{**style.MEASURED, "linewidth": 0.8},
        markersize=size,
        label="at 20 degC, nominal V",
    )
    out = [(_year(one.date), one.corrected) for one in found.points if one.state == "out of control"]
    if out:
        ring = {"markerfacecolor": "none", "color": style.VERMILLION, "markersize": size + 5}
        axes.plot(*zip(*out, strict=True), "s", label="out of control", **ring)
    since = _year(date.fromisoformat(found.chart.since))
    axes.fill_between(
        [since, days[-1]], found.chart.lower, found.chart.upper, label="control limits", **style.BAND
    )
    for number, start in enumerate(starts):
        axes.axvline(_year(start), label="service" if number == 0 else None, **style.EVENT)
    if found.forecast is not None:
        ahead = found.forecast
        axes.plot(
            [days[-1], _year(ahead.crosses)], [values[-1], ahead.limit], label="forecast", **style.EXPECTED
        )
        axes.plot(
            [_year(ahead.low), _year(ahead.high)],
            [ahead.limit] * 2,
            label="limit, when crossed",
            **style.LIMIT,
        )


def _year(day: date) -> float:
    """A day as a year with decimals."""
    begin = date(day.year, 1, 1)
    return day.year + (day - begin).days / (date(day.year + 1, 1, 1) - begin).days


def _year_ticks(figure: "Figure", grid) -> None:  # type: ignore[no-untyped-def]
    from matplotlib.ticker import MaxNLocator

    for axes in grid.flat:
        axes.xaxis.set_major_locator(MaxNLocator(5, integer=True))
        axes.ticklabel_format(axis="x", style="plain", useOffset=False)
        axes.set_xlabel("")
        axes.margins(y=0.15)
    figure.supxlabel("year", fontsize=8.5)


# ---- out ----


def as_pdf_pages(keys: Sequence[str], material: Material) -> bytes:
    """One page a drawing, each as large as the drawing; vector, fonts embedded, the same bytes each time."""
    from io import BytesIO

    from matplotlib.backends.backend_pdf import PdfPages

    held = BytesIO()
    with style.drawing(), PdfPages(held, metadata=style.FORMATS["pdf"]) as book:
        for key in keys:
            book.savefig(draw(key, material))
    return held.getvalue()


def as_svg(key: str, material: Material) -> str:
    """One drawing as SVG text."""
    from io import StringIO

    held = StringIO()
    with style.drawing():
        draw(key, material).savefig(held, format="svg", metadata=style.FORMATS["svg"])
    return held.getvalue()
