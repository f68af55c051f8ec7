"""Which check first shows that something has changed: the change test run at every check, both directions at once.

The limits below are the chance, at each single check, that a figure that isn't rising looks like it. They are set so
that of rigs that stay as they are at most 5 in 100 ever give a false signal in four years of quarterly checks, both
directions together; the figures and the command that measures them stand in tests/benchmarks/measured.md.

Each stage has a level of its own and, once it is past, a wear of its own; weather, supply and attachments act on all
of them alike. A past stage's level and wear are taken out as soon as it is past, so the work grows with the number
of checks alone, however many services there have been.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from scipy.special import ndtri

from throwbook.core.trace import FloatArray
from throwbook.core.trend.change_test import (
    ANY_LEVEL,
    GRID,
    NO_RISE,
    PAST_WEAR,
    SHIFT,
    Prior,
    Rise,
    StageSeries,
    best_of,
    leans_on_newest,
    mirrored,
    rises_at_every_check,
    with_shape,
)
from throwbook.core.trend.history import SeasonCheck
from throwbook.core.trend.series import ATTACHMENT, Line, slopes


@dataclass(frozen=True, eq=False)
class Whole:
    """All stages of a line; arrays have one entry for each check, in time order."""

    years: FloatArray
    """shape (k,), since the rig's first check"""
    change: FloatArray
    """shape (k,), relative to the baseline"""
    variance: FloatArray
    """shape (k,), of the throws and of what wasn't recorded"""
    shared: FloatArray
    """shape (k, c): weather, supply, attachments: what acts on every stage alike"""
    mean: FloatArray
    """shape (c,) expected coefficients"""
    sd: FloatArray
    """shape (c,) how far they may be from that"""
    between: tuple[float, float]
    """As in ``Series``."""
    stage: FloatArray
    """shape (k,) number of its stage, never falling"""
    worn: FloatArray
    """shape (k,) years since the stage's first check"""

    def at(self, checks: Sequence[int]) -> "Whole":
        """Only these checks."""
        names = ("years", "change", "variance", "shared", "stage", "worn")
        return replace(self, **{name: getattr(self, name)[list(checks)] for name in names})

    @property
    def firsts(self) -> list[int]:
        """Index of the first check of each stage."""
        return [0, *(np.flatnonzero(np.diff(self.stage)) + 1).tolist()]


