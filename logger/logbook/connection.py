"""Opening the file, transactions, and SQLite's troubles in a person's words.

Kept true here: a step is stored whole or not at all; what was reported done is on the disk (full sync); a file
that isn't a logbook, or is newer than this program, is not touched.
"""

import contextlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from logger.errors import InputError, OutsideError
from logger.logbook import migrations

APPLICATION_ID = 0x5468726F  # "Thro"
FIRST_WAIT_S = 0.5
LONGEST_WAIT_S = 30.0
LITTLE_ROOM_BYTES = 1 << 20
"""Less than this, and an input or output error of SQLite means a full disk (its shared memory file takes 32 kB)."""

Waiting = Callable[[], None]
"""Called once when another program holds the logbook and we wait."""


@contextlib.contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """Turn SQLite's errors into one line that says what to do."""
    try:
        yield
    except sqlite3.Error as error:
        raise explained(error, path) from error
    except UnicodeError as error:  # the text of a damaged row, or SQLite's own words about it
        raise damaged(path) from error
    except OSError as error:
        raise OutsideError(
            error.strerror or str(error), str(error.filename or path), "Nothing of this step was stored."
        ) from error


def explained(error: sqlite3.Error, path: Path) -> InputError | OutsideError:
    """The error a person can act on."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    where = str(path)
    if code == sqlite3.SQLITE_NOTADB:
        return InputError(
            "this is not a logbook", where, "Give the logbook's own path; the file was left as it is."
        )
    if code == sqlite3.SQLITE_FULL or (code == sqlite3.SQLITE_IOERR and _no_room(path)):
        return OutsideError(
            "the disk is full", where, "Nothing of this step was stored; make room and do it again."
        )
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return OutsideError(
            "another program is writing and didn't finish in time", where, "Close it, then do it again."
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return unwritable(path)
    if code == sqlite3.SQLITE_CORRUPT:
        return damaged(path)
    return OutsideError(
        f"the logbook can't be used ({error})",
        where,
        "Nothing of this step was stored; see 'throwbook check'.",
    )


def _no_room(path: Path) -> bool:
    """Whether the disk is so full that not even SQLite's own small files find room."""
    try:
        return shutil.disk_usage(path.parent).free < LITTLE_ROOM_BYTES
    except OSError:
        return False


def unwritable(path: Path) -> OutsideError:
    """A folder or a file that this user may not write, or media that nobody can."""
    return OutsideError(
        "can't be opened for writing",
        str(path),
        "Check the folder's permissions, or copy the file to a folder of your own.",
    )


def damaged(path: Path) -> OutsideError:
    """What a person can do about a damaged file."""
    return OutsideError(
        "the logbook is damaged", str(path), "'throwbook check' says how far; go back to the last backup."
    )


class Connection:
    """One open logbook file: the base of ``Logbook``, which adds the rows."""

    def __init__(
        self,
        path: Path,
        db: sqlite3.Connection,
        read_only: bool,
        waiting: Waiting | None,
        scratch: Path | None = None,
        longest_wait_s: float = LONGEST_WAIT_S,
    ) -> None:
        """Use ``open_logbook`` instead."""
        self.path = path
        self.db = db
        self.read_only = read_only
        self._waiting = waiting
        self._scratch = scratch
        self._longest_wait_s = longest_wait_s

    def close(self) -> None:
        """Close the file; a private copy made for reading goes too."""
        self.db.close()
        if self._scratch is not None:
            shutil.rmtree(self._scratch, ignore_errors=True)

    @contextlib.contextmanager
    def transaction(self) -> Iterator[None]:
        """All that is added inside is stored together or not at all; inside another one it is part of that."""
        if self.db.in_transaction:
            yield
            return
        if self.read_only:
            raise OutsideError(
                "the logbook is open for reading only",
                str(self.path),
                "Copy it to a folder that can be written.",
            )
        with plain_errors(self.path):
            begin(self.db, self._waiting, self._longest_wait_s)
            try:
                yield
                self.db.execute("COMMIT")
            except BaseException:
                if self.db.in_transaction:
                    self.db.execute("ROLLBACK")
                raise


