"""Rows of any kind into the file and out of it, each entered in the list of entries.

The list holds every row that this file ever took in, numbered without a gap, each chained to the one before. A row that
is taken out leaves its entry behind, an entry that is taken out leaves a gap, and the newest ones leave the tally too
high. The list is the file's own and no part of any row: two logbooks that are merged each bring their rows, and the list
goes on counting. It proves nothing against somebody who writes all three anew; a backup does.
"""

import hashlib
import json
import sqlite3
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from throwbook.core.records import Fact
from throwbook.logbook import migrations
from throwbook.logbook.connection import Connection, damaged, plain_errors, unreadable_row
from throwbook.logbook.schema import (
    BY_NAME,
    BY_RECORD,
    JUDGED_FAIL,
    SAID_NO_AT,
    TABLES,
    RecordTable,
    SqlValue,
    altered,
    fact,
    from_sql,
    to_json,
    to_row,
    with_id,
)

FAILED, SAID_NO = "judgement that failed", "sighting that said no"
COUNTED = {FAILED: ("judgement", JUDGED_FAIL), SAID_NO: ("sighting", SAID_NO_AT)}
"""Counted by themselves: a rig's status hangs on them, and they are counted without reading the others."""
LARGE = ("placement", "judgement", "sighting")
"""Not counted at each look: as many as throws, and wide."""
WITHOUT_PLACE = " UNION ALL ".join(
    f"SELECT 1 FROM {table} WHERE ({asked.sql}) AND trial NOT IN (SELECT trial FROM placement)"
    for table, asked in COUNTED.values()
)
"""Throws that ask for an order and stand on no sheet any more."""
WORDS = {
    "rig_revision": "a version of its rig file",
    "meter": "a description of a meter: {name}",
    "sheet": "sheet {number}",
    "answers": "answers on sheet {number}",
    "trial": "a throw",
    "placement": "throw {position} of sheet {number}",
    "sighting": "a sighting at throw {position} of sheet {number}",
    "photograph": "a photograph of throw {position} of sheet {number}",
    "service": "a service entry: {action}",
    "baseline": "a baseline",
    "calibration": "a calibration",
    "judgement": "a judgement of throw {position} of sheet {number}",
    "decision": "a decision on sheet {number}",
    "latch_order": "an order: {cause}",
    "seal": "the seal of sheet {number}",
}
"""Kind: how its rows are called where one is missing."""
NEEDED = {"id", "rig", "sheet", "trial", "board", "number", "position", "action", "cause", "name"} | {
    column for _, asked in COUNTED.values() for column in asked.columns
}
"""Columns that an entry is made from."""
THROWS = (
    "SELECT placement.position, sheet.number, sheet.rig, placement.trial"
    " FROM placement JOIN sheet ON sheet.id = placement.sheet"
)
THROW = f"{THROWS} WHERE placement.trial = ? LIMIT 1"


@dataclass(frozen=True)
class Missing:
    """A row that was in this file, or a part of its structure, and isn't there any more."""

    id: str
    """The row's id, or one made from the name of the part."""
    kind: str
    """Its table; "" for what belongs to no table's rows."""
    rig: str
    """Whose; "" for what can be any rig's."""
    what: str


Place = tuple[object, object]
"""Position of a throw on its sheet, and the sheet's number."""
NOWHERE: Place = ("?", "?")


def enter(db: sqlite3.Connection, table: RecordTable, row: Mapping[str, object]) -> None:
    """Put one new row on the list."""
    sheet, trial = row.get("sheet"), row.get("trial")
    of_sheet = db.execute("SELECT rig, number FROM sheet WHERE id = ?", [sheet]).fetchone() if sheet else None
    rig, place = of_sheet[0] if of_sheet else "", NOWHERE
    if table.about == "trial" and not sheet:
        at = db.execute(THROW, [trial]).fetchone()
        rig, place = (at[2], (at[0], at[1])) if at else ("", NOWHERE)
    called = _called(table, row, tuple(of_sheet or ("", "?")), rig, place)
    _append(db, [(table.name, str(row["id"]), *called)], _counted_as(table, row))


