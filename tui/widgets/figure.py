"""A drawing with axes, as plain data to lines of text: live strip, recorded trace, profile and trend all use it."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from rich.text import Text

from logger.core.trace import FloatArray
from tui.widgets.canvas import ACROSS, DOWN, blank, columns_between, letters

LINE, BARS, POINTS = "line", "bars", "points"
DOTTED = 4
"""Of so many dot columns of a dotted line one is drawn."""
MARGIN = 7
"""Letters left of the drawing, for the scale."""


@dataclass(frozen=True, eq=False)
class Series:
    """Something drawn."""

    x: FloatArray
    """shape (n,)"""
    low: FloatArray
    """shape (n,); of a line the same as ``high``"""
    high: FloatArray
    tone: str = "line"
    joined: bool = True
    """Whether neighbours are joined."""
    dotted: bool = False
    """With holes, to tell it from another line without colour."""


@dataclass(frozen=True)
class Level:
    """A line across the whole drawing, with its word."""

    y: float
    word: str
    tone: str = "warn"


@dataclass(frozen=True, eq=False)
class Drawing:
    """What to draw and how far the axes go."""

    x_low: float
    x_high: float
    y_low: float
    y_high: float
    series: Sequence[Series] = ()
    levels: Sequence[Level] = ()
    x_unit: str = "s"
    y_unit: str = "A"
    x_words: Sequence[str] = field(default=())
    """Words along the x axis instead of numbers: first, middle, last."""
    uprights: Sequence[tuple[float, str]] = ()
    """Upright lines with a word at their foot."""


def render(drawing: Drawing, width: int, height: int, tones: dict[str, str], plain: bool) -> Text:
    """The drawing in ``width`` by ``height`` letters; the last line is the x axis."""
    across, down = max(width - MARGIN, 4), max(height - 1, 2)
    rows = [list(" " * across) for _ in range(down)]
    styles: list[list[str]] = [[""] * across for _ in range(down)]
    _draw_levels(drawing, rows, styles, plain)
    _draw_uprights(drawing, rows, styles, plain)
    for series in drawing.series:
        _draw_series(drawing, series, rows, styles, plain)
    _draw_words(drawing, rows, styles)
    text = Text(no_wrap=True, end="")
    marks = {
        0: drawing.y_high,
        down - 1: drawing.y_low,
        (down - 1) // 2: _y_at((down - 1) // 2, drawing, down),
    }
    for number in range(down):
        mark = f"{marks[number]:.3g}" if number in marks else ""
        text.append(
            f"{mark:>{MARGIN - 1}}" + ("|" if plain else "\N{BOX DRAWINGS LIGHT VERTICAL}"),
            style=tones["quiet"],
        )
        _append_row(text, rows[number], styles[number], tones)
        text.append("\n")
    text.append(_x_axis(drawing, across), style=tones["quiet"])
    return text


def _y_at(row: int, drawing: Drawing, down: int) -> float:
    return drawing.y_high - (row + 0.5) * (drawing.y_high - drawing.y_low) / down


def _row_of(y: float, drawing: Drawing, down: int) -> int:
    return int((drawing.y_high - y) / (drawing.y_high - drawing.y_low) * down)


def _draw_levels(drawing: Drawing, rows: list[list[str]], styles: list[list[str]], plain: bool) -> None:
    mark = "-" if plain else "\N{BOX DRAWINGS LIGHT DOUBLE DASH HORIZONTAL}"
    for level in drawing.levels:
        row = _row_of(level.y, drawing, len(rows))
        if 0 <= row < len(rows):
            for at in range(len(rows[row])):
                rows[row][at], styles[row][at] = mark, level.tone


def _draw_words(drawing: Drawing, rows: list[list[str]], styles: list[list[str]]) -> None:
    """The words of the levels at the right end, those of the uprights in the first row that is left, over everything else."""
    taken: set[int] = set()
    for level in drawing.levels:
        above = level.y > drawing.y_high
        row = 0 if above else _row_of(level.y, drawing, len(rows))
        while row in taken and row + 1 < len(rows):
            row += 1
        if not 0 <= row < len(rows):
            continue
        taken.add(row)
        word = f" {'^ ' if above else ''}{level.word} "[: len(rows[row])]
        begin = len(rows[row]) - len(word)
        for at, letter in enumerate(word, start=begin):
            rows[row][at], styles[row][at] = letter, level.tone
    width, top = len(rows[0]), next((row for row in range(len(rows)) if row not in taken), 0)
    for x, word in drawing.uprights:
        at = int((x - drawing.x_low) / (drawing.x_high - drawing.x_low) * width)
        begin = min(at, width - len(word))
        for offset, letter in enumerate(word[: width - begin] if 0 <= at < width else ""):
            rows[top][begin + offset], styles[top][begin + offset] = letter, "other"


def _draw_uprights(drawing: Drawing, rows: list[list[str]], styles: list[list[str]], plain: bool) -> None:
    mark = ":" if plain else "\N{BOX DRAWINGS LIGHT DOUBLE DASH VERTICAL}"
    width = len(rows[0])
    for x, _ in drawing.uprights:
        at = int((x - drawing.x_low) / (drawing.x_high - drawing.x_low) * width)
        if not 0 <= at < width:
            continue
        for row, style in zip(rows, styles, strict=True):
            row[at], style[at] = mark, "other"


def _draw_series(
    drawing: Drawing, series: Series, rows: list[list[str]], styles: list[list[str]], plain: bool
) -> None:
    known = np.isfinite(series.x) & np.isfinite(series.low) & np.isfinite(series.high)
    if not known.any():
        return
    dots = blank(len(rows[0]), len(rows))
    height, width = dots.shape
    x, low, high = series.x[known], series.low[known], series.high[known]
    if series.joined and len(x) > 1 and len(x) < width:
        fine = np.linspace(x[0], x[-1], width)
        low, high = np.interp(fine, x, low), np.interp(fine, x, high)
        x = fine
    column = ((x - drawing.x_low) / (drawing.x_high - drawing.x_low) * (width - 1)).astype(int)
    scale = (height - 1) / (drawing.y_high - drawing.y_low)
    top = ((drawing.y_high - high) * scale).astype(int)
    bottom = ((drawing.y_high - low) * scale).astype(int)
    if (
        series.joined and len(x) > 1
    ):  # each column reaches to its neighbour, so that steep parts have no holes
        before = np.concatenate(([top[0]], top[:-1]))
        top, bottom = (
            np.minimum(top, np.maximum(before, top - height)),
            np.maximum(bottom, np.minimum(before, bottom + height)),
        )
    if not series.joined:
        top, bottom = top - 1, bottom + 1
    if series.dotted:
        seen = column % DOTTED == 0
        column, top, bottom = column[seen], top[seen], bottom[seen]
    columns_between(dots, column, top, bottom)
    if not series.joined:
        columns_between(dots, column + 1, top, bottom)
    for row, line in enumerate(letters(dots, plain)):
        for at, letter in enumerate(line):
            if letter not in (" ", "\N{BRAILLE PATTERN BLANK}"):
                rows[row][at], styles[row][at] = letter, series.tone


def _append_row(text: Text, row: list[str], styles: list[str], tones: dict[str, str]) -> None:
    begin = 0
    for at in range(1, len(row) + 1):
        if at == len(row) or styles[at] != styles[begin]:
            text.append("".join(row[begin:at]), style=tones[styles[begin]])
            begin = at


def _x_axis(drawing: Drawing, across: int) -> str:
    words = list(drawing.x_words) or [
        f"{drawing.x_low:.3g} {drawing.x_unit}",
        f"{(drawing.x_low + drawing.x_high) / 2:.3g}",
        f"{drawing.x_high:.3g} {drawing.x_unit}",
    ]
    line = f"{drawing.y_unit:>{MARGIN - 1}} " + words[0]
    middle = MARGIN + across // 2 - len(words[1]) // 2
    line = line.ljust(middle)[:middle] + words[1]
    return line.ljust(MARGIN + across - len(words[-1])) + words[-1]


__all__ = ["ACROSS", "DOWN", "Drawing", "Level", "Series", "render"]