def begin(db: sqlite3.Connection, waiting: Waiting | None, longest_s: float = LONGEST_WAIT_S) -> None:
    """Take the write lock; say so once when another program has it, then wait on."""
    db.execute(f"PRAGMA busy_timeout = {int(min(FIRST_WAIT_S, longest_s) * 1000)}")
    try:
        db.execute("BEGIN IMMEDIATE")
        return
    except sqlite3.OperationalError as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF != sqlite3.SQLITE_BUSY:
            raise
    if waiting is not None:
        waiting()
    db.execute(f"PRAGMA busy_timeout = {int(longest_s * 1000)}")
    db.execute("BEGIN IMMEDIATE")


def connect(path: Path, mode: str) -> sqlite3.Connection:
    """A connection with our settings; ``mode`` is ``rw``, ``rwc``, ``query`` or ``immutable``.

    ``query`` changes nothing, but is opened for writing: only so does SQLite clear away its small files at the end.
    """
    query = {"immutable": "mode=ro&immutable=1", "query": "mode=rw"}.get(mode, f"mode={mode}")
    address = f"{path.resolve().as_uri()}?{query}"
    db = sqlite3.connect(address, uri=True, isolation_level=None, timeout=LONGEST_WAIT_S)
    db.row_factory = sqlite3.Row
    try:
        for setting in (
            "foreign_keys = ON",
            "synchronous = FULL",
            "trusted_schema = OFF",
            "cell_size_check = ON",
        ):
            db.execute(f"PRAGMA {setting}")
        if mode == "query":
            db.execute("PRAGMA query_only = ON")
    except BaseException:
        db.close()
        raise
    return db


def writable(path: Path) -> bool:
    """Whether the file and its folder (for the journal beside it) can be written."""
    return os.access(path.parent, os.W_OK) and (not path.exists() or os.access(path, os.W_OK))


def open_writing(path: Path, waiting: Waiting | None) -> sqlite3.Connection:
    """Open or start the logbook, brought to the newest version."""
    with plain_errors(path):
        refuse_others(path)
        if not writable(path):
            raise unwritable(path)
        db = connect(path, "rwc")
        try:
            refuse_by_header(db, path)
            db.execute("PRAGMA journal_mode = WAL")
            migrate(db, path, waiting)
        except BaseException:
            db.close()
            raise
        return db


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
                if not _no_room(path):
                    raise
        db, scratch = open_without_files(path)
        if db.execute("PRAGMA user_version").fetchone()[0] == migrations.NEWEST:
            return db, scratch
        db.close()
        scratch = scratch or _private_copy(path)
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
    scratch = _private_copy(path)
    return connect(scratch / path.name, "query"), scratch


def _private_copy(path: Path) -> Path:
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
            f"this logbook is version {version}, made by a newer program (this one knows up to {migrations.NEWEST})",
            str(path),
            "Install the newer throwbook; the file was left as it is.",
        )


def migrate(db: sqlite3.Connection, path: Path, waiting: Waiting | None) -> None:
    """Bring the file to the newest version, step by step, each in one transaction, a safe copy made first."""
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if 0 < version < migrations.NEWEST:
        safe_copy(db, path, path.with_name(f"{path.name}.v{version}-copy"))
    while version < migrations.NEWEST:
        begin(db, waiting)
        try:
            version = db.execute("PRAGMA user_version").fetchone()[0]  # another program may have been faster
            if version < migrations.NEWEST:
                for statement in migrations.statements(version + 1):
                    db.execute(statement)
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
            _remove(part)
            with contextlib.closing(sqlite3.connect(part)) as copy:
                db.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")  # one file, whole by itself
                problem = copy.execute("PRAGMA integrity_check(1)").fetchone()[0]
            if problem != "ok":
                raise OutsideError(
                    "the copy isn't whole, so nothing was changed", str(path), "See 'throwbook check'."
                )
            sync(part)
            part.replace(target)
            sync(target.parent)
        finally:
            _remove(part)


def _remove(part: Path) -> None:
    """A copy that isn't whole, and its journal, which must never be played into another copy."""
    for ending in ("", "-journal", "-wal", "-shm"):
        part.with_name(part.name + ending).unlink(missing_ok=True)


def sync(path: Path) -> None:
    """Have the system write a file or a folder's list of names to the disk."""
    if os.name == "nt" and path.is_dir():
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
