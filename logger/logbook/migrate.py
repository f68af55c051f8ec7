"""Bringing an old file to the newest version, and the copies that make that safe."""

import contextlib
import os
import sqlite3
from pathlib import Path

from logger.errors import OutsideError
from logger.logbook import migrations
from logger.logbook.connection import Waiting, begin
from logger.logbook.entries import enter_old
from logger.logbook.troubles import plain_errors

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
            _remove(part)
            os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
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
