"""A chart as lines of text: axes with round figures, dots in braille where the terminal has it, plain letters otherwise."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import groupby
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from throwbook.core.trace import FloatArray

Dots = NDArray[np.bool_]
Letters = NDArray[np.str_]


# Weight of each dot of a braille letter, rows by columns (Unicode, block U+2800).
_BRAILLE = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]])
_LETTER: np.dtype[np.str_] = np.dtype("U1")
ACROSS, DOWN = 2, 4
PLAIN: Letters = np.array(list(" .:#"))
"""Plain letters for none, few, more, many dots in a letter's place."""
PLAIN_UP_TO = (0, 2, 4)
"""Dots up to which the first, second, third of them stands."""


def blank(width: int, height: int) -> Dots:
    """A canvas of ``width`` by ``height`` letters, shape (4 * height, 2 * width); row 0 is at the top."""
    return np.zeros((DOWN * height, ACROSS * width), dtype=bool)


def letters(dots: Dots, plain: bool) -> Letters:
    """The canvas as letters, shape (height, width); a place without dots is a space."""
    rows, columns = dots.shape[0] // DOWN, dots.shape[1] // ACROSS
    cells = dots.reshape(rows, DOWN, columns, ACROSS).transpose(0, 2, 1, 3)
    if plain:
        count = cells.sum(axis=(2, 3))
        plainly: Letters = PLAIN[np.searchsorted(PLAIN_UP_TO, count)]
        return plainly
    weight = (cells * _BRAILLE).sum(axis=(2, 3))
    codes: NDArray[np.uint32] = np.where(weight > 0, 0x2800 + weight, ord(" ")).astype(np.uint32)
    drawn: Letters = codes.view(_LETTER)
    return drawn


def columns_between(
    dots: Dots, column: NDArray[np.int_], low: NDArray[np.int_], high: NDArray[np.int_]
) -> None:
    """Fill each dot column from row ``low`` down to row ``high`` (low <= high); what lies outside is left out."""
    height, width = dots.shape
    inside = (column >= 0) & (column < width) & (high >= 0) & (low < height)
    at, first, last = column[inside], np.clip(low[inside], 0, None), np.clip(high[inside], None, height - 1)
    steps = np.zeros((height + 1, width), dtype=int)  # +1 where a filled stretch begins, -1 after its end
    np.add.at(steps, (first, at), 1)
    np.add.at(steps, (last + 1, at), -1)
    dots |= np.cumsum(steps, axis=0)[:-1] > 0


STEPS = (1.0, 2.0, 5.0, 10.0)


def round_marks(low: float, high: float, most: int) -> list[tuple[float, str]]:
    """At most ``most`` multiples of 1, 2 or 5 times a power of ten between ``low`` and ``high``, with their words."""
    if not high > low or most < 1:
        return []
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    step = next((one * power for one in STEPS if _count(low, high, one * power) <= most), 10.0 * power)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first = math.ceil(low / step - 1e-9)
    # adding 0.0 makes a zero of "-0"
    values = [(first + number) * step + 0.0 for number in range(_count(low, high, step))]
    return [(value, f"{value:.{decimals}f}") for value in values]


def _count(low: float, high: float, step: float) -> int:
    return math.floor(high / step + 1e-9) - math.ceil(low / step - 1e-9) + 1


Run = tuple[str, str]
"""Letters that stand side by side in one tone, and that tone."""
DOTTED = 4
"""Of so many dot columns of a dotted line one is drawn."""
ROWS_A_MARK, COLUMNS_A_MARK, MOST_MARKS = 2, 8, 12
"""Figures along the axes are no nearer to each other."""
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
    mark: str = ""
    """A letter at each place, in place of a line."""
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


