"""Tables into files, a batch of rows at a time: CSV that is safe to open in a spreadsheet, JSON lines, Parquet."""

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from logger.errors import InputError

Row = Mapping[str, Any]

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet reads a text cell that begins so as a formula (OWASP, CSV Injection)."""


@dataclass(frozen=True)
class Layout:
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

    def __init__(self, path: Path, layout: Layout) -> None:
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

    def __init__(self, path: Path, layout: Layout) -> None:
        self._file = path.open("w", encoding="utf-8", newline="\n")
        self._names = layout.names

    def add(self, rows: Iterable[Row]) -> int:
        """Write some rows; how many."""
        from logger.files.jsonl import dumps

        lines = [dumps({name: row[name] for name in self._names}) + "\n" for row in rows]
        self._file.writelines(lines)
        return len(lines)

    def close(self) -> None:
        """Finish the file."""
        self._file.close()


class ParquetTable:
    """Apache Parquet with the types of the columns. Raises InputError where pyarrow isn't installed."""

    def __init__(self, path: Path, layout: Layout) -> None:
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
