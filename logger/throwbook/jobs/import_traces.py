"""Trace files into the logbook as one sheet: all of them or none."""

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from throwbook import __version__
from throwbook.core.quantities.text import counted, storable
from throwbook.core.records import BENCH, LoggedTrial, SheetState
from throwbook.core.sheets.conditions import FOR_PRACTICE, REHEARSAL_BOARD, conditions_from, simulated_by
from throwbook.core.status.latch import Status
from throwbook.errors import Field, InputError, Remedy
from throwbook.files.tables import refuse_no_file
from throwbook.files.trace_file import KEPT, unknown_said
from throwbook.jobs import latch
from throwbook.jobs.find import BaselineInForce, baselines_for, baselines_of, frozen_id, opened, rig_of
from throwbook.jobs.rig_changes import raise_for_switches
from throwbook.jobs.sheets import open_sheet, plan_in
from throwbook.logbook import Logbook
from throwbook.logbook.connection import Waiting
from throwbook.logbook.trials import FILE_DIGEST, samples_digest

if TYPE_CHECKING:
    from throwbook.core.analysis.movements import Movement
    from throwbook.core.diagnosis.assess import Baselines
    from throwbook.core.rig import Rig
    from throwbook.core.trace import Trace
    from throwbook.jobs.assess import TraceReading
    from throwbook.jobs.recording import Throw

OTHER_RIG = "other-rig"
FUTURE_DATE = "future-date"
CLOCK_REVERSED = "clock-reversed"
ODD_UNITS = ("time-unit", "current-unit", "voltage-unit")
DOUBTS = (OTHER_RIG, FUTURE_DATE, CLOCK_REVERSED, *ODD_UNITS)
AHEAD = timedelta(minutes=5)
"""Two clocks may differ by so much before a date counts as in the future (assumed)."""

Progress = Callable[[int, int], None]
"""Called with files judged, and how many there are."""


@dataclass(frozen=True)
class Doubt:
    """Something about a file that a person should confirm."""

    kind: str
    """One of ``DOUBTS``."""
    file: str
    what: str


Settle = Callable[[Doubt], None]
"""Called for each doubt: returns to go on, raises InputError to stop."""


@dataclass(frozen=True)
class FileMovements:
    """The movements that a file holds."""

    file: str
    directions: tuple[str | None, ...]
    """Of each movement, in order; None: neither the head nor the sign of the current tells."""

    def but(self, ways: Mapping[int, str]) -> "FileMovements":
        """The same with the directions that a person told, by number from 1."""
        return replace(self, directions=tuple(ways.get(n, way) for n, way in enumerate(self.directions, 1)))

    @property
    def untold(self) -> tuple[int, ...]:
        """Numbers, from 1, of the movements whose direction nothing tells."""
        return tuple(n for n, direction in enumerate(self.directions, 1) if direction is None)

    @property
    def what(self) -> str:
        """What it holds, in words."""
        listed = ", ".join(direction or "direction not known" for direction in self.directions)
        return f"{counted(len(self.directions), 'movement')}: {listed}"


WhichWay = Callable[[FileMovements], Mapping[int, str]]
"""Called for each file: gives the directions of some by their numbers, or raises InputError."""


@dataclass(frozen=True)
class Known:
    """A file whose trial the logbook (or the same set of files) already had."""

    file: str
    where: str
    """The sheet it stands on, or the file that is the same."""


@dataclass(frozen=True)
class Imported:
    """What an import did."""

    sheet: SheetState | None
    """None: every file was known already, nothing was stored."""
    logged: tuple[LoggedTrial, ...]
    known: tuple[Known, ...]
    status: Status
    """Of the rig, the throws just logged included."""
    read_as: Mapping[str, str] = field(default_factory=dict)
    """How files of other loggers were read, by name of the file."""
    unknown_columns: Mapping[str, str] = field(default_factory=dict)
    """What was kept of columns that this program doesn't know, likewise."""


@dataclass(frozen=True, eq=False)
class JudgedThrow:
    """One judged throw that is to be logged."""

    throw: "Throw"
    as_found: bool
    baseline: str | None
    """Id of the frozen baseline it was held against."""


@dataclass(frozen=True)
class ImportPlan:
    """What is to be imported."""

    rig: str
    kind: str
    files: Sequence[Path]
    answers: Mapping[str, Any] = field(default_factory=dict)
    """Answers to the sheet's questions; see ``throwbook.core.sheets.conditions``."""
    started: Sequence[datetime] = ()
    """When each file was thrown, in their order, for files that don't say; empty: as they say."""
    sheet: str = ""
    """An open sheet to add to; empty: a new one of ``kind``."""


