"""Slope of a series and whether it rises at all: Theil-Sen and Mann-Kendall.

Sources: Gilbert 1987 (exact tail up to n = 10, normal approximation above); figures in the tests.
"""

from dataclasses import dataclass
from functools import cache
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from logger.core.trace import FloatArray

EXACT_UP_TO = 10


@dataclass(frozen=True)
class MannKendall:
    """Test for a steady rise or fall."""

    s: int
    """Pairs that rise less pairs that fall."""
    variance: float
    z: float
    p_rise: float
    """Chance of as strong a rise without any trend."""
    p_two_sided: float
    tau_a: float
    tau_b: float


def mann_kendall(values: FloatArray) -> MannKendall:
    """Mann-Kendall of values in time order, shape (n,), n >= 2. Exact for n <= 10 without ties."""
    values = np.asarray(values, dtype=float)
    n = len(values)
    signs = np.sign(values[None, :] - values[:, None])[np.triu_indices(n, 1)]
    s = int(signs.sum())
    _, ties = np.unique(values, return_counts=True)
    variance = _variance(ties)
    z = (s - np.sign(s)) / sqrt(variance) if variance > 0 else 0.0
    pairs = n * (n - 1) / 2
    tied = float(np.sum(ties * (ties - 1))) / 2
    if n <= EXACT_UP_TO and tied == 0:
        p_rise = exact_tail(n, s)
        p_two = min(1.0, 2.0 * exact_tail(n, abs(s)))
    else:
        p_rise = float(ndtr(-z))
        p_two = float(2.0 * ndtr(-abs(z)))
    tau_b = s / sqrt((pairs - tied) * pairs) if pairs > tied else 0.0
    return MannKendall(s, variance, float(z), p_rise, p_two, s / pairs, tau_b)


def _variance(ties: NDArray[np.intp]) -> float:
    """Of the Mann-Kendall sum; ``ties``: how often each different value comes."""
    n = int(ties.sum())
    return (n * (n - 1) * (2 * n + 5) - float(np.sum(ties * (ties - 1) * (2 * ties + 5)))) / 18.0


def exact_tail(n: int, s: int) -> float:
    """Chance of a Mann-Kendall sum of ``s`` or more when every order of ``n`` different values is as likely.

    >>> round(exact_tail(5, 10), 6)
    0.008333
    """
    counts = _orders_by_inversions(n)
    falls_at_most = (n * (n - 1) // 2 - s) // 2
    if falls_at_most < 0:
        return 0.0
    return sum(counts[: falls_at_most + 1]) / sum(counts)


@cache
def _orders_by_inversions(n: int) -> tuple[int, ...]:
    """How many orders of n values have 0, 1, 2 ... falling pairs: each further value adds 0 to n-1 of them."""
    counts = [1]
    for more in range(2, n + 1):
        longer = [0] * (len(counts) + more - 1)
        for falls, many in enumerate(counts):
            for extra in range(more):
                longer[falls + extra] += many
        counts = longer
    return tuple(counts)


@dataclass(frozen=True)
class TheilSen:
    """Median slope and its interval, per unit of time."""

    slope: float
    intercept: float
    """Value at time 0."""
    low: float
    high: float
    confidence: float


def theil_sen(time: FloatArray, values: FloatArray, confidence: float = 0.95) -> TheilSen:
    """Median of all pair slopes, shape (n,), n >= 2, with Sen's interval (ranks of the pair slopes)."""
    time, values = np.asarray(time, dtype=float), np.asarray(values, dtype=float)
    i, j = np.triu_indices(len(time), 1)
    run = time[j] - time[i]
    slopes = np.sort((values[j] - values[i])[run > 0] / run[run > 0])
    if len(slopes) == 0:
        return TheilSen(0.0, float(np.median(values)), -np.inf, np.inf, confidence)
    slope = float(np.median(slopes))
    intercept = float(np.median(values) - slope * np.median(time))
    half = float(ndtri((1.0 + confidence) / 2.0)) * sqrt(_variance(np.unique(values, return_counts=True)[1]))
    count = len(slopes)
    lowest = round((count - half) / 2.0) - 1
    highest = round((count + half) / 2.0)
    low = float(slopes[lowest]) if lowest >= 0 else -np.inf
    high = float(slopes[highest]) if highest < count else np.inf
    return TheilSen(slope, intercept, low, high, confidence)