def _called(
    table: RecordTable, row: Mapping[str, object], of_sheet: Place, rig_of_trial: str, place: Place
) -> tuple[str, str]:
    """Whose row it is (a rig or a board), and how a person calls it. ``of_sheet``: rig and number of the sheet it names."""
    rig = {"trial": rig_of_trial, "sheet": of_sheet[0]}.get(table.about) or row.get(table.about)
    position, number = place
    if row.get("sheet"):
        position, number = row.get("position"), of_sheet[1]
    if table.name == "sheet":
        number = row["number"]
    about = {name: row.get(name) for name in ("action", "cause", "name")}
    return str(rig or ""), WORDS[table.name].format(position=position, number=number, **about)


def _counted_as(table: RecordTable, row: Mapping[str, object]) -> dict[str, int]:
    """The kinds that a row counts as, once each."""
    asks = [name for name, (kind, asked) in COUNTED.items() if kind == table.name and asked.of(row)]
    return dict.fromkeys([table.name, *asks], 1)


def _append(
    db: sqlite3.Connection, rows: Iterable[tuple[str, str, str, str]], tally: Mapping[str, int]
) -> None:
    """Entries (kind, row, rig, what) at the end of the list, and what they add to the tally."""
    last = db.execute("SELECT number, digest FROM entry ORDER BY number DESC LIMIT 1").fetchone()
    number, before = tuple(last) if last else (0, "")
    entries = []
    for kind, row, rig, what in rows:
        number += 1
        before = chained(before, number, kind, row, rig, what)
        entries.append((number, kind, row, rig, what, before))
    db.executemany("INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?)", entries)
    db.executemany(
        "INSERT INTO tally VALUES (?, ?) ON CONFLICT (kind) DO UPDATE SET rows = rows + excluded.rows",
        list(tally.items()),
    )


def chained(before: str, number: int, kind: str, row: str, rig: str, what: str) -> str:
    """An entry's digest: over its own content and the digest of the entry before it."""
    return hashlib.sha256(to_json([before, number, kind, row, rig, what]).encode()).hexdigest()[:32]


