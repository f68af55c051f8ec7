"""What an export holds: its tables, each column with its unit and meaning, and the rows made from records.

The columns stand in one table, from which the files, their description and the manual are made.
"""

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime
from operator import attrgetter
from typing import Any

from throwbook.core.assessment import ENDS, LEVELS, WORST_FIRST, Figures
from throwbook.core.records import (
    ACCEPTED,
    ANSWERS,
    BY_HAND,
    CLAMP,
    FROM_TRACE,
    MULTIMETER,
    OPEN,
    REJECTED,
    SHEET_KINDS,
    STOPWATCH,
    Judgement,
    LoggedTrial,
    Meter,
    Order,
    Photograph,
    RigRevision,
    Service,
    SheetState,
)
from throwbook.core.rig import DIRECTIONS, SIDES
from throwbook.core.status.latch import LEVELS as STATUSES
from throwbook.core.status.maintenance import ACTIONS, MOMENTS, entry_from
from throwbook.core.wording import FIGURES as NAMES

Row = dict[str, Any]
TEXT = "text"
FLAG = "yes/no"
TIME = "ISO 8601"
DAY = "day"
OWN_UNIT = "see unit"
"""Its unit stands in the column ``unit`` of the same row."""
VERDICTS = tuple(reversed(WORST_FIRST))


@dataclass(frozen=True)
class Column:
    """One column of one table."""

    name: str
    unit: str
    """SI unit, or ``text``, ``yes/no``, ``ISO 8601``, ``day``; ``1`` for a plain number."""
    what: str
    get: Callable[[Any], Any]
    """From the table's item to the value; None where it isn't known."""
    one_of: tuple[str, ...] = ()
    """All that it can say, the worst or last one last; empty: any text."""
    whole: bool = False
    """A count."""

    @property
    def is_number(self) -> bool:
        """Whether its values are numbers."""
        return self.unit not in (TEXT, FLAG, TIME, DAY)


@dataclass(frozen=True)
class ExportData:
    """Everything that is exported, as records."""

    rigs: tuple[RigRevision, ...]
    sheets: tuple[SheetState, ...]
    trials: tuple[tuple[LoggedTrial, SheetState | None], ...]
    judgements: tuple[tuple[Judgement, bool], ...]
    """Every revision, and whether it is the one that counts."""
    services: tuple[tuple[Service, bool], ...]
    orders: tuple[Order, ...]
    meters: tuple[tuple[Meter, bool], ...] = ()
    """Every revision, of whatever rig, and whether it is the one that counts."""
    photographs: tuple[tuple[Photograph, str, bool], ...] = ()
    """Every one with the name of its file, and whether it is the one that counts."""


def _said(value: Any) -> str:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, default=dict)


def _service(get: Callable[[Any], Any]) -> Callable[[tuple[Service, bool]], Any]:
    """What the entry of the maintenance history says, as ``service list`` has it; None where nothing stands."""

    def got(item: tuple[Service, bool]) -> Any:
        value = get(entry_from(item[0]))
        return _time(value) if isinstance(value, date) else None if value == "" else value

    return got


def _moment_columns() -> list[Column]:
    """The four moments of an entry, each with its text and its day."""
    said = {
        "seen": "what was seen",
        "found": "what was found",
        "fixed": "what was done",
        "verified": "how the repair was checked",
    }
    return [
        column
        for name in MOMENTS
        for column in (
            Column(f"{name}_what", TEXT, said[name], _service(attrgetter(f"{name}.what"))),
            Column(f"{name}_on", DAY, "on which day", _service(attrgetter(f"{name}.on"))),
        )
    ]


def _time(value: Any) -> str | None:
    return value.isoformat() if value is not None else None


def _day(value: datetime | None) -> date | None:
    return None if value is None else value.date()


def _of(part: str, name: str) -> Callable[[tuple[LoggedTrial, SheetState | None]], Any]:
    """A field of one of a trial's rows, None where it has no such row."""

    def get(item: tuple[LoggedTrial, SheetState | None]) -> Any:
        row = getattr(item[0], part)
        return None if row is None else getattr(row, name)

    return get


