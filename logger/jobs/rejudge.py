"""A sheet judged again: a changed rig file, method or baseline gives new verdicts beside the old ones."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger import __version__
from logger.core.quantities.plain import written
from logger.core.records.records import BENCH, BY_HAND, LoggedTrial, SheetState
from logger.core.sheets.questions import conditions_from
from logger.core.standing.status import Status
from logger.errors import InputError
from logger.jobs import latch
from logger.jobs.baselines import Held, baseline_for
from logger.jobs.logbooks import opened
from logger.jobs.rig_of import rig_of
from logger.logbook import Logbook

if TYPE_CHECKING:
    from logger.core.assessment import Assessment
    from logger.core.rig import Rig
    from logger.core.sheets.byhand_lines import HandThrow
    from logger.core.sheets.instruments import Instruments


@dataclass(frozen=True)
class Changed:
    """A throw whose verdict is another one now."""

    position: int
    direction: str
    before: str
    after: str
    because: str


@dataclass(frozen=True)
class Rejudged:
    """What judging again came to."""

    state: SheetState
    judged: int
    changed: tuple[Changed, ...]
    status: Status


def rejudge(logbook: str | Path | None, sheet: str, reason: str, by: str, now: datetime) -> Rejudged:
    """Judge every throw of a sheet again. Raises InputError without a reason, or for a sheet that isn't there."""
    if not written(reason):
        raise InputError("no reason given", "--reason", "Say why it is judged again.")
    with opened(logbook) as book, book.transaction():
        state = book.sheet(sheet)
        rig = rig_of(book, state.sheet.rig)
        logged = [one for one in book.trials(sheet=state.sheet.id) if one.judgement is not None]
        kind = state.sheet.kind
        held = {one.direction: baseline_for(book, rig.name, one.direction, kind) for one in logged}
        changed = []
        for one in logged:
            found = held[one.direction]
            air_c = conditions_from(state.answers).ambient_c
            assessment, calibration = _again(book, one, rig, found, air_c, on_bench=kind == BENCH)
            record = found.record.id if found is not None and found.record is not None else None
            book.judge(one.id, assessment, by, now, __version__, record, written(reason), calibration)
            before = one.judgement.assessment.verdict if one.judgement else ""
            if assessment.verdict != before:
                position = one.placement.position if one.placement else 0
                changed.append(
                    Changed(position, one.direction, before, assessment.verdict, assessment.because)
                )
        for one in book.trials(sheet=state.sheet.id):
            latch.raise_for(book, state, one, by, now)
        return Rejudged(state, len(logged), tuple(changed), latch.status(book, rig.name))


def _again(
    book: Logbook,
    logged: LoggedTrial,
    rig: "Rig",
    held: Held | None,
    air_c: float | None,
    on_bench: bool,
) -> "tuple[Assessment, str | None]":
    """The throw judged as it would be today, its record or what was read by hand; and the calibration it was judged with."""
    baseline = held.baseline if held is not None else None
    if logged.trial.source == BY_HAND:
        from logger.core.sheets.byhand import assess_by_hand
        from logger.core.sheets.byhand_lines import in_air

        throw, tools = hand_throw(dict(logged.trial.hand or {}), logged.direction)
        return assess_by_hand(in_air(throw, air_c), rig, tools, baseline), None
    from logger.core.stroke.assess import assess_trace
    from logger.jobs.calibrate import calibration_in, trace_of

    trace = trace_of(book, logged)
    return assess_trace(trace, rig, baseline, on_bench=on_bench), calibration_in(book, trace)


def hand_throw(kept: dict[str, Any], direction: str) -> "tuple[HandThrow, Instruments]":
    """Readings and instruments as the logbook keeps them for a trial by hand."""
    from logger.core.sheets.byhand_lines import HandThrow, Reading
    from logger.core.sheets.instruments import Accuracy, Instruments

    tools = kept.pop("instruments", {})
    instruments = Instruments(
        Accuracy(**tools["clamp"]) if "clamp" in tools else Instruments().clamp,
        Accuracy(**tools["volt"]) if "volt" in tools else Instruments().volt,
        tools.get("names", ""),
    )
    readings: dict[str, Any] = {
        name: Reading(**value) if isinstance(value, dict) else value for name, value in kept.items()
    }
    return HandThrow(**{**readings, "direction": direction}), instruments
