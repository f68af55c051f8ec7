"""The orders that stored throws and sightings ask for, so that one that was taken out of the file is missed."""

from collections import defaultdict

from logger.core.standing.status import CAUSES, DO_NOT_USE, Due
from logger.logbook import Logbook


def orders_due(book: Logbook, rig: str | None = None) -> dict[str, set[Due]]:
    """By rig: every order that takes it out of use and must be there, by what is stored of its throws.

    Those below ``do not use`` are left out: of several alike only the first is written.
    """
    due: dict[str, set[Due]] = defaultdict(set)
    asking = book.asking(rig)
    if not asking:
        return due
    from logger.core.sheets.sheet import seen_at
    from logger.core.standing.raising import causes_of_failed, findings_seen

    for one in asking:
        causes = {found.cause for found in findings_seen(seen_at(one.trial, one.sightings))}
        for kind in one.kinds:
            causes |= causes_of_failed(kind, one.failed_signs)
        due[one.rig] |= {(one.trial, cause) for cause in causes if CAUSES[cause][0] == DO_NOT_USE}
    return due


def orders_gone(book: Logbook) -> list[tuple[str, str]]:
    """Name of a sheet, and what its stored throws or sightings took out of use without an order left to say so."""
    found = []
    for rig, due in orders_due(book).items():
        known = {(order.trial, order.cause) for order in book.orders(rig)}
        found += [(name, cause) for trial, cause in due - known for name in book.sheets_of(trial)]
    return sorted(set(found))