def _judged(name: str) -> Callable[[tuple[LoggedTrial, SheetState | None]], Any]:
    def get(item: tuple[LoggedTrial, SheetState | None]) -> Any:
        judged = item[0].judgement
        return None if judged is None else getattr(judged.assessment, name)

    return get


def _figure(name: str, index: int) -> Callable[[tuple[LoggedTrial, SheetState | None]], Any]:
    def get(item: tuple[LoggedTrial, SheetState | None]) -> Any:
        judged = item[0].judgement
        value = None if judged is None else getattr(judged.assessment.figures, name)
        return None if value is None else value[index]

    return get


def _figure_columns() -> list[Column]:
    found = []
    for each in fields(Figures):
        _, sentence, unit, means = NAMES[each.name]
        means = means.replace("% of stroke", "share of the stroke")  # the table holds shares
        what = f"{sentence} ({means})" if means else sentence
        found.append(Column(each.name, unit, what, _figure(each.name, 0)))
        found.append(
            Column(f"{each.name}_u", unit, "its expanded uncertainty (k = 2)", _figure(each.name, 1))
        )
    return found


RIGS = (
    Column("rig", TEXT, "the rig's name", lambda row: row.rig),
    Column("at", TIME, "when this version was added", lambda row: _time(row.at)),
    Column("by", TEXT, "who added it", lambda row: row.by),
    Column("reason", TEXT, "why", lambda row: row.reason),
    Column("toml", TEXT, "the rig file", lambda row: row.toml),
    Column("id", TEXT, "id of the row", lambda row: row.id),
)
SHEETS = (
    Column("sheet", TEXT, "short name", lambda row: row.name),
    Column("rig", TEXT, "the rig's name", lambda row: row.sheet.rig),
    Column(
        "kind",
        TEXT,
        "bench, commissioning, seasonal, after-service or spot",
        lambda row: row.sheet.kind,
        SHEET_KINDS,
    ),
    Column("planned_at", TIME, "when it was planned", lambda row: _time(row.sheet.at)),
    Column("planned_by", TEXT, "who planned it", lambda row: row.sheet.by),
    Column("state", TEXT, "open, accepted or rejected", lambda row: row.state, (OPEN, REJECTED, ACCEPTED)),
    Column("signed", TEXT, "who signed", lambda row: row.decision.signed if row.decision else None),
    Column("decided_at", TIME, "when", lambda row: _time(row.decision.at) if row.decision else None),
    Column("decided_because", TEXT, "why", lambda row: row.decision.reason if row.decision else None),
    Column(
        "statement",
        TEXT,
        "what was signed, JSON",
        lambda row: _said(row.decision.statement) if row.decision else None,
    ),
    Column("answers", TEXT, "what was asked, JSON", lambda row: _said(row.answers)),
    Column("sealed", FLAG, "whether it is sealed", lambda row: row.sealed),
    Column("id", TEXT, "id of the row", lambda row: row.sheet.id),
    Column("day", DAY, "day of its throws", lambda row: _time(row.day)),
)
TRIALS = (
    Column("trial", TEXT, "id of the trial", lambda item: item[0].id),
    Column("rig", TEXT, "the rig's name", lambda item: item[0].trial.rig),
    Column("sheet", TEXT, "the sheet it is on", lambda item: item[1].name if item[1] else None),
    Column(
        "kind", TEXT, "the sheet's kind", lambda item: item[1].sheet.kind if item[1] else None, SHEET_KINDS
    ),
    Column("position", "1", "its place on the sheet", _of("placement", "position"), whole=True),
    Column("direction", TEXT, "lock or unlock", lambda item: item[0].direction, DIRECTIONS),
    Column("source", TEXT, "trace or hand", lambda item: item[0].trial.source, (FROM_TRACE, BY_HAND)),
    Column("started", TIME, "when it was thrown", lambda item: _time(item[0].trial.started)),
    Column("as_found", FLAG, "first throw after standing", _of("placement", "as_found")),
    Column("left_out", TEXT, "why it was left out; empty: it counts", _of("placement", "left_out")),
    Column("ambient_c", "degC", "air temperature", _of("placement", "ambient_c")),
    Column("file", TEXT, "the trace file", _of("placement", "file")),
    Column("movement", "1", "which movement of its record it was", _judged("movement"), whole=True),
    Column("movements", "1", "how many movements that record has", _judged("movements"), whole=True),
    Column(
        "left_pin",
        TEXT,
        "left pin seen in its hole: yes, no, not looked",
        _of("sighting", "left_pin"),
        ANSWERS,
    ),
    Column(
        "right_pin",
        TEXT,
        "right pin seen in its hole: yes, no, not looked",
        _of("sighting", "right_pin"),
        ANSWERS,
    ),
    Column("seen_how", TEXT, "how the pins were looked at", _of("sighting", "how")),
    Column(
        "load_check",
        TEXT,
        "the manufacturer's load check: yes, no, not looked",
        _of("sighting", "load_check"),
        ANSWERS,
    ),
    Column(
        "retained_power_off",
        TEXT,
        "stayed put with the power off",
        _of("sighting", "retained_power_off"),
        ANSWERS,
    ),
    Column("verdict", TEXT, "pass, watch, fail, undecided or unusable", _judged("verdict"), VERDICTS),
    Column("because", TEXT, "the verdict's reason", _judged("because")),
    Column("end", TEXT, "cut-off, stall, still-running or no-run", _judged("end"), ENDS),
    Column("usable", FLAG, "whether the record can be judged", _judged("usable")),
    Column("unusable_because", TEXT, "why not", _judged("unusable_because")),
    Column("provisional", FLAG, "judged against a provisional baseline", _judged("provisional")),
    *_figure_columns(),
    Column("method_version", TEXT, "version of the method that judged it", _judged("method_version")),
    Column(
        "software_version",
        TEXT,
        "version of the program that judged it",
        _of("judgement", "software_version"),
    ),
    Column("judged_at", TIME, "when", lambda item: _time(_of("judgement", "at")(item))),
    Column("judged_by", TEXT, "who had it judged", _of("judgement", "by")),
    Column(
        "meters", TEXT, "ids of the meters it was read from", lambda item: " ".join(item[0].meters) or None
    ),
    Column("day", DAY, "its day, where it was thrown", lambda item: _time(_day(item[0].trial.started))),
)
SIGNS = (
    Column("trial", TEXT, "id of the trial", lambda item: item[0].id),
    Column("sign", TEXT, "code of the sign", lambda item: item[1].sign),
    Column("level", TEXT, "info, watch or fail", lambda item: item[1].level, LEVELS),
    Column("value", OWN_UNIT, "its value", lambda item: item[1].value),
    Column("limit", OWN_UNIT, "the limit it was compared with", lambda item: item[1].limit),
    Column("unit", TEXT, "unit of value and limit", lambda item: item[1].unit),
    Column(
        "at_fraction", "1", "share of the stroke from this movement's start", lambda item: item[1].at_fraction
    ),
    Column("from_s", "s", "time in the record at which it begins", lambda item: item[1].from_s),
    Column("because", TEXT, "in a sentence", lambda item: item[1].because),
    Column("side", TEXT, "left or right pin, where the switches tell", lambda item: item[1].side, SIDES),
)
LIMITS = (
    Column("trial", TEXT, "id of the trial", lambda item: item[0].id),
    Column("name", TEXT, "the figure judged", lambda item: item[1].name),
    Column("value", OWN_UNIT, "its value", lambda item: item[1].measured[0] if item[1].measured else None),
    Column(
        "value_u",
        OWN_UNIT,
        "its expanded uncertainty (k = 2)",
        lambda item: item[1].measured[1] if item[1].measured else None,
    ),
    Column("limit", OWN_UNIT, "the limit", lambda item: item[1].limit),
    Column("side", TEXT, "max or min", lambda item: item[1].side, ("min", "max")),
    Column("unit", TEXT, "unit of value and limit", lambda item: item[1].unit),
    Column("limit_from", TEXT, "source of the limit", lambda item: item[1].limit_from),
    Column(
        "decision",
        TEXT,
        "pass, watch (over an alert limit), fail, undecided or not judged",
        lambda item: item[1].decision,
    ),
    Column("settle", TEXT, "what would settle it", lambda item: item[1].settle),
)
JUDGEMENTS = (
    Column("judgement", TEXT, "id of the row", lambda item: item[0].id),
    Column("trial", TEXT, "id of the trial", lambda item: item[0].trial),
    Column("counts", FLAG, "whether it is the one that counts", lambda item: item[1]),
    Column("verdict", TEXT, "its verdict", lambda item: item[0].assessment.verdict, VERDICTS),
    Column("at", TIME, "when", lambda item: _time(item[0].at)),
    Column("by", TEXT, "who had it judged", lambda item: item[0].by),
    Column("reason", TEXT, "why it was judged again; empty: the first", lambda item: item[0].reason),
    Column("method_version", TEXT, "version of the method", lambda item: item[0].assessment.method_version),
    Column("software_version", TEXT, "version of the program", lambda item: item[0].software_version),
    Column("baseline", TEXT, "id of the baseline it was compared with", lambda item: item[0].baseline),
)
SERVICES = (
    Column("service", TEXT, "id of the entry", lambda item: item[0].id),
    Column("rig", TEXT, "the rig's name", lambda item: item[0].rig),
    Column("counts", FLAG, "no: corrected by a later entry", lambda item: item[1]),
    Column("action", TEXT, "what was done", lambda item: item[0].action, tuple(ACTIONS)),
    Column("seen", TIME, "when it was seen", lambda item: _time(item[0].seen)),
    Column("found", TIME, "when the cause was found", lambda item: _time(item[0].found)),
    Column("fixed", TIME, "when it was fixed", lambda item: _time(item[0].fixed)),
    Column("verified", TIME, "when that was verified", lambda item: _time(item[0].verified)),
    Column("details", TEXT, "parts, hours, cost, next check ..., JSON", lambda item: _said(item[0].details)),
    Column(
        "cost_amount",
        "in cost_currency",
        "amount of the cost, where it can be read in one way",
        lambda item: None if (money := entry_from(item[0]).money) is None else float(money.amount),
    ),
    Column(
        "cost_currency",
        TEXT,
        "its currency; empty: not given",
        lambda item: None if (money := entry_from(item[0]).money) is None else money.currency,
    ),
    Column("at", TIME, "when it was written", lambda item: _time(item[0].at)),
    Column("by", TEXT, "who wrote it", lambda item: item[0].by),
    Column("reason", TEXT, "why it corrects another", lambda item: item[0].reason),
    Column("replaces", TEXT, "ids of the entries it corrects", lambda item: " ".join(item[0].replaces)),
    Column("on", DAY, "the day of the work", _service(attrgetter("on"))),
    *_moment_columns(),
    Column("parts", TEXT, "parts used", _service(attrgetter("parts"))),
    Column("machine_hours_h", "h", "the hour meter", _service(attrgetter("machine_hours_h"))),
    Column("cost", TEXT, "what it cost, as typed", _service(attrgetter("cost"))),
    Column(
        "starts_stretch",
        FLAG,
        "whether the trend chart restarts after it",
        lambda item: entry_from(item[0]).starts_stage,
    ),
    Column("due_on", DAY, "next check: the day", _service(attrgetter("due_on"))),
    Column("due_hours_h", "h", "next check: the hour meter", _service(attrgetter("due_hours_h"))),
    Column(
        "due_cycles",
        "1",
        "next check: so many lock throws after it",
        _service(attrgetter("due_cycles")),
        whole=True,
    ),
    Column(
        "answers",
        TEXT,
        "ids of the orders it was written for",
        _service(lambda entry: " ".join(entry.answers)),
    ),
)
ORDERS = (
    Column("order", TEXT, "id of the order", lambda row: row.id),
    Column("rig", TEXT, "the rig's name", lambda row: row.rig),
    Column("level", TEXT, "the status it sets", lambda row: row.level, STATUSES),
    Column("cause", TEXT, "its cause", lambda row: row.cause),
    Column("because", TEXT, "in a sentence", lambda row: row.because),
    Column("clears", TEXT, "ids of the orders it clears", lambda row: " ".join(row.clears)),
    Column("signed", TEXT, "who signed", lambda row: row.signed),
    Column("trial", TEXT, "the trial it comes from", lambda row: row.trial),
    Column("at", TIME, "when it was written", lambda row: _time(row.at)),
    Column("by", TEXT, "who wrote it", lambda row: row.by),
)
PHOTOGRAPHS = (
    Column("photograph", TEXT, "id of the row", lambda item: item[0].id),
    Column("trial", TEXT, "id of the trial", lambda item: item[0].trial),
    Column("pin", TEXT, "left or right", lambda item: item[0].pin, SIDES),
    Column("counts", FLAG, "no: another one of this pin stands for it", lambda item: item[2]),
    Column("file", TEXT, "its file in the folder photographs", lambda item: item[1]),
    Column("picture", TEXT, "SHA-256 of that file, as sealed", lambda item: item[0].picture),
    Column("name", TEXT, "name of the file that was given", lambda item: item[0].file),
    Column("original", TEXT, "SHA-256 of the file that was given", lambda item: item[0].original),
    Column("taken", TIME, "its own date", lambda item: item[0].taken or None),
    Column("at", TIME, "when it was added", lambda item: _time(item[0].at)),
    Column("by", TEXT, "who added it", lambda item: item[0].by),
    Column("reason", TEXT, "that its time was confirmed", lambda item: item[0].reason),
)
METERS = (
    Column("meter", TEXT, "its name", lambda item: item[0].name),
    Column("counts", FLAG, "no: replaced by a later row", lambda item: item[1]),
    Column(
        "kind",
        TEXT,
        "clamp, stopwatch or multimeter",
        lambda item: item[0].kind,
        (CLAMP, STOPWATCH, MULTIMETER),
    ),
    Column("unit", TEXT, "unit of what it reads", lambda item: item[0].unit),
    Column("resolution", OWN_UNIT, "the step of its last digit", lambda item: item[0].resolution),
    Column("share", "1", "accuracy: share of the reading", lambda item: item[0].share),
    Column("digits", "1", "accuracy: steps of the last digit", lambda item: item[0].digits),
    Column("peak_hold", FLAG, "keeps the highest reading", lambda item: item[0].peak_hold),
    Column("checked", DAY, "day of its last check; empty: not recorded", lambda item: item[0].checked),
    Column("at", TIME, "when it was written", lambda item: _time(item[0].at)),
    Column("by", TEXT, "who wrote it", lambda item: item[0].by),
    Column("reason", TEXT, "why its data sheet changed", lambda item: item[0].reason),
    Column("id", TEXT, "id of the row", lambda item: item[0].id),
)

