"""The list of all rigs, most pressing first: filtered, sorted, and as a file for a spreadsheet or the wall."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import Any

from throwbook.core.export_schema import DAY, FLAG, TEXT, Column
from throwbook.core.listing import ListColumn, Listing
from throwbook.core.rig import Machine, machine_in, retired_because
from throwbook.core.status.latch import DO_NOT_USE, LEVELS
from throwbook.core.status.maintenance import NO_CHECK
from throwbook.core.status.status_text import DONE, STYLE, reasons, short, step_in_words
from throwbook.core.status.urgency import (
    MUST_NOT_GO_OUT,
    NEEDS,
    NOT_COMMISSIONED,
    NOTHING,
    Need,
    RigFacts,
    Worsening,
    need_of,
    order_key,
)
from throwbook.core.wording import Cell
from throwbook.jobs.find import logbook_path, opened
from throwbook.jobs.latch import RigStatus, missing_from, orders_due, rig_status
from throwbook.jobs.unfinished import Unfinished, unfinished_recordings
from throwbook.jobs.worsening import UNREADABLE, known_trends
from throwbook.logbook import Logbook
from throwbook.logbook.all_rigs import AllRigs


@dataclass(frozen=True)
class Listed:
    """One rig as a list shows it."""

    name: str
    rig_status: RigStatus
    trials: int
    last_trial: datetime | None
    """When the newest throw was made, where that is known."""
    retired: str
    """Why it is no longer looked after; empty: it is."""
    toml: str
    """Its rig file."""
    need: Need
    trend_known: bool
    """False: rows came since its trend was worked out, and ``need`` knows of none."""

    @cached_property
    def machine(self) -> Machine:
        """Whose it is and where; the rig file is read only where that is asked."""
        return machine_in(self.toml)


@dataclass(frozen=True)
class Wanted:
    """Which rigs of the list are asked for, and how they are sorted."""

    part: str = ""
    """Part of the name, or of what the rig file says of the machine, in whatever case."""
    levels: tuple[str, ...] = ()
    """Statuses, ``not commissioned`` among them; empty: any."""
    due_within_days: int | None = None
    """Overdue, or due in so many days."""
    unseen_days: int | None = None
    """No throw for so many days, or never one."""
    retired: bool = False
    """True: the retired ones, and no others."""
    place: str = ""
    """Part of the place in the rig file."""
    sort: str = ""
    """A key of ``SORTED_BY``; empty: as the question asks, else most pressing first."""


def pick(listed: Sequence[Listed], wanted: Wanted, today: date) -> list[Listed]:
    """Those that are wanted, sorted."""
    found = [one for one in listed if all(fits(one) for fits in _filters(wanted, today))]
    by_question = (
        "last" if wanted.unseen_days is not None else "due" if wanted.due_within_days is not None else "need"
    )
    column = wanted.sort or by_question
    key = SORTED_BY[column]
    return sorted(found, key=lambda one: (key(one), order_key(one.need, one.name)))


def _filters(wanted: Wanted, today: date) -> list[Callable[[Listed], bool]]:
    filters: list[Callable[[Listed], bool]] = [lambda one: bool(one.retired) == wanted.retired]
    if wanted.part:
        filters.append(lambda one: wanted.part.casefold() in _text(one))
    if wanted.place:
        filters.append(lambda one: wanted.place.casefold() in (one.machine.place or "").casefold())
    if wanted.levels:
        levels = {level.casefold() for level in wanted.levels}
        filters.append(lambda one: _status(one).casefold() in levels)
    if wanted.unseen_days is not None:
        since = today - timedelta(days=wanted.unseen_days)
        filters.append(lambda one: one.last_trial is None or one.last_trial.date() <= since)
    if wanted.due_within_days is not None:
        until = today + timedelta(days=wanted.due_within_days)
        filters.append(lambda one: _due(one, until))
    return filters


def _text(one: Listed) -> str:
    machine = one.machine
    said = (one.name, machine.description, machine.serial_number, machine.owner, machine.place)
    return "\n".join(text for text in said if text).casefold()


def _due(one: Listed, until: date) -> bool:
    check = one.rig_status.next_check
    return check.overdue or (check.on is not None and check.on <= until)


def list_rigs(logbook: str | Path | None, today: date) -> list[Listed]:
    """Every rig with its status, when it is next due and what it needs, most pressing first.

    A trend that isn't known yet (``worsening.work_out_trends``) is left out of what it needs.
    """
    with opened(logbook, read_only=True) as book, book.snapshot():
        return rigs_in(book, today, known_trends(book).known)


def rigs_in(book: Logbook, today: date, trends: Mapping[str, Worsening | None]) -> list[Listed]:
    """The same of a logbook that is open for one look (``snapshot``), with the trends that are known."""
    rigs = AllRigs.of(book)
    counted = rigs.trial_counts()
    due, recordings, missing = orders_due(rigs), unfinished_recordings(rigs.path), missing_from(rigs)
    earlier = rigs.judged_earlier()
    found = []
    for name in rigs.rig_names():
        status = rig_status(rigs, name, today, due.get(name, ()), recordings, missing, earlier)
        toml = rigs.rig(name).toml
        retired = retired_because(toml)
        facts = RigFacts(
            status.status,
            status.commissioned,
            status.next_check,
            trends.get(name),
            today,
            _to_clear(rigs, status) if status.status.level == DO_NOT_USE else "",
        )
        trials, last = counted.get(name, (0, None))
        known = trends.get(name, UNREADABLE) != UNREADABLE or bool(retired) or not trials
        need = need_of(facts)
        found.append(Listed(name, status, trials, last, retired, toml, need, known))
    return sorted(found, key=lambda one: order_key(one.need, one.name))


def _to_clear(rigs: AllRigs, status: RigStatus) -> str:
    """The first step of clearing it that isn't done; empty: nobody has answered an open order yet."""
    if not set(status.status.open_ids) & rigs.orders_named(status.rig):
        return ""
    from throwbook.jobs.steps_to_clear import steps_said

    steps = steps_said(rigs, status.rig, status.status)
    return next((step_in_words(step) for step in steps if not step.startswith(DONE)), "")


