"""What an acceptance of a sheet would still lack, and what blanks cost it."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tui.acceptance_words import acceptance_cells
from tui.screens.page import Page
from tui.widgets.frame import listed

if TYPE_CHECKING:
    from logger.jobs.sheet_view import SheetView


class MissingScreen(Page[None]):
    """A list to work through."""

    HELP = "sign"

    def __init__(self, found: "SheetView") -> None:
        super().__init__()
        self._found = found

    def body(self) -> Iterator[Widget]:
        """One list."""
        with VerticalScroll():
            yield Static(id="first")

    def on_mount(self) -> None:
        """Show it."""
        self.head(f"{self._found.state.name} | what is missing")
        self.repaint()
        self.query_one(VerticalScroll).focus()

    def repaint(self) -> None:
        """The list."""
        super().repaint()
        self.query_one("#first", Static).update(listed(self.app, acceptance_cells(self._found)))
