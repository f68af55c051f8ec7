"""Which check first shows that something has changed: the rise test run at every check, both directions at once.

The limits below are the chance, at each single check, that a figure that isn't rising looks like it. They are set so
that of rigs that stay as they are at most 5 in 100 ever give a false signal in four years of quarterly checks, both
directions together; the figures and the command that measures them stand in DEVELOPERS.md.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from scipy.special import ndtri

from logger.core.seasons.rise import NO_RISE, SHIFT, Rise, Series, mirrored
from logger.core.seasons.rise_scan import best_of, leans_on_newest, rises_at_every_check
from logger.core.seasons.season_lines import Line
from logger.core.seasons.stretches import each_stretch, together, whole_of

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
"""The same for a rise that leans on the newest check alone: one check may be odd."""
ODD = 3e-5
"""One direction by itself, the newest check alone: no signal, but the check is suspect and the next one decides."""
FALLEN = 1e-4
"""Chance below which a fall is called one. It is shown, and is no signal: greased without an entry, or off the mechanism."""
TINY = 1e-300
"""No chance is smaller: its quantile would have no end."""


@dataclass(frozen=True)
class Reading:
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
        """Where the stretch lies without the rise."""
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
    reading: Reading
    because: str = ""


def check_states(line: Line, both: Mapping[str, list[Rise]]) -> list[CheckState]:
    """One state for each check of ``line``, each from that check and those before it only.

    ``both``: what ``rises_together`` gives for both directions, by sheet; empty where only one was measured. A stretch's
    first check is read as if a second one like it had been made: so far must that one lie away to be told from it.
    """
    states: list[CheckState] = []
    for series in each_stretch(whole_of(line)):
        least = float(line.least[len(states)])
        reading = _state(rises_at_every_check(_twice(series))[0], [], least, False).reading
        states.append(CheckState(BASELINE, NO_RISE, reading))
        for found in rises_at_every_check(series):
            at = len(states)
            on_both = both.get(line.checks[at].sheet, [])
            states.append(_state(found, on_both, float(line.least[at]), states[-1].rise.chance < LEANS))
    return states


def _twice(series: Series) -> Series:
    """A stretch's first check and another one like it."""
    rows = [0, 0]
    return replace(
        series,
        years=series.years[rows],
        change=series.change[rows],
        variance=series.variance[rows],
        columns=series.columns[rows],
    )


def rises_together(line: Line, other: Line) -> dict[str, list[Rise]]:
    """Rises of the mean of both directions, by sheet, at every check that has both (a stretch's first left out)."""
    found: dict[str, list[Rise]] = {}
    joined = together(whole_of(line), line, other)
    if joined is None:
        return found
    both, mine = joined
    for first, series in zip(both.firsts, each_stretch(both), strict=True):
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
    odd = [_route(SUSPECT, one, ODD, least, "this check stands out: do it again") for one in newest]
    falls = [
        _route(LOW, mirrored(one), FALLEN, least, "lower than its baseline")
        for one in own
        if one.shape == SHIFT
    ]
    nearest = [max(group, key=lambda one: one.ratio) for group in (alone, joint, odd) if group]
    up = next((one for one in nearest if one.ratio >= 1.0), max(nearest, key=lambda one: one.ratio))
    down = max(falls, key=lambda one: one.ratio)
    told = up if up.ratio >= 1.0 or up.ratio >= down.ratio else down
    rise = told.rise if told is up else mirrored(told.rise)
    reading = Reading(rise, rise.level + up.needed, rise.level - down.needed, told.chance)
    if told.ratio < 1.0:
        return CheckState(IN_CONTROL, best, reading)
    return CheckState(told.state, best, reading, told.because)


def _same_shape(own: list[Rise], mean: Rise) -> Rise | None:
    return next((one for one in own if (one.shape, one.checks) == (mean.shape, mean.checks)), None)


def _other_takes_part(own: list[Rise], mean: Rise, least: float) -> bool:
    """Whether the other direction has at least half of the least rise in the same shape: ``mean`` is of the two."""
    mine = _same_shape(own, mean)
    return 2.0 * mean.size - (0.0 if mine is None else mine.size) >= 0.5 * least
