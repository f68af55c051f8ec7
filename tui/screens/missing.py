"""What an acceptance of a sheet would still lack, and what blanks cost it."""

from typing import TYPE_CHECKING

from tui.acceptance_words import acceptance_cells
from tui.present import Cell
from tui.screens.text_page import TextPage

if TYPE_CHECKING:
    from logger.jobs.sheet_view import SheetView


class MissingScreen(TextPage):
    """A list to work through."""

    HELP = "sign"
    IS_LIST = True

    def __init__(self, found: "SheetView") -> None:
        super().__init__()
        self._found = found

    def where(self) -> str:
        """Of which sheet."""
        return f"{self._found.state.name} | what is missing"

    def text(self) -> list[Cell | str]:
        """The list."""
        return acceptance_cells(self._found)
