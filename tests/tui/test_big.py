"""The large words: every letter that one may hold is drawn, else it would be read as another word."""

from string import ascii_uppercase, digits

import pytest

from throwbook.core.rig import DIRECTIONS
from throwbook.core.status.latch import LEVELS
from throwbook.core.wording import VERDICTS
from throwbook_tui.present import FIGURES_PASS
from throwbook_tui.widgets.frame import GLYPHS, HEIGHT, big_rows

WORDS = (
    FIGURES_PASS,
    *(name.column.upper() for name in VERDICTS.values()),
    *(level.upper() for level in LEVELS),
    *(f"{way.upper()} ?" for way in DIRECTIONS),
    *("STALL", "ARMED", "WAIT", "SHEET ACCEPTED", "12.4 A  3.5 s", "0.0 s"),
)


@pytest.mark.parametrize("word", WORDS)
def test_every_letter_of_a_large_word_is_drawn(word: str):
    assert not [letter for letter in word if letter not in GLYPHS]
    ink = big_rows(word, "#")
    assert len(ink) == HEIGHT
    assert len({len(row) for row in ink}) == 1, "a row is longer than the others: the word is skewed"


def test_each_letter_and_digit_has_a_shape_of_its_own():
    drawn = [GLYPHS[letter] for letter in ascii_uppercase + digits if letter not in "0O5S"]
    assert len(set(drawn)) == len(drawn)
