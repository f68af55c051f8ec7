"""What is seen when the program opens: every rig with where it stands, and recordings that broke off."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from logger.files.journal import unfinished
from logger.jobs.logbooks import journal_folder, logbook_path
from logger.jobs.rig_list import Listed, list_rigs


@dataclass(frozen=True)
class Overview:
    """The first look at a logbook."""

    path: Path
    rigs: tuple[Listed, ...]
    broken_off: tuple[Path, ...]
    """Journals of recordings that ended without being kept, oldest first."""


def overview(logbook: str | None, today: date) -> Overview:
    """Every rig and every recording that broke off; a logbook that isn't there yet is an empty one."""
    path = logbook_path(logbook)
    rigs = tuple(list_rigs(path, today)) if path.exists() else ()
    return Overview(path, rigs, tuple(unfinished(journal_folder(logbook))))
