"""When a limit will be crossed, with an interval, or why that can't be said yet (idea of ISO 13381-1).

Growth since each possible check is fitted, each fit weighted by how well it explains the checks; together they give
the chance that the level (at 20 degC and nominal voltage) has crossed the limit by a given day.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from logger.core.quantities.plain import counted
from logger.core.seasons.rise import (
    GROWTH,
    Evidence,
    Level,
    Series,
    evidence,
    learn,
    shapes_of,
    with_shape,
)
from logger.core.trace import FloatArray

CONFIDENCE = 0.80
FEWEST = 6
"""Comparable checks, the stretch's first one among them (common practice, no source)."""
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


def crossing(series: Series, limit: float) -> Crossing:
    """Forecast for the stretch ``series``; ``limit`` is relative to the baseline, as its changes are."""
    inside = len(series.change)
    if inside < FEWEST:
        return Crossing(None, None, None, f"{counted(inside, 'comparable check')}; it takes {FEWEST}")
    shapes, kinds = shapes_of(series)
    wandering = _wandering(series)
    share = _shares(evidence(wandering, shapes))
    grows = [i for i, (kind, _) in enumerate(kinds) if kind == GROWTH]
    on_growth = float(share[:, grows].sum())
    if on_growth < GROWS:
        return Crossing(None, None, None, "no steady growth to go by")
    scatter = int(np.argmax(share[:, grows].sum(axis=1)))
    now, begun = float(series.years[-1]), float(series.years[0])
    years = np.linspace(begun, now + HORIZON, STEPS)
    chance, fitted_share = np.zeros(STEPS), 0.0
    for i in grows:
        if share[:, i].sum() < WORTH_FITTING:
            continue
        fitted = learn(with_shape(wandering, shapes[:, i], RATE_SD), scatter)
        since = float(series.years[kinds[i][1]])
        fitted_share += float(share[:, i].sum())
        chance += float(share[:, i].sum()) * _crossed_by(fitted, series, years, since, limit)
    chance = np.maximum.accumulate(chance)
    chance /= fitted_share
    tail = (1.0 - CONFIDENCE) / 2.0
    low, at, high = (_first(years, chance, p) for p in (tail, 0.5, 1.0 - tail))
    if at is None or high is None or low is None:
        return Crossing(None, None, None, f"not within {HORIZON:.0f} years, as far as the checks show")
    if high - low > now - begun:
        return Crossing(
            None, None, None, "the interval is longer than the history: more checks will narrow it"
        )
    return Crossing(at, low, high)


def _wandering(series: Series) -> Series:
    """``series`` whose level may besides wander from check to check: one small step each."""
    index = np.arange(len(series.change))
    for i in index[1:]:
        step_sd = WANDERS * float(max(series.years[i] - series.years[i - 1], 0.0)) ** 0.5
        series = with_shape(series, (index >= i).astype(float), step_sd + 1e-6)
    return series


def _shares(found: Evidence) -> FloatArray:
    """How well each scatter and shape explains the checks, shape (g, m), sum 1: no growth falls below nought."""
    precision = found.weight + 1.0 / RATE_SD**2
    mean = found.pull / precision
    log_share = (
        found.log_plain[:, None]
        + 0.5 * found.pull * mean
        - 0.5 * np.log(precision * RATE_SD**2)
        + np.log(np.maximum(2.0 * ndtr(mean * np.sqrt(precision)), 1e-300))
    )
    share = np.exp(log_share - log_share.max())
    normed: FloatArray = share / share.sum()
    return normed


def _crossed_by(fitted: Level, series: Series, years: FloatArray, since: float, limit: float) -> FloatArray:
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
    variance += WANDERS**2 * ahead + (RATE_DRIFTS * fitted.mean[-1] * ahead) ** 2
    crossed: FloatArray = ndtr((picks @ fitted.mean - limit) / np.sqrt(variance))
    return crossed


def _first(years: FloatArray, chance: FloatArray, p: float) -> float | None:
    index = int(np.searchsorted(chance, p))
    if index >= len(years):
        return None
    if index == 0:
        return float(years[0])
    return float(np.interp(p, chance[index - 1 : index + 1], years[index - 1 : index + 1]))
