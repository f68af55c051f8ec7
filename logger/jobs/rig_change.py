"""A rig file changed after the commissioning: the rig goes up, because that commissioning speaks for other values."""

from datetime import datetime
from typing import TYPE_CHECKING

from logger.core.standing.status import raise_order
from logger.jobs.rig_of import rig_from
from logger.logbook import Logbook

if TYPE_CHECKING:
    from logger.core.records.records import RigRevision
    from logger.core.rig import Rig

CAUSE = "rig changed"
"""In ``core.status.CAUSES``."""


def raise_for_change(book: Logbook, before: "RigRevision", after: "Rig", by: str, now: datetime) -> bool:
    """Write the order that a new version of a commissioned rig's file gives rise to; whether it did."""
    from logger.core.machine.rig_change import changed_since

    if not book.commissioned(after.name):
        return False
    changed = changed_since(rig_from(before), after)
    if changed:
        book.add_order(raise_order(after.name, CAUSE, ", ".join(changed), now, by))
    return bool(changed)
