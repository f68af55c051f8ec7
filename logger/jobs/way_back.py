"""The way back from a raised status, step by step: what is done, what comes next. It only tells; ``latch.clear`` decides."""

from dataclasses import dataclass
from pathlib import Path

from logger.core.quantities.plain import for_shell, printable
from logger.core.records.records import ACCEPTED, COMMISSIONING, SheetState
from logger.core.sheets.sheet import plan_from
from logger.core.standing.service import ServiceEntry, entry_from, is_repair
from logger.core.standing.status import (
    CAUSE_FOUND,
    REASON,
    RECOMMISSIONED,
    REPAIR,
    SIGNED,
    RepairProof,
    Status,
)
from logger.core.standing.status_words import DONE, NEXT_STEP, judging_first
from logger.jobs import latch
from logger.jobs.logbooks import opened
from logger.jobs.repairs import repair_proofs
from logger.logbook import Logbook


@dataclass(frozen=True)
class Step:
    """One step of the way down."""

    need: str
    """One of the needs in ``core.standing.status``."""
    done: bool
    with_what: str
    """The entry or the sheet that does it, in words; empty: nothing yet."""


@dataclass(frozen=True)
class WayBack:
    """Where the rig stands on its way down."""

    status: Status
    steps: tuple[Step, ...]
    """In order; empty in service."""
    orders: tuple[str, ...]
    """Ids to name in the clearing order."""
    repair: ServiceEntry | None
    sheet: SheetState | None
    """An accepted commissioning sheet that was planned after the repair."""
    open_sheet: SheetState | None
    """One that is planned after it and still open."""

    @property
    def repair_first(self) -> bool:
        """A commissioning sheet planned now would prove nothing: no repair is logged that it could be after."""
        return any(one.need == REPAIR for one in self.steps) and self.repair is None


def way_back(logbook: str | Path | None, rig: str) -> WayBack:
    """What brings the rig down, and how far that has come."""
    with opened(logbook, read_only=True) as book:
        return way_back_in(book, rig, latch.status(book, rig))


def way_back_in(book: Logbook, rig: str, status: Status) -> WayBack:
    """The same in an open logbook, of a status that was read."""
    if not status.open:
        return WayBack(status, (), (), None, None, None)
    raised = [set(one.ids) for one in status.open if REPAIR in one.needs]
    proved = [set(one.ids) for one in status.open if RECOMMISSIONED in one.needs]
    rows = book.services(rig, every_revision=True)
    proofs = repair_proofs(rows)
    # What asks for no repair is answered by none: an old one must not be named as if it did.
    entries = [entry_from(row) for row in rows if raised and _repairs(proofs[row.id], raised)]
    repair = entries[-1] if entries else None
    may_prove = bool(proved) and (repair is not None or not raised)
    later = [one for one in book.sheets(rig) if may_prove and _after(one, proved, repair)]
    sheet = next((one for one in reversed(later) if one.state == ACCEPTED), None)
    open_sheet = next((one for one in reversed(later) if one.state == "open"), None)
    needs = dict.fromkeys(need for one in status.open for need in one.needs)
    ordered = [need for need in (CAUSE_FOUND, REPAIR, RECOMMISSIONED, REASON, SIGNED) if need in needs]
    return WayBack(
        status,
        tuple(_step(need, repair, sheet) for need in ordered),
        tuple(one.ids[0] for one in status.open),
        repair,
        sheet,
        open_sheet,
    )


def steps_said(book: Logbook, rig: str, status: Status) -> tuple[str, ...]:
    """The steps of the way down in words, for every place that names them; empty in service.

    The done ones with what did them, the last one as it is to be typed.
    """
    way = way_back_in(book, rig, status)
    needs = [step.need for step in way.steps]
    said = judging_first(status)
    for step in way.steps:
        if step.done:
            said.append(f"{DONE}{step.need}: {printable(step.with_what)}")
        elif step.need == RECOMMISSIONED and way.open_sheet is not None:
            name = for_shell(way.open_sheet.name)
            said.append(f"commission anew in full: {name} is planned: throwbook sheet show {name}")
        elif step.need == REASON or (step.need == SIGNED and REASON not in needs):
            said.append(f"{NEXT_STEP[step.need].partition(':')[0]}: {_clear_command(rig, way)}")
        elif step.need != SIGNED:
            said.append(NEXT_STEP[step.need])
    return tuple(said)


def _clear_command(rig: str, way: WayBack) -> str:
    words = ["throwbook order clear", for_shell(rig), "--all", "--because TEXT"]
    asked = RECOMMISSIONED in [step.need for step in way.steps]
    if asked:
        repaired = any(step.need == REPAIR for step in way.steps)
        words.append("--cause-found TEXT")
        if repaired:
            words.append(f"--service {way.repair.id[:8]}" if way.repair is not None else "--service ENTRY")
        words.append(f"--sheet {for_shell(way.sheet.name)}" if way.sheet is not None else "--sheet NAME")
    return " ".join([*words, "--signed NAME"])


def _repairs(proof: RepairProof, raised: list[set[str]]) -> bool:
    """What was raised after it, and needs no repair, doesn't count against it."""
    mended = is_repair(proof.action, proof.found, proof.fixed)
    return mended and all(ids & proof.answers for ids in raised)


def _after(state: SheetState, raised: list[set[str]], repair: ServiceEntry | None) -> bool:
    plan = plan_from(state.sheet.plan)
    after_work = repair is None or repair.id in plan.services
    planned_for = after_work and all(ids & set(plan.answers) for ids in raised)
    return state.sheet.kind == COMMISSIONING and planned_for


def _step(need: str, repair: ServiceEntry | None, sheet: SheetState | None) -> Step:
    if need == CAUSE_FOUND:
        return Step(need, repair is not None, repair.found.what if repair else "")
    if need == REPAIR:
        return Step(need, repair is not None, repair.fixed.what if repair else "")
    if need == RECOMMISSIONED:
        return Step(need, sheet is not None, sheet.name if sheet else "")
    return Step(need, False, "")
