"""The maintenance history: what an entry holds, which stage it starts, when the next check is due.

An entry keeps four moments apart - seen, found, fixed, verified - because "fixed" says nothing about "verified". A new
stage begins where the machine is no longer the one that was measured before; trends are drawn within a stage.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import pairwise

from throwbook.core.quantities.money import Money, money_from
from throwbook.core.quantities.text import counted, written
from throwbook.core.records import Service

# action: whether it starts a new stage when the entry doesn't say. Common practice, no source.
ACTIONS: dict[str, bool] = {
    "greased": True,
    "cleaned": True,
    "adjusted": True,
    "repaired": True,
    "replaced": True,
    "rewired": True,
    "inspected": False,
    "other": False,
}


@dataclass(frozen=True)
class Moment:
    """One of the four: what, and on which day."""

    what: str = ""
    on: date | None = None

    def __bool__(self) -> bool:
        """Whether anything was written."""
        return bool(written(self.what))


@dataclass(frozen=True)
class ServiceEntry:
    """One entry of the maintenance history."""

    id: str
    rig: str
    action: str
    """A key of ``ACTIONS``."""
    on: date
    """The day of the work."""
    seen: Moment = field(default_factory=Moment)
    found: Moment = field(default_factory=Moment)
    fixed: Moment = field(default_factory=Moment)
    verified: Moment = field(default_factory=Moment)
    parts: str = ""
    machine_hours_h: float | None = None
    cost: str = ""
    """As typed, with its currency; empty: not given."""
    new_stretch: bool | None = None
    """None: as ``ACTIONS`` says."""
    due_on: date | None = None
    due_hours_h: float | None = None
    """Machine hours at which the next check is due."""
    due_cycles: int | None = None
    """Lock throws after this entry at which the next check is due."""
    answers: tuple[str, ...] = ()
    """Ids of the orders that it was written for."""
    by: str = ""
    written: datetime | None = None
    """When it was written down; None: it isn't yet."""

    @property
    def money(self) -> Money | None:
        """Its cost as an amount and a currency; None: not given, or it can't be read in one way."""
        return money_from(self.cost)

    @property
    def starts_stage(self) -> bool:
        """Whether what is measured afterwards belongs to a new stage."""
        return ACTIONS.get(self.action, False) if self.new_stretch is None else self.new_stretch

    @property
    def sets_check(self) -> bool:
        """Whether it says when the next check is due."""
        return any(one is not None for one in (self.due_on, self.due_hours_h, self.due_cycles))


NO_WORK = ("inspected",)
"""Actions that change nothing on the machine."""


def work_done(action: str) -> bool:
    """Whether an entry with this action tells of work on the machine."""
    return action not in NO_WORK


def is_repair(action: str, found: str, fixed: str) -> bool:
    """What a repair is, for every place that asks: work was done, and what was found and what was done about it are written."""
    return work_done(action) and bool(written(found)) and bool(written(fixed))


def mends(entry: ServiceEntry) -> bool:
    """Whether an entry of the history tells of a repair."""
    return is_repair(entry.action, entry.found.what, entry.fixed.what)


SEASON = timedelta(days=91)
"""The next check after an accepted one, unless a service entry says otherwise. Common practice, no source."""
DETAILS = (
    "parts",
    "machine_hours_h",
    "cost",
    "new_stretch",
    "due_on",
    "due_hours_h",
    "due_cycles",
    "answers",
)
MOMENTS = ("seen", "found", "fixed", "verified")


def entry_from(row: Service) -> ServiceEntry:
    """A row of the logbook as an entry."""
    told = row.details
    moments = {name: _moment(str(told.get(name, "")), getattr(row, name)) for name in MOMENTS}
    on = told.get("on")
    due_on = told.get("due_on")
    return ServiceEntry(
        id=row.id,
        rig=row.rig,
        action=row.action,
        on=date.fromisoformat(str(on)) if on else row.at.date(),
        parts=str(told.get("parts", "")),
        machine_hours_h=told.get("machine_hours_h"),
        cost=str(told.get("cost", "")),
        new_stretch=told.get("new_stretch"),
        due_on=date.fromisoformat(str(due_on)) if due_on else None,
        due_hours_h=told.get("due_hours_h"),
        due_cycles=told.get("due_cycles"),
        answers=tuple(told.get("answers", ())),
        by=row.by,
        written=row.at,
        **moments,
    )


