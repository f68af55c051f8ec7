"""Records to rows of the logbook and back, and the id that a row makes for itself. The columns stand in ``tables.py``.

An id is the first 128 bits of SHA-256 over the row's own content. So two logbooks that hold the same fact hold the
same id, a merge is the union of rows, and ``check`` finds any later change of a row by reckoning its id again.
A column without a value is left out of the sum: a column that a migration adds changes no old id.
"""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from logger.core.records.records import Fact
from logger.logbook.tables import FLAG, IDS, JSON, REAL, TIME, Table

SqlValue = str | int | float | bytes | None

ONE_FORM = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def to_json(value: Any) -> str:
    """JSON in one form only: sorted keys, no blanks, no NaN."""
    return ONE_FORM.encode(value)


def plain(value: Any) -> Any:
    """``value`` with its read-only mappings and tuples as JSON knows them; a time becomes its text."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, datetime):
        return value.isoformat()
    if hasattr(value, "isoformat"):  # TOML's local dates and times
        return value.isoformat()
    return value


def _time_text(value: datetime) -> str:
    if value.tzinfo is None:
        raise ValueError("a time in the logbook carries its offset from UTC")
    return value.isoformat()


STORED_AS: Mapping[str, Callable[[Any], SqlValue]] = {
    TIME: _time_text,
    JSON: lambda value: to_json(plain(value)),
    IDS: lambda value: to_json(sorted(value)),
    FLAG: int,
    REAL: float,
}
"""Kind: how a value of it is turned into what SQLite stores; the other kinds are stored as they are."""


def to_sql(kind: str, value: Any) -> SqlValue:
    """One field of a record as SQLite stores it."""
    stored_as = STORED_AS.get(kind)
    return value if value is None or stored_as is None else stored_as(value)


def _parsed(value: SqlValue) -> Any:
    try:
        return json.loads(str(value))
    except RecursionError as error:
        raise ValueError("JSON in the logbook isn't nested without end") from error


def from_sql(kind: str, value: SqlValue) -> Any:
    """The other way. Raises ValueError or TypeError for what ``to_sql`` never writes."""
    if value is None:
        return None
    if kind == TIME:
        time = datetime.fromisoformat(str(value))
        if time.tzinfo is None:
            raise ValueError("a time in the logbook carries its offset from UTC")
        return time
    if kind == JSON:
        details = _parsed(value)
        if not isinstance(details, dict):
            raise ValueError("details in the logbook stand under names")
        return details
    if kind == IDS:
        return tuple(_parsed(value))
    if kind == FLAG:
        return bool(value)
    return value


def fact(table: Table, values: Mapping[str, SqlValue]) -> Fact:
    """A row's content in the form that is summed, with the id that follows from it."""
    content: dict[str, Any] = {}
    for column in table.columns:
        value = values[column]
        if isinstance(value, bytes):
            content[column] = "sha256:" + hashlib.sha256(value).hexdigest()
        elif value is not None:
            content[column] = value
    digest = hashlib.sha256(to_json([table.name, content]).encode()).hexdigest()
    return Fact(table.name, digest[:32], content)


def to_row(table: Table, record: Any, extra: Mapping[str, SqlValue]) -> dict[str, SqlValue]:
    """A record's row, its own id included; ``extra`` holds columns that are not fields of the record as they are."""
    values = {
        column: extra[column] if column in extra else to_sql(kind, getattr(record, column))
        for column, kind in table.columns.items()
    }
    return {"id": fact(table, values).id, **values}


def with_id(record: Any, row: Mapping[str, SqlValue]) -> Any:
    """The record with the id its row made."""
    return replace(record, id=row["id"])