KEYS: Mapping[str, tuple[str, ...]] = {
    "rigs": ("id",),
    "sheets": ("id",),
    "trials": ("trial",),
    "signs": ("trial", "sign"),
    "limits": ("trial", "name"),
    "judgements": ("judgement",),
    "services": ("service",),
    "orders": ("order",),
    "meters": ("id",),
    "photographs": ("photograph",),
}
"""Table: the columns that tell its rows apart, by which they are looked up."""

Item = Any
TABLES: Mapping[str, tuple[tuple[Column, ...], Callable[[ExportData], Iterable[Item]]]] = {
    "rigs": (RIGS, lambda data: data.rigs),
    "sheets": (SHEETS, lambda data: data.sheets),
    "trials": (TRIALS, lambda data: data.trials),
    "signs": (SIGNS, lambda data: _inside(data, "signs")),
    "limits": (LIMITS, lambda data: _inside(data, "checks")),
    "judgements": (JUDGEMENTS, lambda data: data.judgements),
    "services": (SERVICES, lambda data: data.services),
    "orders": (ORDERS, lambda data: data.orders),
    "meters": (METERS, lambda data: data.meters),
    "photographs": (PHOTOGRAPHS, lambda data: data.photographs),
}
"""Table: its columns, and its items out of the data."""


def _inside(data: ExportData, part: str) -> Iterable[Item]:
    for logged, _ in data.trials:
        if logged.judgement is not None:
            for each in getattr(logged.judgement.assessment, part):
                yield logged, each


def rows(table: str, data: ExportData) -> Iterable[Row]:
    """The rows of one table."""
    columns, items = TABLES[table]
    for item in items(data):
        yield {column.name: column.get(item) for column in columns}


def described() -> list[Row]:
    """Every column of every table with its unit and meaning."""
    return [
        {"table": table, "column": column.name, "unit": column.unit, "what": column.what}
        for table, (columns, _) in TABLES.items()
        for column in columns
    ]
