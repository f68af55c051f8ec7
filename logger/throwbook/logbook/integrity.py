"""Check a logbook from end to end, and copy it while it is in use."""

import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.errors import InputError
from throwbook.logbook import store
from throwbook.logbook.connection import plain_errors
from throwbook.logbook.opening import safe_copy
from throwbook.logbook.schema import TABLES

if TYPE_CHECKING:
    from throwbook.logbook import Logbook

Progress = Callable[[int, int], None]
"""Called with traces looked at so far, and how many there are."""

UNKNOWN_RIG = "every rig"
"""Where nobody can say any more whose rows they were."""
NAMED_BY = ("placement", "sighting", "photograph", "judgement")
BLOBS_OF = {"trace": ("trial", "id"), "picture": ("photograph", "trial")}
"""Table of blobs: the rows that name one by its digest, and their column with the trial."""
LISTS_OF_IDS = (
    ("latch_order", "previous", "latch_order", "an order that came before is gone"),
    ("latch_order", "clears", "latch_order", "an order that it answers is gone"),
    ("seal", "previous", "seal", "the seal it is chained to is gone"),
    ("baseline", "trials", "trial", "a throw it rests on is gone"),
)
"""Table, column, where the ids must be, what it means when one isn't."""


@dataclass(frozen=True)
class IntegrityProblem:
    """One thing that isn't as it was written."""

    where: str
    """The sheet, the rig, or ``file``."""
    what: str


@dataclass(frozen=True)
class IntegrityCheck:
    """What a check looked at and found."""

    rigs: int
    sheets: int
    trials: int
    seals: int
    problems: tuple[IntegrityProblem, ...]


def check(book: "Logbook", progress: Progress | None = None) -> IntegrityCheck:
    """Look at everything: the file itself, references, every row against its id, every trace, every seal."""
    problems = _file_problems(book)
    try:
        counts = [
            book.read(f"SELECT count(*) FROM {name}")[0][0] for name in ("rig", "sheet", "trial", "seal")
        ]
        names = {row[0]: f"{row[1]}-{row[2]}" for row in book.read("SELECT id, rig, number FROM sheet")}
        problems += _row_problems(book, names)
        problems += _reference_problems(book)
        problems += _entry_problems(book)
        problems += _blob_problems(book, names, progress)
        problems += _seal_problems(book, names)
    except Exception as error:  # a damaged file can fail anywhere; what was found so far still counts
        if not problems:
            raise
        problems.append(IntegrityProblem("file", f"the check stopped there ({error})"))
        counts = [0, 0, 0, 0]
    return IntegrityCheck(counts[0], counts[1], counts[2], counts[3], tuple(dict.fromkeys(problems)))


def _file_problems(book: "Logbook") -> list[IntegrityProblem]:
    """What SQLite itself finds: torn pages, rows missing from an index, values of the wrong type."""
    try:
        found = [row[0] for row in book.db.execute("PRAGMA integrity_check(20)")]
    except sqlite3.DatabaseError as error:
        return [IntegrityProblem("file", f"the file is damaged ({error})")]
    return [IntegrityProblem("file", text.replace("\n", " ")) for text in found if text != "ok"]


def _reference_problems(book: "Logbook") -> list[IntegrityProblem]:
    from throwbook.logbook import serialization

    found = [
        IntegrityProblem(row[0], f"row {row[1] or 'unnumbered'} points to a row of {row[2]} that is gone")
        for row in book.read("PRAGMA foreign_key_check")
    ]
    for table, column, target, what in LISTS_OF_IDS:
        owner = "sheet" if table == "seal" else "rig"
        rows = book.read(
            f"SELECT {owner}, {table}.id FROM {table}, json_each({table}.{column}) AS each"
            f" WHERE each.value NOT IN (SELECT id FROM {target})"
        )
        found += [IntegrityProblem(row[0], f"{table} {row[1][:8]}: {what}") for row in rows]
    for blobs, (named_by, _) in BLOBS_OF.items():
        orphans = book.read(
            f"SELECT count(*) FROM {blobs} WHERE digest NOT IN (SELECT {blobs} FROM {named_by} WHERE {blobs} NOT NULL)"
        )
        if orphans[0][0]:
            what = f"{orphans[0][0]} {serialization.BLOBS[blobs].called} belong to no throw"
            found.append(IntegrityProblem("file", what))
    return found


