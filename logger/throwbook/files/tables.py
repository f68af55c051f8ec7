"""Tables into files, a batch of rows at a time: CSV that is safe in a spreadsheet, JSON lines, Parquet. Whole or not at all.

JSON lines: one object a line, SI, ``null`` where a figure isn't known, never NaN.
"""

import csv
import json
import math
import os
import stat
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, fields, is_dataclass
from datetime import date
from pathlib import Path
from typing import Any, Protocol

from throwbook.core.assessment import Assessment, Check, Sign
from throwbook.errors import InputError, OutsideError, Remedy

# Enough to keep a tenth of a microsecond in an hour's record; few enough that two machines print the same line.
_SIGNIFICANT_DIGITS = 10


def dumps(record: Mapping[str, Any]) -> str:
    """One line of ASCII: other letters are escaped, so nothing in a name can reach a terminal as a command."""
    return json.dumps(tidy(record), allow_nan=False)


def tidy(value: Any) -> Any:
    """``value`` as what JSON knows.

    Floats are rounded to ten significant digits, NaN and infinities become None, dates ISO 8601 text, data classes
    and mappings objects, every other sequence (arrays too) a list.

    >>> tidy({"run_current_a": 0.1 + 0.2, "stall_current_a": float("nan")})
    {'run_current_a': 0.3, 'stall_current_a': None}
    """
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        rounded = float(f"{value:.{_SIGNIFICANT_DIGITS}g}")
        return rounded if math.isfinite(rounded) else None
    if isinstance(value, date):
        return value.isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return {item.name: tidy(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): tidy(item) for key, item in value.items()}
    if hasattr(value, "tolist"):
        return tidy(value.tolist())
    return [tidy(item) for item in value]


def assessment_record(assessment: Assessment) -> dict[str, Any]:
    """One judged trial as ``assess --json`` gives it; a figure's expanded uncertainty (k = 2) is ``NAME_u``."""
    record: dict[str, Any] = {
        "file": assessment.file,
        "movement": assessment.movement,
        "movements": assessment.movements,
        "direction": assessment.direction,
        "usable": assessment.usable,
        "unusable_because": assessment.unusable_because,
    }
    for name, measured in assessment.figures.items():
        record[name] = None if measured is None else measured.value
        record[f"{name}_u"] = None if measured is None else measured.u
    record |= {
        "end": assessment.end,
        "signs": [_sign_record(sign) for sign in assessment.signs],
        "verdict": assessment.verdict,
        "because": assessment.because,
        "provisional": assessment.provisional,
        "checks": [_check_record(check) for check in assessment.checks],
        "diagnoses": assessment.diagnoses,
        "notes": assessment.notes,
        "ambient_c": assessment.ambient_c,
        "started": assessment.started,
        "inrush_end_s": assessment.inrush_end_s,
        "method_version": assessment.method_version,
    }
    tidied: dict[str, Any] = tidy(record)
    return tidied


def _sign_record(sign: Sign) -> dict[str, Any]:
    return {
        "sign": sign.sign,
        "level": sign.level,
        "value": sign.value,
        "limit": sign.limit,
        "unit": sign.unit,
        "at_fraction": sign.at_fraction,
        "at_fraction_u": sign.at_fraction_u,
        "from_s": sign.from_s,
        "because": sign.because,
        "settle": sign.settle,
    } | ({"side": sign.side} if sign.side else {})


def _check_record(check: Check) -> dict[str, Any]:
    return {
        "name": check.name,
        "value": None if check.measured is None else check.measured.value,
        "value_u": None if check.measured is None else check.measured.u,
        "unit": check.unit,
        "limit": check.limit,
        "side": check.side,
        "limit_from": check.limit_from,
        "decision": check.decision,
        "settle": check.settle,
    }


