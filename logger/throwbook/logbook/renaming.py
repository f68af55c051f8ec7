"""A rig's rows under another name: where two machines of one name come to stand in one logbook.

A row's id is made from its content, and the rig's name is part of it. So every row of the rig is written anew with the
name and with the new ids of the rows it names, the seals are made again over them, and the first version of the rig
file says what it was called. The same rows and the same name always give the same ids: done twice, it adds nothing.
"""

import json
import re
import sqlite3
import tomllib
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from throwbook.core.records import Fact
from throwbook.errors import InputError, Remedy
from throwbook.logbook.schema import BY_NAME, IDS, JSON, TABLES, TEXT, fact, to_json
from throwbook.logbook.seals import content_of, seal_of
from throwbook.logbook.store import rows_missing

if TYPE_CHECKING:
    from throwbook.logbook import Logbook

OF_RIG = {
    "rig": "WHERE rig = :rig",
    "sheet": "WHERE sheet IN (SELECT id FROM sheet WHERE rig = :rig)",
    "trial": "WHERE trial IN (SELECT id FROM trial WHERE rig = :rig)",
}
"""What a table's rows are about: which of them are a rig's."""
WITHOUT_IDS = ("assessment", "head", "toml")
"""Long texts that name no row."""
NAME_LINE = re.compile(r"""^(\s*name\s*=\s*)("[^"\n]*"|'[^'\n]*')""", re.MULTILINE)
Row = dict[str, Any]


def rename(book: "Logbook", old: str, new: str) -> None:
    """Write everything of rig ``old`` as that of ``new``, in a logbook that is a private copy. Call it in a transaction.

    Raises InputError where the rig's seals or its list of entries aren't whole, or a name can't be put in its rig file.
    """
    if old not in book.rig_names():
        raise InputError(f"no rig '{old}' in this logbook", str(book.path), remedy=Remedy.RENAME_ANOTHER_RIG)
    if new in book.rig_names():
        raise InputError(f"rig '{new}' is in this logbook too", str(book.path), "Give another name.")
    gone = [one.what for one in rows_missing(book.db) if one.rig in ("", old)]
    gone += [f"the seal of a sheet doesn't match: {why}" for _, why in book.broken_seals(old)]
    if gone:
        raise InputError(
            gone[0], str(book.path), "A rig can be renamed only while none of its rows was changed."
        )
    _Renaming(book.db, old, new).write()


