"""Test sheets: planned, answered, looked at, accepted or rejected."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.core.assessment import NO_RUN, STALL, WATCH
from logger.core.quantities.plain import written
from logger.core.records.records import COMMISSIONING, OPEN, REJECTED, BaselineRecord, SheetState
from logger.core.sheets.sheet import (
    ANSWERS,
    NO,
    NOT_LOOKED,
    SEEN,
    Plan,
    SheetTrial,
    lock_throws,
    plan_details,
    plan_for,
    plan_from,
    sheet_trials,
)
from logger.core.standing.service import NO_REPAIR, entry_from
from logger.core.standing.status import Status
from logger.errors import InputError
from logger.jobs import latch
from logger.jobs.logbooks import opened
from logger.jobs.rig_of import rig_of
from logger.jobs.sheet_view import SheetView, view_in
from logger.logbook import Logbook

if TYPE_CHECKING:
    from logger.core.sheets.acceptance import Acceptance


@dataclass(frozen=True)
class Looked:
    """What a person saw at a throw, as it is handed in."""

    left_pin: str = NOT_LOOKED
    right_pin: str = NOT_LOOKED
    how: str = ""
    load_check: str = NOT_LOOKED
    retained_power_off: str = NOT_LOOKED
    reason: str = ""
    """Why it corrects an earlier one; empty: it doesn't."""


def plan(
    logbook: str | Path | None,
    rig: str,
    kind: str,
    by: str,
    now: datetime,
    throws: int | None = None,
    answers: Mapping[str, Any] | None = None,
) -> tuple[SheetState, Plan]:
    """A new open sheet."""
    with opened(logbook) as book, book.transaction():
        state = plan_in(book, rig, kind, by, now, throws, answers)
        return state, plan_from(state.sheet.plan)


def plan_in(
    book: Logbook,
    rig: str,
    kind: str,
    by: str,
    now: datetime,
    throws: int | None = None,
    answers: Mapping[str, Any] | None = None,
) -> SheetState:
    """The same in an open logbook, for jobs that fill the sheet in one go.

    The plan names the orders that hold the rig and the service entries logged so far: that is what makes a commissioning
    sheet count as one after the repair.
    """
    described = rig_of(book, rig)
    if described.retired:
        raise InputError(
            f"this rig is retired ({described.retired})",
            rig,
            "'throwbook rig retire --back' brings it back first.",
        )
    services = tuple(sorted(row.id for row in book.services(rig, every_revision=True)))
    held = latch.status(book, rig).open_ids
    made = plan_for(kind, described, throws, held, services, _answered_at(book, rig, held))
    sheet = book.plan_sheet(rig, kind, plan_details(made), by, now)
    if answers:
        book.answer(sheet.id, dict(answers), by, now)
    return book.sheet(sheet.id)


def _answered_at(book: Logbook, rig: str, held: Sequence[str]) -> str:
    """When the newest of what a sheet answers happened: the throws that raised it, the day of the work on it.

    By the clocks of that time, so it can only refuse throws, never let anything pass (the ids do that). What a person
    raised counts from when it was written down; a throw without a date not at all.
    """
    started = {one.id: one.trial.started for one in book.trials(rig=rig)} if held else {}
    moments = [
        started.get(order.trial) if order.trial else order.at
        for order in book.orders(rig)
        if order.id in set(held)
    ]
    for row in book.services(rig):
        entry = entry_from(row)
        if set(entry.answers) & set(held):
            moments.append(datetime.combine(entry.on, time(0), row.at.tzinfo))
    known = [moment for moment in moments if moment is not None]
    return max(known).isoformat() if known else ""


def answer(
    logbook: str | Path | None,
    sheet: str,
    answers: Mapping[str, Any],
    by: str,
    now: datetime,
    reason: str = "",
) -> SheetState:
    """Answer questions of an open sheet; those not given stay as they were."""
    with opened(logbook) as book, book.transaction():
        state = _open(book, sheet)
        book.answer(state.sheet.id, {**state.answers, **answers}, by, now, reason)
        return book.sheet(state.sheet.id)


