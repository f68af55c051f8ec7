"""Robust statistics, t and prediction factors, and uncertainties and how they add up (JCGM 100:2008, JCGM 101:2008).

Uncertainties are standard ones (k = 1) in the unit of their quantity unless the name says expanded.
"""

import math
from collections.abc import Sequence
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from throwbook.core.assessment import Interval
from throwbook.core.trace import FloatArray

MAD_TO_SD = 1.4826
"""Scale of the median absolute deviation to a normal standard deviation."""


def median_of(values: FloatArray) -> float:
    """Median of at least one value without NaN; what numpy.median gives, in a third of its time on short arrays."""
    return _median_of_own(values.copy())


def _median_of_own(values: FloatArray) -> float:
    """Median of an array that nobody else needs in its order."""
    half = len(values) // 2
    values.partition(half)
    upper = float(values[half])
    return upper if len(values) % 2 else 0.5 * (float(values[:half].max()) + upper)


def medians_of_rows(values: FloatArray) -> FloatArray:
    """Median of each row without NaN; shape (n, m) -> (n,), m at least 1."""
    ranked = np.sort(values, axis=1)
    half = values.shape[1] // 2
    medians: FloatArray = (
        ranked[:, half] if values.shape[1] % 2 else 0.5 * (ranked[:, half - 1] + ranked[:, half])
    )
    return medians


def robust_sd(values: FloatArray) -> float:
    """Standard deviation that a few outliers don't move; 0.0 for fewer than two values.

    Where more than half of the values are equal (a coarse converter) the median absolute deviation is nothing, and
    the plain standard deviation stands in.
    """
    if len(values) < 2:
        return 0.0
    away = values - median_of(values)
    mad = _median_of_own(np.abs(away, out=away))
    return MAD_TO_SD * mad if mad > 0 else float(np.std(values))


def quantile_of(values: FloatArray, share: float) -> float:
    """Quantile of at least one value without NaN; what numpy.quantile gives, in a tenth of its time on short arrays."""
    ranked = np.sort(values)
    at = share * (len(ranked) - 1)
    below = int(at)
    part = at - below
    low, high = float(ranked[below]), float(ranked[min(below + 1, len(ranked) - 1)])
    return low + (high - low) * part if part < 0.5 else high - (high - low) * (1.0 - part)


def resolution_step(values: FloatArray) -> float:
    """Smallest step between different values, in their own unit; 0.0 where all are equal."""
    ranked = np.sort(values)
    steps = ranked[1:] - ranked[:-1]
    return float(steps.min(where=steps > 0.0, initial=np.inf)) if ranked[-1:] > ranked[:1] else 0.0


def median_of_three(values: FloatArray) -> FloatArray:
    """Each value replaced by the median of itself and its two neighbours; the ends stay. Shape (n,) -> (n,)."""
    if len(values) < 3:
        return values.copy()
    out = values.copy()
    a, b, c = values[:-2], values[1:-1], values[2:]
    out[1:-1] = np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))
    return out


def moving_mean(values: FloatArray, width: int) -> FloatArray:
    """Mean over ``width`` neighbours, shorter at the ends. Shape (n,) -> (n,)."""
    n = len(values)
    width = min(width, 2 * n)  # wider reaches over both ends from everywhere
    if width <= 1 or n == 0:
        return values.copy()
    total = np.concatenate(([0.0], np.cumsum(values)))
    before = width // 2
    mean: FloatArray = np.empty(n)
    if n > width:
        mean[before : n - width + before + 1] = (total[width:] - total[:-width]) / width
    ends = np.concatenate((np.arange(before), np.arange(max(before, n - width + before + 1), n)))
    if n <= width:
        ends = np.arange(n)
    low, high = np.maximum(ends - before, 0), np.minimum(ends - before + width, n)
    mean[ends] = (total[high] - total[low]) / (high - low)
    return mean


def runs_of(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and one-past-last index of every unbroken run of True."""
    edges: list[int] = ((mask[1:] != mask[:-1]).nonzero()[0] + 1).tolist()
    if len(mask) and mask[0]:
        edges.insert(0, 0)
    if len(edges) % 2:
        edges.append(len(mask))
    return list(zip(edges[::2], edges[1::2], strict=True))


def integrate(values: FloatArray, time_s: FloatArray) -> float:
    """Trapezoid rule over uneven samples; 0.0 for fewer than two."""
    return float(((values[1:] + values[:-1]) * (time_s[1:] - time_s[:-1])).sum() / 2.0)


@lru_cache(maxsize=256)
def t_quantile(probability: float, degrees: float) -> float:
    """Quantile of Student's t distribution (scipy.special)."""
    from scipy.special import stdtrit  # noqa: PLC0415 - slow to load, and most commands never need it

    return float(stdtrit(degrees, probability))


def shared_variance(variances: FloatArray, degrees: int) -> tuple[float, float]:
    """What many small samples' variances have in common: a prior variance and the degrees of freedom it is worth.

    The variances of one kind of thing at many places, each from ``degrees`` degrees of freedom, scatter by chance alone
    as trigamma(degrees / 2) on the log scale; what they scatter beyond that is true difference between the places. inf:
    no true difference. Smyth (2004), "Linear models and empirical Bayes methods", Stat. Appl. Genet. Mol. Biol. 3(1),
    article 3, section 6.2. (0.0, 0.0) for fewer than two variances above nothing.
    """
    from scipy.special import digamma, polygamma  # noqa: PLC0415 - slow to load, and most commands never need it

    known = variances[variances > 0]
    if len(known) < 2:
        return 0.0, 0.0
    half = 0.5 * degrees
    logs = np.log(known) - digamma(half) + np.log(half)
    beyond = float(np.var(logs, ddof=1) - polygamma(1, half))
    if beyond <= 0.0:
        return float(np.exp(np.mean(logs))), float("inf")
    y = 0.5 + 1.0 / beyond
    for _ in range(20):  # Newton for trigamma(y) = beyond
        y += polygamma(1, y) * (1.0 - polygamma(1, y) / beyond) / polygamma(2, y)
    return float(np.exp(np.mean(logs) + digamma(y) - np.log(y))), 2.0 * float(y)


def prediction_factor(n: int, probability: float = 0.99) -> float:
    """Factor on the standard deviation of ``n`` past values within which one more falls, one-sided.

    t(p, n-1) * sqrt(1 + 1/n): 4.1 for n = 5, 3.0 for n = 10 at 99 %. ``n`` below 2 is an error of the caller.
    """
    return t_quantile(probability, n - 1) * float(np.sqrt(1.0 + 1.0 / n))


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
