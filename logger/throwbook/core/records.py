"""Rows of the logbook as data, one frozen dataclass for each kind; which revision counts; who is a person.

1. A row is a fact and is never changed. A correction is a new row whose ``replaces`` names the rows it stands for; the row
   that no other replaces counts, whatever the clocks say.
2. ``id`` is made from the row's own content (see ``throwbook.logbook.schema``). Build a record with ``id=""``; the
   logbook hands back the same record with its id.
3. ``at`` is when the row was written, with its offset from UTC; ``by`` is who wrote it: a person who gave a name, or only
   the account of the computer, which is no person.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from throwbook.core.quantities.text import written

if TYPE_CHECKING:
    from throwbook.core.assessment import Assessment


Details = Mapping[str, Any]
"""Text, numbers, true/false, None, lists and mappings of them: what JSON can hold."""


def nothing() -> Details:
    """An empty mapping that nobody can fill."""
    return MappingProxyType({})


BENCH = "bench"
COMMISSIONING = "commissioning"
SEASONAL = "seasonal"
AFTER_SERVICE = "after-service"
SPOT = "spot"
SHEET_KINDS = (BENCH, COMMISSIONING, SEASONAL, AFTER_SERVICE, SPOT)
OPEN = "open"
ACCEPTED = "accepted"
REJECTED = "rejected"
FROM_TRACE = "trace"
BY_BOARD, BY_HAND = "board", "hand"
YES = "yes"
NO = "no"
NOT_LOOKED = "not looked"
ANSWERS = (YES, NO, NOT_LOOKED)
SEEN = ("left_pin", "right_pin", "load_check", "retained_power_off")
"""What is answered after a lock throw."""


@dataclass(frozen=True)
class RigRevision:
    """One version of a rig file."""

    rig: str
    toml: str
    """The rig file's text as it was given."""
    at: datetime
    by: str
    reason: str = ""
    replaces: tuple[str, ...] = ()
    id: str = ""


@dataclass(frozen=True)
class Sheet:
    """A planned test sheet. What it was filled with and how it ended stand in rows of their own."""

    rig: str
    kind: str
    """One of ``SHEET_KINDS``."""
    number: int
    """Counts up within the rig; two logbooks may have given the same one before they were merged."""
    at: datetime
    by: str
    plan: Details = field(default_factory=nothing)
    nonce: str = ""
    """Random, so that two sheets planned alike are still two."""
    id: str = ""

    @property
    def name(self) -> str:
        """What people call it: ``quarry-loader-3``."""
        return f"{self.rig}-{self.number}"


@dataclass(frozen=True)
class Answers:
    """What was asked on a sheet: hours since last movement, ambient, supply, attachment, ..."""

    sheet: str
    answers: Details
    """A question without an answer is None ("not recorded")."""
    at: datetime
    by: str
    reason: str = ""
    replaces: tuple[str, ...] = ()
    id: str = ""


@dataclass(frozen=True)
class Trial:
    """One throw, recorded or measured by hand. The same throw imported twice has the same id."""

    rig: str
    direction: str
    source: str
    """``trace`` or ``hand``."""
    started: datetime | None
    trace: str | None = None
    """Digest of the recorded samples."""
    hand: Details | None = None
    """Readings taken by hand, with their instruments."""
    nonce: str = ""
    """Random for a trial by hand: the same two readings can come twice."""
    id: str = ""


@dataclass(frozen=True)
class Placement:
    """Where a trial stands: on which sheet, in which order, as found or not."""

    trial: str
    sheet: str
    position: int
    at: datetime
    by: str
    as_found: bool = False
    """First movement after a rest of hours: kept apart."""
    left_out: str = ""
    """Why this trial doesn't count on this sheet; empty: it counts."""
    ambient_c: float | None = None
    """[degC]; None: not recorded"""
    file: str = ""
    head: Details = field(default_factory=nothing)
    """Every head key of the trace file."""
    reason: str = ""
    replaces: tuple[str, ...] = ()
    id: str = ""


@dataclass(frozen=True)
class PinAnswers:
    """What was seen at one lock throw. Each answer is ``yes``, ``no`` or ``not looked``."""

    left_pin: str = NOT_LOOKED
    right_pin: str = NOT_LOOKED
    how: str = ""
    load_check: str = NOT_LOOKED
    """The manufacturer's load check: ``yes`` done and passed, ``no`` not passed, ``not looked`` not done."""
    retained_power_off: str = NOT_LOOKED
    """``yes`` the pins stayed put with the power off, ``no`` they didn't, ``not looked`` not tried."""
    by: str = ""
    """The persons who gave a name; an account of the computer is none."""
    answered: bool = False
    """Somebody wrote something down, be it that nobody looked."""

    @property
    def at_anything(self) -> bool:
        """False: nobody looked at anything or tried it."""
        return any(getattr(self, name) != NOT_LOOKED for name in SEEN)

    @property
    def says_no(self) -> bool:
        """A pin wasn't in its hole, or a check wasn't passed."""
        return any(getattr(self, name) == NO for name in SEEN)


