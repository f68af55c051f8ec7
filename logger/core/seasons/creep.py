"""A level that crept up over services: each restarts the chart, and none may hide how far it has come since the first.

The newest stretch's level is held against the rig's first check, or the first one after the actuator was replaced. It
has crept when that check would lie below the lower limit of the newest stretch's chart.
"""

from dataclasses import dataclass
from datetime import date

from logger.core.seasons.season import RigHistory
from logger.core.seasons.season_lines import Line
from logger.core.seasons.trend_figures import Chart, Point

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

    @property
    def share(self) -> float:
        """``now`` over ``first``, less one; for a figure that starts at nothing: the difference."""
        return self.now / self.first - 1.0 if self.first > 0 else self.now - self.first


def creep_of(history: RigHistory, line: Line, chart: Chart, points: tuple[Point, ...]) -> Creep | None:
    """The creep of one line; None while no service has restarted its chart, or the level is no higher."""
    renewed = [one.on for one in history.services if one.action == NEW_MACHINE]
    since = max(renewed, default=date.min)
    first = next((i for i, one in enumerate(points) if one.date > since), None)
    if first is None or line.stretch[first] == line.stretch[-1]:
        return None
    begun = points[first]
    return Creep(begun.corrected, begun.date, chart.centre) if begun.corrected < chart.lower else None
