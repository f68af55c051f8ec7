"""Trace files judged: one by one, then as a set, or as a bench test of the actuator. No logbook is needed; never prints."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.analysis.baseline import Baseline, make_baseline
from throwbook.core.assessment import Assessment, worst_of
from throwbook.core.diagnosis.assess import assess_record
from throwbook.core.diagnosis.bench_test import BenchTest, judge_bench
from throwbook.core.diagnosis.repeatability import judge_set
from throwbook.core.machine.motor import speed_at
from throwbook.core.rig import Rig
from throwbook.core.trace import Trace
from throwbook.errors import InputError, Unclear
from throwbook.files.column_names import QUANTITIES
from throwbook.files.trace_file import NOT_JUDGED, TraceLimits, read_trace, unknown_said
from throwbook.jobs.recording import throws_of

if TYPE_CHECKING:
    from throwbook.core.diagnosis.column_units import OddUnit
    from throwbook.core.machine.motor import MotorLine


Progress = Callable[[int, int], None]
"""Called with (done, total)."""


def refuse_unclear(unclear: Unclear) -> str:
    """Ask nobody."""
    raise unclear


def refuse_odd(odd: "OddUnit", file: str) -> None:
    """Stop at a column that is likely in another unit, and name the option that says it is right."""
    unit = QUANTITIES[odd.quantity][1]
    raise InputError(odd.what, file, f"If that is right, add --{odd.quantity}-unit {unit}")


@dataclass(frozen=True)
class TraceReading:
    """How the trace files are to be read."""

    columns: tuple[str, ...] = ()
    direction: str | None = None
    limits: TraceLimits = field(default_factory=TraceLimits)
    factors: Mapping[str, float] = field(default_factory=dict)
    """Quantity: factor to SI, where a person said that a column is in another unit than the file says."""
    answers: dict[str, str] = field(default_factory=dict)
    """What a person said where another logger's file is unclear; see ``read_trace``. What ``ask`` gives is kept here."""
    ask: Callable[[Unclear], str] = refuse_unclear
    """Gives one of the answers, or raises."""
    settle: Callable[["OddUnit", str], None] = refuse_odd
    """Called for a column of another logger's file that is likely in another unit: returns to go on, or raises InputError."""

    def read(self, path: Path) -> Trace:
        """One trace; see ``read_trace``."""
        while True:
            try:
                return read_trace(
                    path,
                    columns=self.columns,
                    factors=self.factors,
                    direction=self.direction,
                    limits=self.limits,
                    answers=self.answers,
                )
            except Unclear as unclear:
                self.answers[unclear.field] = self.ask(unclear)

    def read_baseline(self, path: Path) -> Trace:
        """One of the baseline's: what it says itself of its direction counts."""
        try:
            return replace(self, direction=None).read(path)
        except InputError:
            return self.read(path)


@dataclass(frozen=True)
class AssessedFiles:
    """What ``assess`` found."""

    rig: Rig
    baselines: dict[str, Baseline]
    """By direction."""
    assessments: tuple[Assessment, ...]
    """In the order of the files, each movement of a file by itself; without profiles, so that a thousand files take little
    memory."""


def assess_files(
    files: Sequence[str | Path],
    rig: Rig,
    baseline_files: Sequence[str | Path] = (),
    *,
    reading: TraceReading | None = None,
    known_baselines: Mapping[str, Baseline] | None = None,
    plot: str | Path | None = None,
    progress: Progress = lambda done, total: None,
) -> AssessedFiles:
    """Judge every file against ``rig`` and the baseline of its direction.

    A folder stands for the ``.csv`` files in it. ``known_baselines`` (by direction) hold where ``baseline_files`` give
    none. ``plot`` is a file to draw into: ``.pdf`` takes any number of throws, one
    page each; ``.png`` and ``.svg`` one (the worst of a file's movements). Only one trace is held at a time. Raises InputError at the first file that
    can't be read; nothing is given back then.
    """
    reading = reading or TraceReading()
    paths = trace_paths(files)
    baseline_paths = trace_paths(baseline_files)
    total = len(paths) + len(baseline_paths)
    draw = _plotter(plot, len(paths))
    takes_all = plot is not None and Path(plot).suffix.lower() == ".pdf"
    given = baselines_from(baseline_paths, rig, reading, lambda done: progress(done, total))
    baselines = {**(known_baselines or {}), **given}
    assessments = []
    with draw as page:
        for count, path in enumerate(paths, len(baseline_paths) + 1):
            trace = reading.read(path)
            notes = _notes(trace, rig, reading)
            judged = [
                replace(each, notes=(*each.notes, *notes)) for each in assess_record(trace, rig, baselines)
            ]
            for each in judged if takes_all else (worst_of(judged),):
                page(replace(trace, direction=each.direction), each, rig, baselines.get(each.direction))
            assessments += [replace(each, profile=None) for each in judged]
            progress(count, total)
    return AssessedFiles(rig, baselines, judge_set(assessments, rig))


