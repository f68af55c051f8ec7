"""Cells of another logger's table to numbers: decimal marks, thousands, times of day, dates.

A mark or a date that can be read in two ways is never guessed at: ``Unclear`` says which option answers. What is decided
is decided on the shapes of cells (every digit but 0 as a 9), of which a column of a million cells has a few hundred.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone

import numpy as np

from throwbook.core.diagnosis.column_units import STEPS_S
from throwbook.core.quantities.text import quoted
from throwbook.core.trace import FloatArray
from throwbook.errors import Field, InputError, Unclear
from throwbook.files.column_names import RowColumn
from throwbook.files.csv_rows import LARGEST, RowLayout, is_number, number_in

POINT, COMMA = "point", "comma"
DAY_FIRST, MONTH_FIRST = "day", "month"


@dataclass(frozen=True)
class Cells:
    """One column."""

    name: str
    cells: list[str]
    """Without blanks around them."""
    lines: list[int]
    """Number of each row's line in the file."""
    path: str

    def fault(self, row: int, what: str, do: str) -> InputError:
        """The one-line error for a row."""
        return InputError(what, f"{self.path}, line {self.lines[row]}", do)


_SHAPE = str.maketrans("123456789", "9" * 9)
# A blank or an apostrophe between groups of three digits.
_GROUP_BLANK = re.compile(r"(?<=\d)[ \u00a0\u2009\u202f'\u2019](?=\d{3}(?!\d))")
_GROUPS = {mark: re.compile(rf"[+-]?9[09]{{0,2}}(?:[{mark}][09]{{3}})+") for mark in ".,"}
_GROUPS_AND_DECIMALS = {
    POINT: re.compile(r"[+-]?9[09]{0,2}(?:,[09]{3})+(?:\.[09]*)?"),
    COMMA: re.compile(r"[+-]?9[09]{0,2}(?:\.[09]{3})+(?:,[09]*)?"),
}
_OTHER = {POINT: ",", COMMA: "."}


@dataclass(frozen=True)
class Marks:
    """How the numbers of a file are written."""

    decimal: str
    """``point`` or ``comma``."""
    grouped: bool
    """Whether thousands are marked off."""


def marks_of(columns: Sequence[Cells], said: str | None) -> Marks:
    """Decimal mark of the number columns; ``said``: what a person said.

    Raises Unclear where the cells allow both, InputError where no one mark fits them all.
    """
    shapes = set().union(*(_shapes(column) for column in columns))
    decimal = said or _proven(shapes, columns)
    if decimal is None:
        cell, where = next(
            (cell, f"{column.path}, line {line}")
            for column in columns
            for cell, line in zip(column.cells, column.lines, strict=True)
            if "," in cell
        )
        raise Unclear(
            f"the comma in {quoted(cell)} may mark decimals or thousands",
            where,
            Field("decimal"),
            (COMMA, POINT),
        )
    other = _OTHER[decimal]
    grouped = {shape for shape in shapes if other in shape}
    if not all(_GROUPS_AND_DECIMALS[decimal].fullmatch(shape) for shape in grouped):
        _refuse_mixed(columns, decimal)
    return Marks(decimal, bool(grouped))


def _shapes(column: Cells) -> set[str]:
    return set(_plain("\n".join(column.cells)).translate(_SHAPE).split("\n"))


def _plain(text: str) -> str:
    """Without blanks between thousands; a typographic minus as a plain one."""
    return (
        text
        if text.isascii() and " " not in text and "'" not in text
        else _GROUP_BLANK.sub("", text).replace("−", "-")
    )


def _proof(shape: str) -> str | None:
    """The decimal mark that a cell of this shape must have been written with; None: it tells nothing."""
    points, commas = shape.count("."), shape.count(",")
    if points and commas:
        return COMMA if shape.rfind(",") > shape.rfind(".") else POINT
    if commas:
        return POINT if commas > 1 else None if _GROUPS[","].fullmatch(shape) else COMMA
    return None if not points else COMMA if points > 1 else None if _GROUPS["."].fullmatch(shape) else POINT


def _proven(shapes: set[str], columns: Sequence[Cells]) -> str | None:
    """The one decimal mark that fits; None where the cells allow both."""
    if not any("," in shape for shape in shapes):
        return POINT
    proofs = {_proof(shape) for shape in shapes} - {None}
    if len(proofs) > 1:
        _refuse_mixed(columns, None)
    if not proofs:
        return None
    [decimal] = proofs
    other = _OTHER[str(decimal)]
    # One group of three digits behind the other mark may as well be decimals, unless thousands show somewhere.
    doubtful = any(other in shape for shape in shapes) and not any(
        other in shape and (shape.count(other) > 1 or ("." in shape and "," in shape)) for shape in shapes
    )
    return None if doubtful else decimal


