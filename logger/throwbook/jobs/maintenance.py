"""The maintenance history of a rig in a logbook."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from throwbook.core.quantities.text import written
from throwbook.core.status.maintenance import (
    ACTIONS,
    ServiceEntry,
    entry_from,
    order_complaints,
    row_from,
)
from throwbook.errors import Field, InputError
from throwbook.jobs import latch
from throwbook.jobs.find import opened
from throwbook.logbook import Logbook


@dataclass(frozen=True)
class Logged:
    """An entry as it was stored, and where the rig stands with it."""

    entry: ServiceEntry
    rig_status: latch.RigStatus


def add(
    logbook: str | Path | None, entry: ServiceEntry, now: datetime, corrects: str = "", reason: str = ""
) -> Logged:
    """Log a service. It answers the orders that hold the rig at this moment.

    ``corrects`` names an entry (the start of its id) that this one stands for from now on; the old one stays, with
    ``reason``. Raises InputError for an unknown action, a date in the future, dates that run backwards, a correction
    without a reason or of an entry that isn't there.
    """
    if entry.action not in ACTIONS:
        raise InputError(
            f"no action is called {entry.action!r}", Field("action"), f"One of: {', '.join(ACTIONS)}."
        )
    _refuse_dates(entry, now.date())
    with opened(logbook) as book, book.transaction():
        book.rig(entry.rig)
        entry = replace(entry, answers=_answered(book, entry))
        row = row_from(entry, now)
        if corrects:
            if not written(reason):
                raise InputError(
                    "a correction takes a reason", Field("reason"), "Say what was wrong with the entry."
                )
            old = latch.named_service(book.services(entry.rig), corrects, Field("corrects"))
            row = replace(row, reason=written(reason), replaces=(old,))
        stored = book.add_service(row)
        return Logged(entry_from(stored), latch.rig_status(book, entry.rig, now.date()))


def _answered(book: Logbook, entry: ServiceEntry) -> tuple[str, ...]:
    """The open orders, without those that rest on a throw made after the day of the work: that can't be its repair."""
    open_orders = latch.status(book, entry.rig).open_ids
    if not open_orders:
        return ()
    thrown = {one.id: one.trial.started for one in book.trials(rig=entry.rig)}
    started = {order.id: thrown.get(order.trial) for order in book.orders(entry.rig) if order.trial}
    days = {name: moment.date() for name, moment in started.items() if moment is not None}
    return tuple(name for name in open_orders if days.get(name, entry.on) <= entry.on)


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