def row_from(entry: ServiceEntry, now: datetime) -> Service:
    """The other way round; days become noon of that day in the writer's own time zone."""
    texts = {name: getattr(entry, name).what for name in MOMENTS if getattr(entry, name).what}
    more = {name: getattr(entry, name) for name in DETAILS if getattr(entry, name) not in (None, "", ())}
    if entry.due_on is not None:
        more["due_on"] = entry.due_on.isoformat()
    details = {**texts, **more, "on": entry.on.isoformat(), "answers": list(entry.answers)}
    return Service(
        entry.rig,
        entry.action,
        now,
        entry.by,
        seen=_noon(entry.seen.on, now),
        found=_noon(entry.found.on, now),
        fixed=_noon(entry.fixed.on, now),
        verified=_noon(entry.verified.on, now),
        details=details,
    )


def _moment(what: str, at: datetime | None) -> Moment:
    return Moment(what, at.date() if at is not None else None)


def _noon(day: date | None, now: datetime) -> datetime | None:
    return datetime.combine(day, time(12), now.tzinfo) if day is not None else None


def order_complaints(entry: ServiceEntry) -> list[str]:
    """What can't be in an entry's dates: fixed before found, verified before fixed, ..."""
    dated = [(name, on) for name in MOMENTS if (on := getattr(entry, name).on) is not None]
    return [
        f"{later} on {later_on}, before {earlier} on {earlier_on}"
        for (earlier, earlier_on), (later, later_on) in pairwise(dated)
        if later_on < earlier_on
    ]


NO_CHECK = "no next check set"


@dataclass(frozen=True)
class NextCheck:
    """When the next check is due, and whether that is past."""

    on: date | None = None
    hours_h: float | None = None
    cycles: int | None = None
    overdue: bool = False
    sentence: str = NO_CHECK

    @property
    def brief(self) -> str:
        """The sentence behind a heading that names the check already."""
        return "not set" if self.sentence == NO_CHECK else self.sentence.replace("check ", "")


def next_check(
    entries: Sequence[ServiceEntry],
    checked_on: Iterable[date],
    today: date,
    machine_hours_h: float | None = None,
    throws_since: int | None = None,
) -> NextCheck:
    """Reckon the next check from the newest entry that set one, else a season after the newest accepted check.

    A check done since then starts the same interval in days again; hours and cycles it answers altogether, and the season
    holds again.

    Args:
        entries: the rig's maintenance history, in any order.
        checked_on: days of the throws of its accepted commissioning, seasonal and after-service sheets.
        today: the day to judge by.
        machine_hours_h: last reading of the hour meter [h]; None: not recorded since.
        throws_since: lock throws logged since that entry; None: not counted.
    """
    setting = [one for one in entries if one.sets_check]
    newest = max(setting, key=lambda one: (one.on, one.id), default=None)
    done = max(
        (day for day in checked_on if (newest is None or newest.on < day) and day <= today), default=None
    )
    on = hours = cycles = None
    if newest is not None and done is None:
        on, hours, cycles = newest.due_on, newest.due_hours_h, newest.due_cycles
    elif done is not None:
        interval = SEASON if newest is None or newest.due_on is None else newest.due_on - newest.on
        on = done + max(interval, timedelta(days=1))
    if on is None and hours is None and cycles is None:
        return NextCheck()
    said, overdue = [], False
    for sentence, past in (
        _by_date(on, today),
        _by_count("h on the hour meter", hours, machine_hours_h),
        _by_count("throws since the service", cycles, throws_since),
    ):
        if sentence:
            said.append(sentence)
            overdue = overdue or past
    return NextCheck(on, hours, cycles, overdue, ("overdue: " if overdue else "") + "; ".join(said))


def _by_date(on: date | None, today: date) -> tuple[str, bool]:
    if on is None:
        return "", False
    days = (on - today).days
    if days < 0:
        return f"check was due {on}, {counted(-days, 'day')} ago", True
    return f"check due {on}", False


def _by_count(what: str, due: float | None, now: float | None) -> tuple[str, bool]:
    if due is None:
        return "", False
    if now is None:
        return f"check due at {due:g} {what} (now: not recorded)", False
    return f"check due at {due:g} {what} (now {now:g})", now >= due
