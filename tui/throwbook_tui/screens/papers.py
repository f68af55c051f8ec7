"""Papers: report, blank sheet, cab card, data export, backup, logbook check; each asks where to put it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, NamedTuple

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import DataTable, Static

from throwbook.core.quantities.text import counted
from throwbook.errors import OutsideError, ThrowbookError
from throwbook_tui.present import BAD, GOOD, WARN, Cell, spoken
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import RowTable, lines

if TYPE_CHECKING:
    from throwbook.jobs import papers
    from throwbook.jobs.restore import Restored


class Made(NamedTuple):
    """What became of it."""

    says: list[str]
    """The first line says where it is."""
    file: Path | None
    """What a key opens; None: nothing to look at."""


Make = Callable[[str | None, str | None, Path | None, datetime], Made]


@dataclass(frozen=True)
class Paper:
    """One thing that can be made."""

    name: str
    says: str
    file: str
    """Middle of its usual file name."""
    ending: str | None
    """Of the file; empty: a folder; None: nothing is written to a place of one's choice."""
    needs_rig: bool
    """Only of one rig."""
    make: Make | None
    """Called in a worker with logbook, rig, place and now; None: a screen of its own does it."""


def _export(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> Made:
    from throwbook.jobs.logbook_care import export

    assert where is not None
    done = export(logbook, where, rig=rig)
    rows = ", ".join(f"{name} {counted(count, 'row')}" for name, count in done.files.items())
    return Made([f"Exported to {done.folder}.", f"{rows}."], done.folder)


def _backup(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> Made:
    from throwbook.jobs.logbook_care import back_up

    done = back_up(logbook, where, now)
    said = f"Backed up to {done.target}, {done.bytes / 1e6:.1f} MB; it was read again and is complete. Put it on another disk. F1 shows how to use it."
    return Made([said], done.target.parent)


def _check(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> Made:
    from throwbook.jobs.logbook_care import check

    path, found = check(logbook)
    if not found.problems:
        return Made([f"{path.name}: no change or loss was found."], None)
    said = [f"{one.where}: {one.what}" for one in found.problems[:10]]
    return Made([f"{path.name}: {counted(len(found.problems), 'thing')} changed or lost:", *said], None)


def _written(done: "papers.WrittenPaper") -> Made:
    said = f"Paper {done.number} is ready. O opens it. It is in {done.files[0].parent}:"
    return Made([said, *(file.name for file in done.files)], done.files[0])


def _report(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> Made:
    from throwbook.jobs.papers import Issue, report_rig

    assert rig is not None
    assert where is not None
    return _written(report_rig(logbook, rig, Issue(where, now.date())))


def _blank(kind: str) -> Make:
    def make(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> Made:
        from throwbook.jobs.papers import Issue, blank

        assert rig is not None
        assert where is not None
        return _written(blank(logbook, rig, kind, Issue(where, now.date())))

    return make


def _card(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> Made:
    from throwbook.jobs.papers import Issue, card

    assert rig is not None
    assert where is not None
    return _written(card(logbook, rig, Issue(where, now.date())))


RESTORE = "restore"
"""Asks for the backup and for a name, on a screen of its own."""
PAPERS: tuple[Paper, ...] = (
    Paper("report", "the rig's history as PDF and as a web page", "report", "", True, _report),
    Paper(
        "cab card",
        "for the cab: expected values, or DO NOT USE",
        "cab-card",
        "",
        True,
        _card,
    ),
    Paper("blank commissioning sheet", "to fill in by hand", "blank", "", True, _blank("commissioning")),
    Paper("blank seasonal sheet", "to fill in by hand", "blank-seasonal", "", True, _blank("seasonal")),
    Paper("export", "every table as CSV, with the meaning of each column", "export", "", False, _export),
    Paper(
        "backup",
        "a copy of the logbook, read again to make sure that it is complete",
        "backup",
        ".throwbook",
        False,
        _backup,
    ),
    Paper(RESTORE, "puts the logbook back from a backup", "", None, False, None),
    Paper("check", "finds what was changed or lost", "check", None, False, _check),
)
WHOLE = "backup"
"""It always holds every rig."""


def new_folder(folder: Path) -> None:
    """Make sure that it is there. Raises OutsideError: it can't be made."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutsideError(
            f"the folder cannot be made ({error.strerror})", str(folder), "Choose another place."
        ) from error


def free_place(start: Path, ending: str) -> Path:
    """``start`` with its ending, or with the first number behind it that isn't taken: a second one on the same day."""
    names = (Path(f"{start}{'' if number == 1 else f'-{number}'}{ending}") for number in count(1))
    return next(name for name in names if not name.exists())


class PapersScreen(Page[None]):
    """Of one rig, or of the whole logbook."""

    HELP = "papers"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("enter", "make", "make it", "Enter", priority=True),
        key("o", "open", "open it"),
    ]

    def __init__(self, rig: str | None) -> None:
        super().__init__()
        self._made: Path | None = None
        """What was made last."""
        self._rig = rig
        self._working = ""
        """Name of the paper that is being made."""
        self._offered: dict[str, Paper] = {one.name: one for one in PAPERS if rig or not one.needs_rig}

    def body(self) -> Iterator[Widget]:
        """What there is; what became of it."""
        yield RowTable(("paper", "what it is"), id="papers")
        yield Static(id="done", classes="says")

    def on_mount(self) -> None:
        """The list."""
        self.head(f"{self._rig or 'whole logbook'} | papers")
        self.repaint()
        self.query_one(RowTable).focus()

    def repaint(self) -> None:
        """The list."""
        super().repaint()
        self.query_one(RowTable).fill([(one.name, [one.name, one.says]) for one in self._offered.values()])

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        """Enter or click."""
        event.stop()
        self.action_make()

    def action_make(self) -> None:
        """Ask where, then make it; one after the other, so that none hides what became of the one before."""
        if self._working:
            self.tell(f"{self._working} is not done yet. Wait for it, then start the next one.", WARN)
            return
        paper = self._offered[self.query_one(RowTable).chosen or next(iter(self._offered))]
        if paper.make is None:
            self.open_screen("restore", then=self._restored)
            return
        if paper.ending is None:
            self._start(paper.name, paper.make, None)
            return
        make = paper.make
        whose = self._rig if self._rig and paper.name != WHOLE else "logbook"
        folder = self.desk.papers_of(whose)
        usual = free_place(folder / f"{whose}-{paper.file}-{self.desk.today:%Y%m%d}", paper.ending)
        self.open_screen(
            "where",
            paper.name,
            usual,
            then=lambda where: self._start(paper.name, make, where) if where else None,
        )

    def _restored(self, done: "Restored | None") -> None:
        if done is not None:
            from throwbook.jobs.restore import restored_said

            self.query_one("#done", Static).update(lines(self.app, restored_said(done)))

    def _start(self, name: str, make: Make, where: Path | None) -> None:
        self._working = name
        self.tell(f"{name}: working ...")
        desk, rig = self.desk, self._rig

        def made() -> Made:
            if where is not None:
                new_folder(where.parent)
            return make(desk.logbook, rig, where, desk.now())

        self.work_once("made", made)

    def done_made(self, done: Made) -> None:
        """Say where it is."""
        self._working, self._made = "", done.file
        self.tell("")
        self.query_one("#done", Static).update(lines(self.app, [Cell(done.says[0], GOOD), *done.says[1:]]))
        self.refresh_bindings()
        self.app.bell()

    def action_open(self) -> None:
        """In whatever this computer opens such a file with."""
        file, show = self._made, self.desk.show_file
        self.work("shown", lambda: (file, show(str(file))))

    def done_shown(self, shown: tuple[Path, int]) -> None:
        """It opens beside this program; where nothing can, its place is said."""
        file, refused = shown
        self.tell(f"No program on this computer opens it from here. It is {file}" if refused else "", WARN)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Nothing to open before something is made."""
        return self._made is not None if action == "open" else True

    def failed_made(self, error: ThrowbookError) -> None:
        """It couldn't be made."""
        self._working = ""
        self.tell(spoken(error), BAD)
