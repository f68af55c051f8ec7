"""Running averages and sums beside each check: EWMA and CUSUM. They are told in the JSON of a trend and decide nothing.

Sources: ISO 7870-6 (EWMA), ISO 7870-4 (CUSUM); worked figures of the NIST/SEMATECH e-Handbook 6.3.2 stand in the tests.
Values may be in any unit; limits come out in the same.
"""

import numpy as np

from logger.core.trace import FloatArray


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
