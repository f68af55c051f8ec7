"""Trace files: a CSV table under a TOML head, read in blocks, written without loss.

The whole text is never held: a file is read a block at a time into three plain arrays, so the memory needed is 24
bytes a row and one block. A file beyond ``TraceLimits`` is refused before or while it is read.
"""

import csv
import io
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import BinaryIO

import numpy as np

from throwbook.core.quantities.clock import spread_evenly, with_clock
from throwbook.core.trace import BoolArray, FloatArray, Trace
from throwbook.errors import InputError, OutsideError, Unclear
from throwbook.files import csv_rows
from throwbook.files.column_names import listed, locate, locate_side_columns, parse_choices
from throwbook.files.tables import refuse_no_file, whole_file
from throwbook.files.trace_head import Head, head_lines, read_head

_BLOCK_BYTES = 1 << 18
_LONGEST_LINE_BYTES = 1 << 16
_MOST_HEAD_LINES = 2000
_UTF8_MARK = b"\xef\xbb\xbf"

# first bytes of files that people hand in by mistake: (beginning, what it is, what to do)
_MISTAKEN = (
    (b"PK\x03\x04", "a spreadsheet or zip file", "Export the table as CSV"),
    (b"\x1f\x8b", "a gzip file", "Unpack it first"),
)
_MISTAKEN_BEGINNINGS = tuple(beginning for beginning, _, _ in _MISTAKEN)
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True)
class TraceLimits:
    """The most a trace file may hold.

    A throw is a matter of seconds: two million rows are 200 s at 10 kHz or 2.7 hours at 200 Hz.
    """

    rows: int = 2_000_000
    bytes: int = 256 * 1024 * 1024


def read_trace(
    path: str | os.PathLike[str],
    *,
    columns: Sequence[str] = (),
    factors: Mapping[str, float] | None = None,
    direction: str | None = None,
    limits: TraceLimits | None = None,
    answers: Mapping[str, str] = MappingProxyType({}),
) -> Trace:
    """Read one trace file, our own or another logger's (``Trace.read_as`` then says how it was read).

    ``columns``: ``time=NAME``, ``current=NAME [mA]``, ``voltage=NAME`` for files with other columns or units.
    ``factors``: quantity to its factor to SI, where the unit is another than the file says.
    ``direction``: ``lock`` or ``unlock`` where the file doesn't say. ``answers``: what a person said of another logger's file:
    ``decimal`` (``point``, ``comma``), ``date-order`` (``day``, ``month``). Raises InputError with file, line, what is
    wrong and what to do (Unclear where an answer settles it); OutsideError when the disk fails.
    """
    name = os.fsdecode(path)
    limits = limits or TraceLimits()
    asked = parse_choices(columns)
    try:
        refuse_no_file(path)
        with open(path, "rb") as file:
            _check_size(file, name, limits)
            reader = _Reader(file, name, limits, factors or {})
            ours = _is_ours(file, asked)
            file.seek(0)
            if ours:
                try:
                    return reader.read(asked, direction)
                except InputError as error:
                    if not asked:
                        raise
                    refused = error
            else:
                refused = None
            file.seek(0)
            try:
                return reader.read_other(asked, direction, answers)
            except InputError as error:
                raise error if refused is None or isinstance(error, Unclear) else refused from error
    except FileNotFoundError as error:
        raise InputError("there is no such file", name, "Check the name and the folder") from error
    except IsADirectoryError as error:
        raise InputError("this is a folder", name, "Name the trace files in it") from error
    except PermissionError as error:
        do = "Close it in other programs, and check its permissions"
        raise InputError("you may not read this file", name, do) from error
    except OSError as error:
        raise OutsideError(
            f"reading failed ({error.strerror})", name, "Check the disk or the network"
        ) from error


def write_trace(trace: Trace, path: str | os.PathLike[str]) -> None:
    """Write ``trace`` so that ``read_trace`` gives back the same numbers to the last bit.

    The file appears whole or not at all. Raises OutsideError when the disk is full or refuses.
    """
    with (
        whole_file(Path(path), "Check the disk and its free space") as part,
        open(part, "w", encoding="utf-8", newline="") as file,
    ):
        for text in trace_text(trace):
            file.write(text)
        file.flush()
        os.fsync(file.fileno())


