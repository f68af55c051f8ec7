"""Which columns each kind of record has in the logbook: one table. How a row is written and summed stands in ``rows.py``."""

from collections.abc import Mapping
from dataclasses import dataclass

from throwbook.core import records

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
"""In the order in which rows refer to each other. ``rig`` (a name) and ``trace`` (samples) hold no record."""


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