def _refuse_mixed(columns: Sequence[Cells], decimal: str | None) -> None:
    """Raise InputError that names the first cell which isn't written with ``decimal`` (None: as the first that tells)."""
    for row, cells in enumerate(zip(*(column.cells for column in columns), strict=True)):
        for column, cell in zip(columns, cells, strict=True):
            shape = _plain(cell).translate(_SHAPE)
            decimal = decimal or _proof(shape)
            if decimal is None or _OTHER[decimal] not in shape:
                continue
            if not _GROUPS_AND_DECIMALS[decimal].fullmatch(shape):
                raise column.fault(
                    row,
                    f"{quoted(cell)} under {quoted(column.name)}: decimal points and decimal commas are mixed in one table",
                    "Export the file again with one of them",
                )


def numbers(column: Cells, marks: Marks, where: RowColumn) -> FloatArray:
    """The cells as SI values, shape (rows,). Raises InputError naming the first that is no number."""
    text = _plain("\n".join(column.cells))
    text = text.replace(_OTHER[marks.decimal], "") if marks.grouped else text
    text = text.replace(",", ".") if marks.decimal == COMMA else text
    cells = text.split("\n")
    layout = RowLayout(column.path, 0, ())
    if len(cells) != len(column.cells) or not all(map(is_number, set(text.translate(_SHAPE).split("\n")))):
        plain = cells if len(cells) == len(column.cells) else column.cells
        for cell, line in zip(plain, column.lines, strict=True):
            number_in(cell, where, layout, line)
    values = np.array(list(map(float, cells))) * where.factor
    if np.abs(values).max() > LARGEST[where.quantity]:
        row = int(np.argmax(np.abs(values)))
        number_in(cells[row], where, layout, column.lines[row])
    return values


_DATE = r"\d{4}-\d\d?-\d\d?|\d{4}/\d\d?/\d\d?|\d{4}\.\d\d?\.\d\d?|\d\d?[./-]\d\d?[./-](?:\d{4}|\d\d)"
_CLOCK = r"(?:(\d{1,2}):)?(\d{1,2}):(\d\d)([.,]\d+)?(?:\s?([AaPp])\.?[Mm]\.?)?"
_STAMP = re.compile(rf"(?:({_DATE})(?:[T,;]\s?|\s))?{_CLOCK}\s?(Z|[+-]\d\d:?\d\d)?", re.ASCII)
_ONLY_DATE = re.compile(_DATE, re.ASCII)
DAY_S = 86400.0
HOUR_S = 3600.0
_TURN_S = 12 * HOUR_S
"""A time of day that falls by more has passed midnight."""
_HOUR_OFF_S = 5.0
"""A clock that is put on or back by an hour jumps by 3,600 s, give or take a few rows. Assumed."""
FIRST_DAY = datetime.combine(date(1899, 12, 30), time.min)
"""Day 0 of a spreadsheet."""
_DAY_NUMBERS = (29_221.0, 73_051.0)
"""1980 to 2100: a number outside isn't a day of a record."""


@dataclass(frozen=True)
class Stamps:
    """The times of the rows."""

    time_s: FloatArray
    """From the first row on, shape (rows,) [s]."""
    began: datetime | None
    """Of the first row, with its offset; None: no date was written."""
    said: str
    """How they were read."""


def is_stamp(cell: str) -> bool:
    """Whether a cell is a time of day, with its date or without."""
    return bool(_STAMP.fullmatch(cell))


def is_dated(cell: str) -> bool:
    """Whether a cell holds a date, with a time of day or without."""
    stamp = _STAMP.fullmatch(cell)
    return bool(_ONLY_DATE.fullmatch(cell)) or (stamp is not None and stamp[1] is not None)


def is_date(cell: str) -> bool:
    """Whether a cell is a date and nothing else."""
    return bool(_ONLY_DATE.fullmatch(cell))