def trace_text(trace: Trace, rows_at_once: int = 50_000) -> Iterator[str]:
    """The file's text in pieces."""
    columns = trace.columns()
    header = io.StringIO(newline="")
    csv.writer(header, lineterminator="\n").writerow(columns)
    yield "\n".join([*head_lines(trace), header.getvalue()])
    for begin in range(0, len(trace), rows_at_once):
        cells = [_cells(array[begin : begin + rows_at_once]) for array in columns.values()]
        yield "".join(",".join(row) + "\n" for row in zip(*cells, strict=True))


KEPT, NOT_JUDGED = "kept", "not judged"


def unknown_said(trace: Trace, become: str) -> str:
    """What a person is told of columns that this program doesn't know: that they are ``KEPT`` or ``NOT_JUDGED``; empty: there are none."""
    names = listed(tuple(trace.unknown_columns))
    return f"columns that this program does not know are {become}: {names}" if trace.unknown_columns else ""


def _cells(column: FloatArray | BoolArray) -> list[str]:
    """A switch as 1 and 0, a number as the shortest text that reads back as the same one, NaN as nothing."""
    if column.dtype == np.bool_:
        return ["1" if closed else "0" for closed in column.tolist()]
    texts = list(map(repr, column.tolist()))
    return texts if not np.isnan(column).any() else ["" if text == "nan" else text for text in texts]


def _is_ours(file: BinaryIO, asked: dict[str, str]) -> bool:
    """Whether commas part columns of our names, or of those asked for; also where there is no table at all."""
    while raw := file.readline(_LONGEST_LINE_BYTES):
        if b"\0" in raw or raw.startswith(_UTF16_MARKS):
            from throwbook.files.other_loggers import is_utf16

            return not is_utf16(raw)
        text = raw.removeprefix(_UTF8_MARK).rstrip(b"\r\n")
        if b"\r" in text:
            return False
        if text.strip() and not text.startswith(b"#"):
            try:
                locate(_names_in(text.decode(errors="replace")), asked, "")
            except (InputError, csv.Error):
                return raw.startswith(_MISTAKEN_BEGINNINGS) or len(raw) >= _LONGEST_LINE_BYTES
            return True
    return True


def _names_in(header: str) -> list[str]:
    return [name.strip() for name in next(csv.reader([header], strict=True))]


def _check_size(file: BinaryIO, name: str, limits: TraceLimits) -> None:
    size = os.fstat(file.fileno()).st_size
    if size > limits.bytes:
        raise InputError(
            f"{size / 2**20:,.0f} MiB is more than a trace may hold ({limits.bytes / 2**20:,.0f} MiB)",
            name,
            "Cut the one throw out of it, or raise --max-mib",
        )


