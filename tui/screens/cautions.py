"""Before anything moves: each caution is acknowledged by itself, then each thing that must be done at the machine."""

from collections.abc import Iterator
from typing import ClassVar

from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from logger.core.cautions import SHOWN_AT
from tui.present import GOOD, QUIET, STRONG, WARN, Cell
from tui.screens.page import Page, key
from tui.widgets.frame import listed

MADE_READY = (
    "The attachment stands on the ground, or is off.",
    "The area is clear, and everybody near knows that pins will move.",
    "I can reach the switch that stops the actuator.",
)


class CautionsScreen(Page[bool]):
    """Enter acknowledges the line that is next; there is no key for all at once."""

    HELP = "cautions"
    BINDINGS: ClassVar[list[BindingType]] = [key("enter,space", "next", "read, and so it is", "Enter")]

    def __init__(self, rig: str, kind: str) -> None:
        super().__init__()
        self._rig = rig
        self._cautions = SHOWN_AT.get(kind, SHOWN_AT["commissioning"])
        self._done = 0

    def body(self) -> Iterator[Widget]:
        """All lines, the next one marked."""
        with VerticalScroll(can_focus=False):
            yield Static(id="first")

    def on_mount(self) -> None:
        """First line."""
        self.head(f"{self._rig} | before anything moves")
        self.repaint()

    def repaint(self) -> None:
        """Mark what is acknowledged."""
        super().repaint()
        cells: list[Cell | str] = [Cell("Read each line and press Enter for it.", STRONG), Cell("")]
        for number, text in enumerate((*self._cautions, *MADE_READY)):
            if number == len(self._cautions):
                cells += [Cell(""), Cell("The machine made ready:", STRONG)]
            if number < self._done:
                cells.append(Cell(f"[x] {text}", GOOD))
            elif number == self._done:
                cells.append(Cell(f"[ ] {text}  <- Enter", WARN))
            else:
                cells.append(Cell(f"[ ] {text}", QUIET))
        self.query_one("#first", Static).update(listed(self.app, cells))

    def action_next(self) -> None:
        """One more."""
        self._done += 1
        if self._done == len(self._cautions) + len(MADE_READY):
            self.dismiss(True)
        else:
            self.repaint()

    def action_back(self) -> None:
        """Not now."""
        self.dismiss(False)