def read_stamps(column: Cells, days: Cells | None, date_order: str | None) -> Stamps:
    """Times from a column of clock times or dates with times; ``days``: a column of dates beside it.

    Raises Unclear for a date that can be read in two ways, InputError for a cell that isn't a time, and for a time
    that goes back, or that jumps as clocks are put on or back.
    """
    cells = column.cells
    if days is not None:
        cells = [f"{day} {cell}" for day, cell in zip(days.cells, cells, strict=True)]
    dates: list[str] = []
    clocks: list[float] = []
    offsets: list[str] = []
    for row, cell in enumerate(cells):
        stamp = _STAMP.fullmatch(cell)
        clock_s = None if stamp is None else _seconds(stamp)
        if stamp is None or clock_s is None or bool(stamp[1]) != bool(dates or (not row and stamp[1])):
            raise column.fault(
                row,
                f"column {quoted(column.name)} holds {quoted(cell)}, not a time like the others",
                "Correct or remove the row. Times are read as 09:12:33.005, dates as 2026-03-14",
            )
        clocks.append(clock_s)
        offsets.append(stamp[7] or "")
        if stamp[1]:
            dates.append(stamp[1])
    time_s = np.array(clocks)
    if not dates:
        return _times_of_day(column, time_s)
    day_of = {text: _day(text, date_order, set(dates), column) for text in dict.fromkeys(dates)}
    shift_s = {text: _offset(text).total_seconds() for text in dict.fromkeys(offsets) if text}
    first = day_of[dates[0]]
    since_s = np.array([DAY_S * (day_of[text] - first).days for text in dates])
    since_s += time_s - np.array([shift_s.get(text, 0.0) for text in offsets])
    _refuse_jumps(column, since_s, is_local=not shift_s)
    began = datetime.combine(first, time.min) + timedelta(seconds=clocks[0])
    dated = f"{first.day} {first:%B %Y}"
    if offsets[0]:
        return Stamps(
            since_s - since_s[0],
            began.replace(tzinfo=timezone(_offset(offsets[0]))),
            f"ISO 8601 with offset, from {dated}",
        )
    said = f"date and time of day, from {dated} on this computer's clock"
    return Stamps(since_s - since_s[0], began.astimezone(), said)


_OF_THE_RECORD = re.compile(
    r"\b(date|day|time|record(ed|ing)?|start(ed)?|begin|began|begun|created|logged|log|measured|measurement|test(ed)?"
    r"|datum|beginn|fecha|inicio|hora|heure|d\u00e9but)\b|^\W*(data|ora)\W*$",
    re.IGNORECASE,
)
"""What a line above a table calls the day of the record; a day of calibration or an issue is another's. Two short words
mean a day only where they stand alone: a data sheet has its own."""
_OF_OTHERS = re.compile(
    r"calib|due|valid|version|firmware|export|print|built|service|birth|end|stop|finish|sheet|rev|next|last",
    re.IGNORECASE,
)


def began_above(
    rows: Sequence[tuple[int, Sequence[str]]], clock: str, date_order: str | None, path: str
) -> tuple[datetime | None, str]:
    """When the lines above a table say that the record began, and how that is said in one line.

    ``rows``: line number and cells of each; ``clock``: the table's first cell of time, if that is a time of day. One day
    must stand there, named as the record's; of two, nobody knows which it is. Raises Unclear where day and month can't
    be told apart.
    """
    days: dict[str, int] = {}
    times = [clock] if clock else []
    for line, whole in rows:
        row = [part for cell in whole for part in re.split(r":\s+|:$", cell, maxsplit=1)]
        label = " ".join(cell for cell in row if not is_stamp(cell) and not is_date(cell))
        if not _OF_THE_RECORD.search(label) or _OF_OTHERS.search(label):
            continue
        for cell in row:
            stamp = _STAMP.fullmatch(cell)
            if is_date(cell):
                days.setdefault(cell, line)
            elif stamp is not None and stamp[1]:
                days.setdefault(stamp[1], line)
                times.append(cell[len(stamp[1]) :].lstrip("T,; "))
            elif stamp is not None:
                times.append(cell)
    if len(days) != 1:
        return None, "no day found in it" if not days else "days above the table differ: none was taken"
    ((text, line),) = days.items()
    column = Cells("", [text], [line], path)
    day = _day(text, date_order, {text}, column)
    read = [
        seconds
        for one in times[:1]
        if (stamp := _STAMP.fullmatch(one)) and (seconds := _clock_s(stamp)) is not None
    ]
    began = datetime.combine(day, time.min) + timedelta(seconds=read[0] if read else 0.0)
    at = f"{began:%H:%M:%S}" if read else "no time of day"
    return began.astimezone(), f"begun on {day.day} {day:%B %Y}, {at}, by line {line}"