class Sheet:
    """The letters of a drawing and the tone of each."""

    def __init__(self, across: int, down: int) -> None:
        self.letters: Letters = np.full((down, across), " ")
        self.tones: NDArray[np.object_] = np.full((down, across), "", dtype=object)
        self.marks: NDArray[np.bool_] = np.zeros((down, across), dtype=bool)
        """Where no word may stand."""

    def mark(self, row: int, column: int, letter: str, tone: str) -> None:
        """One letter that words keep clear of."""
        self.write(row, column, letter, tone)
        self.marks[row, column] = True

    def furthest_right(self, row: int, words: str) -> int:
        """The last column from which ``words`` hide no mark of this row; the last one of all where there is none."""
        last = max(self.letters.shape[1] - len(words), 0)
        free = (at for at in range(last, -1, -1) if not self.marks[row, at : at + len(words)].any())
        return next(free, last)

    def write(self, row: int, column: int, words: str, tone: str) -> None:
        """``words`` from there to the right; what doesn't fit is left out."""
        words = words[: self.letters.shape[1] - column]
        self.letters[row, column : column + len(words)] = list(words)
        self.tones[row, column : column + len(words)] = tone

    def runs(self, row: int) -> list[Run]:
        """One row, neighbours of one tone together."""
        pairs = zip(self.letters[row].tolist(), self.tones[row].tolist(), strict=True)
        return [
            ("".join(letter for letter, _ in run), tone) for tone, run in groupby(pairs, key=itemgetter(1))
        ]


