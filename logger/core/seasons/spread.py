"""Does a figure jump about more from throw to throw than it used to? A loose plug, worn brushes, a slack mounting."""

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from logger.core.seasons.season_lines import Line

NEWEST = 3
"""Checks looked at together: one jumpy check may be one odd throw."""
FEWEST_BEFORE = 6
"""Degrees of freedom that the scatter before must rest on (common practice, no source)."""
CHANCE = 5e-4
"""Chance of such a rise without any cause, at one look."""
SMALLEST = 0.04
"""No smaller scatter is called wide: spread of 10 % in a set of three is accepted in practice, about 2.5 sigma."""


@dataclass(frozen=True)
class Spread:
    """Standard deviation of a throw within its check, before and over the newest checks (relative)."""

    before: float
    now: float
    chance: float
    """That so great a rise comes by itself (F test)."""
    grown: bool


def spread_of(line: Line) -> Spread | None:
    """Scatter of the newest ``NEWEST`` checks against all before them; None with too few throws."""
    groups = [one / line.scale for one in line.throws]
    squares = np.array([float(np.sum((one - one.mean()) ** 2)) for one in groups])
    freedom = np.array([len(one) - 1 for one in groups])
    split = len(groups) - NEWEST
    if split < 1:
        return None
    df_before, df_now = int(freedom[:split].sum()), int(freedom[split:].sum())
    if df_before < FEWEST_BEFORE or df_now < NEWEST:
        return None
    before = float(squares[:split].sum()) / df_before
    now = float(squares[split:].sum()) / df_now
    # A meter that reads the same every time has no scatter to compare with.
    chance = float(fdtrc(df_now, df_before, now / before)) if before > 0 else 1.0
    # Every one of the newest checks takes part, or it is one odd throw.
    each = bool(np.all(squares[split:] > before * freedom[split:]))
    grown = chance < CHANCE and now**0.5 > SMALLEST and each
    return Spread(before**0.5, now**0.5, chance, grown)
