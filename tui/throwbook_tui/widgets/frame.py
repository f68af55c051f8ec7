"""The frame around every screen: head line, notice, line of keys; large letters, and a table to choose a row from."""

import re
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from rich.console import Group
from rich.table import Table
from rich.text import Text
from textual.actions import parse
from textual.binding import Binding
from textual.visual import VisualType
from textual.widgets import DataTable, Static

from throwbook.core.quantities.text import printable
from throwbook_tui.present import Cell

SHORTEST_NAME = 8
"""Letters that the head line leaves of a rig's name."""
COMMON = ("Esc", "F1", "F8", "Ctrl-Q", "Ctrl-L")
"""Keys that every screen has: they stand last."""


# theme: tone: style. Day: near black on white; night: amber on black. 16-colour terminals get their nearest.
TONES: dict[str, dict[str, str]] = {
    "day": {
        "": "#000000",
        "good": "bold #004d00",
        "warn": "bold #7a3d00",
        "bad": "bold #ffffff on #a00000",
        "quiet": "#444444",
        "strong": "bold #000000",
        "edge": "bold #a00000",
        "line": "#0030a0",
        "other": "#7a3d00",
    },
    "night": {
        "": "#ffd9a0",
        "good": "bold #7fe07f",
        "warn": "bold #ffff55",
        "bad": "bold #000000 on #ff6b5e",
        "quiet": "#c09a68",
        "strong": "bold #ffffff",
        "edge": "bold #ff6b5e",
        "line": "#ffb347",
        "other": "#7fd4ff",
    },
}


def toned(app: Any, cell: Cell | str, tone: str = "") -> Text:
    """A cell in the colours of the theme that is on; whatever came from a file is made printable."""
    if isinstance(cell, str):
        cell = Cell(cell, tone)
    text = printable(cell.text)
    if app.desk.ascii:
        text = text.replace("\N{PLUS-MINUS SIGN}", "+/-").encode("ascii", "replace").decode()
    return Text(text, style=TONES.get(app.theme, TONES["day"])[cell.tone], end="")


def lines(app: Any, cells: Iterable[Cell | str]) -> Text:
    """Several cells, one a line."""
    return Text("\n").join([toned(app, cell) for cell in cells])


MARK = re.compile(r"(\[.\] (?:\d+\. )?|- | {2}\S+(?: \S+)* {2,}| +)(?=\S)")
"""In front of a line of a list: its mark, its name in a column of names, or what it is set in by."""


def listed(app: Any, cells: Iterable[Cell | str]) -> Group:
    """The same as ``lines``; what a listed line has too much for one line stands under its words, not under its mark."""
    found: list[Table | Text] = []
    for cell in cells:
        text = toned(app, cell)
        text.end = "\n"
        mark = MARK.match(text.plain)
        if mark is None:
            found.append(text if text.plain else Text(" "))
        else:
            row = Table.grid()
            row.add_column(width=len(mark[0]))
            row.add_column()
            row.add_row(text[: len(mark[0])], text[len(mark[0]) :])
            found.append(row)
    return Group(*found)


class SteadyLine(Static):
    """A text that is laid out anew only when it changed: most keys leave most lines as they are."""

    _stands: tuple[Text, object] | None = None

    def update(self, content: VisualType = "", *, layout: bool = True) -> None:
        """Show ``content``, unless it stands there already."""
        shown = (content, content.style) if isinstance(content, Text) else None
        if shown is None or shown != self._stands:
            self._stands = shown
            super().update(content, layout=layout)


