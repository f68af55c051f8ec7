"""Where a recorded trial goes: a trace file, the logbook, or both; only then its journal is let go."""

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.core.quantities.plain import file_name
from logger.core.sheets.practice import simulated_by
from logger.core.trace import Trace
from logger.errors import InputError, ThrowbookError
from logger.files.tracefile import read_trace, write_trace
from logger.jobs.recorded import Recorded

if TYPE_CHECKING:
    from logger.jobs.latch import RigStanding


@dataclass(frozen=True)
class Place:
    """Where a trial is to go."""

    out: Path | None = None
    """Trace file or folder; None: a file in this folder, unless it goes into the logbook."""
    logbook: str | None = None
    in_logbook: bool = False
    sheet: str = ""
    """An open sheet to add to; empty: a new one of ``kind``."""
    kind: str = "spot"
    by: str = ""
    given_up: bool = False
    """It was broken off by the person: without any current it was no throw."""
    left_out: str = ""
    """Why it doesn't count on its sheet; empty: it counts."""


@dataclass(frozen=True)
class Kept:
    """Where it is now."""

    file: Path | None
    sheet: str
    """Name of the sheet in the logbook; empty: not in a logbook."""
    standing: "RigStanding | None"
    """Of the rig, this throw included; None: not in a logbook."""
    took_out: bool = False
    """This very throw took the rig out of use."""
    kept_out: str = ""
    """Why it isn't in the logbook, although that was asked for."""


def trace_name(trace: Trace) -> str:
    """A file name for a trace that nobody named."""
    when = f"-{trace.started:%Y%m%d-%H%M%S}" if trace.started else ""
    return f"{file_name(trace.rig)}-{trace.direction}{when}.csv"


def keep(recorded: Recorded, place: Place, now: datetime) -> Kept:
    """Write the trace file, put the trial into the logbook, then drop the journal.

    An existing file is never overwritten, and a recovered throw that was kept just before the recording broke off isn't
    kept twice. Raises InputError or OutsideError; the journal is then still there.
    """
    try:
        kept = _kept(recorded, place, now)
    except BaseException:
        recorded.let_go()
        raise
    recorded.discard_journal()
    return kept


def _kept(recorded: Recorded, place: Place, now: datetime) -> Kept:
    if recorded.trace is None:
        raise InputError("there is nothing to keep", str(recorded.journal), "Record again")
    kept_out = _kept_out(recorded, recorded.trace, place)
    in_logbook = place.in_logbook and not kept_out
    file = place.out if place.out is not None or in_logbook else Path()
    if file is not None:
        if file.is_dir():
            file = file / trace_name(recorded.trace)
            file = _free(file) if kept_out else file
        if not file.exists():
            write_trace(recorded.trace, file)
        elif not recorded.recovered or not _same_samples(recorded.trace, file):
            raise InputError("there is such a file already", str(file), "Choose another with --out")
    return (
        _into_logbook(recorded, place, now, file) if in_logbook else Kept(file, "", None, kept_out=kept_out)
    )


def _same_samples(trace: Trace, file: Path) -> bool:
    try:
        there = read_trace(file)
    except ThrowbookError:
        return False
    return (there.time_s.tobytes(), there.current_a.tobytes()) == (
        trace.time_s.tobytes(),
        trace.current_a.tobytes(),
    )


def _free(file: Path) -> Path:
    """``file``, or the next name of its kind that nothing has: a throw kept out was not asked where to go."""
    names = (file.with_stem(f"{file.stem}-{number}") for number in range(2, 1000))
    return next((one for one in (file, *names) if not one.exists()), file)


def _kept_out(recorded: Recorded, trace: Trace, place: Place) -> str:
    """Why what no machine made, or what may be no throw at all, stays out of this logbook; empty: it may go in."""
    from logger.jobs.logbooks import opened

    if place.in_logbook and (recorded.recovered or place.given_up) and recorded.no_current:
        return "no current flowed before it broke off, and nobody knows whether it was thrown"
    made_by = simulated_by(trace.head)
    if not place.in_logbook or not made_by:
        return ""
    with opened(place.logbook, read_only=True) as book:
        practice = book.for_practice()
    return "" if practice else f"it was made by {made_by} and says nothing of the machine"


def _into_logbook(recorded: Recorded, place: Place, now: datetime, file: Path | None) -> Kept:
    """Every movement onto the sheet that is named, or a new one, with the orders it gives rise to."""
    from logger import __version__
    from logger.core.sheets.questions import conditions_from
    from logger.core.sheets.sheet import rested, sheet_trials
    from logger.core.standing.status import DO_NOT_USE
    from logger.jobs import latch
    from logger.jobs.baselines import baselines_for
    from logger.jobs.logbooks import opened
    from logger.jobs.sheets import open_sheet, plan_in

    trace = recorded.trace
    assert trace is not None
    with opened(place.logbook) as book, book.transaction():
        twins = book.made_of(trace.rig, trace) if recorded.recovered else []
        if sheets := [sheet for twin in twins for sheet in book.sheets_of(twin)]:
            return Kept(file, sheets[0], latch.standing(book, trace.rig, now.date()))
        if place.sheet:
            state = open_sheet(book, place.sheet, trace.rig)
        else:
            state = plan_in(book, trace.rig, place.kind, place.by, now)
        held = baselines_for(book, trace.rig, state.sheet.kind)
        first = not sheet_trials(book.trials(sheet=state.sheet.id))
        raised = []
        for number, throw in enumerate(recorded.throws, 1):
            thrown = throw.trace
            found = held.get(thrown.direction)
            logged = book.add_trial(
                state.sheet.id,
                thrown,
                throw.assessment,
                place.by,
                now,
                software_version=__version__,
                as_found=first and number == 1 and rested(conditions_from(state.answers)),
                baseline=found.record.id if found and found.record else None,
                file=str(file or trace.source) + thrown.source.removeprefix(trace.source),
                calibration=str(trace.head["calibration"]) if "calibration" in trace.head else None,
            )
            raised += latch.raise_for(book, state, logged, place.by, now)
            if place.left_out and logged.placement is not None:
                before = logged.placement
                book.place(
                    replace(
                        before, id="", left_out=place.left_out, by=place.by, at=now, replaces=(before.id,)
                    )
                )
        standing = latch.standing(book, trace.rig, now.date())
        return Kept(file, state.sheet.name, standing, any(one.level == DO_NOT_USE for one in raised))
