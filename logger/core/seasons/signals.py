"""Which check first shows that something has changed: the rise test run at every check, both directions at once.

The limits below are the chance, at each single check, that a figure that isn't rising looks like it. They are set so
that of rigs that stay as they are at most 5 in 100 ever give a false signal in four years of quarterly checks, both
directions together; the figures and the command that measures them stand in DEVELOPERS.md.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from logger.core.seasons.rise import NO_RISE, SHIFT, Rise
from logger.core.seasons.rise_scan import best_of, rises_at_every_check
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


@dataclass(frozen=True)
class CheckState:
    """What one check showed at the time it was done."""

    state: str
    rise: Rise
    """Best supported rise in this direction."""
    both: Rise
    """Best supported rise of both directions' mean."""
    because: str = ""


def check_states(line: Line, both: Mapping[str, list[Rise]]) -> list[CheckState]:
    """One state for each check of ``line``, each from that check and those before it only.

    ``both``: what ``rises_together`` gives for both directions, by sheet; empty where only one was measured.
    """
    states: list[CheckState] = []
    for series in each_stretch(whole_of(line)):
        states.append(CheckState(BASELINE, NO_RISE, NO_RISE))
        for found in rises_at_every_check(series):
            on_both = both.get(line.checks[len(states)].sheet, [])
            before = states[-1].rise.chance < LEANS
            states.append(_state(found, on_both, line.allowance.smallest, before))
    return states


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


def _state(own: list[Rise], both: list[Rise], smallest: float, leaned_before: bool) -> CheckState:
    several, newest = best_of(own, smallest)
    both_several, both_newest = best_of(both, smallest)
    own_best = min(own, key=lambda one: one.chance, default=NO_RISE)
    both_best = min(both, key=lambda one: one.chance, default=NO_RISE)
    # One wild check can carry a growth over three checks: the check before must lean the same way.
    alone = several.chance < ALONE and leaned_before
    joint = (both_several.chance < TOGETHER and _other_takes_part(own, both_several, smallest)) or (
        both_newest.chance < TOGETHER_NEWEST and _other_takes_part(own, both_newest, smallest)
    )
    if alone:
        return CheckState(OUT, own_best, both_best, "risen in this direction")
    if joint and own_best.chance < LEANS:
        return CheckState(OUT, own_best, both_best, "risen in both directions")
    if newest.chance < ODD:
        return CheckState(SUSPECT, own_best, both_best, "this check stands out: do it again")
    fall = min((1.0 - one.chance for one in own if one.shape == SHIFT), default=1.0)
    if fall < FALLEN:
        return CheckState(LOW, own_best, both_best, "lower than its baseline")
    return CheckState(IN_CONTROL, own_best, both_best)


def _other_takes_part(own: list[Rise], mean: Rise, smallest: float) -> bool:
    """Whether the other direction has at least half of the least rise in the same shape: ``mean`` is of the two."""
    mine = next((one.size for one in own if (one.shape, one.checks) == (mean.shape, mean.checks)), 0.0)
    return 2.0 * mean.size - mine >= 0.5 * smallest
