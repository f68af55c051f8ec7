"""Weather and supply taken out of a figure, so that checks of different days can be compared.

Two steps, and no guessing:

1. **Voltage, exact.** Given the current, the motor line says how time and energy answer to voltage. That is arithmetic.
2. **Temperature (and what is left of voltage), learned.** Friction answers to temperature in a way that no data sheet
   gives. It starts from physics with a wide *allowance*: a mean and a standard deviation for each slope. As checks in
   other weather come in, ``rise`` learns the rig's own slopes; few checks leave them near the allowance. Warm and cold
   have slopes of their own, so that grease that stiffens only in frost needn't look like grease that always thickens.

A temperature or voltage that wasn't recorded is not guessed: the check counts, with a wider uncertainty.
"""

from dataclasses import dataclass
from math import hypot

import numpy as np

from logger.core.machine.rating import MotorLine
from logger.core.seasons.season import (
    ENERGY,
    PEAK_RUN_CURRENT,
    RUN_CURRENT,
    SOURCE_RESISTANCE,
    TAKE_UP,
    TRAVEL_TIME,
)
from logger.core.trace import FloatArray

REFERENCE_C = 20.0
"""Every corrected figure is what it would have been at this temperature [degC] and at nominal voltage."""
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

    Slopes are relative changes (``TAKE_UP``: shares of the stroke). Each pair is (mean, standard deviation).
    Assumed: grease makes 0-15 % of the running current at 20 degC and stiffens two- to threefold by -10 degC.
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
