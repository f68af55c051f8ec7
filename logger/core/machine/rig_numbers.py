"""Each figure of a rig by itself: a number at all, above zero, not absurd."""

import math
from dataclasses import dataclass

from logger.core.quantities.unit_table import KINDS
from logger.core.quantities.units import show
from logger.core.rig import Rig


@dataclass(frozen=True)
class Problem:
    """One thing that doesn't fit."""

    key: str
    """As in the rig file: ``actuator.stroke``."""
    what: str
    do: str
    grave: bool


# Figures that must be above zero: (section, field, key, kind, smallest and largest that is not absurd [SI]).
# The bounds are wide: anything from a cabin latch to a crane. Common practice, no source.
NUMBERS: tuple[tuple[str, str, str, str, float, float], ...] = (
    ("lock", "needed_travel_m", "lock.needed_travel", "length", 0.002, 2.0),
    ("lock", "needed_force_n", "lock.needed_force", "force", 1.0, 1e6),
    ("lock", "bears_force_n", "lock.bears_force", "force", 1.0, 1e6),
    ("lock", "lowest_voltage_v", "lock.lowest_voltage", "voltage", 1.0, 120.0),
    ("actuator", "voltage_v", "actuator.voltage", "voltage", 3.0, 120.0),
    ("actuator", "stroke_m", "actuator.stroke", "length", 0.002, 2.0),
    ("actuator", "rated_force_n", "actuator.rated_force", "force", 5.0, 1e6),
    ("actuator", "no_load_speed_m_s", "actuator.no_load_speed", "speed", 1e-4, 1.0),
    ("actuator", "full_load_speed_m_s", "actuator.full_load_speed", "speed", 1e-4, 1.0),
    ("actuator", "no_load_current_a", "actuator.no_load_current", "current", 0.005, 200.0),
    ("actuator", "full_load_current_a", "actuator.full_load_current", "current", 0.01, 500.0),
    ("actuator", "duty_cycle", "actuator.duty_cycle", "share", 0.005, 1.0),
    ("actuator", "duty_period_s", "actuator.duty_period", "time", 1.0, 86400.0),
    ("wiring", "area_m2", "wiring.conductor", "area", 0.1e-6, 200e-6),
    ("wiring", "length_one_way_m", "wiring.length_one_way", "cable length", 0.05, 100.0),
    ("wiring", "fuse_a", "wiring.fuse", "current", 0.1, 500.0),
)


def bad_numbers(rig: Rig) -> list[Problem]:
    """A grave problem for each figure that can't be right, whatever the others say."""
    found = []
    for section, name, key, kind, least, most in NUMBERS:
        part = getattr(rig, section)
        value = None if part is None else getattr(part, name)
        if value is None:
            continue
        do = "Copy it from the data sheet again." if section == "actuator" else "Measure it again."
        if not math.isfinite(value):
            found.append(Problem(key, "is not a number", do, True))
        elif value <= 0.0:
            found.append(Problem(key, f"is {show(value, kind)}; it must be above zero", do, True))
        elif not least <= value <= most:
            word = "small" if value < least else "large"
            shown = show(value, kind) if kind == "share" else f"{value:.3g} {KINDS[kind].si}"
            found.append(Problem(key, f"is {shown}, absurdly {word}", do, True))
    coldest = rig.lock.coldest_c
    if coldest is not None and not -60.0 <= coldest <= 50.0:
        found.append(Problem("lock.coldest", "is no working temperature", "Type for example -10 degC.", True))
    return found
