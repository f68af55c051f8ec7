"""Looking after the logbook: check it, copy it, take another one in, write its content out for other programs."""

import contextlib
import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from throwbook.core.export_schema import FLAG, TABLES, Column, ExportData, described, rows
from throwbook.core.machine.rig_validation import complaint
from throwbook.core.quantities.text import file_name
from throwbook.core.records import FROM_TRACE, LoggedTrial, Photograph, SheetState, heads
from throwbook.core.sheets.photographs import photographs_at
from throwbook.errors import Field, InputError, OutsideError
from throwbook.files import tables
from throwbook.jobs.find import logbook_path, opened
from throwbook.jobs.judgements import JudgedAgain, judge_again, raise_shared
from throwbook.logbook import Logbook, integrity
from throwbook.logbook.connection import Waiting
from throwbook.logbook.integrity import IntegrityCheck, Progress
from throwbook.logbook.merge import NO_TERMS, Merged, Terms, merge

FORMATS = ("csv", "jsonl", "parquet")
DESCRIPTION = "columns.csv"
ExportProgress = Callable[[str], None]


@dataclass(frozen=True)
class Exported:
    """What was written."""

    folder: Path
    files: dict[str, int]
    """File name: rows in it."""


def export(
    logbook: str | Path | None,
    folder: Path,
    form: str = "csv",
    rig: str | None = None,
    traces: bool = False,
    progress: ExportProgress | None = None,
) -> Exported:
    """Write every table, and what each column means, into a new folder; it appears when it is whole.

    ``rig`` limits it to one rig; ``traces`` adds each record as a trace file. Raises InputError for a folder that is
    there already or a rig that isn't.
    """
    with opened(logbook, read_only=True) as book, book.snapshot():
        return export_in(book, folder, form, rig, traces, progress)


def export_in(
    book: Logbook,
    folder: Path,
    form: str = "csv",
    rig: str | None = None,
    traces: bool = False,
    progress: ExportProgress | None = None,
) -> Exported:
    """The same of an open logbook."""
    if folder.exists():
        raise InputError("something with this name is there already", str(folder), "Name a new folder.")
    if not folder.parent.is_dir():
        raise InputError("there is no such folder", str(folder.parent), "Make it first, or name another one.")
    names = [book.rig(rig).rig] if rig is not None else book.rig_names()
    part = _scratch_beside(folder)
    try:
        written = _write_tables(book, names, part, form, progress)
        if traces:
            written |= _write_traces(book, names, part / "traces", progress)
        part.chmod(0o777 & ~_umask())
        part.rename(folder)
    except OSError as error:
        shutil.rmtree(part, ignore_errors=True)
        what = f"writing failed ({error.strerror or error})"
        raise OutsideError(what, str(folder), "Nothing was exported; make room and do it again.") from error
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return Exported(folder, written)


def _scratch_beside(folder: Path) -> Path:
    try:
        return Path(tempfile.mkdtemp(prefix=f"{folder.name}.part-", dir=folder.parent))
    except OSError as error:
        what = f"can't write here ({error.strerror})"
        raise OutsideError(what, str(folder.parent), "Name a folder on a disk with room.") from error


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def gather(book: Logbook, name: str) -> ExportData:
    """Everything of one rig, as records."""
    sheets = {state.sheet.id: state for state in book.sheets(name)}
    trials = book.trials(rig=name)
    counting = {logged.judgement.id for logged in trials if logged.judgement is not None}
    services = book.services(name, every_revision=True)
    standing = {service.id for service in heads(services)}
    return ExportData(
        tuple(book.rig_revisions(name)),
        tuple(sheets.values()),
        tuple(
            (logged, sheets.get(logged.placement.sheet) if logged.placement else None) for logged in trials
        ),
        tuple((judged, judged.id in counting) for judged in book.judgements(name)),
        tuple((service, service.id in standing) for service in services),
        tuple(book.orders(name)),
        photographs=_photographs(book, name, trials, sheets),
    )


def meters_of(book: Logbook) -> ExportData:
    """The meters, which are of no rig."""
    counting = {one.id for one in book.meters()}
    meters = tuple((one, one.id in counting) for one in book.meter_rows())
    return ExportData((), (), (), (), (), (), meters)


def _write_tables(
    book: Logbook, names: list[str], folder: Path, form: str, progress: ExportProgress | None
) -> dict[str, int]:
    """Rig by rig, so that no more than one is held at a time, with the photographs of each."""
    written = {f"{table}.{form}": 0 for table in TABLES}
    with contextlib.ExitStack() as stack:
        files: dict[str, tables.TableFile] = {}
        for table, (columns, _) in TABLES.items():
            files[table] = tables.KINDS[form](folder / f"{table}.{form}", _layout(columns))
            stack.callback(files[table].close)
        for name in names:
            data = gather(book, name)
            if name == names[0]:
                data = replace(data, meters=meters_of(book).meters)
            for table, file in files.items():
                written[f"{table}.{form}"] += file.add(rows(table, data))
            written |= _write_photographs(book, data.photographs, folder / "photographs")
            if progress is not None:
                progress(name)
    description = tables.CsvTable(
        folder / DESCRIPTION, tables.TableLayout(["table", "column", "unit", "what"])
    )
    description.add(described())
    description.close()
    return written


