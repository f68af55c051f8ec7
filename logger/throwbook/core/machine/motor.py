"""The motor line: what the data sheet predicts about current, speed and time.

A brushed permanent-magnet motor on a lead screw is, to the accuracy of a data sheet, two straight lines:

    current:  i = i0 + F / k_f                 (push costs current)
    speed:    V_motor - i * R = k_e * v        (what voltage is left over turns the screw)

`i0` no-load current, `F` push at the rod, `R` winding and brushes, `v` rod speed. Four data-sheet values fix both
lines. Source: the usual direct-current motor equations, as any course on electrical machines gives them; the check
values MOT-1 to MOT-3 in the tests are published worked cases. Copper: IEC 60028, `R(T) = R20 * (1 + 0.00393 (T - 20))`.

Every function takes floats or numpy arrays of one shape, and gives the same shape back.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import cast

import numpy as np
from numpy.typing import NDArray

from throwbook.core.quantities.statistics import from_half_width
from throwbook.core.rig import (
    ASSUMED_RATIO_HALF_WIDTH,
    ASSUMED_SPEED_RATIO,
    DATA_SHEET_HALF_WIDTH,
    Actuator,
)
from throwbook.core.trace import FloatArray
from throwbook.errors import InputError

COPPER_PER_K = 0.00393
"""Rise of the resistance of copper per kelvin, of its value at 20 degC (IEC 60028)."""
Number = float | FloatArray


@dataclass(frozen=True)
class MotorLine:
    """Both lines of one actuator, winding at 20 degC, with the relative standard uncertainty of each constant.

    The constants come from the same few data-sheet values, so their errors hang together: to carry them into a
    prediction use ``propagated``, or ``drawn_lines`` where the prediction bends, not the ``u_`` fields one by one.
    """

    i0_a: float
    """No-load current [A]."""
    k_f_n_per_a: float
    """Push per ampere above no-load [N/A]."""
    r_ohm: float
    """Winding, brushes and leads at 20 degC [ohm]."""
    k_e_v_s_per_m: float
    """Back-EMF per rod speed [V s/m]."""
    v_ref: float
    """Voltage the data sheet holds for [V]."""
    full_load_speed_assumed: bool
    """The data sheet gave no full-load speed; ``ASSUMED_SPEED_RATIO`` stands in."""
    u_i0: float
    u_k_f: float
    u_r: float
    u_k_e: float
    variants: tuple["MotorLine", ...] = ()
    """This line with one data-sheet value at a time moved by its standard uncertainty."""


@lru_cache(maxsize=64)
def motor_line(actuator: Actuator) -> MotorLine:
    """Draw both lines through the data-sheet values.

    `k_f = F/(i_fl - i0)`, `R = V (1 - r)/(i_fl - r i0)` with `r = v_fl/v_nl`, `k_e = (V - i0 R)/v_nl`.

    Raises InputError where the values draw no line (full-load current not above no-load current, full-load speed not
    below no-load speed, anything zero, negative or not finite).

    >>> line = motor_line(Actuator(12, 0.2, 1500, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011))
    >>> round(line.k_f_n_per_a, 1), round(line.r_ohm, 3), round(line.k_e_v_s_per_m, 1)
    (555.6, 1.258, 679.2)
    """
    _refuse_impossible(actuator)
    u_sheet = from_half_width(DATA_SHEET_HALF_WIDTH)
    assumed = actuator.full_load_speed_m_s is None
    if assumed:
        ratio = ASSUMED_SPEED_RATIO
        u_ratio = from_half_width(ASSUMED_RATIO_HALF_WIDTH)
    else:
        ratio = (actuator.full_load_speed_m_s or 0.0) / actuator.no_load_speed_m_s
        # Full-load speed moves against no-load speed; the latter is moved on its own below.
        u_ratio = min(ratio * u_sheet, 0.5 * (1.0 - ratio))
    i0, i_full, v_free = actuator.no_load_current_a, actuator.full_load_current_a, actuator.no_load_speed_m_s
    u_current = min(i_full * u_sheet, 0.5 * (i_full - i0))
    best = _line(actuator, i0, i_full, v_free, ratio, assumed)
    moved = (
        _line(actuator, i0 * (1.0 - u_sheet), i_full, v_free, ratio, assumed),
        _line(actuator, i0, i_full - u_current, v_free, ratio, assumed),
        _line(actuator, i0, i_full, v_free * (1.0 - u_sheet), ratio, assumed),
        _line(actuator, i0, i_full, v_free, ratio - u_ratio, assumed),
    )
    best = replace(best, variants=moved)
    return replace(
        best,
        u_i0=propagated(best, lambda line: line.i0_a) / best.i0_a,
        u_k_f=propagated(best, lambda line: line.k_f_n_per_a) / best.k_f_n_per_a,
        u_r=propagated(best, lambda line: line.r_ohm) / best.r_ohm,
        u_k_e=propagated(best, lambda line: line.k_e_v_s_per_m) / best.k_e_v_s_per_m,
    )


SHEET_VALUES = 5
"""No-load current, full-load current, no-load speed, full-load speed or the assumed ratio of the two, rated push."""


def drawn_lines(actuator: Actuator, draws: FloatArray) -> tuple[MotorLine, NDArray[np.bool_]]:
    """The lines that a data sheet may stand for, as one whose constants are arrays, and which draws gave one.

    ``draws`` shape (SHEET_VALUES, n), each -1 to +1: where in its half-width a value lies. Shape (m,) and (n,): a draw of
    values that no motor has (full-load current not above no-load current, no slower under load) is left out.
    """
    spread = 1.0 + DATA_SHEET_HALF_WIDTH * draws
    i0, i_full = actuator.no_load_current_a * spread[0], actuator.full_load_current_a * spread[1]
    v_free = actuator.no_load_speed_m_s * spread[2]
    assumed = actuator.full_load_speed_m_s is None
    if actuator.full_load_speed_m_s is None:
        ratio = ASSUMED_SPEED_RATIO + ASSUMED_RATIO_HALF_WIDTH * draws[3]
    else:
        ratio = actuator.full_load_speed_m_s * spread[3] / v_free
    kept = np.asarray((i_full > i0) & (ratio < 1.0))
    line = _line(actuator, i0[kept], i_full[kept], v_free[kept], ratio[kept], assumed)
    return replace(line, k_f_n_per_a=line.k_f_n_per_a * spread[4][kept]), kept


def assumed_lines(actuator: Actuator) -> tuple[MotorLine, ...]:
    """The motor line at both ends of what was assumed for it; none where the data sheet leaves nothing to assume."""
    if actuator.full_load_speed_m_s is not None:
        return ()
    i0, i_full, v_free = actuator.no_load_current_a, actuator.full_load_current_a, actuator.no_load_speed_m_s
    ends = (
        ASSUMED_SPEED_RATIO - ASSUMED_RATIO_HALF_WIDTH,
        ASSUMED_SPEED_RATIO + ASSUMED_RATIO_HALF_WIDTH,
    )
    return tuple(_line(actuator, i0, i_full, v_free, ratio, True) for ratio in ends)


def propagated(line: MotorLine, prediction: Callable[[MotorLine], float]) -> float:
    """Standard uncertainty that the data sheet leaves in ``prediction(line)``, in the prediction's own unit.

    Root-sum-square of the changes when one data-sheet value at a time is moved by its standard uncertainty
    (JCGM 100, 5.1.3 note 2). 0 for a line without variants; inf where a moved line can't give the prediction.
    """
    best = prediction(line)
    changes = [prediction(moved) - best for moved in line.variants]
    total = float(sum(change * change for change in changes))
    return float(np.sqrt(total)) if np.isfinite(total) else float("inf")


def _line(
    actuator: Actuator, i0_a: Number, i_full_a: Number, v_free_m_s: Number, ratio: Number, assumed: bool
) -> MotorLine:
    volts = actuator.voltage_v
    r_ohm = volts * (1.0 - ratio) / (i_full_a - ratio * i0_a)
    return MotorLine(  # floats, or arrays of one shape for drawn lines
        i0_a=cast(float, i0_a),
        k_f_n_per_a=cast(float, actuator.rated_force_n / (i_full_a - i0_a)),
        r_ohm=cast(float, r_ohm),
        k_e_v_s_per_m=cast(float, (volts - i0_a * r_ohm) / v_free_m_s),
        v_ref=volts,
        full_load_speed_assumed=assumed,
        u_i0=0.0,
        u_k_f=0.0,
        u_r=0.0,
        u_k_e=0.0,
    )


def _refuse_impossible(actuator: Actuator) -> None:
    for name in (
        "voltage_v",
        "rated_force_n",
        "no_load_speed_m_s",
        "no_load_current_a",
        "full_load_current_a",
    ):
        value = getattr(actuator, name)
        if not (np.isfinite(value) and value > 0.0):
            raise InputError(
                f"{name.rsplit('_', 1)[0]} is {value}; no motor characteristic can be calculated from it",
                "actuator",
                "Copy the values from the data sheet; each is above zero.",
            )
    if actuator.full_load_current_a <= actuator.no_load_current_a:
        raise InputError(
            "the full-load current is not above the no-load current",
            "actuator",
            "Check whether the two were swapped.",
        )
    speed = actuator.full_load_speed_m_s
    if speed is not None and not (0.0 < speed < actuator.no_load_speed_m_s):
        raise InputError(
            "the full-load speed is not between zero and the no-load speed",
            "actuator",
            "Check whether the two were swapped; leave full_load_speed out if it isn't known.",
        )


def drive_efficiency(line: MotorLine) -> float:
    """Share of each further watt behind the winding that reaches the rod: `k_f / k_e` (N/A is V s/m), no unit.

    Over 1 the data sheet contradicts itself: more power out than in.
    """
    return line.k_f_n_per_a / line.k_e_v_s_per_m


def copper_at(ohm_at_20: Number, temperature_c: Number) -> Number:
    """Resistance of copper [ohm] at ``temperature_c`` [degC] (IEC 60028: 0.393 % per kelvin)."""
    return ohm_at_20 * (1.0 + COPPER_PER_K * (temperature_c - 20.0))


def resistance_at(line: MotorLine, temperature_c: Number) -> Number:
    """Resistance [ohm] with the winding at ``temperature_c`` [degC]; copper throughout."""
    return copper_at(line.r_ohm, temperature_c)


def current_at_force(line: MotorLine, force_n: Number) -> Number:
    """Running current [A] at a push of ``force_n`` [N]."""
    return line.i0_a + force_n / line.k_f_n_per_a


def force_at_current(line: MotorLine, current_a: Number) -> Number:
    """Push [N] at a running current [A]; below the no-load current it comes out negative."""
    return (current_a - line.i0_a) * line.k_f_n_per_a


def speed_at(
    line: MotorLine,
    current_a: Number,
    voltage_v: Number,
    temperature_c: Number = 20.0,
    source_ohm: Number = 0.0,
) -> Number:
    """Rod speed [m/s] at a current [A] and a voltage [V].

    ``voltage_v`` is at the motor; with ``source_ohm`` [ohm] it is the voltage without load behind that resistance.
    Negative: the voltage isn't enough to move.
    """
    left_over = voltage_v - current_a * (resistance_at(line, temperature_c) + source_ohm)
    return left_over / line.k_e_v_s_per_m


def stall_current(
    line: MotorLine, voltage_v: Number, source_ohm: Number = 0.0, temperature_c: Number = 20.0
) -> Number:
    """Current [A] when the rod stands still under ``voltage_v`` [V] behind ``source_ohm`` [ohm]."""
    return voltage_v / (resistance_at(line, temperature_c) + source_ohm)


def stall_force(
    line: MotorLine, voltage_v: Number, source_ohm: Number = 0.0, temperature_c: Number = 20.0
) -> Number:
    """Push [N] at which the rod comes to a stand, if nothing bends or slips before."""
    return force_at_current(line, stall_current(line, voltage_v, source_ohm, temperature_c))
