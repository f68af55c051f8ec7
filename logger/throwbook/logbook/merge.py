"""Two logbooks into one: the union of their rows, and what stands twice after it.

A row's id is made from its content, so the union needs no judgement: it gives the same whichever way round and
however often it is done. What both sides wrote about the same thing, each without knowing of the other, is kept as
two revisions side by side and listed for a person to look at. A rig is known by the first version of its file, not by
its name alone: two of one name that were begun apart are joined only by a person's word.
"""

import contextlib
import json
import shutil
import sqlite3
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.quantities.text import storable
from throwbook.core.records import beginnings
from throwbook.core.sheets.conditions import FOR_PRACTICE
from throwbook.errors import InputError
from throwbook.logbook.connection import file_address, plain_errors
from throwbook.logbook.opening import open_untouched, open_writing, refuse_by_header
from throwbook.logbook.schema import TABLES, RecordTable
from throwbook.logbook.store import enter_others, list_broken, rows_missing

if TYPE_CHECKING:
    from throwbook.logbook import Logbook


WORDS = {
    "rig_revision": "its rig file has {n} versions, entered separately",
    "answers": "the answers have {n} versions, entered separately",
    "decision": "there are {n} decisions, entered separately",
    "sighting": "the sighting of throw {trial} has {n} versions, entered separately",
    "photograph": "the {part} pin of throw {trial} has {n} photographs, entered separately",
    "judgement": "throw {trial} has {n} judgements, made separately",
    "service": "service entry {trial} has {n} corrections, entered separately",
    "meter": "this meter has {n} descriptions, entered separately",
    "calibration": "board {trial} has {n} calibrations, entered separately",
}
"""Table: how a conflict in it is told. ``placement`` and shared numbers have their own sentences."""
PARTS = {"photograph": "pin"}
"""Table: the column that tells apart what counts beside each other."""
SAME = {"judgement": "verdict || ' ' || coalesce(method_version, '')", "photograph": "picture"}
"""Table: what two rows have in common that need no settling, though each was entered separately."""


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
        for about, part, heads in _competing(book, table):
            where = names.get(about, about)
            if table.about == "trial":
                where = _sheet_of(book, about, names)
            yield Conflict(where, WORDS[table.name].format(n=heads, trial=about[:8], part=part))


def _competing(book: "Logbook", table: RecordTable) -> Iterable[tuple[str, str, int]]:
    """What has several rows that count at once, which part of it, and how many; not where all of them say the same."""
    about, part, same = table.about, PARTS.get(table.name, "''"), SAME.get(table.name, "id")
    rows = book.read(
        f"SELECT {about}, {part}, id, replaces, {same} FROM {table.name} WHERE {about} IN"
        f" (SELECT {about} FROM {table.name} GROUP BY {about} HAVING count(*) > 1)"
    )
    grouped: dict[tuple[str, str], dict[str, list[str]]] = defaultdict(dict)
    for subject, of, row_id, replaces, _ in rows:
        grouped[subject, of][row_id] = json.loads(replaces)
    says = {row_id: said for _, _, row_id, _, said in rows}
    for (subject, of), replaced_by in grouped.items():
        gone = {old for olds in replaced_by.values() for old in olds}
        heads = {row_id: olds for row_id, olds in replaced_by.items() if row_id not in gone}
        if table.name == "service":
            rivals = Counter(old for olds in heads.values() for old in olds)
            yield from ((old, of, n) for old, n in rivals.items() if n > 1)
        elif len({says[row_id] for row_id in heads}) > 1:
            yield subject, of, len(heads)


def _shared_numbers(book: "Logbook") -> Iterable[Conflict]:
    rows = book.read("SELECT rig, number, count(*) FROM sheet GROUP BY rig, number HAVING count(*) > 1")
    for rig, number, count in rows:
        yield Conflict(
            f"{rig}-{number}", f"{count} sheets have this number; add a part of the id to tell them apart"
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
            first, f"{count} of its throws are also on sheet {second}; each counts once for the rig"
        )


def _whole_and_cut(book: "Logbook", names: dict[str, str]) -> Iterable[Conflict]:
    """Records that one logbook kept whole, as earlier versions did, and the other movement by movement."""
    for rig in book.rig_names():
        for digest, movement in book.cut_records(rig).items():
            for (whole,) in book.read("SELECT id FROM trial WHERE rig = ? AND trace = ?", [rig, digest]):
                other = _sheet_of(book, movement, names)
                what = f"a record on it is on sheet {other} too, movement by movement: leave it out here"
                yield Conflict(_sheet_of(book, whole, names), what)


