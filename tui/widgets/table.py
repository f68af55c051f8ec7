"""A table whose rows are chosen with the arrow keys."""

from collections.abc import Sequence
from typing import Any

from rich.text import Text
from textual.widgets import DataTable

from tui.present import Cell
from tui.widgets.frame import toned


class Table(DataTable[Any]):
    """Rows of cells with tones; the row under the cursor stays chosen when it is filled anew."""

    def __init__(self, headings: Sequence[str], *, right: Sequence[int] = (), id: str | None = None) -> None:
        super().__init__(cursor_type="row", zebra_stripes=False, id=id)
        self._headings = tuple(headings)
        self._right = frozenset(right)
        self.cursor_foreground_priority = "css"

    def on_mount(self) -> None:
        """Head row."""
        for index, heading in enumerate(self._headings):
            self.add_column(Text(heading, justify="right" if index in self._right else "left"))

    def fill(self, rows: Sequence[tuple[str, Sequence[Cell | str]]]) -> None:
        """Show these rows, each with its key."""
        chosen = self.chosen
        self.clear()
        for key, cells in rows:
            texts = [toned(self.app, cell) for cell in cells]
            for index in self._right:
                texts[index].justify = "right"
            self.add_row(*texts, key=key)
        keys = [key for key, _ in rows]
        if chosen in keys:
            self.move_cursor(row=keys.index(chosen), animate=False)

    @property
    def chosen(self) -> str | None:
        """Key of the row under the cursor."""
        if not self.row_count or not self.is_valid_row_index(self.cursor_row):
            return None
        return self.coordinate_to_cell_key(self.cursor_coordinate).row_key.value
