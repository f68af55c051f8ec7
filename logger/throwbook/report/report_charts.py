"""Drawings of a report: the throws of a sheet side by side, current over travel, the trend over the years."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

from throwbook.core.sheets.sheet import SheetTrial
from throwbook.report import chart_style
from throwbook.report.charts import draw_baseline, polarity, thinned
from throwbook.report.material import Material, SheetPart
from throwbook.report.sections import drawn_trends

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from throwbook.core.trace import Trace

WIDTH_INCHES = 7.0
"""All drawings of a report are as wide as the text of an A4 page."""
COLUMNS = 5
MOST_SMALL = 60
"""So many small charts fit; of more, the first, the last and every so many between are drawn."""
POINTS_SMALL = 500
"""Points of a line in a small chart: about two to a dot of print."""
MOST_IN_ROW = 5
"""Entries in a row of the legend."""
MOST_DATES = 7
"""Below one of two charts side by side."""
RUN_ROOM = 1.25
"""Small charts reach so far above the highest running current or the rated maximum; the inrush runs off the scale."""


def draw(key: str, material: Material) -> "Figure":
    """The drawing that a ``Picture`` names: ``traces:SHEET``, ``travel:SHEET`` or ``trend``."""
    kind, _, sheet = key.partition(":")
    with chart_style.drawing():
        if kind == "trend":
            return _trend(material)
        part = material.sheet_of(sheet)
        return _small_multiples(part, material) if kind == "traces" else _travel(part, material)


@dataclass(frozen=True)
class Layout:
    """Room around and between the charts of a drawing [inch]. Fixed: laying out by the size of every text takes longer
    than drawing."""

    panel: float
    """Height of one chart."""
    left: float = 0.55
    right: float = 0.08
    top: float = 0.24
    bottom: float = 0.45
    beside: float = 0.15
    """Between two charts of a row."""
    above: float = 0.3
    """Between two rows."""

    def subplots(self, rows: int, columns: int, **shared: Any) -> "tuple[Figure, Any]":
        """A figure with its charts, shape (rows, columns)."""
        from matplotlib.figure import Figure

        height = self.top + self.bottom + rows * self.panel + (rows - 1) * self.above
        wide = (WIDTH_INCHES - self.left - self.right - (columns - 1) * self.beside) / columns
        figure = Figure(figsize=(WIDTH_INCHES, height))
        room = {
            "left": self.left / WIDTH_INCHES,
            "right": 1.0 - self.right / WIDTH_INCHES,
            "bottom": self.bottom / height,
            "top": 1.0 - self.top / height,
            "wspace": self.beside / wide,
            "hspace": self.above / self.panel,
        }
        return figure, figure.subplots(rows, columns, squeeze=False, gridspec_kw=room, **shared)


def _legend(figure: "Figure", grid: Any) -> None:
    """Below the charts; what several charts show stands there once."""
    shown: dict[str, Any] = {}
    for axes in grid.flat:
        for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
            shown.setdefault(label, handle)
    columns = min(len(shown), MOST_IN_ROW)
    figure.legend(
        list(shown.values()),
        list(shown),
        loc="lower center",
        ncols=columns,
        borderaxespad=0.1,
        columnspacing=1.2,
    )


def _below(figure: "Figure", text: str, up_inches: float) -> None:
    """The name of the axis that all charts share."""
    figure.text(0.5, up_inches / figure.get_figheight(), text, ha="center", va="bottom", fontsize=8.5)


# ---- each throw by itself ----


def _small_multiples(part: SheetPart, material: Material) -> "Figure":
    """Current over time, one small chart a throw, all on one scale."""
    recorded = [one for one in part.trials if one.id in material.traces]
    step = ceil(len(recorded) / MOST_SMALL)
    shown = recorded[::step]
    rows = ceil(len(shown) / COLUMNS)
    layout = Layout(panel=0.9, left=0.5, beside=0.12)
    figure, grid = layout.subplots(rows, COLUMNS, sharex=True, sharey=True)
    rated_a = part.rig.actuator.full_load_current_a
    for axes, one in zip(grid.flat, shown, strict=False):
        _one_trace(axes, one, material.traces[one.id], rated_a)
    peaks = [one.assessment.figures.peak_run_current_a for one in shown]
    grid[0][0].set_ylim(0.0, RUN_ROOM * max([rated_a, *(peak.value for peak in peaks if peak is not None)]))
    for axes in list(grid.flat)[len(shown) :]:
        axes.set_visible(False)
    for axes in grid[:, 0]:
        axes.set_ylabel("[A]", fontsize=7.5)
    _below(figure, "time from the start of the movement [s]", 0.05)
    return figure


def _one_trace(axes: "Axes", one: SheetTrial, trace: "Trace", rated_a: float) -> None:
    import numpy as np

    turned = polarity(trace, one.assessment) < 0
    start = one.assessment.figures.start_s
    zero_s = trace.time_s[0] + (start.value if start is not None else 0.0)
    time_s, current_a = thinned(
        trace.time_s - zero_s, np.abs(trace.current_a) if turned else trace.current_a, POINTS_SMALL
    )
    axes.plot(time_s, current_a, **{**chart_style.MEASURED, "linewidth": 0.8})
    axes.axhline(rated_a, **{**chart_style.LIMIT, "linewidth": 0.9})
    axes.set_title(f"{one.position} {one.direction}, {one.assessment.verdict}", fontsize=7.5)
    axes.tick_params(labelsize=7)


# ---- current over travel ----


def _travel(part: SheetPart, material: Material) -> "Figure":
    """Every throw's current over travel, lock and unlock side by side, on the baseline's band."""
    figure, grid = Layout(panel=1.9, bottom=0.68, right=0.15, beside=0.3).subplots(1, 2, sharey=True)
    for axes, direction in zip(grid[0], ("lock", "unlock"), strict=True):
        _one_way(axes, part, material, direction)
    grid[0][0].set_ylabel("current [A]")
    _below(figure, "travel [% of the stroke]", 0.28)
    _legend(figure, grid)
    return figure


def _one_way(axes: "Axes", part: SheetPart, material: Material, direction: str) -> None:
    baseline = material.baselines.get(direction)
    draw_baseline(axes, baseline)
    profiles = [
        (one, one.assessment.profile)
        for one in part.trials
        if one.direction == direction and one.assessment.profile is not None
    ]
    for number, (one, profile) in enumerate(profiles):
        assert profile is not None
        apart = one.id in part.apart
        look = chart_style.SECOND if apart else chart_style.MEASURED
        label = "as found" if apart else "throws" if number == len(profiles) - 1 else None
        axes.plot(100.0 * profile.fraction, profile.current_a, label=label, **{**look, "linewidth": 0.7})
    axes.axhline(part.rig.actuator.full_load_current_a, label="full-load current", **chart_style.LIMIT)
    axes.set(xlim=(0, 100), title=direction)
    axes.set_ylim(bottom=0.0)


# ---- the years ----


def _trend(material: Material) -> "Figure":
    """Figures over the years, both directions, what signalled first on top; below them the places that bind."""
    from throwbook.core.trend.trend_result import figure_name
    from throwbook.report.trend_charts import date_axis, day_x, draw_place, draw_trend

    shown = drawn_trends(material)
    figures = list(dict.fromkeys(one.figure for one in shown))
    places = material.spot_heights
    layout = Layout(panel=1.25, bottom=0.86, above=0.36)
    figure, grid = layout.subplots(len(figures) + bool(places), 2, sharex=True, sharey="row")
    starts = [one.on for one in material.services if one.starts_stage]
    for row, name in zip(grid, figures, strict=False):
        for axes, direction in zip(row, ("lock", "unlock"), strict=True):
            found = next((one for one in shown if one.figure == name and one.direction == direction), None)
            axes.set_title(f"{figure_name(name).capitalize()}, {direction}")
            if found is not None:
                draw_trend(axes, found)
        row[0].set_ylabel(f"[{next(one.unit for one in shown if one.figure == name)}]")
    if places:
        for axes, direction in zip(grid[-1], ("lock", "unlock"), strict=True):
            here = [one for one in places if one.direction == direction]
            at = ", ".join(f"{100 * one.at_fraction:.0f} %" for one in here)
            axes.set_title(f"Binding spot at {at}, {direction}" if here else f"No binding spot, {direction}")
            for one in here:
                draw_place(axes, one)
        grid[-1][0].set_ylabel("[A]")
    for axes in grid.flat:
        for number, start in enumerate(starts):
            axes.axvline(day_x(start), label="service" if number == 0 else None, **chart_style.EVENT)
        date_axis(axes, MOST_DATES)
        axes.margins(y=0.15)
    _legend(figure, grid)
    return figure


# ---- out ----


class Drawings:
    """Draws each picture once, for whichever papers ask for it."""

    def __init__(self, material: Material) -> None:
        self._material = material
        self._drawn: dict[str, Figure] = {}

    def as_pdf_pages(self, keys: Sequence[str]) -> bytes:
        """One page a drawing, as large as the drawing; vector, fonts embedded, the same bytes each time."""
        from io import BytesIO

        from matplotlib.backends.backend_pdf import PdfPages

        file = BytesIO()
        with chart_style.drawing(), PdfPages(file, metadata=chart_style.FORMATS["pdf"]) as book:
            for key in keys:
                book.savefig(self._figure(key))
        return file.getvalue()

    def as_svg(self, key: str) -> str:
        """One drawing as SVG text."""
        from io import StringIO

        file = StringIO()
        with chart_style.drawing():
            self._figure(key).savefig(file, format="svg", metadata=chart_style.FORMATS["svg"])
        return file.getvalue()

    def _figure(self, key: str) -> "Figure":
        if key not in self._drawn:
            self._drawn[key] = draw(key, self._material)
        return self._drawn[key]
