"""Three small screens: confirm, help, and where to put a file."""

from collections.abc import Iterator
from functools import partial
from os.path import exists, isdir
from pathlib import Path
from typing import Any, ClassVar

from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from throwbook_tui.fields import FieldSpec, typed_path
from throwbook_tui.help_text import PAGES
from throwbook_tui.present import PLAIN, QUIET, STRONG, Cell
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import Page, TextPage, key
from throwbook_tui.widgets.frame import lines


class ConfirmScreen(Page[bool]):
    """Yes or no; anything else is no."""

    HELP = "confirm"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("y", "yes", "yes, do it", "Y"),
        key("n,escape", "back", "no", "N or Esc"),
        key("enter", "write", "record it", "Enter"),
        key("escape", "go_back", "go back", "Esc"),
    ]

    def __init__(
        self, question: str, meaning: str = "", tone: str = "strong", by_enter: bool = False
    ) -> None:
        super().__init__()
        self._question, self._meaning, self._tone = question, meaning, tone
        self._by_enter = by_enter
        """What stands there is a statement: Enter writes it down, Esc goes back, Y and N mean nothing."""

    def body(self) -> Iterator[Widget]:
        """The question and what it means."""
        with VerticalScroll(can_focus=False):
            yield Static(id="first")

    def on_mount(self) -> None:
        """Show it."""
        self.head("record it" if self._by_enter else "are you sure?")
        self.repaint()

    def repaint(self) -> None:
        """Question, meaning, answers."""
        super().repaint()
        cells = [
            Cell(self._question, self._tone),
            Cell(""),
            *map(Cell, self._meaning.split("\n")),
            Cell(""),
            Cell(
                "Enter = record it     Esc = back, nothing is recorded"
                if self._by_enter
                else "Y yes     N no"
            ),
        ]
        self.query_one("#first", Static).update(lines(self.app, cells))

    def action_yes(self) -> None:
        """Do it."""
        self.dismiss(True)

    def action_back(self) -> None:
        """Don't."""
        self.dismiss(False)

    def action_write(self) -> None:
        """Do it."""
        self.dismiss(True)

    def action_go_back(self) -> None:
        """Don't."""
        self.dismiss(False)

    def check_action(self, action: str, parameters: tuple[Any, ...]) -> bool | None:
        """A question has Y and N, a statement Enter and Esc."""
        if action in ("write", "go_back"):
            return self._by_enter
        return not self._by_enter if action in ("yes", "back") else True


EVERYWHERE = "On every screen: Esc goes back, F1 help, F8 light or dark, Ctrl-Q quits. The words in the bottom line can also be clicked."


class HelpScreen(TextPage):
    """One page of the help."""

    HELP = "help"

    def __init__(self, page: str) -> None:
        super().__init__()
        self._page = page

    def where(self) -> str:
        """Which page."""
        return f"help | {self._page}"

    def text(self) -> list[Cell | str]:
        """A line that ends with a colon is a heading."""
        page = [Cell(line, STRONG if line.endswith(":") else PLAIN) for line in PAGES[self._page]]
        return [*page, Cell(""), Cell(EVERYWHERE, QUIET)]


def place_complaint(text: str, usual: Path) -> str:
    """Why nothing can be put there; empty: it can. The folder of the ``usual`` place is made where it isn't there yet."""
    path = typed_path(text)
    if exists(path):
        return "something with this name is there already"
    if path.parent != usual.parent and not isdir(path.parent):
        return f"there is no folder {path.parent}"
    return ""


class WhereScreen(FormPage[Path]):
    """Gives the path."""

    HELP = "papers"
    BINDINGS: ClassVar[list[BindingType]] = [key("ctrl+s,f2", "enter", "write it", "Ctrl-S")]

    def __init__(self, what: str, usual: Path) -> None:
        super().__init__()
        self._what, self._usual = what, usual

    def draft_name(self) -> str:
        """One for each kind of paper."""
        return f"where-{self._what}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """One path."""
        judge = partial(place_complaint, usual=self._usual)
        return (FieldSpec("path", "put it into", must=True, judge=judge),)

    def first_values(self) -> dict[str, str]:
        """In the rig's folder, named after rig and day."""
        return {"path": str(self._usual)}

    def opened(self) -> None:
        """Head line."""
        self.head(self._what)
        if not self.draft:
            self.changed()

    def changed(self) -> None:
        """The path is longer than its line."""
        self.tell(f"Whole path: {self.form.field('path').value}")

    def enter(self) -> None:
        """Go."""
        self.drop_draft()
        self.dismiss(typed_path(self.form.field("path").value))
