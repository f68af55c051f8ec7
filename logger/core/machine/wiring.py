"""Copper and fuses: resistance and voltage drop of a cable, what a fuse carries, when it opens, what it protects.

A fuse protects the cable, not the motor: a stalled motor may sit below the fuse for minutes.
"""

import math
import re
from dataclasses import dataclass

from logger.core.machine.rating import COPPER_PER_K
from logger.core.quantities.plain import quoted
from logger.core.quantities.units import parse
from logger.core.rig import Wiring
from logger.errors import InputError

COPPER_OHM_MM2_PER_KM = 17.241
"""Annealed copper at 20 degC (IEC 60028)."""

# Nominal area [mm2]: greatest resistance [ohm/km] at 20 degC of plain fine-stranded copper (IEC 60228, class 5).
# Vehicle cable is fine-stranded; the greatest value the standard allows is the one to reckon with.
IEC_CLASS_5: dict[float, float] = {
    0.5: 39.0,
    0.75: 26.0,
    1.0: 19.5,
    1.5: 13.3,
    2.5: 7.98,
    4.0: 4.95,
    6.0: 3.30,
    10.0: 1.91,
    16.0: 1.21,
}
# The same for class 2 (stranded, plain): stiffer cable.
IEC_CLASS_2: dict[float, float] = {
    0.5: 36.0,
    0.75: 24.5,
    1.0: 18.1,
    1.5: 12.1,
    2.5: 7.41,
    4.0: 4.61,
    6.0: 3.08,
    10.0: 1.83,
    16.0: 1.15,
}

CONTINUOUS_SHARE = 0.75
"""A blade fuse carries at most this share of its rating for long, at 25 degC (public guide to fuses, FUS-5)."""

# AWG of copper: largest fuse [A] that protects it (NFPA 70, 240.4(D), as quoted by public tables). A metric cable takes
# the row of the largest gauge that it isn't thinner than. The local code and the machine maker come before this table.
LARGEST_FUSE_A: dict[int, float] = {18: 7.0, 16: 10.0, 14: 15.0, 12: 20.0, 10: 30.0}
LARGEST_FUSE_FROM = "NFPA 70, 240.4(D); the local code and the machine maker come first"

# fuse type: (percent of rating, shortest time [s], longest time [s]) at the points its sheet gives; None: not given.
# Sheet figures second hand from public design files that quote ISO 8820-3 (FUS-1 to FUS-3); 110 % of the small
# ratings and the 0.04 s from memory (FUS-4).
FUSE_POINTS: dict[str, tuple[tuple[float, float | None, float | None], ...]] = {
    "blade": (
        (110.0, 360_000.0, None),
        (135.0, 0.75, 600.0),
        (160.0, 0.25, 50.0),
        (200.0, 0.15, 5.0),
        (350.0, 0.04, 0.5),
        (600.0, None, 0.15),
    ),
    "maxi blade": ((100.0, 360_000.0, None), (135.0, 60.0, 1800.0), (200.0, 2.0, 50.0), (350.0, 0.2, 7.0)),
}

BLADE_SIZES_A = (2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0)
"""Ratings in which blade fuses are sold [A] (ISO 8820-3, from memory)."""


@dataclass(frozen=True)
class FuseTime:
    """Between which times a fuse opens; it can't be told closer."""

    at_least_s: float
    at_most_s: float
    """inf: it may never open."""


def conductor(text: str, where: str = "") -> float:
    """Cross-section [m2] of a conductor as typed: `2.5 mm2`, `14 AWG`, `AWG 14`.

    Raises InputError where it is neither.

    >>> round(conductor("14 AWG") * 1e6, 3)
    2.081
    """
    gauge = awg_of(text)
    if gauge is not None:
        if not 0 <= gauge <= 40:
            raise InputError(
                f"{quoted(text)} is no gauge of a supply cable", where, "Type for example 14 AWG."
            )
        return math.pi / 4.0 * awg_diameter_m(gauge) ** 2
    return parse(text, "area", where)


