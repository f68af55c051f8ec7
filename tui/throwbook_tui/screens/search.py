"""Looking for words in everything that was written."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import DataTable

from throwbook.core.listing import NOTES
from throwbook.core.quantities.text import counted
from throwbook_tui.fields import FieldSpec
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import key
from throwbook_tui.widgets.frame import RowTable

if TYPE_CHECKING:
    from throwbook.jobs.search import Note


class SearchScreen(FormPage[None]):
    """The words above, what was found below; Enter on a line opens its rig."""

    HELP = "search"
    BINDINGS: ClassVar[list[BindingType]] = [key("ctrl+s,f2", "enter", "search", "Ctrl-S")]

    def __init__(self) -> None:
        super().__init__()
        self._found: list[Note] = []

    def draft_name(self) -> str:
        """The words that were looked for last."""
        return "search"

    def specs(self) -> tuple[FieldSpec, ...]:
        """One line."""
        return (FieldSpec("words", "words", must=True, hint="all of them; the beginning of a word will do"),)

    def body(self) -> Iterator[Widget]:
        """The line and the list."""
        yield self.make_form()
        yield RowTable(NOTES.heads, id="notes")

    def opened(self) -> None:
        """Head line."""
        self.head("search")

    def enter(self) -> None:
        """Look."""
        from throwbook.jobs.search import excerpt, search

        logbook, words = self.desk.logbook, self.form.field("words").value.split()
        self.work("search", lambda: [excerpt(one, words) for one in search(logbook, words)])

    def done_search(self, found: "list[Note]") -> None:
        """Show it, newest first."""
        self._found = found
        table = self.query_one(RowTable)
        table.fill([(str(number), NOTES.row(one)) for number, one in enumerate(found)])
        if found:
            self.tell(f"{counted(len(found), 'text')}, newest first. Enter opens the rig.")
            table.focus()
        else:
            self.tell("No text in the logbook has these words. Try the beginning of a word.")

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        """Go to the rig."""
        if event.row_key.value:
            self.open_screen("rig", self._found[int(event.row_key.value)].rig)