def see(
    logbook: str | Path | None, sheet: str, throws: Sequence[int], looked: Looked, by: str, now: datetime
) -> tuple[SheetView, int]:
    """Write down what was seen at throws of an open sheet. A "no" takes the rig out of use at once.

    Gives the sheet and how many orders that raised.
    """
    _refuse_blank(looked)
    with opened(logbook) as book, book.transaction():
        state = _open(book, sheet)
        positions = {
            one.position: one for one in lock_throws(sheet_trials(book.trials(sheet=state.sheet.id)))
        }
        for number in throws:
            if number not in positions:
                listed = ", ".join(map(str, positions)) or "none yet"
                raise InputError(
                    f"throw {number} is no lock throw of this sheet", sheet, f"Its lock throws: {listed}."
                )
        raised = _look(book, state, [positions[number].id for number in throws], looked, by, now)
        return view_in(book, state), raised


def _look(
    book: Logbook, state: SheetState, trials: Sequence[str], looked: Looked, by: str, now: datetime
) -> int:
    logged = {one.id: one for one in book.trials(sheet=state.sheet.id)}
    raised = 0
    for trial in trials:
        book.sight(
            trial,
            looked.left_pin,
            looked.right_pin,
            looked.how,
            by,
            now,
            looked.reason,
            looked.load_check,
            looked.retained_power_off,
        )
        raised += len(latch.raise_for(book, state, logged[trial], by, now))
    return raised


def leave_out(
    logbook: str | Path | None, sheet: str, throw: int, because: str, by: str, now: datetime
) -> SheetView:
    """Take a throw of an open sheet out of the count, with a reason; it stays on the sheet, and so does what it raised."""
    if not written(because):
        raise InputError("no reason given", "--because", "Say why it doesn't count.")
    with opened(logbook) as book, book.transaction():
        state = _open(book, sheet)
        fit = [
            one.placement
            for one in book.trials(sheet=state.sheet.id)
            if one.placement is not None and one.placement.position == throw
        ]
        if not fit:
            raise InputError(f"this sheet has no throw {throw}", sheet, "'throwbook sheet show' lists them.")
        old = fit[0]
        book.place(
            replace(
                old,
                id="",
                left_out=written(because),
                reason=written(because),
                at=now,
                by=by,
                replaces=(old.id,),
            )
        )
        return view_in(book, state)


@dataclass(frozen=True)
class Accepted:
    """A sheet that was accepted."""

    state: SheetState
    acceptance: "Acceptance"
    status: Status
    baselines: tuple[str, ...]
    """Directions that a baseline was frozen for."""
    baseline_kept: str
    """Why the old baseline stays; empty: it doesn't."""


def accept(
    logbook: str | Path | None,
    sheet: str,
    looked: Looked,
    signed: str,
    now: datetime,
    baseline_reason: str = "",
    cautions_read: bool = False,
) -> Accepted:
    """Sign a sheet off.

    What was seen is first written down for every lock throw that has no sighting of its own and ended by itself (one that
    stalled or stopped short has to be looked at by name: ``see``); a "no" stays and takes the rig out of use, whatever
    becomes of the sheet. Then the rules are gone through with what is stored. Raises InputError
    naming everything that is missing; the sheet then stays open.
    """
    if not written(signed):
        raise InputError("nobody has signed", "--signed", "Give the name of who saw the pins.")
    _refuse_blank(looked)
    with opened(logbook) as book:
        with book.transaction():
            state = _open(book, sheet)
            held = book.sightings(state.sheet.id)
            trials = lock_throws(sheet_trials(book.trials(sheet=state.sheet.id)))
            no = NO in (looked.left_pin, looked.right_pin, looked.load_check, looked.retained_power_off)
            unseen = [
                one.id
                for one in trials
                if not any(seen.trial == one.id for seen in held) and (no or _ended_by_itself(one))
            ]
            _look(book, state, unseen, looked, signed, now)
        with book.transaction():
            rig = rig_of(book, state.sheet.rig)
            found = book.judged(state.sheet.id, rig, signed, now)
            book.accept(state.sheet.id, rig, signed, signed, now, cautions_read)
            frozen, kept = _freeze(book, state, signed, now, baseline_reason)
            return Accepted(
                book.sheet(state.sheet.id), found, latch.status(book, state.sheet.rig), frozen, kept
            )


