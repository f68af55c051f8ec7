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
"""Scatter between checks as multiples of the allowance's median (assumed)."""
ANY_LEVEL = 3.0
"""Standard deviation of a level that nothing is known about (relative change; assumed)."""
PAST_WEAR = 0.3
"""Standard deviation of the wear in an earlier stretch [relative change a year] (assumed)."""
SHIFT_WITHIN = 2
"""A shift is looked for at the newest checks only: an older one shows as growth, or was found when it was new."""

SHIFT = "shift"
GROWTH = "growth"


@dataclass(frozen=True, eq=False)
class Told:
    """What earlier stretches say about the columns that all stretches share, for each scatter of ``GRID`` (g).

    Their own levels and wear are taken out, so that it stays as small however many services there have been
    (``stretches.told_before``).
    """

    precision: FloatArray
    """shape (g, c, c), of the first c columns"""
    pull: FloatArray
    """shape (g, c): the columns' weighted agreement with those checks"""
    misfit: FloatArray
    """shape (g,): weighted squares"""
    log_size: FloatArray
    """shape (g,): logarithm of the size of what they don't know"""


@dataclass(frozen=True, eq=False)
class Series:
    """Changes of one figure in one stretch against the rig's baseline, one for each check, with what may explain them."""

    years: FloatArray
    """shape (k,), since the first check"""
    change: FloatArray
    """shape (k,), relative to the baseline"""
    variance: FloatArray
    """shape (k,), of the throws and of what wasn't recorded"""
    columns: FloatArray
    """shape (k, p): weather, supply, attachments, then the level of the stretch"""
    mean: FloatArray
    """shape (p,) expected coefficients"""
    sd: FloatArray
    """shape (p,) how far they may be from that"""
    between: tuple[float, float]
    """Median of the scatter between checks and standard deviation of its logarithm."""
    level: int = 0
    """Which column is the level of the stretch."""
    told: Told | None = None
    """What the stretches before it say; None: there are none."""


class Rise(NamedTuple):
    """A rise at the newest check."""

    chance: float
    """That there is none, 0..1."""
    shape: str
    since: int
    """Index within its stretch of the check at which it began."""
    size: float
    """By how much the level is up now (relative)."""
    u: float
    """Standard uncertainty of ``size``."""
    checks: int
    """How many checks stand behind it."""
    level: float = 0.0
    """Where the stretch lies without it (relative), weather and supply learned beside it."""


NO_RISE = Rise(1.0, GROWTH, 0, 0.0, float("inf"), 0)


def mirrored(rise: Rise) -> Rise:
    """The same seen from above: a fall as a rise, and back."""
    return rise._replace(chance=1.0 - rise.chance, size=-rise.size)


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
    before = told_to(series)
    weighted = series.columns.T[None] * inverse[:, None, :]  # (g, p, k)
    within = weighted @ series.columns + before.precision
    on_columns = (weighted @ left + before.pull)[:, :, None]
    right = np.concatenate([weighted @ shapes, on_columns], axis=2)
    explained = np.linalg.solve(within, right)
    on_shapes, on_left = explained[:, :, :-1], explained[:, :, -1:]
    pull = (inverse * left) @ shapes - (np.swapaxes(right[:, :, :-1], 1, 2) @ on_left)[:, :, 0]
    weight = inverse @ shapes**2 - np.sum(right[:, :, :-1] * on_shapes, axis=1)
    misfit = (inverse * left) @ left + before.misfit - np.sum(on_columns * on_left, axis=(1, 2))
    log_size = np.linalg.slogdet(within)[1] - np.sum(np.log(inverse), axis=1) + before.log_size
    log_prior = -0.5 * (np.log(GRID) / log_sd) ** 2
    return Evidence(pull, np.maximum(weight, 1e-300), log_prior - 0.5 * (misfit + log_size))


def told_to(series: Series) -> Told:
    """What is known of all columns of ``series`` before its own checks: the allowances, and what earlier stretches told."""
    count, width = len(GRID), len(series.mean)
    precision = np.broadcast_to(np.diag(1.0 / series.sd**2), (count, width, width))
    if series.told is None:
        return Told(precision, np.zeros((count, width)), np.zeros(count), np.zeros(count))
    more = width - series.told.pull.shape[1]
    told = np.pad(series.told.precision, ((0, 0), (0, more), (0, more)))
    pull = np.pad(series.told.pull, ((0, 0), (0, more)))
    return Told(precision + told, pull, series.told.misfit, series.told.log_size)


def shapes_of(series: Series) -> tuple[FloatArray, list[tuple[str, int]]]:
    """Every shape looked for at the newest check: shape (k, m), and what and since when each is."""
    k = len(series.change)
    kinds = [(SHIFT, since) for since in range(max(1, k - SHIFT_WITHIN), k)]
    kinds += [(GROWTH, since) for since in range(k - 2)]
    columns = [
        (np.arange(k) >= since).astype(float)
        if kind == SHIFT
        else np.maximum(0.0, series.years - series.years[since])
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


def learn(series: Series, at: int | None = None) -> Level:
    """All coefficients together, at the scatter ``at`` of ``GRID``; None: at the one that explains the checks best."""
    if at is None:
        at = int(np.argmax(evidence(series, np.zeros((len(series.change), 0))).log_plain))
    between = float(series.between[0] * GRID[at])
    inverse = 1.0 / (between**2 + series.variance)
    before = told_to(series)
    precision = (series.columns.T * inverse) @ series.columns + before.precision[at]
    covariance = np.linalg.inv(precision).astype(np.float64)
    left = series.change - series.columns @ series.mean
    pull = series.columns.T @ (inverse * left) + before.pull[at]
    mean: FloatArray = series.mean + covariance @ pull
    return Level(mean, covariance, between)
