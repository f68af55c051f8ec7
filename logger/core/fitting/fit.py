"""Does this actuator suit this mechanism? Asked before money is spent, and again after it is fitted.

It reckons from the data sheet; what only a trial shows (a load over the way, a side load, whether it stays put with the
power off) it names as unknown.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from logger.core.assessment import FAIL, PASS, UNDECIDED, WATCH, Interval
from logger.core.cautions import BOTH_PINS, FALL, FIRE, HANDS
from logger.core.fitting import fit_electrics, fit_mechanics
from logger.core.fitting.fit_case import Case, Finding, case_of
from logger.core.machine.limits import Limit, limits_for
from logger.core.machine.rig_check import problems
from logger.core.machine.rig_numbers import Problem
from logger.core.rig import Rig

JUDGES: tuple[Callable[[Case], Finding], ...] = (
    fit_mechanics.stroke,
    fit_mechanics.force,
    fit_mechanics.time_and_current,
    fit_electrics.stall,
    fit_electrics.cable,
    fit_electrics.fuse,
    fit_electrics.duty,
    fit_electrics.protection,
)

# (section, field, key in the rig file, what its lack leaves unknown)
MISSING: tuple[tuple[str, str, str, str], ...] = (
    ("lock", "needed_force_n", "lock.needed_force", "force margin, expected time and current"),
    ("lock", "excess_goes", "lock.excess_goes", "whether it stalls against the pins' stops at every throw"),
    ("lock", "bears_force_n", "lock.bears_force", "whether rod, pins and mounts bear the push of a stall"),
    ("lock", "lowest_voltage_v", "lock.lowest_voltage", "whether it still throws on a weak battery"),
    ("lock", "coldest_c", "lock.coldest", "how much push the cold takes"),
    (
        "actuator",
        "full_load_speed_m_s",
        "actuator.full_load_speed",
        "time and stall current closer than a third",
    ),
    ("actuator", "duty_cycle", "actuator.duty_cycle", "how long it must rest between throws"),
    ("actuator", "protection", "actuator.protection", "what it bears of dust, jets and water"),
    ("rig", "wiring", "[wiring]", "voltage lost in the cable, and whether fuse and conductor agree"),
    ("wiring", "fuse_a", "wiring.fuse", "whether the cable is protected"),
)
ALWAYS_UNKNOWN = (
    "whether the pins stay put with the power off (screw and gear may hold or not): try it when commissioning",
    "side load on the rod, and the load over the way: the first bench throws show it",
)
CAUTIONS = (FALL, HANDS, BOTH_PINS)
CAUTION_AT = {"fuse": FIRE}
"""Cautions that stand beside one finding."""
_WORST_FIRST = (FAIL, UNDECIDED, WATCH, PASS)


@dataclass(frozen=True)
class Fit:
    """What was found."""

    rig: Rig
    verdict: str
    """The worst of its findings."""
    findings: tuple[Finding, ...]
    problems: tuple[Problem, ...]
    missing: tuple[tuple[str, str], ...]
    """(key in the rig file, what its lack leaves unknown)"""
    assumed: tuple[str, ...]
    unknown: tuple[str, ...] = ALWAYS_UNKNOWN
    cautions: tuple[str, ...] = CAUTIONS
    numbers: Mapping[str, Interval | None] = field(default_factory=lambda: MappingProxyType({}))
    """SI; None where the rig's values don't give it, ends of NaN where its tolerance isn't known."""
    limits: Mapping[str, Limit] = field(default_factory=lambda: MappingProxyType({}))


def fit(rig: Rig) -> Fit:
    """Judge ``rig``. A rig that contradicts itself gets its problems listed and nothing reckoned."""
    found = problems(rig)
    missing = tuple((key, leaves) for section, name, key, leaves in MISSING if _lacks(rig, section, name))
    if any(problem.grave for problem in found):
        grave = Finding(
            "rig file", FAIL, "its values contradict each other, so nothing is reckoned from them"
        )
        return Fit(rig, FAIL, (grave,), found, missing, ())
    case = case_of(rig)
    findings = tuple(judge(case) for judge in JUDGES)
    verdicts = [finding.verdict for finding in findings] + [WATCH for _ in found]
    return Fit(
        rig,
        min(verdicts, key=_WORST_FIRST.index),
        findings,
        found,
        missing,
        case.assumed,
        numbers=_numbers(case),
        limits=limits_for(rig),
    )


def _lacks(rig: Rig, section: str, name: str) -> bool:
    part = rig if section == "rig" else getattr(rig, section)
    return part is not None and getattr(part, name) is None


def _numbers(case: Case) -> dict[str, Interval | None]:
    """Figures by name, unit at its end as everywhere."""
    lock, actuator, wiring = case.rig.lock, case.rig.actuator, case.rig.wiring
    needed = lock.needed_force_n
    usual = None if needed is None else case.run(needed, actuator.voltage_v)
    hard = case.worst_run()
    excess_m = actuator.stroke_m - lock.needed_travel_m
    return {
        "excess_stroke_m": Interval(excess_m, math.nan, math.nan),  # nobody gives a tolerance of either
        "push_at_worst_n": case.reckoned(case.push_left),
        "needed_push_at_worst_n": case.worst_push(),
        "force_margin": case.margin(),
        "run_current_a": None if usual is None else usual.current_a,
        "travel_time_s": None if usual is None else usual.time_s,
        "run_current_at_worst_a": None if hard is None else hard.current_a,
        "travel_time_at_worst_s": None if hard is None else hard.time_s,
        "stall_current_a": case.stall(),
        "stall_push_n": case.stall_push(),
        "cable_ohm": None if wiring is None else case.cable_ohm(),
        "cable_drop_v": None if wiring is None else case.cable_drop(),
    }
