"""Which columns each kind of record has, its row and back, and the id that a row makes for itself.

An id is the first 128 bits of SHA-256 over the row's own content. So two logbooks that hold the same fact hold the
same id, a merge is the union of rows, and ``check`` finds any later change of a row by calculating its id again.
A column without a value is left out of the sum: a column that a migration adds changes no old id.
"""

import hashlib
import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from throwbook.core import records
from throwbook.core.records import Fact
from throwbook.errors import InputError

TEXT = "text"
INTEGER = "integer"
REAL = "real"
FLAG = "flag"
TIME = "time"
JSON = "json"
IDS = "ids"
BLOB = "blob"


@dataclass(frozen=True)
class RecordTable:
    """How one kind of record is stored."""

    name: str
    record: type
    columns: Mapping[str, str]
    """Column: kind, the id left out. A column is named as the record's field."""
    about: str
    """The column that says what a row is about: whose revisions belong together, and whose they are in a message."""
    key: tuple[str, ...] = ("id",)
    """The columns of the table's key. An id is made from the whole row, so what stands before it is in it already."""


TABLES: tuple[RecordTable, ...] = (
    RecordTable(
        "rig_revision",
        records.RigRevision,
        {"rig": TEXT, "toml": TEXT, "at": TIME, "by": TEXT, "reason": TEXT, "replaces": IDS},
        "rig",
    ),
    RecordTable(
        "meter",
        records.Meter,
        {
            "name": TEXT,
            "kind": TEXT,
            "unit": TEXT,
            "resolution": REAL,
            "share": REAL,
            "digits": REAL,
            "peak_hold": FLAG,
            "checked": TEXT,
            "at": TIME,
            "by": TEXT,
            "reason": TEXT,
            "replaces": IDS,
        },
        "name",
    ),
    RecordTable(
        "sheet",
        records.Sheet,
        {
            "rig": TEXT,
            "kind": TEXT,
            "number": INTEGER,
            "plan": JSON,
            "nonce": TEXT,
            "at": TIME,
            "by": TEXT,
        },
        "rig",
    ),
    RecordTable(
        "answers",
        records.Answers,
        {"sheet": TEXT, "answers": JSON, "at": TIME, "by": TEXT, "reason": TEXT, "replaces": IDS},
        "sheet",
    ),
    RecordTable(
        "trial",
        records.Trial,
        {
            "rig": TEXT,
            "direction": TEXT,
            "source": TEXT,
            "started": TIME,
            "trace": TEXT,
            "hand": JSON,
            "nonce": TEXT,
        },
        "rig",
    ),
    RecordTable(
        "placement",
        records.Placement,
        {
            "trial": TEXT,
            "sheet": TEXT,
            "position": INTEGER,
            "as_found": FLAG,
            "left_out": TEXT,
            "ambient_c": REAL,
            "file": TEXT,
            "head": JSON,
            "at": TIME,
            "by": TEXT,
            "reason": TEXT,
            "replaces": IDS,
        },
        "trial",
        ("trial", "id"),
    ),
    RecordTable(
        "sighting",
        records.Sighting,
        {
            "trial": TEXT,
            "left_pin": TEXT,
            "right_pin": TEXT,
            "how": TEXT,
            "load_check": TEXT,
            "retained_power_off": TEXT,
            "at": TIME,
            "by": TEXT,
            "reason": TEXT,
            "replaces": IDS,
        },
        "trial",
        ("trial", "id"),
    ),
    RecordTable(
        "photograph",
        records.Photograph,
        {
            "trial": TEXT,
            "pin": TEXT,
            "picture": TEXT,
            "original": TEXT,
            "file": TEXT,
            "taken": TEXT,
            "at": TIME,
            "by": TEXT,
            "reason": TEXT,
            "replaces": IDS,
        },
        "trial",
        ("trial", "id"),
    ),
    RecordTable(
        "service",
        records.Service,
        {
            "rig": TEXT,
            "action": TEXT,
            "seen": TIME,
            "found": TIME,
            "fixed": TIME,
            "verified": TIME,
            "details": JSON,
            "at": TIME,
            "by": TEXT,
            "reason": TEXT,
            "replaces": IDS,
        },
        "rig",
    ),
    RecordTable(
        "baseline",
        records.BaselineRecord,
        {
            "rig": TEXT,
            "direction": TEXT,
            "trials": IDS,
            "body": JSON,
            "service": TEXT,
            "at": TIME,
            "by": TEXT,
            "reason": TEXT,
        },
        "rig",
    ),
    RecordTable(
        "calibration",
        records.Calibration,
        {"board": TEXT, "details": JSON, "at": TIME, "by": TEXT, "reason": TEXT, "replaces": IDS},
        "board",
    ),
    RecordTable(
        "judgement",
        records.Judgement,
        {
            "trial": TEXT,
            "verdict": TEXT,
            "assessment": JSON,
            "profile": BLOB,
            "method_version": TEXT,
            "software_version": TEXT,
            "rig_revision": TEXT,
            "baseline": TEXT,
            "calibration": TEXT,
            "at": TIME,
            "by": TEXT,
            "reason": TEXT,
            "replaces": IDS,
        },
        "trial",
        ("trial", "id"),
    ),
    RecordTable(
        "decision",
        records.Decision,
        {
            "sheet": TEXT,
            "outcome": TEXT,
            "signed": TEXT,
            "statement": JSON,
            "at": TIME,
            "by": TEXT,
            "reason": TEXT,
            "replaces": IDS,
        },
        "sheet",
    ),
    RecordTable(
        "latch_order",
        records.Order,
        {
            "rig": TEXT,
            "level": TEXT,
            "cause": TEXT,
            "because": TEXT,
            "clears": IDS,
            "signed": TEXT,
            "sheet": TEXT,
            "trial": TEXT,
            "service": TEXT,
            "details": JSON,
            "previous": IDS,
            "at": TIME,
            "by": TEXT,
        },
        "rig",
    ),
    RecordTable(
        "seal",
        records.Seal,
        {
            "rig": TEXT,
            "sheet": TEXT,
            "decision": TEXT,
            "digest": TEXT,
            "covers": IDS,
            "previous": IDS,
            "at": TIME,
        },
        "sheet",
    ),
)
"""In the order in which rows refer to each other. ``rig`` (a name), ``trace`` (samples) and ``picture`` hold no record."""


