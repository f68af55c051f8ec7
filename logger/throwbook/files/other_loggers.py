"""Tables that other loggers wrote: which bytes are text, what parts the columns, where the table begins, which column is what.

Such a file is held whole: its text, then its columns. What it doesn't say isn't guessed: ``Unclear`` asks for it.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice

import numpy as np

from throwbook.core.quantities.text import counted, quoted
from throwbook.core.trace import FloatArray
from throwbook.errors import Field, InputError
from throwbook.files import cell_values, column_names, csv_rows
from throwbook.files.cell_values import Cells, Stamps
from throwbook.files.column_names import (
    QUANTITIES,
    SIDE_CHANNELS,
    ColumnName,
    RowColumn,
    read_name,
    read_unit,
)

SEPARATORS = {"\t": "tabs", ";": "semicolons", ",": "commas"}
_LINES_LOOKED_AT = 2100
"""The table must begin within so many lines."""
_MARKS = ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_SAMPLE_BYTES = 4096
_ZEROS_IN_UTF16 = 0.7
"""More than this share of every other byte is zero in a table of numbers in UTF-16."""


@dataclass(frozen=True, eq=False)
class OtherTable:
    """A table as it was read."""

    head: list[str]
    """Its first lines that begin with ``#``."""
    columns: list[FloatArray]
    """Time, current, and voltage if there is one: shape (rows,), SI."""
    began: datetime | None
    """Of its first row, where the rows are dated."""
    read_as: str
    """How it was read, in one line."""
    side_channels: dict[str, FloatArray]
    """Pin switches and temperature, where its columns go by the names of our own files; NaN: no reading."""


@dataclass(frozen=True)
class _Layout:
    separator: str
    names: list[str]
    units: list[str | None]
    """Of a row of units under the names."""
    header_line: int
    """Number of the line with the names."""
    first_line: int
    """Number of the first line with numbers."""
    first_row: list[str]
    above: list[tuple[int, list[str]]]
    """Number and cells of each line above the names."""


def is_utf16(start: bytes) -> bool:
    """Whether a file that begins so is text in UTF-16: by its mark, or every other byte is zero."""
    return _encoding_of(start) not in ("", "utf-8-sig")


