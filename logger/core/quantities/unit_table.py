"""The kinds of quantity this program knows, and the units that people type most."""

from dataclasses import dataclass

from logger.core.rig import METRIC, US


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: what it is measured in, and what counts as absurd."""

    a_name: str
    """As in a sentence: "a length"."""
    si: str
    """The unit of its floats."""
    example: str
    least: float
    most: float
    """Beyond these a value is a slip of the pen, whatever it is of [SI]."""
    shown: dict[str, tuple[str, int]]
    """Unit system: display unit, and decimals where no uncertainty says better."""


def _both(unit: str, decimals: int) -> dict[str, tuple[str, int]]:
    return {METRIC: (unit, decimals), US: (unit, decimals)}


KINDS: dict[str, Kind] = {
    "length": Kind("a length", "m", "188 mm", 0.0, 1e3, {METRIC: ("mm", 1), US: ("in", 2)}),
    "cable length": Kind("a length", "m", "6 m", 0.0, 1e3, {METRIC: ("m", 1), US: ("ft", 1)}),
    "speed": Kind("a speed", "m/s", "11 mm/s", 0.0, 1e2, {METRIC: ("mm/s", 1), US: ("in/s", 3)}),
    "force": Kind("a force", "N", "1500 N", 0.0, 1e7, {METRIC: ("N", 0), US: ("lbf", 0)}),
    "current": Kind("a current", "A", "2.1 A", -1e4, 1e4, _both("A", 2)),
    "voltage": Kind("a voltage", "V", "12.6 V", 0.0, 1e3, _both("V", 2)),
    "time": Kind("a time", "s", "14.3 s", 0.0, 1e9, _both("s", 1)),
    "temperature": Kind(
        "a temperature", "degC", "-5 degC", -90.0, 300.0, {METRIC: ("degC", 1), US: ("degF", 1)}
    ),
    "resistance": Kind("a resistance", "ohm", "0.12 ohm", 0.0, 1e6, _both("ohm", 3)),
    "area": Kind("a cross-section", "m2", "2.5 mm2", 0.0, 1e-2, _both("mm2", 2)),
    "charge": Kind("a charge", "A s", "30 A s", 0.0, 1e9, _both("A s", 1)),
    "energy": Kind("an energy", "J", "360 J", 0.0, 1e12, _both("J", 0)),
    "power": Kind("a power", "W", "25 W", 0.0, 1e9, _both("W", 1)),
    "share": Kind("a share", "1", "25 %", 0.0, 1e3, _both("%", 1)),
}

# unit as typed: (kind, factor to SI, offset in SI): SI = number * factor + offset.
COMMON: dict[str, tuple[str, float, float]] = {
    "mm": ("length", 1e-3, 0.0),
    "cm": ("length", 1e-2, 0.0),
    "m": ("length", 1.0, 0.0),
    "in": ("length", 0.0254, 0.0),
    '"': ("length", 0.0254, 0.0),
    "inch": ("length", 0.0254, 0.0),
    "ft": ("length", 0.3048, 0.0),
    "mm/s": ("speed", 1e-3, 0.0),
    "m/s": ("speed", 1.0, 0.0),
    "in/s": ("speed", 0.0254, 0.0),
    "N": ("force", 1.0, 0.0),
    "kN": ("force", 1e3, 0.0),
    "lbf": ("force", 4.4482216152605, 0.0),
    "kgf": ("force", 9.80665, 0.0),
    "A": ("current", 1.0, 0.0),
    "mA": ("current", 1e-3, 0.0),
    "V": ("voltage", 1.0, 0.0),
    "mV": ("voltage", 1e-3, 0.0),
    "s": ("time", 1.0, 0.0),
    "sec": ("time", 1.0, 0.0),
    "ms": ("time", 1e-3, 0.0),
    "min": ("time", 60.0, 0.0),
    "h": ("time", 3600.0, 0.0),
    "degC": ("temperature", 1.0, 0.0),
    "°C": ("temperature", 1.0, 0.0),
    "degF": ("temperature", 5.0 / 9.0, -160.0 / 9.0),
    "°F": ("temperature", 5.0 / 9.0, -160.0 / 9.0),
    "ohm": ("resistance", 1.0, 0.0),
    "Ohm": ("resistance", 1.0, 0.0),
    "mohm": ("resistance", 1e-3, 0.0),
    "mm2": ("area", 1e-6, 0.0),
    "A s": ("charge", 1.0, 0.0),
    "J": ("energy", 1.0, 0.0),
    "W": ("power", 1.0, 0.0),
    "%": ("share", 1e-2, 0.0),
}
