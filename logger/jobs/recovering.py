"""Recordings that broke off, for a person to decide on: what they are, and keeping what is left of one."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.core.records.records import SPOT
from logger.errors import ThrowbookError
from logger.jobs.keeping import Kept, Place, broken_off, keep

if TYPE_CHECKING:
    from logger.jobs.recorded import Recorded


@dataclass(frozen=True)
class Found:
    """One recording that broke off."""

    journal: Path
    rig: str
    direction: str
    begun: datetime


def found_broken_off(logbook: str | None) -> list[Found]:
    """Those that can be read, oldest first."""
    from logger.files.journal import read_journal
    from logger.jobs.recorded import header_of

    found = []
    for path in broken_off(logbook):
        try:
            header = header_of(read_journal(path))
        except ThrowbookError:
            continue  # nothing of it can be read; `record --recover` says so
        found.append(Found(path, header.rig_ref, header.direction, header.began))
    return found


def keep_broken_off(found: Found, logbook: str | None, by: str, now: datetime) -> "tuple[Recorded, Kept]":
    """Judge what is left and keep it on a spot sheet. Raises InputError; the journal is then still there."""
    from logger.jobs.calibrate import calibration_finder
    from logger.jobs.recorded import recover
    from logger.jobs.rigsource import find_rig

    recorded = recover(
        found.journal, lambda ref: find_rig(ref, logbook, SPOT), calibration_of=calibration_finder(logbook)
    )
    return recorded, keep(recorded, Place(logbook=logbook, in_logbook=True, by=by), now)
