"""Are you sure: for everything that matters and can't be taken back."""

from collections.abc import Iterator
from typing import Any, ClassVar

from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tui.present import Cell
from tui.screens.page import Page, key
from tui.widgets.frame import lines


class ConfirmScreen(Page[bool]):
    """Yes or no; anything else is no."""

    HELP = "confirm"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("y", "yes", "yes, do it", "Y"),
        key("n,escape", "back", "no", "N or Esc"),
        key("enter", "write", "write it down", "Enter"),
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
        self.head("write it down" if self._by_enter else "are you sure?")
        self.repaint()

    def repaint(self) -> None:
        """Question, meaning, answers."""
        super().repaint()
        cells = [
            Cell(self._question, self._tone),
            Cell(""),
            *map(Cell, self._meaning.split("\n")),
            Cell(""),
            Cell("Enter writes it down     Esc goes back" if self._by_enter else "Y yes     N no"),
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
