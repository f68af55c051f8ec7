"""What one healthy throw takes by the rating: its time and current. One model, for suitability, judgement, papers and trend.

    push       what the mechanism needs, more in the cold and with dirt
    current    i = i0 + push / k_f
    time       t = volt-seconds of the travel / (V - i R),  volt-seconds = k_e * travel

with the motor line at the motor's temperature: copper takes more resistance, magnets lose strength as it warms. The
travel is the actuator's stroke: the rod runs on to its own limit switches, whatever the mechanism needs of it. A
judged throw gives V and i itself; before a throw the current comes from the push, and V from the supply behind the
cable. Where a baseline says what the travel takes, its volt-seconds stand in for the rating's.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from logger.core.assessment import Measured
from logger.core.machine.rating import MotorLine, current_at_force, propagated, resistance_at
from logger.core.machine.wiring import loop_ohm
from logger.core.quantities.uncertainty import K
from logger.core.quantities.units import show
from logger.core.rig import Rig

RATED_C = 20.0
"""A data sheet holds for this temperature [degC]; every corrected figure is given at it."""
COLD_ADDS_PER_K = 0.01
"""Share that each kelvin below 20 degC adds to the push needed: grease stiffens two- to threefold by -10 degC. Assumed."""
DIRT_ADDS = 0.30
"""Share that dirt and a dry screw add to the push needed: within the 10-50 % of the failure-mode table. Assumed."""
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


def line_at(line: MotorLine, motor_c: float) -> MotorLine:
    """The motor line with winding and magnets at ``motor_c`` [degC]; what isn't known of the magnets is one more variant."""
    share, share_u = magnets(RATED_C, motor_c)

    def at(one: MotorLine, magnet: float) -> MotorLine:
        return replace(
            one,
            k_f_n_per_a=one.k_f_n_per_a * magnet,
            k_e_v_s_per_m=one.k_e_v_s_per_m * magnet,
            r_ohm=float(resistance_at(one, motor_c)),
            variants=(),
        )

    moved = tuple(at(one, share) for one in line.variants)
    if line.variants and share_u > 0.0:
        moved += (at(line, share + share_u),)
    return replace(at(line, share), variants=moved)


def travel_m(rig: Rig) -> float:
    """How far the rod moves in a whole throw [m]."""
    return rig.actuator.stroke_m


def travel_said(rig: Rig) -> str:
    """That travel in words."""
    return f"the whole stroke of {show(travel_m(rig), 'length', rig.units)}"


def stroke_volt_seconds(line: MotorLine, rig: Rig) -> float:
    """What that travel takes by the rating, at the temperature of ``line`` [V s]."""
    return line.k_e_v_s_per_m * travel_m(rig)


def time_of(volt_seconds: float, voltage_v: float, current_a: float, ohm: float) -> float:
    """Time [s] of a travel that takes ``volt_seconds`` [V s]; inf where the voltage isn't enough to move."""
    left_v = voltage_v - current_a * ohm
    return volt_seconds / left_v if left_v > 0.0 else float("inf")


def push_needed(rig: Rig, air_c: float = RATED_C, dirt: float = 0.0) -> float | None:
    """Push [N] the mechanism needs at an air temperature; None: the rig doesn't say what it needs.

    ``dirt``: share added for dirt and a dry screw.
    """
    needed_n = rig.lock.needed_force_n
    return None if needed_n is None else needed_n * harder(air_c, dirt)


def harder(air_c: float, dirt: float = 0.0) -> float:
    """Push needed at an air temperature over push needed clean and warm."""
    return 1.0 + dirt + COLD_ADDS_PER_K * max(0.0, RATED_C - air_c)


def supply_ohm(rig: Rig) -> float:
    """Resistance of the cable between supply and motor [ohm]; nought where the wiring isn't given."""
    return 0.0 if rig.wiring is None else loop_ohm(rig.wiring)


def rated_throw(
    rig: Rig,
    line: MotorLine,
    push_n: float,
    supply_v: float,
    motor_c: float = RATED_C,
    clean_n: float | None = None,
) -> tuple[Measured, Measured]:
    """Running current [A] and time [s] of a whole throw against a steady push, the supply behind the rig's cable.

    The uncertainty is what the data sheet and the magnets leave. ``clean_n``: the push without what was only assumed to
    come on top; between nothing of that and twice as much the truth is then taken to lie. Time is inf where it stalls.
    """
    warm = line_at(line, motor_c)
    ohm = supply_ohm(rig)

    def current(one: MotorLine, push: float = push_n) -> float:
        return float(current_at_force(one, push))

    def time(one: MotorLine, push: float = push_n) -> float:
        return time_of(stroke_volt_seconds(one, rig), supply_v, current(one, push), one.r_ohm + ohm)

    def measured(prediction: Callable[..., float]) -> Measured:
        assumed = 0.0 if clean_n is None else prediction(warm) - prediction(warm, clean_n)
        return Measured(prediction(warm), float(np.hypot(K * propagated(warm, prediction), assumed)))

    return measured(current), measured(time)
