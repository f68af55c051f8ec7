"""Cable and fuse, duty type (IEC 60034-1) and IP code (IEC 60529) of an actuator.

Duty types, as public summaries of IEC 60034-1 give them (DUT-1 to DUT-3). S1: runs until it is as warm as it gets. S2: a
short run, then a rest until cold. S3: runs and rests in turn, never reaching a steady heat; the heat of starting is left
out of account. An actuator's duty cycle is meant as S3.

IP code: IEC 60529 (1989, with amendments 1 and 2), as several public summaries give it (IP-1 to IP-4); IP69K is the form of
ISO 20653.

A fuse protects the cable, not the motor: a stalled motor may sit below the fuse for minutes.
"""

import math
import re
from dataclasses import dataclass

from throwbook.core.assessment import Interval
from throwbook.core.quantities.text import quoted
from throwbook.core.quantities.units import parse
from throwbook.core.rig import (
    ASSUMED_RATIO_HALF_WIDTH,
    ASSUMED_SPEED_RATIO,
    DATA_SHEET_HALF_WIDTH,
    Rig,
    Wiring,
)
from throwbook.core.trace import FloatArray
from throwbook.errors import InputError

ASSUMED_DUTY = 0.25
"""Duty cycle where the data sheet gives none. Assumed."""
LEAST_SPEED = 0.1
"""A throw isn't reckoned slower than this share of its full-load speed: there the push may stall it. Assumed."""
DEFAULT_PERIOD_S = 600.0
"""Cycle over which an S3 duty is reckoned where none is given: 10 min (manufacturers' notes, DUT-3)."""


def running_share(run_s: float, rest_s: float) -> float:
    """Cyclic duration factor: share of the time spent running, 0..1.

    >>> round(running_share(5.0, 55.0), 4)
    0.0833
    """
    return run_s / (run_s + rest_s)


def rest_for(run_s: float, duty: float) -> float:
    """Rest [s] that a run of ``run_s`` [s] asks for at a duty of ``duty`` (0..1, above 0).

    >>> rest_for(600.0, 0.25)
    1800.0
    """
    return run_s * (1.0 - duty) / duty


def longest_throw_s(rig: Rig) -> float:
    """Longest run [s] of a throw by the data sheet: the whole stroke at the rated push, as slow as the sheet may be off.

    Both may be off: the full-load speed, and the push at which the motor has it. Without a full-load speed the least
    of the assumed ratio to the no-load speed stands in.
    """
    actuator = rig.actuator
    free_m_s = actuator.no_load_speed_m_s
    least_ratio = ASSUMED_SPEED_RATIO - ASSUMED_RATIO_HALF_WIDTH
    full_m_s = (1.0 - DATA_SHEET_HALF_WIDTH) * (actuator.full_load_speed_m_s or least_ratio * free_m_s)
    rated_over_true_push = 1.0 / (1.0 - DATA_SHEET_HALF_WIDTH)
    slowest_m_s = free_m_s - rated_over_true_push * (free_m_s - full_m_s)
    return actuator.stroke_m / max(slowest_m_s, LEAST_SPEED * full_m_s)


def longest_run(duty: float, period_s: float = DEFAULT_PERIOD_S) -> float:
    """Longest run [s] in one go: the running part of one cycle."""
    return duty * period_s


def throws_in_a_row(run_s: float, duty: float, period_s: float = DEFAULT_PERIOD_S) -> int:
    """Whole throws that fit into the running part of one cycle without a rest between."""
    return int(longest_run(duty, period_s) / run_s + 1e-9)


