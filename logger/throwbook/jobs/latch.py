"""The status of a rig in a logbook: read, raised by throws and by people, cleared by a signed order."""

from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.quantities.text import written
from throwbook.core.records import (
    ACCEPTED,
    AFTER_SERVICE,
    COMMISSIONING,
    SEASONAL,
    LoggedTrial,
    Order,
    Service,
    SheetState,
)
from throwbook.core.status.latch import (
    CAUSE_FOUND,
    CAUSES,
    DO_NOT_USE,
    IN_SERVICE,
    NEED_SAID,
    REASSIGNED,
    REPAIR,
    Due,
    OpenRaise,
    Proofs,
    RepairProof,
    SheetProof,
    Status,
    lacks,
    moved_raises,
    raise_order,
    status_of,
    with_pending,
)
from throwbook.core.status.maintenance import entry_from, mends
from throwbook.core.status.raising import (
    causes_of_failed,
    orders_of_record,
    orders_of_sighting,
    repair_lacks,
    repeats_symptom,
)
from throwbook.errors import Field, InputError, Remedy
from throwbook.jobs.find import opened, rig_for_sheet
from throwbook.jobs.rig_changes import doubts_of, two_machines
from throwbook.jobs.unfinished import (
    Unfinished,
    pending_of,
    refuse_while_unjudged,
    to_judge_again,
    unfinished_recordings,
)
from throwbook.logbook import Logbook
from throwbook.logbook.store import Missing

if TYPE_CHECKING:
    from throwbook.core.assessment import Assessment
    from throwbook.core.records import PinAnswers
    from throwbook.core.status.maintenance import NextCheck
    from throwbook.core.status.raising import DueOrder


def orders_due(book: Logbook, rig: str | None = None) -> dict[str, set[Due]]:
    """By rig: every order that takes it out of use and must be there, by what is stored of its throws.

    Those below ``do not use`` are left out: of several alike only the first is written.
    """
    due: dict[str, set[Due]] = defaultdict(set)
    asking = book.asking(rig)
    if not asking:
        return due
    from throwbook.core.sheets.sheet import seen_at

    for one in asking:
        causes = {found.cause for found in orders_of_sighting(seen_at(one.trial, one.sightings))}
        for kind in one.kinds:
            causes |= causes_of_failed(kind, one.failed_signs)
        due[one.rig] |= {(one.trial, cause) for cause in causes if CAUSES[cause][0] == DO_NOT_USE}
    return due


def orders_gone(book: Logbook) -> list[tuple[str, str]]:
    """Name of a sheet, and what its stored throws or sightings took out of use without an order left to say so."""
    found = []
    for rig, due in orders_due(book).items():
        known = {(order.trial, order.cause) for order in book.orders(rig)}
        found += [(name, cause) for trial, cause in due - known for name in book.sheets_of(trial)]
    return sorted(set(found))


def repair_proofs(rows: Iterable[Service]) -> dict[str, RepairProof]:
    """Every entry by its id, the corrected ones too: a sheet may have been planned when only these were there.

    An entry that was corrected tells of a repair only while every entry that stands for it now does: "it wasn't done after
    all" takes the proof away, a slip of the pen put right leaves it.

    Its words are those that stand now.
    """
    listed = list(rows)
    corrections: dict[str, list[Service]] = {}
    for row in listed:
        for old in row.replaces:
            corrections.setdefault(old, []).append(row)
    return {row.id: _repair_proof(row, _stands_now(row, corrections)) for row in listed}


def _stands_now(row: Service, corrections: dict[str, list[Service]]) -> list[Service]:
    waiting, found, seen = [row], [], set()
    while waiting:
        one = waiting.pop()
        if one.id in seen:  # only in a file that somebody changed
            continue
        seen.add(one.id)
        later = corrections.get(one.id, [])
        waiting += later
        if not later:
            found.append(one)
    return found


def _repair_proof(row: Service, stands: Iterable[Service]) -> RepairProof:
    listed = list(stands)
    mended = bool(listed) and all(mends(entry_from(one)) for one in listed)
    words = listed[-1].details if mended else {}
    return RepairProof(
        row.id,
        row.rig,
        str(words.get("found", "")),
        str(words.get("fixed", "")),
        frozenset(row.details.get("answers", ())),
        row.action,
    )


CHECKING = (COMMISSIONING, SEASONAL, AFTER_SERVICE)
"""Kinds of sheet that answer a check that was due."""


@dataclass(frozen=True)
class RigStatus:
    """What is shown wherever a rig is shown."""

    rig: str
    status: Status
    commissioned: bool
    """An accepted commissioning sheet stands."""
    next_check: "NextCheck"
    practice: bool = False
    """It stands in a practice logbook: nothing here speaks for a real machine."""


