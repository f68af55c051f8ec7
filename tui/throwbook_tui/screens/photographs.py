"""Photographs of the two pins of one throw: the newest pictures of a folder, one key for each pin."""

from collections.abc import Iterator
from os.path import isdir
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.records import NO
from throwbook.core.rig import SIDES
from throwbook.core.sheets.photographs import BACKS_ONLY, after_throw, answer_for, apart_said, far
from throwbook.core.wording import ANSWERS
from throwbook.errors import ThrowbookError
from throwbook_tui.drafts import load_draft, save_draft
from throwbook_tui.fields import FieldSpec, typed_path
from throwbook_tui.present import BAD, GOOD, QUIET, STRONG, WARN, Cell, spoken
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import RowTable, lines

if TYPE_CHECKING:
    from throwbook.jobs.photographs import ListedPicture
    from throwbook.jobs.sheets import SheetView

MOST = 12
"""Pictures that are listed."""
REMEMBERED = "photograph-folder"
"""Kept beside the logbook: the folder that was chosen."""
NO_FOLDER = "No folder is chosen yet. F chooses one: a folder that your phone copies into, or a memory stick."


class PhotographsScreen(Page[None]):
    """Puts pictures to the left or the right pin of a throw; the answers were given before."""

    HELP = "photographs"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("l", "put('left')", "LEFT pin"),
        key("r", "put('right')", "RIGHT pin"),
        key("n", "look_again", "look again"),
        key("f", "folder", "other folder"),
    ]

    def __init__(self, sheet: str, position: int, found: "SheetView") -> None:
        super().__init__()
        self._sheet, self._position, self._found = sheet, position, found
        self._folder = ""
        self._pictures: list[ListedPicture] = []
        self._count = 0

    def body(self) -> Iterator[Widget]:
        """What each pin has, then the pictures."""
        yield Static(id="first", classes="says")
        yield RowTable(("picture", "taken", "from the throw", "MB"), right=(3,), id="pictures")

    def on_mount(self) -> None:
        """Look into the folder."""
        self.head(f"{self._sheet} | throw {self._position}: photographs")
        self.repaint()
        self.action_look_again()
        self.query_one(RowTable).focus()

    def action_look_again(self) -> None:
        """The newest pictures, read in a worker: a stick can be slow."""
        from throwbook.jobs.photographs import newest

        logbook = self.desk.logbook

        def look() -> Any:
            folder = load_draft(logbook, REMEMBERED).get("folder", "")
            return folder, *(newest(Path(folder), MOST) if folder else ([], 0))

        self.work("look", look)

    def done_look(self, result: "tuple[str, list[ListedPicture], int]") -> None:
        """Show them."""
        self._folder, self._pictures, self._count = result
        self.repaint()

    def failed_look(self, error: ThrowbookError) -> None:
        """The stick was pulled: what was listed is no choice any more."""
        self._pictures, self._count = [], 0
        self.repaint()
        self.tell(spoken(error), BAD)

    def repaint(self) -> None:
        """Pins, folder, pictures."""
        super().repaint()
        self.query_one("#first", Static).update(
            lines(self.app, [*map(self._pin, SIDES), Cell(BACKS_ONLY, WARN), self._listed()])
        )
        self.query_one(RowTable).fill([self._row(one) for one in self._pictures])

    def _pin(self, pin: str) -> Cell:
        """What a person answered for it, and its photograph."""
        trial = self._throw.id
        answer = answer_for(pin, self._found.seen[trial])
        word = ANSWERS[f"{pin}_pin"][answer].sentence
        photograph = self._found.photographs.get(trial, {}).get(pin)
        shown = f"photograph: {photograph.file}" if photograph else "no photograph"
        return Cell(f"{pin.upper()} pin: {word}; {shown}", BAD if answer == NO else STRONG)

    @property
    def _throw(self) -> Any:
        return next(one for one in self._found.trials if one.position == self._position)

    def _listed(self) -> Cell:
        if not self._folder:
            return Cell(NO_FOLDER, STRONG)
        number = len(self._pictures)
        some = f"{number} newest of {self._count}" if number < self._count else f"{number}"
        return Cell(f"{self._folder}: {some} pictures, the newest first.", QUIET)

    def _row(self, one: "ListedPicture") -> tuple[str, list[Cell | str]]:
        apart = after_throw(one.taken, self._throw.started)
        said = "-" if apart is None else apart_said(apart).removesuffix(" the throw")
        tone = WARN if far(apart) else ""
        return str(one.path), [one.path.name, one.when, Cell(said, tone), f"{one.bytes / 1e6:.1f}"]

    def action_put(self, pin: str) -> None:
        """The picture under the cursor belongs to this pin."""
        chosen = self.query_one(RowTable).chosen
        if chosen is None:
            self.tell(NO_FOLDER if not self._folder else "There is no picture here. N looks again.", WARN)
        else:
            self._put(pin, Path(chosen), time_known=False)

    def _put(self, pin: str, path: Path, time_known: bool) -> None:
        from throwbook.jobs.photographs import OtherTimeError
        from throwbook.jobs.sheets import photograph

        desk, sheet, position = self.desk, self._sheet, self._position

        def put() -> Any:
            try:
                view = photograph(
                    desk.logbook, sheet, [position], {pin: path}, desk.by, desk.now(), time_known
                )
            except OtherTimeError as error:
                return pin, path, error
            return pin, path, view

        self.tell("Reading the picture ...")
        self.work_once(f"put {pin}", put)

    def done_put(self, result: "tuple[str, Path, SheetView | ThrowbookError]") -> None:
        """It is kept; or it is of another time, and a person says whether it is the right one."""
        pin, path, found = result
        if isinstance(found, ThrowbookError):
            self.tell("")
            self.confirm(
                f"{path.name}: {found.what}. Is it the right photograph?",
                "Look at the date of the picture, and at the clock of the phone.",
                lambda: self._put(pin, path, time_known=True),
                WARN,
            )
            return
        # Of two that end at once the later one's view may come first; a photograph that is kept is never missing again.
        self._found = max(found, self._found, key=lambda one: len(one.photographs[self._throw.id]))
        self.tell(f"{path.name} is kept for the {pin.upper()} pin, without place data.", GOOD)
        self.repaint()

    def action_folder(self) -> None:
        """Where the pictures come from."""
        self.open_screen("photograph folder", self._folder, then=lambda _: self.action_look_again())


