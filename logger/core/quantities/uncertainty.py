"""Standard uncertainties and how they add up (JCGM 100:2008, the guide to uncertainty in measurement); intervals from draws
(JCGM 101:2008) where a figure doesn't follow its inputs in a straight line.

Everything here is a standard uncertainty (k = 1) in the unit of its quantity unless the name says expanded. The
decision against a limit is ``verdict.decide``; hand instruments stand in ``instruments``.
"""

import math
from collections.abc import Sequence
from functools import cache

import numpy as np

from logger.core.assessment import Interval
from logger.core.trace import FloatArray

K = 2.0
"""Coverage factor of an expanded uncertainty: about 95 % (JCGM 100, 6.2)."""
HAND_EVENT_S = 0.07
"""Standard deviation of one event timed by hand [s] (Am. J. Phys. 87(2) 110, 2019; 4304 timings). Its bias of 0.11 s falls
out of an interval that one person starts and stops."""
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


def hand_timed(step_s: float) -> float:
    """Of an interval timed by hand [s], start and stop by the same person, on a display that steps by ``step_s``."""
    return combined(HAND_TIMING_S, from_step(step_s))


def combined(*parts: float) -> float:
    """Root of the sum of squares of independent parts (JCGM 100, 5.1.2)."""
    return math.hypot(*parts)


def expanded(u: float, k: float = K) -> float:
    """Expanded uncertainty `k u` (JCGM 100, 6.2.1)."""
    return k * u


def false_accept_risk(guard_band: float, u: float) -> float:
    """Chance that a figure found just at the acceptance limit really lies beyond the limit itself.

    ``guard_band`` is the way from the acceptance limit to the limit, ``u`` the standard uncertainty; normal
    distribution (JCGM 106; ILAC-G8:09/2019). No guard band: a half; one of 2 u: 2.3 %.
    """
    return 0.5 * math.erfc(guard_band / (u * math.sqrt(2.0)))


DRAWS = 4096
"""Draws of a distribution: the ends of a 95 % interval are then within a hundredth of its width."""


@cache
def drawn(kinds: int) -> FloatArray:
    """Draws of ``kinds`` independent values, each anywhere from -1 to +1 alike; shape (kinds, DRAWS), always the same.

    Evenly laid points instead of random ones: the fractions of n/g, n/g^2, ... with ``g^(kinds + 1) = g + 1`` (a
    generalised golden ratio), which fill the cube more evenly than chance does.
    """
    g = 2.0
    for _ in range(64):
        g = (1.0 + g) ** (1.0 / (kinds + 1))
    steps = g ** -np.arange(1.0, kinds + 1.0)
    points = 2.0 * ((0.5 + np.outer(steps, np.arange(1, DRAWS + 1))) % 1.0) - 1.0
    points.flags.writeable = False
    return points


def interval_of(value: float, draws: FloatArray) -> Interval:
    """``value`` with the 95 % interval that its draws leave, equal shares beyond each end (JCGM 101:2008, 7.7).

    Nothing is drawn between two draws, so that an end may be inf: the figure may never be reached.
    """
    ordered = np.sort(draws)
    beyond = int(0.025 * len(ordered))
    return Interval(value, min(value, float(ordered[beyond])), max(value, float(ordered[-1 - beyond])))


def chance_beyond(room: float, u: float) -> float:
    """Chance that the true value lies beyond a limit that the reading is inside of by ``room``; ``u`` standard.

    Whether the error is normal or a rectangle nobody knows: the greater chance of the two counts.
    """
    half_width = u * math.sqrt(3.0)
    rectangle = max(half_width - room, 0.0) / (2.0 * half_width)
    return max(false_accept_risk(room, u), rectangle)