@dataclass(frozen=True)
class Asked:
    """Rows of one kind that ask for an order: those with this answer in one of these columns."""

    columns: tuple[str, ...]
    answer: str

    @property
    def sql(self) -> str:
        """The condition, word for word that of its short index of version 3."""
        return " OR ".join(f"{column} = '{self.answer}'" for column in self.columns)

    def of(self, row: Mapping[str, object]) -> bool:
        """Whether a row is one of them."""
        return self.answer in (row[column] for column in self.columns)


JUDGED_FAIL = Asked(("verdict",), "fail")
SAID_NO_AT = Asked(("left_pin", "right_pin", "load_check", "retained_power_off"), "no")
BY_NAME = {table.name: table for table in TABLES}
BY_RECORD = {table.record: table for table in TABLES}


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


def grouped(pairs: Iterable[tuple[Any, Any]]) -> dict[Any, list[Any]]:
    """The second of each pair by the first; nothing stands under a key that never came."""
    groups: dict[Any, list[Any]] = defaultdict(list)
    for key, value in pairs:
        groups[key].append(value)
    return groups


def _time_text(value: datetime) -> str:
    if value.tzinfo is None:
        raise ValueError("a time in the logbook needs its offset from UTC")
    return value.isoformat()


def _whole(value: int) -> int:
    if not -(2**63) <= value < 2**63:
        raise ValueError("a whole number of more than 64 bits")
    return value


STORED_AS: Mapping[str, Callable[[Any], SqlValue]] = {
    TIME: _time_text,
    JSON: lambda value: to_json(plain(value)),
    IDS: lambda value: to_json(sorted(value)),
    FLAG: int,
    INTEGER: _whole,
    REAL: lambda value: float(value) + 0.0,  # SQLite keeps no minus zero
}
"""Kind: how a value of it is turned into what SQLite stores *and gives back*; the other kinds are stored as they are."""


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
            raise ValueError("a time in the logbook needs its offset from UTC")
        return time
    if kind == JSON:
        details = _parsed(value)
        if not isinstance(details, dict):
            raise ValueError("details in the logbook stand under names")
        return details
    if kind == IDS:
        return () if value == "[]" else tuple(_parsed(value))  # most rows name none
    if kind == FLAG:
        return bool(value)
    return value


def fact(table: RecordTable, values: Mapping[str, SqlValue]) -> Fact:
    """A row's content in the form that is summed, with the id that follows from it."""
    content: dict[str, Any] = {}
    for column in table.columns:
        value = values[column]
        if isinstance(value, bytes):
            content[column] = "sha256:" + hashlib.sha256(value).hexdigest()
        elif value is not None:
            content[column] = value
    return Fact(table.name, _id_of(table, content), content)


def _id_of(table: RecordTable, content: Mapping[str, Any]) -> str:
    return hashlib.sha256(to_json([table.name, content]).encode()).hexdigest()[:32]


def altered(table: RecordTable, row_id: str, summed: Fact) -> bool:
    """Whether a row's content, summed as it is stored now, doesn't give the id that the row carries.

    Until version 3 an id was made over a minus zero, which SQLite gives back as zero: such a row is as it was written.
    """
    if summed.id == row_id:
        return False
    zeros = [name for name, kind in table.columns.items() if kind == REAL and summed.content.get(name) == 0.0]
    return not zeros or _id_of(table, {**summed.content, **dict.fromkeys(zeros, -0.0)}) != row_id


def to_row(table: RecordTable, record: Any, extra: Mapping[str, SqlValue]) -> dict[str, SqlValue]:
    """A record's row, its own id included; ``extra`` holds columns that are not fields of the record as they are.

    Raises InputError for what no file can hold: half a letter, a number that is none, one of too many digits.
    """
    try:
        values = {
            column: extra[column] if column in extra else to_sql(kind, getattr(record, column))
            for column, kind in table.columns.items()
        }
        return {"id": fact(table, values).id, **values}
    except ValueError as error:
        why = "half a letter in a text" if isinstance(error, UnicodeError) else str(error)
        raise InputError(
            f"this can't be stored ({why})", table.name, "Nothing was stored; give it in another form."
        ) from error


def with_id(record: Any, row: Mapping[str, SqlValue]) -> Any:
    """The record with the id its row made."""
    return replace(record, id=row["id"])
