"""The only writer to stdout: lines, tables, JSON lines.

On a terminal, text wraps to its width and may be coloured (NO_COLOR is honoured). In a pipe it is plain: no colour, no
wrapping, one row a line, so that it can be searched. Whatever came from a file is made printable on the way out, so
that no name or cell can command the terminal.
"""

import shutil
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from logger.core.plain import printable

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


@dataclass(frozen=True)
class Cell:
    """A table cell, or a line, with one of ``STYLES``."""

    text: str
    style: str = ""


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
    """Aligned columns; ``right`` are the indices of the columns set flush right."""
    from rich import box
    from rich.table import Table

    on_terminal = sys.stdout.isatty()
    drawn = Table(box=box.SIMPLE_HEAD if on_terminal else None, pad_edge=False, show_edge=False)
    for index, heading in enumerate(headings):
        drawn.add_column(_text(Cell(heading, "heading")), justify="right" if index in right else "left")
    for row in rows:
        drawn.add_row(*(_text(cell if isinstance(cell, Cell) else Cell(cell)) for cell in row))
    console = _console()
    if on_terminal:
        console.print(drawn)
        return
    with console.capture() as captured:
        console.print(drawn)
    for text in captured.get().splitlines():
        _write(text.rstrip())


def json_line(record: Mapping[str, Any]) -> None:
    """One JSON object on a line of its own."""
    from logger.files.jsonl import dumps

    _write(dumps(record))


def _write(text: str) -> None:
    encoding = sys.stdout.encoding or "utf-8"
    click.echo(text.encode(encoding, "replace").decode(encoding))


def _text(cell: Cell) -> "Text":
    """As rich text, without reading any markup in it."""
    from rich.text import Text

    return Text(printable(cell.text), style=STYLES[cell.style], overflow="fold")


def _console() -> "Console":
    from rich.console import Console

    if sys.stdout.isatty():
        return Console(highlight=False, markup=False, emoji=False)
    return Console(
        highlight=False, markup=False, emoji=False, width=_PIPE_WIDTH, color_system=None, force_terminal=False
    )