def _sheet_of(book: "Logbook", trial: str, names: dict[str, str]) -> str:
    rows = book.read("SELECT sheet FROM placement WHERE trial = ?", [trial])
    return ", ".join(sorted({names[row[0]] for row in rows})) or trial[:8]


ANCHORS = (("rig", ("name",)), ("trace", ("digest",)), ("picture", ("digest",)))


@dataclass(frozen=True)
class Terms:
    """What a person says of rigs that both logbooks have under one name and that were begun apart."""

    rename: Mapping[str, str] = field(default_factory=dict)
    """Name in the other logbook: the name it gets in this one."""
    same: tuple[str, ...] = ()
    """It is one machine: the version of the rig file that counts here stands for both."""
    by: str = ""
    """Signed by."""
    now: datetime | None = None
    dry_run: bool = False
    """Only say what would be done."""


NO_TERMS = Terms()


@dataclass(frozen=True)
class Merged:
    """What a merge did."""

    added: dict[str, int]
    """Table: rows that were new."""
    conflicts: tuple[Conflict, ...]
    """Every open conflict that the merged logbook has, found from its rows alone."""
    apart: tuple[str, ...] = ()
    """Rigs of one name that were begun apart; only in a dry run, for else they are refused."""

    @property
    def rows(self) -> int:
        """Rows that were new."""
        return sum(self.added.values())


class ApartError(InputError):
    """Rigs of one name that were begun apart: nobody but a person can say whether they are one machine."""

    def __init__(self, rigs: Sequence[str], other: Path) -> None:
        """``rigs``: their names."""
        self.rigs = tuple(rigs)
        one = rigs[0]
        what = f"rig '{one}' is in both logbooks, and each added it separately: it may be another machine"
        do = f"Another one: --rename {one}=NEW-NAME. The same one: --same {one}. --dry-run shows what would come in."
        super().__init__(what, str(other), do)


def merge(book: "Logbook", other: Path, terms: Terms = NO_TERMS) -> Merged:
    """Take over every row of ``other`` that ``book`` doesn't have, in one transaction; ``other`` isn't touched.

    Raises InputError when ``other`` isn't a logbook, is newer, or holds rows that no longer give their id or can't be read;
    ApartError for a rig of one name that isn't known to be one machine.
    """
    if not other.exists():
        raise InputError("there is no such file", str(other), "Give the path of the other logbook.")
    if book.path.exists() and other.samefile(book.path):
        raise InputError("this is the same logbook", str(other), "Give the path of another one.")
    with brought_up(other) as copy:
        return _take_over(book, copy, other, terms)


def _take_over(book: "Logbook", copy: Path, other: Path, terms: Terms) -> Merged:
    with _attached(book, copy):
        _refuse_practice(book, other)
        _refuse_harmed(book, other)
    _refuse_broken_list(copy, other)
    if terms.rename:
        _give_names(copy, other, terms.rename)
    with _attached(book, copy):
        apart = [rig for rig in rigs_apart(book) if rig not in terms.same]
        if apart and not terms.dry_run:
            raise ApartError(apart, other)
        try:
            with book.transaction():
                done = _union(book, other, terms)
                if terms.dry_run:
                    raise _OnlyShown(replace(done, apart=tuple(apart)))
                return done
        except _OnlyShown as shown:
            return shown.merged


class _OnlyShown(Exception):
    def __init__(self, merged: Merged) -> None:
        super().__init__()
        self.merged = merged


def _union(book: "Logbook", other: Path, terms: Terms) -> Merged:
    added: dict[str, int] = {}
    names = book.rig_names()
    ours = {rig: book.rig(rig).toml for rig in terms.same if rig in names}
    for name, keys in ANCHORS + tuple((table.name, table.key) for table in TABLES):
        key = ", ".join(keys)
        columns = [row[1] for row in book.db.execute(f"PRAGMA main.table_info({name})")]
        listed = ", ".join(f'"{column}"' for column in columns)
        done = book.db.execute(
            f"INSERT INTO main.{name} ({listed}) SELECT {listed} FROM other.{name}"
            f" WHERE ({key}) NOT IN (SELECT {key} FROM main.{name}) ORDER BY {key}"
        )
        if done.rowcount > 0:
            added[name] = done.rowcount
    enter_others(book.db)
    for rig, toml in ours.items():
        if terms.now is not None:
            book.add_rig(
                rig, toml, terms.by, terms.now, f"one machine with '{rig}' of {storable(other.name)}"
            )
    return Merged(added, tuple(conflicts(book)))


