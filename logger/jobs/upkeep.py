"""Looking after the logbook: check it, copy it, take another one in."""

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from logger.core.machine.rig_names import complaint
from logger.errors import InputError
from logger.jobs.logbooks import logbook_path, opened
from logger.jobs.upgrade import JudgedAgain, judge_again
from logger.logbook import upkeep
from logger.logbook.connection import Waiting
from logger.logbook.merge import NO_TERMS, Merged, Terms, merge
from logger.logbook.upkeep import Checked, Progress

AGAIN = "'throwbook sheet rejudge' writes it again"


@dataclass(frozen=True)
class BackedUp:
    """A backup that was made and found whole."""

    target: Path
    bytes: int


def check(logbook: str | None, progress: Progress | None = None) -> tuple[Path, Checked]:
    """Look at everything in the logbook; which file it was and what was found."""
    from logger.jobs.latch import unproven_sheets
    from logger.jobs.orders_due import orders_gone

    with opened(logbook, read_only=True) as book:
        found = upkeep.check(book, progress)
        if any(problem.where == "file" for problem in found.problems):
            return book.path, found
        what = "it says accepted, but what it was sealed with doesn't pass the rules of acceptance"
        unproven = tuple(upkeep.Problem(f"sheet {name}", what) for name in unproven_sheets(book))
        gone = tuple(
            upkeep.Problem(
                f"sheet {name}", f"the order that took the rig out of use is gone: {cause}; {AGAIN}"
            )
            for name, cause in orders_gone(book)
        )
        return book.path, replace(found, problems=found.problems + unproven + gone)


def judge_stored_again(logbook: str | None, now: datetime, progress: Progress | None = None) -> JudgedAgain:
    """Judge again what an earlier version judged; nothing is opened for writing where there is nothing to do."""
    with opened(logbook, read_only=True) as book:
        if not book.judged_earlier():
            return JudgedAgain()
    with opened(logbook) as book:
        return judge_again(book, now, progress)


def back_up(logbook: str | None, target: Path | None, now: datetime) -> BackedUp:
    """A verified copy; without a ``target`` beside the logbook, named after the moment. Both may be in use."""
    if target is None:
        path = logbook_path(logbook)
        target = path.with_name(f"{path.stem}-backup-{now:%Y%m%d-%H%M%S}{path.suffix}")
    with opened(logbook, read_only=True) as book:
        return BackedUp(target, upkeep.backup(book, target))


def take_in(
    logbook: str | None,
    other: Path,
    waiting: Waiting | None = None,
    now: datetime | None = None,
    terms: Terms = NO_TERMS,
) -> Merged:
    """Merge another logbook into this one; the other isn't touched.

    Raises ApartError for a rig that both have under one name and of which ``terms`` don't say what it is. Where the same record then counts on two rigs, an order written at ``now`` holds both.
    """
    from logger.jobs.shared_records import raise_shared
    from logger.jobs.two_machines import raise_for_joined

    with opened(logbook, waiting=waiting) as book:
        for new in terms.rename.values():
            if wrong := complaint(new, book.rig_names()):
                raise InputError(f"the name '{new}' {wrong}", "--rename", "Give the rig another name.")
        known = {rig: len(book.rig_revisions(rig)) for rig in terms.same}
        merged = merge(book, other, terms)
        for rig, before in known.items():
            if now is not None and not terms.dry_run and len(book.rig_revisions(rig)) > before > 0:
                raise_for_joined(book, rig, terms.by, now)
        if now is not None and not terms.dry_run:
            raise_shared(book, "merge", now)
        return merged
