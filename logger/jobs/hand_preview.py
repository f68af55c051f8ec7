"""A throw measured by hand, judged while it is typed: the same judgement as when it is kept, and nothing is stored."""

from pathlib import Path
from typing import TYPE_CHECKING

from logger.core.sheets.byhand_lines import HandThrow, in_air
from logger.core.sheets.instruments import Accuracy, Instruments
from logger.core.sheets.questions import conditions_from
from logger.jobs.baselines import baseline_for
from logger.jobs.logbooks import opened
from logger.jobs.rig_of import rig_of

if TYPE_CHECKING:
    from logger.core.assessment import Assessment


def preview(
    logbook: str | Path | None, rig: str, sheet: str, throw: HandThrow, instruments: Instruments
) -> "Assessment":
    """Judge ``throw`` as ``enter`` would on this sheet."""
    return last_look(logbook, rig, sheet, throw, instruments)[0]


def last_look(
    logbook: str | Path | None, rig: str, sheet: str, throw: HandThrow, instruments: Instruments
) -> "tuple[Assessment, str]":
    """The same, and what of the readings can't be meant; empty: nothing."""
    from logger.core.sheets.byhand import assess_by_hand
    from logger.core.sheets.slips import slip

    with opened(logbook, read_only=True) as book:
        state = book.sheet(sheet)
        held = baseline_for(book, rig, throw.direction, state.sheet.kind)
        throw = in_air(throw, conditions_from(state.answers).ambient_c)
        described = rig_of(book, rig)
        judged = assess_by_hand(throw, described, instruments, held.baseline if held else None)
        return judged, slip(throw, judged, described)


def clamp_meter_used(logbook: str | Path | None, sheet: str) -> str:
    """Accuracy of the clamp meter as it was given with the sheet's newest throw by hand; empty: it wasn't."""
    with opened(logbook, read_only=True) as book:
        throws = [one.trial.hand for one in book.trials(sheet=book.sheet(sheet).sheet.id) if one.trial.hand]
    if not throws or "clamp" not in throws[-1].get("instruments", {}):
        return ""
    clamp = Accuracy(**throws[-1]["instruments"]["clamp"])
    return "" if clamp.assumed else clamp.text