Row = Mapping[str, Any]
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet reads a text cell that begins so as a formula (OWASP, CSV Injection)."""


@dataclass(frozen=True)
class TableLayout:
    """The columns of one table."""

    names: Sequence[str]
    numbers: frozenset[str] = frozenset()
    flags: frozenset[str] = frozenset()


class TableFile(Protocol):
    """A table that is being written."""

    def add(self, rows: Iterable[Row]) -> int:
        """Write some rows; how many."""

    def close(self) -> None:
        """Finish the file."""


def safe_cell(value: Any) -> Any:
    """A cell no spreadsheet runs: text that would begin a formula gets an apostrophe in front; numbers stay numbers.

    >>> safe_cell("=1+1"), safe_cell(-0.5), safe_cell(None), safe_cell(True)
    ("'=1+1", -0.5, '', 'yes')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        bare = value.lstrip(" \n\u00a0\u200b\ufeff")
        return f"'{value}" if bare.startswith(FORMULA_STARTS) else value
    return value


class CsvTable:
    """RFC 4180, UTF-8."""

    def __init__(self, path: Path, layout: TableLayout) -> None:
        self._file = path.open("w", encoding="utf-8", newline="")
        self._writer = csv.writer(self._file)
        self._names = layout.names
        self._writer.writerow(layout.names)

    def add(self, rows: Iterable[Row]) -> int:
        """Write some rows; how many."""
        cells = [[safe_cell(row[name]) for name in self._names] for row in rows]
        self._writer.writerows(cells)
        return len(cells)

    def close(self) -> None:
        """Finish the file."""
        self._file.close()


class JsonlTable:
    """One object a line."""

    def __init__(self, path: Path, layout: TableLayout) -> None:
        self._file = path.open("w", encoding="utf-8", newline="\n")
        self._names = layout.names

    def add(self, rows: Iterable[Row]) -> int:
        """Write some rows; how many."""

        lines = [dumps({name: row[name] for name in self._names}) + "\n" for row in rows]
        self._file.writelines(lines)
        return len(lines)

    def close(self) -> None:
        """Finish the file."""
        self._file.close()


class ParquetTable:
    """Apache Parquet with the types of the columns. Raises InputError where pyarrow isn't installed."""

    def __init__(self, path: Path, layout: TableLayout) -> None:
        try:
            import pyarrow
            import pyarrow.parquet
        except ImportError as error:
            raise InputError(
                "Parquet needs pyarrow, which isn't installed",
                "export",
                "pip install 'throwbook[parquet]', or --format csv.",
            ) from error
        kinds = dict.fromkeys(layout.names, pyarrow.string())
        kinds |= dict.fromkeys(layout.numbers, pyarrow.float64())
        kinds |= dict.fromkeys(layout.flags, pyarrow.bool_())
        self._schema = pyarrow.schema(list(kinds.items()))
        self._table = pyarrow.Table
        self._writer = pyarrow.parquet.ParquetWriter(path, self._schema)
        self._numbers = layout.numbers

    def add(self, rows: Iterable[Row]) -> int:
        """Write some rows; how many."""
        listed = [
            {
                name: float(value) if name in self._numbers and value is not None else value
                for name, value in row.items()
            }
            for row in rows
        ]
        if listed:
            self._writer.write_table(self._table.from_pylist(listed, self._schema))
        return len(listed)

    def close(self) -> None:
        """Finish the file."""
        self._writer.close()


KINDS: Mapping[str, type[CsvTable] | type[JsonlTable] | type[ParquetTable]] = {
    "csv": CsvTable,
    "jsonl": JsonlTable,
    "parquet": ParquetTable,
}
CHECK_FOLDER = "Check the folder and the free space"


def refuse_no_file(path: str | os.PathLike[str]) -> None:
    """Raise InputError for a pipe or a device, which may never end, IsADirectoryError for a folder on every system."""
    mode = os.stat(path).st_mode
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(path)
    if not stat.S_ISREG(mode):
        do = "Save its output to a file, and name that file"
        raise InputError("this is a pipe or a device, not a file", os.fsdecode(path), do)


@contextmanager
def whole_file(path: Path, do: str = CHECK_FOLDER, remedy: Remedy | None = None) -> Iterator[Path]:
    """Give a new empty file to write to; it takes the name ``path`` when the block ends without an error.

    What already has the passing name, a link to elsewhere even, is removed and never written through. Raises OutsideError
    when the disk refuses; ``do`` and ``remedy`` say what to do then.
    """
    part = path.with_name(f"{path.name}.part")
    try:
        part.unlink(missing_ok=True)
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        yield part
        os.replace(part, path)
    except OSError as error:
        raise OutsideError(f"writing failed ({error.strerror})", str(path), do, remedy) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
