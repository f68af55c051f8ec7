"""When a limit will be crossed, with an interval, or why that can't be said yet (idea of ISO 13381-1); slope and trend test.

Growth since each possible check is fitted, each fit weighted by how well it explains the checks; together they give
the chance that the level (at 20 degC and nominal voltage) has crossed the limit by a given day.

Mann-Kendall: Gilbert 1987 (exact tail up to n = 10, normal approximation above); figures in the tests.
"""

from dataclasses import dataclass
from functools import cache
from math import hypot, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from throwbook.core.assessment import Interval
from throwbook.core.quantities.text import counted
from throwbook.core.trace import FloatArray
from throwbook.core.trend.change_test import (
    GROWTH,
    Coefficients,
    ShapeEvidence,
    StageSeries,
    evidence,
    learn,
    shapes_of,
    with_shape,
)

CONFIDENCE = 0.80
FEWEST = 6
"""Comparable checks, the stage's first one among them (common practice, no source)."""
RATE_SD = 0.30
"""Standard deviation of a rate of growth that nothing is known about [relative change a year]."""
RATE_DRIFTS = 0.2
"""Wear doesn't keep its rate: standard deviation, as a share of the growth still to come (assumed)."""
WANDERS = 0.015
"""The level wanders besides: standard deviation after a year [relative change] (assumed)."""
GROWS = 0.80
"""Share of the weight that must lie on growth, against none or a single shift (assumed)."""
HORIZON = 12.0
"""Nothing is said about days further ahead than this [years] (common practice, no source)."""
STEPS = 361
WORTH_FITTING = 0.01
"""Onsets with less of the weight are left out."""


@dataclass(frozen=True)
class Crossing:
    """When the level crosses the limit [years since the first check], or why that can't be said."""

    at: float | None
    low: float | None
    high: float | None
    why_not: str = ""


def crossing(series: StageSeries, limit: float, size: float = 1.0) -> Crossing:
    """Forecast for the stage ``series``; ``limit`` is relative to the baseline, as its changes are.

    ``size``: how far the figure wanders and grows in a year, against a current.
    """
    inside = len(series.change)
    if inside < FEWEST:
        return Crossing(None, None, None, f"{counted(inside, 'comparable check')} so far, {FEWEST} needed")
    shapes, kinds = shapes_of(series)
    wandering = _wandering(series, size)
    share = _shares(evidence(wandering, shapes), size)
    grows = [i for i, (kind, _) in enumerate(kinds) if kind == GROWTH]
    on_growth = float(share[:, grows].sum())
    if on_growth < GROWS:
        return Crossing(None, None, None, "no steady growth")
    scatter = int(np.argmax(share[:, grows].sum(axis=1)))
    now, begun = float(series.years[-1]), float(series.years[0])
    years = np.linspace(begun, now + HORIZON, STEPS)
    chance, fitted_share = np.zeros(STEPS), 0.0
    for i in grows:
        if share[:, i].sum() < WORTH_FITTING:
            continue
        fitted = learn(with_shape(wandering, shapes[:, i], size * RATE_SD), scatter)
        since = float(series.years[kinds[i][1]])
        fitted_share += float(share[:, i].sum())
        chance += float(share[:, i].sum()) * _crossed_by(fitted, series, years, since, limit, size)
    chance = np.maximum.accumulate(chance)
    chance /= fitted_share
    tail = (1.0 - CONFIDENCE) / 2.0
    low, at, high = (_first(years, chance, p) for p in (tail, 0.5, 1.0 - tail))
    if at is None or high is None or low is None:
        return Crossing(None, None, None, f"not within {HORIZON:.0f} years by the checks so far")
    if high - low > now - begun:
        return Crossing(
            None,
            None,
            None,
            "its interval would be longer than the history so far; more checks will narrow it",
        )
    return Crossing(at, low, high)


def _wandering(series: StageSeries, size: float) -> StageSeries:
    """``series`` whose level may besides wander from check to check: one small step each."""
    index = np.arange(len(series.change))
    for i in index[1:]:
        step_sd = size * WANDERS * float(max(series.years[i] - series.years[i - 1], 0.0)) ** 0.5
        series = with_shape(series, (index >= i).astype(float), step_sd + 1e-6)
    return series


