"""Has a figure risen by more than weather, supply and chance can explain? A likelihood test, asked anew at every check.

A CUSUM asks whether the level has shifted, at any time so far; this asks the same while the weather's share is still
being learned. The changes of all checks are taken together, with what they may differ by *without* wear:

    variance of a check  =  scatter between checks  +  scatter of its throws / their number
    and, shared by all,     the allowance for every slope of ``series``, which the checks themselves narrow.

Then a shift at the newest checks and a growth since any earlier one are each fitted on top (generalised least
squares). ``chance`` is the probability that a fit as good comes with no rise at all. The scatter between checks isn't
known either: the sum over a grid of values, each weighted by how well it explains the checks, makes early limits wide
and late ones narrow, as the t factor does for few throws.

``rises_at_every_check`` gives what ``evidence`` gives for the first 2, 3, ... checks, but keeps running sums instead of
starting anew each time: a fleet of a thousand rigs is then a minute's work. A check's weight never changes afterwards, so
the sums may run.
"""

from dataclasses import dataclass, replace
from math import sqrt
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from throwbook.core.trace import FloatArray

GRID = np.geomspace(0.25, 8.0, 6)
"""Scatter between checks as multiples of the allowance's median (assumed)."""
ANY_LEVEL = 3.0
"""Standard deviation of a level that nothing is known about (relative change; assumed)."""
PAST_WEAR = 0.3
"""Standard deviation of the wear in an earlier stage [relative change a year] (assumed)."""
SHIFT_WITHIN = 2
"""A shift is looked for at the newest checks only: an older one shows as growth, or was found when it was new."""
SHIFT = "shift"
GROWTH = "growth"


@dataclass(frozen=True, eq=False)
class Prior:
    """What earlier stages say about the columns that all stages share, for each scatter of ``GRID`` (g).

    Their own levels and wear are taken out, so that it stays as small however many services there have been
    (``signals.priors_of``).
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
class StageSeries:
    """Changes of one figure in one stage against the rig's baseline, one for each check, with what may explain them."""

    years: FloatArray
    """shape (k,), since the first check"""
    change: FloatArray
    """shape (k,), relative to the baseline"""
    variance: FloatArray
    """shape (k,), of the throws and of what wasn't recorded"""
    columns: FloatArray
    """shape (k, p): weather, supply, attachments, then the level of the stage"""
    mean: FloatArray
    """shape (p,) expected coefficients"""
    sd: FloatArray
    """shape (p,) how far they may be from that"""
    between: tuple[float, float]
    """Median of the scatter between checks and standard deviation of its logarithm."""
    level: int = 0
    """Which column is the level of the stage."""
    prior: Prior | None = None
    """What the stages before it say; None: there are none."""


class Rise(NamedTuple):
    """A rise at the newest check."""

    chance: float
    """That there is none, 0..1."""
    shape: str
    since: int
    """Index within its stage of the check at which it began."""
    size: float
    """By how much the level is up now (relative)."""
    u: float
    """Standard uncertainty of ``size``."""
    checks: int
    """How many checks stand behind it."""
    level: float = 0.0
    """Where the stage lies without it (relative), weather and supply learned beside it."""
    any_shape_u: float = float("inf")
    """Standard uncertainty of ``size`` where the shape isn't known either, nor whether there is a rise."""
    level_u: float = 0.0
    """Standard uncertainty of ``level``."""
    with_level: float = 0.0
    """Covariance of ``size`` and ``level``."""


NO_RISE = Rise(1.0, GROWTH, 0, 0.0, float("inf"), 0)


def mirrored(rise: Rise) -> Rise:
    """The same seen from above: a fall as a rise, and back."""
    return rise._replace(chance=1.0 - rise.chance, size=-rise.size, with_level=-rise.with_level)


def ratio_u(rise: Rise, base: float) -> float:
    """Standard uncertainty of size over base, where the level is part of the base (JCGM 100, 5.2.2).

    What scatters as a share of the figure scatters more where that has come up.
    """
    ratio = rise.size / base
    size_u = rise.any_shape_u * max(1.0, 1.0 + ratio)
    variance = size_u**2 - 2.0 * ratio * rise.with_level + (ratio * rise.level_u) ** 2
    return sqrt(max(variance, 0.0)) / abs(base)


