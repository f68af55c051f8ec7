"""What stands twice in a logbook after a merge: kept, and listed for a person to settle."""

import json
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

from logger.core.records.records import Judgement
from logger.logbook.tables import TABLES, Table

if TYPE_CHECKING:
    from logger.logbook import Logbook

WORDS = {
    "rig_revision": "its rig file has {n} versions that don't know of each other",
    "answers": "the answers have {n} versions that don't know of each other",
    "decision": "there are {n} decisions that don't know of each other",
    "sighting": "the sighting of trial {trial} has {n} versions that don't know of each other",
    "judgement": "trial {trial} has {n} judgements that don't know of each other",
    "service": "service entry {trial} has {n} corrections that don't know of each other",
    "calibration": "board {trial} has {n} calibrations that don't know of each other",
}
"""Table: how a conflict in it is told. ``placement`` and shared numbers have their own sentences."""


@dataclass(frozen=True, order=True)
class Conflict:
    """Something that now stands twice."""

    where: str
    """The rig, the sheet or the board."""
    what: str
    """One sentence."""


def conflicts(book: "Logbook") -> list[Conflict]:
    """Found from the rows alone, so that every copy with the same rows finds the same."""
    names = {state.sheet.id: state.name for state in book.sheets()}
    return sorted(
        {
            *_double_heads(book, names),
            *_shared_numbers(book),
            *_trials_on_two_sheets(book, names),
            *_whole_and_cut(book, names),
        }
    )


def _double_heads(book: "Logbook", names: dict[str, str]) -> Iterable[Conflict]:
    for table in TABLES:
        if table.name not in WORDS:
            continue
        for about, heads in _competing(book, table):
            if table.name == "judgement" and _agree(book, about):
                continue
            where = names.get(about, about)
            if table.about == "trial":
                where = _sheet_of(book, about, names)
            yield Conflict(where, WORDS[table.name].format(n=heads, trial=about[:8]))


def _agree(book: "Logbook", trial: str) -> bool:
    """Whether the judgements that count say the same by the same method: judged twice, but nothing to settle."""
    marks = [
        book.read("SELECT verdict, method_version FROM judgement WHERE trial = ? AND id = ?", [trial, each])[
            0
        ]
        for each in book.head_ids(Judgement, trial)
    ]
    return len({tuple(mark) for mark in marks}) == 1


def _competing(book: "Logbook", table: Table) -> Iterable[tuple[str, int]]:
    """What has several rows that count at once, and how many."""
    about = table.about
    rows = book.read(
        f"SELECT {about}, id, replaces FROM {table.name} WHERE {about} IN"
        f" (SELECT {about} FROM {table.name} GROUP BY {about} HAVING count(*) > 1)"
    )
    grouped: dict[str, dict[str, list[str]]] = defaultdict(dict)
    for subject, row_id, replaces in rows:
        grouped[subject][row_id] = json.loads(replaces)
    for subject, replaced_by in grouped.items():
        gone = {old for olds in replaced_by.values() for old in olds}
        heads = {row_id: olds for row_id, olds in replaced_by.items() if row_id not in gone}
        if table.name == "service":
            rivals = Counter(old for olds in heads.values() for old in olds)
            yield from ((old, n) for old, n in rivals.items() if n > 1)
        elif len(heads) > 1:
            yield subject, len(heads)


def _shared_numbers(book: "Logbook") -> Iterable[Conflict]:
    rows = book.read("SELECT rig, number, count(*) FROM sheet GROUP BY rig, number HAVING count(*) > 1")
    for rig, number, count in rows:
        yield Conflict(
            f"{rig}-{number}", f"{count} sheets have this number; a piece of the id tells them apart"
        )


def _trials_on_two_sheets(book: "Logbook", names: dict[str, str]) -> Iterable[Conflict]:
    rows = book.read(
        "SELECT trial, id, sheet, replaces FROM placement WHERE trial IN"
        " (SELECT trial FROM placement GROUP BY trial HAVING count(*) > 1)"
    )
    gone = {old for row in rows for old in json.loads(row[3])}
    sheets: dict[str, set[str]] = defaultdict(set)
    for trial, row_id, sheet, _ in rows:
        if row_id not in gone:
            sheets[trial].add(names[sheet])
    pairs = Counter(pair for held in sheets.values() for pair in combinations(sorted(held), 2))
    for (first, second), count in pairs.items():
        yield Conflict(
            first, f"{count} of its trials also stand on sheet {second}; each counts once for the rig"
        )


def _whole_and_cut(book: "Logbook", names: dict[str, str]) -> Iterable[Conflict]:
    """Records that one logbook kept whole, as earlier versions did, and the other movement by movement."""
    for rig in book.rig_names():
        for digest, movement in book.cut_records(rig).items():
            for (whole,) in book.read("SELECT id FROM trial WHERE rig = ? AND trace = ?", [rig, digest]):
                other = _sheet_of(book, movement, names)
                what = f"a record on it stands on sheet {other} too, movement by movement: leave it out here"
                yield Conflict(_sheet_of(book, whole, names), what)


def _sheet_of(book: "Logbook", trial: str, names: dict[str, str]) -> str:
    rows = book.read("SELECT sheet FROM placement WHERE trial = ?", [trial])
    return ", ".join(sorted({names[row[0]] for row in rows})) or trial[:8]
