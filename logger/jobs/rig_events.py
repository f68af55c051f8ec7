"""What happened to a rig since its last accepted sheet, read from the logbook."""

from typing import TYPE_CHECKING

from logger.core.records.records import OPEN
from logger.core.standing.events import events_since_acceptance, said_since
from logger.core.standing.service import entry_from

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
    return said_since(sheets, events_since_acceptance(sheets, orders, services, throws))
