"""One connection to the file: its transactions, waiting for another program, SQLite's errors in a person's words.

Kept true here: a step is stored whole or not at all, and what was reported done is on the disk (full sync).
"""

import contextlib
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path, PurePath
from typing import Self

from throwbook.errors import InputError, OutsideError, Remedy

LITTLE_ROOM_BYTES = 1 << 20
"""Less than this, and an input or output error of SQLite means a full disk (its shared memory file takes 32 kB)."""


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
    if code == sqlite3.SQLITE_FULL or (code == sqlite3.SQLITE_IOERR and no_room(path)):
        return OutsideError(
            "the disk is full", where, "Nothing of this step was stored; make room and do it again."
        )
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return OutsideError(
            "another program is writing and did not finish in time", where, "Close it, then do it again."
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return unwritable(path)
    if code == sqlite3.SQLITE_CORRUPT:
        return damaged(path)
    return OutsideError(
        f"the logbook can't be used ({error})",
        where,
        "Nothing of this step was stored. Go back to the last backup, or copy the file and try the copy.",
    )


def no_room(path: Path) -> bool:
    """Whether the disk is so full that not even SQLite's own small files find room."""
    import shutil

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
        "the logbook is damaged", str(path), "Restore the last backup.", Remedy.RESTORE_BACKUP
    )


def unreadable_row(path: Path, table: str, row_id: object) -> OutsideError:
    """The same for one row: which, where, and what a person can do."""
    return OutsideError(
        f"a row of the logbook can't be read ({table} {str(row_id)[:8]})",
        str(path),
        "Go back to the last backup, and do not merge that logbook again.",
        Remedy.CHECK_LOGBOOK,
    )


FIRST_WAIT_S = 0.5
LONGEST_WAIT_S = 30.0
Waiting = Callable[[], None]
"""Called once when another program holds the logbook and we wait."""


class Connection:
    """One open logbook file; a context manager that closes it."""

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

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; a private copy made for reading goes too."""
        self.db.close()
        if self._scratch is not None:
            import shutil

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

    @contextlib.contextmanager
    def snapshot(self) -> Iterator[None]:
        """All that is read inside is as of one moment, whatever others write meanwhile; and read faster."""
        if self.db.in_transaction:
            yield
            return
        with plain_errors(self.path):
            self.db.execute("BEGIN")
            try:
                yield
            finally:
                self.db.execute("ROLLBACK")


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


def file_address(path: PurePath) -> str:
    """A whole path as an address that SQLite takes: it knows no server beside the path, so a Windows share stands in the path.

    >>> from pathlib import PureWindowsPath
    >>> file_address(PureWindowsPath(r"\\\\server\\share\\book"))
    'file:////server/share/book'
    """
    address = path.as_uri()
    return address if address.startswith("file:///") else address.replace("file://", "file:////", 1)


def connect(path: Path, mode: str) -> sqlite3.Connection:
    """A connection with our settings; ``mode`` is ``rw``, ``rwc``, ``query`` or ``immutable``.

    ``query`` changes nothing, but is opened for writing: only so does SQLite clear away its small files at the end.
    """
    query = {"immutable": "mode=ro&immutable=1", "query": "mode=rw"}.get(mode, f"mode={mode}")
    address = f"{file_address(path.resolve())}?{query}"
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
