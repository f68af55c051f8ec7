"""A drawing that fits itself to the room it has."""

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Size
from textual.strip import Strip
from textual.widget import Widget

from tui.widgets.figure import Drawing, Run, render
from tui.widgets.frame import TONES


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
