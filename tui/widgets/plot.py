"""A drawing that fits itself to the room it has."""

from rich.text import Text
from textual.widget import Widget

from tui.widgets.figure import Drawing, render
from tui.widgets.frame import TONES


class Plot(Widget):
    """Shows one drawing; nothing before it has one."""

    def __init__(self, *, id: str | None = None, empty: str = "") -> None:
        super().__init__(id=id)
        self._drawing: Drawing | None = None
        self._empty = empty

    def show(self, drawing: Drawing | None) -> None:
        """Draw this."""
        self._drawing = drawing
        self.refresh()

    def render(self) -> Text:
        """For the size there is now."""
        tones = TONES.get(self.app.theme, TONES["day"])
        if self._drawing is None or self.size.width < 12 or self.size.height < 3:
            return Text(self._empty, style=tones["quiet"])
        plain = self.app.desk.ascii  # type: ignore[attr-defined]
        return render(self._drawing, self.size.width, self.size.height, tones, plain)