def enter_old(db: sqlite3.Connection) -> None:
    """Every row of a file of before version 4; a throw without a judgement lacks the one it was written down with."""
    sheets = {row[0]: (row[1], row[2]) for row in db.execute("SELECT id, rig, number FROM sheet")}
    rigs = {row[0]: row[1] for row in db.execute("SELECT id, rig FROM trial")}
    places = {row[3]: (row[0], row[1]) for row in db.execute(THROWS)}
    there = {row[0] for row in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    for table in (each for each in TABLES if each.name in there):  # the others come with later versions
        needed = ", ".join(f'"{name}"' for name in ("id", *table.columns) if name in NEEDED)
        found, tally = [], Counter[str]()
        for row in map(dict, db.execute(f"SELECT {needed} FROM {table.name} ORDER BY rowid")):
            of_sheet, trial = sheets.get(row.get("sheet"), ("", "?")), row.get("trial")
            called = _called(table, row, of_sheet, rigs.get(trial, ""), places.get(trial, NOWHERE))
            found.append((table.name, str(row["id"]), *called))
            tally.update(_counted_as(table, row))
        _append(db, found, tally)
    judged = {row[0] for row in db.execute("SELECT trial FROM judgement")}
    for trial in sorted(rigs.keys() - judged):
        position, number = places.get(trial, NOWHERE)
        what = WORDS["judgement"].format(position=position, number=number)
        lacking = ("judgement", _name(f"judgement of {trial}"), rigs[trial], what)
        _append(db, [lacking], Counter(["judgement", FAILED]))


def enter_others(db: sqlite3.Connection) -> None:
    """After the rows of the attached ``other`` were taken over: its entries that this list doesn't have, the missing ones too."""
    new = db.execute(
        "SELECT kind, row, rig, what FROM other.entry WHERE (kind, row) NOT IN (SELECT kind, row FROM main.entry)"
        " ORDER BY number"
    ).fetchall()
    if not new:
        return
    # one that is missing counts as one that asks: then its kind is looked at closely
    asks_not = {
        name: {row[0] for row in db.execute(f"SELECT id FROM {kind} WHERE NOT ({asked.sql})")}
        for name, (kind, asked) in COUNTED.items()
    }
    tally = Counter(row[0] for row in new)
    for name, (kind, _) in COUNTED.items():
        tally[name] = sum(row[0] == kind and row[1] not in asks_not[name] for row in new)
    _append(db, map(tuple, new), +tally)


def missing(db: sqlite3.Connection) -> list[Missing]:
    """What isn't there any more; where nothing that a status hangs on is short, the rows aren't looked at one by one."""
    found = structure_missing(db)
    if any(each.kind == "table" for each in found):
        return found
    return found + (rows_missing(db) if _short(db) else [])


def _short(db: sqlite3.Connection) -> bool:
    """Whether there are fewer rows of a kind than there must be."""
    tally = dict(db.execute("SELECT kind, rows FROM tally").fetchall())
    counted = {table.name: table.name for table in TABLES if table.name not in LARGE}
    counted |= {name: f"{table} WHERE {asked.sql}" for name, (table, asked) in COUNTED.items()}
    return any(
        db.execute(f"SELECT count(*) FROM {where}").fetchone()[0] < tally.get(kind, 0)
        for kind, where in counted.items()
    ) or bool(db.execute(f"{WITHOUT_PLACE} LIMIT 1").fetchone())


def rows_missing(db: sqlite3.Connection) -> list[Missing]:
    """Every row that has an entry and isn't there, and every entry that isn't there itself."""
    found = []
    for table in TABLES:
        rows = db.execute(
            "SELECT row, rig, what FROM entry WHERE kind = ?"
            f" AND row NOT IN (SELECT id FROM {table.name}) ORDER BY number",
            [table.name],
        )
        found += [
            Missing(row, table.name, rig, f"{what} is missing from this logbook") for row, rig, what in rows
        ]
    tally = dict(db.execute("SELECT kind, rows FROM tally").fetchall())
    listed = dict(db.execute("SELECT kind, count(*) FROM entry GROUP BY kind").fetchall())
    for kind in BY_NAME:
        lacking = tally.get(kind, 0) - listed.get(kind, 0)
        if lacking > 0:
            name = WORDS[kind].partition(":")[0].replace(" {position}", "").replace(" {number}", "")
            what = f"{lacking} entries of the kind '{name}' are missing from the list of entries"
            found.append(Missing(_lacking(lacking, kind), "", "", what))
    return found


def list_broken(db: sqlite3.Connection) -> list[str]:
    """Where the list itself was changed: numbers that are gone, links that don't fit, rows that never were on it."""
    found, before, expected = [], "", 1
    for number, kind, row, rig, what, digest in db.execute("SELECT * FROM entry ORDER BY number"):
        if number != expected:
            gone = str(expected) if number == expected + 1 else f"{expected} to {number - 1}"
            found.append(f"number {gone} of the list of entries is missing")
        elif digest != chained(before, number, kind, row, rig, what):
            found.append(f"number {number} of the list of entries was changed after it was written")
        before, expected = digest, number + 1
    for table in TABLES:
        rows = db.execute(
            f"SELECT id FROM {table.name} WHERE id NOT IN (SELECT row FROM entry WHERE kind = ?)",
            [table.name],
        )
        found += [f"a row of {table.name} ({row[0][:8]}) was put in by another program" for row in rows]
    return found


def structure_missing(db: sqlite3.Connection) -> list[Missing]:
    """Tables, indexes and guards of the released structure that are gone, or are others."""
    here = _structure(db)
    if hashlib.sha256(to_json(sorted(here.items())).encode()).hexdigest() == migrations.STRUCTURE:
        return []
    released = released_structure()
    return [
        Missing(
            _name(name), "table" if name.startswith("table ") else "", "", _structure_said(name, name in here)
        )
        for name, text in released.items()
        if here.get(name) != text
    ]


def _structure_said(name: str, there: bool) -> str:
    state = "is another" if there else "is missing"
    if name.startswith("trigger "):
        return f"the file's guard against changes {state} ({name.partition(' ')[2]}): rows may have been changed or taken out"
    return f"a part of the file {state} ({name})"


def released_structure() -> dict[str, str]:
    """The structure that the migrations make."""
    import contextlib

    with contextlib.closing(sqlite3.connect(":memory:")) as db:
        for version in range(1, migrations.NEWEST + 1):
            for statement in migrations.statements(version):
                db.execute(statement)
        return _structure(db)


def _structure(db: sqlite3.Connection) -> dict[str, str]:
    """Kind and name: a guard's own text, without what SQLite's versions write differently; of others the name counts."""
    rows = db.execute("SELECT type, name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%'")
    return {
        f"{kind} {name}": " ".join(str(sql).replace('"', "").split()) if kind == "trigger" else ""
        for kind, name, sql in rows
    }


def no_orders(db: sqlite3.Connection, names: Iterable[str]) -> frozenset[str]:
    """Of these names those that a missing row, or a missing part of the file, has or once had: they are no orders."""
    wanted = list(names)
    if not wanted:
        return frozenset()
    rows = db.execute(
        "SELECT row FROM entry WHERE kind <> 'latch_order' AND row IN (SELECT value FROM json_each(?))",
        [to_json(wanted)],
    )
    parts = {_name(name) for name in released_structure()}
    ends = {
        _lacking(n, kind)
        for kind, most in db.execute("SELECT kind, rows FROM tally")
        for n in range(1, most + 1)
    }
    return frozenset(row[0] for row in rows) | ((parts | ends) & set(wanted))


def _lacking(entries: int, kind: str) -> str:
    return _name(f"{entries} {kind}")


def _name(text: str) -> str:
    return hashlib.sha256(f"missing {text}".encode()).hexdigest()[:32]


Record = TypeVar("Record")


class Store(Connection):
    """Generic access; the kinds of rows build on it."""

    def add(self, record: Record, **extra: SqlValue) -> Record:
        """Store one record and give it back with its id; a row that is there already is left as it is."""
        return self.add_or_find(record, **extra)[0]

    def add_or_find(self, record: Record, **extra: SqlValue) -> tuple[Record, bool]:
        """The same, and whether the row is new."""
        table = BY_RECORD[type(record)]
        row = to_row(table, record, extra)
        with self.transaction():
            done = self.db.execute(INSERTS[table.name], list(row.values()))
            if done.rowcount == 1:
                enter(self.db, table, row)
        stored: Record = with_id(record, row)
        return stored, done.rowcount == 1

    def supersede(self, record: Record, **extra: SqlValue) -> Record:
        """Store one record in place of those that counted about the same thing till now; they stay."""
        about = getattr(record, BY_RECORD[type(record)].about)
        with self.transaction():
            replaces = self.head_ids(type(record), about)
            return self.add_or_find(replace(record, replaces=replaces), **extra)[0]  # type: ignore[type-var]

    def read(self, sql: str, values: Sequence[SqlValue] | dict[str, SqlValue] = ()) -> list[Any]:
        """Rows of any question to the file."""
        with plain_errors(self.path):
            return self.db.execute(sql, values).fetchall()

    def head_ids(self, record: type, subject: str) -> tuple[str, ...]:
        """Ids of the rows about one subject that no other row replaces; the rows themselves aren't opened."""
        table = BY_RECORD[record]
        rows = self.read(f"SELECT id, replaces FROM {table.name} WHERE {table.about} = ?", [subject])
        gone = {old for row in rows for old in json.loads(row[1])}
        return tuple(sorted(row[0] for row in rows if row[0] not in gone))

    def select(
        self,
        record: type[Record],
        where: str = "",
        values: Sequence[SqlValue] = (),
        without: Iterable[str] = (),
    ) -> list[Record]:
        """Records of one kind; ``where`` is SQL after FROM (a join, a condition, an order)."""
        table = BY_RECORD[record]
        wanted = [name for name in table.columns if name not in set(without)]
        rows = self.read(f"SELECT {columns(table, wanted)} FROM {table.name} {where}", values)
        return [self._record(table, wanted, row) for row in rows]

    def _record(self, table: RecordTable, wanted: list[str], row: Sequence[SqlValue]) -> Any:
        """One record from its id and the wanted columns."""
        try:
            values = {
                name: from_sql(table.columns[name], value)
                for name, value in zip(wanted, row[1:], strict=True)
            }
        except (ValueError, TypeError) as error:
            raise unreadable_row(self.path, table.name, row[0]) from error
        return table.record(id=row[0], **values)

    def altered(
        self, table: str, where: str = "", values: Sequence[SqlValue] = (), attached: str = "main"
    ) -> list[Fact]:
        """Rows whose content no longer gives their id, under the id they carry."""
        shape = BY_NAME[table]
        found = []
        with plain_errors(self.path):
            for row in self.db.execute(f"SELECT * FROM {attached}.{table} {where}", values):
                summed = self._summed(shape, row)
                if altered(shape, row["id"], summed):
                    found.append(replace(summed, id=row["id"]))
        return found

    def stored(self, table: str, where: str, values: Sequence[SqlValue] | dict[str, SqlValue]) -> list[Fact]:
        """Rows under the id they carry, in the order of those ids."""
        shape = BY_NAME[table]
        rows = self.read(f"SELECT * FROM {table} {where} ORDER BY id", values)
        return [replace(self._summed(shape, row), id=row["id"]) for row in rows]

    def _summed(self, table: RecordTable, row: sqlite3.Row) -> Fact:
        try:
            return fact(table, dict(row))
        except KeyError as error:  # the table has lost a column, or its name
            raise damaged(self.path) from error

    def unreadable(self, table: str, attached: str = "main") -> list[tuple[str, dict[str, SqlValue]]]:
        """Id and columns of every row that doesn't come back as a record, though its id may be right."""
        from throwbook.logbook.serialization import assessment_from_json

        shape, found = BY_NAME[table], []
        with plain_errors(self.path):
            for row in self.db.execute(f"SELECT * FROM {attached}.{table}"):
                try:
                    values = {name: from_sql(kind, row[name]) for name, kind in shape.columns.items()}
                    if "assessment" in values:
                        assessment_from_json(values["assessment"])
                except (ValueError, TypeError, KeyError, AttributeError):
                    found.append((str(row["id"]), dict(row)))
        return found

    def missing(self) -> list[Missing]:
        """Rows that were in this file and aren't there any more, and guards of the file that are gone."""
        with plain_errors(self.path):
            return missing(self.db)

    def no_orders(self, names: Iterable[str]) -> frozenset[str]:
        """Of these names those of missing rows that were no orders, healed ones too."""
        with plain_errors(self.path):
            return no_orders(self.db, names)


def _insert(table: RecordTable) -> str:
    names = ["id", *table.columns]
    listed, marks = ", ".join(f'"{name}"' for name in names), ", ".join("?" for _ in names)
    return (
        f"INSERT INTO {table.name} ({listed}) VALUES ({marks})"
        f" ON CONFLICT ({', '.join(table.key)}) DO NOTHING"
    )


INSERTS = {table.name: _insert(table) for table in TABLES}
"""Table: how a row of it is added."""


def columns(table: RecordTable, wanted: Iterable[str]) -> str:
    """The id and the wanted columns for a SELECT."""
    return ", ".join(f'{table.name}."{name}"' for name in ("id", *wanted))