def _ended_by_itself(one: SheetTrial) -> bool:
    """False: a "yes" that is meant for the whole sheet can't be meant for this throw."""
    found = one.assessment
    return found.end not in (STALL, NO_RUN) and all(sign.sign != "stopped-short" for sign in found.signs)


def _freeze(
    book: Logbook, state: SheetState, by: str, now: datetime, reason: str
) -> tuple[tuple[str, ...], str]:
    """A baseline from an accepted commissioning sheet, unless an older one has to stay."""
    from logger.core.sheets.baseline_choice import may_replace
    from logger.jobs.baselines import freeze_baselines

    if state.sheet.kind != COMMISSIONING:
        return (), ""
    older = book.baselines(state.sheet.rig)
    since = _services_since(book, state, older)
    logged = book.trials(sheet=state.sheet.id)
    shown = [
        sign.sign
        for one in logged
        if one.judgement and one.placement and not one.placement.left_out
        for sign in one.judgement.assessment.signs
        if sign.level == WATCH
    ]
    stays = may_replace(bool(since), reason, shown) if older else ""
    if stays:
        return (), stays
    why = written(reason) or f"{state.sheet.kind} sheet {state.name}, accepted"
    rows = freeze_baselines(book, state.sheet.rig, logged, by, now, why, since[-1] if since else None)
    return tuple(row.direction for row in rows), ""


def _services_since(book: Logbook, state: SheetState, older: Sequence[BaselineRecord]) -> list[str]:
    """Service entries that this sheet's plan knows and the sheets of the older baselines didn't, by their plans."""
    sheets = {one.sheet.id: one for one in book.sheets(state.sheet.rig)}
    used = {trial for one in older for trial in one.trials}
    before = {
        one.placement.sheet
        for one in book.trials(rig=state.sheet.rig)
        if one.id in used and one.placement is not None
    }
    known = {name for sheet in before for name in plan_from(sheets[sheet].sheet.plan).services}
    worked = {row.id for row in book.services(state.sheet.rig) if row.action not in NO_REPAIR}
    return [name for name in plan_from(state.sheet.plan).services if name not in known and name in worked]


def reject(
    logbook: str | Path | None, sheet: str, because: str, signed: str, now: datetime
) -> tuple[SheetState, Status]:
    """End a sheet as rejected, with the reason and a name; it is sealed as it stands."""
    if not written(because):
        raise InputError("no reason given", "--because", "Say what was wrong in a few words.")
    if not written(signed):
        raise InputError("nobody has signed", "--signed", "Give your name.")
    with opened(logbook) as book, book.transaction():
        state = _open(book, sheet)
        found = book.judged(state.sheet.id, rig_of(book, state.sheet.rig))
        statement = {"because": written(because), "missing": list(found.missing)}
        decision = book.decide(
            state.sheet.id, REJECTED, written(signed), statement, written(signed), now, written(because)
        )
        book.seal_sheet(state.sheet.id, decision.id, now)
        return book.sheet(state.sheet.id), latch.status(book, state.sheet.rig)


def _open(book: Logbook, sheet: str) -> SheetState:
    state = book.sheet(sheet)
    if state.state != OPEN:
        raise InputError(
            f"this sheet is {state.state} already", sheet, "What is decided stays; plan a new sheet."
        )
    return state


def _refuse_blank(looked: Looked) -> None:
    for name in SEEN:
        if getattr(looked, name) not in ANSWERS:
            raise InputError(
                f"{getattr(looked, name)!r} is no answer", name, f"One of: {', '.join(ANSWERS)}."
            )
    if (looked.left_pin, looked.right_pin) != (NOT_LOOKED, NOT_LOOKED) and not written(looked.how):
        raise InputError(
            "how the pins were seen isn't written", "--seen-how", "For example: --seen-how torch"
        )
