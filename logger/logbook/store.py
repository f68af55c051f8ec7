"""Adding and reading rows of any kind: the middle between the open file and the kinds of rows."""

import json
from collections.abc import Iterable, Sequence
from typing import Any, TypeVar

from logger.logbook import entries
from logger.logbook.connection import Connection
from logger.logbook.rows import SqlValue, from_sql, to_row, with_id
from logger.logbook.tables import BY_NAME, BY_RECORD, TABLES, Table
from logger.logbook.troubles import plain_errors, unreadable_row

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
                entries.enter(self.db, table, row)
        stored: Record = with_id(record, row)
        return stored, done.rowcount == 1

    def head_ids(self, record: type, subject: str) -> tuple[str, ...]:
        """Ids of the rows about one subject that no other row replaces; the rows themselves aren't opened."""
        table = BY_RECORD[record]
        with plain_errors(self.path):
            sql = f"SELECT id, replaces FROM {table.name} WHERE {table.about} = ?"
            rows = self.db.execute(sql, [subject]).fetchall()
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
        with plain_errors(self.path):
            rows = self.db.execute(
                f"SELECT {columns(table, wanted)} FROM {table.name} {where}", values
            ).fetchall()
        return [self._record(table, wanted, row) for row in rows]

    def _record(self, table: Table, wanted: list[str], row: Sequence[SqlValue]) -> Any:
        """One record from its id and the wanted columns."""
        try:
            values = {
                name: from_sql(table.columns[name], value)
                for name, value in zip(wanted, row[1:], strict=True)
            }
        except (ValueError, TypeError) as error:
            raise unreadable_row(self.path, table.name, row[0]) from error
        return table.record(id=row[0], **values)

    def unreadable(self, table: str, attached: str = "main") -> list[tuple[str, dict[str, SqlValue]]]:
        """Id and columns of every row that doesn't come back as a record, though its id may be right."""
        from logger.logbook.assessment_json import from_json_value

        shape, found = BY_NAME[table], []
        with plain_errors(self.path):
            for row in self.db.execute(f"SELECT * FROM {attached}.{table}"):
                try:
                    values = {name: from_sql(kind, row[name]) for name, kind in shape.columns.items()}
                    if "assessment" in values:
                        from_json_value(values["assessment"])
                except (ValueError, TypeError, KeyError, AttributeError):
                    found.append((str(row["id"]), dict(row)))
        return found

    def missing(self) -> list[entries.Missing]:
        """Rows that were in this file and aren't there any more, and guards of the file that are gone."""
        with plain_errors(self.path):
            return entries.missing(self.db)

    def no_orders(self, names: Iterable[str]) -> frozenset[str]:
        """Of these names those of missing rows that were no orders, healed ones too."""
        with plain_errors(self.path):
            return entries.no_orders(self.db, names)


def _insert(table: Table) -> str:
    names = ["id", *table.columns]
    listed, marks = ", ".join(f'"{name}"' for name in names), ", ".join("?" for _ in names)
    return (
        f"INSERT INTO {table.name} ({listed}) VALUES ({marks})"
        f" ON CONFLICT ({', '.join(table.key)}) DO NOTHING"
    )


INSERTS = {table.name: _insert(table) for table in TABLES}
"""Table: how a row of it is added."""


def columns(table: Table, wanted: Iterable[str]) -> str:
    """The id and the wanted columns for a SELECT."""
    return ", ".join(f'{table.name}."{name}"' for name in ("id", *wanted))
