"""Papers and data: report, blank sheet, cab card; export, backup, check. Each asks where to put it."""

from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import DataTable, Static

from tui.papers import PAPERS, Paper
from tui.present import BAD, GOOD, WARN, Cell
from tui.screens.page import Page, key
from tui.widgets.frame import lines
from tui.widgets.table import Table

WHOLE = "backup"
"""It always holds every rig."""


def free_place(start: Path, ending: str) -> Path:
    """``start`` with its ending, or with the first number behind it that isn't taken: a second one on the same day."""
    names = (Path(f"{start}{'' if number == 1 else f'-{number}'}{ending}") for number in count(1))
    return next(name for name in names if not name.exists())


class PapersScreen(Page[None]):
    """Of one rig, or of the whole logbook."""

    HELP = "papers"
    BINDINGS: ClassVar[list[BindingType]] = [key("enter", "make", "make it", "Enter", priority=True)]

    def __init__(self, rig: str | None) -> None:
        super().__init__()
        self._rig = rig
        self._working = ""
        """Name of the paper that is being made."""
        self._offered: dict[str, Paper] = {one.name: one for one in PAPERS if rig or not one.needs_rig}

    def body(self) -> Iterator[Widget]:
        """What there is; what became of it."""
        yield Table(("paper", "what it is"), id="papers")
        yield Static(id="done", classes="says")

    def on_mount(self) -> None:
        """The list."""
        self.head(f"{self._rig or 'whole logbook'} | papers and data")
        self.repaint()
        self.query_one(Table).focus()

    def repaint(self) -> None:
        """The list."""
        super().repaint()
        self.query_one(Table).fill([(one.name, [one.name, one.says]) for one in self._offered.values()])

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        """Enter or click."""
        event.stop()
        self.action_make()

    def action_make(self) -> None:
        """Ask where, then make it; one after the other, so that none hides what became of the one before."""
        if self._working:
            self.tell(f"{self._working} isn't done yet: wait for it, then the next one.", WARN)
            return
        paper = self._offered[self.query_one(Table).chosen or next(iter(self._offered))]
        if paper.ending is None:
            self._start(paper, None)
            return
        whose = self._rig if self._rig and paper.name != WHOLE else "logbook"
        usual = free_place(Path.cwd() / f"{whose}-{paper.file}-{self.desk.today:%Y%m%d}", paper.ending)
        self.open_screen(
            "where", paper.name, usual, then=lambda where: self._start(paper, where) if where else None
        )

    def _start(self, paper: Paper, where: Path | None) -> None:
        self._working = paper.name
        self.tell(f"{paper.name}: working ...")
        desk, rig = self.desk, self._rig
        self.work("made", lambda: paper.make(desk.logbook, rig, where, desk.now()))

    def done_made(self, told: list[str]) -> None:
        """Say where it is."""
        self._working = ""
        self.tell("")
        self.query_one("#done", Static).update(lines(self.app, [Cell(told[0], GOOD), *told[1:]]))
        self.app.bell()

    def failed_made(self, error: Exception) -> None:
        """It couldn't be made."""
        self._working = ""
        self.tell(str(error), BAD)