def baselines_from(
    paths: Sequence[Path],
    rig: Rig,
    reading: TraceReading,
    done: Callable[[int], None] = lambda done: None,
) -> dict[str, Baseline]:
    """One baseline per direction from healthy traces. Raises InputError naming a trace that isn't fit for one."""
    trials: dict[str, list[Assessment]] = {}
    for count, path in enumerate(paths, 1):
        for trial in assess_record(reading.read_baseline(path), rig):
            trials.setdefault(trial.direction, []).append(trial)
        done(count)
    return {
        direction: make_baseline(group, reason="traces given as the baseline")
        for direction, group in trials.items()
    }


def trace_paths(files: Sequence[str | Path]) -> list[Path]:
    """Files as they are, folders as the ``.csv`` files in them by name."""
    paths: list[Path] = []
    for given in map(Path, files):
        if not given.is_dir():
            paths.append(given)
            continue
        inside = sorted(path for path in given.iterdir() if path.suffix.lower() == ".csv")
        if not inside:
            raise InputError("no .csv file in this folder", str(given), "Name the folder with the traces")
        paths.extend(inside)
    return paths


def _notes(trace: Trace, rig: Rig, reading: TraceReading) -> list[str]:
    """How another logger's file was read, what is likely in other units, and another rig than the one it is judged by."""
    from throwbook.core.diagnosis.column_units import odd_units

    odd = odd_units(trace, rig)
    for one in odd:
        if trace.read_as and one.quantity not in reading.factors:
            reading.settle(one, trace.source)
    notes = [f"read as: {trace.read_as}"] if trace.read_as else []
    notes += [one.what for one in odd]
    notes += [unknown_said(trace, NOT_JUDGED)] if trace.unknown_columns else []
    if trace.rig and trace.rig != rig.name:
        notes.append(f"the file names the rig '{trace.rig}'; it was judged as '{rig.name}'")
    return notes


def _plotter(
    plot: str | Path | None, count: int
) -> AbstractContextManager[Callable[[Trace, Assessment, Rig, Baseline | None], None]]:
    """Where drawings go, or nowhere."""
    if plot is None:
        return nullcontext(lambda trace, assessment, rig, baseline: None)
    from throwbook.report.charts import trial_pages

    return trial_pages(plot, count)


@dataclass(frozen=True)
class BenchResult:
    """A judged bench test and what it is about."""

    rig: Rig
    test: BenchTest
    rating: dict[str, str]
    """Lines for the ``[actuator]`` table of the rig file that give this actuator's own line."""


def bench_of_files(rig: Rig, files: Sequence[str | Path]) -> BenchResult:
    """Judge every throw in trace files, both directions. Raises InputError."""

    reading = TraceReading()
    return _judged(rig, [reading.read(path) for path in trace_paths(files)])


def bench_of_sheet(logbook: str | None, sheet: str) -> BenchResult:
    """Judge the recorded throws of a bench sheet, each under its board's calibration. Raises InputError."""
    from throwbook.core.records import BENCH, BY_HAND
    from throwbook.jobs.find import opened, rig_of
    from throwbook.jobs.judgements import trace_of

    with opened(logbook, read_only=True) as book:
        state = book.sheet(sheet)
        if state.sheet.kind != BENCH:
            raise InputError(f"this is a {state.sheet.kind} sheet", sheet, "Name a bench sheet")
        rig = rig_of(book, state.sheet.rig)
        recorded = [one for one in book.trials(sheet=state.sheet.id) if one.trial.source != BY_HAND]
        return _judged(rig, [trace_of(book, one) for one in recorded])


def _judged(rig: Rig, traces: "Sequence[Trace]") -> BenchResult:
    """Each movement by itself, then as a bench test."""
    if not traces:
        raise InputError(
            "there are no recorded throws", rig.name, "Record the full stroke both ways, without load"
        )
    throws = [
        (one.trace, one.assessment) for trace in traces for one in throws_of(trace, rig, {}, on_bench=True)
    ]
    test = judge_bench(rig, throws)
    return BenchResult(rig, test, own_rating(rig, test.line) if test.throws_used else {})


def own_rating(rig: Rig, line: "MotorLine") -> dict[str, str]:
    """The refined line as data-sheet values at the nominal voltage.

    Full-load current and force stay the manufacturer's: no bench throw without load can tell them.
    """
    actuator = rig.actuator
    free = float(speed_at(line, line.i0_a, actuator.voltage_v))
    loaded = float(speed_at(line, actuator.full_load_current_a, actuator.voltage_v))
    return {
        "no_load_current": f"{line.i0_a:.3f} A",
        "no_load_speed": f"{1000 * free:.2f} mm/s",
        "full_load_speed": f"{1000 * loaded:.2f} mm/s",
    }
