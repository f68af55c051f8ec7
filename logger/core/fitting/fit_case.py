"""What ``fit`` judges: the rig with its motor line and the worst case it has to stand, every assumption named."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from logger.core.assessment import Interval
from logger.core.machine.expected_throw import (
    RATED_C,
    Values,
    given_values,
    line_at,
    push_needed,
    rated_throw,
    reckoned,
)
from logger.core.machine.limits import Limit, limits_for
from logger.core.machine.rating import MotorLine, Number, motor_line, stall_current, stall_force
from logger.core.rig import Rig

COLDEST_ASSUMED_C = -10.0
"""Where the rig doesn't say [degC]. Assumed."""
LOWEST_VOLTAGE_SHARE = 0.90
"""Lowest supply, of the nominal one, where the rig doesn't say. Common practice, no source."""
WARM_MOTOR_C = 80.0
"""A motor after many throws [degC]: the weakest one meets the heaviest load. Assumed."""


@dataclass(frozen=True)
class Finding:
    """One thing judged."""

    about: str
    verdict: str
    """``pass`` · ``watch`` · ``fail`` · ``undecided``"""
    says: str
    do: str = ""


@dataclass(frozen=True)
class Run:
    """Running current and time of a whole throw."""

    current_a: Interval
    time_s: Interval


@dataclass(frozen=True)
class Case:
    """A rig whose values draw a motor line, ready to be judged."""

    rig: Rig
    line: MotorLine
    limits: dict[str, Limit]
    lowest_voltage_v: float
    coldest_c: float
    assumed: tuple[str, ...]
    """What stands in for values that the rig doesn't give, one phrase each."""

    def worst_factor(self) -> Interval:
        """Push needed cold and dirty over push needed clean and warm."""
        return self.reckoned(lambda values: values.harder(self.coldest_c, dirty=True))

    def worst_push(self) -> Interval | None:
        """Push needed cold and dirty [N]; None: the rig doesn't say what it needs."""
        return push_needed(self.rig, self.line, self.coldest_c, dirty=True)

    def stalls_at(self, values: Values) -> Number:
        """Push [N] that stops it at the lowest voltage with a warm motor; 0: it doesn't even start."""
        warm = line_at(values.line, WARM_MOTOR_C, values.magnets_off)
        return np.maximum(0.0, stall_force(warm, self.lowest_voltage_v, values.supply_ohm))

    def push_left(self, values: Values) -> Number:
        """Push [N] it can give at the lowest voltage with a warm motor, never over the rated one."""
        return np.minimum(values.rated_push_n, self.stalls_at(values))

    def most_push(self) -> Interval:
        """Push [N] that the mechanism may need clean and warm and still leave the margin asked for."""
        asked = 1.0 + self.limits["force_margin"].value
        return self.reckoned(
            lambda values: self.push_left(values) / (values.harder(self.coldest_c, dirty=True) * asked)
        )

    def margin(self) -> Interval | None:
        """Push left over beyond the worst push needed, over that push; None: the rig doesn't say what it needs."""
        needed_n = self.rig.lock.needed_force_n
        if needed_n is None:
            return None
        return self.reckoned(
            lambda values: (
                self.push_left(values) / (needed_n * values.harder(self.coldest_c, dirty=True)) - 1.0
            )
        )

    def run(self, push_n: float, voltage_v: float) -> Run:
        """Current and time of a whole throw at a steady push [N], motor at 20 degC."""
        return Run(*rated_throw(self.rig, self.line, push_n, voltage_v))

    def worst_run(self) -> Run | None:
        """The same cold and dirty at the lowest voltage with a warm motor; None: the push isn't known."""
        needed_n = self.rig.lock.needed_force_n
        if needed_n is None:
            return None
        return Run(
            *rated_throw(
                self.rig, self.line, needed_n, self.lowest_voltage_v, WARM_MOTOR_C, self.coldest_c, dirty=True
            )
        )

    def stall(self, temperature_c: float = RATED_C, voltage_v: float | None = None) -> Interval:
        """Stall current [A] behind the cable, at nominal voltage unless said, winding at ``temperature_c`` [degC]."""
        volts = self.rig.actuator.voltage_v if voltage_v is None else voltage_v
        return self.reckoned(
            lambda values: stall_current(values.line, volts, values.supply_ohm, temperature_c)
        )

    def stall_push(self) -> Interval:
        """Push [N] in a stall at nominal voltage behind the cable, motor at 20 degC."""
        volts = self.rig.actuator.voltage_v
        return self.reckoned(lambda values: stall_force(values.line, volts, values.supply_ohm))

    def cable_ohm(self) -> Interval:
        """Cable there and back at 20 degC [ohm]; 0 where the wiring isn't given."""
        return self.reckoned(lambda values: values.supply_ohm)

    def cable_drop(self) -> Interval:
        """Voltage [V] lost in the cable at the rated maximum current."""
        full_a = self.rig.actuator.full_load_current_a
        return self.reckoned(lambda values: full_a * values.supply_ohm)

    def stalled_drop(self) -> Interval:
        """Voltage [V] lost in the cable in a stall at nominal voltage, motor cold."""
        volts = self.rig.actuator.voltage_v
        return self.reckoned(
            lambda values: (
                values.supply_ohm * stall_current(values.line, volts, values.supply_ohm, self.coldest_c)
            )
        )

    def stalls_at_best(self) -> float:
        """``stalls_at`` of the values as they are given [N]."""
        return float(self.stalls_at(given_values(self.rig, self.line)))

    def reckoned(self, prediction: Callable[[Values], Number]) -> Interval:
        """A prediction with the 95 % interval that data sheet and assumptions leave."""
        return reckoned(self.rig, self.line, prediction)


def case_of(rig: Rig) -> Case:
    """Make a case of ``rig``. Raises InputError where its values draw no motor line."""
    assumed = []
    lowest, coldest = rig.lock.lowest_voltage_v, rig.lock.coldest_c
    if lowest is None:
        lowest = LOWEST_VOLTAGE_SHARE * rig.actuator.voltage_v
        assumed.append(f"lowest supply {lowest:.3g} V ({100 * LOWEST_VOLTAGE_SHARE:.0f} % of nominal)")
    if coldest is None:
        coldest = COLDEST_ASSUMED_C
        assumed.append(f"coldest {coldest:g} degC")
    if rig.wiring is None:
        assumed.append("a cable without resistance")
    line = motor_line(rig.actuator)
    if line.full_load_speed_assumed:
        assumed.append("full-load speed three quarters of the no-load speed")
    return Case(rig, line, limits_for(rig), lowest, coldest, tuple(assumed))