def rig_status(
    book: Logbook,
    rig: str,
    today: date,
    due: Iterable[Due] | None = None,
    recordings: Iterable[Unfinished] | None = None,
    missing: Sequence[Missing] | None = None,
    earlier: Mapping[str, Sequence[str]] | None = None,
) -> RigStatus:
    """Status, commissioning and next check of one rig; ``due``, ``recordings``, ``missing`` and ``earlier`` as in ``status``."""
    return RigStatus(
        rig,
        status(book, rig, due, recordings, missing, earlier),
        book.commissioned(rig),
        _next_check(book, rig, today),
        book.for_practice(),
    )


def status(
    book: Logbook,
    rig: str,
    due: Iterable[Due] | None = None,
    recordings: Iterable[Unfinished] | None = None,
    missing: Sequence[Missing] | None = None,
    earlier: Mapping[str, Sequence[str]] | None = None,
) -> Status:
    """The latch as all orders in the logbook leave it, and what isn't judged yet.

    ``due``: the orders that its stored throws ask for, where they were read for all rigs at once (``orders_due``).
    ``recordings``: the unfinished ones beside the logbook, ``earlier``: throws that an earlier method judged, where they
    were looked for once for all rigs. ``missing``: what is missing from the logbook, where it was asked for already.
    """
    orders = book.orders(rig)
    asking = any(order.clears or order.cause == REASSIGNED for order in orders)
    evidence = evidence_for(book, rig, orders) if asking else Proofs()
    altered = book.altered_orders(rig) if orders else frozenset()
    if due is None:
        due = orders_due(book, rig).get(rig, ())
    if recordings is None:
        recordings = unfinished_recordings(book.path)
    gone = [one for one in (missing_from(book) if missing is None else missing) if one.rig in ("", rig)]
    expected = book.orders_named(rig) | {one.id for one in gone if one.kind == "latch_order"}
    rows = {one.id: one.what for one in gone if one.kind != "latch_order"}
    named = {name for order in orders for name in order.clears} - {order.id for order in orders}
    no_orders = book.no_orders(named) | doubts_of(book, rig) if named else frozenset()
    latched = status_of(rig, orders, evidence, altered, expected, due, rows, no_orders)
    if earlier is None:
        earlier = book.judged_earlier(rig)
    return with_pending(latched, [*pending_of(recordings, rig), *to_judge_again(earlier.get(rig, ()))])


def missing_from(book: Logbook) -> list[Missing]:
    """What holds rigs without an order: rows that are missing, a guard that is gone, two machines under one name."""
    return [*book.missing(), *two_machines(book)]


def evidence_for(book: Logbook, rig: str, orders: Iterable[Order], *, alone: bool = False) -> Proofs:
    """The service entries, the sheets that clearing orders name, each gone through again, and whose imported throws are.

    ``alone``: the throws of those sheets must also be of this rig alone. It is asked before a clearance is stored; where a
    merge brings it about later, an order tells (``shared_records``).
    """
    orders = list(orders)
    services = repair_proofs(book.services(rig, every_revision=True))
    imported = frozenset(
        one.trial
        for one in orders
        if one.cause == REASSIGNED and one.trial is not None and book.came_by_import(one.trial)
    )
    moved = frozenset(moved_raises(rig, orders, book))
    named = {order.sheet for order in orders if order.clears and order.sheet}
    if not named:
        return Proofs({}, services, imported, moved)
    broken = {seal.id for seal, _ in book.broken_seals(rig, named)}
    sheets = {
        one.sheet.id: _proof(book, one, broken, alone=alone)
        for one in book.sheets(rig)
        if one.sheet.id in named
    }
    return Proofs(sheets, services, imported, moved)


def unproven_sheets(book: Logbook) -> list[str]:
    """Names of sheets that say "accepted" although the rows they were sealed with don't pass the rules."""
    found = []
    for rig in book.rig_names():
        accepted = [one for one in book.sheets(rig) if one.decision and one.decision.outcome == ACCEPTED]
        broken = {seal.id for seal, _ in book.broken_seals(rig)} if accepted else set()
        found += [one.name for one in accepted if not _proof(book, one, broken).accepted]
    return found


def _proof(book: Logbook, state: SheetState, broken: Container[str], *, alone: bool = False) -> SheetProof:
    """A sheet as the latch sees it; accepted only if its sealed rows still pass."""
    from throwbook.core.sheets.sheet import plan_from

    plan = plan_from(state.sheet.plan)
    accepted = state.state == ACCEPTED and book.holds(state.sheet.id, rig_for_sheet(book, state), broken)
    accepted = accepted and not (alone and book.shared_records(state.sheet.id))
    signed = state.decision.signed if state.decision else ""
    return SheetProof(
        state.sheet.id,
        state.sheet.rig,
        state.sheet.kind,
        accepted,
        signed,
        frozenset(plan.answers),
        frozenset(plan.services),
    )