class _Renaming:
    def __init__(self, db: sqlite3.Connection, old: str, new: str) -> None:
        self.db = db
        self.old = old
        self.new = new
        self.rows: dict[str, tuple[str, Row]] = {}
        """Old id: table, row."""
        self.written: dict[str, str] = {}
        """Old id: new id."""
        self.facts: dict[str, Fact] = {}
        """New id: the row as it is summed."""

    def write(self) -> None:
        for table in TABLES:
            if table.about not in OF_RIG:
                continue
            found = self.db.execute(f"SELECT * FROM {table.name} {OF_RIG[table.about]}", {"rig": self.old})
            self.rows |= {row["id"]: (table.name, dict(row)) for row in found}
        self._without_guards()
        self.db.execute("INSERT INTO rig (name) VALUES (?)", [self.new])
        for row_id in list(self.rows):
            self._translate(row_id)
        for table in reversed(TABLES):
            if table.about in OF_RIG:
                self.db.execute(f"DELETE FROM {table.name} {OF_RIG[table.about]}", {"rig": self.old})
        self.db.execute("CREATE INDEX entry_by_row ON entry (row)")
        for old_id, (name, row) in self.rows.items():
            listed = ", ".join(f'"{column}"' for column in row)
            marks = ", ".join(f":{column}" for column in row)
            self.db.execute(f"INSERT INTO {name} ({listed}) VALUES ({marks})", row)
            self.db.execute("UPDATE entry SET row = ? WHERE row = ?", [self.written[old_id], old_id])
        self.db.execute("UPDATE entry SET rig = ? WHERE rig = ?", [self.new, self.old])
        self.db.execute("DELETE FROM rig WHERE name = ?", [self.old])

    def _without_guards(self) -> None:
        """The copy is thrown away after the merge; the rows that it gives are guarded where they arrive."""
        for row in self.db.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
            self.db.execute(f"DROP TRIGGER {row[0]}")

    def _translate(self, row_id: str) -> None:
        """This row, and before it every row that it names; without recursion, for chains are long."""
        left = [row_id]
        while left:
            current = left[-1]
            if current in self.written:
                left.pop()
                continue
            name, row = self.rows[current]
            needed = [one for one in self._named(name, row) if one not in self.written and one != current]
            if needed:
                left += needed
                continue
            left.pop()
            self._write_anew(current, name, row)

    def _named(self, name: str, row: Row) -> Iterator[str]:
        """Ids of the rig's rows that this row names."""
        for column, kind in BY_NAME[name].columns.items():
            value = row[column]
            if value is None or column in WITHOUT_IDS:
                continue
            if kind == TEXT and value in self.rows:
                yield value
            elif kind in (IDS, JSON):
                yield from (one for one in _texts(json.loads(value)) if one in self.rows)

    def _write_anew(self, old_id: str, name: str, row: Row) -> None:
        table = BY_NAME[name]
        for column, kind in table.columns.items():
            value = row[column]
            if value is None or column in WITHOUT_IDS:
                continue
            if kind == TEXT:
                row[column] = self.written.get(value, value)
            elif kind == JSON:
                row[column] = to_json(self._anew(json.loads(value)))
            elif kind == IDS:
                row[column] = to_json(sorted(self._anew(json.loads(value))))
        if "rig" in table.columns:
            row["rig"] = self.new
        if name == "rig_revision":
            row["toml"] = _renamed(row["toml"], self.old, self.new)
            if row["replaces"] == "[]":
                row["reason"] = (
                    f"{row['reason']}; ".removeprefix("; ") + f"taken in as '{self.new}', was '{self.old}'"
                )
        if name == "seal":
            covered = [self.facts[each.partition(":")[2]] for each in json.loads(row["covers"])]
            covered.sort(key=lambda one: f"{one.table}:{one.id}")
            before = [self.facts[each].content["digest"] for each in json.loads(row["previous"])]
            row["digest"] = seal_of(content_of(covered), "+".join(sorted(before)))
        summed = fact(table, row)
        row["id"] = summed.id
        self.written[old_id] = summed.id
        self.facts[summed.id] = summed

    def _anew(self, value: Any) -> Any:
        """JSON with the new ids, as values and as keys; ``table:id`` too."""
        if isinstance(value, dict):
            return {self._anew(key): self._anew(one) for key, one in value.items()}
        if isinstance(value, list):
            return [self._anew(one) for one in value]
        if isinstance(value, str):
            table, colon, row_id = value.rpartition(":")
            return f"{table}{colon}{self.written.get(row_id, row_id)}"
        return value


def _texts(value: Any) -> Iterator[str]:
    """Every text in JSON, and what stands behind its last colon."""
    left = [value]
    while left:
        one = left.pop()
        if isinstance(one, dict):
            left += [*one.keys(), *one.values()]
        elif isinstance(one, list):
            left += one
        elif isinstance(one, str):
            yield one.rpartition(":")[2]


def _renamed(toml: str, old: str, new: str) -> str:
    """A rig file's text with another name in it."""
    text = NAME_LINE.sub(lambda found: found.group(1) + json.dumps(new, ensure_ascii=False), toml, count=1)
    try:
        named = tomllib.loads(text).get("name")
    except tomllib.TOMLDecodeError:
        named = None
    if named != new:
        raise InputError(
            f"the name of rig '{old}' cannot be replaced in its rig file",
            f"rig {old}",
            "Look at its first line: name = ...",
        )
    return text
