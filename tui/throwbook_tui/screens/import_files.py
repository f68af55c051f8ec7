"""Trace files of any rigs into the logbook: a file, or a folder taken whole; what can't be told is listed and left."""

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.quantities.text import counted
from throwbook.core.records import SHEET_KINDS
from throwbook_tui.background import Noted
from throwbook_tui.fields import CHOICE, FieldSpec, typed_path
from throwbook_tui.present import BAD, GOOD, STRONG, WARN, Cell
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import key
from throwbook_tui.widgets.frame import listed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from throwbook.jobs.import_folder import FolderImport

TAKING = "Importing ..."
FROM_THERE = "Questions about a file are answered on the command line: throwbook import --help."
"""What the screen doesn't ask."""


def path_complaint(text: str) -> str:
    """Why nothing can be imported from there; empty: it may be."""
    return "" if typed_path(text).exists() else "there is no such file or folder"


class ImportScreen(FormPage[None]):
    """Where from and what for; then what came of it."""

    HELP = "rigs"
    BINDINGS: ClassVar[list[BindingType]] = [key("ctrl+s,f2", "enter", "import", "Ctrl-S")]

    def draft_name(self) -> str:
        """One at a time."""
        return "import"

    def specs(self) -> tuple[FieldSpec, ...]:
        """Where the files are, and what the throws were made for."""
        kinds = tuple((kind, kind) for kind in SHEET_KINDS)
        return (
            FieldSpec("path", "file or folder", must=True, hint="/media/stick/throws", judge=path_complaint),
            FieldSpec("kind", "made for", CHOICE, must=True, choices=kinds),
        )

    def body(self) -> "Iterator[Widget]":
        """The form, and below it what came of it."""
        yield self.make_form()
        with VerticalScroll():
            yield Static(id="done", classes="says")

    def opened(self) -> None:
        """Head line; how a rig is told."""
        self.head("rigs | import trace files")
        self.tell("Each file goes to the rig that its first lines name. Known files are not stored twice.")

    def enter(self) -> None:
        """Take them, in a worker."""
        from throwbook.jobs.import_folder import FolderPlan, import_folder

        desk = self.desk
        plan = FolderPlan(self.form.field("kind").value, [Path(typed_path(self.form.field("path").value))])

        def progress(done: int, total: int) -> None:
            self.post_message(Noted(f"{TAKING} {done} of {total}."))

        self.tell(TAKING, WARN)
        self.work_once(
            "import", lambda: import_folder(desk.logbook, plan, desk.by, desk.now(), progress=progress)
        )

    def on_noted(self, message: Noted) -> None:
        """How far it is."""
        message.stop()
        self.tell(message.line, WARN)

    def done_import(self, done: "FolderImport") -> None:
        """Sheets, known files, what was left and why."""
        self.drop_draft()
        self.tell("")
        cells: list[Cell | str] = [Cell(said_of(done), GOOD if done.sheets else WARN)]
        for one in done.sheets:
            if one.sheet is not None:
                cells.append(
                    f"- {one.sheet.name}: {counted(len(one.logged), 'throw')} ({one.sheet.sheet.kind})"
                )
        if done.left:
            cells += [Cell(""), Cell("Left where they are:", STRONG)]
            cells += [Cell(f"- {Path(one.file).name}: {one.error.what}", BAD) for one in done.left]
            cells.append(FROM_THERE)
        self.query_one("#done", Static).update(listed(self.app, cells))


def said_of(done: "FolderImport") -> str:
    """The whole in one line."""
    throws = sum(len(one.logged) for one in done.sheets)
    parts = [f"{counted(throws, 'throw')} on {counted(len(done.sheets), 'sheet')}"]
    parts += [f"{counted(len(done.known), 'file')} in the logbook already"] if done.known else []
    parts += [f"{counted(len(done.left), 'file')} left"] if done.left else []
    return f"{'; '.join(parts)}. Esc goes back to the list."