def raise_for(book: Logbook, state: SheetState, logged: LoggedTrial, by: str, now: datetime) -> list[Order]:
    """Write every order that a throw on a sheet gives rise to and that isn't there yet.

    Below ``do not use`` one open order for each sign and sheet is enough: eight throws with the same spot are one finding.
    """
    from throwbook.core.sheets.sheet import seen_at

    seen = seen_at(logged.id, book.sightings(state.sheet.id))
    found = orders_of_sighting(seen)
    if logged.judgement is not None:
        found += orders_of_record(state.sheet.kind, logged.judgement.assessment)
    return _raise(book, state, logged, found, by, now)


def raise_shown_now(
    book: Logbook,
    state: SheetState,
    logged: LoggedTrial,
    before: "Iterable[Assessment]",
    by: str,
    now: datetime,
) -> list[Order]:
    """The orders for what a throw that was judged again shows now; what it showed ``before`` and was cleared isn't raised anew."""
    if logged.judgement is None:
        return []
    kind = state.sheet.kind
    known = {(found.cause, found.sign) for one in before for found in orders_of_record(kind, one)}
    found = [
        one
        for one in orders_of_record(kind, logged.judgement.assessment)
        if CAUSES[one.cause][0] == DO_NOT_USE or (one.cause, one.sign) not in known
    ]
    return _raise(book, state, logged, found, by, now)


def _raise(
    book: Logbook,
    state: SheetState,
    logged: LoggedTrial,
    found: "Sequence[DueOrder]",
    by: str,
    now: datetime,
) -> list[Order]:
    if not found:
        return []
    orders = book.orders(state.sheet.rig)
    known = {(order.trial, order.cause) for order in orders}
    still_open = _still_open(book, state, orders)
    details = {(order.cause, order.details.get("sign", "")) for order in still_open}
    written = []
    for cause, because, sign in found:
        enough = CAUSES[cause][0] != DO_NOT_USE and (cause, sign) in details
        if (logged.id, cause) in known or enough:
            continue
        order = raise_order(
            state.sheet.rig, cause, because, now, by, trial=logged.id, sheet=state.sheet.id, sign=sign
        )
        written.append(book.add_order(order))
    return written


def _still_open(book: Logbook, state: SheetState, orders: Sequence[Order]) -> list[Order]:
    """Which of a sheet's orders are open. The latch is worked out only where a clearing order names one of them."""
    own = [order for order in orders if order.sheet == state.sheet.id and not order.clears]
    named = {name for order in orders for name in order.clears}
    answered = {(order.trial, order.cause) for order in orders if order.id in named}
    if not any(order.id in named or (order.trial, order.cause) in answered for order in own):
        return own
    open_ids = set(status(book, state.sheet.rig).open_ids)
    return [order for order in own if order.id in open_ids]


def raise_seen(
    book: Logbook,
    state: SheetState,
    pins: "PinAnswers",
    by: str,
    now: datetime,
    at: LoggedTrial | None = None,
) -> list[Order]:
    """An order for each "no" that no open order of the throw ``at`` answers for: it was cleared, or there is no throw.

    Such an order is known by itself, not by throw and cause: what cleared the earlier one doesn't clear it.
    """
    found = orders_of_sighting(pins)
    if not found:
        return []
    still_open = set(status(book, state.sheet.rig).open_ids)
    details = {
        order.cause
        for order in book.orders(state.sheet.rig)
        if at and order.trial == at.id and order.id in still_open
    }
    where = (
        f"throw {at.placement.position} of {state.name}" if at and at.placement else f"on sheet {state.name}"
    )
    written = []
    for cause, because, _ in found:
        if cause in details:
            continue
        said = f"{because}, {where}" if because else where
        order = raise_order(state.sheet.rig, cause, said, now, by, sheet=state.sheet.id)
        written.append(book.add_order(order))
    return written


def raise_by_hand(
    logbook: str | Path | None, rig: str, cause: str, because: str, by: str, now: datetime
) -> Status:
    """A person takes a rig up. Raises InputError for a cause that isn't in ``status.CAUSES`` or without a reason."""
    if cause not in CAUSES:
        raise InputError(f"no cause is called {cause!r}", Field("cause"), f"One of: {', '.join(CAUSES)}.")
    if not written(because):
        raise InputError("what was seen isn't written", Field("because"), "Say it in a few words.")
    with opened(logbook) as book, book.transaction():
        book.rig(rig)
        book.add_order(raise_order(rig, cause, written(because), now, by))
        return status(book, rig)