class Headline(SteadyLine):
    """Where we are; at the right, what must not be missed."""

    def show(self, where: str, right: Cell | str = "") -> None:
        """``where`` at the left, ``right`` at the right."""
        self._where, self._right = where, right
        self.refresh_line()

    def refresh_line(self) -> None:
        """Lay it out for the width there is."""
        where, right = getattr(self, "_where", ""), getattr(self, "_right", "")
        right = right if isinstance(right, Cell) else Cell(right)
        desk = self.app.desk  # type: ignore[attr-defined]
        practice = "PRACTICE | " if desk.practice or desk.simulated else ""
        left = printable(f" THROWBOOK | {practice}{where}")
        width = max(self.app.size.width, 20)
        room = width - len(right.text) - 3
        over = len(left) - room
        if over > 0:  # a long name of a rig gives way before the page it is on
            name, bar, page = where.partition(" | ")
            keep = max(len(name) - over - 2, SHORTEST_NAME)
            left = printable(f" THROWBOOK | {practice}{name[:keep]}..{bar}{page}") if bar else left
            left = left if len(left) <= room else left[: room - 2] + ".."
        text = Text(left.ljust(room), end="")
        text.append(" ")
        tone = TONES.get(self.app.theme, TONES["day"])[right.tone]
        if right.tone and " on " not in tone:
            tone += f" on {self.app.current_theme.background}"  # on the head line's own ground it would be hard to read
        text.append(f" {printable(right.text)} ", style=tone if right.tone else "")
        self.update(text)

    def on_resize(self) -> None:
        """The width changed."""
        self.refresh_line()


class Notice(SteadyLine):
    """One thing to tell: why something was refused, or that it is done. Empty, it takes no room."""

    def tell(self, text: str, tone: str = "") -> None:
        """Show ``text``; an empty one hides the notice."""
        self.display = bool(text)
        self.update(toned(self.app, text, tone))


class KeyLine(SteadyLine):
    """Every key that does something here, with its word; each can be clicked."""

    def on_mount(self) -> None:
        """Keep up with what has the focus."""
        self.screen.bindings_updated_signal.subscribe(self, lambda _: self.show_keys())
        self.show_keys()

    def show_keys(self) -> None:
        """Lay the keys out; whole words go onto the next line, none is cut off."""
        text = Text(end="", no_wrap=True)
        room = max(self.app.size.width - 2, 20)
        used = 0
        for binding in self._shown():
            words = f"{binding.key_display} {binding.description}"
            if used and used + 2 + len(words) > room:
                text.append("\n")
                used = 0
            elif used:
                text.append("  ")
                used += 2
            piece = Text(words)
            piece.stylize("bold underline", 0, len(str(binding.key_display)))
            piece.apply_meta({"@click": f"app.press('{binding.key}')"})
            text.append_text(piece)
            used += len(words)
        self.update(text)

    def _shown(self) -> list[Binding]:
        """Keys of the screen and of the program that do something now: Enter first, the common ones last."""
        found: dict[tuple[str, str], Binding] = {}
        for node in (self.screen, self.app):
            for bindings in node._bindings.key_to_bindings.values():
                for one in bindings:
                    _, action, parameters = parse(one.action)
                    if one.show and node.check_action(action, parameters):
                        found.setdefault((str(one.key_display), one.description), one)
        return sorted(
            found.values(), key=lambda one: (one.key_display != "Enter", str(one.key_display) in COMMON)
        )

    def on_resize(self) -> None:
        """The width changed."""
        self.show_keys()


