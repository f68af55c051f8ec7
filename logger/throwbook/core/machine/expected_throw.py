"""What one healthy throw takes by the rating: its time and current. One model, for suitability, judgement, papers and trend.

    push       what the mechanism needs, more in the cold and with dirt
    current    i = i0 + push / k_f
    time       t = volt-seconds of the travel / (V - i R),  volt-seconds = k_e * travel

with the motor line at the motor's temperature: copper takes more resistance, magnets lose strength as it warms. The
travel is the actuator's stroke: the rod runs on to its own limit switches, whatever the mechanism needs of it. A
judged throw gives V and i itself; before a throw the current comes from the push, and V from the supply behind the
cable, each with the interval that data sheet and assumptions leave (JCGM 101). Where a baseline says what the travel takes, its volt-seconds stand in for the rating's.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple, cast

import numpy as np

from throwbook.core.assessment import Interval
from throwbook.core.machine.electrical import CABLE_VALUES, drawn_loop_ohm, loop_ohm
from throwbook.core.machine.motor import (
    SHEET_VALUES,
    MotorLine,
    Number,
    current_at_force,
    drawn_lines,
    resistance_at,
)
from throwbook.core.quantities.statistics import drawn, interval_of
from throwbook.core.quantities.units import REFERENCE_C, show
from throwbook.core.rig import DATA_SHEET_HALF_WIDTH, Actuator, Rig, Wiring

RATED_C = REFERENCE_C
"""A data sheet holds for this temperature [degC]; every corrected figure is given at it."""
COLD_ADDS_PER_K = 0.01
"""Share that each kelvin below 20 degC adds to the push needed: grease stiffens two- to threefold by -10 degC.
Assumed; the truth is taken to lie between nothing of it and twice as much."""
DIRT_ADDS = 0.30
DIRT_HALF_WIDTH = 0.20
"""Share that dirt and a dry screw add to the push needed, and how far it may be off: the 10-50 % of the failure-mode table.
Assumed."""
MAGNET_SHARE_PER_K = -0.0015
"""Back-EMF per speed falls by 0.2 % per kelvin with ferrite magnets, by 0.1 % with rare-earth ones (material data,
common knowledge of the trade); the middle of both."""
MAGNET_SHARE_PER_K_U = 0.0007
UNKNOWN_TEMPERATURE_K = 10.0
"""Where a temperature wasn't recorded, this much difference is allowed for (standard, *assumed*)."""


def magnets(there_c: float | None, here_c: float | None) -> tuple[float, float]:
    """Back-EMF constant here over there, and the standard uncertainty of that."""
    if there_c is None or here_c is None:
        return 1.0, abs(MAGNET_SHARE_PER_K) * UNKNOWN_TEMPERATURE_K
    warmer_k = here_c - there_c
    return 1.0 + MAGNET_SHARE_PER_K * warmer_k, MAGNET_SHARE_PER_K_U * abs(warmer_k)


def line_at(line: MotorLine, motor_c: float, magnets_off: Number = 0.0) -> MotorLine:
    """The motor line with winding and magnets at ``motor_c`` [degC].

    ``magnets_off``: how far the magnets are from the middle, in standard uncertainties. The variants move with the line.
    """
    share, share_u = magnets(RATED_C, motor_c)
    magnet = share + share_u * magnets_off
    return replace(
        line,
        k_f_n_per_a=cast(float, line.k_f_n_per_a * magnet),
        k_e_v_s_per_m=cast(float, line.k_e_v_s_per_m * magnet),
        r_ohm=cast(float, resistance_at(line, motor_c)),
        variants=tuple(line_at(one, motor_c) for one in line.variants),
    )


def travel_m(rig: Rig) -> float:
    """How far the rod moves in a whole throw [m]."""
    return rig.actuator.stroke_m


def travel_said(rig: Rig) -> str:
    """That travel in words."""
    return f"the full stroke of {show(travel_m(rig), 'length', rig.units)}"


def stroke_volt_seconds(line: MotorLine, rig: Rig) -> float:
    """What that travel takes by the rating, at the temperature of ``line`` [V s]."""
    return line.k_e_v_s_per_m * travel_m(rig)


