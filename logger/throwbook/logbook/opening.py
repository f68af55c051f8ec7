"""Opening the file: for writing, for reading wherever it lies; refused, or brought to the newest version with a safe copy.

Kept true here: a file that isn't a logbook, or is newer than this program, is not touched.
"""

import contextlib
import os
import sqlite3
import sys
from pathlib import Path

from throwbook.errors import InputError, OutsideError, Remedy
from throwbook.logbook import migrations
from throwbook.logbook.connection import Waiting, begin, connect, no_room, plain_errors, unwritable
from throwbook.logbook.store import enter_old

LISTED_SINCE = 4
"""The version since which a file has its list of entries."""
APPLICATION_ID = 0x5468726F  # "Thro"


def migrate(db: sqlite3.Connection, path: Path, waiting: Waiting | None) -> None:
    """Bring the file to the newest version, step by step, each in one transaction, a safe copy made first.

    Rows are carried over as they stand, harmed ones too: what is wrong with them is for ``check`` to say.
    """
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if version == migrations.NEWEST:
        return
    if version > 0:
        safe_copy(db, path, path.with_name(f"{path.name}.v{version}-copy"))
    db.execute("PRAGMA foreign_keys = OFF")
    db.execute("PRAGMA ignore_check_constraints = ON")
    try:
        _take_steps(db, version, waiting)
    finally:
        db.execute("PRAGMA ignore_check_constraints = OFF")
        db.execute("PRAGMA foreign_keys = ON")


def _take_steps(db: sqlite3.Connection, version: int, waiting: Waiting | None) -> None:
    while version < migrations.NEWEST:
        begin(db, waiting)
        try:
            version = db.execute("PRAGMA user_version").fetchone()[0]  # another program may have been faster
            if version < migrations.NEWEST:
                for statement in migrations.statements(version + 1):
                    db.execute(statement)
                if version + 1 == LISTED_SINCE:
                    enter_old(db)
                db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                db.execute(f"PRAGMA user_version = {version + 1}")
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise
        version = db.execute("PRAGMA user_version").fetchone()[0]


def safe_copy(db: sqlite3.Connection, path: Path, target: Path) -> None:
    """A verified copy of the open logbook at ``target``; it appears there only when it is whole."""
    part = target.with_name(target.name + ".part")
    with plain_errors(target):
        try:
            remove_file(part)
            os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
            with contextlib.closing(sqlite3.connect(part)) as copy:
                db.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")  # one file, whole by itself
                problem = copy.execute("PRAGMA integrity_check(1)").fetchone()[0]
            if problem != "ok":
                raise OutsideError(
                    "the copy isn't whole, so nothing was changed", str(path), remedy=Remedy.CHECK_LOGBOOK
                )
            sync(part)
            part.replace(target)
            sync(target.parent)
        finally:
            remove_file(part)


def remove_file(part: Path) -> None:
    """A copy that isn't whole, and its journal, which must never be played into another copy."""
    for ending in ("", "-journal", "-wal", "-shm"):
        part.with_name(part.name + ending).unlink(missing_ok=True)


def sync(path: Path) -> None:
    """Have the system write a file or a folder's list of names to the disk."""
    windows = os.name == "nt"
    if windows and path.is_dir():
        return
    handle = os.open(
        path, os.O_RDWR if windows else os.O_RDONLY
    )  # Windows syncs only what is open for writing
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def writable(path: Path) -> bool:
    """Whether the file and its folder (for the journal beside it) can be written."""
    return _takes_files(path) and (not path.exists() or os.access(path, os.W_OK))


def _takes_files(path: Path) -> bool:
    if sys.platform != "win32":
        return os.access(path.parent, os.W_OK)
    # Only a try tells what a folder's permissions there are; two may try at once.
    probe = path.with_name(f"{path.name}.{os.urandom(8).hex()}-probe")
    try:
        os.close(os.open(probe, os.O_CREAT | os.O_EXCL | os.O_TEMPORARY))
    except OSError:
        return False
    return True


def open_writing(path: Path, waiting: Waiting | None) -> sqlite3.Connection:
    """Open or start the logbook, brought to the newest version."""
    with plain_errors(path):
        refuse_others(path)
        if not writable(path):
            raise unwritable(path)
        _make_private(path)
        db = connect(path, "rwc")
        try:
            refuse_by_header(db, path)
            db.execute("PRAGMA journal_mode = WAL")
            migrate(db, path, waiting)
        except BaseException:
            db.close()
            raise
        return db


