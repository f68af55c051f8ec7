"""One line of comparable values for each direction and figure: weather and supply taken out.

Two steps, and no guessing:

1. **Voltage, exact.** Given the current, the motor line says how time and energy answer to voltage. That is arithmetic.
2. **Temperature (and what is left of voltage), learned.** Friction answers to temperature in a way that no data sheet
   gives. It starts from physics with a wide *allowance*: a mean and a standard deviation for each slope. As checks in
   other weather come in, ``change_test`` learns the rig's own slopes; few checks leave them near the allowance. Warm and
   cold have slopes of their own, so that grease that stiffens only in frost needn't look like grease that always thickens.

A temperature or voltage that wasn't recorded is not guessed: the check counts, with a wider uncertainty.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from math import hypot
from typing import Any

import numpy as np

from throwbook.core.machine.motor import MotorLine, motor_line
from throwbook.core.quantities.statistics import median_of
from throwbook.core.quantities.units import REFERENCE_C
from throwbook.core.records import AFTER_SERVICE, COMMISSIONING
from throwbook.core.rig import DIRECTIONS, SIDES
from throwbook.core.trace import FloatArray
from throwbook.core.trend.history import (
    ENERGY,
    FIGURES,
    PEAK_RUN_CURRENT,
    RUN_CURRENT,
    SOURCE_RESISTANCE,
    SWITCH_LAG,
    TAKE_UP,
    TRAVEL_TIME,
    RigHistory,
    SeasonCheck,
    SeasonService,
    SeasonThrow,
)
from throwbook.errors import InputError

COLD_BELOW_C = 10.0
UNKNOWN_C = (12.0, 12.0)
"""Mean and standard deviation of a temperature nobody wrote down [degC] (a temperate year; assumed)."""
ATTACHMENT = 0.02
"""Standard deviation of what another attachment adds to a figure (relative; assumed)."""
UNKNOWN_LN_VOLTAGE = 0.07
"""Standard deviation of ln(voltage) between engine on and off (12.4 against 13.9 V is 0.11 apart; assumed)."""


@dataclass(frozen=True)
class Allowance:
    """How a figure may answer to weather and supply, and how it scatters, before the rig has shown it.

    Slopes are relative changes (``TAKE_UP``, ``SWITCH_LAG``: shares of the stroke). Each pair is (mean, standard deviation).
    Assumed: grease makes 0-15 % of the running current at 20 degC and stiffens two- to threefold by -10 degC; the two switches
    stand some hundredths of the stroke apart, and what is worth a fifth of a current is worth three hundredths there.
    """

    per_10k: tuple[float, float]
    """For 10 K warmer, over the whole range."""
    cold_per_10k: tuple[float, float]
    """Besides, for each 10 K below ``COLD_BELOW_C``."""
    per_ln_voltage: tuple[float, float]
    """For voltage higher by a factor e."""
    between_checks: tuple[float, float]
    """Scatter from check to check: median, and standard deviation of its logarithm."""
    throw_scatter: float
    """Standard deviation of single throws of one check; weighs as much as five throws."""
    smallest: float
    """No smaller change is called one, however sure (for currents half the spread that practice accepts in a set)."""
    relative: bool = True
    size: float = 1.0
    """How far such a figure wanders and grows in a year, against a current."""


def _product(one: Allowance, other: Allowance) -> Allowance:
    """Of a figure that is one times the other: it answers to weather as both do, and scatters as both together."""

    def both(name: str) -> tuple[float, float]:
        (mean, sd), (other_mean, other_sd) = getattr(one, name), getattr(other, name)
        return mean + other_mean, hypot(sd, other_sd)

    return Allowance(
        both("per_10k"),
        both("cold_per_10k"),
        both("per_ln_voltage"),
        (hypot(one.between_checks[0], other.between_checks[0]), one.between_checks[1]),
        hypot(one.throw_scatter, other.throw_scatter),
        hypot(one.smallest, other.smallest),
    )


_CURRENT = Allowance((-0.012, 0.020), (0.010, 0.025), (0.1, 0.12), (0.018, 0.45), 0.015, 0.055)
_TIME = Allowance((0.0, 0.008), (0.0, 0.012), (0.0, 0.15), (0.008, 0.45), 0.008, 0.04)
ALLOWANCES: dict[str, Allowance] = {
    RUN_CURRENT: _CURRENT,
    ENERGY: _product(_CURRENT, _TIME),
    PEAK_RUN_CURRENT: Allowance((-0.012, 0.025), (0.010, 0.030), (0.1, 0.15), (0.020, 0.45), 0.025, 0.06),
    TRAVEL_TIME: _TIME,
    SOURCE_RESISTANCE: Allowance((0.0, 0.10), (0.0, 0.10), (0.0, 1.5), (0.08, 0.5), 0.10, 0.25),
    TAKE_UP: Allowance((0.0, 0.002), (0.0, 0.002), (0.0, 0.01), (0.006, 0.5), 0.006, 0.02, relative=False),
    SWITCH_LAG: Allowance(
        (0.0, 0.002), (0.0, 0.002), (0.0, 0.002), (0.002, 0.5), 0.002, 0.01, relative=False, size=0.15
    ),
}


def at_nominal_voltage(
    figure: str, value: float, voltage_v: float | None, run_current_a: float | None, line: MotorLine | None
) -> float:
    """``value`` as it would be at the nominal voltage and the same current (motor line: ``V - iR = k_e v``).

    Time goes with ``1/(V - iR)``, energy with ``V/(V - iR)``; the other figures have nothing exact. Without a
    voltage, a current or a motor line the value is given back as it is, and ``widening`` says what that costs.
    """
    if voltage_v is None or run_current_a is None or line is None or figure not in (TRAVEL_TIME, ENERGY):
        return value
    drop = run_current_a * line.r_ohm
    if voltage_v - drop <= 0.1 * voltage_v or line.v_ref - drop <= 0.1 * line.v_ref:
        return value  # next to stall the line says nothing
    slower = (voltage_v - drop) / (line.v_ref - drop)
    return value * slower if figure == TRAVEL_TIME else value * slower * line.v_ref / voltage_v


WEATHER = 3
"""How many columns weather and supply have."""


def weather_columns(temperature_c: FloatArray, ln_voltage: FloatArray) -> FloatArray:
    """What each slope of an ``Allowance`` is multiplied by: shape (k, 3), nought at 20 degC and nominal voltage.

    ``temperature_c`` [degC] and ``ln_voltage`` (logarithm of voltage over nominal) have shape (k,); NaN: not recorded,
    taken at its mean.
    """
    t = np.where(np.isnan(temperature_c), UNKNOWN_C[0], temperature_c)
    return np.stack(
        [
            (t - REFERENCE_C) / 10.0,
            np.maximum(0.0, COLD_BELOW_C - t) / 10.0,
            np.where(np.isnan(ln_voltage), 0.0, ln_voltage),
        ],
        axis=1,
    )


def slopes(allowance: Allowance) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of the slopes, each shape (3,), in the order of ``weather_columns``."""
    pairs = (allowance.per_10k, allowance.cold_per_10k, allowance.per_ln_voltage)
    both = np.array(pairs)
    return both[:, 0], both[:, 1]