def rigs_apart(book: "Logbook") -> list[str]:
    """Rigs that this logbook and the attached ``other`` have under one name, and that go back to no common beginning."""
    firsts: list[dict[str, set[str]]] = []
    for logbook in ("main", "other"):
        grouped: dict[str, dict[str, list[str]]] = defaultdict(dict)
        for rig, row_id, replaces in book.db.execute(f"SELECT rig, id, replaces FROM {logbook}.rig_revision"):
            grouped[rig][row_id] = json.loads(replaces)
        firsts.append({rig: set().union(*beginnings(rows).values()) for rig, rows in grouped.items()})
    ours, theirs = firsts
    return sorted(rig for rig in ours.keys() & theirs.keys() if not ours[rig] & theirs[rig])


def _give_names(copy: Path, other: Path, names: Mapping[str, str]) -> None:
    """Rigs of the private copy under other names, before its rows are taken over."""
    from throwbook.logbook import open_logbook
    from throwbook.logbook.renaming import rename

    try:
        with open_logbook(copy) as renamed:
            renamed.db.execute("PRAGMA foreign_keys = OFF")
            with renamed.transaction():
                for old, new in names.items():
                    rename(renamed, old, new)
    except InputError as error:
        raise InputError(error.what, str(other), error.do) from error


@contextlib.contextmanager
def _attached(book: "Logbook", copy: Path) -> Iterator[None]:
    with plain_errors(book.path):
        book.db.execute("ATTACH DATABASE ? AS other", [f"{file_address(copy.resolve())}?mode=ro"])
    try:
        yield
    finally:
        with plain_errors(book.path):
            book.db.execute("DETACH DATABASE other")


def _refuse_practice(book: "Logbook", other: Path) -> None:
    """What was done for practice must not come to stand beside what was done on a machine."""
    with plain_errors(other):
        marked = book.db.execute(
            "SELECT rig FROM other.rig_revision WHERE reason = ? LIMIT 1", [FOR_PRACTICE]
        ).fetchone()
    if marked and not book.for_practice():
        raise InputError(
            f"this is a practice logbook: nothing in it proves anything about a real '{marked[0]}'",
            str(other),
            "Do not merge it.",
        )


def _refuse_harmed(book: "Logbook", other: Path) -> None:
    """A changed row, or changed samples or pictures, must not come in under the id of what they once were; nor a row nobody can read."""
    from throwbook.logbook import serialization

    for table in TABLES:
        changed = book.altered(table.name, attached="other")
        if changed:
            raise InputError(
                f"{len(changed)} rows of {table.name} were changed after they were written",
                str(other),
                f"'throwbook --logbook {other} check' lists them. Merge an unchanged copy instead.",
            )
        unread = book.unreadable(table.name, attached="other")
        if unread:
            raise InputError(
                f"rows of {table.name} can't be read: {', '.join(row_id[:8] for row_id, _ in unread[:3])}",
                str(other),
                f"'throwbook --logbook {other} check' lists each one. Merge an undamaged copy instead.",
            )
    for blobs, kind in serialization.BLOBS.items():
        new = f"SELECT digest, data FROM other.{blobs} WHERE digest NOT IN (SELECT digest FROM main.{blobs})"
        with plain_errors(other):
            damaged = sum(not kind.whole(digest, blob) for digest, blob in book.db.execute(new))
        if damaged:
            raise InputError(
                f"{damaged} {kind.called} were changed after they were stored",
                str(other),
                f"'throwbook --logbook {other} check' lists them. Merge an unchanged copy instead.",
            )


def _refuse_broken_list(copy: Path, other: Path) -> None:
    """Rows that were taken out with their entries would be missed by nobody any more, once the rest has come in here."""
    with plain_errors(other), contextlib.closing(sqlite3.connect(copy)) as db:
        broken = list_broken(db) or [one.what for one in rows_missing(db) if not one.kind]
    if broken:
        raise InputError(
            broken[0],
            str(other),
            f"'throwbook --logbook {other} check' shows more. Merge an undamaged copy instead.",
        )


@contextlib.contextmanager
def brought_up(other: Path) -> Iterator[Path]:
    """A private copy of the other logbook at this program's version; the other itself isn't touched."""
    folder = Path(tempfile.mkdtemp(prefix="throwbook-merge-"))
    try:
        source, scratch = open_untouched(other)
        with plain_errors(other), contextlib.closing(source):
            refuse_by_header(source, other)
            with contextlib.closing(sqlite3.connect(folder / "other")) as copy:
                source.backup(copy)
        if scratch is not None:
            shutil.rmtree(scratch, ignore_errors=True)
        open_writing(folder / "other", None).close()
        yield folder / "other"
    finally:
        shutil.rmtree(folder, ignore_errors=True)
