"""A reading inside a limit of the rating, but nearer to it than its ±: what accepting it all the same would risk.

Simple acceptance, shared risk (ILAC-G8:09/2019; JCGM 106, 8.2): by somebody's explicit choice, with the chance that the true
value lies over the limit printed beside it. The verdicts of the throws stay ``undecided``.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from logger.core.assessment import UNDECIDED, Check
from logger.core.machine.limits import MAX
from logger.core.quantities.number_text import limit_text, measured_text, rounded_up
from logger.core.quantities.uncertainty import K, chance_beyond
from logger.core.sheets.sheet import SheetTrial
from logger.core.stroke.verdict import CHECK_WORDS

MOST = 0.10
"""No chance greater than this may be taken."""
READ_BY_METER = ("peak_run_current", "run_current", "supply_under_load")
"""Limits of the rating that a meter is held against; travel that may not be done is no reading of a meter."""


@dataclass(frozen=True)
class Risk:
    """One reading too near to its limit."""

    throw: str
    """``throw 1 (lock)``."""
    check: Check
    chance: float
    """That the true value lies over the limit, 0..1."""

    @property
    def says(self) -> str:
        """``throw 1 (lock): highest running current 2.6 ± 0.5 A, limit 3.0 A: a chance of up to 5.5 % ...``."""
        one = self.check
        assert one.measured is not None
        words = CHECK_WORDS.get(one.name, one.name)
        side = "over" if one.side == MAX else "under"
        return (
            f"{words} {measured_text(one.measured, one.unit)}, limit {limit_text(one.limit, one.side, one.unit)}: a chance of up to "
            f"{rounded_up(100 * self.chance, 1)} % that it really is {side} the limit"
        )


def risk_of(throw: SheetTrial, check: Check) -> Risk | None:
    """What accepting this undecided reading would risk; None where that can't be chosen: over the limit as read, or no meter's."""
    if check.decision != UNDECIDED or check.name not in READ_BY_METER or check.measured is None:
        return None
    value, u = check.measured
    room = check.limit - value if check.side == MAX else value - check.limit
    if room < 0.0 or u <= 0.0:
        return None
    chance = chance_beyond(room, u / K)
    return Risk(throw.name, check, chance) if chance <= MOST else None


def risks(trials: Iterable[SheetTrial]) -> tuple[Risk, ...]:
    """Every reading on these throws that could only be accepted by shared risk, in order."""
    found = (risk_of(one, check) for one in trials for check in one.assessment.checks)
    return tuple(one for one in found if one is not None)


def worst_of_each(taken: Iterable[Risk]) -> tuple[Risk, ...]:
    """For each limit the reading with the greatest chance."""
    worst: dict[str, Risk] = {}
    for one in taken:
        if one.check.name not in worst or one.chance > worst[one.check.name].chance:
            worst[one.check.name] = one
    return tuple(worst.values())