SOLIDS = {
    "0": "nothing solid",
    "1": "solid things from 50 mm",
    "2": "solid things from 12.5 mm",
    "3": "solid things from 2.5 mm",
    "4": "solid things from 1 mm",
    "5": "dust enough to keep working (some may get in)",
    "6": "all dust",
}
WATER = {
    "0": "no water at all",
    "1": "drops falling straight down",
    "2": "drops at a tilt up to 15 degrees",
    "3": "spray up to 60 degrees from above",
    "4": "splashing from any side",
    "5": "a water jet (6.3 mm nozzle, 12.5 litres a minute)",
    "6": "a strong water jet (12.5 mm nozzle, 100 litres a minute)",
    "7": "lying under water for a while (1 m, 30 minutes)",
    "8": "lying under water for longer, as agreed with the manufacturer",
    "9": "a hot high-pressure jet (80 degC, close up)",
}
_SPLASH, _STRONG_JET = 4, 6
_CODE = re.compile(r"IP ?([0-6X])([0-9X])(K?)[A-DHMSWF]*(?:/(?:IP ?)?([0-6X])?([0-9X])(K?))*", re.IGNORECASE)
_ONE = re.compile(r"([0-6X])?([0-9X])(K?)", re.IGNORECASE)


@dataclass(frozen=True)
class Protection:
    """A code that was read."""

    code: str
    solids: str
    """Largest first numeral; ``X``: not stated."""
    water: frozenset[str]
    """Second numerals it holds, those they include among them."""

    @property
    def keeps_out(self) -> tuple[str, ...]:
        """What it keeps out, in words, the strongest of each family."""
        kept = [] if self.solids in ("X", "0") else [SOLIDS[self.solids]]
        below_seven = [one for one in self.water if one <= "6" and one != "0"]
        if below_seven:
            kept.append(WATER[max(below_seven)])
        kept += [WATER[one] for one in ("7", "8", "9") if one in self.water]
        return tuple(kept)

    @property
    def lets_in(self) -> tuple[str, ...]:
        """What it is not tested against and a machine in the field meets, in words."""
        missing = []
        if self.solids == "X" or int(self.solids) < 6:
            missing.append("fine dust" if self.solids != "X" else "dust (not stated)")
        if not self.water or self.water == {"0"}:
            missing.append("any water")
            return tuple(missing)
        if "5" not in self.water:
            missing.append("water jets")
        elif "6" not in self.water:
            missing.append("strong water jets")
        if not self.water & {"7", "8"}:
            missing.append("lying under water")
        if "9" not in self.water:
            missing.append("hot high-pressure washing")
        return tuple(missing)


def read_code(text: str) -> Protection | None:
    """Read a code such as `IP66` or `IP66/IP67`; None where it is none.

    Second numerals up to 6 include all lower ones; 7, 8 and 9 don't include the jets (5, 6) unless marked with both.
    """
    plain = text.strip()
    if not _CODE.fullmatch(plain):
        return None
    solids, water = "X", set()
    for part in re.sub(r"(?i)ip ?", "", plain).split("/"):
        found = _ONE.match(part)
        if found is None:
            return None
        if found[1] and found[1] != "X":
            solids = found[1] if solids == "X" else max(solids, found[1])
        if found[2] in "xX":
            continue
        numeral = int(found[2])
        water |= {
            str(one)
            for one in range(min(numeral, _STRONG_JET) + 1)
            if numeral <= _STRONG_JET or one <= _SPLASH
        }
        water.add(str(numeral))
    return Protection(plain.upper().replace("IP ", "IP"), solids, frozenset(water))


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
GREATEST_OVER_SOLID = {"gauge": 1.026, "area": 1.157}
"""Greatest resistance of a stranded cable over that of solid copper of the same area: of a gauge by NFPA 70, chapter 9, table 8
(uncoated, seven strands over solid, the largest of 18 to 8 AWG); of an area without a row of its own the largest of
``IEC_CLASS_5``."""
LENGTH_HALF_WIDTH = 0.05
"""A length of cable holds within this share: it is measured along the machine, not on the loom. Assumed."""
CONTINUOUS_SHARE = 0.75
"""A blade fuse carries at most this share of its rating for long, at 25 degC (public guide to fuses, FUS-5)."""