def refuse(doubt: Doubt) -> None:
    """Stop at any doubt, and name the option that settles it."""
    raise InputError(doubt.what, doubt.file, f"If that is right, add --allow {doubt.kind}")


def refuse_untold(found: FileMovements) -> Mapping[int, str]:
    """Go on where every direction is known; else stop, and name the options that tell it."""
    if found.untold:
        number = found.untold[0]
        raise InputError(
            f"it holds {found.what}",
            found.file,
            f"Name it: --direction '{Path(found.file).name}#{number}=unlock'; or give --movements split (judged both ways, and the worse counts) or --movements refuse",
        )
    return {}


def import_traces(
    logbook: str | Path | None,
    asked: ImportPlan,
    by: str,
    now: datetime,
    *,
    reading: "TraceReading | None" = None,
    settle: Settle = refuse,
    which_way: WhichWay = refuse_untold,
    waiting: Waiting | None = None,
    progress: Progress = lambda done, total: None,
) -> Imported:
    """Read, judge and log the files on one sheet, in the order of their clocks, in one transaction.

    Each movement of a record is a throw of its own. A file whose throws the logbook already has is recognised and left
    where it is. Raises InputError for a file that can't be read, an unknown rig, or what ``settle`` or ``which_way``
    doesn't let pass; nothing is stored then.
    """
    from throwbook.jobs.assess import TraceReading, trace_paths

    reading = reading or TraceReading()
    traces = [_read_whole(reading, path) for path in trace_paths(asked.files)]
    traces = _dated(traces, asked.started)
    read_as = {trace.source: trace.read_as for trace in traces if trace.read_as}
    with opened(logbook, waiting=waiting) as book:
        rig = rig_of(book, asked.rig)
        fresh, known = _sort_out(book, rig.name, asked.kind, traces)
        if not fresh:
            return Imported(None, (), tuple(known), latch.status(book, rig.name), read_as)
        unknown = {trace.source: unknown_said(trace, KEPT) for trace in fresh if trace.unknown_columns}
        _refuse_rehearsed(book, fresh)
        for doubt in unit_doubts(fresh, rig):
            settle(doubt)
        for doubt in doubts(fresh, rig.name, now, book.newest_start(rig.name)):
            settle(doubt)
        baselines = baselines_for(book, rig.name, asked.kind)
        movements, parts_known = _movements(book, rig, fresh, baselines_of(baselines), which_way, asked.kind)
        entries = _judge(rig, movements, baselines, asked, progress)
        with book.transaction():
            thrown = [entry.throw.trace for entry in entries]
            again, _ = _sort_out(book, rig.name, asked.kind, thrown)  # another program may have logged some
            if len(again) < len(thrown):
                raise InputError(
                    "another program logged some of these files meanwhile", str(book.path), "Do it again."
                )
            if asked.sheet:
                state = open_sheet(book, asked.sheet, rig.name)
            else:
                starts = [one.started for one in thrown]
                state = plan_in(
                    book, rig.name, asked.kind, by, now, answers=asked.answers, imported=True, thrown=starts
                )
            logged = [_log(book, state, entry, by, now) for entry in entries]
            stands = latch.status(book, rig.name)
        return Imported(
            book.sheet(state.sheet.id), tuple(logged), (*known, *parts_known), stands, read_as, unknown
        )


def digest_of_file(path: Path) -> str:
    """SHA-256 of a file's bytes, by which the logbook knows it again. Raises OSError; InputError for a pipe or a device."""
    refuse_no_file(path)
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def file_state(path: Path) -> tuple[int, int] | None:
    """Bytes and time of the last change; None: it is gone."""
    try:
        now = path.stat()
    except OSError:
        return None
    return now.st_size, now.st_mtime_ns


def _read_whole(reading: "TraceReading", path: Path) -> "Trace":
    """The trace under the name of its file, with what the file is known by.

    Raises InputError where the file changed meanwhile: its digest would be that of other samples.
    """
    before = file_state(path)
    trace = reading.read(path)
    try:
        digest = digest_of_file(path)
    except OSError as error:
        raise InputError(
            f"it can't be read any more ({error.strerror})", str(path), "Import it again when it is back"
        ) from error
    if file_state(path) != before:
        raise InputError("it changed while it was read", str(path), "Import it again when it is complete")
    return replace(trace, source=storable(str(path)), head={**trace.head, FILE_DIGEST: digest})


def unit_doubts(traces: Sequence["Trace"], rig: "Rig") -> list[Doubt]:
    """Columns that are likely in other units than they were read in: what they show must not go to the status unasked."""
    from throwbook.core.diagnosis.column_units import odd_units

    return [
        Doubt(f"{odd.quantity}-unit", trace.source, odd.what)
        for trace in traces
        for odd in odd_units(trace, rig)
    ]


