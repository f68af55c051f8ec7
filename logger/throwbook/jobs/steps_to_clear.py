"""Steps to clear a rig's orders, and what happened to it since its last acceptance. It only tells; ``latch.clear`` decides."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.quantities.text import for_shell, printable
from throwbook.core.records import ACCEPTED, COMMISSIONING, OPEN, SheetState
from throwbook.core.sheets.sheet import plan_from
from throwbook.core.status.latch import (
    CAUSE_FOUND,
    REASON,
    RECOMMISSIONED,
    REPAIR,
    SIGNED,
    RepairProof,
    Status,
)
from throwbook.core.status.maintenance import ServiceEntry, entry_from
from throwbook.core.status.raising import repair_lacks
from throwbook.core.status.status_text import (
    DONE,
    NEXT_STEP,
    events_since_acceptance,
    judging_first,
    said_since,
)
from throwbook.core.wording import CONDITIONS
from throwbook.errors import InputError
from throwbook.jobs import latch
from throwbook.jobs.find import opened, rig_for_sheet, rig_of
from throwbook.jobs.latch import repair_proofs
from throwbook.jobs.maintenance import event_days
from throwbook.logbook import Logbook

if TYPE_CHECKING:
    from throwbook.core.sizing.sizing import Gap


def happened_in(book: "Logbook", rig: str) -> tuple[str, ...]:
    """One sentence for each event, oldest first; one that says so where there is none."""
    sheets, orders = book.sheets(rig), book.orders(rig)
    services = [entry_from(row) for row in book.services(rig)]
    # Only the throws that an event can speak of: a rig may have ten thousand.
    asked = {order.sheet for order in orders if order.sheet}
    asked |= {one.sheet.id for one in sheets if one.state == OPEN}
    throws = {one.id: one for sheet in asked for one in book.trials(sheet=sheet)}
    open_orders = latch.status(book, rig).open_ids
    return said_since(sheets, events_since_acceptance(sheets, orders, services, throws, open_orders))


def gaps_in(book: "Logbook", rig: str) -> "tuple[Gap, ...]":
    """What the status of a rig doesn't cover: its suitability, and the blanks of its newest accepted commissioning.

    A rig whose values this version can't read has all of that open: its status is shown all the same.
    """
    from throwbook.core.sizing.sizing import Gap

    try:
        return _gaps(book, rig)
    except InputError as error:
        return (Gap("rig file", says=str(error)),)


def _gaps(book: "Logbook", rig: str) -> "tuple[Gap, ...]":
    from throwbook.core.sheets.conditions import conditions_from, unanswered, with_air
    from throwbook.core.sizing.sizing import not_covered

    newest = _commissioned_by(book, rig)
    if newest is None:
        return not_covered(rig_of(book, rig))
    conditions = conditions_from(newest.answers)
    if conditions.ambient_c is None:
        logged = book.trials(sheet=newest.sheet.id)
        conditions = with_air(conditions, (one.placement.ambient_c for one in logged if one.placement))
    blank = unanswered(conditions)
    return not_covered(rig_of(book, rig), [(CONDITIONS[one.key].sentence, one.claim_lost) for one in blank])


def not_proved_in(book: "Logbook", rig: str) -> tuple[str, ...]:
    """What nobody could read when the rig was commissioned, in words; what was then taken by shared risk, and what is doubtful."""
    newest = _commissioned_by(book, rig)
    if newest is None:
        return ()
    found = book.judged(newest.sheet.id, rig_for_sheet(book, newest))
    taken = [f"accepted by shared risk: {one}" for one in found.shared_risk]
    return (*found.not_proved, *taken, *(f"doubtful: {one}" for one in found.doubts))


def _commissioned_by(book: "Logbook", rig: str) -> SheetState | None:
    """The newest accepted commissioning sheet; None: there is none."""
    accepted = [
        one
        for one in book.sheets(rig)
        if one.state == ACCEPTED and one.decision is not None and one.sheet.kind == COMMISSIONING
    ]
    return accepted[-1] if accepted else None


@dataclass(frozen=True)
class ClearingStep:
    """One step of the way down."""

    need: str
    """One of the needs in ``core.status.latch``."""
    done: bool
    with_what: str
    """The entry or the sheet that does it, in words; empty: nothing yet."""


@dataclass(frozen=True)
class StepsToClear:
    """How far the clearing of a rig has come."""

    status: Status
    steps: tuple[ClearingStep, ...]
    """In order; empty in service."""
    orders: tuple[str, ...]
    """Ids to name in the clearing order."""
    repair: ServiceEntry | None
    sheet: SheetState | None
    """An accepted commissioning sheet that was planned after the repair."""
    open_sheet: SheetState | None
    """One that is planned after it and still open."""
    causes: tuple[str, ...] = ()
    """Of the orders that need a repair."""
    happened_on: date | None = None
    """The day of the newest of them: the repair can't be older. None: none needs a repair."""

    @property
    def repair_first(self) -> bool:
        """A commissioning sheet planned now would prove nothing: no repair is logged that it could be after."""
        return any(one.need == REPAIR for one in self.steps) and self.repair is None


