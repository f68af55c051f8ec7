"""Rows of a trace file to numbers: a whole block at once, or row by row to find the line that is wrong."""

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from logger.core.quantities.plain import quoted
from logger.core.trace import FloatArray
from logger.errors import InputError
from logger.files.columns import QUANTITIES, Column
from logger.files.decimals import plain_decimals

_LINE_END = b"\n"

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_NOT_FINITE = frozenset({"nan", "inf", "infinity", "-inf", "-infinity", "+inf", "+infinity", "-nan", "+nan"})

# A cell beyond these isn't an actuator's record but another unit or another column. Time is wide enough for
# microseconds since 1970 once they are seconds.
LARGEST = {"time": 1e12, "current": 1e5, "voltage": 1e5}


@dataclass(frozen=True)
class Layout:
    """What a row of this file looks like."""

    path: str
    width: int
    """Fields in a row."""
    columns: tuple[Column, ...]

    def fault(self, line: int, what: str, do: str = "") -> InputError:
        """The one-line error for ``line`` of the file."""
        return InputError(what, f"{self.path}, line {line}", do)


def is_number(cell: str) -> bool:
    """Whether ``cell`` is a plain finite number."""
    return bool(_NUMBER.fullmatch(cell.strip()))


def refuse_binary(raw: bytes, path: str, first_line: int) -> None:
    """Raise InputError if ``raw`` holds a zero byte, which no text does."""
    zero = raw.find(b"\0")
    if zero >= 0:
        where = f"{path}, line {first_line + raw.count(_LINE_END, 0, zero)}"
        raise InputError("this is binary data, not text", where, "Check which file it is")


def decode(raw: bytes, path: str, first_line: int) -> str:
    """``raw`` as text. Raises InputError naming the line of the first byte that isn't UTF-8 text."""
    refuse_binary(raw, path, first_line)
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        where = f"{path}, line {first_line + raw.count(_LINE_END, 0, error.start)}"
        raise InputError(
            f"byte 0x{raw[error.start]:02x} is not UTF-8 text", where, "Save the file as UTF-8"
        ) from error


def convert(block: bytes, layout: Layout, first_line: int, last_time_s: float) -> FloatArray:
    """A block of whole lines as an array of shape (columns, rows), SI.

    ``first_line`` is the number of the block's first line in the file; ``last_time_s`` the time of the row before it
    (-inf for the first block). Raises InputError naming the first line at fault.
    """
    table = plain_decimals(block, layout.width)
    if table is not None:
        table = table[:, [column.index for column in layout.columns]]
    else:
        text = decode(block, layout.path, first_line)
        table = _by_library(text.split("\n"), layout)
    if table is not None:
        values: FloatArray = np.ascontiguousarray((table * [column.factor for column in layout.columns]).T)
        if _sound(values, layout, last_time_s):
            return values
    return _row_by_row(decode(block, layout.path, first_line), layout, first_line, last_time_s)


def _by_library(lines: list[str], layout: Layout) -> FloatArray | None:
    """Shape (rows, columns); None where anything about the block is unusual."""
    if not any(lines):
        return np.empty((0, len(layout.columns)))
    if any(line and line.count(",") != layout.width - 1 for line in lines):
        return None
    try:
        return np.loadtxt(
            lines, delimiter=",", comments=None, ndmin=2, usecols=[column.index for column in layout.columns]
        )
    except ValueError:
        return None


def _sound(block: FloatArray, layout: Layout, last_time_s: float) -> bool:
    """Finite, of a believable size, and in order of time; stamps of a coarse clock may repeat."""
    if not block.shape[1]:
        return True
    largest = np.abs(block).max(axis=1)
    believable = all(
        size <= LARGEST[column.quantity] for size, column in zip(largest, layout.columns, strict=True)
    )
    time_s = block[0]
    return believable and bool(time_s[0] >= last_time_s) and bool((time_s[1:] >= time_s[:-1]).all())


def _row_by_row(text: str, layout: Layout, first_line: int, last_time_s: float) -> FloatArray:
    """The slow way: RFC 4180 with quotes, and the exact line of the first fault."""
    values: list[list[float]] = []
    for line, fields in _records(text, layout, first_line):
        if len(fields) != layout.width:
            raise _wrong_width(fields, layout, line)
        row = [_number(fields[column.index], column, layout, line) for column in layout.columns]
        if row[0] < last_time_s:
            raise layout.fault(
                line,
                f"time falls: {row[0]:g} s after {last_time_s:g} s",
                "Rows must be in the order of time",
            )
        last_time_s = row[0]
        values.append(row)
    return np.array(values, dtype=float).reshape(-1, len(layout.columns)).T


def _records(text: str, layout: Layout, first_line: int) -> Iterator[tuple[int, Sequence[str]]]:
    """Line number and fields of each row; empty lines are passed over."""
    reader = csv.reader(text.split("\n"), strict=True)
    while True:
        line = first_line + reader.line_num
        try:
            fields = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise layout.fault(
                line, f"the quotes in this row don't close ({error})", "Mend the row"
            ) from error
        if fields:
            yield line, fields


def _wrong_width(fields: Sequence[str], layout: Layout, line: int) -> InputError:
    if ";" in fields[0]:
        return layout.fault(
            line, "fields are parted by semicolons", "Save the file with commas and decimal points"
        )
    do = "Each row needs every column"
    if len(fields) > layout.width:
        do = "Were decimal commas used? Save the file with decimal points"
    return layout.fault(
        line, f"{len(fields)} field{'s' if len(fields) > 1 else ''} where the header has {layout.width}", do
    )


def _number(cell: str, column: Column, layout: Layout, line: int) -> float:
    cell = cell.strip()
    if _NUMBER.fullmatch(cell):
        value = float(cell) * column.factor
        if abs(value) <= LARGEST[column.quantity]:
            return value
        unit = QUANTITIES[column.quantity][1]
        raise layout.fault(
            line,
            f"{column.name} {quoted(cell)} is beyond belief ({LARGEST[column.quantity]:g} {unit} at most)",
            f'Is it another unit? --column {column.quantity}="NAME [UNIT]"',
        )
    name = quoted(column.name)
    if not cell:
        raise layout.fault(line, f"column {name} is empty", "Leave out rows without a reading")
    if cell.lower() in _NOT_FINITE:
        raise layout.fault(
            line,
            f"column {name} holds {quoted(cell)}, not a finite number",
            "Leave out rows without a reading",
        )
    if _DECIMAL_COMMA.fullmatch(cell):
        raise layout.fault(line, f"column {name} holds {quoted(cell)}", "Save the file with decimal points")
    raise layout.fault(line, f"column {name} holds {quoted(cell)}, not a number", "Mend or remove the row")
