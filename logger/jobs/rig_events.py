"""What happened to a rig since its last accepted sheet, and what its status doesn't cover, read from the logbook."""

from typing import TYPE_CHECKING

from logger.core.records.records import ACCEPTED, COMMISSIONING, OPEN, SheetState
from logger.core.standing.events import events_since_acceptance, said_since
from logger.core.standing.service import entry_from
from logger.errors import InputError
from logger.jobs import latch

if TYPE_CHECKING:
    from logger.core.fitting.coverage import Gap
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


def gaps_in(book: "Logbook", rig: str) -> "tuple[Gap, ...]":
    """What the status of a rig doesn't cover: its suitability, and the blanks of its newest accepted commissioning.

    A rig whose values this version can't read has all of that open: its status is shown all the same.
    """
    from logger.core.fitting.coverage import Gap

    try:
        return _gaps(book, rig)
    except InputError as error:
        return (Gap("rig file", says=str(error)),)


def _gaps(book: "Logbook", rig: str) -> "tuple[Gap, ...]":
    from logger.core.fitting.coverage import not_covered
    from logger.core.sheets.questions import conditions_from, unanswered
    from logger.jobs.rig_of import rig_of

    newest = _commissioned_by(book, rig)
    if newest is None:
        return not_covered(rig_of(book, rig))
    blank = unanswered(conditions_from(newest.answers))
    return not_covered(rig_of(book, rig), [(one.asked.rstrip("?").lower(), one.claim_lost) for one in blank])


def not_proved_in(book: "Logbook", rig: str) -> tuple[str, ...]:
    """What nobody could read when the rig was commissioned, in words, and what was then taken by shared risk."""
    from logger.jobs.rig_of import rig_for_sheet

    newest = _commissioned_by(book, rig)
    if newest is None:
        return ()
    found = book.judged(newest.sheet.id, rig_for_sheet(book, newest))
    return (*found.not_proved, *(f"accepted by shared risk: {one}" for one in found.shared_risk))


def _commissioned_by(book: "Logbook", rig: str) -> SheetState | None:
    """The newest accepted commissioning sheet; None: there is none."""
    accepted = [
        one
        for one in book.sheets(rig)
        if one.state == ACCEPTED and one.decision is not None and one.sheet.kind == COMMISSIONING
    ]
    return max(accepted, key=lambda one: one.decision.at if one.decision else one.sheet.at, default=None)
