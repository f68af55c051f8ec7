"""Looking for words in everything that was written."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from throwbook.jobs.find import opened
from throwbook.logbook.search import Note as Note
from throwbook.logbook.search import matching, notes


def search(logbook: str | Path | None, words: Sequence[str], rig: str | None = None) -> list[Note]:
    """Texts that hold every word, newest day first, of one rig or of all; see ``logbook.search.matching``."""
    with opened(logbook, read_only=True) as book:
        return matching(notes(book, book.rig(rig).rig if rig is not None else None), words)


BEFORE, LONGEST = 40, 160
"""Letters shown before the first word found, and in all."""


def excerpt(note: Note, words: Sequence[str]) -> Note:
    """The same with the part of a long text that the words stand in."""
    if len(note.text) <= LONGEST:
        return note
    places = [note.text.lower().find(word.split()[0].lower()) for word in words if word.split()]
    start = max(0, min((one for one in places if one >= 0), default=0) - BEFORE)
    part = note.text[start : start + LONGEST].strip()
    more = "" if start + LONGEST >= len(note.text) else " ..."
    return replace(note, text=f"{'... ' if start else ''}{part}{more}")
