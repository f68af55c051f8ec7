"""Dots on a grid of letters: braille where the terminal has it (2 by 4 dots a letter), plain letters otherwise."""

import numpy as np
from numpy.typing import NDArray

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
