"""The maintenance history of a rig in a logbook."""

from collections.abc import Container
from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo
from pathlib import Path

from throwbook.core.quantities.text import written
from throwbook.core.sheets.sheet import plan_from
from throwbook.core.status.latch import REPAIR, Status
from throwbook.core.status.maintenance import (
    ACTIONS,
    ServiceEntry,
    entry_from,
    mends,
    order_complaints,
    row_from,
)
from throwbook.core.status.raising import SEEN_CAUSES, repair_lacks
from throwbook.errors import Field, InputError
from throwbook.jobs import latch
from throwbook.jobs.find import opened
from throwbook.logbook import Logbook

NO_STEP = "This does not yet count as the repair that clears 'do not use': {why}."
WORK_BEFORE = "the work was done before what it would clear"


@dataclass(frozen=True)
class Logged:
    """An entry as it was stored, and where the rig stands with it."""

    entry: ServiceEntry
    rig_status: latch.RigStatus
    lacks: tuple[str, ...] = ()
    """Why it isn't the repair of the open orders that need one, in sentences; empty: it is, or none needs one."""


def add(
    logbook: str | Path | None, entry: ServiceEntry, now: datetime, corrects: str = "", reason: str = ""
) -> Logged:
    """Log a service. It answers the orders that hold the rig at this moment.

    ``corrects`` names an entry (the start of its id) that this one stands for from now on; the old one stays, with
    ``reason``. Raises InputError for an unknown action, a date in the future, dates that run backwards, a correction
    without a reason or of an entry that isn't there, or one that leaves a clearance on words that say nothing.
    """
    if entry.action not in ACTIONS:
        raise InputError(
            f"no action is called {entry.action!r}", Field("action"), f"One of: {', '.join(ACTIONS)}."
        )
    _refuse_dates(entry, now.date())
    with opened(logbook) as book, book.transaction():
        book.rig(entry.rig)
        entry = replace(entry, answers=_answered(book, entry, now))
        row = row_from(entry, now)
        if corrects:
            if not written(reason):
                raise InputError(
                    "a correction takes a reason", Field("reason"), "Say what was wrong with the entry."
                )
            old = latch.named_service(book.services(entry.rig), corrects, Field("corrects"))
            _refuse_empty_words(book, entry, old)
            row = replace(row, reason=written(reason), replaces=(old,))
        stored = book.add_service(row)
        entry, found = entry_from(stored), latch.rig_status(book, entry.rig, now.date())
        return Logged(entry, found, _lacks(entry, found.status))


def _refuse_empty_words(book: Logbook, entry: ServiceEntry, old: str) -> None:
    """A signed clearance may rest on a repair: it takes the words it took then. Work that was never done may be taken back."""
    if not mends(entry):
        return
    replaced = {row.id: row.replaces for row in book.services(entry.rig, every_revision=True)}
    earlier, waiting = set(), [old]
    while waiting:
        name = waiting.pop()
        if name not in earlier:
            earlier.add(name)
            waiting += replaced.get(name, ())
    orders = {order.id: order for order in book.orders(entry.rig)}
    for order in orders.values():
        if not order.clears or order.service not in earlier:
            continue
        causes = [orders[name].cause for name in order.clears if name in orders]
        if empty := repair_lacks(entry.action, entry.found.what, entry.fixed.what, causes):
            raise InputError(
                f"clearance {order.id[:8]} of {order.at:%Y-%m-%d} rests on this repair: {'; '.join(empty.values())}",
                Field("corrects"),
                "Write what was found and done. If no work was done, correct the action to 'inspected'.",
            )


def _answered(book: Logbook, entry: ServiceEntry, now: datetime) -> tuple[str, ...]:
    """The open orders, without those of what happened after the day of the work: that can't be its repair."""
    open_orders = latch.status(book, entry.rig).open_ids
    if not open_orders:
        return ()
    days = event_days(book, entry.rig, open_orders, now.tzinfo)
    done_on = min(entry.on, entry.fixed.on or entry.on)
    # An order that a wrong clock dated into the future is no later than now: it stands in the logbook already.
    return tuple(name for name in open_orders if min(days.get(name, done_on), now.date()) <= done_on)


def event_days(
    book: Logbook, rig: str, orders: Container[str], zone: tzinfo | None = None
) -> dict[str, date]:
    """On which day what raised each of the ``orders`` happened: its throw, else its sheet's day, else when it was written.

    What a person saw happened no earlier than it was written, unless it came in together with its throw, as from paper.
    ``zone``: whose days; None: this computer's.
    """
    trials = {one.id: one for one in book.trials(rig=rig)}
    sheet_days = {one.sheet.id: plan_from(one.sheet.plan).day for one in book.sheets(rig)}
    days = {}
    for order in book.orders(rig):
        throw, day = trials.get(order.trial or ""), sheet_days.get(order.sheet or "")
        written_on = order.at.astimezone(zone).date()
        days[order.id] = datetime.fromisoformat(day).date() if day else written_on
        if throw and throw.trial.started:
            days[order.id] = throw.trial.started.astimezone(zone).date()
        with_throw = throw and throw.placement and throw.placement.at == order.at
        if order.cause in SEEN_CAUSES.values() and not with_throw:
            days[order.id] = max(days[order.id], written_on)
    return {name: day for name, day in days.items() if name in orders}


def _lacks(entry: ServiceEntry, status: Status) -> tuple[str, ...]:
    asking = [one for one in status.open if REPAIR in one.needs]
    if not asking:
        return ()
    early = any(not set(one.ids) & set(entry.answers) for one in asking)
    words = repair_lacks(entry.action, entry.found.what, entry.fixed.what, [one.cause for one in asking])
    return (*([WORK_BEFORE] if early else ()), *words.values())


def all_services(logbook: str | Path | None, rig: str | None = None) -> list[ServiceEntry]:
    """Every entry of one rig, or of all, as it counts now, oldest first."""
    with opened(logbook, read_only=True) as book:
        rigs = book.rig_names() if rig is None else [book.rig(rig).rig]
        entries = [entry_from(row) for name in rigs for row in book.services(name)]
        return sorted(entries, key=lambda one: (one.on, one.rig, one.id))


def _refuse_dates(entry: ServiceEntry, today: date) -> None:
    """No moment lies in the future, and each comes after the one before it."""
    named = {Field("on"): entry.on}
    named |= {Field(f"{name}-on"): getattr(entry, name).on for name in ("seen", "found", "fixed", "verified")}
    for option, day in named.items():
        if day is not None and day > today:
            raise InputError(
                f"{day} is in the future", option, "Look at the date, and at this computer's clock."
            )
    complaints = order_complaints(entry)
    if complaints:
        raise InputError("; ".join(complaints), "service", "Look at the dates.")
    if entry.due_on is not None and entry.due_on <= entry.on:
        raise InputError(
            f"the next check on {entry.due_on} must be later than the service",
            Field("due"),
            "Look at the dates.",
        )