@dataclass(frozen=True, eq=False)
class ShapeEvidence:
    """What the checks say about each shape, for each scatter of the grid (g) and shape (m)."""

    pull: FloatArray
    """shape (g, m): the shape's weighted agreement with the checks"""
    weight: FloatArray
    """shape (g, m): its precision; size = pull / weight, standard uncertainty = weight ** -0.5"""
    log_plain: FloatArray
    """shape (g,): how well each scatter explains the checks without any rise"""


def evidence(series: StageSeries, shapes: FloatArray) -> ShapeEvidence:
    """Fit every column of ``shapes``, shape (k, m), by itself on top of the allowances."""
    median, log_sd = series.between
    scatter = median * GRID
    inverse = 1.0 / (scatter[:, None] ** 2 + series.variance[None, :])  # (g, k)
    left = series.change - series.columns @ series.mean
    before = prior_of(series)
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
    return ShapeEvidence(pull, np.maximum(weight, 1e-300), log_prior - 0.5 * (misfit + log_size))


def prior_of(series: StageSeries) -> Prior:
    """What is known of all columns of ``series`` before its own checks: the allowances, and what earlier stages told."""
    count, width = len(GRID), len(series.mean)
    precision = np.broadcast_to(np.diag(1.0 / series.sd**2), (count, width, width))
    if series.prior is None:
        return Prior(precision, np.zeros((count, width)), np.zeros(count), np.zeros(count))
    more = width - series.prior.pull.shape[1]
    earlier = np.pad(series.prior.precision, ((0, 0), (0, more), (0, more)))
    pull = np.pad(series.prior.pull, ((0, 0), (0, more)))
    return Prior(precision + earlier, pull, series.prior.misfit, series.prior.log_size)


def shapes_of(series: StageSeries) -> tuple[FloatArray, list[tuple[str, int]]]:
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


def with_shape(series: StageSeries, shape: FloatArray, sd: float) -> StageSeries:
    """``series`` with one more column, shape (k,), whose coefficient is 0 give or take ``sd``."""
    return replace(
        series,
        columns=np.concatenate([series.columns, shape[:, None]], axis=1),
        mean=np.append(series.mean, 0.0),
        sd=np.append(series.sd, sd),
    )


@dataclass(frozen=True, eq=False)
class Coefficients:
    """Coefficients of a series learned from all its checks."""

    mean: FloatArray
    """shape (p,)"""
    covariance: FloatArray
    """shape (p, p)"""
    between: float
    """Scatter between checks that explains them best."""
    between_square: float
    """Mean of its square over every scatter, each by how well it explains them."""


def learn(series: StageSeries, at: int | None = None) -> Coefficients:
    """All coefficients together, at the scatter ``at`` of ``GRID``; None: at the one that explains the checks best."""
    square = (series.between[0] * GRID) ** 2
    if at is None:
        log_plain = evidence(series, np.zeros((len(series.change), 0))).log_plain
        at = int(np.argmax(log_plain))
        between_square = float(np.average(square, weights=np.exp(log_plain - log_plain[at])))
    else:
        between_square = float(square[at])
    between = float(series.between[0] * GRID[at])
    inverse = 1.0 / (between**2 + series.variance)
    before = prior_of(series)
    precision = (series.columns.T * inverse) @ series.columns + before.precision[at]
    covariance = np.linalg.inv(precision).astype(np.float64)
    left = series.change - series.columns @ series.mean
    pull = series.columns.T @ (inverse * left) + before.pull[at]
    mean: FloatArray = series.mean + covariance @ pull
    return Coefficients(mean, covariance, between, between_square)


MOST_ONSETS = 16
"""Growth is looked for since at most so many checks, evenly spread: keeps memory bounded over very long histories."""
NEWEST_TWO = 2
WORTH_LISTING = 0.5
"""A growth that is likelier a fall isn't listed."""


