"""A chart that fits itself to the room it has, and the live trace of a running throw."""

import numpy as np
from rich.segment import Segment
from rich.style import Style
from textual.geometry import Size
from textual.strip import Strip
from textual.widget import Widget

from throwbook.core.analysis.live import BUCKET_S, START_UP_S, LiveFigures
from throwbook_tui.widgets.chart import Drawing, Level, Run, Series, render
from throwbook_tui.widgets.frame import TONES


class Plot(Widget):
    """Shows one drawing; nothing before it has one.

    It hands its lines over as they are: by way of a text, which might have to be wrapped, that costs twice what the drawing
    does, and while a throw is recorded a key waits behind it.
    """

    def __init__(self, *, id: str | None = None, empty: str = "") -> None:
        super().__init__(id=id)
        self._drawing: Drawing | None = None
        self._empty = empty
        self._lines: list[Strip] = []
        self._drawn_for: tuple[Drawing | None, Size, str, Style] | None = None

    def show(self, drawing: Drawing | None) -> None:
        """Draw this."""
        self._drawing = drawing
        self.refresh()

    def render_line(self, y: int) -> Strip:
        """One line of the drawing, made for the size and the theme there are now."""
        ground = self.visual_style.rich_style
        wanted = (self._drawing, self.size, self.app.theme, ground)
        if wanted != self._drawn_for:
            self._drawn_for, self._lines = wanted, self.draw(ground)
        return self._lines[y] if y < len(self._lines) else Strip.blank(self.size.width, ground)

    def draw(self, ground: Style) -> list[Strip]:
        """All lines anew."""
        rows: list[list[Run]] = [[(self._empty, "quiet")]]
        if self._drawing is not None and self.size.width >= 12 and self.size.height >= 3:
            plain = self.app.desk.ascii  # type: ignore[attr-defined]
            rows = render(self._drawing, self.size.width, self.size.height, plain)
        styles = {
            tone: ground + Style.parse(words)
            for tone, words in TONES.get(self.app.theme, TONES["day"]).items()
        }
        lines = [Strip(Segment(words, styles[tone]) for words, tone in row) for row in rows]
        return [line.adjust_cell_length(self.size.width, ground) for line in lines]


LEAST_SPAN_S = 4.0


class LiveTrace(Plot):
    """Give it the levels once, then figures as they come."""

    def __init__(self, levels: tuple[Level, ...], expected_s: float) -> None:
        super().__init__(empty="")
        self._levels = levels
        self._span_s = max(1.15 * expected_s, LEAST_SPAN_S)

    def take(self, figures: LiveFigures) -> None:
        """The newest figures; the time axis grows by half when the throw runs out of it."""
        x, low, high = figures.strip_s, figures.strip_low_a, figures.strip_high_a
        while len(x) and x[-1] + BUCKET_S > self._span_s:
            self._span_s *= 1.5
        # The start-up surge is left out of the scale, else the run would be a thin line at the bottom.
        run = high[x >= START_UP_S] if len(x) else high
        highest = float(run.max()) if len(run) else 0.0
        top = max(1.25 * self._levels[0].y, 1.1 * highest)
        series = [Series(np.asarray(x), np.asarray(low), np.asarray(high))] if len(x) else []
        self.show(Drawing(0.0, self._span_s, 0.0, top, series, self._levels))
