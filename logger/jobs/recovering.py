"""Unfinished recordings judged: each is kept on a sheet, or discarded, which judges it and raises what it shows all the same."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.core.records.records import SPOT
from logger.errors import InputError, ThrowbookError
from logger.jobs.keeping import Kept, Place, keep
from logger.jobs.logbooks import logbook_path, opened
from logger.jobs.unfinished import Unfinished, drop_empty, of_rig, unfinished_recordings

if TYPE_CHECKING:
    from logger.jobs.recorded import Recorded

DISCARDED = "discarded: the recording broke off"
SET_ASIDE = ".set-aside"
"""Ending of a journal that can't be judged: its bytes stay, and nobody takes it for unfinished."""


@dataclass(frozen=True)
class Judged:
    """What became of one unfinished recording."""

    recording: Unfinished
    recorded: "Recorded | None" = None
    kept: Kept | None = None
    """None with ``recorded``: no current flowed in it, and it was dropped."""
    error: ThrowbookError | None = None
    """Why it is still unfinished."""
    set_aside: Path | None = None
    """Where a journal lies now that can't be judged."""


def left_over(logbook: str | None) -> list[Unfinished]:
    """Unfinished recordings for a person to decide on, oldest first; those in which no sample came are dropped."""
    drop_empty(logbook)
    return unfinished_recordings(logbook)


def judge_left_over(
    recordings: Iterable[Unfinished], logbook: str | None, by: str, now: datetime, *, discard: bool = False
) -> Iterator[Judged]:
    """One after the other, each onto a spot sheet of its own; one that can't be judged stands in no other's way."""
    for one in recordings:
        try:
            yield _discarded(one, logbook, by, now) if discard else _kept(one, logbook, by, now)
        except ThrowbookError as error:
            yield Judged(one, error=error)


def recover_unfinished(
    one: Unfinished, logbook: str | None, rig_ref: str = "", kind: str = SPOT, sheet: str = ""
) -> "tuple[Recorded, bool]":
    """Judge what is left of one, and say whether it belongs into the logbook. Raises InputError, OutsideError.

    A rig of the logbook is judged as the logbook has it, whatever file it was named by: what it shows has to reach its status.
    """
    from logger.jobs.calibrate import calibration_finder
    from logger.jobs.recorded import recover
    from logger.jobs.rigsource import find_rig, means_a_file

    ref = rig_ref or (one.rig if _rigs_of(one, logbook) else one.rig_ref)
    recorded = recover(
        one.journal,
        lambda told: find_rig(ref or told, logbook, kind, sheet),
        calibration_of=calibration_finder(logbook),
    )
    return recorded, bool(_rigs_of(one, logbook)) or not means_a_file(ref)


def set_aside(one: Unfinished, why: str, logbook: str | None, by: str, now: datetime) -> Path:
    """Put a journal that can't be judged out of the way; its rig is held until somebody signs for it. Gives where it lies now."""
    from logger.core.standing.status import raise_order

    rigs = _rigs_of(one, logbook)
    if rigs:
        with opened(logbook) as book, book.transaction():
            for rig in rigs:
                book.add_order(raise_order(rig, "unread recording", f"{one.sentence}: {why}", now, by))
    return one.journal.rename(one.journal.with_name(one.journal.name + SET_ASIDE))


def _kept(one: Unfinished, logbook: str | None, by: str, now: datetime) -> Judged:
    recorded, in_logbook = recover_unfinished(one, logbook)
    return Judged(one, recorded, keep(recorded, Place(logbook=logbook, in_logbook=in_logbook, by=by), now))


def _discarded(one: Unfinished, logbook: str | None, by: str, now: datetime) -> Judged:
    try:
        recorded, in_logbook = recover_unfinished(one, logbook)
    except InputError as error:  # nobody will ever know what it shows
        return Judged(one, set_aside=set_aside(one, str(error), logbook, by, now))
    if recorded.no_current or not in_logbook:
        recorded.discard_journal()
        return Judged(one, recorded)
    place = Place(logbook=logbook, in_logbook=True, by=by, left_out=DISCARDED)
    return Judged(one, recorded, keep(recorded, place, now))


def _rigs_of(one: Unfinished, logbook: str | None) -> list[str]:
    """Rigs of the logbook that it may be of."""
    if not logbook_path(logbook).exists():
        return []
    with opened(logbook, read_only=True) as book:
        return [name for name in book.rig_names() if of_rig([one], name)]
