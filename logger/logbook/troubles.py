"""SQLite's troubles in a person's words: what, where, what to do."""

import contextlib
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from logger.errors import InputError, OutsideError

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
            "another program is writing and didn't finish in time", where, "Close it, then do it again."
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


def unreadable_row(path: Path, table: str, row_id: object) -> OutsideError:
    """The same for one row: which, where, and what a person can do."""
    return OutsideError(
        f"a row of the logbook can't be read ({table} {str(row_id)[:8]})",
        str(path),
        "'throwbook check' says whose it is; go back to the last backup, and don't merge again what brought it in.",
    )
