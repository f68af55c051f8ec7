"""A rig is sold or scrapped: it leaves the lists of what is due, and everything it wrote stays."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from logger.core.machine.retiring import retired_text
from logger.core.quantities.plain import written
from logger.core.standing.status import Status
from logger.errors import InputError
from logger.jobs import latch
from logger.jobs.logbooks import opened
from logger.jobs.rig_of import rig_from


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
    from logger.files.rigfile import parse_rig

    if not written(because):
        raise InputError("no reason given", "--because", 'Say why, for example "sold".')
    with opened(logbook) as book, book.transaction():
        held = book.rig(rig)
        if rig_from(held).retired:
            raise InputError(
                "this rig is retired already", rig, "'throwbook rig retire --back' brings it back."
            )
        text = retired_text(held.toml, written(because))
        parse_rig(text, "--because")  # a reason too long for a rig file is refused here
        book.add_rig(rig, text, by, now, f"retired: {written(because)}")
        return Retired(rig, written(because), latch.status(book, rig))


def bring_back(logbook: str | Path | None, rig: str, because: str, by: str, now: datetime) -> Retired:
    """A new version of the rig that is looked after again. Raises InputError where it isn't retired."""
    if not written(because):
        raise InputError("no reason given", "--because", 'Say why, for example "bought back".')
    with opened(logbook) as book, book.transaction():
        held = book.rig(rig)
        if not rig_from(held).retired:
            raise InputError("this rig isn't retired", rig, "Nothing needs to be done.")
        book.add_rig(rig, retired_text(held.toml, ""), by, now, f"back: {written(because)}")
        return Retired(rig, "", latch.status(book, rig))