def _clock_s(stamp: "re.Match[str]") -> float | None:
    """Seconds since midnight; above a table 09:12 is hours and minutes."""
    if stamp[2] is None and stamp[5] is None and int(stamp[3]) < 24:
        return int(stamp[3]) * HOUR_S + int(stamp[4]) * 60.0
    return _seconds(stamp)


def _seconds(stamp: "re.Match[str]") -> float | None:
    """Seconds since midnight; None where it is no time of day."""
    hours, minutes, seconds, half = stamp[2], int(stamp[3]), int(stamp[4]), (stamp[6] or "").lower()
    if hours is None and stamp[5] is None:  # 09:12 may be hours and minutes, or minutes and seconds
        return None
    hour = int(hours or 0)
    if minutes > 59 or seconds > 59 or (half and not 1 <= hour <= 12):
        return None
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    return hour * HOUR_S + minutes * 60.0 + seconds + float("0." + (stamp[5] or ".0")[1:])


def _times_of_day(column: Cells, time_s: FloatArray) -> Stamps:
    falls = np.diff(time_s, prepend=time_s[0]) < -_TURN_S
    time_s = time_s + DAY_S * np.cumsum(falls)
    _refuse_jumps(column, time_s, is_local=True)
    said = "time of day without a date"
    return Stamps(time_s - time_s[0], None, f"{said}, past midnight" if falls.any() else said)


def _refuse_jumps(column: Cells, time_s: FloatArray, is_local: bool) -> None:
    steps_s = np.diff(time_s)
    do = "Rows must be in the order of time"
    hour = np.flatnonzero(np.abs(np.abs(steps_s) - HOUR_S) < _HOUR_OFF_S)
    if is_local and len(hour):
        row = int(hour[0]) + 1
        turn = "on" if steps_s[row - 1] > 0.0 else "back"
        do = f"If the clocks were put {turn} here, cut the file before this row"
        raise column.fault(row, f"time jumps {turn} by an hour, to {column.cells[row]}", do)
    falls = np.flatnonzero(steps_s < 0.0)
    if len(falls):
        row = int(falls[0]) + 1
        raise column.fault(row, f"time falls: {column.cells[row]} after {column.cells[row - 1]}", do)


def _offset(text: str) -> timedelta:
    if text == "Z":
        return timedelta(0)
    size = timedelta(hours=int(text[1:3]), minutes=int(text[-2:]))
    return -size if text[0] == "-" else size


def _day(text: str, order: str | None, every: set[str], column: Cells) -> date:
    """A date as written. Dots stand behind the day; with slashes the file must show which number is the day."""
    first, second, third = re.split(r"[-/.]", text)
    if len(first) == 4:
        year, month, day = first, second, third
    else:
        year = third if len(third) == 4 else f"20{third}"
        order = DAY_FIRST if "." in text else order or _order_of(every, column)
        day, month = (first, second) if order == DAY_FIRST else (second, first)
    try:
        return date(int(year), int(month), int(day))
    except ValueError as error:
        do = "Correct the date. --date-order gives which comes first, the day or the month"
        raise column.fault(0, f"{quoted(text)} is not a date", do) from error


def _order_of(every: set[str], column: Cells) -> str:
    pairs = [[int(part) for part in re.split(r"[-/]", text)[:2]] for text in every]
    if any(first > 12 for first, _ in pairs):
        return DAY_FIRST
    if any(second > 12 for _, second in pairs) or all(first == second for first, second in pairs):
        return MONTH_FIRST
    text = min(every)
    raise Unclear(
        f"the day or the month may come first in {quoted(text)}",
        f"{column.path}, line {column.lines[0]}",
        Field("date-order"),
        (DAY_FIRST, MONTH_FIRST),
    )


def day_numbers(days: FloatArray) -> Stamps | None:
    """Times from day numbers of a spreadsheet, shape (rows,); None where they can't be such.

    As seconds they would be steps that no board makes.
    """
    if not (_DAY_NUMBERS[0] <= days[0] <= _DAY_NUMBERS[1]) or len(days) < 3:
        return None
    step = float(days[-1] - days[0]) / (len(days) - 1)
    if not STEPS_S[0] <= step * DAY_S <= STEPS_S[1]:
        return None
    began = FIRST_DAY + timedelta(days=float(days[0]))
    said = f"day numbers of a spreadsheet, from {began.day} {began:%B %Y} on this computer's clock"
    return Stamps((days - days[0]) * DAY_S, began.astimezone(), said)
