"""Control charts: individuals and moving range, EWMA, CUSUM, and limits that know how few values they rest on.

Sources: ISO 7870-2 (individuals), ISO 7870-6 (EWMA), ISO 7870-4 (CUSUM); worked figures of the NIST/SEMATECH
e-Handbook 6.3.2 stand in the tests. Values may be in any unit; limits come out in the same.
"""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from scipy.special import stdtrit

from logger.core.trace import FloatArray

D2 = 2.0 / sqrt(pi)
"""Mean moving range of two normal values over their sigma; closed form, tables print 1.128."""
D3 = sqrt(2.0 - 4.0 / pi)
"""Standard deviation of that range over sigma; closed form."""
D4 = 1.0 + 3.0 * D3 / D2
"""Upper limit of the moving range over its mean; closed form, tables print 3.267."""
MEDIAN_RANGE = 0.954
"""Median moving range over sigma."""


@dataclass(frozen=True)
class IndividualsChart:
    """Centre and limits of single values, and of the range between neighbours."""

    centre: float
    lower: float
    upper: float
    sigma: float
    """From the mean moving range."""
    mean_range: float
    range_upper: float


def individuals(values: FloatArray, d2: float = D2) -> IndividualsChart:
    """Three-sigma chart of single values, shape (n,), n >= 2; ``d2`` may be a table's rounded 1.128 (ISO 7870-2)."""
    ranges = np.abs(np.diff(np.asarray(values, dtype=float)))
    centre, mean_range = float(np.mean(values)), float(np.mean(ranges))
    sigma = mean_range / d2
    return IndividualsChart(
        centre, centre - 3.0 * sigma, centre + 3.0 * sigma, sigma, mean_range, D4 * mean_range
    )


def median_range_sigma(values: FloatArray) -> float:
    """Sigma from the median moving range: one outlier doesn't widen the limits."""
    return float(np.median(np.abs(np.diff(np.asarray(values, dtype=float))))) / MEDIAN_RANGE


def ewma(values: FloatArray, weight: float, start: float) -> FloatArray:
    """Exponentially weighted moving average, shape (n,); ``weight`` is the share of the newest value (0..1]."""
    out = np.empty(len(values))
    level = start
    for i, value in enumerate(values):
        level = weight * value + (1.0 - weight) * level
        out[i] = level
    return out


def ewma_limit(count: int, weight: float, sigma: float, factor: float = 3.0) -> FloatArray:
    """Distance of the EWMA limits from the centre after 1..count values, shape (count,) (ISO 7870-6)."""
    t = np.arange(1, count + 1)
    narrowed = 1.0 - (1.0 - weight) ** (2 * t)
    return np.asarray(factor * sigma * np.sqrt(weight / (2.0 - weight) * narrowed))


def cusum(values: FloatArray, target: float, slack: float) -> tuple[FloatArray, FloatArray]:
    """One-sided sums of what exceeds ``target`` by more than ``slack``: high and low side, each shape (n,) (ISO 7870-4)."""
    high, low = np.empty(len(values)), np.empty(len(values))
    above = below = 0.0
    for i, value in enumerate(values):
        above = max(0.0, above + value - target - slack)
        below = max(0.0, below + target - value - slack)
        high[i], low[i] = above, below
    return high, low


def prediction_factor(count: int, chance: float = 0.01) -> float:
    """How many s above the mean of ``count`` values the next one lies with a chance of ``chance``.

    t quantile times sqrt(1 + 1/n): 5 values 4.1, 10 values 3.0. n >= 2.

    >>> round(prediction_factor(5), 1), round(prediction_factor(10), 1)
    (4.1, 3.0)
    """
    return float(stdtrit(count - 1, 1.0 - chance)) * sqrt(1.0 + 1.0 / count)
