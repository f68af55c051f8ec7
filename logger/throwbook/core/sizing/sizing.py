"""Does this actuator suit this mechanism: asked before money is spent, after it is fitted, and beside every status.

It goes by the data sheet; what only a trial shows (a load over the way, a side load, whether it stays put with the
power off) it names as unknown. A suitability that nobody has answered raises nothing. It stands beside the status until it
is answered, so that "in service" never says more than was looked at.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from throwbook.core.assessment import FAIL, PASS, UNDECIDED, WATCH, Interval, worst_verdict
from throwbook.core.machine.electrical import (
    ASSUMED_DUTY,
    BLADE_SIZES_A,
    CONTINUOUS_SHARE,
    DEFAULT_PERIOD_S,
    FuseRow,
    fuse_row,
    fuse_time,
    longest_throw_s,
    read_code,
    rest_for,
    thinnest_for,
    throws_in_a_row,
)
from throwbook.core.machine.limits import MAX, Limit, decide, limits_for
from throwbook.core.machine.rig_validation import RigProblem, problems
from throwbook.core.quantities.rounding import rounded_down, rounded_up
from throwbook.core.quantities.units import at_reference, show, show_duration, show_interval, show_rest
from throwbook.core.rig import Rig
from throwbook.core.sizing import mechanics
from throwbook.core.sizing.mechanics import WARM_MOTOR_C, Finding, SizingCase, case_of
from throwbook.core.wording import BOTH_PINS, FALL, FIRE, HANDS

GOOD_DROP = 0.05
"""Voltage lost in the cable at the full-load current, as a share of nominal, that nobody minds. Common practice, no source."""
FUSE_MARGIN = 0.2
"""What a fuse that is advised carries for long beyond the full-load current, as a share of it: a cold latch draws more, a warm
cab takes from the fuse. Common practice, no source."""
START_S = 0.1
"""Each start draws the stall current for about this long at the most. Assumed."""
COMMISSIONING_THROWS = 10
"""Throws of the smallest commissioning sheet, both ways together."""


def stall(case: SizingCase) -> Finding:
    """Stall current: what supply, switch, relay and board have to bear; stall push: what rod and pins have to."""
    warm, cold, push = case.stall(), case.stall(case.coldest_c), case.stall_push()
    units = case.rig.units
    most = f"{rounded_up(cold.high, 1)} A"
    says = (
        f"a stalled motor draws {show_interval(warm, 'current')} with the motor at {at_reference(units)}, "
        f"{warm.value / case.rig.actuator.full_load_current_a:.1f} times the full-load current, and up to {most} at "
        f"{show(case.coldest_c, 'temperature', units)}. The inrush of each start reaches it for a moment. The rod pushes with {show_interval(push, 'force', units)} unless a "
        "clutch slips first"
    )
    current = f"Switch, relay, plug and board must withstand {most}."
    bears_n = case.rig.lock.bears_force_n
    if bears_n is None:
        return Finding(
            "stall",
            WATCH,
            f"{says}. Nobody has checked whether rod, pins and mounts withstand that",
            f"LOOK: rod, pins and mounts must withstand this force. Give what they withstand as lock.bears_force. {current}",
        )
    decision = decide(push, bears_n, MAX)
    says += f". Rod, pins and mounts withstand {show(bears_n, 'force', units)}"
    return Finding(
        "stall",
        decision,
        says,
        current if decision == PASS else f"Strengthen the weakest part. {current}",
    )


def cable(case: SizingCase) -> Finding:
    """Voltage lost in the cable at the full-load current and in a stall."""
    wiring, unit = case.rig.wiring, case.rig.actuator
    if wiring is None:
        return Finding(
            "cable",
            UNDECIDED,
            "cable and fuse are not entered, so voltage drop, wire size and fuse rating cannot be assessed",
            "Give wiring.conductor, wiring.length_one_way and wiring.fuse.",
        )
    ohm, lost, stalled = case.cable_ohm(), case.cable_drop(), case.stalled_drop()
    says = (
        f"{wiring.conductor}, {show(wiring.length_one_way_m, 'cable length', case.rig.units)} one way: "
        f"{show_interval(ohm, 'resistance')} there and back without plugs. Voltage drop {show_interval(lost, 'voltage')} at "
        f"{unit.full_load_current_a:g} A ({rounded_up(100 * lost.high / unit.voltage_v, 1)} % at most), up to "
        f"{rounded_up(stalled.high, 1)} V in a stall"
    )
    limit = case.limits["supply_under_load"]
    allowed_v = unit.voltage_v - limit.value
    decision = decide(lost, allowed_v, MAX)
    if decision != PASS:
        word = "more" if decision == FAIL else "perhaps more"
        return Finding(
            "cable",
            decision,
            f"{says}: {word} than the {rounded_down(100 * allowed_v / unit.voltage_v, 1)} % voltage drop allowed under load ({limit.limit_from})",
            "Choose a thicker or shorter cable.",
        )
    if lost.high > GOOD_DROP * unit.voltage_v:
        return Finding(
            "cable", WATCH, f"{says}: over {100 * GOOD_DROP:.0f} %", "A thicker cable would be better."
        )
    return Finding("cable", PASS, says)


def fuse(case: SizingCase) -> Finding:
    """Fuse against running current, against the cable, and in a stall."""
    wiring, unit = case.rig.wiring, case.rig.actuator
    if wiring is None or wiring.fuse_a is None:
        return Finding(
            "fuse",
            UNDECIDED,
            "no fuse is entered; a cable without a fuse can burn",
            "Give wiring.fuse, or fit one.",
        )
    rating = wiring.fuse_a
    kind = wiring.fuse_type or "blade"
    # A cold motor stalled on a good supply opens the fuse first, a warm one on a weak supply last.
    least_a = case.stall(WARM_MOTOR_C, case.lowest_voltage_v).low
    most_a = case.stall(case.coldest_c).high
    soonest_s = fuse_time(most_a, rating, kind).at_least_s
    latest_s = fuse_time(least_a, rating, kind).at_most_s
    says = (
        f"{rating:g} A {kind} carries {rounded_down(CONTINUOUS_SHARE * rating)} A for long (full-load current "
        f"{unit.full_load_current_a:g} A). A stall draws {rounded_down(least_a, 1)} A (motor warm, supply weak) to "
        f"{rounded_up(most_a, 1)} A (motor cold), {rounded_down(100 * least_a / rating, 0)} to "
        f"{rounded_up(100 * most_a / rating, 0)} % of the fuse. That {_opens(soonest_s, latest_s)}: the fuse protects the "
        "cable, not the motor"
    )
    row = fuse_row(wiring.area_m2)
    advice = _advice(unit.full_load_current_a, most_a, row)
    if rating < unit.full_load_current_a:
        return Finding("fuse", FAIL, f"{says}. It is below the full-load current", advice)
    at_most = f". For {wiring.conductor} the fuse may be {row.fuse_a:g} A at most ({row.text})" if row else ""
    if row is not None and rating > row.fuse_a:
        return Finding("fuse", FAIL, f"{says}{at_most}", advice)
    if CONTINUOUS_SHARE * rating < unit.full_load_current_a:
        return Finding("fuse", WATCH, f"{says}. It may blow in normal use", advice)
    if row is None:
        return Finding(
            "fuse",
            UNDECIDED,
            f"{says}. No table here covers {wiring.conductor}",
            "Look up the fuse that the cable's manufacturer and the local code allow.",
        )
    return Finding("fuse", PASS, f"{says}{at_most}")


def _advice(full_a: float, stall_most_a: float, row: FuseRow | None) -> str:
    """Which blade fuse carries the work and still protects the cable; which cable goes with it where none does."""
    size = next((size for size in BLADE_SIZES_A if bears_work(size, full_a, stall_most_a)), None)
    if size is None:
        return "No blade fuse listed here carries this work: ask the machine manufacturer."
    why = f"it carries the full-load current with {100 * FUSE_MARGIN:.0f} % to spare and each start"
    if row is not None and size <= row.fuse_a:
        nearest = max(size for size in BLADE_SIZES_A if size <= row.fuse_a)
        up_to = f" (up to {nearest:g} A protects the cable)" if nearest > size else ""
        return f"Choose {size:g} A: {why}{up_to}."
    thicker = thinnest_for(size)
    if thicker is None:
        return f"Choose {size:g} A: {why}. No table here shows which cable that protects: look it up."
    largest = [size for size in BLADE_SIZES_A if row is not None and size <= row.fuse_a]
    alone = f" The largest that protects this cable is {max(largest):g} A." if largest else ""
    return f"Choose {size:g} A with a cable of {thicker} or thicker: {why}.{alone}"


def bears_work(fuse_a: float, full_a: float, stall_most_a: float) -> bool:
    """Whether a fuse carries the full-load current for long with a margin, and the current of each start.

    A start draws the stall current for ``START_S``; the printed curve must not let the fuse open so soon, at the most
    that the stall current may be.
    """
    started = fuse_time(stall_most_a, fuse_a)
    return CONTINUOUS_SHARE * fuse_a >= (1.0 + FUSE_MARGIN) * full_a and started.at_least_s >= START_S


def _opens(at_least_s: float, at_most_s: float) -> str:
    if math.isinf(at_most_s):
        return "may never open it"
    soonest = f"after {at_least_s:g} s" if at_least_s else "at once"
    return f"opens it {soonest} at the soonest and {show_duration(at_most_s, 'min')} at the latest"


def duty(case: SizingCase) -> Finding:
    """Duty cycle and the rest it asks for: that of the sheets, after the longest throw the data sheet knows."""
    unit = case.rig.actuator
    if unit.duty_cycle is None:
        return Finding(
            "duty cycle",
            UNDECIDED,
            "no duty cycle is entered, so the rest between throws is not known",
            f"Look it up on the data sheet. Until then {100 * ASSUMED_DUTY:.0f} % is assumed when a sheet is planned.",
        )
    run_s = longest_throw_s(case.rig)
    period_s = unit.duty_period_s or DEFAULT_PERIOD_S
    rest_s = rest_for(run_s, unit.duty_cycle)
    in_a_row = throws_in_a_row(run_s, unit.duty_cycle, period_s)
    whole_s = COMMISSIONING_THROWS * run_s + (COMMISSIONING_THROWS - 1) * rest_s
    says = (
        f"{100 * unit.duty_cycle:g} %: a throw at full load, up to {show_duration(run_s, 'min')}, calls for {show_rest(rest_s)} of "
        f"rest. 5 lock and 5 unlock throws take {show_duration(whole_s, 'min')}. {in_a_row} throws in a row use up a cycle of "
        f"{show_duration(period_s)}{'' if unit.duty_period_s else ' (assumed: none is given)'}"
    )
    if in_a_row < 2:
        return Finding(
            "duty cycle",
            WATCH,
            f"{says}: not even lock and unlock",
            "Ask the manufacturer for the duty period.",
        )
    return Finding("duty cycle", PASS, says)


def protection(case: SizingCase) -> Finding:
    """The protection code in words."""
    code = case.rig.actuator.protection
    if code is None:
        return Finding(
            "protection",
            UNDECIDED,
            "no IP rating is entered, so its resistance to dust, jets and water is not known",
            "Look up the IP code on the data sheet or the nameplate.",
        )
    read = read_code(code)
    if read is None:
        return Finding(
            "protection", UNDECIDED, f"'{code}' can't be read", 'Write it as printed, for example "IP66".'
        )
    says = f"{read.code} keeps out {_listed(read.keeps_out)}"
    if read.lets_in:
        says += f". Not proved against {_listed(read.lets_in)}"
    if "water jets" in read.lets_in or "any water" in read.lets_in:
        return Finding(
            "protection", WATCH, says, "Keep hoses and pressure washers away from it, or shield it."
        )
    return Finding("protection", PASS, says)


def _listed(words: tuple[str, ...]) -> str:
    return "; ".join(words) if words else "nothing"


JUDGES: tuple[Callable[[SizingCase], Finding], ...] = (
    mechanics.stroke,
    mechanics.force,
    mechanics.time_and_current,
    stall,
    cable,
    fuse,
    duty,
    protection,
)


# (section, field, key in the rig file, what its lack leaves unknown)
MISSING: tuple[tuple[str, str, str, str], ...] = (
    ("lock", "needed_force_n", "lock.needed_force", "force margin, expected time and current"),
    (
        "lock",
        "excess_goes",
        "lock.excess_goes",
        "whether the motor stalls against the pins' stops on every throw",
    ),
    (
        "lock",
        "bears_force_n",
        "lock.bears_force",
        "whether rod, pins and mounts withstand the force of a stall",
    ),
    ("lock", "lowest_voltage_v", "lock.lowest_voltage", "whether it still throws on a weak battery"),
    ("lock", "coldest_c", "lock.coldest", "how much force the cold takes"),
    (
        "actuator",
        "full_load_speed_m_s",
        "actuator.full_load_speed",
        "time and stall current to better than a third",
    ),
    ("actuator", "duty_cycle", "actuator.duty_cycle", "how long it must rest between throws"),
    ("actuator", "protection", "actuator.protection", "its resistance to dust, jets and water"),
    ("rig", "wiring", "[wiring]", "voltage drop in the cable, and whether fuse and wire size fit together"),
    ("wiring", "fuse_a", "wiring.fuse", "whether the cable is protected"),
)
ALWAYS_UNKNOWN = (
    "whether the pins stay put with the power off (screw and gear may hold or not): try it when commissioning",
    "side load on the rod, and the load over the travel: the first bench throws show it",
)
CAUTIONS = (FALL, HANDS, BOTH_PINS)
CAUTION_AT = {"fuse": FIRE}
"""Cautions that stand beside one finding."""


@dataclass(frozen=True)
class Sizing:
    """What was found."""

    rig: Rig
    verdict: str
    """The worst of its findings."""
    findings: tuple[Finding, ...]
    problems: tuple[RigProblem, ...]
    missing: tuple[tuple[str, str], ...]
    """(key in the rig file, what its lack leaves unknown)"""
    assumed: tuple[str, ...]
    unknown: tuple[str, ...] = ALWAYS_UNKNOWN
    cautions: tuple[str, ...] = CAUTIONS
    numbers: Mapping[str, Interval | None] = field(default_factory=lambda: MappingProxyType({}))
    """SI; None where the rig's values don't give it, ends of NaN where its tolerance isn't known."""
    limits: Mapping[str, Limit] = field(default_factory=lambda: MappingProxyType({}))