# letter: five rows; # is ink.
GLYPHS: dict[str, tuple[str, str, str, str, str]] = {
    "0": ("####", "#  #", "#  #", "#  #", "####"),
    "1": (" ## ", "  # ", "  # ", "  # ", " ###"),
    "2": ("####", "   #", "####", "#   ", "####"),
    "3": ("####", "   #", " ###", "   #", "####"),
    "4": ("#  #", "#  #", "####", "   #", "   #"),
    "5": ("####", "#   ", "####", "   #", "####"),
    "6": ("####", "#   ", "####", "#  #", "####"),
    "7": ("####", "   #", "  # ", " #  ", " #  "),
    "8": ("####", "#  #", "####", "#  #", "####"),
    "9": ("####", "#  #", "####", "   #", "####"),
    ".": ("    ", "    ", "    ", "    ", " ## "),
    "-": ("   ", "   ", "###", "   ", "   "),
    "%": ("#  #", "  # ", " #  ", "#   ", "#  #"),
    " ": ("  ", "  ", "  ", "  ", "  "),
    "?": ("####", "   #", "  ##", "    ", "  # "),
    "A": (" ## ", "#  #", "####", "#  #", "#  #"),
    "B": ("### ", "#  #", "### ", "#  #", "### "),
    "C": ("####", "#   ", "#   ", "#   ", "####"),
    "D": ("### ", "#  #", "#  #", "#  #", "### "),
    "E": ("####", "#   ", "### ", "#   ", "####"),
    "F": ("####", "#   ", "### ", "#   ", "#   "),
    "G": ("####", "#   ", "# ##", "#  #", "####"),
    "H": ("#  #", "#  #", "####", "#  #", "#  #"),
    "I": ("###", " # ", " # ", " # ", "###"),
    "J": ("  ##", "   #", "   #", "#  #", "####"),
    "K": ("#  #", "# # ", "##  ", "# # ", "#  #"),
    "L": ("#   ", "#   ", "#   ", "#   ", "####"),
    "M": ("#   #", "## ##", "# # #", "#   #", "#   #"),
    "N": ("#   #", "##  #", "# # #", "#  ##", "#   #"),
    "O": ("####", "#  #", "#  #", "#  #", "####"),
    "P": ("####", "#  #", "####", "#   ", "#   "),
    "Q": ("####", "#  #", "#  #", "# ##", "####"),
    "R": ("### ", "#  #", "### ", "# # ", "#  #"),
    "S": ("####", "#   ", "####", "   #", "####"),
    "T": ("#####", "  #  ", "  #  ", "  #  ", "  #  "),
    "U": ("#  #", "#  #", "#  #", "#  #", "####"),
    "V": ("#   #", "#   #", " # # ", " # # ", "  #  "),
    "W": ("#   #", "#   #", "# # #", "## ##", "#   #"),
    "X": ("#   #", " # # ", "  #  ", " # # ", "#   #"),
    "Y": ("#   #", " # # ", "  #  ", "  #  ", "  #  "),
    "Z": ("####", "   #", " ## ", "#   ", "####"),
    "s": ("    ", "####", "##  ", "  ##", "####"),
}
HEIGHT = 5


def big_rows(text: str, ink: str) -> list[str]:
    """Five lines; a letter that isn't drawn leaves a gap."""
    glyphs = [GLYPHS.get(letter, GLYPHS[" "]) for letter in text]
    return [" ".join(glyph[row] for glyph in glyphs).replace("#", ink) for row in range(HEIGHT)]


class Big(Static):
    """One large word or figure, a line of plain words below it."""

    def __init__(self, *, id: str | None = None, beside: int = 1) -> None:
        """``beside``: so many of them share the width of the screen."""
        super().__init__(id=id, classes="big")
        self._beside = beside
        self._shown: tuple[Cell, str] = (Cell(""), "")
        self._height = -1

    def show(self, cell: Cell, below: str = "") -> None:
        """``cell`` large; where it is too wide for the screen, as it is."""
        self._shown = (cell, below)
        self.repaint()

    def repaint(self) -> None:
        """With the colours and the width there are."""
        cell, below = self._shown
        ink = "#" if self.app.desk.ascii else "\N{FULL BLOCK}"  # type: ignore[attr-defined]
        rows = big_rows(cell.text, ink)
        if len(rows[0]) > self.app.size.width // self._beside - 4:
            rows = [cell.text]
        tones = TONES.get(self.app.theme, TONES["day"])
        # A tone with a coloured ground would make a slab of it: only its strong colour is wanted.
        style = tones[cell.tone].replace("bold #ffffff on ", "bold ").replace("bold #000000 on ", "bold ")
        text = Text("\n".join(rows), style=style, no_wrap=True)
        if below:
            text.append(f"\n{below}", style=tones["strong"])
        # To lay the whole screen out anew ten times a second would keep the keys waiting.
        height, self._height = self._height, text.plain.count("\n")
        self.update(text, layout=self._height != height)

    def on_resize(self) -> None:
        """The width changed, and with it how many lines there are.

        Only after the layout that brought the new width: what is asked for while that one is still due is lost in it.
        """
        self.call_after_refresh(self._lay_out)

    def _lay_out(self) -> None:
        self._height = -1
        self.repaint()