@dataclass(frozen=True)
class Overview:
    """The first look at a logbook."""

    path: Path
    rigs: tuple[Listed, ...]
    unfinished: tuple[Unfinished, ...]
    """Recordings that ended without being judged, oldest first."""

    @property
    def trends_known(self) -> bool:
        """False: the order may change once the trends of some rigs are worked out."""
        return all(one.trend_known for one in self.rigs)

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


NEED_TONES = {MUST_NOT_GO_OUT: "bad", NOTHING: ""}


def _why(one: Listed) -> Cell:
    return (
        Cell(f"retired: {one.retired}", "quiet")
        if one.retired
        else Cell(one.need.cause, NEED_TONES.get(one.need.need, "warn"))
    )


# the columns of a list of rigs, each a ``Listed``
RIGS: dict[str, ListColumn] = {
    "rig": ListColumn("rig", lambda one: one.name),
    "status": ListColumn("status", _status_cell),
    "why": ListColumn("why", _why),
    "step": ListColumn("next step", lambda one: "" if one.retired else one.need.step),
    "place": ListColumn("place", lambda one: one.machine.place or "-"),
    "commissioned": ListColumn("commissioned", lambda one: "yes" if one.rig_status.commissioned else "no"),
    "throws": ListColumn("throws", lambda one: str(one.trials), right=True),
    "last": ListColumn(
        "last throw", lambda one: one.last_trial.date().isoformat() if one.last_trial else "-"
    ),
    "next check": ListColumn("next check", _next_check),
    "due": ListColumn("next check", _due_day),
}
# column: what a list is sorted by; what nobody knows stands last
SORTED_BY: dict[str, Callable[[Listed], Any]] = {
    "need": lambda one: 0,
    "rig": lambda one: one.name.casefold(),
    "status": lambda one: -LEVELS.index(one.rig_status.status.level),
    "place": lambda one: (not one.machine.place, (one.machine.place or "").casefold()),
    "due": lambda one: (
        one.rig_status.next_check.on or (date.min if one.rig_status.next_check.overdue else date.max)
    ),
    # the longest unseen first, and those never seen before them
    "last": lambda one: one.last_trial.timestamp() if one.last_trial else 0.0,
    "throws": lambda one: -one.trials,
}
# the same for a program
STATUS = (
    Column("rig", TEXT, "the rig's name", lambda one: one.name),
    Column(
        "status",
        TEXT,
        "its status, or that it isn't commissioned",
        _status,
        (LEVELS[0], NOT_COMMISSIONED, *LEVELS[1:]),
    ),
    Column(
        "commissioned",
        FLAG,
        "an accepted commissioning sheet stands",
        lambda one: one.rig_status.commissioned,
    ),
    Column("throws", "1", "throws in the logbook", lambda one: one.trials, whole=True),
    Column(
        "last_throw",
        DAY,
        "day of the newest throw",
        lambda one: _iso(one.last_trial and one.last_trial.date()),
    ),
    Column("due_on", DAY, "next check: the day", lambda one: _iso(one.rig_status.next_check.on)),
    Column("overdue", FLAG, "whether the next check is past", lambda one: one.rig_status.next_check.overdue),
    Column(
        "next_check", TEXT, "the next check in a sentence", lambda one: one.rig_status.next_check.sentence
    ),
    Column(
        "because",
        TEXT,
        "why it has this status",
        lambda one: "; ".join(reasons(one.rig_status.status)) or None,
    ),
    Column("place", TEXT, "where it is, by its rig file", lambda one: one.machine.place),
    Column("need", TEXT, "what it needs a person for", lambda one: one.need.need, NEEDS[::-1]),
    Column("why", TEXT, "why, in six words", lambda one: one.need.cause),
    Column("next_step", TEXT, "the one next step", lambda one: one.need.step or None),
    Column("by", DAY, "by which day", lambda one: _iso(one.need.by)),
    Column(
        "retired", TEXT, "why it is no longer looked after; empty: it is", lambda one: one.retired or None
    ),
    Column(
        "unfinished_recordings",
        "1",
        "recordings that were never judged",
        lambda one: sum(bool(each.journal) for each in one.rig_status.status.pending),
        whole=True,
    ),
    Column("due_hours_h", "h", "next check: the hour meter", lambda one: one.rig_status.next_check.hours_h),
    Column(
        "due_cycles",
        "1",
        "next check: so many lock throws after the service",
        lambda one: one.rig_status.next_check.cycles,
        whole=True,
    ),
)


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def list_csv(found: Sequence[Listed], path: Path) -> None:
    """One row a rig. Raises OutsideError when the disk refuses."""
    from throwbook.files.tables import CsvTable, TableLayout, whole_file

    with whole_file(path) as part:
        table = CsvTable(part, TableLayout([column.name for column in STATUS]))
        table.add({column.name: column.get(one) for column in STATUS} for one in found)
        table.close()


def list_pdf(found: Sequence[Listed], wanted: Wanted, path: Path, issued: date, paper: str) -> None:
    """The same on paper. Raises OutsideError when the disk refuses."""
    from throwbook.jobs.papers import write
    from throwbook.report.forms import WallRow, wall_list
    from throwbook.report.pdf import to_pdf

    shown = Listing.of(RIGS, ("rig", "status", "why", "step", "due"))
    rows = [WallRow(*shown.paper_row(one)) for one in found]
    practice = any(one.rig_status.practice for one in found)
    write(path, to_pdf(wall_list(rows, said(wanted), issued, practice), paper))


def said(wanted: Wanted) -> str:
    """Which rigs were asked for, in words."""
    asked = [
        f"'{wanted.part}' in the name or machine" if wanted.part else "",
        f"at {wanted.place}" if wanted.place else "",
        " or ".join(wanted.levels),
        f"due within {wanted.due_within_days} days" if wanted.due_within_days is not None else "",
        f"no throw for {wanted.unseen_days} days" if wanted.unseen_days is not None else "",
        "retired" if wanted.retired else "",
    ]
    return ", ".join(text for text in asked if text) or "all"