@dataclass(frozen=True)
class Sighting:
    """What a person saw after a lock throw, as it was written down; the answers are those of ``PinAnswers``."""

    trial: str
    left_pin: str
    right_pin: str
    how: str
    at: datetime
    by: str
    load_check: str = NOT_LOOKED
    retained_power_off: str = NOT_LOOKED
    reason: str = ""
    replaces: tuple[str, ...] = ()
    id: str = ""


@dataclass(frozen=True)
class Photograph:
    """A photograph of one pin after one lock throw. It is no sighting: it stands beside what a person answered."""

    trial: str
    pin: str
    """``left`` or ``right``."""
    picture: str
    """SHA-256 of the stored copy."""
    original: str
    """SHA-256 of the file as it was."""
    file: str
    """Its name."""
    taken: str
    """Its own date (ISO 8601, mostly without an offset from UTC); empty: it has none."""
    at: datetime
    by: str
    reason: str = ""
    """Where it was taken at another time than the throw: that this was asked and confirmed."""
    replaces: tuple[str, ...] = ()
    id: str = ""


@dataclass(frozen=True)
class Judgement:
    """One trial judged once: the assessment and what it was made with. A re-judgement is a new one."""

    trial: str
    assessment: Assessment
    """Without its profile; ``Logbook.profile(judgement)`` gives that."""
    software_version: str
    at: datetime
    by: str
    rig_revision: str = ""
    baseline: str | None = None
    calibration: str | None = None
    """Of the board, as it was when this was judged."""
    reason: str = ""
    replaces: tuple[str, ...] = ()
    id: str = ""


@dataclass(frozen=True)
class Decision:
    """How a sheet ended, signed by a person."""

    sheet: str
    outcome: str
    """``accepted`` or ``rejected``."""
    signed: str
    statement: Details
    """The sightings, the load check, the printed statement, the reasons for a rejection."""
    at: datetime
    by: str
    reason: str = ""
    replaces: tuple[str, ...] = ()
    id: str = ""


@dataclass(frozen=True)
class Seal:
    """SHA-256 over everything a sheet rested on when it was decided, chained to the seals before it."""

    rig: str
    sheet: str
    decision: str
    digest: str
    covers: tuple[str, ...]
    """``table:id`` of every row sealed."""
    previous: tuple[str, ...]
    """Ids of the rig's last seals; two after a merge."""
    at: datetime
    id: str = ""


@dataclass(frozen=True)
class Order:
    """One entry of the status latch's log. The status is reckoned from all of them, never stored."""

    rig: str
    level: str
    """The status it asks for; see ``throwbook.core.status.latch``."""
    cause: str
    because: str
    at: datetime
    by: str
    clears: tuple[str, ...] = ()
    """Ids of the orders that this entry answers."""
    signed: str = ""
    sheet: str | None = None
    trial: str | None = None
    service: str | None = None
    details: Details = field(default_factory=nothing)
    previous: tuple[str, ...] = ()
    """Ids of the rig's last orders when it was written: a missing one is noticed."""
    id: str = ""


@dataclass(frozen=True)
class Service:
    """One entry of the maintenance history."""

    rig: str
    action: str
    at: datetime
    by: str
    seen: datetime | None = None
    found: datetime | None = None
    fixed: datetime | None = None
    verified: datetime | None = None
    details: Details = field(default_factory=nothing)
    """Parts, machine hours, cost, new stretch, next check due, ..."""
    reason: str = ""
    replaces: tuple[str, ...] = ()
    id: str = ""


@dataclass(frozen=True)
class BaselineRecord:
    """A frozen baseline of one direction."""

    rig: str
    direction: str
    trials: tuple[str, ...]
    body: Details
    """``Baseline`` as JSON can hold it."""
    at: datetime
    by: str
    reason: str
    service: str | None = None
    """The service after which it was taken."""
    id: str = ""


@dataclass(frozen=True)
class Calibration:
    """Gain and offset of one board, as found by a person with a meter."""

    board: str
    details: Details
    at: datetime
    by: str
    reason: str = ""
    replaces: tuple[str, ...] = ()
    id: str = ""


CLAMP, STOPWATCH, MULTIMETER = "clamp", "stopwatch", "multimeter"


def accuracy_text(share: float, digits: float) -> str:
    """As a meter's data sheet puts it: a share of the reading and so many steps of the last digit."""
    return f"{100 * share:g}% + {digits:g} digits"


