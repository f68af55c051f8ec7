"""One record on two rigs: a merge can bring that about. One of the two never made the throw, so an order stands on both."""

from datetime import datetime

from logger.core.records.records import Order
from logger.core.standing.status import raise_order
from logger.logbook import Logbook

SHARED = "shared record"


def raise_shared(book: Logbook, by: str, now: datetime) -> list[Order]:
    """Write the orders for every record that counts on two rigs and that aren't there yet, in one transaction."""
    written = []
    with book.transaction():
        for trial, rig, other in sorted(book.shared_records()):
            if any(one.trial == trial and one.cause == SHARED for one in book.orders(rig)):
                continue
            because = (
                f"the record of {', '.join(book.sheets_of(trial))} stands on {other} too; "
                "'throwbook sheet reassign' puts it down to the rig it is of"
            )
            written.append(book.add_order(raise_order(rig, SHARED, because, now, by, trial=trial)))
    return written
