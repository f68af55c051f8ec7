"""How a test sheet ends: accepted or rejected, with a name under it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.assessment import NO_RUN, STALL, WATCH
from throwbook.core.quantities.text import is_name, written
from throwbook.core.records import (
    AFTER_SERVICE,
    COMMISSIONING,
    OPEN,
    REJECTED,
    BaselineRecord,
    PinAnswers,
    SheetState,
)
from throwbook.core.sheets.sheet import SheetTrial, lock_throws, plan_from, sheet_trials
from throwbook.core.status.latch import Status, raise_order
from throwbook.core.status.maintenance import work_done
from throwbook.core.status.raising import WATCH_SIGN
from throwbook.errors import Field, InputError
from throwbook.jobs import latch
from throwbook.jobs.find import freeze_baselines, opened, rig_of
from throwbook.jobs.sheets import open_sheet, refuse_blank, write_down
from throwbook.jobs.unfinished import refuse_while_unjudged
from throwbook.logbook import Logbook

if TYPE_CHECKING:
    from throwbook.core.sheets.acceptance import Acceptance


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
    effect: str = ""
    """Of an after-service sheet: whether the service helped, in a line."""


def accept(
    logbook: str | Path | None,
    sheet: str,
    pins: PinAnswers,
    signed: str,
    now: datetime,
    baseline_reason: str = "",
    cautions_read: bool = False,
    shared_risk: bool = False,
    doubts_because: str = "",
) -> Accepted:
    """Sign a sheet off.

    What was seen is written down for every counting lock throw that has no sighting of its own and ended by itself (one
    that stalled or stopped short has to be looked at by name: ``see``), the rules are gone through with what is stored, and
    the decision is sealed: all of it or nothing. Raises InputError naming everything that is missing; the sheet then stays
    as it was. A "no" alone stays and takes the rig out of use, whatever becomes of the sheet, decided or open.
    """
    if not is_name(signed):
        raise InputError(
            "nobody has signed", Field("signed"), "Give the name of the person who saw the pins."
        )
    refuse_blank(pins)
    with opened(logbook) as book:
        with book.transaction():
            if not pins.says_no:
                return _accepted(
                    book,
                    sheet,
                    pins,
                    signed,
                    now,
                    baseline_reason,
                    cautions_read,
                    shared_risk,
                    doubts_because,
                )
            refused = _said_no(book, sheet, pins, signed, now)
        raise refused


def _accepted(
    book: Logbook,
    sheet: str,
    pins: PinAnswers,
    signed: str,
    now: datetime,
    baseline_reason: str,
    cautions_read: bool,
    shared_risk: bool,
    doubts_because: str,
) -> Accepted:
    """Sightings, decision, seal and baseline, in the transaction that is open. Raises InputError; nothing may stay then."""
    state = open_sheet(book, sheet)
    refuse_while_unjudged(book, state.sheet.rig, "not accepted")
    unseen = [one.id for one in _unseen(book, state) if _ended_by_itself(one)]
    write_down(book, state, unseen, pins, signed, now)
    rig = rig_of(book, state.sheet.rig)
    found = book.judged(state.sheet.id, rig, signed, now, shared_risk)
    decision = book.accept(
        state.sheet.id, rig, signed, signed, now, cautions_read, shared_risk, doubts_because
    )
    found = replace(found, statement=decision.statement["statement"])
    for because in found.alerts:
        book.add_order(raise_order(state.sheet.rig, WATCH_SIGN, because, now, signed, sheet=state.sheet.id))
    frozen, kept = _freeze(book, state, signed, now, baseline_reason)
    signed_off, effect = book.sheet(state.sheet.id), ""
    if state.sheet.kind == AFTER_SERVICE:
        from throwbook.jobs.trend import effects_measured_by

        effect = effects_measured_by(book, state.sheet.rig, signed_off.name, now.date())
    return Accepted(signed_off, found, latch.status(book, state.sheet.rig), frozen, kept, effect)


def _said_no(book: Logbook, sheet: str, pins: PinAnswers, signed: str, now: datetime) -> InputError:
    """A "no" is kept before anything else: at the lock throws nobody looked at yet, else at all of them, else for the sheet.

    Gives the refusal, which says what was written down.
    """
    state = book.sheet(sheet)
    locks = lock_throws(sheet_trials(book.trials(sheet=state.sheet.id)))
    looked_at = (_unseen(book, state) if state.state == OPEN else []) or locks
    write_down(book, state, [one.id for one in looked_at], pins, signed, now)
    if not looked_at:
        latch.raise_seen(book, state, pins, signed, now)
    places = ", ".join(str(one.position) for one in looked_at) or "none"
    level = latch.status(book, state.sheet.rig).level
    written_down = f"The NO is recorded (lock throws: {places}); the rig is at '{level}'."
    if state.state == OPEN:
        found = book.judged(state.sheet.id, rig_of(book, state.sheet.rig), signed, now)
        return book.refusal(found, state.sheet.id, f"It stays open. {written_down}")
    why = f"this sheet is {state.state} already"
    return InputError(why, f"sheet {state.name}", f"It stays {state.state}. {written_down}")


def _unseen(book: Logbook, state: SheetState) -> list[SheetTrial]:
    """The counting lock throws that nobody has looked at yet."""
    looked_at = {one.trial for one in book.sightings(state.sheet.id)}
    throws = lock_throws(sheet_trials(book.trials(sheet=state.sheet.id)))
    return [one for one in throws if not one.left_out and one.id not in looked_at]


def _ended_by_itself(one: SheetTrial) -> bool:
    """False: a "yes" that is meant for the whole sheet can't be meant for this throw."""
    found = one.assessment
    return found.end not in (STALL, NO_RUN) and all(sign.sign != "stopped-short" for sign in found.signs)


def _freeze(
    book: Logbook, state: SheetState, by: str, now: datetime, reason: str
) -> tuple[tuple[str, ...], str]:
    """A baseline from an accepted commissioning sheet, unless an older one has to stay."""
    from throwbook.core.sheets.baseline_selection import may_replace

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
    worked = {row.id for row in book.services(state.sheet.rig) if work_done(row.action)}
    return [name for name in plan_from(state.sheet.plan).services if name not in known and name in worked]


def reject(
    logbook: str | Path | None, sheet: str, because: str, signed: str, now: datetime
) -> tuple[SheetState, Status]:
    """End a sheet as rejected, with the reason and a name; it is sealed as it stands."""
    if not written(because):
        raise InputError("no reason given", Field("because"), "Say what was wrong in a few words.")
    if not is_name(signed):
        raise InputError("nobody has signed", Field("signed"), "Give your name.")
    with opened(logbook) as book, book.transaction():
        state = open_sheet(book, sheet)
        found = book.judged(state.sheet.id, rig_of(book, state.sheet.rig))
        statement = {"because": written(because), "missing": list(found.missing)}
        decision = book.decide(
            state.sheet.id, REJECTED, written(signed), statement, written(signed), now, written(because)
        )
        book.seal_sheet(state.sheet.id, decision.id, now)
        return book.sheet(state.sheet.id), latch.status(book, state.sheet.rig)