def render(drawing: Drawing, width: int, height: int, plain: bool) -> list[list[Run]]:
    """The drawing in ``width`` by ``height`` letters, line by line; the last line is the x axis."""
    across, down = max(width - MARGIN, 4), max(height - 1, 2)
    sheet = Sheet(across, down)
    _draw_levels(drawing, sheet, plain)
    _draw_uprights(drawing, sheet, plain)
    for series in drawing.series:
        _draw_series(drawing, series, sheet, plain)
    _draw_words(drawing, sheet)
    steps = round_marks(drawing.y_low, drawing.y_high, min(max(down // ROWS_A_MARK, 2), MOST_MARKS))
    marks = {min(_row_of(y, drawing, down), down - 1): word for y, word in steps}
    unit_stands = _with_unit(marks, drawing.y_unit)
    edge = "|" if plain else "\N{BOX DRAWINGS LIGHT VERTICAL}"
    rows = []
    for row in range(down):
        rows.append([(f"{marks.get(row, ''):>{MARGIN - 1}}{edge}", "quiet"), *sheet.runs(row)])
    below = "" if unit_stands else drawing.y_unit
    return [*rows, [(_x_axis(drawing, across, below), "quiet")]]


def _with_unit(marks: dict[int, str], unit: str) -> bool:
    """The highest mark gets the unit, where both fit; whether it did."""
    top = min(marks, default=0)
    whole = f"{marks.get(top, '')} {unit}"
    fits = top in marks and len(whole) < MARGIN
    if fits:
        marks[top] = whole
    return fits


def _row_of(y: float, drawing: Drawing, down: int) -> int:
    return int((drawing.y_high - y) / (drawing.y_high - drawing.y_low) * down)


def _draw_levels(drawing: Drawing, sheet: Sheet, plain: bool) -> None:
    down = len(sheet.letters)
    for level in drawing.levels:
        row = _row_of(level.y, drawing, down)
        if 0 <= row < down:
            sheet.letters[row] = "-" if plain else "\N{BOX DRAWINGS LIGHT DOUBLE DASH HORIZONTAL}"
            sheet.tones[row] = level.tone


def _draw_words(drawing: Drawing, sheet: Sheet) -> None:
    """The words of the levels at the right end, those of the uprights in the first row that is left, over everything else."""
    down, width = sheet.letters.shape
    taken: set[int] = set()
    for level in drawing.levels:
        above = level.y > drawing.y_high
        row = 0 if above else _row_of(level.y, drawing, down)
        while row in taken and row + 1 < down:
            row += 1
        if not 0 <= row < down:
            continue
        taken.add(row)
        word = f" {'^ ' if above else ''}{level.word} "[:width]
        sheet.write(row, sheet.furthest_right(row, word), word, level.tone)
    free = [row for row in range(down) if row not in taken]
    ends: dict[int, int] = {}
    for x, word in sorted(drawing.uprights):
        at = _column_of(x, drawing, width)
        if 0 <= at < width and free:
            start = max(min(at, width - len(word)), 0)
            row = next((row for row in free if ends.get(row, -1) < start), free[-1])
            sheet.write(row, start, word, "other")
            ends[row] = start + len(word)


def _draw_uprights(drawing: Drawing, sheet: Sheet, plain: bool) -> None:
    width = sheet.letters.shape[1]
    for x, _ in drawing.uprights:
        at = _column_of(x, drawing, width)
        if 0 <= at < width:
            sheet.letters[:, at] = ":" if plain else "\N{BOX DRAWINGS LIGHT DOUBLE DASH VERTICAL}"
            sheet.tones[:, at] = "other"


def _column_of(x: float, drawing: Drawing, width: int) -> int:
    return int((x - drawing.x_low) / (drawing.x_high - drawing.x_low) * width)


def _draw_series(drawing: Drawing, series: Series, sheet: Sheet, plain: bool) -> None:
    known = np.isfinite(series.x) & np.isfinite(series.low) & np.isfinite(series.high)
    if not known.any():
        return
    down, across = sheet.letters.shape
    dots = blank(across, down)
    height, width = dots.shape
    x, low, high = series.x[known], series.low[known], series.high[known]
    if series.mark:
        for at, y in zip(x.tolist(), high.tolist(), strict=True):
            row, column = _row_of(y, drawing, down), _column_of(at, drawing, across)
            if 0 <= row < down and 0 <= column <= across:
                sheet.mark(row, min(column, across - 1), series.mark, series.tone)
        return
    if len(x) > 1 and len(x) < width:
        fine = np.linspace(x[0], x[-1], width)
        low, high = np.interp(fine, x, low), np.interp(fine, x, high)
        x = fine
    column = ((x - drawing.x_low) / (drawing.x_high - drawing.x_low) * (width - 1)).astype(int)
    scale = (height - 1) / (drawing.y_high - drawing.y_low)
    top = ((drawing.y_high - high) * scale).astype(int)
    bottom = ((drawing.y_high - low) * scale).astype(int)
    if len(x) > 1:  # each column reaches to its neighbour, so that steep parts have no holes
        before = np.concatenate(([top[0]], top[:-1]))
        top, bottom = (
            np.minimum(top, np.maximum(before, top - height)),
            np.maximum(bottom, np.minimum(before, bottom + height)),
        )
    if series.dotted:
        seen = column % DOTTED == 0
        column, top, bottom = column[seen], top[seen], bottom[seen]
    columns_between(dots, column, top, bottom)
    drawn = letters(dots, plain)
    sheet.letters[drawn != " "] = drawn[drawn != " "]
    sheet.tones[drawn != " "] = series.tone


def _x_axis(drawing: Drawing, across: int, below: str) -> str:
    """The line of the x axis; ``below``: what stands under the other one."""
    line = f"{below:>{MARGIN - 1}} "
    if drawing.x_words:
        first, half, last = drawing.x_words
        middle = MARGIN + across // 2 - len(half) // 2
        line += first
        if half not in (first, last) and across > 2 * len(first) + len(half) + len(last):
            line = line.ljust(middle)[:middle] + half
        return line.ljust(MARGIN + across - len(last)) + last
    marks = round_marks(drawing.x_low, drawing.x_high, min(max(across // COLUMNS_A_MARK, 2), MOST_MARKS))
    for number, (x, mark) in enumerate(marks):
        word = f"{mark} {drawing.x_unit}" if number == len(marks) - 1 else mark
        at = MARGIN + min(_column_of(x, drawing, across), across - len(word))
        line = line.ljust(at) + word
    return line


__all__ = ["ACROSS", "DOWN", "Drawing", "Level", "Series", "render"]
