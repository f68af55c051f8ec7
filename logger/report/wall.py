"""The list for the wall of the yard: every rig, where it stands, when it is due. Pure: data in, a document out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from logger.core.cautions import BOTH_PINS, FALL, OUT_OF_USE
from logger.core.quantities.plain import counted
from logger.core.sheets.practice import CAUTION as PRACTICE
from logger.core.standing.status import DO_NOT_USE
from logger.report.document import Block, Cautions, Document, Table, Text, numbered

ROOM = "\N{NO-BREAK SPACE}" * 30
"""Keeps a column wide enough for a pen."""


@dataclass(frozen=True)
class WallRow:
    """One rig on the wall."""

    rig: str
    status: str
    """As ``status_numbered.short`` says it."""
    next_check: str
    last_throw: str


def _aloud(status: str) -> str:
    return status.upper() if status == DO_NOT_USE else status


def wall_list(rows: Sequence[WallRow], what: str, issued: date, practice: bool = False) -> Document:
    """The rigs in the order given; those out of use stand in a caution of their own.

    ``what``: which rigs these are. ``practice``: they stand in a practice logbook.
    """
    out = [row.rig for row in rows if row.status == DO_NOT_USE]
    blocks: list[Block] = [Cautions("Every time", (FALL, BOTH_PINS))]
    if out:
        blocks = [Cautions("Do not use", (", ".join(out), OUT_OF_USE)), *blocks]
    if practice:
        blocks = [Cautions("Practice", (PRACTICE,)), *blocks]
    table = tuple((row.rig, _aloud(row.status), row.next_check, row.last_throw, ROOM) for row in rows)
    headings = ("Rig", "Status", "Next check", "Last throw", "Done on, by")
    what = f"{counted(len(rows), 'rig')}: {what}" if rows else f"No rig: {what}."
    blocks.append(Table(headings, table, what, pencil=True, big=True) if rows else Text(what))
    blocks.append(
        Text(
            "A status goes up at any time: before work, ask the logbook and not this list. What is written by hand here has "
            "to be typed in too: throwbook enter.",
        )
    )
    subtitle = f"as the logbook stood on {issued}"
    draft = Document("Rigs of the yard", subtitle, "", tuple(blocks), "End of {number}", "{number}")
    return numbered(draft, "yard", issued, practice=practice)
