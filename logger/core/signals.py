"""Which check first shows that something has changed: the rise test run at every check, both directions at once.

The limits below are the chance, at each single check, that a figure that isn't rising looks like it. They are set so
that of rigs that stay as they are at most 5 in 100 ever give a false signal in four years of quarterly checks, both
directions together; the figures and the command that measures them stand in DEVELOPERS.md.
"""

from dataclasses import dataclass

import numpy as np

from logger.core.rise import NO_RISE, SHIFT, Rise, Series, best_rise, rises
from logger.core.season_lines import Line, series_of, together, up_to

BASELINE = "baseline"
IN_CONTROL = "in control"
OUT = "out of control"
LOW = "low"

ALONE = 3e-4
"""One direction by itself."""
TOGETHER = 3e-3
"""Both directions' mean; each direction that takes part must lean the same way by itself (``LEANS``)."""
LEANS = 0.05
NEWEST = 0.1
"""A rise that rests on the newest check alone needs this much less chance: one check may be odd."""
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


def check_states(line: Line, other: Line | None) -> list[CheckState]:
    """One state for each check of ``line``, each from that check and those before it only.

    ``other`` is the same figure in the other direction, if it was measured.
    """
    states: list[CheckState] = []
    for number in sorted({int(one) for one in line.stretch}):
        members = np.flatnonzero(line.stretch == number)
        end = int(members[-1]) + 1
        series = series_of(up_to(line, end))
        mean = None if other is None else together(series, up_to(line, end), other)
        shared = _shared(line, other) if other is not None else frozenset()
        for index in members.tolist():
            if index == members[0]:
                states.append(CheckState(BASELINE, NO_RISE, NO_RISE))
                continue
            own = series.first(index + 1, int(members[0]))
            upto = None
            if mean is not None and line.checks[index].sheet in shared:
                count = sum(1 for check in line.checks[: index + 1] if check.sheet in shared)
                begun = sum(1 for check in line.checks[: int(members[0])] if check.sheet in shared)
                upto = mean.first(count, begun) if count - begun >= 2 else None
            states.append(_state(own, upto, line.allowance.smallest))
    return states


def _shared(line: Line, other: Line) -> frozenset[str]:
    return frozenset(check.sheet for check in line.checks) & frozenset(check.sheet for check in other.checks)


def _state(own: Series, mean: Series | None, smallest: float) -> CheckState:
    several, newest = best_rise(own, smallest)
    own_best = _best(best_rise(own))
    alone = several.chance < ALONE or newest.chance < ALONE * NEWEST
    both_best, joint = NO_RISE, False
    if mean is not None:
        both_several, both_newest = best_rise(mean, smallest)
        both_best = _best(best_rise(mean))
        joint = both_several.chance < TOGETHER or both_newest.chance < TOGETHER * NEWEST
    if alone:
        return CheckState(OUT, own_best, both_best, "risen in this direction")
    if joint and own_best.chance < LEANS:
        return CheckState(OUT, own_best, both_best, "risen in both directions")
    fall = min((1.0 - one.chance for one in rises(own) if one.shape == SHIFT), default=1.0)
    if fall < FALLEN:
        return CheckState(LOW, own_best, both_best, "lower than its baseline")
    return CheckState(IN_CONTROL, own_best, both_best)


def _best(found: tuple[Rise, Rise]) -> Rise:
    return min(found, key=lambda one: one.chance)
