"""What a service did to a figure: after less before, at 20 degC and nominal voltage, with its interval (Welch).

Welch's interval holds for throws that have nothing in common. Those of one check share its weather, attachment and operator:
what that adds is passed in as ``shared_u``, so between checks of two days the interval is wider than Welch's, and is our own.
"""

from dataclasses import dataclass
from datetime import date
from math import hypot, sqrt

import numpy as np
from scipy.special import stdtrit

from throwbook.core.quantities.statistics import from_half_width
from throwbook.core.trace import FloatArray
from throwbook.core.trend.control_chart import LineFit
from throwbook.core.trend.forecast import WANDERS
from throwbook.core.trend.history import RigHistory
from throwbook.core.trend.series import WEATHER, Line, stage_of, stage_starts
from throwbook.core.trend.signals import OUT, CheckState

HELPED = "helped"
ALARMED = "before: the check that raised the alarm, so part of it may be chance"
WORSE = "worse"
NO_DIFFERENCE = "too few throws ({n}) to show a difference"
CONFIDENCE = 0.92
"""Two-sided; a service that does nothing is called "helped" in 4 of 100 (common practice, no source: between 90 and 95 %)."""


@dataclass(frozen=True)
class Difference:
    """Second mean less first, with its interval."""

    change: float
    low: float
    high: float
    se: float
    """Standard uncertainty of ``change``."""
    df: float


KNOWN_WEIGHT = 6
"""How many degrees of freedom the scatter known from the rig's other checks is worth beside a group's own (assumed)."""


def compare(
    before: FloatArray,
    after: FloatArray,
    scatter: float,
    shared_u: float = 0.0,
    known: float | None = None,
) -> Difference:
    """Difference of two sets of throws, each shape (n,), n >= 2, at ``CONFIDENCE``. With ``shared_u`` and ``known`` nought it is Welch's.

    ``scatter`` is the standard deviation of a throw as the rig's other checks know it: five throws alone know theirs
    badly, so each group's variance is averaged with it, its degrees of freedom growing by ``known`` (None: ``KNOWN_WEIGHT``). ``shared_u``:
    standard uncertainty of what all throws of one check share and those of the other don't.
    """
    known = KNOWN_WEIGHT if known is None else known
    part, freedom, change = 0.0, 0.0, float(np.mean(after) - np.mean(before))
    for group in (before, after):
        own = len(group) - 1
        weight = own + known
        variance = (own * float(np.var(group, ddof=1)) + known * scatter**2) / weight
        part += variance / len(group)
        freedom += (variance / len(group)) ** 2 / weight
    se = sqrt(part + shared_u**2)
    df = part**2 / freedom if freedom > 0 else float(len(before) + len(after) - 2)
    half = float(stdtrit(df, (1.0 + CONFIDENCE) / 2.0)) * se
    return Difference(change, change - half, change + half, se, df)


def answer(difference: Difference, throws: int, days: bool = False, less_is_better: bool = True) -> str:
    """``helped``, ``worse`` or what so few couldn't show; ``throws`` is the smaller group's count.

    ``days``: both groups are of different days, so what counts is one check on either side, however many throws it had.
    """
    if difference.low <= 0.0 <= difference.high:
        shown = f"{throws}; one check before, one after" if days else f"{throws}"
        return NO_DIFFERENCE.format(n=shown)
    better = (difference.change < 0.0) == less_is_better
    return HELPED if better else WORSE


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
    before_sheet: str
    after_sheet: str
    before_alarmed: bool
    """No other check stands for "before" than the one that raised the alarm: part of a drop may be its bad day."""

    @property
    def said(self) -> str:
        """The answer, with what speaks against it."""
        doubt = f" ({ALARMED})" if self.before_alarmed else ""
        return f"{self.answer}{doubt}"


def service_effects(
    history: RigHistory, line: Line, fit: LineFit, states: list[CheckState]
) -> tuple[ServiceEffect, ...]:
    """After less before for each service that has a check on either side."""
    starts = stage_starts(history.services)
    if not starts:
        return ()
    learned = fit.learned
    corrected, off_by = line.at_20_degc(fit.weather)
    adds = line.in_unit(line.change) - corrected
    effects = []
    members: dict[int, list[int]] = {}
    for i, check in enumerate(line.checks):
        members.setdefault(stage_of(check, starts), []).append(i)
    number_of = {day: i for i, day in enumerate(starts, 1)}
    for service in history.services:
        if not service.starts_stage:
            continue
        number = number_of[service.on]
        before, alarmed = _before(line, states, members.get(number - 1, []))
        if before is None or number not in members:
            continue
        after = members[number][0]
        groups = [_without_outliers(line, i) - adds[i] for i in (before, after)]
        if min(len(one) for one in groups) < 2:
            continue
        apart = (line.checks[after].on - line.checks[before].on).days > SAME_DAYS
        colder = line.weather[after] - line.weather[before]
        wanders = (line.allowance.size * WANDERS) ** 2 * float(line.years[after] - line.years[before])
        shared = (
            float(colder @ learned.covariance[:WEATHER, :WEATHER] @ colder)
            + (2.0 * learned.between**2 + wanders + float(line.own_variance[[before, after]].sum())) * apart
        )
        there = float(line.scale_at(np.mean(np.concatenate(groups))))
        known = float(line.scatter[after]) * there
        shared_u = hypot(sqrt(shared) * there, from_half_width(float(off_by[after] - off_by[before])))
        difference = compare(groups[0], groups[1], known, shared_u)
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
                before_sheet=line.checks[before].sheet,
                after_sheet=line.checks[after].sheet,
                before_alarmed=alarmed,
            )
        )
    return tuple(effects)


def _without_outliers(line: Line, index: int) -> FloatArray:
    """A check's throws; one far from the others is pulled in."""
    reach = PULLED_IN * float(line.scatter[-1]) * line.scale
    middle = float(line.medians[index])
    return np.clip(line.throws[index], middle - reach, middle + reach)


def _before(line: Line, states: list[CheckState], earlier: list[int]) -> tuple[int | None, bool]:
    """Last check before the service, and whether it is the one that first raised the alarm.

    That one is left out (regression to the mean), unless only the stage's first check is left then: it shows how the
    machine ran when the stage began, not how it ran before the work.
    """
    alarm = next((i for i in earlier if states[i].state == OUT or line.checks[i].alarm), None)
    left = [i for i in earlier if i != alarm]
    if alarm is not None and left == earlier[:1]:
        return alarm, True
    return (left[-1] if left else None), False