def rises_at_every_check(series: StageSeries) -> list[list[Rise]]:
    """Every shape at each check of a stage after its first: one list a check, in order.

    Each is judged on that check and those before it only. Shapes: growth since an earlier check (two checks or more
    after it), a shift at the newest check, a shift at the newest two.
    """
    k = len(series.change)
    if k < 2:
        return []
    onsets = np.unique(np.linspace(0, k - 1, min(MOST_ONSETS, k)).round().astype(int))
    growth = np.maximum(0.0, series.years[:, None] - series.years[None, onsets])
    median, log_sd = series.between
    inverse = 1.0 / ((median * GRID)[:, None] ** 2 + series.variance[None, :])  # (g, k)
    left = series.change - series.columns @ series.mean
    x = series.columns
    weighted = inverse[:, :, None] * x[None]  # (g, k, p)
    before = prior_of(series)

    def running(values: FloatArray) -> FloatArray:
        total: FloatArray = np.cumsum(values, axis=1)[:, 1:]
        return total

    def with_newest(on_growth: FloatArray, one: FloatArray) -> FloatArray:
        """Sums over growth, then over the newest check, then over the newest two (the stage's first isn't one)."""
        previous = one[:, :-1] * (np.arange(k - 1) > 0).reshape(-1, *[1] * (one.ndim - 2))
        newest = one[:, 1:]
        parts = [on_growth, newest[..., None], (newest + previous)[..., None]]
        return np.concatenate(parts, axis=-1)

    within = running(weighted[..., None] * x[None, :, None, :]) + before.precision[:, None]
    on_shapes = with_newest(running(weighted[..., None] * growth[None, :, None, :]), weighted)
    on_left = (running(weighted * left[None, :, None]) + before.pull[:, None])[..., None]
    unit = np.zeros_like(on_left)
    unit[:, :, series.level] = 1.0
    explained = np.linalg.solve(within, np.concatenate([on_shapes, unit, on_left], axis=-1))
    pulled = with_newest(running((inverse * left)[..., None] * growth[None]), inverse * left)
    squares = with_newest(running(inverse[..., None] * growth[None] ** 2), inverse)
    pull = pulled - np.sum(on_shapes * explained[..., -1:], axis=2)
    weight = np.maximum(squares - np.sum(on_shapes * explained[..., :-2], axis=2), 1e-300)
    misfit = running(inverse * left**2) + before.misfit[:, None]
    misfit = misfit - np.sum(on_left * explained[..., -1:], axis=(2, 3))
    log_size = np.linalg.slogdet(within)[1] - running(np.log(inverse)) + before.log_size[:, None]
    log_plain = (-0.5 * (np.log(GRID) / log_sd) ** 2)[:, None] - 0.5 * (misfit + log_size)
    on_level = explained[:, :, series.level]
    level = series.mean[series.level] + on_level[..., -1:] - on_level[..., :-2] * (pull / weight)
    return _listed(series, onsets, pull, weight, level, on_level[..., :-1], log_plain)


