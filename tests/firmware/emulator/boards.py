"""The boards that can be emulated, one row each. Own numbers, apart from the firmware's.

A new sketch gets a row here, and every test of a stroke runs it.
"""

from collections.abc import Callable
from dataclasses import dataclass

ANALOG, INA219, INA226 = "analog", "ina219", "ina226"
"""What stands at the chip's pins, as the host takes it: voltages at A0 and A1, or a sensor on the I2C bus."""

SHUNT_OHM = 0.002
HALL_V_PER_A = 0.100
HALF_SUPPLY_V = 2.5
DIVIDER = 10.0 / 57.0
"""47 kohm over 10 kohm."""


@dataclass(frozen=True)
class Board:
    """A sketch and the sensor that it reads."""

    sketch: str
    """Its folder in firmware-sketches."""
    attached: str
    pins: Callable[[float, float], tuple[float, float]]
    """Current [A] and supply voltage [V] to what the pins see [V]."""
    lsb_a: float
    """Ampere of one count."""
    voltage_u_v: float
    """How far a voltage may be off: one count and a half of it, behind the divider [V]."""

    @property
    def analog(self) -> bool:
        """Whether the chip's own converter reads it."""
        return self.attached == ANALOG


def shunt_pins(current_a: float, voltage_v: float) -> tuple[float, float]:
    """Volts over the shunt and on the bus pin."""
    return current_a * SHUNT_OHM, voltage_v


def hall_pins(current_a: float, voltage_v: float) -> tuple[float, float]:
    """Volts at A0 and A1."""
    return HALF_SUPPLY_V + current_a * HALL_V_PER_A, voltage_v * DIVIDER


BOARDS: dict[str, Board] = {
    "hall": Board("hall_sensor", ANALOG, hall_pins, 0.0489, 0.06),
    "ina219": Board("shunt_monitor", INA219, shunt_pins, 0.005, 0.004),
    "ina226": Board("shunt_monitor", INA226, shunt_pins, 0.00125, 0.004),
}
