"""A logbook put back from a backup. Nothing is lost by it, and no status is eased.

The present file is kept beside, named with its day. What it holds that the backup lacks is carried over: every row, where it
is whole; else every row that can still be read and still gives its id. Where it can't be read through, nobody knows what was
written in it since the backup: each rig is held at ``restricted`` until a person signs for that. A rig that stood worse in the present file
stands no better afterwards.

The new file takes the logbook's name in one step, when all else is done: whatever breaks off before leaves the present
file where it is.
"""

import contextlib
import os
import shutil
import sqlite3
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import count
from pathlib import Path

from throwbook.core.quantities.text import counted, storable
from throwbook.core.status.latch import CAUSES, IN_SERVICE, LEVELS, RESTRICTED, raise_order, worst
from throwbook.core.wording import Cell
from throwbook.errors import InputError, OutsideError
from throwbook.jobs import latch
from throwbook.jobs.find import logbook_path
from throwbook.logbook import Logbook, open_logbook, serialization
from throwbook.logbook.connection import Waiting, connect, plain_errors
from throwbook.logbook.merge import ApartError, brought_up, merge
from throwbook.logbook.opening import (
    open_untouched,
    private_copy,
    refuse_others,
    remove_file,
    safe_copy,
    sync,
)
from throwbook.logbook.schema import TABLES, altered, fact
from throwbook.logbook.store import INSERTS, enter

CAUSE = "restored backup"
"""In ``core.status.latch.CAUSES``."""
ENDINGS = ("", "-wal", "-journal")
"""The file, and SQLite's files beside it that may hold what isn't in it yet."""
SQLITE = b"SQLite format 3\0"
LOCKS_AT, LOCK_BYTES = 0x40000000, 512
"""Where SQLite locks a file (SQLite file locking, os.h: PENDING_BYTE and what follows)."""
VERSION_AT, NEWER = 60, (0x7FFFFFFF).to_bytes(4, "big")
"""Place of the version in the file's header (SQLite file format 1.3), and one that no program has."""


@dataclass
class Restored:
    """What a restore did."""

    path: Path
    """The logbook, from the backup."""
    kept: Path | None = None
    """Where the file lies that was there before; None: there was none."""
    added: dict[str, int] = field(default_factory=dict)
    """Table: rows carried over from it, that the backup lacked."""
    unread: str = ""
    """Why the present file couldn't be read through; empty: it could."""
    held: list[str] = field(default_factory=list)
    """Rigs that an order holds since."""


@dataclass(frozen=True)
class Backup:
    """A backup that lies where this program puts them."""

    file: Path
    rigs: tuple[str, ...]


def newest_backup(logbook: str | None, folder: Path, practice: bool) -> Backup | None:
    """The newest whole backup in ``folder`` or beside the logbook; of practice only for a practice logbook."""
    path = logbook_path(logbook)
    lying = [
        *folder.glob(f"*-backup-*{path.suffix}"),
        *path.parent.glob(f"{path.stem}-backup-*{path.suffix}"),
    ]
    for file in sorted(lying, key=lambda one: one.stat().st_mtime, reverse=True):
        try:
            with open_logbook(file, read_only=True) as book:
                if bool(book.for_practice()) == practice:
                    return Backup(file, tuple(book.rig_names()))
        except (InputError, OutsideError):  # damaged, or a newer program's: the next older one
            continue
    return None


COUNTED = {
    "rig": "rig",
    "sheet": "sheet",
    "trial": "throw",
    "sighting": "sighting",
    "photograph": "photograph",
    "service": "service",
    "latch_order": "order",
    "decision": "decision",
}
"""Table: what a person calls one row of it. The rest (revisions, placements) hang on these."""


def rows_said(added: Mapping[str, int]) -> str:
    """What came in from another file, in words; empty: nothing that has a name."""
    return ", ".join(counted(added[name], word) for name, word in COUNTED.items() if name in added)