def awg_of(text: str) -> int | None:
    """The gauge number in `14 AWG` or `AWG 14`; None where the text is no gauge."""
    found = re.fullmatch(r"(?i)\s*(?:awg\s*(\d{1,2})|(\d{1,2})\s*awg)\s*", text)
    return int(found[1] or found[2]) if found else None


def awg_diameter_m(gauge: int) -> float:
    """Diameter [m] of a solid wire: `0.127 mm * 92^((36 - n)/39)` (ASTM B258)."""
    return float(0.127e-3 * 92.0 ** ((36 - gauge) / 39.0))


def copper_ohm_per_m(area_m2: float) -> float:
    """Solid copper at 20 degC [ohm/m]."""
    return COPPER_OHM_MM2_PER_KM * 1e-9 / area_m2


def at_temperature(ohm_at_20: float, temperature_c: float) -> float:
    """Resistance at ``temperature_c`` [degC] (IEC 60028: 0.393 % per kelvin)."""
    return ohm_at_20 * (1.0 + COPPER_PER_K * (temperature_c - 20.0))


def factor_to_20(temperature_c: float) -> float:
    """Factor from a resistance measured at ``temperature_c`` [degC] to 20 degC: `250/(230 + t)` (IEC 60228)."""
    return 250.0 / (230.0 + temperature_c)


def ohm_per_m(wiring: Wiring) -> float:
    """Resistance of one conductor at 20 degC [ohm/m].

    A nominal metric size: the greatest that IEC 60228 class 5 allows. A gauge or any other area: solid copper.
    """
    if awg_of(wiring.conductor) is None:
        for nominal, ohm_per_km in IEC_CLASS_5.items():
            if math.isclose(wiring.area_m2, nominal * 1e-6, rel_tol=1e-6):
                return ohm_per_km * 1e-3
    return copper_ohm_per_m(wiring.area_m2)


def loop_ohm(wiring: Wiring, temperature_c: float = 20.0) -> float:
    """Resistance [ohm] there and back at ``temperature_c``; plugs and switches come on top."""
    return at_temperature(2.0 * wiring.length_one_way_m * ohm_per_m(wiring), temperature_c)


def drop_v(wiring: Wiring, current_a: float, temperature_c: float = 20.0) -> float:
    """Voltage [V] lost in the cable at a current [A]."""
    return current_a * loop_ohm(wiring, temperature_c)


def largest_fuse_a(area_m2: float) -> float | None:
    """Largest fuse [A] that protects a copper cable of this area; None: thinner or thicker than the table knows."""
    thickest = max(LARGEST_FUSE_A.values())
    fits = [fuse for gauge, fuse in LARGEST_FUSE_A.items() if area_m2 >= 0.999 * _awg_area_m2(gauge)]
    if not fits or (max(fits) == thickest and area_m2 >= 0.999 * _awg_area_m2(8)):
        return None
    return max(fits)


def _awg_area_m2(gauge: int) -> float:
    return math.pi / 4.0 * awg_diameter_m(gauge) ** 2


def fuse_time(current_a: float, fuse_a: float, fuse_type: str = "blade") -> FuseTime:
    """Between which times [s] a fuse of ``fuse_a`` opens at a steady current, both [A].

    Only the points of the sheet are used and nothing is drawn between them: a current between two points opens the
    fuse no sooner than the higher one could, and no later than the lower one must.
    """
    percent = 100.0 * abs(current_a) / fuse_a
    points = FUSE_POINTS.get(fuse_type, FUSE_POINTS["blade"])
    soonest = [least for at, least, _ in points if least is not None and at >= percent - 1e-9]
    latest = [most for at, _, most in points if most is not None and at <= percent + 1e-9]
    return FuseTime(max(soonest, default=0.0), min(latest, default=math.inf))