def steps_to_clear(logbook: str | Path | None, rig: str) -> StepsToClear:
    """What brings the rig down, and how far that has come."""
    with opened(logbook, read_only=True) as book:
        return steps_to_clear_in(book, rig, latch.status(book, rig))


def steps_to_clear_in(book: Logbook, rig: str, status: Status) -> StepsToClear:
    """The same in an open logbook, of a status that was read."""
    if not status.open:
        return StepsToClear(status, (), (), None, None, None)
    to_repair = [one for one in status.open if REPAIR in one.needs]
    raised, causes = [set(one.ids) for one in to_repair], [one.cause for one in to_repair]
    proved = [set(one.ids) for one in status.open if RECOMMISSIONED in one.needs]
    asked = {name for ids in raised for name in ids}
    days = event_days(book, rig, asked) if asked else {}
    rows = book.services(rig, every_revision=True)
    proofs = repair_proofs(rows)
    # What asks for no repair is answered by none: an old one must not be named as if it did.
    entries = [entry_from(row) for row in rows if raised and _repairs(proofs[row.id], raised, causes)]
    repair = entries[-1] if entries else None
    may_prove = bool(proved) and (repair is not None or not raised)
    later = [one for one in book.sheets(rig) if _after(one, proved, repair)] if may_prove else []
    sheet = next((one for one in reversed(later) if one.state == ACCEPTED), None)
    open_sheet = next((one for one in reversed(later) if one.state == "open"), None)
    needs = dict.fromkeys(need for one in status.open for need in one.needs)
    ordered = [need for need in (CAUSE_FOUND, REPAIR, RECOMMISSIONED, REASON, SIGNED) if need in needs]
    return StepsToClear(
        status,
        tuple(_step(need, repair, sheet) for need in ordered),
        tuple(one.ids[0] for one in status.open),
        repair,
        sheet,
        open_sheet,
        tuple(causes),
        max(days.values(), default=None),
    )


def steps_said(book: Logbook, rig: str, status: Status) -> tuple[str, ...]:
    """The steps of clearing it in words, for every place that names them; empty in service.

    The done ones with what did them, the last one as it is to be typed.
    """
    way = steps_to_clear_in(book, rig, status)
    needs = [step.need for step in way.steps]
    said = judging_first(status)
    for step in way.steps:
        if step.done:
            said.append(f"{DONE}{step.need}: {printable(step.with_what)}")
        elif step.need == RECOMMISSIONED and way.open_sheet is not None:
            name = for_shell(way.open_sheet.name)
            said.append(f"commission again in full: {name} is planned: throwbook sheet show {name}")
        elif step.need == REASON or (step.need == SIGNED and REASON not in needs):
            said.append(f"{NEXT_STEP[step.need].partition(':')[0]}: {_clear_command(rig, way)}")
        elif step.need != SIGNED:
            said.append(NEXT_STEP[step.need])
    return tuple(said)


def _clear_command(rig: str, steps: StepsToClear) -> str:
    words = ["throwbook order clear", for_shell(rig), "--all", "--because TEXT"]
    asked = RECOMMISSIONED in [step.need for step in steps.steps]
    if asked:
        repaired = any(step.need == REPAIR for step in steps.steps)
        words.append("--cause-found TEXT")
        if repaired:
            words.append(
                f"--service {steps.repair.id[:8]}" if steps.repair is not None else "--service ENTRY"
            )
        words.append(f"--sheet {for_shell(steps.sheet.name)}" if steps.sheet is not None else "--sheet NAME")
    return " ".join([*words, "--signed NAME"])


def _repairs(proof: RepairProof, raised: list[set[str]], causes: list[str]) -> bool:
    """What was raised after it, and needs no repair, doesn't count against it."""
    lacking = repair_lacks(proof.action, proof.found, proof.fixed, causes)
    return not lacking and all(ids & proof.answers for ids in raised)


def _after(state: SheetState, raised: list[set[str]], repair: ServiceEntry | None) -> bool:
    plan = plan_from(state.sheet.plan)
    after_work = repair is None or repair.id in plan.services
    planned_for = after_work and all(ids & set(plan.answers) for ids in raised)
    return state.sheet.kind == COMMISSIONING and planned_for


def _step(need: str, repair: ServiceEntry | None, sheet: SheetState | None) -> ClearingStep:
    if need == CAUSE_FOUND:
        return ClearingStep(need, repair is not None, repair.found.what if repair else "")
    if need == REPAIR:
        return ClearingStep(need, repair is not None, repair.fixed.what if repair else "")
    if need == RECOMMISSIONED:
        return ClearingStep(need, sheet is not None, sheet.name if sheet else "")
    return ClearingStep(need, False, "")