def _listed(
    series: StageSeries,
    onsets: np.ndarray,
    pull: FloatArray,
    weight: FloatArray,
    level: FloatArray,
    on_level: FloatArray,
    log_plain: FloatArray,
) -> list[list[Rise]]:
    """Scatter averaged out; shapes (g, checks, m) in. ``on_level``: what each shape's size takes from the level, and
    last the level's own variance, shape (g, checks, m + 1)."""
    size = pull / weight
    log_share = log_plain[..., None] + 0.5 * pull * size - 0.5 * np.log(weight)
    share = np.exp(log_share - log_share.max(axis=0))
    share /= share.sum(axis=0)
    chance = np.sum(share * ndtr(-pull / np.sqrt(weight)), axis=0)
    mean = np.sum(share * size, axis=0)
    u = np.sqrt(np.sum(share * (1.0 / weight + (size - mean) ** 2), axis=0))
    lies = np.sum(share * level, axis=0)
    leans, own = on_level[..., :-1], on_level[..., -1:]
    level_u = np.sqrt(np.sum(share * (own + leans**2 / weight + (level - lies) ** 2), axis=0))
    joint = np.sum(share * (-leans / weight + (level - lies) * (size - mean)), axis=0)
    grown_since = np.maximum(0.0, series.years[1:, None] - series.years[None, onsets])
    old = np.arange(1, len(series.years))[:, None] - onsets[None] >= NEWEST_TWO
    ones = np.ones((len(grown_since), 2))
    reach = np.concatenate([np.where(old, grown_since, 0.0), ones], axis=1)
    any_u = _any_shape_u(mean * reach, u * reach, reach > 0.0, pull, weight, log_plain)
    years, begins = series.years.tolist(), onsets.tolist()
    found = []
    for row, (chance_at, mean_at, u_at, lies_at) in enumerate(
        zip(chance.tolist(), mean.tolist(), u.tolist(), lies.tolist(), strict=True)
    ):
        index = 1 + row
        shapes = [
            (i, GROWTH, since, grown, index - since)
            for i, since in enumerate(begins)
            if chance_at[i] < WORTH_LISTING
            and index - since >= NEWEST_TWO
            and (grown := years[index] - years[since]) > 0
        ]
        shapes += [
            (len(begins) + newest - 1, SHIFT, index + 1 - newest, 1.0, newest)
            for newest in (1, 2)
            if index >= newest
        ]
        rises = [
            Rise(
                *(chance_at[i], shape, since, mean_at[i] * grown, u_at[i] * grown, checks, lies_at[i]),
                *(any_u[row, i], level_u[row, i], joint[row, i] * grown),
            )
            for i, shape, since, grown, checks in shapes
        ]
        found.append(rises)
    return found


def _any_shape_u(
    size: FloatArray,
    u: FloatArray,
    known: np.ndarray,
    pull: FloatArray,
    weight: FloatArray,
    log_plain: FloatArray,
) -> FloatArray:
    """Standard uncertainty of each size, shape (checks, m), when any of the ``known`` shapes may be the true one, or none.

    Each shape counts by how well it explains the checks, one coefficient more than none does costing it a factor e (Akaike):
    the variance within the shapes, and what they lie apart (Burnham and Anderson 2004, "Multimodel inference", Sociol.
    Methods Res. 33(2), section 4; from memory).
    """
    explains = log_plain[..., None] + 0.5 * pull**2 / weight
    explains = np.where(known, explains, -np.inf)
    explains = np.concatenate([explains, log_plain[..., None] + 1.0], axis=-1)
    share = np.exp(explains - explains.max(axis=(0, 2), keepdims=True)).sum(axis=0)
    share /= share.sum(axis=1, keepdims=True)
    size_or_none = np.pad(size, ((0, 0), (0, 1)))
    within = np.sum(share * np.pad(np.where(known, u, 0.0), ((0, 0), (0, 1))) ** 2, axis=1, keepdims=True)
    middle = np.sum(share * size_or_none, axis=1, keepdims=True)
    apart = np.sum(share * (size_or_none - middle) ** 2, axis=1, keepdims=True)
    any_u: FloatArray = np.sqrt(within + apart + (size - middle) ** 2)
    return any_u


def leans_on_newest(rise: Rise) -> bool:
    """Whether one odd check at the end could be all there is behind it."""
    return rise.checks < (NEWEST_TWO if rise.shape == SHIFT else NEWEST_TWO + 1)


def best_of(found: list[Rise], smallest: float = 0.0) -> tuple[Rise, Rise]:
    """The best supported of those that several checks stand behind, and of those that lean on the newest alone.

    Rises of less than ``smallest`` don't count.
    """
    enough = [one for one in found if one.size >= smallest]
    several = [one for one in enough if not leans_on_newest(one)]
    newest = [one for one in enough if leans_on_newest(one)]
    return (
        min(several, key=lambda one: one.chance, default=NO_RISE),
        min(newest, key=lambda one: one.chance, default=NO_RISE),
    )