def fit(rig: Rig) -> Sizing:
    """Judge ``rig``. A rig that contradicts itself gets its problems listed and nothing reckoned."""
    found = problems(rig)
    missing = tuple((key, leaves) for section, name, key, leaves in MISSING if _lacks(rig, section, name))
    if any(problem.grave for problem in found):
        grave = Finding(
            "rig file", FAIL, "its values contradict each other, so nothing is calculated from them"
        )
        return Sizing(rig, FAIL, (grave,), found, missing, ())
    case = case_of(rig)
    findings = tuple(judge(case) for judge in JUDGES)
    verdicts = [finding.verdict for finding in findings] + [WATCH for _ in found]
    return Sizing(
        rig,
        worst_verdict(verdicts),
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


def _numbers(case: SizingCase) -> dict[str, Interval | None]:
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


BLANK = "not recorded on the accepted sheet"


@dataclass(frozen=True)
class Gap:
    """One thing the status doesn't cover."""

    about: str
    """``fuse``, ``force margin``, ``not recorded: ...``"""
    fails: bool = False
    says: str = ""
    do: str = ""

    @property
    def short(self) -> str:
        """For a list of them."""
        return f"{self.about} FAILS" if self.fails else self.about

    @property
    def sentence(self) -> str:
        """Whole, with what to do."""
        said = f"{self.short}: {self.says}" if self.says else self.short
        return ". ".join(part.rstrip(".") for part in (said, self.do) if part) + "."


def not_covered(rig: Rig, blanks: Sequence[tuple[str, str]] = ()) -> tuple[Gap, ...]:
    """What fails first, then what is undecided, then what the accepted sheet left blank.

    ``blanks``: each as it was asked, and what the sheet can't claim for it.
    """
    open_findings = [one for one in fit(rig).findings if one.verdict in (FAIL, UNDECIDED)]
    open_findings.sort(key=lambda one: one.verdict != FAIL)
    gaps = [Gap(one.about, one.verdict == FAIL, one.says, one.do) for one in open_findings]
    if blanks:
        asked, claims = zip(*blanks, strict=True)
        about = f"{BLANK} ({', '.join(asked)})"
        gaps.append(Gap(about, says=f"not covered: {'; '.join(claims)}"))
    return tuple(gaps)


def coverage(gaps: Sequence[Gap]) -> str:
    """``coverage_line`` behind its own heading, without the last full stop."""
    return coverage_line(gaps).removeprefix("Not covered: ").rstrip(".")


def coverage_line(gaps: Sequence[Gap]) -> str:
    """One line beside a status; empty where nothing is open."""
    open_gaps = [one.short for one in gaps if not one.about.startswith(BLANK)]
    blanks = [one.about[len(BLANK) + 2 : -1] for one in gaps if one.about.startswith(BLANK)]
    said = [f"Not covered: suitability ({', '.join(open_gaps)})."] * bool(open_gaps)
    return " ".join((*said, *(f"{BLANK.capitalize()}: {one}." for one in blanks)))