def _encoding_of(start: bytes) -> str:
    """Empty: bytes with zeros in them that are no UTF-16."""
    for mark, name in _MARKS:
        if start.startswith(mark):
            return name
    sample = start[: _SAMPLE_BYTES // 2 * 2]
    even, odd = sample[::2].count(0), sample[1::2].count(0)
    if not even and not odd:
        return "utf-8-sig"
    most = _ZEROS_IN_UTF16 * len(sample) / 2
    return "utf-16-le" if not even and odd > most else "utf-16-be" if not odd and even > most else ""


def _text(raw: bytes, path: str) -> tuple[str, str]:
    """The file's text, and what it is written in (empty: UTF-8)."""
    encoding = _encoding_of(raw)
    if not encoding:
        csv_rows.refuse_binary(raw, path, 1)
        encoding = "utf-8-sig"
    try:
        text = raw.decode(encoding)
        said = "UTF-16" if encoding.startswith("utf-16") else ""
    except UnicodeDecodeError as error:
        if encoding.startswith("utf-16"):
            what = f"this is text in UTF-16, except for byte {error.start + 1:,}"
            raise InputError(what, f"{path}, line 1", "Export it again, or save it as UTF-8") from error
        try:
            text, said = raw.decode("cp1252"), "Windows-1252"
        except UnicodeDecodeError as other:
            line = 1 + raw.count(b"\n", 0, other.start)
            what = f"byte 0x{raw[other.start]:02x} is not text"
            raise InputError(what, f"{path}, line {line}", "Save the file as UTF-8") from other
    return text, said


def read_table(
    raw: bytes,
    path: str,
    *,
    asked: dict[str, str],
    factors: Mapping[str, float],
    answers: Mapping[str, str],
    most_rows: int,
) -> OtherTable:
    """Read the one table in a file.

    ``asked``: names of columns by quantity; ``factors``: quantity to its factor to SI; ``answers``: what a person said where it
    is unclear (``decimal``: point or comma, ``date-order``: day or month). Raises Unclear, or InputError naming file and line.
    """
    text, encoding = _text(raw, path)
    head = _comments(text)
    layout = _layout(text, path)
    where = f"{path}, line {layout.header_line}"
    roles = _roles(layout, asked, factors, where)
    cells = _cells(text, layout, path, most_rows)
    values = [role.column for role in roles if role.column is not None]
    marks = cell_values.marks_of([cells[column.index] for column in values], answers.get("decimal"))
    read = {column.quantity: cell_values.numbers(cells[column.index], marks, column) for column in values}
    stamps = _stamps(roles, cells, read.get("time"), factors, answers.get("date-order"))
    if stamps is not None:
        read["time"] = stamps.time_s
    _refuse_falls(read["time"], cells, roles)
    said = [SEPARATORS[layout.separator], f"decimal {marks.decimal}"]
    said += ["thousands marked off"] * marks.grouped + [encoding] * bool(encoding)
    if layout.header_line > len(head) + 1:
        first = len(head) + 1
        last = layout.header_line - 1
        said.append(f"line {first} passed over" if first == last else f"lines {first} to {last} passed over")
    began = None if stamps is None else stamps.began
    if began is None:
        clock = "" if stamps is None else next(one for one in layout.first_row if cell_values.is_stamp(one))
        began, day_said = cell_values.began_above(layout.above, clock, answers.get("date-order"), path)
        said.append(day_said)
    by_quantity = {role.quantity: role for role in roles}
    for quantity in QUANTITIES:
        role = by_quantity.get(quantity)
        if quantity == "time" and stamps is not None:
            said.append(f"time: {stamps.said}, from {', '.join(quoted(one) for one in _time_names(roles))}")
        elif role is not None and role.column is not None:
            said.append(_unit_said(role, factors))
    side_channels, unread = _side_channels(layout, cells, marks)
    said += unread
    taken = {role.name for role in roles} | set(side_channels)
    left = [name for name in layout.names if name and name not in taken]
    if left:
        said.append(
            f"not read: {', '.join(quoted(name, 24) for name in left[:3])}{' ...' if len(left) > 3 else ''}"
        )
    columns = [read[quantity] for quantity in QUANTITIES if quantity in read]
    return OtherTable(head, columns, began, "; ".join(said), side_channels)


def _side_channels(
    layout: _Layout, cells: Sequence[Cells], marks: cell_values.Marks
) -> tuple[dict[str, FloatArray], list[str]]:
    """Those by the names of our own files, each of shape (rows,), and what is to be told of cells that can't be read."""
    found, unread = {}, []
    for index, name in enumerate(layout.names):
        if name in SIDE_CHANNELS:
            quantity, column = SIDE_CHANNELS[name], cells[index]
            plain = column.cells
            if marks.decimal == cell_values.COMMA:
                plain = [cell.replace(",", ".") for cell in plain]
            found[name] = np.array([csv_rows.reading(cell, quantity) for cell in plain])
            lost = [row for row in np.flatnonzero(np.isnan(found[name])) if column.cells[row]]
            if lost:
                first = f"the first {quoted(column.cells[lost[0]])} in line {column.lines[lost[0]]}"
                unread.append(f"{quoted(name)}: {counted(len(lost), 'cell')} not read, {first}")
    return found, unread


@dataclass(frozen=True)
class _Role:
    """What one column is read for."""

    quantity: str
    """``time``, ``current``, ``voltage``; ``days``: dates beside a column of times."""
    name: str
    index: int
    unit: str | None
    column: RowColumn | None
    """None: its cells are dates or times of day, no numbers."""


def _comments(text: str) -> list[str]:
    head = []
    for line in io.StringIO(text, newline=None):
        if not line.startswith("#"):
            break
        head.append(line.rstrip("\n"))
    return head


def _rows(
    lines: Iterable[str], separator: str, is_strict: bool = True, before: int = 0
) -> Iterator[tuple[int, list[str]]]:
    """Line number and cells of each row that isn't empty; ``before``: lines of the file that come before.

    Raises _NotARow where quotes don't close; not ``is_strict``: the lines above a table may hold any.
    """
    reader = csv.reader(lines, delimiter=separator, strict=is_strict)
    line = before + 1
    while True:
        try:
            row = [cell.strip() for cell in next(reader)]
        except StopIteration:
            return
        except csv.Error as error:
            if not is_strict:
                return
            raise _NotARow(line, str(error)) from error
        if any(row):
            yield line, row
        line = before + reader.line_num + 1


class _NotARow(Exception):
    """A row that no CSV reader takes: line, why."""

    def refusal(self, path: str) -> InputError:
        line, why = self.args
        return InputError(
            f"the quotes in this row don't close ({why})", f"{path}, line {line}", "Mend the row"
        )


def _is_value(cell: str) -> bool:
    plain = cell.replace(",", ".", 1) if cell.count(",") == 1 and "." not in cell else cell.replace(",", "")
    return (
        csv_rows.is_number(plain)
        or csv_rows.is_number(re.sub(r"[.\s'](?=\d{3})", "", cell).replace(",", "."))
        or cell_values.is_stamp(cell)
        or cell_values.is_date(cell)
    )


def _layout(text: str, path: str) -> _Layout:
    """Where the table is, and what parts its columns."""
    lines = list(islice(io.StringIO(text, newline=None), _LINES_LOOKED_AT))
    unnamed = 0
    for separator in SEPARATORS:
        rows = list(_rows(lines, separator, is_strict=False))
        at = next(
            (n for n, (_, row) in enumerate(rows) if sum(map(_is_value, row)) >= 2 and not _is_names(row)),
            None,
        )
        if at is None:
            continue
        found = _headed(rows, at, separator)
        if found is not None:
            return found
        unnamed = unnamed or rows[at][0]
        if separator == "," and at and len(rows[at][1]) == 2 * len(rows[at - 1][1]) > 2:
            raise InputError(
                f"{len(rows[at][1])} numbers under {len(rows[at - 1][1])} names: decimal commas cannot be told from the commas between columns",
                f"{path}, line {rows[at][0]}",
                "Export it with semicolons or tabs, or with decimal points",
            )
    if unnamed:
        raise InputError(
            f"numbers where the column names should be ({quoted(lines[unnamed - 1].strip())})",
            f"{path}, line {unnamed}",
            "Put a line with the names above the table: time_s,current_a,voltage_v",
        )
    for separator in SEPARATORS:
        try:
            list(_rows(lines, separator))
        except _NotARow as error:
            raise error.refusal(path) from error
    header = _header_alone(lines)
    if header is not None:
        raise InputError(
            "there are no rows under the header", f"{path}, line {header}", "Record the throw again"
        )
    raise InputError(
        f"no table in the first {len(lines):,} lines: at least a time and a current in each row",
        f"{path}, line 1",
        "Check which file it is, and export the samples as CSV",
    )


def _is_names(row: Sequence[str]) -> bool:
    return sum(read_name(cell).quantity is not None for cell in row) >= 2


def _headed(rows: list[tuple[int, list[str]]], at: int, separator: str) -> _Layout | None:
    """The table whose first row is ``at``, with the names above it; None where no names stand there."""
    width = len(rows[at][1])
    above = at - 1
    units: list[str | None] = []
    if (
        above > 0
        and _fits(rows[above][1], width)
        and _all_units(rows[above][1])
        and rows[above][0] == rows[above - 1][0] + 1
        and _fits(rows[above - 1][1], width)
    ):
        units = [read_unit(cell) for cell in rows[above][1]]
        above -= 1
    if above < 0:
        return None
    line, names = rows[above]
    if not _fits(names, width) or sum(map(_is_value, names)) > 1:
        return None
    if rows[at][1][len(names) :] and any(rows[at][1][len(names) :]):
        return None
    units += [None] * (len(names) - len(units))
    return _Layout(separator, names, units, line, rows[at][0], rows[at][1], rows[:above])


def _fits(row: Sequence[str], width: int) -> bool:
    """Whether a row of names or units belongs to rows of this width; a mark behind the last column makes one more."""
    return len(row) in (width, width - 1)


def _all_units(row: Sequence[str]) -> bool:
    filled = [cell for cell in row if cell]
    return sum(read_unit(cell) is not None for cell in filled) >= 2 and not any(map(_is_value, filled))


def _header_alone(lines: Sequence[str]) -> int | None:
    for number, line in enumerate(lines, 1):
        for separator in SEPARATORS:
            names = [read_name(cell.strip('" \n')).quantity for cell in line.split(separator)]
            if "time" in names and "current" in names:
                return number
    return None


def _roles(layout: _Layout, asked: dict[str, str], factors: Mapping[str, float], where: str) -> list[_Role]:
    """Which column is read for what."""
    names = [_name_of(name, unit) for name, unit in zip(layout.names, layout.units, strict=True)]
    found: list[_Role] = []
    for quantity in QUANTITIES:
        if quantity in asked:
            column = column_names.place(quantity, asked[quantity], layout.names, where)
            unit = names[column.index].unit
            factor = QUANTITIES[quantity][2][unit] if unit and column.factor == 1.0 else column.factor
            found.append(_role(quantity, column.index, layout, unit, factor, factors))
            continue
        places = [index for index, one in enumerate(names) if one.quantity == quantity]
        if quantity == "time":
            found += _time_roles(places, layout, names, factors, where)
            continue
        _refuse_several(quantity, places, layout.names, where)
        for index in places:
            found.append(_role(quantity, index, layout, names[index].unit, None, factors))
        if not places and quantity != column_names.OPTIONAL:
            raise column_names.no_column(quantity, "", layout.names, where)
    return found


def _name_of(name: str, unit: str | None) -> ColumnName:
    """What a column holds by its name and by the row of units."""
    named = read_name(name)
    if unit is None or named.unit is not None:
        return named
    by_unit = read_name(f"[{unit}]").quantity
    return ColumnName(by_unit if named.quantity in (None, by_unit) else None, unit)


def _role(
    quantity: str,
    index: int,
    layout: _Layout,
    unit: str | None,
    factor: float | None,
    factors: Mapping[str, float],
) -> _Role:
    name = layout.names[index]
    cell = layout.first_row[index] if index < len(layout.first_row) else ""
    if quantity == "time" and (cell_values.is_stamp(cell) or cell_values.is_date(cell)):
        return _Role(quantity, name, index, None, None)
    if factor is None:
        factor = QUANTITIES[quantity][2][unit] if unit else 1.0
    column = RowColumn(quantity, name, index, factors.get(quantity, factor))
    return _Role(quantity, name, index, unit, column)


def _time_roles(
    places: Sequence[int],
    layout: _Layout,
    names: Sequence[ColumnName],
    factors: Mapping[str, float],
    where: str,
) -> list[_Role]:
    """Columns that give the time: one of numbers, one of times, or a date and a time of day; the others are left."""
    kinds: dict[str, list[int]] = {"number": [], "stamp": [], "date": []}
    for index in places:
        cell = layout.first_row[index] if index < len(layout.first_row) else ""
        kinds[
            "date" if cell_values.is_date(cell) else "stamp" if cell_values.is_stamp(cell) else "number"
        ].append(index)
    if not kinds["number"] and not kinds["stamp"]:
        raise column_names.no_column("time", "", layout.names, where)
    chosen = kinds["number"] or kinds["stamp"]
    _refuse_several("time", chosen, layout.names, where)
    [index] = chosen
    roles = [_role("time", index, layout, names[index].unit, None, factors)]
    dated = cell_values.is_dated(layout.first_row[index])
    if roles[0].column is None and kinds["date"] and not dated:
        _refuse_several("date", kinds["date"], layout.names, where)
        roles.append(_Role("days", layout.names[kinds["date"][0]], kinds["date"][0], None, None))
    return roles


def _refuse_several(quantity: str, places: Sequence[int], names: Sequence[str], where: str) -> None:
    if len(places) < 2:
        return
    called = [names[index] for index in places]
    if len(set(called)) < len(called):
        twice = next(name for name in called if called.count(name) > 1)
        raise InputError(
            f"column {quoted(twice)} appears {called.count(twice)} times", where, "Rename one of them"
        )
    listed = ", ".join(quoted(name, 24) for name in called[:4])
    key = "time" if quantity == "date" else quantity
    raise InputError(
        f"more than one column may be the {quantity}: {listed}",
        where,
        f"Say which one: --column {key}={quoted(called[0])}",
    )


def _cells(text: str, layout: _Layout, path: str, most_rows: int) -> list[Cells]:
    """Every column of the table; a row of another width is refused."""
    width = len(layout.names)
    columns: list[list[str]] = [[] for _ in layout.names]
    lines: list[int] = []
    try:
        before = layout.first_line - 1
        under = islice(io.StringIO(text, newline=None), before, None)
        for line, row in _rows(under, layout.separator, before=before):
            if len(row) != width and (len(row) < width or any(row[width:])):
                count = f"{len(row)} field{'s' if len(row) > 1 else ''}"
                raise InputError(
                    f"{count} where the header has {width}",
                    f"{path}, line {line}",
                    "Each row needs every column. Delete what is below the table",
                )
            if len(lines) >= most_rows:
                raise InputError(
                    f"more than {most_rows:,} rows",
                    f"{path}, line {line}",
                    "Cut the one throw out of it, or raise --max-rows",
                )
            lines.append(line)
            for column, cell in zip(columns, row, strict=False):
                column.append(cell)
    except _NotARow as error:
        raise error.refusal(path) from error
    return [Cells(name, column, lines, path) for name, column in zip(layout.names, columns, strict=True)]


def _stamps(
    roles: Sequence[_Role],
    cells: Sequence[Cells],
    time: FloatArray | None,
    factors: Mapping[str, float],
    date_order: str | None,
) -> Stamps | None:
    """Times that aren't seconds from the start: of the day, with dates, or day numbers; None: they are."""
    [role] = [role for role in roles if role.quantity == "time"]
    if role.column is None:
        if "time" in factors:
            raise InputError(
                f"column {quoted(role.name)} holds times of day, which have no unit",
                Field("time-unit"),
                "Leave it out.",
            )
        days = next((cells[one.index] for one in roles if one.quantity == "days"), None)
        return cell_values.read_stamps(cells[role.index], days, date_order)
    if (
        time is not None
        and role.unit in (None, "d")
        and ("time" not in factors or factors["time"] == cell_values.DAY_S)
    ):
        return cell_values.day_numbers(time / role.column.factor)
    return None


def _refuse_falls(time_s: FloatArray, cells: Sequence[Cells], roles: Sequence[_Role]) -> None:
    [role] = [role for role in roles if role.quantity == "time"]
    falls = (time_s[1:] < time_s[:-1]).nonzero()[0]
    if len(falls):
        row = int(falls[0]) + 1
        of = cells[role.index]
        raise of.fault(
            row, f"time falls: {of.cells[row]} after {of.cells[row - 1]}", "Rows must be in the order of time"
        )


def _time_names(roles: Sequence[_Role]) -> list[str]:
    return [role.name for role in roles if role.quantity in ("time", "days")]


def _unit_said(role: _Role, factors: Mapping[str, float]) -> str:
    """How a column of numbers was read."""
    assert role.column is not None
    units = QUANTITIES[role.quantity][2]
    unit = next((name for name, factor in units.items() if factor == role.column.factor), "")
    said = unit or f"{role.column.factor:g} {QUANTITIES[role.quantity][1]}"
    named = role.unit is not None or role.quantity in factors or role.column.factor != 1.0
    return f"{role.quantity} in {said}{'' if named else ' (no unit named)'} from {quoted(role.name)}"
