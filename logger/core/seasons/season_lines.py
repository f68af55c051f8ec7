"""From a rig's checks to one line of comparable values for each direction and figure."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np

from logger.core.machine.rating import MotorLine, motor_line
from logger.core.quantities.numerics import median_of
from logger.core.records.records import AFTER_SERVICE, COMMISSIONING
from logger.core.seasons.correction import (
    ALLOWANCES,
    Allowance,
    at_nominal_voltage,
    weather_columns,
    widening,
)
from logger.core.seasons.season import FIGURES, RigHistory, SeasonCheck, SeasonService, SeasonThrow
from logger.core.trace import FloatArray
from logger.errors import InputError

DAYS_A_YEAR = 365.25
PRIOR_THROWS = 5
"""How many throws the allowance's own scatter weighs as much as (assumed)."""
PULLED_IN = 2.0
"""A throw further than this many standard deviations from the median of its check is pulled in to that (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Line:
    """One direction and figure over the years; every array has one entry for each check that has the figure."""

    direction: str
    figure: str
    checks: tuple[SeasonCheck, ...]
    throws: tuple[FloatArray, ...]
    """For each check, its clean throws at nominal voltage [figure's unit]."""
    raw: FloatArray
    """shape (k,) mean of the clean throws as measured [figure's unit]"""
    years: FloatArray
    """shape (k,) since the first check of the rig"""
    stretch: FloatArray
    """shape (k,) 0, 1, 2 ...: how many services restarted the chart before it"""
    temperature_c: FloatArray
    """shape (k,), NaN where not recorded"""
    ln_voltage: FloatArray
    """shape (k,), of voltage over nominal; NaN where not recorded"""
    own_u: FloatArray
    """shape (k,) standard uncertainty that a check has by itself, such as hand timing [figure's unit]"""
    stated_u: FloatArray
    """shape (k,) expanded uncertainty (k = 2) that its throws were given, their median [figure's unit]"""

    @property
    def allowance(self) -> Allowance:
        """How this figure may answer to weather and scatter."""
        return ALLOWANCES[self.figure]

    @cached_property
    def weather(self) -> FloatArray:
        """shape (k, 3): weather and supply at each check, one column for each slope of ``allowance``."""
        return weather_columns(self.temperature_c, self.ln_voltage)

    @cached_property
    def scale(self) -> float:
        """What changes are relative to [figure's unit]: the median of the baseline's throws; 1 for shares."""
        if not self.allowance.relative:
            return 1.0
        size = abs(self.origin)
        return size if size > 0 else 1.0

    @cached_property
    def least(self) -> FloatArray:
        """shape (k,): no smaller change is called one at each check (relative), nor one that the figure's own ± swallows."""
        wide: FloatArray = np.maximum(self.allowance.smallest, self.stated_u / self.scale)
        return wide

    @cached_property
    def origin(self) -> float:
        """Median of the baseline's throws [figure's unit]."""
        return float(self.medians[0])

    def in_unit(self, change: Any) -> Any:
        """A change, or an array of them, as the figure it leads to [figure's unit]."""
        return self.origin + self.scale * change

    @cached_property
    def medians(self) -> FloatArray:
        """shape (k,) median throw of each check [figure's unit]"""
        return np.array([median_of(one) for one in self.throws])

    @cached_property
    def scatter(self) -> FloatArray:
        """shape (k,) standard deviation of a throw, as known at each check (relative)."""
        squares = self.allowance.throw_scatter**2 * PRIOR_THROWS
        weight = float(PRIOR_THROWS)
        known = []
        for throws, middle in zip(self.throws, self.medians.tolist(), strict=True):
            # An outlying throw counts as one at four times the scatter known so far.
            off = _pulled_in(throws, middle, self.scale, 2.0 * PULLED_IN * (squares / weight) ** 0.5)
            squares += sum(one * one for one in off) - sum(off) ** 2 / len(off)
            weight += len(off) - 1
            known.append((squares / weight) ** 0.5)
        return np.array(known)

    @cached_property
    def change(self) -> FloatArray:
        """shape (k,) of each check against the baseline, outlying throws pulled in (relative)."""
        middles, scatter = self.medians.tolist(), self.scatter.tolist()
        found = []
        for throws, middle, sd in zip(self.throws, middles, scatter, strict=True):
            off = _pulled_in(throws, middle, self.scale, PULLED_IN * sd)
            found.append((middle - self.origin) / self.scale + sum(off) / len(off))
        return np.array(found)

    @cached_property
    def variance(self) -> FloatArray:
        """shape (k,) of each check's change: its throws and what wasn't recorded."""
        count = np.array([len(one) for one in self.throws])
        unknown = widening(self.allowance, self.temperature_c, self.ln_voltage)
        wider: FloatArray = self.scatter**2 / count + unknown + (self.own_u / self.scale) ** 2
        return wider


def _pulled_in(throws: FloatArray, middle: float, scale: float, limit: float) -> list[float]:
    """Each throw's distance from ``middle`` over ``scale``, at most ``limit`` either way."""
    return [min(max((one - middle) / scale, -limit), limit) for one in throws.tolist()]


def lines_of(history: RigHistory, direction: str, figure: str) -> tuple[Line | None, Line | None]:
    """The clean throws' line and the as-found throws' line; None where there is nothing."""
    try:
        motor = motor_line(history.rig.actuator)
    except InputError:
        motor = None
    return (
        _line(history, direction, figure, motor, as_found=False),
        _line(history, direction, figure, motor, as_found=True),
    )


def _line(
    history: RigHistory, direction: str, figure: str, motor: MotorLine | None, as_found: bool
) -> Line | None:
    field, _ = FIGURES[figure]
    nominal = history.rig.actuator.voltage_v
    rows = []
    for check in history.checks:
        mine = [
            one
            for one in check.throws
            if one.direction == direction and one.as_found == as_found and _value(one, field) is not None
        ]
        if mine:
            rows.append((check, mine))
    if not rows:
        return None
    first_day = history.checks[0].on
    starts = stretch_starts(history.services)
    throws = [
        np.array(
            [
                at_nominal_voltage(
                    figure, _value(one, field) or 0.0, _voltage(one), _value(one, "run_current_a"), motor
                )
                for one in mine
            ]
        )
        for _, mine in rows
    ]
    return Line(
        direction=direction,
        figure=figure,
        checks=tuple(check for check, _ in rows),
        throws=tuple(throws),
        raw=np.array([sum(_value(one, field) or 0.0 for one in mine) / len(mine) for _, mine in rows]),
        years=np.array([(check.on - first_day).days / DAYS_A_YEAR for check, _ in rows]),
        stretch=np.array([float(stretch_of(check, starts)) for check, _ in rows]),
        temperature_c=np.array([np.nan if check.ambient_c is None else check.ambient_c for check, _ in rows]),
        ln_voltage=np.array([_ln_voltage(mine, nominal) for _, mine in rows]),
        own_u=np.array([_own_u(mine, field) for _, mine in rows]),
        stated_u=np.array(
            [float(np.median([getattr(one.figures, field).u for one in mine])) for _, mine in rows]
        ),
    )


def stretch_starts(services: Sequence[SeasonService]) -> list[date]:
    """The days on which charts restart, in order."""
    return sorted({one.on for one in services if one.new_stretch})


def stretch_of(check: SeasonCheck, starts: Sequence[date]) -> int:
    """How many times the chart had restarted before this check.

    On the day of the service only an after-service or a commissioning sheet counts as after it, and what follows it.
    """
    after = check.kind in (AFTER_SERVICE, COMMISSIONING) if check.after_work is None else check.after_work
    return (bisect_right if after else bisect_left)(starts, check.on)


def _value(throw: SeasonThrow, field: str) -> float | None:
    measured = getattr(throw.figures, field)
    return None if measured is None else float(measured.value)


def _voltage(throw: SeasonThrow) -> float | None:
    return _value(throw, "mean_voltage_v")


def _ln_voltage(throws: Sequence[SeasonThrow], nominal_v: float) -> float:
    volts = [v for v in (_voltage(one) for one in throws) if v is not None and v > 0]
    return float(np.log(sum(volts) / len(volts) / nominal_v)) if volts and nominal_v > 0 else float("nan")


def _own_u(throws: Sequence[SeasonThrow], field: str) -> float:
    """Hand readings carry reaction and meter class that the next check's readings don't share."""
    by_hand = [getattr(one.figures, field).u / 2.0 for one in throws if one.by_hand]
    return float(np.mean(by_hand)) * len(by_hand) / len(throws) if by_hand else 0.0
