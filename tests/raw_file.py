"""The file of a logbook as any other program could open it: for files of old versions, and for tampering."""

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path


@contextlib.contextmanager
def raw(path: Path) -> Iterator[sqlite3.Connection]:
    """A bare connection: what was done inside is committed, and the file closed, at the end.

    ``with sqlite3.connect(...)`` alone commits but doesn't close; from Python 3.13 on that is a warning, on Windows the
    file couldn't be removed.
    """
    with contextlib.closing(sqlite3.connect(path)) as db, db:
        yield db
