"""What is seen when the program opens: every rig with where it stands, and recordings that were never judged."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from logger.jobs.logbooks import logbook_path
from logger.jobs.rig_list import Listed, list_rigs
from logger.jobs.unfinished import Unfinished, unfinished_recordings


@dataclass(frozen=True)
class Overview:
    """The first look at a logbook."""

    path: Path
    rigs: tuple[Listed, ...]
    unfinished: tuple[Unfinished, ...]
    """Recordings that ended without being judged, oldest first."""

    @property
    def judged_earlier(self) -> bool:
        """Whether throws of any rig were judged by an earlier version, and not again yet."""
        return any(not each.journal for one in self.rigs for each in one.standing.status.pending)


def overview(logbook: str | None, today: date) -> Overview:
    """Every rig and every recording that was never judged; a logbook that isn't there yet is an empty one."""
    path = logbook_path(logbook)
    rigs = tuple(list_rigs(path, today)) if path.exists() else ()
    return Overview(path, rigs, tuple(unfinished_recordings(logbook)))