def _entry_problems(book: "Logbook") -> list[IntegrityProblem]:
    """What the list of entries misses, and where the list itself or the file's structure was changed."""
    with plain_errors(book.path):
        gone = store.structure_missing(book.db)
        if any(each.kind == "table" for each in gone):
            return [IntegrityProblem(UNKNOWN_RIG, each.what) for each in gone]
        gone += store.rows_missing(book.db)
        changed = store.list_broken(book.db)
    found = [IntegrityProblem(each.rig or UNKNOWN_RIG, each.what) for each in gone]
    return found + [IntegrityProblem(UNKNOWN_RIG, what) for what in changed]


def _row_problems(book: "Logbook", names: dict[str, str]) -> list[IntegrityProblem]:
    found = []
    for table in TABLES:
        for each in book.altered(table.name):
            where = _sheet_names(book, table.name, each.id, dict(each.content), names)
            found.append(
                IntegrityProblem(
                    where, f"a row of {table.name} ({each.id[:8]}) was changed after it was written"
                )
            )
        for row_id, content in book.unreadable(table.name):
            where = _sheet_names(book, table.name, row_id, content, names)
            found.append(IntegrityProblem(where, f"a row of {table.name} ({row_id[:8]}) can't be read"))
    return found


def _blob_problems(
    book: "Logbook", names: dict[str, str], progress: Progress | None
) -> list[IntegrityProblem]:
    """Sum every record of samples and every picture again."""
    from throwbook.logbook import serialization

    found = []
    total = sum(book.read(f"SELECT count(*) FROM {blobs}")[0][0] for blobs in BLOBS_OF)
    number = 0
    for blobs, (rows, trial) in BLOBS_OF.items():
        kind = serialization.BLOBS[blobs]
        with plain_errors(book.path):
            for digest, blob in book.db.execute(f"SELECT digest, data FROM {blobs}"):
                number += 1
                if not kind.whole(digest, blob):
                    trials = book.read(f"SELECT DISTINCT {trial} FROM {rows} WHERE {blobs} = ?", [digest])
                    where = ", ".join(_sheet_names(book, "trial", row[0], {}, names) for row in trials)
                    found.append(IntegrityProblem(where or "file", kind.changed.format(digest=digest[:8])))
                if progress is not None and number % 500 == 0:
                    progress(number, total)
    return found


def _seal_problems(book: "Logbook", names: dict[str, str]) -> list[IntegrityProblem]:
    return [
        IntegrityProblem(f"sheet {names.get(seal.sheet, seal.sheet[:8])}", f"the seal doesn't match: {why}")
        for rig in book.rig_names()
        for seal, why in book.broken_seals(rig)
    ]


def _sheet_names(
    book: "Logbook", table: str, row_id: str, content: Mapping[str, object], names: dict[str, str]
) -> str:
    """The sheets that a row stands on, by name, or else its rig or board."""
    if table == "sheet":
        sheets = [row_id]
    elif "sheet" in content:
        sheets = [str(content["sheet"])]
    elif table == "trial" or table in NAMED_BY:
        trial = row_id if table == "trial" else str(content.get("trial"))
        sheets = [
            row[0] for row in book.read("SELECT DISTINCT sheet FROM placement WHERE trial = ?", [trial])
        ]
    else:
        return str(content.get("rig") or content.get("board") or table)
    return "sheet " + ", ".join(sorted(names.get(each, each[:8]) for each in sheets))


def backup(book: "Logbook", target: Path) -> int:
    """A verified copy at ``target``, made while the logbook may be in use; its size in bytes.

    The copy appears under its name only when it is whole. Raises InputError for a target that is there already.
    """
    if target.exists():
        raise InputError(
            "there is a file with this name already", str(target), "Give another name for the backup."
        )
    if not target.parent.is_dir():
        raise InputError(
            "there is no such folder", str(target.parent), "Make it first, or give another path."
        )
    safe_copy(book.db, book.path, target)
    return target.stat().st_size