def _shares(found: ShapeEvidence, size: float = 1.0) -> FloatArray:
    """How well each scatter and shape explains the checks, shape (g, m), sum 1: no growth falls below nought."""
    rate_variance = (size * RATE_SD) ** 2
    precision = found.weight + 1.0 / rate_variance
    mean = found.pull / precision
    log_share = (
        found.log_plain[:, None]
        + 0.5 * found.pull * mean
        - 0.5 * np.log(precision * rate_variance)
        + np.log(np.maximum(2.0 * ndtr(mean * np.sqrt(precision)), 1e-300))
    )
    share = np.exp(log_share - log_share.max())
    normed: FloatArray = share / share.sum()
    return normed


def _crossed_by(
    fitted: Coefficients, series: StageSeries, years: FloatArray, since: float, limit: float, size: float
) -> FloatArray:
    """Chance, shape (t,), that level, wandering and growth ``since`` have together crossed the limit by each year."""
    steps = len(series.change) - 1
    now = series.years[-1]
    picks = np.zeros((len(years), len(fitted.mean)))
    picks[:, series.level] = 1.0
    picks[:, -1] = np.maximum(0.0, years - since)
    if steps:
        picks[:, -1 - steps : -1] = years[:, None] >= series.years[None, 1:]
    ahead = np.maximum(0.0, years - now)
    variance = np.sum((picks @ fitted.covariance) * picks, axis=1)
    variance += (size * WANDERS) ** 2 * ahead + (RATE_DRIFTS * fitted.mean[-1] * ahead) ** 2
    crossed: FloatArray = ndtr((picks @ fitted.mean - limit) / np.sqrt(variance))
    return crossed


def _first(years: FloatArray, chance: FloatArray, p: float) -> float | None:
    index = int(np.searchsorted(chance, p))
    if index >= len(years):
        return None
    if index == 0:
        return float(years[0])
    return float(np.interp(p, chance[index - 1 : index + 1], years[index - 1 : index + 1]))


EXACT_UP_TO = 10


class MannKendall(NamedTuple):
    """Test for a steady rise or fall."""

    s: int
    """Pairs that rise less pairs that fall."""
    variance: float
    z: float
    p: float
    """Chance of as strong a rise or fall without any trend."""


def mann_kendall(values: FloatArray) -> MannKendall:
    """Mann-Kendall of values in time order, shape (n,), n >= 2. Exact for n <= 10 without ties."""
    values = np.asarray(values, dtype=float)
    n = len(values)
    signs = np.sign(values[None, :] - values[:, None])[np.triu_indices(n, 1)]
    s = int(signs.sum())
    _, ties = np.unique(values, return_counts=True)
    variance = _variance(ties)
    z = (s - np.sign(s)) / sqrt(variance) if variance > 0 else 0.0
    exact = n <= EXACT_UP_TO and len(ties) == n
    p = min(1.0, 2.0 * exact_tail(n, abs(s))) if exact else float(2.0 * ndtr(-abs(z)))
    return MannKendall(s, variance, float(z), p)


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


def theil_sen(
    time: FloatArray, values: FloatArray, confidence: float = 0.95, shared_u: float = 0.0
) -> Interval:
    """Median of all pair slopes, shape (n,), n >= 2, per unit of time, with Sen's interval (ranks of the pair slopes).

    Sen's holds for values that have nothing in common. ``shared_u``: standard uncertainty of the slope from what they have
    in common; each half of the interval is widened by it. Nought: Sen's own.
    """
    time, values = np.asarray(time, dtype=float), np.asarray(values, dtype=float)
    i, j = np.triu_indices(len(time), 1)
    run = time[j] - time[i]
    slopes = np.sort((values[j] - values[i])[run > 0] / run[run > 0])
    if len(slopes) == 0:
        return Interval(0.0, -np.inf, np.inf)
    slope = float(np.median(slopes))
    factor = float(ndtri((1.0 + confidence) / 2.0))
    half = factor * sqrt(_variance(np.unique(values, return_counts=True)[1]))
    count = len(slopes)
    lowest = round((count - half) / 2.0) - 1
    highest = round((count + half) / 2.0)
    low = float(slopes[lowest]) if lowest >= 0 else -np.inf
    high = float(slopes[highest]) if highest < count else np.inf
    below, above = (hypot(reach, factor * shared_u) for reach in (slope - low, high - slope))
    return Interval(slope, slope - below, slope + above)
