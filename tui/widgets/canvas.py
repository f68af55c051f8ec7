"""Dots on a grid of letters: braille where the terminal has it (2 by 4 dots a letter), plain letters otherwise."""

import numpy as np
from numpy.typing import NDArray

Dots = NDArray[np.bool_]

# Weight of each dot of a braille letter, rows by columns (Unicode, block U+2800).
_BRAILLE = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]])
ACROSS, DOWN = 2, 4
PLAIN = " .:#"
"""Plain letters for none, few, more, many dots in a letter's place."""


def blank(width: int, height: int) -> Dots:
    """A canvas of ``width`` by ``height`` letters, shape (4 * height, 2 * width); row 0 is at the top."""
    return np.zeros((DOWN * height, ACROSS * width), dtype=bool)


def letters(dots: Dots, plain: bool) -> list[str]:
    """The canvas as lines of text."""
    rows, columns = dots.shape[0] // DOWN, dots.shape[1] // ACROSS
    cells = dots.reshape(rows, DOWN, columns, ACROSS).transpose(0, 2, 1, 3)
    if plain:
        count = cells.sum(axis=(2, 3))
        level = np.where(count == 0, 0, np.where(count <= 2, 1, np.where(count <= 4, 2, 3)))
        return ["".join(PLAIN[one] for one in row) for row in level]
    codes = 0x2800 + (cells * _BRAILLE).sum(axis=(2, 3))
    return ["".join(map(chr, row)) for row in codes]


def columns_between(
    dots: Dots, column: NDArray[np.int_], low: NDArray[np.int_], high: NDArray[np.int_]
) -> None:
    """Fill each dot column from row ``low`` down to row ``high`` (low <= high); what lies outside is left out."""
    height, width = dots.shape
    inside = (column >= 0) & (column < width) & (high >= 0) & (low < height)
    rows = np.arange(height)[:, None]
    filled = (rows >= np.clip(low[inside], 0, height - 1)) & (rows <= np.clip(high[inside], 0, height - 1))
    for number, at in enumerate(column[inside].tolist()):
        dots[:, at] |= filled[:, number]