def doubts(traces: Sequence["Trace"], rig: str, now: datetime, newest: datetime | None) -> list[Doubt]:
    """What a person should confirm before these traces, in the order of their clocks, go on a sheet of ``rig``."""
    found = []
    for trace in traces:
        if trace.rig and trace.rig != rig:
            found.append(Doubt(OTHER_RIG, trace.source, f"it was recorded on rig '{trace.rig}', not '{rig}'"))
        if trace.started is not None and trace.started > now + AHEAD:
            found.append(
                Doubt(
                    FUTURE_DATE,
                    trace.source,
                    f"it starts at {trace.started.isoformat()}, which is in the future",
                )
            )
    dated = [trace for trace in traces if trace.started is not None]
    for before, trace in pairwise(dated):
        ended = before.started + timedelta(seconds=float(before.time_s[-1] - before.time_s[0]))  # type: ignore[operator]
        if trace.started < ended:  # type: ignore[operator]
            found.append(
                Doubt(
                    CLOCK_REVERSED,
                    trace.source,
                    f"by its clock it starts before {Path(before.source).name} has ended",
                )
            )
    if dated and newest is not None and dated[0].started < newest:  # type: ignore[operator]
        found.append(
            Doubt(
                CLOCK_REVERSED,
                dated[0].source,
                f"it starts before the newest throw of this rig in the logbook ({newest.isoformat()})",
            )
        )
    return found


def _refuse_rehearsed(book: Logbook, traces: Sequence["Trace"]) -> None:
    """What a simulated board made goes into practice logbooks alone."""
    found = [one for one in traces if str(one.head.get("board", "")).lower() == REHEARSAL_BOARD]
    if found and not book.for_practice():
        raise InputError(
            f"it was made by {simulated_by(found[0].head)} and shows nothing about the machine",
            found[0].source,
            f"Leave it out. To practise, start a separate logbook: throwbook --logbook practice.db rig add FILE.toml --reason '{FOR_PRACTICE}'",
        )


def _dated(traces: list["Trace"], started: Sequence[datetime]) -> list["Trace"]:
    """Each trace with the start that was given for it. Raises InputError unless every file, and no other start, needs it."""
    if not started:
        return traces
    if len(started) != len(traces):
        raise InputError(
            f"{counted(len(started), 'start')} for {counted(len(traces), 'file')}",
            Field("started"),
            "Give one for each file, in their order.",
        )
    for trace in traces:
        if trace.started is not None:
            raise InputError(
                f"it says itself when it was thrown ({trace.started.isoformat()})",
                trace.source,
                remedy=Remedy.LEAVE_OUT_START,
            )
    return [replace(trace, started=start) for trace, start in zip(traces, started, strict=True)]


def _movements(
    book: Logbook,
    rig: "Rig",
    records: Sequence["Trace"],
    baselines: "Baselines",
    which_way: WhichWay,
    kind: str,
) -> tuple[list["Movement"], list[Known]]:
    """Every movement of the records that the logbook doesn't have by itself yet, and those that it has."""
    from throwbook.jobs.recording import cut_out, directed

    movements: list[Movement] = []
    for record in records:
        cut = cut_out(record, rig, baselines)
        movements += directed(
            cut, which_way(FileMovements(record.source, tuple(one.direction for one in cut)))
        )
    if len(movements) == len(records):
        return movements, []
    fresh, known = _sort_out(book, rig.name, kind, [one.trace for one in movements])
    kept = {trace.source for trace in fresh}
    return [one for one in movements if one.trace.source in kept], known


def _sort_out(
    book: Logbook, rig: str, kind: str, traces: Sequence["Trace"]
) -> tuple[list["Trace"], list[Known]]:
    """New traces in the order of their clocks (those without one after them, as given), and the known ones.

    A throw that stands on bench sheets alone isn't known as a throw of the machine yet: asked for as one, it is judged as
    one, under the date and direction that it was logged with. Samples of another rig's throw are refused.
    """
    fresh: dict[str, Trace] = {}
    known = []
    cut = book.cut_records(rig)
    for given in traces:
        _refuse_samples_of_another(book, rig, given)
        trace = given if kind == BENCH else _as_logged_on_the_bench(book, rig, given)
        identity = book.identity(rig, trace)
        if identity in fresh:
            known.append(Known(trace.source, f"the same throw as {fresh[identity].source}"))
        elif trace is not given:
            fresh[identity] = trace
        elif book.has_trial(identity):
            known.append(Known(trace.source, f"already on sheet {', '.join(book.sheets_of(identity))}"))
        elif cut and (parts := cut.get(samples_digest(trace))) and not _on_bench_alone(book, kind, parts):
            where = ", ".join(book.sheets_of(parts))
            known.append(Known(trace.source, f"already on sheet {where}, movement by movement"))
        elif wholes := book.whole_record_of(rig, trace):
            where = ", ".join(book.sheets_of(wholes[0]))
            known.append(Known(trace.source, f"already on sheet {where}, in its whole record"))
        elif twin := _same_samples(book, rig, trace, fresh.values()):
            known.append(Known(trace.source, f"the same samples, otherwise labelled, as {twin}"))
        else:
            fresh[identity] = trace
    dated = [trace for trace in fresh.values() if trace.started is not None]
    undated = [trace for trace in fresh.values() if trace.started is None]
    return sorted(dated, key=lambda trace: trace.started.timestamp()) + undated, known  # type: ignore[union-attr]


