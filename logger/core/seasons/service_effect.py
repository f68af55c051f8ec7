"""What each service did to a figure: after less before, at 20 degC and nominal voltage."""

from dataclasses import dataclass
from datetime import date
from math import sqrt

import numpy as np

from logger.core.seasons.correction import WEATHER
from logger.core.seasons.effects import CONFIDENCE, answer, compare
from logger.core.seasons.season import RigHistory
from logger.core.seasons.season_lines import Line, stretch_of, stretch_starts
from logger.core.seasons.signals import OUT, CheckState
from logger.core.seasons.trend_figures import Fit
from logger.core.trace import FloatArray

SAME_DAYS = 1
"""Checks so close together share their weather and attachment [days] (assumed)."""
PULLED_IN = 3.0
"""A throw further than this many standard deviations from the median of its check is pulled in to that (common practice, no source)."""


@dataclass(frozen=True)
class ServiceEffect:
    """Corrected figure after a service less before it [unit], with its interval."""

    date: date
    action: str
    before: float
    after: float
    change: float
    low: float
    high: float
    confidence: float
    n_before: int
    n_after: int
    answer: str


def service_effects(
    history: RigHistory, line: Line, fit: Fit, states: list[CheckState]
) -> tuple[ServiceEffect, ...]:
    """After less before for each service that has a check on either side."""
    starts = stretch_starts(history.services)
    if not starts:
        return ()
    learned, weather = fit.learned, fit.weather
    effects = []
    members: dict[int, list[int]] = {}
    for i, check in enumerate(line.checks):
        members.setdefault(stretch_of(check, starts), []).append(i)
    number_of = {day: i for i, day in enumerate(starts, 1)}
    for service in history.services:
        if not service.new_stretch:
            continue
        number = number_of[service.on]
        before = _before(line, states, members.get(number - 1, []))
        if before is None or number not in members:
            continue
        after = members[number][0]
        groups = [_without_outliers(line, i) - line.scale * weather[i] for i in (before, after)]
        if min(len(one) for one in groups) < 2:
            continue
        apart = (line.checks[after].on - line.checks[before].on).days > SAME_DAYS
        colder = line.weather[after] - line.weather[before]
        shared = (
            float(colder @ learned.covariance[:WEATHER, :WEATHER] @ colder) + 2.0 * learned.between**2 * apart
        )
        known = float(line.scatter[after]) * line.scale
        difference = compare(groups[0], groups[1], known, sqrt(shared) * line.scale)
        effects.append(
            ServiceEffect(
                date=service.on,
                action=service.action,
                before=float(np.mean(groups[0])),
                after=float(np.mean(groups[1])),
                change=difference.change,
                low=difference.low,
                high=difference.high,
                confidence=CONFIDENCE,
                n_before=len(groups[0]),
                n_after=len(groups[1]),
                answer=answer(difference, min(len(one) for one in groups), days=apart),
            )
        )
    return tuple(effects)


def _without_outliers(line: Line, index: int) -> FloatArray:
    """A check's throws; one far from the others is pulled in."""
    reach = PULLED_IN * float(line.scatter[-1]) * line.scale
    middle = float(line.medians[index])
    return np.clip(line.throws[index], middle - reach, middle + reach)


def _before(line: Line, states: list[CheckState], earlier: list[int]) -> int | None:
    """Last check before the service, the one that first raised the alarm left out (regression to the mean)."""
    alarm = next((i for i in earlier if states[i].state == OUT or line.checks[i].alarm), None)
    left = [i for i in earlier if i != alarm]
    return left[-1] if left else None
