"""Help: what this screen is for, its keys, and its figures in the words of the trade."""

from collections.abc import Iterator

from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tui.help_text import PAGES
from tui.present import PLAIN, QUIET, STRONG, Cell
from tui.screens.page import Page
from tui.widgets.frame import lines


class HelpScreen(Page[None]):
    """One page of the help."""

    HELP = "help"

    def __init__(self, page: str) -> None:
        super().__init__()
        self._page = page

    def body(self) -> Iterator[Widget]:
        """A text to scroll."""
        with VerticalScroll():
            yield Static(id="first")

    def on_mount(self) -> None:
        """Show it."""
        self.head(f"help | {self._page}")
        self.repaint()
        self.query_one(VerticalScroll).focus()

    def repaint(self) -> None:
        """A line that ends in a colon is a heading; others are plain."""
        super().repaint()
        cells: list[Cell | str] = []
        for text in PAGES[self._page]:
            tone = STRONG if text.endswith(":") else PLAIN
            cells.append(Cell(text, tone))
        cells += [
            Cell(""),
            Cell(
                "Everywhere: Esc back, F1 help, F8 day or night, Ctrl-Q leave. Every word in the bottom line can be clicked.",
                QUIET,
            ),
        ]
        self.query_one("#first", Static).update(lines(self.app, cells))
