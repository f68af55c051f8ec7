"""Judge trace files: one by one, then as a set. No logbook is needed."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path

from logger.core.assessment import Assessment, worst_of
from logger.core.rig import Rig
from logger.core.stroke.assess import assess_record
from logger.core.stroke.baseline import Baseline, make_baseline
from logger.core.stroke.set_checks import judge_set
from logger.core.trace import Trace
from logger.errors import InputError
from logger.files.tracefile import TraceLimits, read_trace

Progress = Callable[[int, int], None]
"""Called with (done, total)."""


@dataclass(frozen=True)
class Reading:
    """How the trace files are to be read."""

    columns: tuple[str, ...] = ()
    direction: str | None = None
    limits: TraceLimits = field(default_factory=TraceLimits)
    factors: Mapping[str, float] = field(default_factory=dict)
    """Quantity: factor to SI, where a person said that a column is in another unit than the file says."""

    def read(self, path: Path) -> Trace:
        """One trace; see ``read_trace``."""
        return read_trace(
            path, columns=self.columns, factors=self.factors, direction=self.direction, limits=self.limits
        )


@dataclass(frozen=True)
class Judged:
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
    reading: Reading | None = None,
    known_baselines: Mapping[str, Baseline] | None = None,
    plot: str | Path | None = None,
    progress: Progress = lambda done, total: None,
) -> Judged:
    """Judge every file against ``rig`` and the baseline of its direction.

    A folder stands for the ``.csv`` files in it. ``known_baselines`` (by direction) hold where ``baseline_files`` give
    none. ``plot`` is a file to draw into: ``.pdf`` takes any number of throws, one
    page each; ``.png`` and ``.svg`` one (the worst of a file's movements). Only one trace is held at a time. Raises InputError at the first file that
    can't be read; nothing is given back then.
    """
    reading = reading or Reading()
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
            judged = [_noted(each, trace, rig) for each in assess_record(trace, rig, baselines)]
            for each in judged if takes_all else (worst_of(judged),):
                page(replace(trace, direction=each.direction), each, rig, baselines.get(each.direction))
            assessments += [replace(each, profile=None) for each in judged]
            progress(count, total)
    return Judged(rig, baselines, judge_set(assessments, rig))


def baselines_from(
    paths: Sequence[Path],
    rig: Rig,
    reading: Reading,
    done: Callable[[int], None] = lambda done: None,
) -> dict[str, Baseline]:
    """One baseline per direction from healthy traces. Raises InputError naming a trace that isn't fit for one."""
    trials: dict[str, list[Assessment]] = {}
    for count, path in enumerate(paths, 1):
        for trial in assess_record(reading.read(path), rig):
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


def _noted(assessment: Assessment, trace: Trace, rig: Rig) -> Assessment:
    """Say it where the file names another rig than the one it is judged by, or is likely in other units."""
    from logger.core.stroke.column_units import odd_units

    notes = [one.what for one in odd_units(trace, rig)]
    if trace.rig and trace.rig != rig.name:
        notes.append(f"the file names the rig '{trace.rig}'; it was judged by '{rig.name}'")
    return replace(assessment, notes=(*assessment.notes, *notes)) if notes else assessment


def _plotter(
    plot: str | Path | None, count: int
) -> AbstractContextManager[Callable[[Trace, Assessment, Rig, Baseline | None], None]]:
    """Where drawings go, or nowhere."""
    if plot is None:
        return nullcontext(lambda trace, assessment, rig, baseline: None)
    from logger.report.plots import trial_pages

    return trial_pages(plot, count)