class _Reader:
    """One pass over one open file."""

    def __init__(self, file: BinaryIO, name: str, limits: TraceLimits, factors: Mapping[str, float]) -> None:
        self.file = file
        self.name = name
        self.limits = limits
        self.factors = factors
        self.line = 0
        """Lines taken so far."""
        self.taken_bytes = 0

    def read(self, asked: dict[str, str], direction: str | None) -> Trace:
        head_text, header_text = self._head_and_header()
        head = read_head(head_text, self.name, foreign=bool(asked), direction=direction)
        layout = self._layout(header_text, asked)
        columns, side_columns = self._table(layout)
        return self._trace(head, columns).with_columns(side_columns)

    def _trace(self, head: Head, arrays: list[FloatArray], read_as: str = "") -> Trace:
        spread = spread_evenly(arrays[0])
        if spread.repeated and not (np.diff(spread.time_s) > 0.0).all():
            raise self._fault("the time does not move: all its stamps are equal", "Record the throw again")
        return Trace(
            time_s=spread.time_s,
            current_a=arrays[1],
            voltage_v=arrays[2] if len(arrays) > 2 else None,
            direction=head.direction,
            rig=head.rig,
            started=head.started,
            ambient_c=head.ambient_c,
            head=with_clock(head.keys, spread),
            source=self.name,
            read_as=read_as,
        )

    def read_other(self, asked: dict[str, str], direction: str | None, answers: Mapping[str, str]) -> Trace:
        """A table as another logger wrote it; see ``throwbook.files.other_loggers``."""
        from throwbook.files.other_loggers import read_table

        raw = self.file.read(self.limits.bytes + 1)
        table = read_table(
            raw, self.name, asked=asked, factors=self.factors, answers=answers, most_rows=self.limits.rows
        )
        head = read_head(table.head, self.name, foreign=True, direction=direction)
        self.line = 1
        keys = {**head.keys, "read_as": table.read_as}
        trace = self._trace(
            replace(head, started=head.started or table.began, keys=keys), table.columns, table.read_as
        )
        return trace.with_columns(table.side_channels)

    def _fault(self, what: str, do: str = "", line: int | None = None) -> InputError:
        return InputError(what, f"{self.name}, line {self.line if line is None else line}", do)

    def _head_and_header(self) -> tuple[list[str], str]:
        """The ``#`` lines, and the first line after them that isn't empty."""
        head: list[str] = []
        while True:
            raw = self._raw_line()
            if not raw:
                what = "the file ends before its table" if head else "the file is empty"
                raise self._fault(what, "Record the throw again", max(self.line, 1))
            text = csv_rows.decode(raw, self.name, self.line).rstrip("\r\n")
            if text.startswith("#"):
                head.append(text)
                if len(head) > _MOST_HEAD_LINES:
                    raise self._fault(f"the head has over {_MOST_HEAD_LINES} lines", "Is this a trace file?")
            elif text.strip():
                return head, text

    def _raw_line(self) -> bytes:
        raw = self.file.readline(_LONGEST_LINE_BYTES)
        if self.line == 0:
            for beginning, kind, do in _MISTAKEN:
                if raw.startswith(beginning):
                    raise self._fault(f"this is {kind}, not a trace file", do, 1)
            raw = raw.removeprefix(_UTF8_MARK)
        if raw:
            self.line += 1
            self.taken_bytes += len(raw)
        if len(raw) >= _LONGEST_LINE_BYTES:
            csv_rows.refuse_binary(raw, self.name, self.line)
            raise self._fault("the line does not end; this is not a trace file", "Check which file it is")
        return raw

    def _layout(self, header_text: str, asked: dict[str, str]) -> csv_rows.RowLayout:
        try:
            header = _names_in(header_text)
        except csv.Error as error:
            raise self._fault(f"the quotes in the header don't close ({error})", "Mend the header") from error
        columns = locate(header, asked, f"{self.name}, line {self.line}", self.factors)
        return csv_rows.RowLayout(self.name, len(header), columns, locate_side_columns(header, columns))

    def _table(self, layout: csv_rows.RowLayout) -> tuple[list[FloatArray], dict[str, FloatArray]]:
        """The columns, and the side columns by name, as arrays of shape (n,), SI."""
        parts: list[list[FloatArray]] = [[] for _ in (*layout.columns, *layout.side_columns)]
        count, last_time_s = 0, -np.inf
        for first_line, lines in self._blocks():
            block = csv_rows.convert(lines, layout, first_line, last_time_s)
            if not block.shape[1]:
                continue
            count += block.shape[1]
            if count > self.limits.rows:
                raise self._fault(
                    f"more than {self.limits.rows:,} rows", "Cut the one throw out of it, or raise --max-rows"
                )
            last_time_s = float(block[0, -1])
            for part, row in zip(parts, block, strict=True):
                part.append(row.copy())
        if not count:
            raise self._fault("there are no rows under the header", "Record the throw again")
        arrays = []
        while parts:
            arrays.append(np.concatenate(parts.pop(0)))
        names = [column.name for column in layout.side_columns]
        return arrays[: -len(names) or None], dict(zip(names, arrays[len(layout.columns) :], strict=True))

    def _blocks(self) -> Iterator[tuple[int, bytes]]:
        """Number of the first line, and bytes, of each block of whole lines."""
        rest = b""
        while True:
            read = self.file.read(_BLOCK_BYTES)
            self.taken_bytes += len(read)
            if self.taken_bytes > self.limits.bytes:
                raise self._fault("the file is too long for a trace", "Raise --max-mib if it is one")
            rest += read
            whole = rest if not read else rest[: rest.rfind(b"\n") + 1]
            if read and (len(rest) - len(whole) > _LONGEST_LINE_BYTES):
                raise self._fault(
                    "a line without an end", "Check which file it is", self.line + 1 + whole.count(b"\n")
                )
            if read and whole.count(b'"') % 2 and len(rest) < 4 * _BLOCK_BYTES:
                continue  # a quoted field runs on past this block
            if whole:
                yield self.line + 1, whole.replace(b"\r\n", b"\n").removesuffix(b"\n") + b"\n"
                self.line += whole.count(b"\n")
            rest = rest[len(whole) :]
            if not read:
                return
