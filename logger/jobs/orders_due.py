"""The orders that stored throws and sightings ask for, so that one that was taken out of the file is missed."""

from collections import defaultdict
from typing import TYPE_CHECKING

from logger.core.records.records import Judgement
from logger.core.standing.status import CAUSES, DO_NOT_USE, Due
from logger.logbook import Logbook

if TYPE_CHECKING:
    from logger.core.sheets.sheet import Seen
    from logger.core.standing.raising import Finding


def findings(kind: str, judgement: Judgement | None, seen: "Seen") -> "list[Finding]":
    """Every order that a throw on a sheet of this kind gives rise to."""
    from logger.core.standing.raising import findings_in_record, findings_seen

    found = findings_seen(seen)
    if judgement is not None:
        found += findings_in_record(kind, judgement.assessment)
    return found


def orders_due(book: Logbook, rig: str | None = None) -> dict[str, set[Due]]:
    """By rig: every order that takes it out of use and must be there, by what is stored of its throws.

    Those below ``do not use`` are left out: of several alike only the first is written.
    """
    from logger.core.sheets.sheet import seen_at

    due: dict[str, set[Due]] = defaultdict(set)
    for one in book.asking(rig):
        seen = seen_at(one.trial.id, one.sightings)
        causes = {each.cause for kind in one.kinds for each in findings(kind, one.judgement, seen)}
        due[one.trial.rig] |= {(one.trial.id, each) for each in causes if CAUSES[each][0] == DO_NOT_USE}
    return due


def orders_gone(book: Logbook) -> list[tuple[str, str]]:
    """Name of a sheet, and what its stored throws or sightings took out of use without an order left to say so."""
    found = []
    for rig, due in orders_due(book).items():
        known = {(order.trial, order.cause) for order in book.orders(rig)}
        found += [(name, cause) for trial, cause in due - known for name in book.sheets_of(trial)]
    return sorted(set(found))