def whole_of(line: Line) -> Whole:
    """The line as rows."""
    mean, sd = slopes(line.allowance)
    other = _attachments(line.checks)
    each_sd = (ATTACHMENT if line.allowance.relative else 0.0) + 1e-6
    _, first, member = np.unique(line.stage, return_index=True, return_inverse=True)
    return Whole(
        years=line.years,
        change=line.change,
        variance=line.variance,
        shared=np.concatenate([line.weather, other], axis=1),
        mean=np.concatenate([mean, np.zeros(other.shape[1])]),
        sd=np.concatenate([sd, np.full(other.shape[1], each_sd)]),
        between=line.allowance.between_checks,
        stage=line.stage,
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


def each_stage(whole: Whole, wears: bool = False) -> list[StageSeries]:
    """One series for each stage, in order; ``wears`` gives it a wear of its own too, to learn weather and wear side by side."""
    firsts = whole.firsts
    ends = [*firsts[1:], len(whole.change)]
    priors = priors_of(whole)
    return [
        _series(whole, slice(first, end), prior, wears)
        for first, end, prior in zip(firsts, ends, priors, strict=True)
    ]


def newest_stage(whole: Whole, wears: bool = False, most: int | None = None) -> StageSeries:
    """The last of ``each_stage``. Of more than ``most`` checks the newest so many count; the older ones are a past stage."""
    if most is not None and len(whole.change) - whole.firsts[-1] > most:
        stage = whole.stage.copy()
        stage[-most:] += 1.0
        whole = replace(whole, stage=stage)
    return each_stage(whole, wears)[-1]


def _series(whole: Whole, rows: slice, prior: Prior, wears: bool) -> StageSeries:
    series = StageSeries(
        years=whole.years[rows],
        change=whole.change[rows],
        variance=whole.variance[rows],
        columns=np.concatenate([whole.shared[rows], np.ones((rows.stop - rows.start, 1))], axis=1),
        mean=np.append(whole.mean, 0.0),
        sd=np.append(whole.sd, ANY_LEVEL),
        between=whole.between,
        level=len(whole.mean),
        prior=prior,
    )
    return with_shape(series, whole.worn[rows], PAST_WEAR) if wears else series


def priors_of(whole: Whole) -> list[Prior]:
    """For each stage what all before it say about the shared columns, their own levels and wear taken out.

    With the weighted sums of products of [shared | own | left], taking ``own`` out of a least-squares problem is the
    block elimination of any textbook: rest - rest_own (own + prior)^-1 own_rest.
    """
    shared, left = whole.shared, whole.change - whole.shared @ whole.mean
    c = shared.shape[1]
    rest = np.concatenate([shared, left[:, None]], axis=1)
    own = np.stack([np.ones_like(whole.worn), whole.worn], axis=1)
    inverse = 1.0 / ((whole.between[0] * GRID)[:, None] ** 2 + whole.variance[None, :])  # (g, k)

    def sums(one: FloatArray, two: FloatArray) -> FloatArray:
        """Weighted products of every column of ``one`` with every column of ``two`` in each stage, (g, stages, ., .)."""
        products = inverse[:, :, None, None] * (one[:, :, None] * two[:, None, :])[None]
        total: FloatArray = np.add.reduceat(products, whole.firsts, axis=1)
        return total

    on_own = sums(own, own) + np.diag([ANY_LEVEL**-2, PAST_WEAR**-2])
    across = sums(own, rest)
    kept = sums(rest, rest) - np.swapaxes(across, 2, 3) @ np.linalg.solve(on_own, across)
    size = np.linalg.slogdet(on_own)[1] - np.add.reduceat(np.log(inverse), whole.firsts, axis=1)
    kept, size = (np.cumsum(one, axis=1) for one in (kept, size))
    nothing = Prior(
        0.0 * kept[:, 0, :c, :c], 0.0 * kept[:, 0, :c, c], 0.0 * kept[:, 0, c, c], 0.0 * size[:, 0]
    )
    return [
        nothing,
        *(
            Prior(kept[:, i, :c, :c], kept[:, i, :c, c], kept[:, i, c, c], size[:, i])
            for i in range(len(whole.firsts) - 1)
        ),
    ]


BASELINE = "baseline"
IN_CONTROL = "in control"
OUT = "out of control"
SUSPECT = "suspect"
LOW = "low"
ALONE = 3e-4
"""One direction by itself."""
TOGETHER = 2.5e-2
"""Both directions' mean; each direction that takes part must lean the same way by itself (``LEANS``)."""
LEANS = 0.05
TOGETHER_NEWEST = 5e-4
"""The same for a rise that leans on the newest check alone: one check alone proves little."""
ODD = 3e-5
"""One direction by itself, the newest check alone: no signal, but the check is suspect and the next one decides."""
FALLEN = 1e-4
"""Chance below which a fall is called one. It is shown, and is no signal: greased without an entry, or off the mechanism."""
TINY = 1e-300
"""No chance is smaller: its quantile would have no end."""


@dataclass(frozen=True)
class TestReading:
    """What the test that comes nearest to its limit reads at one check; all relative, as ``Line.change`` is.

    The state follows from it and is drawn with it: ``now`` over ``above`` is out of control (suspect, where the newest
    check alone carries it), ``now`` under ``below`` is low.
    """

    rise: Rise
    """In this direction, at this check; a fall has a negative size."""
    above: float
    """Level beyond which a rise of this shape is more than normal variation."""
    below: float
    """The same for a fall."""
    chance: float
    """That there is no rise at all (of a fall: no fall)."""

    @property
    def level(self) -> float:
        """Where the stage lies without the rise."""
        return self.rise.level

    @property
    def now(self) -> float:
        """Where it lies now."""
        return self.rise.level + self.rise.size


@dataclass(frozen=True)
class CheckState:
    """What one check showed at the time it was done."""

    state: str
    rise: Rise
    """Best supported rise in this direction."""
    reading: TestReading
    because: str = ""


def check_states(line: Line, both: Mapping[str, list[Rise]]) -> list[CheckState]:
    """One state for each check of ``line``, each from that check and those before it only.

    ``both``: what ``rises_together`` gives for both directions, by sheet; empty where only one was measured. A stage's
    first check is read as if a second one like it had been made: so far must that one lie away to be told from it.
    """
    states: list[CheckState] = []
    for series in each_stage(whole_of(line)):
        least = float(line.least[len(states)])
        reading = _state(rises_at_every_check(_twice(series))[0], [], least, False).reading
        states.append(CheckState(BASELINE, NO_RISE, reading))
        for found in rises_at_every_check(series):
            at = len(states)
            on_both = both.get(line.checks[at].sheet, [])
            states.append(_state(found, on_both, float(line.least[at]), states[-1].rise.chance < LEANS))
    return states


def _twice(series: StageSeries) -> StageSeries:
    """A stage's first check and another one like it."""
    rows = [0, 0]
    return replace(
        series,
        years=series.years[rows],
        change=series.change[rows],
        variance=series.variance[rows],
        columns=series.columns[rows],
    )


def rises_together(line: Line, other: Line) -> dict[str, list[Rise]]:
    """Rises of the mean of both directions, by sheet, at every check that has both (a stage's first left out)."""
    found: dict[str, list[Rise]] = {}
    joined = together(whole_of(line), line, other)
    if joined is None:
        return found
    both, mine = joined
    for first, series in zip(both.firsts, each_stage(both), strict=True):
        sheets = [line.checks[i].sheet for i in mine[first + 1 : first + len(series.change)]]
        found |= dict(zip(sheets, rises_at_every_check(series), strict=True))
    return found


class _Route(NamedTuple):
    """One way in which a check may stand out."""

    ratio: float
    """Size over the least that counts: 1 and more counts."""
    state: str
    rise: Rise
    """In this direction."""
    needed: float
    """Size from which on ``rise`` counts."""
    chance: float
    because: str = ""


def _needed(rise: Rise, chance: float, least: float) -> float:
    """The size from which on a rise of this shape has no more than ``chance`` of being none, and is worth the name."""
    reach = -float(ndtri(max(rise.chance, TINY)))
    # Its own ± as the chance has it: the average over the scatter that isn't known is a little wider in the tails. Near
    # nought the one over the other says nothing.
    u = rise.size / reach if reach >= 1.0 else rise.u
    return max(least, -float(ndtri(chance)) * u)


def _route(state: str, rise: Rise, chance: float, least: float, because: str) -> _Route:
    needed = _needed(rise, chance, least)
    return _Route(rise.size / needed, state, rise, needed, rise.chance, because)


def _joint(own: list[Rise], best: Rise, mean: Rise, chance: float, least: float) -> _Route:
    """Both directions' mean, seen in this one: the size at which the mean counts, if both rose as they do."""
    needed = _needed(mean, chance, least)
    mine = _same_shape(own, mean)
    mine = mine if mine is not None and mine.size > 0.0 else best
    return _Route(
        mean.size / needed, OUT, mine, mine.size * needed / mean.size, mean.chance, "risen in both directions"
    )


def _state(own: list[Rise], both: list[Rise], least: float, leaned_before: bool) -> CheckState:
    """``least``: no smaller change is called one; ``leaned_before``: the check before leans up by itself."""
    best = min(own, key=lambda one: one.chance, default=NO_RISE)
    newest = [one for one in own if leans_on_newest(one)]
    several = [one for one in own if not leans_on_newest(one)]
    # One wild check can carry a growth over three checks: the check before must lean the same way.
    alone = [_route(OUT, one, ALONE, least, "risen in this direction") for one in several if leaned_before]
    joint = [
        _joint(own, best, mean, chance, least)
        for mean, chance in zip(best_of(both, least), (TOGETHER, TOGETHER_NEWEST), strict=True)
        if mean.checks and best.chance < LEANS and _other_takes_part(own, mean, least)
    ]
    odd = [_route(SUSPECT, one, ODD, least, "this check stands out: repeat it") for one in newest]
    falls = [
        _route(LOW, mirrored(one), FALLEN, least, "below the level at the start")
        for one in own
        if one.shape == SHIFT
    ]
    nearest = [max(group, key=lambda one: one.ratio) for group in (alone, joint, odd) if group]
    up = next((one for one in nearest if one.ratio >= 1.0), max(nearest, key=lambda one: one.ratio))
    down = max(falls, key=lambda one: one.ratio)
    told = up if up.ratio >= 1.0 or up.ratio >= down.ratio else down
    rise = told.rise if told is up else mirrored(told.rise)
    reading = TestReading(rise, rise.level + up.needed, rise.level - down.needed, told.chance)
    if told.ratio < 1.0:
        return CheckState(IN_CONTROL, best, reading)
    return CheckState(told.state, best, reading, told.because)


def _same_shape(own: list[Rise], mean: Rise) -> Rise | None:
    return next((one for one in own if (one.shape, one.checks) == (mean.shape, mean.checks)), None)


def _other_takes_part(own: list[Rise], mean: Rise, least: float) -> bool:
    """Whether the other direction has at least half of the least rise in the same shape: ``mean`` is of the two."""
    mine = _same_shape(own, mean)
    return 2.0 * mean.size - (0.0 if mine is None else mine.size) >= 0.5 * least
