"""Did it help? After minus before, with an interval (Welch), in three plain answers.

Throws of one check share its weather, attachment and operator; what that adds is passed in as ``shared_u``.
"""

from dataclasses import dataclass
from math import inf, sqrt

import numpy as np
from scipy.special import stdtr, stdtrit

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
    t: float
    df: float
    p_two_sided: float


def welch(
    first: tuple[float, float, int],
    second: tuple[float, float, int],
    confidence: float = 0.95,
) -> Difference:
    """Welch's t of two groups given as (mean, standard deviation, count), count >= 2."""
    (mean1, sd1, n1), (mean2, sd2, n2) = first, second
    part1, part2 = sd1**2 / n1, sd2**2 / n2
    own = part1 + part2
    change = mean2 - mean1
    df = own**2 / (part1**2 / (n1 - 1) + part2**2 / (n2 - 1)) if own > 0 else float(n1 + n2 - 2)
    return _difference(change, sqrt(own), df, confidence)


def _difference(change: float, se: float, df: float, confidence: float) -> Difference:
    if se == 0:
        t = inf if change > 0 else -inf if change < 0 else 0.0
        return Difference(change, change, change, t, df, 0.0 if change else 1.0)
    t = change / se
    half = float(stdtrit(df, (1.0 + confidence) / 2.0)) * se
    return Difference(change, change - half, change + half, t, df, 2.0 * float(stdtr(df, -abs(t))))


KNOWN_WEIGHT = 6
"""How many degrees of freedom the scatter known from the rig's other checks is worth beside a group's own (assumed)."""


def compare(before: FloatArray, after: FloatArray, scatter: float, shared_u: float = 0.0) -> Difference:
    """Welch's difference of two sets of throws, each shape (n,), n >= 2, at ``CONFIDENCE``.

    ``scatter`` is the standard deviation of a throw as the rig's other checks know it: five throws alone know theirs
    badly, so each group's variance is averaged with it, its degrees of freedom growing by ``KNOWN_WEIGHT``.
    """
    part, freedom, change = 0.0, 0.0, float(np.mean(after) - np.mean(before))
    for group in (before, after):
        own = len(group) - 1
        weight = own + KNOWN_WEIGHT
        variance = (own * float(np.var(group, ddof=1)) + KNOWN_WEIGHT * scatter**2) / weight
        part += variance / len(group)
        freedom += (variance / len(group)) ** 2 / weight
    se = sqrt(part + shared_u**2)
    df = part**2 / freedom if freedom > 0 else float(len(before) + len(after) - 2)
    return _difference(change, se, df, CONFIDENCE)


def answer(difference: Difference, throws: int, less_is_better: bool = True) -> str:
    """``helped``, ``worse`` or what the few throws couldn't show; ``throws`` is the smaller group's count."""
    if difference.low <= 0.0 <= difference.high:
        return NO_DIFFERENCE.format(n=f"n = {throws}")
    better = (difference.change < 0.0) == less_is_better
    return HELPED if better else WORSE
