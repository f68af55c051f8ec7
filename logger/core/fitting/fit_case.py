"""What ``fit`` judges: the rig with its motor line and the worst case it has to stand, every assumption named."""

from collections.abc import Callable
from dataclasses import dataclass

from logger.core.assessment import Measured
from logger.core.machine.expected_throw import (
    DIRT_ADDS,
    RATED_C,
    harder,
    line_at,
    push_needed,
    rated_throw,
    supply_ohm,
)
from logger.core.machine.limits import Limit, limits_for
from logger.core.machine.rating import (
    MotorLine,
    motor_line,
    propagated,
    stall_current,
    stall_force,
)
from logger.core.quantities.uncertainty import K
from logger.core.rig import Rig

COLDEST_ASSUMED_C = -10.0
"""Where the rig doesn't say [degC]. Assumed."""
LOWEST_VOLTAGE_SHARE = 0.90
"""Lowest supply, of the nominal one, where the rig doesn't say. Common practice, no source."""
WARM_MOTOR_C = 80.0
"""Winding and magnets after many throws [degC]: the weakest motor meets the heaviest load. Assumed."""


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

    current_a: Measured
    time_s: Measured


@dataclass(frozen=True)
class Case:
    """A rig whose values draw a motor line, ready to be judged."""

    rig: Rig
    line: MotorLine
    limits: dict[str, Limit]
    source_ohm: float
    """Cable there and back at 20 degC; 0 where the wiring isn't given [ohm]."""
    lowest_voltage_v: float
    coldest_c: float
    assumed: tuple[str, ...]
    """What stands in for values that the rig doesn't give, one phrase each."""

    @property
    def worst_factor(self) -> float:
        """Push needed cold and dirty over push needed clean and warm."""
        return harder(self.coldest_c, DIRT_ADDS)

    @property
    def worst_push_n(self) -> float | None:
        """Push needed cold and dirty [N]; None: the rig doesn't say what it needs."""
        return push_needed(self.rig, self.coldest_c, DIRT_ADDS)

    def stalls_at(self, line: MotorLine) -> float:
        """Push [N] that stops it at the lowest voltage with a warm motor; 0: it doesn't even start."""
        warm = line_at(line, WARM_MOTOR_C)
        return max(0.0, float(stall_force(warm, self.lowest_voltage_v, self.source_ohm)))

    def push_left(self, line: MotorLine) -> float:
        """Push [N] it can give at the lowest voltage with a warm motor, never over the rated one."""
        return min(self.rig.actuator.rated_force_n, self.stalls_at(line))

    def run(self, push_n: float, voltage_v: float) -> Run:
        """Current and time of a whole throw at a steady push [N], motor at 20 degC."""
        return Run(*rated_throw(self.rig, self.line, push_n, voltage_v))

    def worst_run(self) -> Run | None:
        """The same cold and dirty at the lowest voltage with a warm motor; None: the push isn't known."""
        worst, clean = self.worst_push_n, self.rig.lock.needed_force_n
        if worst is None:
            return None
        return Run(*rated_throw(self.rig, self.line, worst, self.lowest_voltage_v, WARM_MOTOR_C, clean))

    def stall(self, temperature_c: float = RATED_C) -> Measured:
        """Stall current [A] at nominal voltage behind the cable, winding at ``temperature_c`` [degC]."""
        volts = self.rig.actuator.voltage_v
        return self.measured(lambda line: float(stall_current(line, volts, self.source_ohm, temperature_c)))

    def stall_push(self) -> Measured:
        """Push [N] in a stall at nominal voltage behind the cable, motor at 20 degC."""
        volts = self.rig.actuator.voltage_v
        return self.measured(lambda line: float(stall_force(line, volts, self.source_ohm)))

    def measured(self, prediction: Callable[[MotorLine], float]) -> Measured:
        """A prediction with its expanded uncertainty."""
        return Measured(prediction(self.line), K * propagated(self.line, prediction))


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
    return Case(rig, line, limits_for(rig), supply_ohm(rig), lowest, coldest, tuple(assumed))
