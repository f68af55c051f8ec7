"""Everything that people wrote into a logbook, and the rows that hold the words looked for.

The index is built in memory for each search, from the rows as they are, so it can't differ from them. One in the file
would need triggers: a logbook that has them can't be written where SQLite comes without its full text search (FTS5).
"""

import re
import sqlite3
import unicodedata
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass

from throwbook.errors import InputError
from throwbook.logbook import Logbook


@dataclass(frozen=True)
class Note:
    """One text that somebody wrote."""

    kind: str
    """``service``, ``order``, ``sheet``, ``decision``, ``pins``, ``throw`` or ``rig``."""
    rig: str
    where: str
    """The sheet, or the start of the entry's id."""
    day: str
    """The day it is about, as ISO date."""
    text: str
    by: str
    corrected: bool
    """A later entry counts in its place."""


# Texts inside JSON, without ids of rows.
_TEXTS = (
    "(SELECT group_concat(atom, '; ') FROM json_tree({0}) WHERE type = 'text' AND NOT"
    " (length(atom) = 32 AND atom NOT GLOB '*[^0-9a-f]*'))"
)
_SHEET = "sheet.rig || '-' || sheet.number"
_OF_A_THROW = "JOIN trial ON trial.id = {0}.trial LEFT JOIN sheet ON sheet.id = {1}"
_ITS_SHEET = "(SELECT sheet FROM placement WHERE placement.trial = sighting.trial ORDER BY at DESC LIMIT 1)"


Parts = tuple[tuple[str, str], ...]
"""What is written in front of a part of the text, and its SQL."""

_OF_A_SERVICE = tuple(
    (name, f"json_extract(details, '$.{name}')")
    for name in ("seen", "found", "fixed", "verified", "parts", "cost")
)


# kind: (table, rig, where, day, parts of the text, joins)
_WRITTEN: dict[str, tuple[str, str, str, str, Parts, str]] = {
    "service": (
        "service",
        "service.rig",
        "substr(service.id, 1, 8)",
        "coalesce(json_extract(details, '$.on'), substr(service.at, 1, 10))",
        (("", "action"), *_OF_A_SERVICE, ("correction", "reason")),
        "",
    ),
    "order": (
        "latch_order",
        "latch_order.rig",
        "substr(latch_order.id, 1, 8)",
        "substr(latch_order.at, 1, 10)",
        (
            ("", "cause"),
            ("", "because"),
            ("", _TEXTS.format("details")),
            ("signed", "signed"),
        ),
        "",
    ),
    "sheet": (
        "answers",
        "sheet.rig",
        _SHEET,
        "substr(coalesce((SELECT min(started) FROM placement JOIN trial ON trial.id = placement.trial"
        " WHERE placement.sheet = sheet.id), nullif(json_extract(sheet.plan, '$.day'), ''), sheet.at), 1, 10)",
        (("", _TEXTS.format("answers")), ("correction", "answers.reason")),
        "JOIN sheet ON sheet.id = answers.sheet",
    ),
    "decision": (
        "decision",
        "sheet.rig",
        _SHEET,
        "substr(decision.at, 1, 10)",
        (("", "outcome"), ("signed", "signed"), ("because", "reason")),
        "JOIN sheet ON sheet.id = decision.sheet",
    ),
    "pins": (
        "sighting",
        "trial.rig",
        f"coalesce({_SHEET}, '')",
        "substr(coalesce(trial.started, sighting.at), 1, 10)",
        (("", "how"), ("correction", "reason")),
        _OF_A_THROW.format("sighting", _ITS_SHEET),
    ),
    "throw": (
        "placement",
        "trial.rig",
        f"coalesce({_SHEET}, '')",
        "substr(coalesce(trial.started, placement.at), 1, 10)",
        (("left out", "left_out"), ("correction", "nullif(placement.reason, left_out)")),
        _OF_A_THROW.format("placement", "placement.sheet"),
    ),
    "rig": (
        "rig_revision",
        "rig",
        "substr(rig_revision.id, 1, 8)",
        "substr(rig_revision.at, 1, 10)",
        (
            ("", "replace(replace(trim(toml, char(10)), char(10) || char(10), char(10)), char(10), '; ')"),
            ("reason", "rig_revision.reason"),
        ),
        "",
    ),
}


def notes(book: Logbook, rig: str | None = None) -> list[Note]:
    """Every text, of one rig or of all, newest day first; what a later entry corrects is there too."""
    found = []
    for kind, (table, whose, where, day, parts, joins) in _WRITTEN.items():
        replaced = f"{table}.id IN (SELECT value FROM {table} AS later, json_each(later.replaces))"
        said = ", ".join(sql for _, sql in parts)
        rows = book.read(
            f'SELECT {whose}, {where}, {day}, {table}."by", {replaced if kind != "order" else 0}, {said}'
            f" FROM {table} {joins} WHERE ? IN ('', {whose})",
            [rig or ""],
        )
        for whose_row, where_row, day_row, by, corrected, *texts in map(tuple, rows):
            text = "; ".join(
                f"{label} {text}".strip() for (label, _), text in zip(parts, texts, strict=True) if text
            )
            if text:
                found.append(Note(kind, whose_row, where_row, day_row, text, by, bool(corrected)))
    return sorted(dict.fromkeys(found), key=lambda one: (one.day, one.rig, one.where, one.kind), reverse=True)


def matching(found: Sequence[Note], words: Sequence[str]) -> list[Note]:
    """Those that hold every one of ``words``, as whole words or their beginnings; words in one text must stand together.

    The rig's name and the sheet's count as well. Raises InputError where no letter and no digit is looked for.
    """
    wanted = [split for text in words if (split := _words(text))]
    if not wanted:
        raise InputError("there is no word to look for", " ".join(words), "Give one, for example: grease")
    try:
        kept = _by_fts5(found, wanted)
    except sqlite3.OperationalError:  # this SQLite was built without it
        kept = _by_hand(found, wanted)
    return [found[number] for number in kept]


def _by_fts5(found: Sequence[Note], wanted: Sequence[Sequence[str]]) -> list[int]:
    query = " AND ".join(f'"{" ".join(split)}"*' for split in wanted)
    with closing(sqlite3.connect(":memory:")) as db:
        db.execute(
            "CREATE VIRTUAL TABLE note USING fts5(text, rig, sheet, tokenize='unicode61 remove_diacritics 2')"
        )
        db.executemany(
            "INSERT INTO note(rowid, text, rig, sheet) VALUES (?, ?, ?, ?)",
            ((number, one.text, one.rig, one.where) for number, one in enumerate(found)),
        )
        rows = db.execute("SELECT rowid FROM note WHERE note MATCH ? ORDER BY rowid", [query])
        return [row[0] for row in rows]


def _by_hand(found: Sequence[Note], wanted: Sequence[Sequence[str]]) -> list[int]:
    """The same, each text gone through."""
    needles = [f" {' '.join(split)}" for split in wanted]
    kept = []
    for number, one in enumerate(found):
        columns = [f" {' '.join(_words(text))}" for text in (one.text, one.rig, one.where)]
        if all(any(needle in column for column in columns) for needle in needles):
            kept.append(number)
    return kept


def _words(text: str) -> list[str]:
    """Its words in small letters, without accents."""
    plain = "".join(one for one in unicodedata.normalize("NFD", text) if not unicodedata.combining(one))
    return re.findall(r"[^\W_]+", plain.lower())
