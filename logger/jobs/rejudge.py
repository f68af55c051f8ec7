"""A sheet judged again: a changed rig file, method or baseline gives new verdicts beside the old ones."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from logger import __version__
from logger.core.quantities.plain import written
from logger.core.records.records import BENCH, SheetState
from logger.core.sheets.questions import conditions_from
from logger.core.standing.status import Status
from logger.errors import InputError
from logger.jobs import latch
from logger.jobs.baselines import baselines_for, baselines_of
from logger.jobs.logbooks import opened
from logger.jobs.rig_of import rig_of
from logger.jobs.stored_trial import judge_stored


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
        held = baselines_for(book, rig.name, kind)
        baselines = baselines_of(held)
        air_c = conditions_from(state.answers).ambient_c
        changed = []
        for one in logged:
            found = held.get(one.direction)
            assessment, calibration = judge_stored(book, one, rig, baselines, air_c, on_bench=kind == BENCH)
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
