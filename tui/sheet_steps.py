"""What comes next on a sheet. Nothing of Textual."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from logger.core.quantities.plain import counted
from logger.core.records.records import BENCH, OPEN
from logger.core.sheets.acceptance_rules import NOBODY_SIGNED
from logger.core.sheets.sheet import NOT_LOOKED, SEEN
from logger.core.standing.status import DO_NOT_USE
from logger.core.trace import LOCK, UNLOCK

if TYPE_CHECKING:
    from logger.jobs.sheet_view import SheetView

THROW, LOOK, SIGN, STOP, NOTHING = "throw", "look", "sign", "stop", "nothing"
STOP_SAID = (
    "STOP. Throw no more. Keep the attachment on the ground; take its weight off the pins before anything is moved. "
    "NEXT: what it takes before this rig is used again: Enter"
)


@dataclass(frozen=True)
class Step:
    """One step."""

    what: str
    say: str
    direction: str = ""
    """Of a throw."""
    position: int = 0
    """Of the throw whose pins are to be looked at."""


def next_step(found: "SheetView", turned: bool = False, by_hand: bool = False) -> Step:
    """Pins before anything else, then the throws in turn, then the signature. What was left out isn't counted.

    ``turned``: the person wants the next throw the other way round; ``by_hand``: with stopwatch and clamp meter.
    """
    if found.state.state != OPEN:
        return Step(NOTHING, f"This sheet is {found.state.state}; what is decided stays.")
    if stopped(found):
        return Step(STOP, STOP_SAID)
    if found.state.sheet.kind != BENCH:
        for one in found.trials:
            if (
                not one.left_out
                and one.direction == LOCK
                and all(getattr(found.seen[one.id], part) == NOT_LOOKED for part in SEEN)
                # "not looked" four times is an answer: it isn't asked again and again
                and not found.seen[one.id].answered
            ):
                return Step(
                    LOOK,
                    f"NEXT: look at both pins after throw {one.position}, each by itself, and write it down: Enter",
                    position=one.position,
                )
    asked = found.plan.throws_each_way
    counting = [one for one in found.trials if not one.left_out]
    done = {way: sum(one.direction == way for one in counting) for way in (LOCK, UNLOCK)}
    direction = _next_direction(found, done)
    if turned:
        direction = UNLOCK if direction == LOCK else LOCK
    if min(done.values()) >= asked and not turned:
        if found.state.sheet.kind == BENCH:
            return Step(
                SIGN, "All throws are done. A bench sheet stands as it is: commission the rig on the machine."
            )
        lacking = sum(text != NOBODY_SIGNED for text in found.acceptance.missing)
        if lacking:
            things = counted(lacking, "thing")
            return Step(
                SIGN,
                f"All throws are done, {things} still missing (M lists them). NEXT: accept or not: Enter",
            )
        return Step(SIGN, "All throws are done. NEXT: accept the sheet or not, and sign: Enter")
    return Step(
        THROW,
        f"NEXT: {direction} throw {done[direction] + 1} of {max(asked, done[direction] + 1)}{', by hand' * by_hand}: Enter",
        direction=direction,
    )


def stopped(found: "SheetView") -> bool:
    """Whether no throw is to follow: the rig went out of use after this sheet was planned.

    A sheet that was planned knowing all that holds the rig goes on: to look for the cause, or to commission it again. A
    bench sheet moves no pins.
    """
    status, kind = found.status, found.state.sheet.kind
    if status.level != DO_NOT_USE or kind == BENCH or found.state.state != OPEN:
        return False
    holding = {name for one in status.open if one.level == DO_NOT_USE for name in one.ids}
    return not holding <= set(found.plan.answers)


def _next_direction(found: "SheetView", done: dict[str, int]) -> str:
    """They take turns; when one way is done, what is left of the other."""
    asked = found.plan.throws_each_way
    last = found.trials[-1].direction if found.trials else UNLOCK
    turn = UNLOCK if last == LOCK else LOCK
    other = LOCK if turn == UNLOCK else UNLOCK
    return other if done[turn] >= asked > done[other] else turn