# AWG of copper: largest fuse [A] that protects it (NFPA 70, 2017 and later, 240.4(D)(1) to (7), as public tables quote it).
# The local code and the machine manufacturer come before this table.
LARGEST_FUSE_A: dict[int, float] = {18: 7.0, 16: 10.0, 14: 15.0, 12: 20.0, 10: 30.0}
LARGEST_FUSE_FROM = "NFPA 70, 240.4(D); the local code and the machine manufacturer come first"


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
"""Ratings in which blade fuses are sold [A] (ISO 8820-3:2015, from memory)."""


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
                f"{quoted(text)} is not a gauge of a supply cable", where, "Type for example 14 AWG."
            )
        return _awg_area_m2(gauge)
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


def ohm_per_m(wiring: Wiring) -> Interval:
    """Resistance of one conductor at 20 degC [ohm/m], from solid copper of its area up to the greatest it may have.

    A nominal metric size: the greatest that IEC 60228 class 5 allows is also the one to reckon with. A gauge or any
    other area: solid copper.
    """
    least = copper_ohm_per_m(wiring.area_m2)
    if awg_of(wiring.conductor) is not None:
        return Interval(least, least, GREATEST_OVER_SOLID["gauge"] * least)
    for nominal, ohm_per_km in IEC_CLASS_5.items():
        if math.isclose(wiring.area_m2, nominal * 1e-6, rel_tol=1e-6):
            return Interval(ohm_per_km * 1e-3, least, ohm_per_km * 1e-3)
    return Interval(least, least, GREATEST_OVER_SOLID["area"] * least)


def loop_ohm(wiring: Wiring) -> float:
    """Resistance [ohm] there and back at 20 degC; plugs and switches come on top."""
    return 2.0 * wiring.length_one_way_m * ohm_per_m(wiring).value


CABLE_VALUES = 2
"""Length, and resistance for each metre."""


def drawn_loop_ohm(wiring: Wiring, draws: FloatArray) -> FloatArray:
    """Resistances [ohm] that the loop may have, shape (n,); ``draws`` shape (CABLE_VALUES, n), each -1 to +1."""
    each_m = ohm_per_m(wiring)
    per_m = 0.5 * (each_m.low + each_m.high) + 0.5 * (each_m.high - each_m.low) * draws[1]
    metres: FloatArray = 2.0 * wiring.length_one_way_m * (1.0 + LENGTH_HALF_WIDTH * draws[0])
    ohm: FloatArray = metres * per_m
    return ohm


@dataclass(frozen=True)
class FuseRow:
    """The row of ``LARGEST_FUSE_A`` that a cable takes."""

    gauge: int
    fuse_a: float

    @property
    def text(self) -> str:
        """The row and its source, as a finding prints it."""
        area = f"{_awg_area_m2(self.gauge) * 1e6:.2f} mm2"
        return (
            f"the row of {self.gauge} AWG, {area}, the nearest gauge that is not thicker; {LARGEST_FUSE_FROM}"
        )


def fuse_row(area_m2: float) -> FuseRow | None:
    """Row of a copper cable of this area: the largest gauge that it isn't thinner than.

    None: thinner than the smallest gauge of the table, or 8 AWG and more, of which it says nothing.
    """
    fits = [gauge for gauge in LARGEST_FUSE_A if area_m2 >= 0.999 * _awg_area_m2(gauge)]
    if not fits or area_m2 >= 0.999 * _awg_area_m2(8):
        return None
    gauge = min(fits)
    return FuseRow(gauge, LARGEST_FUSE_A[gauge])


def largest_fuse_a(area_m2: float) -> float | None:
    """Largest fuse [A] that protects a copper cable of this area; None: the table doesn't know it."""
    row = fuse_row(area_m2)
    return None if row is None else row.fuse_a


def thinnest_for(fuse_a: float) -> str | None:
    """The thinnest nominal metric size that a fuse [A] protects, as typed: `1.5 mm2`; None: the table knows none."""
    fits = [area for area in IEC_CLASS_5 if (largest_fuse_a(area * 1e-6) or 0.0) >= fuse_a]
    return f"{min(fits):g} mm2" if fits else None


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
