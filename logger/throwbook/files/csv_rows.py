"""Rows of a trace file to numbers: a whole block at once, or row by row to find a fault.

Why plain decimal numbers have a reader of their own: a stroke is to be parsed and analysed within four times what a good
CSV reader needs for parsing alone, and ``numpy.loadtxt`` takes half of that budget. Digits with at most one point and a
minus sign are done here; for anything else the answer is None and the caller reads it the slow way. Exact because a
number of at most 14 digits is an integer below 2**53 divided by a power of ten up to 10**14: both are doubles without
rounding, and one IEEE 754 division rounds correctly.
"""

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from throwbook.core.quantities.text import quoted
from throwbook.core.trace import FloatArray
from throwbook.errors import InputError
from throwbook.files.column_names import QUANTITIES, SWITCH, TEMPERATURE, UNKNOWN, RowColumn

_LONGEST_CELL = 16
_MOST_DIGITS = 14
_COMMA, _NEWLINE, _POINT, _MINUS, _ZERO = b",\n.-0"
_TEN_TO = 10.0 ** np.arange(_LONGEST_CELL + 1)


def plain_decimals(block: bytes, width: int) -> FloatArray | None:
    """Whole lines of ``width`` plain decimals as an array of shape (rows, width).

    None where a cell isn't a plain decimal of at most 14 digits, or a row hasn't ``width`` cells.
    """
    letters = np.frombuffer(block, dtype=np.uint8)
    ends = np.flatnonzero((letters == _COMMA) | (letters == _NEWLINE))
    if not len(ends) or len(ends) % width or ends[-1] != len(letters) - 1:
        return None
    is_line_end = (letters[ends] == _NEWLINE).reshape(-1, width)
    if not is_line_end[:, -1].all() or is_line_end[:, :-1].any():
        return None
    lengths = np.diff(ends, prepend=-1) - 1
    longest = int(lengths.max())
    if lengths.min() < 1 or longest > _LONGEST_CELL:
        return None
    values = _to_floats(letters, ends, lengths, longest)
    return None if values is None else values.reshape(-1, width)


def _to_floats(letters: np.ndarray, ends: np.ndarray, lengths: np.ndarray, longest: int) -> FloatArray | None:
    """Each cell as a float: all cells side by side, flush right, read digit after digit."""
    padded = np.concatenate([np.full(longest, _ZERO, dtype=np.uint8), letters])
    negative = letters.take(ends - lengths) == _MINUS
    digit_counts = (lengths - negative).astype(np.uint8)
    blank = np.uint8(longest) - digit_counts
    points = np.zeros(len(ends), dtype=np.uint8)
    decimals = np.zeros(len(ends), dtype=np.uint8)
    # The point is read as a digit 0: whole * 10**(decimals + 1) + fraction.
    with_gap = np.zeros(len(ends))
    for place in range(longest):
        letter = padded[place:].take(ends)
        is_point = (letter == _POINT) & (blank <= place)
        points += is_point
        decimals += is_point * np.uint8(longest - 1 - place)
        digit = (letter - np.uint8(_ZERO)) * ((blank <= place) & ~is_point)
        if digit.max() > 9:
            return None
        with_gap *= 10.0
        with_gap += digit
    digit_counts -= points
    if points.max() > 1 or digit_counts.max() > _MOST_DIGITS or digit_counts.min() < 1:
        return None
    scale = _TEN_TO.take(decimals)
    whole = np.floor(with_gap / (10.0 * scale))
    values = np.where(points == 1, (with_gap - 9.0 * whole * scale) / scale, with_gap)
    return np.where(negative, -values, values)


_LINE_END = b"\n"
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_NOT_FINITE = frozenset({"nan", "inf", "infinity", "-inf", "-infinity", "+inf", "+infinity", "-nan", "+nan"})


# A cell beyond these isn't an actuator's record but another unit or another column. Time is wide enough for
# microseconds since 1970 once they are seconds.
LARGEST = {"time": 1e12, "current": 1e5, "voltage": 1e5}

BELIEVABLE: dict[str, Callable[[FloatArray], NDArray[np.bool_]]] = {
    SWITCH: lambda values: (values == 0.0) | (values == 1.0),
    TEMPERATURE: lambda values: (values > -273.15) & (values < 1000.0),
    UNKNOWN: lambda values: np.isfinite(values),
}
CELL_ADVICE = {
    SWITCH: "Write 1 for closed and 0 for open; leave the cells empty where no switch is fitted",
    TEMPERATURE: "Write degrees Celsius; leave the cell empty where the probe gave none",
}
"""What to do about a cell that can't be believed."""


@dataclass(frozen=True)
class RowLayout:
    """What a row of this file looks like."""

    path: str
    width: int
    """Fields in a row."""
    columns: tuple[RowColumn, ...]
    side_columns: tuple[RowColumn, ...] = ()
    """Columns whose cells may be empty: side channels, and those that nobody knows."""

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


