"""Tables into files: CSV that is safe to open in a spreadsheet, JSON lines, Parquet."""

import csv
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from logger.errors import InputError

Row = Mapping[str, Any]

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet reads a text cell that begins so as a formula (OWASP, CSV Injection)."""


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


def write_csv(path: Path, names: list[str], rows: Iterable[Row]) -> int:
    """RFC 4180, UTF-8; how many rows."""
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(names)
        for row in rows:
            writer.writerow([safe_cell(row[name]) for name in names])
            count += 1
    return count


def write_jsonl(path: Path, names: list[str], rows: Iterable[Row]) -> int:
    """One object a line; how many."""
    from logger.files.jsonl import dumps

    count = 0
    with path.open("w", encoding="utf-8", newline="\n") as file:
        for row in rows:
            file.write(dumps({name: row[name] for name in names}) + "\n")
            count += 1
    return count


def write_parquet(
    path: Path, names: list[str], rows: Iterable[Row], numbers: set[str], flags: set[str]
) -> int:
    """Apache Parquet with the types of the columns; how many rows. Raises InputError where pyarrow isn't installed."""
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as error:
        raise InputError(
            "Parquet needs pyarrow, which isn't installed",
            "export",
            "pip install 'throwbook[parquet]', or --format csv.",
        ) from error
    types = {name: pyarrow.string() for name in names}
    types |= dict.fromkeys(numbers, pyarrow.float64()) | dict.fromkeys(flags, pyarrow.bool_())
    listed = list(rows)
    columns = {name: pyarrow.array([row[name] for row in listed], types[name]) for name in names}
    pyarrow.parquet.write_table(pyarrow.table(columns), path)
    return len(listed)