LEAST_COLUMN = 8
"""No column of words is made narrower."""
BESIDE = 2
"""Blanks beside each cell of a table."""


def cell_width(text: Text) -> int:
    """Columns of the screen that a text takes."""
    return text.cell_len


def fitting(widths: Sequence[int], fixed: Collection[int], room: int) -> list[int]:
    """Widths of columns that go into ``room``: the widest column of words gives way first; figures (``fixed``) never do."""
    found = list(widths)
    over = sum(found) + BESIDE * len(found) - room
    while over > 0 and room > 0:
        words = [index for index in range(len(found)) if index not in fixed and found[index] > LEAST_COLUMN]
        if not words:
            break
        ordered = sorted(words, key=lambda index: found[index])
        widest, second = ordered[-1], found[ordered[-2]] if len(ordered) > 1 else LEAST_COLUMN
        give = min(over, max(found[widest] - max(second, LEAST_COLUMN), 1))
        found[widest] -= give
        over -= give
    return found


class RowTable(DataTable[Any]):
    """Rows of cells with tones; the row under the cursor stays chosen when it is filled anew."""

    def __init__(self, headings: Sequence[str], *, right: Sequence[int] = (), id: str | None = None) -> None:
        super().__init__(cursor_type="row", zebra_stripes=False, id=id)
        self._headings = tuple(headings)
        self._right = frozenset(right)
        self._filled: Sequence[tuple[str, Sequence[Cell | str]]] = ()
        self.cursor_foreground_priority = "css"

    def heads(self, headings: Sequence[str], right: Sequence[int]) -> None:
        """Other columns from the next filling on."""
        self._headings, self._right = tuple(headings), frozenset(right)
        self._filled = ()

    def on_mount(self) -> None:
        """Head row."""
        self.fill(())

    def on_resize(self) -> None:
        """Columns take the room there is now."""
        self.fill(self._filled)

    def fill(self, rows: Sequence[tuple[str, Sequence[Cell | str]]]) -> None:
        """Show these rows, each with its key; what is too long for the screen goes on in a second line of its column."""
        chosen, self._filled = self.chosen, rows
        lines_of = [[toned(self.app, cell) for cell in cells] for _, cells in rows]
        head = [Text(heading) for heading in self._headings]
        wanted = [max(map(cell_width, column)) for column in zip(head, *lines_of, strict=True)]
        room = self.content_region.width
        widths = fitting(wanted, self._right, room)
        if self._rows_of(lines_of, widths) >= self.size.height:  # the bar to scroll by takes its own columns
            widths = fitting(wanted, self._right, room - self.scrollbar_size_vertical)
        self.clear(columns=True)
        for index, (heading, width) in enumerate(zip(head, widths, strict=True)):
            heading.justify = "right" if index in self._right else "left"
            self.add_column(heading, width=width)
        for (key, _), texts in zip(rows, lines_of, strict=True):
            for index in self._right:
                texts[index].justify = "right"
            longest = any(cell_width(text) > width for text, width in zip(texts, widths, strict=True))
            self.add_row(*texts, key=key, height=None if longest else 1)
        keys = [key for key, _ in rows]
        if chosen in keys:
            self.move_cursor(row=keys.index(chosen), animate=False)

    @staticmethod
    def _rows_of(lines_of: Sequence[Sequence[Text]], widths: Sequence[int]) -> int:
        """Rows of the screen that these lines take at least."""
        return sum(
            max(-(-cell_width(text) // max(width, 1)) for text, width in zip(texts, widths, strict=True))
            for texts in lines_of
        )

    @property
    def chosen(self) -> str | None:
        """Key of the row under the cursor."""
        if not self.row_count or not self.is_valid_row_index(self.cursor_row):
            return None
        return self.coordinate_to_cell_key(self.cursor_coordinate).row_key.value