def restored_said(done: Restored) -> list[Cell]:
    """What was done, and what holds the rigs since: a sentence each."""
    said = [Cell(f"Restored: {done.path}", "good")]
    if done.kept is not None:
        rows = rows_said(done.added) or "nothing that the backup lacks"
        said += [
            Cell(f"The file that was there is kept: {done.kept}"),
            Cell(f"Carried over from it: {rows}."),
        ]
    if done.unread:
        said.append(Cell(f"It could not be read to its end: {done.unread}.", "warn"))
    if done.held:
        until = "At least restricted, until somebody signs that nothing worse was written since the backup"
        said.append(Cell(f"{until}: {', '.join(done.held)}.", "warn"))
    return said


def restore(
    logbook: str | None, backup: Path, by: str, now: datetime, waiting: Waiting | None = None
) -> Restored:
    """Put the logbook back from ``backup``, which isn't touched; see above.

    Raises InputError where ``backup`` is no whole logbook, is this logbook itself, or speaks of other machines; where the
    present file was made by a newer program, or is another program's. OutsideError where another program has the logbook
    open, or the disk refuses. The present file is then where it was, as it was.
    """
    path = logbook_path(logbook)
    _refuse(path, backup)
    part = path.with_name(f"{path.name}.restored")
    kept = _free_name(path, f"{path.stem}-before-restore-{now:%Y%m%d-%H%M%S}")
    done = Restored(path)
    try:
        with plain_errors(path):
            _remove(part)
            _copy_of(backup, part)
            with _alone(path, kept) as unread:
                done.unread, done.kept = unread, kept if kept.exists() else None
                with open_logbook(part, waiting=waiting) as book:
                    before, loose = _carry_over(book, done)
                    with book.transaction():
                        _hold(book, done, before, loose, by, now, storable(backup.name))
                _put_in_place(part, path)
    except BaseException:
        if part.exists():  # it isn't in its place: the present file still is
            for ending in ENDINGS:
                kept.with_name(kept.name + ending).unlink(missing_ok=True)
        raise
    finally:
        _remove(part)
    return done


def _free_name(path: Path, stem: str) -> Path:
    """A name beside the logbook that no file has yet: a kept file is never written over."""
    names = (f"{stem}{'' if n == 1 else f'-{n}'}{path.suffix}" for n in count(1))
    return next(file for name in names if not (file := path.with_name(name)).exists())


def _refuse(path: Path, backup: Path) -> None:
    if not backup.exists():
        raise InputError("there is no such file", str(backup), "Give the path of the backup.")
    if path.exists() and backup.samefile(path):
        raise InputError("this is the logbook itself", str(backup), "Give the path of a backup of it.")
    refuse_others(backup)
    if backup.stat().st_size == 0:
        raise InputError("this backup is empty", str(backup), "Give the path of another one.")
    if not path.exists() or not path.is_file():
        refuse_others(path)
        return
    with path.open("rb") as file:
        tells = file.read(100).startswith(SQLITE)
    if tells:  # a newer program's, or another one's
        refuse_others(path)


def _remove(file: Path) -> None:
    remove_file(file)
    for copy in file.parent.glob(f"{file.name}.v*-copy"):  # of before it was brought to this version
        copy.unlink(missing_ok=True)


def _copy_of(backup: Path, part: Path) -> None:
    source, scratch = open_untouched(backup)
    try:
        with contextlib.closing(source):
            safe_copy(source, backup, part)
    except OutsideError as error:
        raise OutsideError(
            f"this backup can't be used: {error.what}", str(backup), "Give the path of another one."
        ) from error
    finally:
        if scratch is not None:
            shutil.rmtree(scratch, ignore_errors=True)


@contextlib.contextmanager
def _alone(path: Path, kept: Path) -> Iterator[str]:
    """No other program gets at the present file meanwhile, and a copy of it lies at ``kept``; why it can't be read, or ""."""
    if not path.exists():
        yield "the logbook was not there"
        return
    if _open_elsewhere(path):
        raise _in_use(path)
    _copy_as_it_is(path, kept)
    if path.stat().st_size == 0:
        yield "the logbook was empty"
        return
    with contextlib.ExitStack() as stack:
        old = os.open(path, os.O_RDWR)
        stack.callback(os.close, old)
        db = _locked(path)
        if db is not None:
            stack.callback(db.close)
            remove_file(kept)
            safe_copy(db, path, kept)
        before = os.fstat(old).st_ino
        if sys.platform == "win32":  # no file that is open can be replaced there, by another program neither
            stack.close()
        if db is None or sys.platform == "win32":
            yield "" if db else "the logbook was damaged"
            return
        yield ""
        if path.stat().st_ino != before:
            # Who has waited for this file all the while must not write into it: by its version it is a newer program's.
            os.pwrite(old, NEWER, VERSION_AT)