def convert(block: bytes, layout: RowLayout, first_line: int, last_time_s: float) -> FloatArray:
    """A block of whole lines as an array of shape (columns and side columns, rows), SI; NaN: an empty cell of the latter.

    ``first_line`` is the number of the block's first line in the file; ``last_time_s`` the time of the row before it
    (-inf for the first block). Raises InputError naming the first line at fault.
    """
    table = plain_decimals(block, layout.width)
    if table is not None:
        table = table[:, [column.index for column in (*layout.columns, *layout.side_columns)]]
    elif not layout.side_columns:
        text = decode(block, layout.path, first_line)
        table = _by_library(text.split("\n"), layout)
    if table is not None:
        factors = [column.factor for column in (*layout.columns, *layout.side_columns)]
        values: FloatArray = np.ascontiguousarray((table * factors).T)
        if _sound(values, layout, last_time_s):
            return values
    return _row_by_row(decode(block, layout.path, first_line), layout, first_line, last_time_s)


def _by_library(lines: list[str], layout: RowLayout) -> FloatArray | None:
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


def _sound(block: FloatArray, layout: RowLayout, last_time_s: float) -> bool:
    """Finite, of a believable size, and in order of time; stamps of a coarse clock may repeat."""
    if not block.shape[1]:
        return True
    known, aside = block[: len(layout.columns)], block[len(layout.columns) :]
    largest = np.abs(known).max(axis=1)
    believable = all(
        size <= LARGEST[column.quantity] for size, column in zip(largest, layout.columns, strict=True)
    ) and all(
        BELIEVABLE[column.quantity](row).all() for column, row in zip(layout.side_columns, aside, strict=True)
    )
    time_s = block[0]
    return believable and bool(time_s[0] >= last_time_s) and bool((time_s[1:] >= time_s[:-1]).all())


def _row_by_row(text: str, layout: RowLayout, first_line: int, last_time_s: float) -> FloatArray:
    """The slow way: RFC 4180 with quotes, and the exact line of the first fault."""
    values: list[list[float]] = []
    for line, fields in _records(text, layout, first_line):
        if len(fields) != layout.width:
            raise _wrong_width(fields, layout, line)
        row = [number_in(fields[column.index], column, layout, line) for column in layout.columns]
        row += [number_or_nan(fields[column.index], column, layout, line) for column in layout.side_columns]
        if row[0] < last_time_s:
            raise layout.fault(
                line,
                f"time falls: {row[0]:g} s after {last_time_s:g} s",
                "Rows must be in the order of time",
            )
        last_time_s = row[0]
        values.append(row)
    return np.array(values, dtype=float).reshape(-1, len(layout.columns) + len(layout.side_columns)).T


def _records(text: str, layout: RowLayout, first_line: int) -> Iterator[tuple[int, Sequence[str]]]:
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


def _wrong_width(fields: Sequence[str], layout: RowLayout, line: int) -> InputError:
    if ";" in fields[0]:
        return layout.fault(
            line, "fields are separated by semicolons", "Save the file with commas and decimal points"
        )
    do = "Each row needs every column"
    if len(fields) > layout.width:
        do = "Were decimal commas used? Save the file with decimal points"
    return layout.fault(
        line, f"{len(fields)} field{'s' if len(fields) > 1 else ''} where the header has {layout.width}", do
    )


def reading(cell: str, quantity: str) -> float:
    """The cell of a column of ``BELIEVABLE``; NaN: it is empty, no number, or can't be believed."""
    value = float(cell) if _NUMBER.fullmatch(cell) else np.nan
    return value if BELIEVABLE[quantity](np.array([value])).all() else np.nan


def number_or_nan(cell: str, column: RowColumn, layout: RowLayout, line: int) -> float:
    """The cell of a column that may be empty; what is no number in a column that nobody knows is NaN too."""
    cell = cell.strip()
    value = reading(cell, column.quantity)
    if cell and np.isnan(value) and column.quantity != UNKNOWN:
        raise layout.fault(
            line, f"column {quoted(column.name)} holds {quoted(cell)}", CELL_ADVICE[column.quantity]
        )
    return value


def number_in(cell: str, column: RowColumn, layout: RowLayout, line: int) -> float:
    """The cell's value [SI]. Raises InputError that names the line, the column and what it holds."""
    cell = cell.strip()
    if _NUMBER.fullmatch(cell):
        value = float(cell) * column.factor
        if abs(value) <= LARGEST[column.quantity]:
            return value
        unit = QUANTITIES[column.quantity][1]
        raise layout.fault(
            line,
            f"{column.name} {quoted(cell)} is far outside any possible reading ({LARGEST[column.quantity]:g} {unit} at most)",
            f"Is it another unit? --{column.quantity}-unit UNIT",
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
