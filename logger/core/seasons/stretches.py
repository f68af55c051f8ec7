"""From a line of checks to what ``rise`` reads: one series for each stretch, with what the stretches before it told.

Each stretch has a level of its own and, once it is past, a wear of its own; weather, supply and attachments act on all
of them alike. A past stretch's level and wear are taken out as soon as it is past, so the work grows with the number
of checks alone, however many services there have been.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from logger.core.seasons.correction import ATTACHMENT, slopes
from logger.core.seasons.rise import ANY_LEVEL, GRID, PAST_WEAR, Series, Told, with_shape
from logger.core.seasons.season import SeasonCheck
from logger.core.seasons.season_lines import Line
from logger.core.trace import FloatArray


@dataclass(frozen=True, eq=False)
class Whole:
    """All stretches of a line; arrays have one entry for each check, in time order."""

    years: FloatArray
    """shape (k,), since the rig's first check"""
    change: FloatArray
    """shape (k,), relative to the baseline"""
    variance: FloatArray
    """shape (k,), of the throws and of what wasn't recorded"""
    shared: FloatArray
    """shape (k, c): weather, supply, attachments: what acts on every stretch alike"""
    mean: FloatArray
    """shape (c,) expected coefficients"""
    sd: FloatArray
    """shape (c,) how far they may be from that"""
    between: tuple[float, float]
    """As in ``Series``."""
    stretch: FloatArray
    """shape (k,) number of its stretch, never falling"""
    worn: FloatArray
    """shape (k,) years since the stretch's first check"""

    def at(self, checks: Sequence[int]) -> "Whole":
        """Only these checks."""
        names = ("years", "change", "variance", "shared", "stretch", "worn")
        return replace(self, **{name: getattr(self, name)[list(checks)] for name in names})

    @property
    def firsts(self) -> list[int]:
        """Index of the first check of each stretch."""
        return [0, *(np.flatnonzero(np.diff(self.stretch)) + 1).tolist()]


def whole_of(line: Line) -> Whole:
    """The line as rows."""
    mean, sd = slopes(line.allowance)
    other = _attachments(line.checks)
    each_sd = (ATTACHMENT if line.allowance.relative else 0.0) + 1e-6
    _, first, member = np.unique(line.stretch, return_index=True, return_inverse=True)
    return Whole(
        years=line.years,
        change=line.change,
        variance=line.variance,
        shared=np.concatenate([line.weather, other], axis=1),
        mean=np.concatenate([mean, np.zeros(other.shape[1])]),
        sd=np.concatenate([sd, np.full(other.shape[1], each_sd)]),
        between=line.allowance.between_checks,
        stretch=line.stretch,
        worn=line.years - line.years[first][member],
    )


def _attachments(checks: Sequence[SeasonCheck]) -> FloatArray:
    """One column for each attachment that isn't the baseline's, shape (k, a)."""
    usual = checks[0].attachment
    names = sorted({one.attachment for one in checks} - {usual, ""})
    return np.array([[float(one.attachment == name) for name in names] for one in checks]).reshape(
        len(checks), len(names)
    )


def together(whole: Whole, line: Line, other: Line) -> tuple[Whole, list[int]] | None:
    """Mean of both directions at the checks that have both, and which those of ``line`` are; None where there is none.

    What scatters from throw to throw halves; what weather and attachment do to both stays. The first check must be one.
    """
    theirs = {check.sheet: i for i, check in enumerate(other.checks)}
    pairs = [(i, theirs[check.sheet]) for i, check in enumerate(line.checks) if check.sheet in theirs]
    if not pairs or pairs[0][0] != 0:
        return None
    mine, its = (list(one) for one in zip(*pairs, strict=True))
    both = replace(
        whole.at(mine),
        change=(line.change[mine] + other.change[its]) / 2.0,
        variance=(line.variance[mine] + other.variance[its]) / 4.0,
    )
    return both, mine


def each_stretch(whole: Whole, wears: bool = False) -> list[Series]:
    """One series for each stretch, in order; ``wears`` gives it a wear of its own too, to learn weather and wear side by side."""
    firsts = whole.firsts
    ends = [*firsts[1:], len(whole.change)]
    tolds = told_before(whole)
    return [
        _series(whole, slice(first, end), told, wears)
        for first, end, told in zip(firsts, ends, tolds, strict=True)
    ]


def newest_stretch(whole: Whole, wears: bool = False, most: int | None = None) -> Series:
    """The last of ``each_stretch``. Of more than ``most`` checks the newest so many count; the older ones are a past stretch."""
    if most is not None and len(whole.change) - whole.firsts[-1] > most:
        stretch = whole.stretch.copy()
        stretch[-most:] += 1.0
        whole = replace(whole, stretch=stretch)
    return each_stretch(whole, wears)[-1]


def _series(whole: Whole, rows: slice, told: Told, wears: bool) -> Series:
    series = Series(
        years=whole.years[rows],
        change=whole.change[rows],
        variance=whole.variance[rows],
        columns=np.concatenate([whole.shared[rows], np.ones((rows.stop - rows.start, 1))], axis=1),
        mean=np.append(whole.mean, 0.0),
        sd=np.append(whole.sd, ANY_LEVEL),
        between=whole.between,
        level=len(whole.mean),
        told=told,
    )
    return with_shape(series, whole.worn[rows], PAST_WEAR) if wears else series


def told_before(whole: Whole) -> list[Told]:
    """For each stretch what all before it say about the shared columns, their own levels and wear taken out.

    With the weighted sums of products of [shared | own | left], taking ``own`` out of a least-squares problem is the
    block elimination of any textbook: rest - rest_own (own + prior)^-1 own_rest.
    """
    shared, left = whole.shared, whole.change - whole.shared @ whole.mean
    c = shared.shape[1]
    rest = np.concatenate([shared, left[:, None]], axis=1)
    own = np.stack([np.ones_like(whole.worn), whole.worn], axis=1)
    inverse = 1.0 / ((whole.between[0] * GRID)[:, None] ** 2 + whole.variance[None, :])  # (g, k)

    def sums(one: FloatArray, two: FloatArray) -> FloatArray:
        """Weighted products of every column of ``one`` with every column of ``two`` in each stretch, (g, stretches, ., .)."""
        products = inverse[:, :, None, None] * (one[:, :, None] * two[:, None, :])[None]
        total: FloatArray = np.add.reduceat(products, whole.firsts, axis=1)
        return total

    on_own = sums(own, own) + np.diag([ANY_LEVEL**-2, PAST_WEAR**-2])
    across = sums(own, rest)
    kept = sums(rest, rest) - np.swapaxes(across, 2, 3) @ np.linalg.solve(on_own, across)
    size = np.linalg.slogdet(on_own)[1] - np.add.reduceat(np.log(inverse), whole.firsts, axis=1)
    kept, size = (np.cumsum(one, axis=1) for one in (kept, size))
    nothing = Told(
        0.0 * kept[:, 0, :c, :c], 0.0 * kept[:, 0, :c, c], 0.0 * kept[:, 0, c, c], 0.0 * size[:, 0]
    )
    return [
        nothing,
        *(
            Told(kept[:, i, :c, :c], kept[:, i, :c, c], kept[:, i, c, c], size[:, i])
            for i in range(len(whole.firsts) - 1)
        ),
    ]
