"""Where a recorded trial goes: a trace file, the logbook, or both; only then its journal is let go.

Recordings that broke off are judged, then kept on a sheet or discarded: what they show is raised all the same.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.quantities.text import file_name, storable
from throwbook.core.records import SPOT
from throwbook.core.sheets.conditions import AMBIENT_FROM, AT_THE_BOARD, conditions_from, simulated_by
from throwbook.core.trace import Trace
from throwbook.errors import InputError, Remedy, ThrowbookError
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs.find import baselines_for, find_rig, frozen_id, logbook_path, means_a_file, opened
from throwbook.jobs.recording import Recorded, recover
from throwbook.jobs.unfinished import (
    Unfinished,
    drop_empty,
    of_rig,
    unfinished_recordings,
)

if TYPE_CHECKING:
    from throwbook.jobs.latch import RigStatus


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
class StoredTrial:
    """Where it is now."""

    file: Path | None
    sheet: str
    """Name of the sheet in the logbook; empty: not in a logbook."""
    rig_status: "RigStatus | None"
    """Of the rig, this throw included; None: not in a logbook."""
    took_out: bool = False
    """This very throw took the rig out of use."""
    kept_out: str = ""
    """Why it isn't in the logbook, although that was asked for."""


def trace_name(trace: Trace) -> str:
    """A file name for a trace that nobody named."""
    when = f"-{trace.started:%Y%m%d-%H%M%S}" if trace.started else ""
    return f"{file_name(trace.rig)}-{trace.direction}{when}.csv"


def keep(recorded: Recorded, place: Place, now: datetime) -> StoredTrial:
    """Write the trace file, put the trial into the logbook, then drop the journal.

    An existing file is never overwritten, and a recovered throw that was kept just before the recording broke off isn't
    kept twice. Raises InputError or OutsideError; the journal is then still there.
    """
    try:
        if recorded.trace is None:
            raise InputError("there is nothing to keep", str(recorded.journal), "Record again")
        kept_out = _kept_out(recorded, recorded.trace, place)
        file = _written(recorded, recorded.trace, place, kept_out)
        if place.in_logbook and not kept_out:
            stored = _into_logbook(recorded, place, now, file)
        else:
            stored = StoredTrial(file, "", None, kept_out=kept_out)
    except BaseException:
        recorded.let_go()
        raise
    recorded.discard_journal()
    return stored


def _written(recorded: Recorded, trace: Trace, place: Place, kept_out: str) -> Path | None:
    """The trace file, where one is asked for or the trial goes into no logbook."""
    file = place.out
    if file is None:
        if place.in_logbook and not kept_out:
            return None
        file = Path()
    if file.is_dir():
        file = file / trace_name(trace)
        file = _free(file) if kept_out else file
    if not file.exists():
        write_trace(trace, file)
    elif not recorded.recovered or not _same_samples(trace, file):
        raise InputError("there is such a file already", str(file), remedy=Remedy.OTHER_FILE)
    return file


def _same_samples(trace: Trace, file: Path) -> bool:
    from throwbook.logbook.trials import samples_digest

    try:
        there = read_trace(file)
    except ThrowbookError:
        return False
    return samples_digest(there) == samples_digest(trace)


def _free(file: Path) -> Path:
    """``file``, or the next name of its kind that nothing has: a throw kept out was not asked where to go."""
    names = (file.with_stem(f"{file.stem}-{number}") for number in range(2, 1000))
    return next((one for one in (file, *names) if not one.exists()), file)


def _kept_out(recorded: Recorded, trace: Trace, place: Place) -> str:
    """Why what no machine made, or what may be no throw at all, stays out of this logbook; empty: it may go in."""
    if place.in_logbook and (recorded.recovered or place.given_up) and recorded.no_current:
        return "no current flowed before it was interrupted, and nobody knows whether the switch was thrown"
    made_by = simulated_by(trace.head)
    if not place.in_logbook or not made_by:
        return ""
    with opened(place.logbook, read_only=True) as book:
        practice = book.for_practice()
    return "" if practice else f"it was made by {made_by} and shows nothing about the machine"