def _make_private(path: Path) -> None:
    """A new logbook is its user's alone; SQLite gives its small files the same permissions. Widened ones stay."""
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def open_reading(path: Path, waiting: Waiting | None) -> tuple[sqlite3.Connection, Path | None]:
    """Open for reading: in place, from read-only media, or from a private copy where that is the only way.

    An old file is brought to the newest version first; on read-only media a private copy of it is.
    """
    with plain_errors(path):
        refuse_others(path)
        if writable(path):
            if header_version(path) < migrations.NEWEST:
                open_writing(path, waiting).close()
            try:
                return _in_place(path), None
            except sqlite3.OperationalError:  # no room for SQLite's own small files: read without them
                if not no_room(path):
                    raise
        db, scratch = open_without_files(path)
        if db.execute("PRAGMA user_version").fetchone()[0] == migrations.NEWEST:
            return db, scratch
        db.close()
        scratch = scratch or private_copy(path)
        open_writing(scratch / path.name, waiting).close()
        return connect(scratch / path.name, "query"), scratch


def _in_place(path: Path) -> sqlite3.Connection:
    db = connect(path, "query")
    try:
        refuse_by_header(db, path)
    except BaseException:
        db.close()
        raise
    return db


def open_untouched(path: Path) -> tuple[sqlite3.Connection, Path | None]:
    """Open without writing a byte beside or into the file, whatever its version; the folder is a private copy's."""
    with plain_errors(path):
        refuse_others(path)
        return (connect(path, "query"), None) if writable(path) else open_without_files(path)


def open_without_files(path: Path) -> tuple[sqlite3.Connection, Path | None]:
    """Open where SQLite can't make its own small files beside the logbook: in place, or a copy with its journal."""
    journal = path.with_name(path.name + "-wal")
    if not (journal.exists() and journal.stat().st_size > 0):
        return connect(path, "immutable"), None
    scratch = private_copy(path)
    return connect(scratch / path.name, "query"), scratch


def private_copy(path: Path) -> Path:
    """A folder of our own with a copy of the file and of what SQLite hasn't put into it yet."""
    import shutil
    import tempfile

    scratch = Path(tempfile.mkdtemp(prefix="throwbook-"))
    for ending in ("", "-wal"):
        part = path.with_name(path.name + ending)
        if part.exists():
            shutil.copyfile(part, scratch / part.name)
            (scratch / part.name).chmod(0o600)
    return scratch


def header_version(path: Path) -> int:
    """The version in the file's own header (SQLite file format, offset 60)."""
    with path.open("rb") as file:
        return int.from_bytes(file.read(100)[60:64], "big")


def refuse_others(path: Path) -> None:
    """Refuse, without opening it as a database, a file that isn't a logbook or is newer than this program."""
    if path.is_dir():
        raise InputError("this is a folder", str(path), "Give the path of a logbook file.")
    if not path.parent.is_dir():
        raise InputError("there is no such folder", str(path.parent), "Make it first, or give another path.")
    if path.exists() and not path.is_file():
        raise InputError("this is a pipe or a device", str(path), "Give the path of a logbook file.")
    if not path.exists() or path.stat().st_size == 0:
        return
    with path.open("rb") as file:
        head = file.read(100)
    if not head.startswith(b"SQLite format 3\0") or len(head) < 100:
        raise InputError(
            "this is not a logbook", str(path), "Give the logbook's own path; the file was left as it is."
        )
    _refuse(int.from_bytes(head[68:72], "big"), int.from_bytes(head[60:64], "big"), path)


def refuse_by_header(db: sqlite3.Connection, path: Path) -> None:
    """The same from inside, where a journal left behind may hold a newer header; and no foreign tables."""
    number = db.execute("PRAGMA application_id").fetchone()[0]
    _refuse(number, db.execute("PRAGMA user_version").fetchone()[0], path)
    if number == 0 and db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
        raise InputError(
            "this is another program's database",
            str(path),
            "Give the logbook's own path; it was left as it is.",
        )


def _refuse(application: int, version: int, path: Path) -> None:
    if application not in (0, APPLICATION_ID):
        raise InputError(
            "this is another program's database",
            str(path),
            "Give the logbook's own path; it was left as it is.",
        )
    if application == APPLICATION_ID and version > migrations.NEWEST:
        raise InputError(
            f"this logbook is version {version}, made by a newer program (this one reads up to {migrations.NEWEST})",
            str(path),
            "Install the newer throwbook; the file was left as it is.",
        )
