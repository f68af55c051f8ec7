"""Practice: the same rig, a simulated machine, a logbook of its own. Nothing in it touches the real one."""

import threading
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import Static

from throwbook_tui.present import QUIET, STRONG, WARN, Cell
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.form import Choice
from throwbook_tui.widgets.frame import lines

if TYPE_CHECKING:
    from pathlib import Path

FAULTS: tuple[tuple[str, str], ...] = (
    ("", "no fault"),
    ("even-friction", "drag"),
    ("local-bind", "binding spot"),
    ("obstruction", "blocked: it stalls"),
    ("pin-behind", "switches at the pins, the right pin stays behind"),
)


class PracticeScreen(Page[None]):
    """Choose how the simulated machine is, then practise."""

    HELP = "board"
    BINDINGS: ClassVar[list[BindingType]] = [key("enter", "start", "practise", "Enter")]

    def __init__(self, rig: str) -> None:
        super().__init__()
        self._rig = rig

    def body(self) -> Iterator[Widget]:
        """What it is, and one choice."""
        yield Static(id="first")
        yield Choice(FAULTS, "")

    def on_mount(self) -> None:
        """Cursor into the choice."""
        self.head(f"{self._rig} | practise")
        self.repaint()
        self.query_one(Choice).focus()

    def repaint(self) -> None:
        """The words."""
        super().repaint()
        cells: list[Cell | str] = [
            Cell(
                "Practice board: a simulated machine throws by itself, a few seconds after you arm.",
                STRONG,
            ),
            Cell(
                "Everything is stored in a practice logbook, separate from the real one. The top line always says PRACTICE.",
                WARN,
            ),
            Cell("Esc on the list of rigs returns to the real logbook.", QUIET),
            Cell(
                "On the rig's screen press T for one throw. Confirm the cautions, press Ctrl-S, then Enter to arm.",
                STRONG,
            ),
            Cell(
                "The practice rig has a baseline to compare with, so drag and a binding spot show at the first throw.",
                QUIET,
            ),
            Cell(""),
            Cell("What should the practice machine have?", STRONG),
        ]
        self.query_one("#first", Static).update(lines(self.app, cells))

    def action_start(self) -> None:
        """Copy the rig into the practice logbook; open the board."""
        from throwbook.jobs.rig_setup import start_practice

        desk, rig = self.desk, self._rig
        self.work_once(
            "practice", lambda: start_practice(desk.logbook, rig, desk.by or "practice", desk.now())
        )

    def done_practice(self, path: "Path") -> None:
        """Switch over; the board runs in a thread until the program ends or practice does."""
        from throwbook_tui.background import open_rehearsal

        desk = self.desk
        desk.real_logbook, desk.logbook, desk.practice = desk.logbook, str(path), True
        logbook, rig, fault = desk.logbook, self._rig, self.query_one(Choice).value
        self.tell("Opening the practice board ...")
        self.work("open", lambda: open_rehearsal(logbook, rig, fault))

    def done_open(self, opened: tuple[str, threading.Event]) -> None:
        """The port is there: to the rig in its practice logbook."""
        self.desk.port, self.desk.stop_rehearsal = opened
        while len(self.app.screen_stack) > 2:  # an empty one of the library's, and the list of rigs
            self.app.pop_screen()
        self.open_screen("rig", self._rig)

    def check_action(self, action: str, parameters: tuple[Any, ...]) -> bool | None:
        """Once is enough."""
        return not (action == "start" and self.desk.practice)