def widening(allowance: Allowance, temperature_c: FloatArray, ln_voltage: FloatArray) -> FloatArray:
    """Variance that a check gets for what wasn't recorded, shape (k,)."""
    mean, sd = slopes(allowance)
    size = mean**2 + sd**2
    spread = (UNKNOWN_C[1] / 10.0) ** 2
    # Half of a temperate year lies below the mean, so the cold slope acts on about half of the spread.
    weather = spread * (size[0] + 0.5 * size[1])
    supply = UNKNOWN_LN_VOLTAGE**2 * size[2]
    wider: FloatArray = np.isnan(temperature_c) * weather + np.isnan(ln_voltage) * supply
    return wider


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
    stage: FloatArray
    """shape (k,) 0, 1, 2 ...: how many services restarted the chart before it"""
    temperature_c: FloatArray
    """shape (k,), NaN where not recorded"""
    ln_voltage: FloatArray
    """shape (k,), of voltage over nominal; NaN where not recorded"""
    own_u: FloatArray
    """shape (k,) standard uncertainty that a check has by itself, such as hand timing [figure's unit]"""
    stated_u: FloatArray
    """shape (k,) expanded uncertainty (k = 2) that its throws were given, their median [figure's unit]"""
    side: str = ""
    """Of ``SWITCH_LAG``: the pin whose switch its values say to be the later one; empty: the two directions disagree."""

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

    def scale_at(self, values: Any) -> Any:
        """What a relative scatter is of where the figure reads ``values``: it grows with the figure, and is never less than at the baseline."""
        size = np.abs(values) if self.allowance.relative else 0.0 * values
        return np.maximum(size, self.scale)

    def in_unit(self, change: Any) -> Any:
        """A change, or an array of them, as the figure it leads to [figure's unit]."""
        return self.origin + self.scale * change

    def at_20_degc(self, weather: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Each check without what ``weather`` (relative) adds to it, and how far that may be off either way [figure's unit].

        Where a figure has come up, weather may add what it always did, or the same share of the figure as it is now: stiff
        grease does the one, weak magnets the other. ``weather`` was learned over all checks, so it is right for their mean
        level; from there on the correction goes half the way.
        """
        plain: FloatArray = self.in_unit(self.change - weather)
        there = self.scale_at(plain)
        apart: FloatArray = 0.5 * self.scale * weather * (there / there.mean() - 1.0)
        return plain - apart, apart

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
    def own_variance(self) -> FloatArray:
        """shape (k,) of what a check's throws share and no other check's do: what wasn't recorded, hand timing, the meter."""
        unknown = widening(self.allowance, self.temperature_c, self.ln_voltage)
        wider: FloatArray = unknown + (self.own_u / self.scale) ** 2
        return wider

    @cached_property
    def variance(self) -> FloatArray:
        """shape (k,) of each check's change: its throws, and what they share."""
        count = np.array([len(one) for one in self.throws])
        wider: FloatArray = self.scatter**2 / count + self.own_variance
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
    field = FIGURES[figure]
    furthest = furthest_lags(history) if figure == SWITCH_LAG else []
    sense = 1.0 if sum(furthest) >= 0.0 else -1.0
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
    starts = stage_starts(history.services)
    throws = [
        np.array(
            [
                at_nominal_voltage(
                    figure, _value(one, field) or 0.0, _voltage(one), _value(one, "run_current_a"), motor
                )
                for one in mine
            ]
        )
        * sense
        for _, mine in rows
    ]
    return Line(
        direction=direction,
        figure=figure,
        checks=tuple(check for check, _ in rows),
        throws=tuple(throws),
        raw=sense
        * np.array([sum(_value(one, field) or 0.0 for one in mine) / len(mine) for _, mine in rows]),
        years=np.array([(check.on - first_day).days / DAYS_A_YEAR for check, _ in rows]),
        stage=np.array([float(stage_of(check, starts)) for check, _ in rows]),
        temperature_c=np.array([np.nan if check.ambient_c is None else check.ambient_c for check, _ in rows]),
        ln_voltage=np.array([_ln_voltage(mine, nominal) for _, mine in rows]),
        own_u=np.array([_own_u(mine, field) for _, mine in rows]),
        stated_u=np.array(
            [float(np.median([getattr(one.figures, field).u for one in mine])) for _, mine in rows]
        ),
        side=_side(furthest) if figure == SWITCH_LAG else "",
    )


def furthest_lags(history: RigHistory) -> list[float]:
    """How far the lag once came from where it was at the rig's first check, for each direction that has one; above nought: the right switch later."""
    field, furthest = FIGURES[SWITCH_LAG], []
    for direction in DIRECTIONS:
        checks = [
            [
                lag
                for one in check.throws
                if one.direction == direction and (lag := _value(one, field)) is not None
            ]
            for check in history.checks
        ]
        middles = np.array([float(np.median(lags)) for lags in checks if lags])
        if len(middles):
            grown = middles - middles[0]
            furthest.append(float(grown[np.argmax(np.abs(grown))]))
    return furthest


def _side(furthest: Sequence[float]) -> str:
    """The side that came later; empty where the directions disagree: a switch out of place is early one way and late the other."""
    smallest = ALLOWANCES[SWITCH_LAG].smallest
    disagree = min(furthest) < -smallest and max(furthest) > smallest
    return "" if disagree else SIDES[sum(furthest) >= 0.0]


def stage_starts(services: Sequence[SeasonService]) -> list[date]:
    """The days on which charts restart, in order."""
    return sorted({one.on for one in services if one.starts_stage})


def stage_of(check: SeasonCheck, starts: Sequence[date]) -> int:
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
