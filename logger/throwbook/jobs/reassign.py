"""A clerical correction: an imported throw is of another rig, or of none here. Signed, told in every paper, and no way round.

Only what came in from files and was never accepted can be put down to another rig: what was recorded, or read by hand, was
thrown where it was written down. The order that the throw raised stands on the other rig before it is eased here; a throw of
no rig waives the repair alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from throwbook import __version__
from throwbook.core.quantities.text import is_name, written
from throwbook.core.records import BENCH, SPOT, LoggedTrial, Order, SheetState
from throwbook.core.status.latch import (
    CAUSES,
    DO_NOT_USE,
    IN_SERVICE,
    MOVED_TO,
    REASSIGNED,
    TO_RIG,
    Status,
    raise_order,
)
from throwbook.errors import Field, InputError, Remedy
from throwbook.jobs import latch
from throwbook.jobs.find import baselines_for, baselines_of, frozen_id, opened, rig_of
from throwbook.jobs.judgements import judge_stored
from throwbook.jobs.sheets import plan_in
from throwbook.logbook import Logbook

NOBODY = "nobody"
"""In the place of a rig's name: the throw is of none of them."""


@dataclass(frozen=True)
class Correction:
    """What is to be put right."""

    sheet: str
    throws: Sequence[int]
    to: str
    """The rig that they are of, or ``NOBODY``."""
    because: str
    signed: str


@dataclass(frozen=True)
class Reassigned:
    """What a correction came to."""

    state: SheetState
    """The sheet that they stood on."""
    other: SheetState | None
    """The new sheet on the other rig; None: nobody's, or they stood there already."""
    status: Status
    """Of the rig that they stood on."""
    other_status: Status | None


def reassign(logbook: str | Path | None, asked: Correction, now: datetime) -> Reassigned:
    """Put imported throws of a sheet down to the rig they are of, in one transaction.

    Raises InputError without a reason or a name, for throws that aren't there, weren't imported, stand on a sheet that was
    accepted, or were put right already, and for a rig that isn't there or is the same; nothing is stored then.
    """
    if not written(asked.because):
        raise InputError("no reason given", Field("because"), "Say why the throw was on the wrong rig.")
    if not is_name(asked.signed):
        raise InputError(
            "nobody has signed", Field("signed"), "Give the name of the person who signs for it."
        )
    with opened(logbook) as book, book.transaction():
        state = book.sheet(asked.sheet)
        here = state.sheet.rig
        throws = [_throw(book, state, number) for number in asked.throws]
        if asked.to == here:
            raise InputError(f"they are already on '{here}'", Field("to"), "Name the rig that made them.")
        copies: list[str] = []
        other = None
        if asked.to != NOBODY:
            other, copies = _onto(book, asked, state, throws, now)
        for number, throw in enumerate(throws):
            _off(book, asked, state, throw, copies[number] if copies else "", now)
        there = latch.status(book, asked.to) if asked.to != NOBODY else None
        return Reassigned(book.sheet(state.sheet.id), other, latch.status(book, here), there)


def _throw(book: Logbook, state: SheetState, number: int) -> LoggedTrial:
    """A throw that may be put right."""
    places = {one.placement.position: one for one in book.trials(sheet=state.sheet.id) if one.placement}
    if number not in places:
        raise InputError(f"this sheet has no throw {number}", state.name, remedy=Remedy.SHOW_SHEET)
    throw = places[number]
    if book.moved_away(throw.id):
        raise InputError(
            f"throw {number} was already moved to another rig",
            state.name,
            remedy=Remedy.LIST_ORDERS,
        )
    if not book.came_by_import(throw.id):
        raise InputError(
            f"throw {number} was not imported, or is on a sheet that was accepted",
            state.name,
            "Only throws from files that nobody accepted can be moved to another rig. This one stays.",
        )
    return throw


