"""Rigs of the logbook: added from a file, listed with their status, shown with their history, retired; the list as a file."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.listing import ListColumn, Listing
from throwbook.core.quantities.text import written
from throwbook.core.records import BaselineRecord, RigRevision, Service
from throwbook.core.rig import retired_because, retired_text
from throwbook.core.status.latch import DO_NOT_USE, Status
from throwbook.core.status.maintenance import NO_CHECK
from throwbook.core.status.status_text import STYLE, reasons, short
from throwbook.core.wording import Cell
from throwbook.errors import Field, InputError, Remedy
from throwbook.jobs import latch
from throwbook.jobs.find import logbook_path, opened, rig_from, rig_of
from throwbook.jobs.latch import RigStatus, missing_from, orders_due, rig_status, status
from throwbook.jobs.rig_changes import raise_for_change
from throwbook.jobs.unfinished import Unfinished, unfinished_recordings
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
class Listed:
    """One rig as a list shows it."""

    name: str
    rig_status: RigStatus
    trials: int
    last_trial: datetime | None
    """When the newest throw was made, where that is known."""
    retired: str = ""
    """Why it is no longer looked after; empty: it is."""


@dataclass(frozen=True)
class Wanted:
    """Which rigs of the list are asked for."""

    part: str = ""
    """Part of the name, in whatever case."""
    level: str = ""
    """A status, ``not commissioned`` among them; empty: any."""
    due_within_days: int | None = None
    """Overdue, or due in so many days; the first due comes first."""
    unseen_days: int | None = None
    """No throw for so many days, or never one; the longest unseen comes first."""
    retired: bool = False
    """True: the retired ones, and no others."""


def pick(listed: Sequence[Listed], wanted: Wanted, today: date) -> list[Listed]:
    """Those that are wanted, in the order that the question asks for."""
    found = [one for one in listed if bool(one.retired) == wanted.retired]
    found = [one for one in found if wanted.part.casefold() in one.name.casefold()]
    if wanted.level:
        found = [
            one
            for one in found
            if short(one.rig_status.status, one.rig_status.commissioned).casefold() == wanted.level.casefold()
        ]
    if wanted.unseen_days is not None:
        since = today - timedelta(days=wanted.unseen_days)
        found = [one for one in found if one.last_trial is None or one.last_trial.date() <= since]
        found.sort(
            key=lambda one: (one.last_trial is not None, one.last_trial and one.last_trial.timestamp())
        )
    if wanted.due_within_days is not None:
        until = today + timedelta(days=wanted.due_within_days)
        found = [one for one in found if _due(one, until)]
        found.sort(key=lambda one: (one.rig_status.next_check.on or today, one.name))
    return found


def _due(one: Listed, until: date) -> bool:
    check = one.rig_status.next_check
    return check.overdue or (check.on is not None and check.on <= until)


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


def list_rigs(logbook: str | Path | None, today: date) -> list[Listed]:
    """Every rig with its status and when it is next due, by name."""
    with opened(logbook, read_only=True) as book, book.snapshot():
        counted = book.trial_counts()
        due, recordings, missing = orders_due(book), unfinished_recordings(book.path), missing_from(book)
        earlier = book.judged_earlier()
        return [
            Listed(
                name,
                rig_status(book, name, today, due.get(name, ()), recordings, missing, earlier),
                *counted.get(name, (0, None)),
                retired=retired_because(book.rig(name).toml),
            )
            for name in book.rig_names()
        ]


def rig_history(logbook: str | Path | None, name: str, today: date) -> RigView:
    """One rig. Raises InputError for a name the logbook doesn't have."""
    from throwbook.jobs.sheets import sheets_in
    from throwbook.jobs.steps_to_clear import gaps_in, happened_in, not_proved_in, steps_said

    with opened(logbook, read_only=True) as book:
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
        return any(not each.journal for one in self.rigs for each in one.rig_status.status.pending)


