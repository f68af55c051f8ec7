"""A level that crept up over services: each restarts the chart, and none may hide how far it has come since the first.

The newest stretch's level is held against the rig's first check, or the first one after the actuator was replaced. It
has crept when that check lies lower than a check of the newest stretch does but once in 200.
"""

from dataclasses import dataclass
from datetime import date

from logger.core.seasons.season import RigHistory
from logger.core.seasons.season_lines import Line
from logger.core.seasons.trend_figures import Chart, Fit, Point

NEW_MACHINE = "replaced"
"""The action after which nothing of before can be held against it."""


@dataclass(frozen=True)
class Creep:
    """How far a level stands above the first one, services in between."""

    first: float
    """Corrected figure of the first check [unit]."""
    on: date
    """Its day."""
    now: float
    """Level of the newest stretch [unit]."""
    reach: float
    """A check of that level lies under this but once in 200 (``OUTSIDE``) [unit]."""

    @property
    def share(self) -> float:
        """``now`` over ``first``, less one; for a figure that starts at nothing: the difference."""
        return self.now / self.first - 1.0 if self.first > 0 else self.now - self.first


def creep_of(
    history: RigHistory, line: Line, fit: Fit, chart: Chart, points: tuple[Point, ...]
) -> Creep | None:
    """The creep of one line; None while no service has restarted its chart, or the level is no higher."""
    renewed = [one.on for one in history.services if one.action == NEW_MACHINE]
    since = max(renewed, default=date.min)
    first = next((i for i, one in enumerate(points) if one.date > since), None)
    if first is None or line.stretch[first] == line.stretch[-1]:
        return None
    now = line.in_unit(float(fit.learned.mean[fit.stages[-1].level]))
    reach = now - max(chart.factor * chart.sigma, line.scale * float(line.least[-1]))
    begun = points[first]
    return Creep(begun.corrected, begun.date, now, reach) if begun.corrected < reach else None