def _as_logged_on_the_bench(book: Logbook, rig: str, trace: "Trace") -> "Trace":
    """The throw as the logbook has it, where it stands on bench sheets alone; else the trace as it is."""
    identity = book.identity(rig, trace)
    twins = [identity] if book.has_trial(identity) else book.with_samples_of(rig, trace)
    if not twins or any(book.kinds_of(twin) != {BENCH} for twin in twins):
        return trace
    return replace(book.trace(twins[0]), source=trace.source)


def _on_bench_alone(book: Logbook, kind: str, trial: str) -> bool:
    """Whether a throw of the machine is asked for that so far stands on bench sheets."""
    return kind != BENCH and book.kinds_of(trial) == {BENCH}


def _refuse_samples_of_another(book: Logbook, rig: str, trace: "Trace") -> None:
    """One throw is of one machine: the same samples never count on two."""
    found = [each for each in book.on_other_rigs(rig, trace) if not book.moved_away(each[0])]
    if found:
        trial, whose = found[0]
        raise InputError(
            f"these same samples are already on rig '{whose}' ({', '.join(book.sheets_of(trial))}): a throw belongs to one rig",
            trace.source,
            f"If they are of '{rig}', move them: throwbook sheet reassign SHEET --throw N --to {rig}",
        )


def _same_samples(book: Logbook, rig: str, trace: "Trace", others: Iterable["Trace"]) -> str:
    """Where these very samples stand already; empty: nowhere. No two throws give the same samples: a copy with another date in its head is no new throw.

    A record in which no current ever changed is passed over: two of those may well be alike.
    """
    if not trace.current_a.max() > trace.current_a.min():
        return ""
    sheets = {name for twin in book.with_samples_of(rig, trace) for name in book.sheets_of(twin)}
    if sheets:
        return f"on sheet {', '.join(sorted(sheets))}"
    alike = (
        one.source
        for one in others
        if one.current_a.tobytes() == trace.current_a.tobytes()
        and one.time_s.tobytes() == trace.time_s.tobytes()
    )
    return next(alike, "")


def _judge(
    rig: "Rig",
    movements: Sequence["Movement"],
    held: Mapping[str, BaselineInForce],
    asked: ImportPlan,
    progress: Progress,
) -> list[JudgedThrow]:
    """Each movement by itself, then as a set; the first may be as found."""
    from throwbook.core.diagnosis.repeatability import judge_set
    from throwbook.core.sheets.sheet import SheetTrial, as_found
    from throwbook.jobs.recording import judged_throw

    throws = []
    for count, movement in enumerate(movements, 1):
        throws.append(judged_throw(movement, rig, baselines_of(held), on_bench=asked.kind == BENCH))
        progress(count, len(movements))
    judged = judge_set([throw.assessment for throw in throws], rig)
    apart = (
        {}
        if asked.sheet
        else as_found(
            conditions_from(asked.answers), [SheetTrial(str(n), n, each) for n, each in enumerate(judged)]
        )
    )
    entries = []
    for number, (throw, assessment) in enumerate(zip(throws, judged, strict=True)):
        record = frozen_id(held.get(assessment.direction))
        entries.append(JudgedThrow(replace(throw, assessment=assessment), str(number) in apart, record))
    return entries


def _log(book: Logbook, state: SheetState, entry: JudgedThrow, by: str, now: datetime) -> LoggedTrial:
    """One throw onto the sheet, with the orders to the latch that it gives rise to."""
    from throwbook.jobs.judgements import calibration_in

    trace = entry.throw.trace
    raise_for_switches(book, state.sheet, trace, by, now)
    logged = book.add_trial(
        state.sheet.id,
        trace,
        entry.throw.assessment,
        by,
        now,
        software_version=__version__,
        as_found=entry.as_found,
        baseline=entry.baseline,
        calibration=calibration_in(book, trace),
        file=Path(trace.source).name,
    )
    latch.raise_for(book, state, logged, by, now)
    return logged
