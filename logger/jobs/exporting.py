"""The logbook's content out into files that other programs read."""

import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from logger.core.export_tables import FLAG, TABLES, Column, ExportData, described, rows
from logger.core.records import FROM_TRACE
from logger.core.revisions import heads
from logger.errors import InputError, OutsideError
from logger.files import tables
from logger.jobs.logbooks import opened
from logger.logbook import Logbook

FORMATS = ("csv", "jsonl", "parquet")
DESCRIPTION = "columns.csv"

Progress = Callable[[str], None]


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
    progress: Progress | None = None,
) -> Exported:
    """Write every table, and what each column means, into a new folder; it appears when it is whole.

    ``rig`` limits it to one rig; ``traces`` adds each record as a trace file. Raises InputError for a folder that is
    there already or a rig that isn't.
    """
    if folder.exists():
        raise InputError("there is something with this name already", str(folder), "Name a new folder.")
    if not folder.parent.is_dir():
        raise InputError("there is no such folder", str(folder.parent), "Make it first, or name another one.")
    with opened(logbook, read_only=True) as book:
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
            raise OutsideError(
                what, str(folder), "Nothing was exported; make room and do it again."
            ) from error
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


def gather(book: Logbook, names: list[str]) -> ExportData:
    """Everything of these rigs, as records."""
    sheets = {state.sheet.id: state for name in names for state in book.sheets(name)}
    trials = []
    judgements = []
    for name in names:
        for logged in book.trials(rig=name):
            place = logged.placement
            trials.append((logged, sheets.get(place.sheet) if place else None))
        every = book.judgements(name)
        counting = {logged.judgement.id for logged, _ in trials if logged.judgement is not None}
        judgements += [(judged, judged.id in counting) for judged in every]
    services = []
    for name in names:
        every_service = book.services(name, every_revision=True)
        counting = {service.id for service in heads(every_service)}
        services += [(service, service.id in counting) for service in every_service]
    return ExportData(
        tuple(revision for name in names for revision in book.rig_revisions(name)),
        tuple(sheets.values()),
        tuple(trials),
        tuple(judgements),
        tuple(services),
        tuple(order for name in names for order in book.orders(name)),
    )


def _write_tables(
    book: Logbook, names: list[str], folder: Path, form: str, progress: Progress | None
) -> dict[str, int]:
    data = gather(book, names)
    written = {}
    for table, (columns, _) in TABLES.items():
        file = folder / f"{table}.{form}"
        if progress is not None:
            progress(file.name)
        written[file.name] = _write(file, form, columns, table, data)
    tables.write_csv(folder / DESCRIPTION, ["table", "column", "unit", "what"], described())
    return written


def _write(file: Path, form: str, columns: tuple[Column, ...], table: str, data: ExportData) -> int:
    names = [column.name for column in columns]
    if form == "csv":
        return tables.write_csv(file, names, rows(table, data))
    if form == "jsonl":
        return tables.write_jsonl(file, names, rows(table, data))
    numbers = {column.name for column in columns if column.is_number}
    flags = {column.name for column in columns if column.unit == FLAG}
    return tables.write_parquet(file, names, rows(table, data), numbers, flags)


def _write_traces(book: Logbook, names: list[str], folder: Path, progress: Progress | None) -> dict[str, int]:
    from logger.files.tracefile import write_trace

    folder.mkdir()
    written = {}
    for name in names:
        for logged in book.trials(rig=name):
            if logged.trial.source == FROM_TRACE:
                trace = book.trace(logged.id)
                file = folder / f"{logged.id}.csv"
                write_trace(trace, file)
                written[f"traces/{file.name}"] = len(trace)
        if progress is not None:
            progress(f"traces of {name}")
    return written
