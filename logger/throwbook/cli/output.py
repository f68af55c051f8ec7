"""The only writer to stdout: lines, tables, JSON lines.

On a terminal, text wraps to its width and may be coloured (NO_COLOR is honoured). In a pipe it is plain: no colour, no
wrapping, one row a line, so that it can be searched. Whatever came from a file is made printable on the way out, so
that no name or cell can command the terminal.
"""

import shutil
import sys
import unicodedata
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

from throwbook.core.quantities.text import printable
from throwbook.core.wording import Cell as Cell

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

# What a style means -> how it looks. Colour only repeats what a word already says.
STYLES = {
    "": "",
    "heading": "bold",
    "quiet": "dim",
    "good": "bold green",
    "warn": "bold yellow",
    "bad": "bold red",
}
_PIPE_WIDTH = 10_000


def line(text: str = "", *, style: str = "", indent: int = 0, hang: int = 0) -> None:
    """One line; on a terminal it wraps, further lines set in by ``indent + hang``."""
    text = printable(text)
    if not sys.stdout.isatty():
        _write(" " * indent + text if text else "")
        return
    import textwrap

    from rich.text import Text

    console = _console()
    wrapped = textwrap.wrap(
        text,
        width=max(console.width, indent + hang + 20),
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + hang),
        drop_whitespace=True,
    )
    console.print(Text("\n".join(wrapped), style=STYLES[style]), soft_wrap=True)


def verbatim(text: str) -> None:
    """One line for another program, as it is: neither wrapped nor coloured, on a terminal too."""
    _write(printable(text))


def status(text: str) -> None:
    """One line that the next one overwrites; nothing in a pipe. An empty text wipes it."""
    if sys.stdout.isatty():
        width = max(20, shutil.get_terminal_size().columns - 1)
        click.echo(f"\r{printable(text)[:width]:<{width}}" + ("" if text else "\r"), nl=False)


def flush() -> None:
    """Let a reader of the pipe see it now."""
    sys.stdout.flush()


def table(
    headings: Sequence[str], rows: Sequence[Sequence[str | Cell]], *, right: Sequence[int] = ()
) -> None:
    """Aligned columns; ``right`` are the indices of the columns set flush right. A tone is one of ``STYLES``."""
    cells = [[cell if isinstance(cell, Cell) else Cell(cell) for cell in row] for row in rows]
    if not sys.stdout.isatty():
        for text in _plain_table([[Cell(heading) for heading in headings], *cells], set(right)):
            _write(text)
        return
    from rich.table import Table

    drawn = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for index, heading in enumerate(headings):
        drawn.add_column(_text(Cell(heading, "heading")), justify="right" if index in right else "left")
    for row in cells:
        drawn.add_row(*(_text(cell) for cell in row))
    _console().print(drawn)


def _plain_table(rows: Sequence[Sequence[Cell]], right: set[int]) -> list[str]:
    """One line a row, columns two blanks apart; without rich, which takes longer to load than most commands to run."""
    shown = [[printable(cell.text) for cell in row] for row in rows]
    widths = [max(map(_width, column)) for column in zip(*shown, strict=True)]
    lines = []
    for row in shown:
        padded = []
        for index, (text, width) in enumerate(zip(row, widths, strict=True)):
            blanks = " " * (width - _width(text))
            padded.append(blanks + text if index in right else text + blanks)
        lines.append("  ".join(padded).rstrip())
    return lines


def _width(text: str) -> int:
    """Columns that a terminal gives a text: wide letters take two, combining marks none."""
    if text.isascii():
        return len(text)
    wide = sum(unicodedata.east_asian_width(letter) in "WF" for letter in text)
    return len(text) + wide - sum(unicodedata.combining(letter) != 0 for letter in text)


def width() -> int | None:
    """Columns of the terminal; None in a pipe, which has no width."""
    return _console().width if sys.stdout.isatty() else None


def json_line(record: Mapping[str, Any]) -> None:
    """One JSON object on a line of its own."""
    from throwbook.files.tables import dumps

    _write(dumps(record))


def _write(text: str) -> None:
    encoding = sys.stdout.encoding or "utf-8"
    click.echo(text.encode(encoding, "replace").decode(encoding))


def _text(cell: Cell) -> "Text":
    """As rich text, without reading any markup in it."""
    from rich.text import Text

    return Text(printable(cell.text), style=STYLES[cell.tone], overflow="fold")


def _console() -> "Console":
    from rich.console import Console

    if sys.stdout.isatty():
        return Console(highlight=False, markup=False, emoji=False)
    return Console(
        highlight=False, markup=False, emoji=False, width=_PIPE_WIDTH, color_system=None, force_terminal=False
    )