@dataclass(frozen=True)
class Meter:
    """An instrument that a person reads, as its data sheet has it."""

    name: str
    kind: str
    """``clamp``, ``stopwatch`` or ``multimeter``."""
    unit: str
    """What it reads: ``A``, ``V`` or ``s``."""
    resolution: float
    """The step of its last digit [unit]."""
    share: float
    """Of its accuracy: share of the reading."""
    digits: float
    """Of its accuracy: steps of the last digit."""
    peak_hold: bool
    """Whether it holds the highest reading."""
    at: datetime
    by: str
    checked: str = ""
    """Day of its last check, ISO 8601; empty: not recorded."""
    reason: str = ""
    replaces: tuple[str, ...] = ()
    id: str = ""


@dataclass(frozen=True)
class Fact:
    """One row as it is stored, for sealing and checking."""

    table: str
    id: str
    content: Details
    """Column: value, columns without a value left out."""


@dataclass(frozen=True)
class LoggedTrial:
    """A trial with the rows that count for it now."""

    trial: Trial
    placement: Placement | None
    judgement: Judgement | None
    sighting: Sighting | None

    @property
    def id(self) -> str:
        """The trial's id."""
        return self.trial.id

    @property
    def direction(self) -> str:
        """``lock`` or ``unlock``."""
        return self.trial.direction

    @property
    def meters(self) -> tuple[str, ...]:
        """Ids of the meters that a throw by hand was read from."""
        return tuple((self.trial.hand or {}).get("instruments", {}).get("meters", ()))

    @property
    def when(self) -> datetime | None:
        """When it was thrown, or else when it was written down."""
        return self.trial.started or (self.placement.at if self.placement else None)


@dataclass(frozen=True)
class SheetState:
    """A sheet with the rows that count for it now."""

    sheet: Sheet
    name: str
    """The short name; with a piece of the id behind it where two sheets have the same number."""
    answers: Details
    decision: Decision | None
    sealed: bool
    thrown: str = ""
    """ISO time of its first throw that has one; empty: none has."""

    @property
    def day(self) -> date:
        """The day of its throws: of the first one, else as the plan says, else of its planning."""
        said = self.thrown or str(self.sheet.plan.get("day") or "")
        return date.fromisoformat(said[:10]) if said else self.sheet.at.date()

    @property
    def state(self) -> str:
        """``open``, ``accepted`` or ``rejected``; an acceptance that was never sealed is none."""
        if self.decision is None or (self.decision.outcome == ACCEPTED and not self.sealed):
            return OPEN
        return self.decision.outcome


class Revised(Protocol):
    """A row that may replace others."""

    @property
    def id(self) -> str: ...  # noqa: D102
    @property
    def at(self) -> datetime: ...  # noqa: D102
    @property
    def replaces(self) -> tuple[str, ...]: ...  # noqa: D102


Row = TypeVar("Row", bound=Revised)


def heads(rows: Iterable[Row]) -> list[Row]:
    """Rows that no other row replaces, oldest first; more than one after a merge of two corrections."""
    listed = list(rows)
    replaced = {old for row in listed for old in row.replaces}
    return sorted((row for row in listed if row.id not in replaced), key=lambda row: (row.at, row.id))


def current(rows: Iterable[Row]) -> Row | None:
    """The row that counts: the newest head (by time, then id, so that every copy agrees); None without rows."""
    found = heads(rows)
    return found[-1] if found else None


def beginnings(replaces: Mapping[str, Iterable[str]]) -> dict[str, frozenset[str]]:
    """For each row that no other replaces: the first rows that it goes back to.

    ``replaces``: id of each row of one thing, and the ids that it replaces. Two rows that go back to no common first one
    were begun apart: nothing says that they are about the same thing.
    """
    replaced = {old for olds in replaces.values() for old in olds}
    found = {}
    for head in replaces.keys() - replaced:
        first, seen, left = set(), {head}, [head]
        while left:
            row = left.pop()
            before = set(replaces.get(row, ()))
            if not before:
                first.add(row)
            left += before - seen
            seen |= before
        found[head] = frozenset(first)
    return found


ACCOUNT = "account "


def account_name(user: str) -> str:
    """What stands for the writer where nobody gave a name."""
    return f"{ACCOUNT}{user}" if user else ""


def person(by: str) -> str:
    """The person behind a writer's name; empty where it is only an account.

    >>> person("M. K."), person("account fitter")
    ('M. K.', '')
    """
    name = written(by)
    return "" if name.startswith(ACCOUNT) else name


def people(names: Iterable[str]) -> tuple[str, ...]:
    """The persons among them, each once."""
    return tuple(sorted({person(one) for one in names} - {""}))