def _copy_as_it_is(path: Path, kept: Path) -> None:
    for ending in ENDINGS:
        source, target = path.with_name(path.name + ending), kept.with_name(kept.name + ending)
        if source.exists():
            shutil.copyfile(source, target)
            target.chmod(0o600)
            sync(target)


def _open_elsewhere(path: Path) -> bool:
    """Whether another program has it open; a damaged file, that SQLite itself can't open, too."""
    if (
        sys.platform == "win32"
    ):  # what another program has open can't be renamed there, to its own name neither
        try:
            path.rename(path)
        except PermissionError:
            return True
        return False
    import fcntl

    with path.open("rb+") as file:
        try:
            fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB, LOCK_BYTES, LOCKS_AT)
        except OSError:
            return True
    return False


def _in_use(path: Path) -> OutsideError:
    return OutsideError(
        "another program has the logbook open", str(path), "Close it, then do it again. Nothing was changed."
    )


def _locked(path: Path) -> sqlite3.Connection | None:
    """A connection that alone may read and write the file; None where it can't be read through."""
    with contextlib.ExitStack() as unless_whole:
        try:
            db = connect(path, "rw")
            unless_whole.callback(db.close)
            db.execute("PRAGMA busy_timeout = 500")
            if db.execute("PRAGMA journal_mode = DELETE").fetchone()[0] != "delete":
                raise _in_use(path)
            db.execute("PRAGMA locking_mode = EXCLUSIVE")  # what is locked once stays so until it is closed
            db.execute("BEGIN EXCLUSIVE")
            db.execute("COMMIT")
            whole = db.execute("PRAGMA integrity_check(1)").fetchone()[0] == "ok"
            if whole and db.execute("PRAGMA user_version").fetchone()[0]:
                unless_whole.pop_all()
                return db
        except (sqlite3.Error, UnicodeError) as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise _in_use(path) from error
            if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM):
                raise
    return None


def _put_in_place(part: Path, path: Path) -> None:
    with contextlib.closing(connect(part, "rw")) as db:
        db.execute("PRAGMA journal_mode = DELETE")  # one file, whole by itself
    sync(part)
    for ending in (
        "-wal",
        "-shm",
        "-journal",
    ):  # of the file that was there: never to be played into this one
        path.with_name(path.name + ending).unlink(missing_ok=True)
    os.replace(part, path)
    sync(path.parent)


Loose = list[tuple[str, str, str]]
"""Orders that could be read, but not the throw or sheet they stand on: rig, cause, why."""


def _carry_over(book: Logbook, done: Restored) -> tuple[Mapping[str, str], Loose]:
    """What the present file holds and the backup lacks; how each rig stood there, and orders that lost their throw."""
    before: Mapping[str, str] = {}
    if done.kept is None:
        return before, []
    if not done.unread:
        try:
            with brought_up(done.kept) as copy:
                with open_logbook(copy) as present:
                    _refuse_another(book, present, done)
                    before = {rig: _level(present, rig) for rig in present.rig_names()}
                if (
                    not before and book.rig_names()
                ):  # a program that was started on an emptied file made it anew
                    done.unread = "the logbook was empty"
                done.added = merge(book, copy).added
                return before, []
        except ApartError as error:
            raise InputError(
                f"this backup was started separately from the logbook: there may be another machine under '{error.rigs[0]}' in it",
                str(done.path),
                "Give the path of a backup of this logbook, or take it in by merging.",
            ) from error
        except _AnotherKindError:
            raise
        except (InputError, OutsideError) as error:  # rows that were changed, or that nobody can read
            done.unread = f"the logbook was damaged ({error.what})"
    with book.transaction():
        done.added, loose = _salvaged(book, done.kept)
    return before, loose