def time_of(volt_seconds: Number, voltage_v: float, current_a: Number, ohm: Number) -> Number:
    """Time [s] of a travel that takes ``volt_seconds`` [V s]; inf where the voltage isn't enough to move."""
    with np.errstate(divide="ignore"):
        return volt_seconds / np.maximum(voltage_v - current_a * ohm, 0.0)


def supply_ohm(rig: Rig) -> float:
    """Resistance of the cable between supply and motor [ohm]; nought where the wiring isn't given."""
    return 0.0 if rig.wiring is None else loop_ohm(rig.wiring)


@dataclass(frozen=True)
class Values:
    """What a throw is reckoned from: as the rig gives it, or as arrays of everything it may stand for."""

    line: MotorLine
    rated_push_n: Number
    dirt_adds: Number
    cold_adds_per_k: Number
    magnets_off: Number
    supply_ohm: Number

    def harder(self, air_c: float, dirty: bool = False) -> Number:
        """Push needed at an air temperature [degC] over push needed clean and warm."""
        return 1.0 + dirty * self.dirt_adds + self.cold_adds_per_k * max(0.0, RATED_C - air_c)

    def throw(self, rig: Rig, push_n: Number, supply_v: float, motor_c: float) -> tuple[Number, Number]:
        """Running current [A] and time [s] of a whole throw against a steady push, the supply behind the rig's cable."""
        warm = line_at(self.line, motor_c, self.magnets_off)
        current_a = current_at_force(warm, push_n)
        ohm = warm.r_ohm + self.supply_ohm
        return current_a, time_of(stroke_volt_seconds(warm, rig), supply_v, current_a, ohm)


def given_values(rig: Rig, line: MotorLine) -> Values:
    """As the rig gives them."""
    return Values(line, rig.actuator.rated_force_n, DIRT_ADDS, COLD_ADDS_PER_K, 0.0, supply_ohm(rig))


@lru_cache(maxsize=8)
def drawn_values(actuator: Actuator, wiring: Wiring | None) -> Values:
    """Everything that they may stand for: data sheet, cable and assumptions each within its half-width, shape (n,)."""
    draws = drawn(SHEET_VALUES + CABLE_VALUES + 3)
    lines, kept = drawn_lines(actuator, draws[:SHEET_VALUES])
    draws = draws[:, kept]
    dirt, cold, magnet = draws[-3:]
    cable = draws[SHEET_VALUES : SHEET_VALUES + CABLE_VALUES]
    return Values(
        lines,
        actuator.rated_force_n * (1.0 + DATA_SHEET_HALF_WIDTH * draws[SHEET_VALUES - 1]),
        DIRT_ADDS + DIRT_HALF_WIDTH * dirt,
        COLD_ADDS_PER_K * (1.0 + cold),
        np.sqrt(3.0) * magnet,
        np.zeros(len(dirt)) if wiring is None else drawn_loop_ohm(wiring, cable),
    )


def reckoned(rig: Rig, line: MotorLine, prediction: Callable[[Values], Number]) -> Interval:
    """A prediction with the 95 % interval that data sheet and assumptions leave."""
    draws = np.asarray(prediction(drawn_values(rig.actuator, rig.wiring)))
    return interval_of(float(prediction(given_values(rig, line))), draws)


def push_needed(rig: Rig, line: MotorLine, air_c: float = RATED_C, dirty: bool = False) -> Interval | None:
    """Push [N] the mechanism needs at an air temperature; None: the rig doesn't say what it needs."""
    needed_n = rig.lock.needed_force_n
    if needed_n is None:
        return None
    return reckoned(rig, line, lambda values: needed_n * values.harder(air_c, dirty))


class RatedThrow(NamedTuple):
    """Running current and time of a whole throw."""

    current_a: Interval
    time_s: Interval


def rated_throw(
    rig: Rig,
    line: MotorLine,
    push_n: float,
    supply_v: float,
    motor_c: float = RATED_C,
    air_c: float = RATED_C,
    dirty: bool = False,
) -> RatedThrow:
    """Running current [A] and time [s] of a whole throw, the supply behind the rig's cable; the upper end of the time is
    inf where it may stall.

    ``push_n``: what the mechanism needs clean and warm; cold air and dirt come on top.
    """

    def part(which: int) -> Interval:
        return reckoned(
            rig,
            line,
            lambda values: values.throw(rig, push_n * values.harder(air_c, dirty), supply_v, motor_c)[which],
        )

    return RatedThrow(part(0), part(1))
