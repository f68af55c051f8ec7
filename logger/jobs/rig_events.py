"""What happened to a rig since its last accepted sheet, and what its status doesn't cover, read from the logbook."""

from typing import TYPE_CHECKING

from logger.core.fitting.coverage import Gap, not_covered
from logger.core.records.records import ACCEPTED, COMMISSIONING, OPEN
from logger.core.standing.events import events_since_acceptance, said_since
from logger.core.standing.service import entry_from
from logger.errors import InputError
from logger.jobs import latch

if TYPE_CHECKING:
    from logger.logbook import Logbook


def happened_in(book: "Logbook", rig: str) -> tuple[str, ...]:
    """One sentence for each event, oldest first; one that says so where there is none."""
    sheets, orders = book.sheets(rig), book.orders(rig)
    services = [entry_from(row) for row in book.services(rig)]
    # Only the throws that an event can speak of: a rig may have ten thousand.
    asked = {order.sheet for order in orders if order.sheet}
    asked |= {one.sheet.id for one in sheets if one.state == OPEN}
    throws = {one.id: one for sheet in asked for one in book.trials(sheet=sheet)}
    held = latch.status(book, rig).open_ids
    return said_since(sheets, events_since_acceptance(sheets, orders, services, throws, held))


def gaps_in(book: "Logbook", rig: str) -> tuple[Gap, ...]:
    """What the status of a rig doesn't cover: its suitability, and the blanks of its newest accepted commissioning.

    A rig whose values this version can't read has all of that open: its status is shown all the same.
    """
    try:
        return _gaps(book, rig)
    except InputError as error:
        return (Gap("rig file", says=str(error)),)


def _gaps(book: "Logbook", rig: str) -> tuple[Gap, ...]:
    from logger.core.sheets.questions import conditions_from, unanswered
    from logger.jobs.rig_of import rig_of

    accepted = [
        one
        for one in book.sheets(rig)
        if one.state == ACCEPTED and one.decision is not None and one.sheet.kind == COMMISSIONING
    ]
    if not accepted:
        return not_covered(rig_of(book, rig))
    newest = max(accepted, key=lambda one: one.decision.at if one.decision else one.sheet.at)
    blank = unanswered(conditions_from(newest.answers))
    return not_covered(rig_of(book, rig), [(one.asked.rstrip("?").lower(), one.claim_lost) for one in blank])