def overview(logbook: str | None, today: date) -> Overview:
    """Every rig and every recording that was never judged; a logbook that isn't there yet is an empty one."""
    path = logbook_path(logbook)
    rigs = tuple(list_rigs(path, today)) if path.exists() else ()
    return Overview(path, rigs, tuple(unfinished_recordings(logbook)))


def _status(one: Listed) -> str:
    return short(one.rig_status.status, one.rig_status.commissioned)


def _status_cell(one: Listed) -> Cell:
    level, text = one.rig_status.status.level, _status(one)
    return Cell(text, STYLE[level] if text == level else "warn")


def _next_check(one: Listed) -> Cell | str:
    if one.retired:
        return f"retired: {one.retired}"
    check = one.rig_status.next_check
    return Cell(check.sentence, "bad" if check.overdue else "")


def _due_day(one: Listed) -> Cell | str:
    """The next check where there is room for a day only."""
    check = one.rig_status.next_check
    if one.retired:
        return f"retired: {one.retired}"
    if check.overdue:
        return Cell(f"OVERDUE {check.on}" if check.on else "OVERDUE", "bad")
    if check.on is not None:
        return str(check.on)
    return Cell("-" if check.sentence == NO_CHECK else "by hours or throws", "quiet")


# the columns of a list of rigs, each a ``Listed``
RIGS: dict[str, ListColumn] = {
    "rig": ListColumn("rig", lambda one: one.name),
    "status": ListColumn("status", _status_cell),
    "commissioned": ListColumn("commissioned", lambda one: "yes" if one.rig_status.commissioned else "no"),
    "throws": ListColumn("throws", lambda one: str(one.trials), right=True),
    "last": ListColumn(
        "last throw", lambda one: one.last_trial.date().isoformat() if one.last_trial else "-"
    ),
    "next check": ListColumn("next check", _next_check),
    "due": ListColumn("next check", _due_day),
}
# the same for a program
CSV: dict[str, Callable[[Listed], object]] = {
    "rig": lambda one: one.name,
    "status": _status,
    "commissioned": lambda one: one.rig_status.commissioned,
    "throws": lambda one: one.trials,
    "last_throw": lambda one: one.last_trial.date().isoformat() if one.last_trial else None,
    "due_on": lambda one: one.rig_status.next_check.on.isoformat() if one.rig_status.next_check.on else None,
    "overdue": lambda one: one.rig_status.next_check.overdue,
    "next_check": lambda one: one.rig_status.next_check.sentence,
    "because": lambda one: "; ".join(reasons(one.rig_status.status)) or None,
    "retired": lambda one: one.retired or None,
    "unfinished_recordings": lambda one: sum(bool(each.journal) for each in one.rig_status.status.pending),
}


def list_csv(found: Sequence[Listed], path: Path) -> None:
    """One row a rig. Raises OutsideError when the disk refuses."""
    from throwbook.files.tables import CsvTable, TableLayout, whole_file

    with whole_file(path) as part:
        table = CsvTable(part, TableLayout(tuple(CSV)))
        table.add({name: get(one) for name, get in CSV.items()} for one in found)
        table.close()


def list_pdf(found: Sequence[Listed], wanted: Wanted, path: Path, issued: date, paper: str) -> None:
    """The same on paper. Raises OutsideError when the disk refuses."""
    from throwbook.jobs.papers import write
    from throwbook.report.forms import WallRow, wall_list
    from throwbook.report.pdf import to_pdf

    shown = Listing.of(RIGS, ("rig", "status", "next check", "last"))
    rows = [WallRow(*shown.paper_row(one)) for one in found]
    practice = any(one.rig_status.practice for one in found)
    write(path, to_pdf(wall_list(rows, said(wanted), issued, practice), paper))


def said(wanted: Wanted) -> str:
    """Which rigs were asked for, in words."""
    asked = [
        f"'{wanted.part}' in the name" if wanted.part else "",
        wanted.level,
        f"due within {wanted.due_within_days} days" if wanted.due_within_days is not None else "",
        f"no throw for {wanted.unseen_days} days" if wanted.unseen_days is not None else "",
        "retired" if wanted.retired else "",
    ]
    return ", ".join(text for text in asked if text) or "all"
