"""Which throws a baseline may be made from, and when a new one may be.

From accepted throws, one direction at a time, as-found throws left out. Once made it is frozen with its reason. A new
one takes a service after it, or a reason in writing; the old ones stay. A rig without an accepted commissioning sheet has
a provisional one from its first bench or commissioning sheet.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from throwbook.core.assessment import CUT_OFF, FAIL
from throwbook.core.quantities.text import written
from throwbook.core.records import ACCEPTED, BENCH, COMMISSIONING, REJECTED
from throwbook.core.sheets.sheet import FilledSheet, SheetTrial, as_found
from throwbook.core.wording import ENDS

NO_WORK_SINCE = "a new baseline needs work done since the last one, or a reason"


@dataclass(frozen=True)
class ChoiceSheet:
    """A sheet that a baseline could come from."""

    name: str
    state: str
    sheet: FilledSheet
    trials: tuple[SheetTrial, ...]


@dataclass(frozen=True)
class BaselineChoice:
    """The throws chosen for one direction."""

    direction: str
    sheet: str
    """Name of the sheet they come from; empty: none will do."""
    trials: tuple[SheetTrial, ...]
    left_out: tuple[tuple[str, str], ...]
    """Throw and why it was left out."""
    provisional: bool
    reason: str


def choose(sheets: Sequence[ChoiceSheet], direction: str) -> BaselineChoice:
    """Choose from a rig's sheets, oldest first: the newest accepted commissioning sheet, else a provisional one."""
    accepted = [one for one in sheets if one.sheet.kind == COMMISSIONING and one.state == ACCEPTED]
    if accepted:
        return choose_from(accepted[-1], direction, provisional=False)
    for one in sheets:
        if one.sheet.kind in (BENCH, COMMISSIONING) and one.state != REJECTED:
            choice = choose_from(one, direction, provisional=True)
            if choice.trials:
                return choice
    return BaselineChoice(direction, "", (), (), True, "no bench or commissioning sheet has suitable throws")


def choose_from(one: ChoiceSheet, direction: str, *, provisional: bool) -> BaselineChoice:
    """The throws of one sheet that a baseline may be made from, and why the others may not."""
    apart = as_found(one.sheet.conditions, one.trials)
    chosen, left_out = [], []
    for throw in one.trials:
        if throw.direction != direction:
            continue
        why = _why_not(throw, throw.id in apart)
        if why:
            left_out.append((throw.name, why))
        else:
            chosen.append(throw)
    state = "provisional: no accepted commissioning sheet yet" if provisional else "accepted"
    return BaselineChoice(
        direction,
        one.name,
        tuple(chosen),
        tuple(left_out),
        provisional,
        f"{one.sheet.kind} sheet {one.name}, {state}",
    )


def _why_not(throw: SheetTrial, apart: bool) -> str:
    judged = throw.assessment
    if apart:
        return "as found"
    if throw.left_out:
        return throw.left_out
    if not judged.usable:
        return judged.unusable_because or "not usable"
    if judged.end != CUT_OFF:
        return f"it ended otherwise: {ENDS[judged.end].sentence}"
    return "it failed" if judged.verdict == FAIL else ""


def may_replace(serviced_since: bool, reason: str, to_watch: Sequence[str] = ()) -> str:
    """Why a new baseline may not take the place of the one in force; empty: it may.

    ``to_watch``: signs that its throws show against the one in force. A baseline that starts worse than the last one
    hides how far a latch has come: it takes a reason in writing, whatever was serviced.
    """
    if written(reason):
        return ""
    if to_watch:
        return f"compared with the baseline in use, its throws show: {', '.join(sorted(set(to_watch)))}; a new baseline needs a reason"
    return "" if serviced_since else NO_WORK_SINCE
