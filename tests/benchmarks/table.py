"""How a benchmark prints what it measured, and hands it to whoever ran it together with others."""

import json
import os
from pathlib import Path
from typing import NamedTuple

COLLECT = "THROWBOOK_BENCHMARK_ROWS"
"""Environment: a file that every table is added to, one line of JSON each; ``python -m tests.benchmarks`` reads it."""


class Row(NamedTuple):
    figure: str
    floor: str
    measured: str
    met: bool


def print_table(title: str, rows: list[Row]) -> None:
    """Title, then a line a figure: name, floor, what was measured, whether that is met (said where there is a floor)."""
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    print(title)
    for row in rows:
        cells = "  ".join(text.ljust(width) for text, width in zip(row[:3], widths, strict=True))
        print(f"  {cells}  {judged(row)}".rstrip())
    hand_over({"title": title, "rows": rows})


def judged(row: Row) -> str:
    """``met``, ``NOT MET``, or nothing where no floor was set."""
    if not row.met:
        return "NOT MET"
    return "met" if row.floor.strip(" -") else ""


def hand_over(table: dict[str, object]) -> None:
    """Add a table to the file that collects them, where there is one."""
    target = os.environ.get(COLLECT)
    if target:
        with Path(target).open("a", encoding="utf-8") as file:
            file.write(json.dumps(table) + "\n")


def all_met(rows: list[Row]) -> int:
    """Exit code: 1 where a floor isn't met."""
    return 0 if all(row.met for row in rows) else 1


def load() -> str:
    """How busy the machine is, for the title of a table."""
    return f"load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "load not known"
