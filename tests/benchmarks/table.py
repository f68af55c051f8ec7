"""How a benchmark prints what it measured."""

from typing import NamedTuple


class Row(NamedTuple):
    figure: str
    floor: str
    measured: str
    met: bool


def print_table(title: str, rows: list[Row]) -> None:
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    print(title)
    for row in rows:
        cells = "  ".join(text.ljust(width) for text, width in zip(row[:3], widths, strict=True))
        print(f"  {cells}  {'met' if row.met else 'NOT MET'}")
