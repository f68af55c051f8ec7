"""The rise test at every check of a stretch at once.

It gives what ``rise.evidence`` gives for the first 2, 3, ... checks, but keeps running sums instead of starting anew
each time: a fleet of a thousand rigs is then a minute's work. A check's weight never changes afterwards, so the sums
may run.
"""

import numpy as np
from scipy.special import ndtr

from logger.core.seasons.rise import GRID, GROWTH, NO_RISE, SHIFT, Rise, Series, told_to
from logger.core.trace import FloatArray

MOST_ONSETS = 16
"""Growth is looked for since at most so many checks, evenly spread: keeps memory bounded over very long histories."""
NEWEST_TWO = 2
WORTH_KEEPING = 0.5
"""A growth that is likelier a fall isn't listed."""


def rises_at_every_check(series: Series) -> list[list[Rise]]:
    """Every shape at each check of a stretch after its first: one list a check, in order.

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
    before = told_to(series)

    def running(values: FloatArray) -> FloatArray:
        total: FloatArray = np.cumsum(values, axis=1)[:, 1:]
        return total

    def with_newest(on_growth: FloatArray, one: FloatArray) -> FloatArray:
        """Sums over growth, then over the newest check, then over the newest two (the stretch's first isn't one)."""
        previous = one[:, :-1] * (np.arange(k - 1) > 0).reshape(-1, *[1] * (one.ndim - 2))
        newest = one[:, 1:]
        parts = [on_growth, newest[..., None], (newest + previous)[..., None]]
        return np.concatenate(parts, axis=-1)

    within = running(weighted[..., None] * x[None, :, None, :]) + before.precision[:, None]
    on_shapes = with_newest(running(weighted[..., None] * growth[None, :, None, :]), weighted)
    on_left = (running(weighted * left[None, :, None]) + before.pull[:, None])[..., None]
    explained = np.linalg.solve(within, np.concatenate([on_shapes, on_left], axis=-1))
    pulled = with_newest(running((inverse * left)[..., None] * growth[None]), inverse * left)
    squares = with_newest(running(inverse[..., None] * growth[None] ** 2), inverse)
    pull = pulled - np.sum(on_shapes * explained[..., -1:], axis=2)
    weight = np.maximum(squares - np.sum(on_shapes * explained[..., :-1], axis=2), 1e-300)
    misfit = running(inverse * left**2) + before.misfit[:, None]
    misfit = misfit - np.sum(on_left * explained[..., -1:], axis=(2, 3))
    log_size = np.linalg.slogdet(within)[1] - running(np.log(inverse)) + before.log_size[:, None]
    log_plain = (-0.5 * (np.log(GRID) / log_sd) ** 2)[:, None] - 0.5 * (misfit + log_size)
    on_level = explained[:, :, series.level]
    level = series.mean[series.level] + on_level[..., -1:] - on_level[..., :-1] * (pull / weight)
    return _listed(series, onsets, pull, weight, level, log_plain)


def _listed(
    series: Series,
    onsets: np.ndarray,
    pull: FloatArray,
    weight: FloatArray,
    level: FloatArray,
    log_plain: FloatArray,
) -> list[list[Rise]]:
    """Scatter averaged out; shapes (g, checks, m) in."""
    size = pull / weight
    log_share = log_plain[..., None] + 0.5 * pull * size - 0.5 * np.log(weight)
    share = np.exp(log_share - log_share.max(axis=0))
    share /= share.sum(axis=0)
    chance = np.sum(share * ndtr(-pull / np.sqrt(weight)), axis=0)
    mean = np.sum(share * size, axis=0)
    u = np.sqrt(np.sum(share * (1.0 / weight + (size - mean) ** 2), axis=0))
    lies = np.sum(share * level, axis=0)
    years, begins = series.years.tolist(), onsets.tolist()
    found = []
    for row, (chance_at, mean_at, u_at, lies_at) in enumerate(
        zip(chance.tolist(), mean.tolist(), u.tolist(), lies.tolist(), strict=True)
    ):
        index = 1 + row
        rises = [
            Rise(chance_at[i], GROWTH, since, mean_at[i] * grown, u_at[i] * grown, index - since, lies_at[i])
            for i, since in enumerate(begins)
            if chance_at[i] < WORTH_KEEPING
            and index - since >= NEWEST_TWO
            and (grown := years[index] - years[since]) > 0
        ]
        one, two = len(begins), len(begins) + 1
        rises.append(Rise(chance_at[one], SHIFT, index, mean_at[one], u_at[one], 1, lies_at[one]))
        if row:
            rises.append(Rise(chance_at[two], SHIFT, index - 1, mean_at[two], u_at[two], 2, lies_at[two]))
        found.append(rises)
    return found


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
