"""Has a figure risen by more than weather, supply and chance can explain? Asked anew at every check.

A CUSUM asks whether the level has shifted, at any time so far; this asks the same while the weather's share is still
being learned. The changes of all checks are taken together, with what they may differ by *without* wear:

    variance of a check  =  scatter between checks  +  scatter of its throws / their number
    and, shared by all,     the allowance for every slope of ``correction``, which the checks themselves narrow.

Then a shift at the newest checks and a growth since any earlier one are each fitted on top (generalised least
squares). ``chance`` is the probability that a fit as good comes with no rise at all. The scatter between checks isn't
known either: the sum over a grid of values, each weighted by how well it explains the checks, makes early limits wide
and late ones narrow, as the t factor does for few throws.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from logger.core.trace import FloatArray

GRID = np.geomspace(0.25, 8.0, 6)
"""Scatter between checks as multiples of the allowance's median."""
ANY_LEVEL = 3.0
"""Standard deviation of a level that nothing is known about (relative change)."""
PAST_WEAR = 0.3
"""Standard deviation of the wear in an earlier stretch [relative change a year]."""
SHIFT_WITHIN = 2
"""A shift is looked for at the newest checks only: an older one shows as growth, or was found when it was new."""

SHIFT = "shift"
GROWTH = "growth"


@dataclass(frozen=True, eq=False)
class Series:
    """Changes of one figure against its baseline, one for each check, with what may explain them."""

    years: FloatArray
    """shape (k,), since the first check"""
    change: FloatArray
    """shape (k,), relative to the baseline"""
    variance: FloatArray
    """shape (k,), of the throws and of what wasn't recorded"""
    columns: FloatArray
    """shape (k, p): level of each stretch, weather, supply, wear of earlier stretches"""
    mean: FloatArray
    """shape (p,) expected coefficients"""
    sd: FloatArray
    """shape (p,) how far they may be from that"""
    between: tuple[float, float]
    """Median of the scatter between checks and standard deviation of its logarithm."""
    start: int = 0
    """Index of the first check of the newest stretch."""
    level: int = 0
    """Which column is the level of the newest stretch."""

    def first(self, count: int, start: int) -> "Series":
        """Only the first ``count`` checks, with the stretch that began at ``start``."""
        return replace(
            self,
            years=self.years[:count],
            change=self.change[:count],
            variance=self.variance[:count],
            columns=self.columns[:count],
            start=start,
        )


class Rise(NamedTuple):
    """A rise at the newest check."""

    chance: float
    """That there is none, 0..1."""
    shape: str
    since: int
    """Index of the check at which it began."""
    size: float
    """By how much the level is up now (relative)."""
    u: float
    """Standard uncertainty of ``size``."""
    checks: int
    """How many checks stand behind it."""


NO_RISE = Rise(1.0, GROWTH, 0, 0.0, float("inf"), 0)


@dataclass(frozen=True, eq=False)
class Evidence:
    """What the checks say about each shape, for each scatter of the grid (g) and shape (m)."""

    pull: FloatArray
    """shape (g, m): the shape's weighted agreement with the checks"""
    weight: FloatArray
    """shape (g, m): its precision; size = pull / weight, standard uncertainty = weight ** -0.5"""
    log_plain: FloatArray
    """shape (g,): how well each scatter explains the checks without any rise"""


def evidence(series: Series, shapes: FloatArray) -> Evidence:
    """Fit every column of ``shapes``, shape (k, m), by itself on top of the allowances."""
    median, log_sd = series.between
    scatter = median * GRID
    inverse = 1.0 / (scatter[:, None] ** 2 + series.variance[None, :])  # (g, k)
    left = series.change - series.columns @ series.mean
    weighted = series.columns.T[None] * inverse[:, None, :]  # (g, p, k)
    within = weighted @ series.columns + np.diag(1.0 / series.sd**2)
    right = np.concatenate([weighted @ shapes, (weighted @ left)[:, :, None]], axis=2)
    explained = np.linalg.solve(within, right)
    on_shapes, on_left = explained[:, :, :-1], explained[:, :, -1:]
    pull = (inverse * left) @ shapes - (np.swapaxes(right[:, :, :-1], 1, 2) @ on_left)[:, :, 0]
    weight = inverse @ shapes**2 - np.sum(right[:, :, :-1] * on_shapes, axis=1)
    misfit = (inverse * left) @ left - np.sum(right[:, :, -1:] * on_left, axis=(1, 2))
    log_size = np.linalg.slogdet(within)[1] - np.sum(np.log(inverse), axis=1)
    log_prior = -0.5 * (np.log(GRID) / log_sd) ** 2
    return Evidence(pull, np.maximum(weight, 1e-300), log_prior - 0.5 * (misfit + log_size))


def shapes_of(series: Series) -> tuple[FloatArray, list[tuple[str, int]]]:
    """Every shape looked for at the newest check: shape (k, m), and what and since when each is."""
    k, start = len(series.change), series.start
    index = np.arange(k)
    kinds = [(SHIFT, since) for since in range(max(start + 1, k - SHIFT_WITHIN), k)]
    kinds += [(GROWTH, since) for since in range(start, k - 2)]
    columns = [
        (index >= since).astype(float)
        if kind == SHIFT
        else np.maximum(0.0, series.years - series.years[since]) * (index >= start)
        for kind, since in kinds
    ]
    return (np.stack(columns, axis=1) if columns else np.empty((k, 0))), kinds


def with_shape(series: Series, shape: FloatArray, sd: float) -> Series:
    """``series`` with one more column, shape (k,), whose coefficient is 0 give or take ``sd``."""
    return replace(
        series,
        columns=np.concatenate([series.columns, shape[:, None]], axis=1),
        mean=np.append(series.mean, 0.0),
        sd=np.append(series.sd, sd),
    )


@dataclass(frozen=True, eq=False)
class Level:
    """Coefficients of a series learned from all its checks."""

    mean: FloatArray
    """shape (p,)"""
    covariance: FloatArray
    """shape (p, p)"""
    between: float
    """Scatter between checks that explains them best."""


def learn(series: Series, between: float | None = None) -> Level:
    """All coefficients together, at the scatter ``between`` checks; None: at the one that explains the checks best."""
    if between is None:
        plain = evidence(series, np.zeros((len(series.change), 0))).log_plain
        between = float(series.between[0] * GRID[int(np.argmax(plain))])
    inverse = 1.0 / (between**2 + series.variance)
    precision = (series.columns.T * inverse) @ series.columns + np.diag(1.0 / series.sd**2)
    covariance = np.linalg.inv(precision).astype(np.float64)
    left = series.change - series.columns @ series.mean
    mean: FloatArray = series.mean + covariance @ (series.columns.T @ (inverse * left))
    return Level(mean, covariance, between)
