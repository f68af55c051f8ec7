"""Rigs of the logbook: added from a file, shown with their history, retired."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.quantities.text import written
from throwbook.core.records import BaselineRecord, RigRevision, Service
from throwbook.core.rig import retired_text
from throwbook.core.status.latch import DO_NOT_USE, Status
from throwbook.errors import Field, InputError, Remedy
from throwbook.jobs import latch
from throwbook.jobs.find import opened, rig_from, rig_meant, rig_of
from throwbook.jobs.latch import RigStatus, rig_status, status
from throwbook.jobs.rig_changes import raise_for_change
from throwbook.logbook.connection import Waiting

if TYPE_CHECKING:
    from throwbook.core.listing import ListedSheet
    from throwbook.core.rig import Rig
    from throwbook.core.sizing.sizing import Gap
    from throwbook.logbook import Logbook


@dataclass(frozen=True)
class Retired:
    """What was written down."""

    rig: str
    because: str
    """Empty: it is back."""
    status: Status
    """As it was: retiring answers no order."""


def retire(logbook: str | Path | None, rig: str, because: str, by: str, now: datetime) -> Retired:
    """A new version of the rig, retired. Raises InputError without a reason, or where it is retired already."""
    from throwbook.files.rig_file import parse_rig

    if not written(because):
        raise InputError("no reason given", Field("because"), 'Say why, for example "sold".')
    with opened(logbook) as book, book.transaction():
        revision = book.rig(rig)
        if rig_from(revision).retired:
            raise InputError("this rig is retired already", rig, remedy=Remedy.BRING_BACK)
        text = retired_text(revision.toml, written(because))
        parse_rig(text, "the reason")  # a reason too long for a rig file is refused here
        book.add_rig(rig, text, by, now, f"retired: {written(because)}")
        return Retired(rig, written(because), latch.status(book, rig))


def bring_back(logbook: str | Path | None, rig: str, because: str, by: str, now: datetime) -> Retired:
    """A new version of the rig that is looked after again. Raises InputError where it isn't retired."""
    if not written(because):
        raise InputError("no reason given", Field("because"), 'Say why, for example "bought back".')
    with opened(logbook) as book, book.transaction():
        revision = book.rig(rig)
        if not rig_from(revision).retired:
            raise InputError("this rig isn't retired", rig, "Nothing needs to be done.")
        book.add_rig(rig, retired_text(revision.toml, ""), by, now, f"back: {written(because)}")
        return Retired(rig, "", latch.status(book, rig))


@dataclass(frozen=True)
class Added:
    """What adding a rig file did."""

    revision: RigRevision
    new: bool
    """False: the logbook had just this file already."""
    revised: bool
    """True: it stands for an earlier version of the rig."""
    raised: bool = False
    """It took a commissioned rig up: its commissioning rests on other values."""
    out_of_use: tuple[str, ...] = ()
    """Rigs of just these values that are out of use: one of them may be this very machine."""


@dataclass(frozen=True)
class RigView:
    """One rig with what the logbook holds of it."""

    rig: "Rig"
    revisions: tuple[RigRevision, ...]
    rig_status: RigStatus
    sheets: "tuple[ListedSheet, ...]"
    services: tuple[Service, ...]
    baselines: tuple[BaselineRecord, ...]
    trials: int
    last_trial: datetime | None
    happened: tuple[str, ...] = ()
    """Since the last accepted sheet, a sentence for each event."""
    gaps: "tuple[Gap, ...]" = ()
    """What its status doesn't cover."""
    steps: tuple[str, ...] = ()
    """Of the way down, in words."""
    not_proved: tuple[str, ...] = ()
    """What nobody could read when it was commissioned, and what was taken by shared risk."""


def add_rig(
    logbook: str | Path | None,
    file: Path,
    by: str,
    now: datetime,
    reason: str = "",
    waiting: Waiting | None = None,
) -> Added:
    """Add a rig from its file, or a new version of one; trials judged before keep the version they were judged by.

    Raises InputError for a faulty file, and for a changed one without a ``reason``.
    """
    from throwbook.core.machine.rig_validation import complaint
    from throwbook.files.rig_file import read_rig, refuse_looser_limits

    rig = read_rig(file)
    text = file.read_text("utf-8-sig")
    with opened(logbook, waiting=waiting) as book, book.transaction():
        known = book.rig_revisions(rig.name)
        if known and book.rig(rig.name).toml != text and not written(reason):
            raise InputError(
                f"the logbook has another version of rig '{rig.name}'",
                str(file),
                remedy=Remedy.SAY_WHY,
            )
        wrong = complaint(rig.name, book.rig_names()) if not known else ""
        if wrong:
            raise InputError(
                f"the name '{rig.name}' {wrong}",
                str(file),
                'Give the rig another name: name = "yard-loader".',
            )
        before = book.rig(rig.name) if known else None
        refuse_looser_limits(rig, str(file), rig_from(before) if before is not None else None)
        added = book.add_rig(rig.name, text, by, now, written(reason))
        new = added.id not in {revision.id for revision in known}
        raised = before is not None and new and raise_for_change(book, before, rig, by, now)
        same = alike_out_of_use(book, rig) if not known else ()
        return Added(added, new, new and bool(known), raised, same)


def alike_out_of_use(book: "Logbook", rig: "Rig") -> tuple[str, ...]:
    """Other rigs of the same values whose status is ``do not use``: a new name is no way back."""
    found = []
    for name in book.rig_names():
        try:
            alike = name != rig.name and replace(rig_from(book.rig(name)), name=rig.name) == rig
        except InputError:  # a file that this version can't read
            continue
        if alike and status(book, name).level == DO_NOT_USE:
            found.append(name)
    return tuple(found)


def rig_history(logbook: str | Path | None, name: str, today: date) -> RigView:
    """One rig. Raises InputError for a name the logbook doesn't have."""
    from throwbook.jobs.sheets import sheets_in
    from throwbook.jobs.steps_to_clear import gaps_in, happened_in, not_proved_in, steps_said

    with opened(logbook, read_only=True) as book:
        name = rig_meant(book, name)
        rig, stands = rig_of(book, name), rig_status(book, name, today)
        return RigView(
            rig,
            tuple(book.rig_revisions(name)),
            stands,
            tuple(sheets_in(book, name)),
            tuple(book.services(name)),
            tuple(book.baselines(name)),
            *book.trial_counts(name).get(name, (0, None)),
            happened_in(book, name),
            gaps_in(book, name),
            steps_said(book, name, stands.status),
            not_proved_in(book, name),
        )
