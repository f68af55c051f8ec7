"""Which logbook, and opening it."""

import os
from pathlib import Path

from logger.errors import OutsideError
from logger.logbook import Logbook, open_logbook
from logger.logbook.connection import Waiting

FILE_NAME = "logbook.throwbook"


def logbook_path(given: str | None) -> Path:
    """The path asked for, or the default in the platform's user data folder (which is made)."""
    if given:
        return Path(given).expanduser()
    from platformdirs import user_data_dir

    folder = Path(user_data_dir("throwbook", appauthor=False))
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise OutsideError(
            f"can't make the folder ({error.strerror})",
            str(folder),
            "Say where: --logbook PATH or THROWBOOK_LOGBOOK.",
        ) from error
    return folder / FILE_NAME


class _Front:
    """What the program in front wants to hear; set once by it, so that no job has to hand it through."""

    waiting: Waiting | None = None


def when_waiting(say: Waiting) -> None:
    """Have ``say`` called whenever a job waits for another program that is writing."""
    _Front.waiting = say


def journal_folder(logbook: str | Path | None) -> Path:
    """Journals of running trials stand beside the logbook they belong to."""
    path = logbook_path(None if logbook is None else os.fspath(logbook))
    return path.with_name(path.name + ".unfinished")


def opened(given: str | Path | None, read_only: bool = False, waiting: Waiting | None = None) -> Logbook:
    """The logbook asked for, open; use it with ``with``."""
    path = logbook_path(None if given is None else os.fspath(given))
    return open_logbook(path, read_only=read_only, waiting=waiting or _Front.waiting)
