"""Standard uncertainties and how they add up (JCGM 100:2008, the guide to uncertainty in measurement).

Everything here is a standard uncertainty (k = 1) in the unit of its quantity unless the name says expanded. The
decision against a limit is ``verdict.decide``; hand instruments stand in ``instruments``.
"""

import math
from collections.abc import Sequence

import numpy as np

from logger.core.trace import FloatArray

K = 2.0
"""Coverage factor of an expanded uncertainty: about 95 % (JCGM 100, 6.2)."""
HAND_EVENT_S = 0.07
"""Standard deviation of one event timed by hand [s] (Am. J. Phys. 87(2) 110, 2019; 4304 timings)."""
HAND_EVENT_LATE_S = 0.11
"""Bias of one event timed by hand [s] (same source). It falls out of an interval started and stopped by one person."""

HAND_TIMING_S = math.sqrt(2.0) * HAND_EVENT_S
"""Standard deviation of an interval timed by hand, start and stop by the same person [s]."""


def type_a(readings: Sequence[float] | FloatArray) -> tuple[float, float]:
    """Mean of repeated readings and its standard uncertainty `s / sqrt(n)` (JCGM 100, 4.2.3).

    inf for a single reading: it says nothing about its own spread. Raises ValueError for none.
    """
    values = np.asarray(readings, dtype=np.float64)
    if values.size == 0:
        raise ValueError("no readings")
    if values.size == 1:
        return float(values[0]), math.inf
    return float(values.mean()), float(values.std(ddof=1) / math.sqrt(values.size))


def from_step(step: float) -> float:
    """Of a display that steps by ``step``: `step / sqrt(12)` (JCGM 100, F.2.2.1)."""
    return step / math.sqrt(12.0)


def from_half_width(half_width: float) -> float:
    """Of a value known to lie within plus or minus ``half_width``, all alike: `a / sqrt(3)` (JCGM 100, 4.3.7)."""
    return half_width / math.sqrt(3.0)


def hand_timed(step_s: float, times: int = 1) -> float:
    """Of the mean of ``times`` intervals timed by hand [s], each start and stop by the same person."""
    return combined(HAND_TIMING_S, from_step(step_s)) / math.sqrt(times)


def combined(*parts: float) -> float:
    """Root of the sum of squares of independent parts (JCGM 100, 5.1.2)."""
    return math.hypot(*parts)


def expanded(u: float, k: float = K) -> float:
    """Expanded uncertainty `k u` (JCGM 100, 6.2.1)."""
    return k * u


def propagated(sensitivity: FloatArray, u: FloatArray, correlation: FloatArray) -> FloatArray:
    """Covariance of m results from n inputs that may hang together: `J (u r u) J^T` (JCGM 100, 5.2.2, F.1.2).

    ``sensitivity`` shape (m, n), partial derivatives; ``u`` shape (n,); ``correlation`` shape (n, n). Gives (m, m).
    """
    covariance = np.outer(u, u) * correlation
    return np.asarray(sensitivity @ covariance @ sensitivity.T, dtype=np.float64)


def false_accept_risk(guard_band: float, u: float) -> float:
    """Chance that a figure found just at the acceptance limit really lies beyond the limit itself.

    ``guard_band`` is the way from the acceptance limit to the limit, ``u`` the standard uncertainty; normal
    distribution (JCGM 106; ILAC-G8:09/2019). No guard band: a half; one of 2 u: 2.3 %.
    """
    return 0.5 * math.erfc(guard_band / (u * math.sqrt(2.0)))