class _AnotherKindError(InputError):
    """Practice and real work in one logbook."""


def _refuse_another(book: Logbook, present: Logbook, done: Restored) -> None:
    if bool(book.for_practice()) != bool(present.for_practice()):
        raise _AnotherKindError(
            "one of the two is a practice logbook",
            str(done.path),
            "Give the path of a backup of this logbook.",
        )


def _level(book: Logbook, rig: str) -> str:
    """The rig's status by what is in the file alone."""
    return latch.status(book, rig, recordings=()).level


def _salvaged(book: Logbook, kept: Path) -> tuple[dict[str, int], Loose]:
    """Every row of a damaged file that can be read, still gives its id, and has what it refers to."""
    added: dict[str, int] = {}
    loose: Loose = []
    scratch = private_copy(kept)
    try:
        with contextlib.closing(sqlite3.connect(scratch / kept.name)) as old:
            old.row_factory = sqlite3.Row
            for row in _readable(old, "rig", "name"):
                _count(added, "rig", book.db.execute("INSERT OR IGNORE INTO rig VALUES (?)", [row["name"]]))
            for blobs, kind in serialization.BLOBS.items():
                for row in _readable(old, blobs, "digest"):
                    if isinstance(row["data"], bytes) and kind.whole(str(row["digest"]), row["data"]):
                        listed, marks = ", ".join(row.keys()), ", ".join("?" for _ in row.keys())  # noqa: SIM118
                        put = f"INSERT OR IGNORE INTO {blobs} ({listed}) VALUES ({marks})"
                        _count(added, blobs, book.db.execute(put, tuple(row)))
            for table in TABLES:
                for row in _readable(old, table.name, ", ".join(table.key)):
                    there = dict(row)
                    values = {"id": there.get("id"), **{name: there.get(name) for name in table.columns}}
                    if altered(table, str(values["id"]), fact(table, values)):
                        continue
                    try:
                        done = book.db.execute(INSERTS[table.name], list(values.values()))
                    except sqlite3.IntegrityError:
                        if table.name == "latch_order" and values["clears"] == "[]":
                            loose.append((str(values["rig"]), str(values["cause"]), str(values["because"])))
                        continue
                    if done.rowcount == 1:
                        enter(book.db, table, values)
                        _count(added, table.name, done)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
    return added, loose


def _count(added: dict[str, int], table: str, done: sqlite3.Cursor) -> None:
    if done.rowcount == 1:
        added[table] = added.get(table, 0) + 1


def _readable(db: sqlite3.Connection, table: str, key: str) -> Iterator[sqlite3.Row]:
    """Rows up to a damaged place, then those behind it from the end; one may come twice."""
    backwards = ", ".join(f"{name} DESC" for name in key.split(", "))
    for order in ("", f" ORDER BY {backwards}"):
        try:
            yield from db.execute(f"SELECT * FROM {table}{order}")
            return
        except (sqlite3.Error, UnicodeError):
            continue


def _hold(
    book: Logbook,
    done: Restored,
    before: Mapping[str, str],
    loose: Loose,
    by: str,
    now: datetime,
    backup: str,
) -> None:
    """Orders for what nobody can know any more, for what lost its throw, and for a rig that would stand better than before."""
    names = book.rig_names()
    for rig, cause, because in loose:
        if rig in names:
            known = cause if cause in CAUSES else CAUSE
            said = f"{because} (carried over from the damaged logbook without its throw)"
            book.add_order(raise_order(rig, known, said, now, by))
    for rig in names:
        stood = before.get(rig, IN_SERVICE)
        wanted = worst((stood, RESTRICTED if done.unread else IN_SERVICE))
        if not done.unread and LEVELS.index(_level(book, rig)) >= LEVELS.index(wanted):
            continue
        why = f"{done.unread or f'the rig stood at {stood!r} in the logbook'} when the backup {backup} was put back"
        because = f"{why}; sign that nothing worse was recorded since that backup"
        book.add_order(replace(raise_order(rig, CAUSE, because, now, by), level=worst((RESTRICTED, wanted))))
        done.held.append(rig)