@dataclass(frozen=True)
class Clearing:
    """What a clearing order brings."""

    orders: tuple[str, ...]
    """Ids, or the starts of them."""
    signed: str
    because: str
    cause_found: str = ""
    service: str = ""
    """Id of a service entry, or the start of it."""
    sheet: str = ""
    """Name of the recommissioning sheet."""


def clear(
    logbook: str | Path | None, rig: str, brought: Clearing, by: str, now: datetime
) -> tuple[Order, Status]:
    """Bring a rig down by a signed order. Refused, with all that is lacking, unless it counts for every raise it names.

    Nothing is stored when it is refused.
    """
    with opened(logbook) as book, book.transaction():
        stored = book.add_order(_clearing_order(book, rig, brought, by, now))
        return stored, status(book, rig)


def check_clearing(logbook: str | Path | None, rig: str, brought: Clearing, by: str, now: datetime) -> None:
    """Raise what ``clear`` would raise; nothing is stored."""
    with opened(logbook, read_only=True) as book:
        _clearing_order(book, rig, brought, by, now)


def _clearing_order(book: Logbook, rig: str, brought: Clearing, by: str, now: datetime) -> Order:
    book.rig(rig)
    refuse_while_unjudged(book, rig, "not cleared")
    before = status(book, rig)
    raises = _named(before, brought.orders)
    entries = book.services(rig, every_revision=True)
    service = named_service(entries, brought.service, Field("service")) if brought.service else None
    sheet = book.sheet(brought.sheet) if brought.sheet else None
    order = Order(
        rig,
        IN_SERVICE,
        "cleared",
        written(brought.because),
        now,
        by,
        clears=tuple(sorted({name for one in raises for name in one.ids})),
        signed=written(brought.signed),
        sheet=sheet.sheet.id if sheet else None,
        service=service,
        details={"cause_found": written(brought.cause_found)},
    )
    evidence = evidence_for(book, rig, [*book.orders(rig), order], alone=True)
    complaints = []
    for one in raises:
        if not any(not lacks(order, name, one, evidence) for name in one.ids):
            missing = min((lacks(order, name, one, evidence) for name in one.ids), key=len)
            complaints.append(
                f"{one.ids[0][:8]} ({one.sentence}): {', '.join(NEED_SAID[need] for need in missing)}"
            )
    asked = [one.cause for one in raises if CAUSE_FOUND in one.needs]
    if asked and not complaints and repeats_symptom(brought.cause_found, asked):
        complaints.append(
            f"the cause found ({written(brought.cause_found)!r}) only repeats what was seen; write why, for example bent pin or worn nut"
        )
    repaired = [one.cause for one in raises if REPAIR in one.needs]
    if repaired and not complaints and service:
        proof = evidence.services[service]
        complaints += repair_lacks(proof.action, proof.found, proof.fixed, repaired).values()
    if complaints:
        raise InputError("not cleared: " + "; ".join(complaints), rig, remedy=Remedy.STEPS_TO_CLEAR)
    return order


def _named(before: Status, wanted: Sequence[str]) -> list[OpenRaise]:
    """The open raises that these orders (or the starts of their ids) belong to, each once."""
    found = []
    for text in wanted:
        fit = [one for one in before.open if any(name.startswith(text) for name in one.ids)]
        if len(fit) != 1 or len(text) < 4:
            raise InputError(
                f"{'no open order starts' if not fit else 'more than one open order starts'} with {text!r}",
                Field("order"),
                remedy=Remedy.LIST_OPEN,
            )
        found += [one for one in fit if one not in found]
    return found


def named_service(rows: Sequence[Service], text: str, where: str) -> str:
    """Id of the one entry among ``rows`` that starts with ``text``, four letters at least. Raises InputError for none."""
    fit = [row.id for row in rows if row.id.startswith(text)]
    if len(fit) != 1 or len(text) < 4:
        raise InputError(
            f"no single service entry of this rig starts with {text!r}",
            where,
            remedy=Remedy.LIST_SERVICES,
        )
    return fit[0]


def _next_check(book: Logbook, rig: str, today: date) -> "NextCheck":
    from throwbook.core.status.maintenance import entry_from, next_check

    entries = [entry_from(row) for row in book.services_with_checks(rig)]
    checked = book.newest_check(rig, CHECKING, today)
    if checked is None and not any(one.sets_check for one in entries):
        # A sign-off sets a check even where no throw of it has a day; one that is set isn't moved by it.
        checked = book.newest_check_planned(rig, CHECKING, today)
    hours = [one.machine_hours_h for one in sorted(entries, key=lambda one: one.on) if one.machine_hours_h]
    counted = [one.on for one in entries if one.due_cycles is not None]
    throws = None
    if counted:
        throws = book.locks_since(rig, max(counted))
    return next_check(entries, [checked] if checked else [], today, hours[-1] if hours else None, throws)
