"""The logbook's content out into files that other programs read."""

import contextlib
import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from logger.core.quantities.plain import file_name
from logger.core.records.export_tables import FLAG, TABLES, Column, ExportData, described, rows
from logger.core.records.records import FROM_TRACE
from logger.core.records.revisions import heads
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
    with opened(logbook, read_only=True) as book, book.snapshot():
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
    )


def _write_tables(
    book: Logbook, names: list[str], folder: Path, form: str, progress: Progress | None
) -> dict[str, int]:
    """Rig by rig, so that no more than one is held at a time."""
    written = {f"{table}.{form}": 0 for table in TABLES}
    with contextlib.ExitStack() as stack:
        files: dict[str, tables.TableFile] = {}
        for table, (columns, _) in TABLES.items():
            files[table] = tables.KINDS[form](folder / f"{table}.{form}", _layout(columns))
            stack.callback(files[table].close)
        for name in names:
            data = gather(book, name)
            for table, file in files.items():
                written[f"{table}.{form}"] += file.add(rows(table, data))
            if progress is not None:
                progress(name)
    description = tables.CsvTable(folder / DESCRIPTION, tables.Layout(["table", "column", "unit", "what"]))
    description.add(described())
    description.close()
    return written


def _layout(columns: tuple[Column, ...]) -> tables.Layout:
    return tables.Layout(
        [column.name for column in columns],
        frozenset(column.name for column in columns if column.is_number),
        frozenset(column.name for column in columns if column.unit == FLAG),
    )


def _write_traces(book: Logbook, names: list[str], folder: Path, progress: Progress | None) -> dict[str, int]:
    from logger.files.tracefile import write_trace

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