def _into_logbook(recorded: Recorded, place: Place, now: datetime, file: Path | None) -> StoredTrial:
    """Every movement onto the sheet that is named, or a new one, with the orders it gives rise to."""
    from throwbook import __version__
    from throwbook.core.sheets.sheet import rested, sheet_trials
    from throwbook.core.status.latch import DO_NOT_USE
    from throwbook.jobs import latch
    from throwbook.jobs.rig_changes import raise_for_switches
    from throwbook.jobs.sheets import open_sheet, plan_in

    trace = recorded.trace
    assert trace is not None
    with opened(place.logbook) as book, book.transaction():
        twins = book.made_of(trace.rig, trace) if recorded.recovered else []
        if sheets := [sheet for twin in twins for sheet in book.sheets_of(twin)]:
            return StoredTrial(file, sheets[0], latch.rig_status(book, trace.rig, now.date()))
        if place.sheet:
            state = open_sheet(book, place.sheet, trace.rig)
        else:
            state = plan_in(book, trace.rig, place.kind, place.by, now)
        if trace.head.get(AMBIENT_FROM) == AT_THE_BOARD and state.answers.get("ambient_c") is None:
            answers = {**state.answers, "ambient_c": trace.ambient_c}
            book.answer(state.sheet.id, answers, place.by, now, "read by the probe at the board")
            state = book.sheet(state.sheet.id)
        baselines = baselines_for(book, trace.rig, state.sheet.kind)
        first = not sheet_trials(book.trials(sheet=state.sheet.id))
        raised = []
        raise_for_switches(book, state.sheet, trace, place.by, now)
        for number, throw in enumerate(recorded.throws, 1):
            thrown = throw.trace
            logged = book.add_trial(
                state.sheet.id,
                thrown,
                throw.assessment,
                place.by,
                now,
                software_version=__version__,
                as_found=first and number == 1 and rested(conditions_from(state.answers)),
                baseline=frozen_id(baselines.get(thrown.direction)),
                file=storable(str(file or trace.source) + thrown.source.removeprefix(trace.source)),
                calibration=str(trace.head["calibration"]) if "calibration" in trace.head else None,
            )
            raised += latch.raise_for(book, state, logged, place.by, now)
            if place.left_out and logged.placement is not None:
                book.leave_out(logged.placement, place.left_out, place.by, now)
        standing = latch.rig_status(book, trace.rig, now.date())
        return StoredTrial(file, state.sheet.name, standing, any(one.level == DO_NOT_USE for one in raised))


DISCARDED = "discarded: the recording broke off"
SET_ASIDE = ".set-aside"
"""Ending of a journal that can't be judged: its bytes stay, and nobody takes it for unfinished."""


@dataclass(frozen=True)
class JudgedRecording:
    """What became of one unfinished recording."""

    recording: Unfinished
    recorded: "Recorded | None" = None
    kept: StoredTrial | None = None
    """None with ``recorded``: no current flowed in it, and it was dropped."""
    error: ThrowbookError | None = None
    """Why it is still unfinished."""
    set_aside: Path | None = None
    """Where a journal lies now that can't be judged."""


def left_over(logbook: str | None) -> list[Unfinished]:
    """Unfinished recordings for a person to decide on, oldest first; those in which no sample came are dropped."""
    drop_empty(logbook)
    return unfinished_recordings(logbook)


def judge_left_over(
    recordings: Iterable[Unfinished], logbook: str | None, by: str, now: datetime, *, discard: bool = False
) -> Iterator[JudgedRecording]:
    """One after the other, each onto a spot sheet of its own; one that can't be judged stands in no other's way."""
    for one in recordings:
        try:
            yield _discarded(one, logbook, by, now) if discard else _keep(one, logbook, by, now)
        except ThrowbookError as error:
            yield JudgedRecording(one, error=error)


def recover_unfinished(
    one: Unfinished, logbook: str | None, rig_ref: str = "", kind: str = SPOT, sheet: str = ""
) -> "tuple[Recorded, bool]":
    """Judge what is left of one, and say whether it belongs into the logbook. Raises InputError, OutsideError.

    A rig of the logbook is judged as the logbook has it, whatever file it was named by: what it shows has to reach its status.
    """
    from throwbook.jobs.calibrate import calibration_finder

    ref = rig_ref or (one.rig if _rigs_of(one, logbook) else one.rig_ref)
    recorded = recover(
        one.journal,
        lambda told: find_rig(ref or told, logbook, kind, sheet),
        calibration_of=calibration_finder(logbook),
    )
    return recorded, bool(_rigs_of(one, logbook)) or not means_a_file(ref)


def set_aside(one: Unfinished, why: str, logbook: str | None, by: str, now: datetime) -> Path:
    """Put a journal that can't be judged out of the way; its rig is held until somebody signs for it. Gives where it lies now."""
    from throwbook.core.status.latch import raise_order

    rigs = _rigs_of(one, logbook)
    if rigs:
        with opened(logbook) as book, book.transaction():
            for rig in rigs:
                book.add_order(raise_order(rig, "unread recording", f"{one.sentence}: {why}", now, by))
    return one.journal.rename(one.journal.with_name(one.journal.name + SET_ASIDE))


def _keep(one: Unfinished, logbook: str | None, by: str, now: datetime) -> JudgedRecording:
    recorded, in_logbook = recover_unfinished(one, logbook)
    return JudgedRecording(
        one, recorded, keep(recorded, Place(logbook=logbook, in_logbook=in_logbook, by=by), now)
    )


def _discarded(one: Unfinished, logbook: str | None, by: str, now: datetime) -> JudgedRecording:
    try:
        recorded, in_logbook = recover_unfinished(one, logbook)
    except InputError as error:  # nobody will ever know what it shows
        return JudgedRecording(one, set_aside=set_aside(one, str(error), logbook, by, now))
    if recorded.no_current or not in_logbook:
        recorded.discard_journal()
        return JudgedRecording(one, recorded)
    place = Place(logbook=logbook, in_logbook=True, by=by, left_out=DISCARDED)
    return JudgedRecording(one, recorded, keep(recorded, place, now))


def _rigs_of(one: Unfinished, logbook: str | None) -> list[str]:
    """Rigs of the logbook that it may be of."""
    if not logbook_path(logbook).exists():
        return []
    with opened(logbook, read_only=True) as book:
        return [name for name in book.rig_names() if of_rig([one], name)]