def folder_complaint(text: str) -> str:
    """Why no pictures can be listed from it; empty: they can."""
    return "" if isdir(typed_path(text)) else "there is no such folder"


class PhotographFolderScreen(FormPage[None]):
    """The folder, chosen once."""

    HELP = "photographs"
    BINDINGS: ClassVar[list[BindingType]] = [key("ctrl+s,f2", "enter", "choose it", "Ctrl-S")]

    def __init__(self, folder: str) -> None:
        super().__init__()
        self._before = folder

    def draft_name(self) -> str:
        """One for the program."""
        return "choosing-photograph-folder"

    def specs(self) -> tuple[FieldSpec, ...]:
        """One path."""
        hint = "/media/stick/DCIM"
        return (FieldSpec("folder", "folder of the pictures", must=True, hint=hint, judge=folder_complaint),)

    def first_values(self) -> dict[str, str]:
        """The one of before."""
        return {"folder": self._before}

    def opened(self) -> None:
        """Head line."""
        self.head("photographs | folder")

    def enter(self) -> None:
        """Remember it."""
        logbook, chosen = self.desk.logbook, typed_path(self.form.field("folder").value)
        self.work("remember", lambda: save_draft(logbook, REMEMBERED, {"folder": str(chosen.absolute())}))

    def done_remember(self, _: None) -> None:
        """Back to the pictures."""
        self.drop_draft()
        self.dismiss(None)