def _photographs(
    book: Logbook, rig: str, trials: list[LoggedTrial], sheets: Mapping[str, SheetState]
) -> tuple[tuple[Photograph, str, bool], ...]:
    """Of a rig: every photograph once, with the name of its file, and whether it is the one that counts for its pin."""
    from throwbook.jobs.photographs import name_of

    photographs = book.photographs(rig=rig)
    counting = {
        one.id
        for trial in {one.trial for one in photographs}
        for one in photographs_at(trial, photographs).values()
    }
    places = {one.id: one.placement for one in trials if one.placement is not None}
    found = []
    for one in photographs:
        place = places.get(one.trial)
        sheet = sheets.get(place.sheet) if place else None
        name = name_of(sheet.name if sheet else rig, place.position if place else 0, one)
        found.append((one, name, one.id in counting))
    return tuple(found)


def _write_photographs(
    book: Logbook, photographs: Iterable[tuple[Photograph, str, bool]], folder: Path
) -> dict[str, int]:
    """Each stored copy as a file; no folder where there is none."""
    written = {}
    for one, name, _ in photographs:
        data = book.picture(one.picture)
        if data is None:  # check tells of it
            continue
        folder.mkdir(exist_ok=True)
        (folder / name).write_bytes(data)
        written[f"{folder.name}/{name}"] = 1
    return written


def _layout(columns: tuple[Column, ...]) -> tables.TableLayout:
    return tables.TableLayout(
        [column.name for column in columns],
        frozenset(column.name for column in columns if column.is_number),
        frozenset(column.name for column in columns if column.unit == FLAG),
    )


def _write_traces(
    book: Logbook, names: list[str], folder: Path, progress: ExportProgress | None
) -> dict[str, int]:
    from throwbook.files.trace_file import write_trace

    folder.mkdir()
    written = {}
    for name in names:
        for logged in book.trials(rig=name):
            if logged.trial.source == FROM_TRACE:
                trace = book.trace(logged.id)
                file = folder / f"{file_name(logged.id)}.csv"
                write_trace(trace, file)
                written[f"traces/{file.name}"] = len(trace)
        if progress is not None:
            progress(f"traces of {name}")
    return written


AGAIN = "judging the sheet again writes it again"


@dataclass(frozen=True)
class BackedUp:
    """A backup that was made and found whole."""

    target: Path
    bytes: int


def check(logbook: str | None, progress: Progress | None = None) -> tuple[Path, IntegrityCheck]:
    """Look at everything in the logbook; which file it was and what was found."""
    from throwbook.jobs.latch import orders_gone, unproven_sheets

    with opened(logbook, read_only=True) as book:
        found = integrity.check(book, progress)
        if any(problem.where == "file" for problem in found.problems):
            return book.path, found
        what = "it is marked accepted, but its sealed contents do not meet the rules of acceptance"
        unproven = tuple(integrity.IntegrityProblem(f"sheet {name}", what) for name in unproven_sheets(book))
        gone = tuple(
            integrity.IntegrityProblem(
                f"sheet {name}", f"the order that took the rig out of use is gone: {cause}; {AGAIN}"
            )
            for name, cause in orders_gone(book)
        )
        return book.path, replace(found, problems=found.problems + unproven + gone)


def judge_stored_again(logbook: str | None, now: datetime, progress: Progress | None = None) -> JudgedAgain:
    """Judge again what an earlier version judged; nothing is opened for writing where there is nothing to do."""
    with opened(logbook, read_only=True) as book:
        if not book.judged_earlier():
            return JudgedAgain()
    with opened(logbook) as book:
        return judge_again(book, now, progress)


def back_up(logbook: str | None, target: Path | None, now: datetime) -> BackedUp:
    """A verified copy; without a ``target`` beside the logbook, named after the moment. Both may be in use."""
    if target is None:
        path = logbook_path(logbook)
        target = path.with_name(f"{path.stem}-backup-{now:%Y%m%d-%H%M%S}{path.suffix}")
    with opened(logbook, read_only=True) as book:
        return BackedUp(target, integrity.backup(book, target))


def take_in(
    logbook: str | None,
    other: Path,
    waiting: Waiting | None = None,
    now: datetime | None = None,
    terms: Terms = NO_TERMS,
) -> Merged:
    """Merge another logbook into this one; the other isn't touched.

    Raises ApartError for a rig that both have under one name and of which ``terms`` don't say what it is. Where the same record then counts on two rigs, an order written at ``now`` holds both.
    """
    from throwbook.jobs.rig_changes import raise_for_joined

    with opened(logbook, waiting=waiting) as book:
        for new in terms.rename.values():
            if wrong := complaint(new, book.rig_names()):
                raise InputError(f"the name '{new}' {wrong}", Field("rename"), "Give the rig another name.")
        known = {rig: len(book.rig_revisions(rig)) for rig in terms.same}
        merged = merge(book, other, terms)
        for rig, before in known.items():
            if now is not None and not terms.dry_run and len(book.rig_revisions(rig)) > before > 0:
                raise_for_joined(book, rig, terms.by, now)
        if now is not None and not terms.dry_run:
            raise_shared(book, "merge", now)
        return merged
