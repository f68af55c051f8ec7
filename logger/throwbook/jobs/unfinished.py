"""What isn't judged yet: recordings that ended without being judged, and throws that only an earlier version judged.

Their journals lie beside the logbook. A journal that a living recording writes, or that is just being judged, is locked:
it isn't unfinished. Only the heads are read, and nothing at all where no journal lies.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from throwbook.core.quantities.text import counted, file_name
from throwbook.core.rig import DIRECTIONS
from throwbook.core.status.latch import RESTRICTED, WATCH, Pending
from throwbook.errors import InputError, Remedy, ThrowbookError
from throwbook.files.journal import (
    SUFFIX,
    is_alive,
    read_head,
    read_journal,
    unfinished,
)
from throwbook.jobs.find import journal_folder
from throwbook.logbook import Logbook

JUDGE = "judge the unfinished recording: throwbook record --recover"
JUDGE_AGAIN = "judge stored throws again: throwbook check"
SMALL_BYTES = 8_000
"""A smaller journal is read whole: it may hold no sample at all."""
_PARTS_BEFORE_RIG = 3
"""Day, time of day and its fraction stand before the rig in a journal's name."""


@dataclass(frozen=True)
class Unfinished:
    """One recording that ended without being judged."""

    journal: Path
    rig: str
    """Its name; where the head can't be read, the name as it stands in the file's name; empty: not even there."""
    rig_ref: str
    """The rig as it was named: a name of the logbook or a file; empty: the head can't be read."""
    direction: str
    begun: datetime | None

    @property
    def readable(self) -> bool:
        """Whether the head says what was recorded."""
        return bool(self.rig_ref)

    @property
    def sentence(self) -> str:
        """What a person reads of it."""
        if not self.readable:
            return f"a recording was never judged, and the head of its journal can't be read ({self.journal.name})"
        when = f", begun {self.begun:%Y-%m-%d %H:%M}," if self.begun else ""
        return f"a recording of {_a(self.direction)} throw{when} was never judged"


def unfinished_recordings(logbook: str | Path | None) -> list[Unfinished]:
    """All of them beside this logbook, oldest first; nothing is changed or dropped."""
    found = (_looked_at(path) for path in unfinished(journal_folder(logbook)))
    return [one for one in found if one is not None]


def of_rig(recordings: Iterable[Unfinished], rig: str) -> list[Unfinished]:
    """Those of one rig; where only the file's name tells, every rig that it could be of."""
    return [one for one in recordings if rig == one.rig or (not one.readable and one.rig == file_name(rig))]


def of_no_rig(recordings: Iterable[Unfinished], rigs: Iterable[str]) -> list[Unfinished]:
    """Those of none of these rigs."""
    recordings, rigs = list(recordings), list(rigs)
    taken = {one.journal for rig in rigs for one in of_rig(recordings, rig)} if recordings else set()
    return [one for one in recordings if one.journal not in taken]


def pending_of(recordings: Iterable[Unfinished], rig: str) -> list[Pending]:
    """How they hold this rig."""
    return [Pending(RESTRICTED, one.sentence, JUDGE, str(one.journal)) for one in of_rig(recordings, rig)]


def to_judge_again(trials: Sequence[str]) -> list[Pending]:
    """How throws that only an earlier method judged stand against their rig."""
    if not trials:
        return []
    were = "was" if len(trials) == 1 else "were"
    sentence = (
        f"{counted(len(trials), 'stored throw')} {were} judged by an earlier version, and not again yet"
    )
    return [Pending(WATCH, sentence, JUDGE_AGAIN)]


def refuse_while_unjudged(book: Logbook, rig: str, what: str) -> None:
    """Raises InputError while anything of this rig isn't judged as this version judges; ``what`` is what can't be done then."""
    mine = of_rig(unfinished_recordings(book.path), rig)
    if mine:
        more = f" ({counted(len(mine), 'recording')} in all)" if len(mine) > 1 else ""
        raise InputError(f"{what}: {mine[0].sentence}{more}", rig, remedy=Remedy.JUDGE_FIRST)
    for one in to_judge_again(book.judged_earlier(rig).get(rig, ())):
        raise InputError(f"{what}: {one.sentence}", rig, remedy=Remedy.JUDGE_AGAIN)


def drop_empty(logbook: str | Path | None) -> None:
    """Let go of journals in which no sample came, as a recording lets go of its own that ends so.

    Lines that nobody could read stay beside them.
    """
    from throwbook.jobs.recording import keep_unread

    for path in unfinished(journal_folder(logbook)):
        try:
            if path.stat().st_size and not _holds_samples(path) and not is_alive(path):
                keep_unread(path)
                path.unlink(missing_ok=True)
        except OSError:
            pass  # gone meanwhile, or it may only be read


def _looked_at(path: Path) -> Unfinished | None:
    """None: nothing was recorded there."""
    try:
        if path.stat().st_size == 0:
            return None  # just being begun, or it ended there; it has no lock yet that would tell
    except OSError:
        return None
    head = read_head(path)
    if head is None:
        return _by_its_name(path)
    if head.bytes <= SMALL_BYTES and not _holds_samples(path):
        return None
    header = head.header
    direction, ref = str(header.get("direction", "")), str(header.get("rig_ref", ""))
    if direction not in DIRECTIONS or not ref:
        return _by_its_name(path)
    return Unfinished(path, str(header.get("rig", ref)), ref, direction, _moment(header.get("started")))


def _by_its_name(path: Path) -> Unfinished:
    """``20260314-081200-000000-yard-loader-lock.journal`` names the rig where its head doesn't."""
    parts = path.name.removesuffix(SUFFIX).split("-")
    named = len(parts) > _PARTS_BEFORE_RIG + 1 and parts[-1] in DIRECTIONS
    rig = "-".join(parts[_PARTS_BEFORE_RIG:-1]) if named else ""
    return Unfinished(path, rig, "", parts[-1] if named else "", None)


def _holds_samples(path: Path) -> bool:
    from throwbook.jobs.recording import holds_samples

    try:
        return holds_samples(read_journal(path))
    except ThrowbookError:
        return True  # whoever judges it is told what is wrong with it


def _moment(text: object) -> datetime | None:
    try:
        return datetime.fromisoformat(str(text))
    except ValueError:
        return None


def _a(direction: str) -> str:
    return f"an {direction}" if direction[:1] in "aeiou" else f"a {direction}"
