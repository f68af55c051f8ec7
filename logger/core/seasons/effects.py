"""Did it help? After minus before, with an interval, in three plain answers.

Welch's interval holds for throws that have nothing in common. Those of one check share its weather, attachment and operator:
what that adds is passed in as ``shared_u``, so between checks of two days the interval is wider than Welch's, and is our own.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.special import stdtrit

from logger.core.trace import FloatArray

HELPED = "helped"
WORSE = "worse"
NO_DIFFERENCE = "no difference that {n} could show"

CONFIDENCE = 0.92
"""Two-sided; a service that does nothing is called "helped" in 4 of 100 (common practice, no source: between 90 and 95 %)."""


@dataclass(frozen=True)
class Difference:
    """Second mean less first, with its interval."""

    change: float
    low: float
    high: float
    se: float
    """Standard uncertainty of ``change``."""
    df: float


KNOWN_WEIGHT = 6
"""How many degrees of freedom the scatter known from the rig's other checks is worth beside a group's own (assumed)."""


def compare(
    before: FloatArray,
    after: FloatArray,
    scatter: float,
    shared_u: float = 0.0,
    known: float | None = None,
) -> Difference:
    """Difference of two sets of throws, each shape (n,), n >= 2, at ``CONFIDENCE``. With ``shared_u`` and ``known`` nought it is Welch's.

    ``scatter`` is the standard deviation of a throw as the rig's other checks know it: five throws alone know theirs
    badly, so each group's variance is averaged with it, its degrees of freedom growing by ``known`` (None: ``KNOWN_WEIGHT``). ``shared_u``:
    standard uncertainty of what all throws of one check share and those of the other don't.
    """
    known = KNOWN_WEIGHT if known is None else known
    part, freedom, change = 0.0, 0.0, float(np.mean(after) - np.mean(before))
    for group in (before, after):
        own = len(group) - 1
        weight = own + known
        variance = (own * float(np.var(group, ddof=1)) + known * scatter**2) / weight
        part += variance / len(group)
        freedom += (variance / len(group)) ** 2 / weight
    se = sqrt(part + shared_u**2)
    df = part**2 / freedom if freedom > 0 else float(len(before) + len(after) - 2)
    half = float(stdtrit(df, (1.0 + CONFIDENCE) / 2.0)) * se
    return Difference(change, change - half, change + half, se, df)


def answer(difference: Difference, throws: int, days: bool = False, less_is_better: bool = True) -> str:
    """``helped``, ``worse`` or what so few couldn't show; ``throws`` is the smaller group's count.

    ``days``: both groups are of different days, so what counts is one check on either side, however many throws it had.
    """
    if difference.low <= 0.0 <= difference.high:
        shown = f"one check before and one after (n = {throws} throws)" if days else f"n = {throws} throws"
        return NO_DIFFERENCE.format(n=shown)
    better = (difference.change < 0.0) == less_is_better
    return HELPED if better else WORSE