def _onto(
    book: Logbook, asked: Correction, state: SheetState, throws: Sequence[LoggedTrial], now: datetime
) -> tuple[SheetState | None, list[str]]:
    """The throws on the rig they are of, judged as its own, with every order that they raised where they stood."""
    rig = rig_of(book, asked.to)
    fresh, copies, sheet = [], {}, None
    placed: list[tuple[SheetState, LoggedTrial]] = []
    for throw in throws:
        twins = book.with_samples_of(rig.name, book.trace(throw.id))
        copies[throw.id] = twins[0] if twins else ""
        fresh += [] if twins else [throw]
    if fresh:
        kind = BENCH if state.sheet.kind == BENCH else SPOT
        sheet = plan_in(book, rig.name, kind, asked.signed, now, answers=dict(state.answers), imported=True)
        baselines = baselines_for(book, rig.name, kind)
        for throw in fresh:
            assert throw.placement is not None  # it was found by its place
            assessment, calibration = judge_stored(
                book, throw, rig, baselines_of(baselines), on_bench=kind == BENCH
            )
            logged = book.add_trial(
                sheet.sheet.id,
                replace(book.trace(throw.id), rig=rig.name),
                assessment,
                asked.signed,
                now,
                software_version=__version__,
                as_found=True,
                baseline=frozen_id(baselines.get(throw.direction)),
                calibration=calibration,
                file=throw.placement.file,
            )
            placed.append((sheet, logged))
            copies[throw.id] = logged.id
    for throw in throws:
        _same_orders(book, asked, state, throw, copies[throw.id], now)
    for onto, logged in placed:
        latch.raise_for(book, onto, logged, asked.signed, now)
    return (book.sheet(sheet.sheet.id) if sheet else None), [copies[throw.id] for throw in throws]


def _same_orders(
    book: Logbook, asked: Correction, state: SheetState, throw: LoggedTrial, copy: str, now: datetime
) -> None:
    """What took the one rig out of use takes the other out of use, however the throw is judged by its rating."""
    there = {one.cause for one in book.orders(asked.to) if one.trial == copy}
    for order in book.orders(state.sheet.rig):
        out_of_use = CAUSES.get(order.cause, (DO_NOT_USE, ""))[0] == DO_NOT_USE
        if order.trial == throw.id and not order.clears and out_of_use and order.cause not in there:
            because = f"{order.because} (came in on {state.name} of {state.sheet.rig} by mistake)"
            book.add_order(raise_order(asked.to, order.cause, because, now, asked.signed, trial=copy))
            there.add(order.cause)


def _off(
    book: Logbook, asked: Correction, state: SheetState, throw: LoggedTrial, copy: str, now: datetime
) -> None:
    """Off the rig where it stood: left out there, told in its log, and what it raised is eased where that may be."""
    rig, signed = state.sheet.rig, written(asked.signed)
    whose = "of no rig here" if asked.to == NOBODY else f"of rig {asked.to}"
    where = f"throw {throw.placement.position if throw.placement else '?'} of {state.name}"
    because = f"{where} is {whose}: {written(asked.because)}"
    orders = [one for one in latch.status(book, rig).open if set(one.ids) & _raised_by(book, rig, throw.id)]
    for place in book.placements_now(throw.id):
        book.leave_out(place, whose, signed, now, f"{written(asked.because)}, signed {signed}")
    book.add_order(
        raise_order(
            rig,
            REASSIGNED,
            f"{because}, signed {signed}",
            now,
            signed,
            trial=throw.id,
            sheet=state.sheet.id,
            signed=signed,
            details={TO_RIG: "" if asked.to == NOBODY else asked.to},
        )
    )
    ids = tuple(sorted({name for one in orders for name in one.ids}))
    if copy and ids:
        book.add_order(
            Order(
                rig,
                IN_SERVICE,
                "cleared",
                because,
                now,
                signed,
                clears=ids,
                signed=signed,
                details={MOVED_TO: [copy]},
            )
        )


def _raised_by(book: Logbook, rig: str, trial: str) -> set[str]:
    return {one.id for one in book.orders(rig) if one.trial == trial and not one.clears}
