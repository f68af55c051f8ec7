"""Do supply, cable, fuse, duty cycle and enclosure suit the actuator."""

import math

from logger.core.assessment import FAIL, PASS, UNDECIDED, WATCH, Measured
from logger.core.fitting.fit_case import Case, Finding
from logger.core.machine.duty import DEFAULT_PERIOD_S, rest_for, throws_in_a_row
from logger.core.machine.limits import MAX
from logger.core.machine.protection import read_code
from logger.core.machine.wiring import (
    BLADE_SIZES_A,
    CONTINUOUS_SHARE,
    LARGEST_FUSE_FROM,
    fuse_time,
    largest_fuse_a,
    loop_ohm,
)
from logger.core.quantities.number_text import rounded_down
from logger.core.quantities.units import show, show_duration
from logger.core.stroke.verdict import decide

GOOD_DROP = 0.05
"""Voltage lost in the cable at the rated maximum, as a share of nominal, that nobody minds. Common practice, no source."""
FUSE_MARGIN = 0.2
"""What a fuse that is advised carries for long beyond the rated maximum, as a share of it: a cold latch draws more, a warm
cab takes from the fuse. Common practice, no source."""
START_S = 0.1
"""Each start draws the stall current for about this long at the most. Assumed."""
COMMISSIONING_THROWS = 10
"""Throws of the smallest commissioning sheet, both ways together."""


def stall(case: Case) -> Finding:
    """Stall current: what supply, switch, relay and board have to bear; stall push: what rod and pins have to."""
    warm, cold, push = case.stall(), case.stall(case.coldest_c), case.stall_push()
    units = case.rig.units
    says = (
        f"stalled it draws {show(warm.value, 'current', u=warm.u, with_u=True)} with the motor at 20 degC and about "
        f"{show(cold.value, 'current', u=cold.u)} at {show(case.coldest_c, 'temperature', units)}, "
        f"{warm.value / case.rig.actuator.full_load_current_a:.1f} times the rated maximum (each start draws it for an "
        f"instant), and pushes with about {show(push.value, 'force', units, u=push.u)} unless a clutch slips first"
    )
    current = "Switch, relay, plug and board must bear the current."
    bears_n = case.rig.lock.bears_force_n
    if bears_n is None:
        return Finding(
            "stall",
            WATCH,
            f"{says}. Nobody has looked whether rod, pins and mounts bear that",
            f"Look at rod, pins and mounts: do they bear that push? Give it as lock.bears_force. {current}",
        )
    decision = decide(push, bears_n, MAX)
    says += f". Rod, pins and mounts bear {show(bears_n, 'force', units)}"
    return Finding(
        "stall",
        decision,
        says,
        current if decision == PASS else f"Strengthen what bears the least. {current}",
    )


def cable(case: Case) -> Finding:
    """Voltage lost in the cable at the rated maximum and in a stall."""
    wiring, unit = case.rig.wiring, case.rig.actuator
    if wiring is None:
        return Finding(
            "cable",
            UNDECIDED,
            "the wiring isn't given, so nothing can be said about voltage lost, conductor and fuse",
            "Give [wiring]: conductor, length_one_way, fuse.",
        )
    ohm = loop_ohm(wiring)
    lost = unit.full_load_current_a * ohm
    share = lost / unit.voltage_v
    stalled = case.stall().value * ohm
    says = (
        f"{wiring.conductor}, {show(wiring.length_one_way_m, 'cable length', case.rig.units)} one way: {ohm:.3f} ohm there "
        f"and back without plugs; {lost:.2f} V lost at {unit.full_load_current_a:g} A ({100 * share:.1f} %), "
        f"{stalled:.1f} V in a stall"
    )
    allowed = 1.0 - case.limits["supply_under_load"].value / unit.voltage_v
    if share > allowed:
        return Finding(
            "cable",
            FAIL,
            f"{says}: more than the {rounded_down(100 * allowed, 1)} % that may be lost under load "
            f"({case.limits['supply_under_load'].limit_from})",
            "Take a thicker or shorter cable.",
        )
    if share > GOOD_DROP:
        return Finding(
            "cable", WATCH, f"{says}: over {100 * GOOD_DROP:.0f} %", "A thicker cable would be better."
        )
    return Finding("cable", PASS, says)


def fuse(case: Case) -> Finding:
    """Fuse against running current, against the cable, and in a stall."""
    wiring, unit = case.rig.wiring, case.rig.actuator
    if wiring is None or wiring.fuse_a is None:
        return Finding(
            "fuse",
            UNDECIDED,
            "no fuse is given; a cable without one can burn",
            "Give wiring.fuse, or fit one.",
        )
    rating = wiring.fuse_a
    kind = wiring.fuse_type or "blade"
    stalled = case.stall().value
    took = fuse_time(stalled, rating, kind)
    says = (
        f"{rating:g} A {kind} carries {rounded_down(CONTINUOUS_SHARE * rating)} A for long (rated maximum "
        f"{unit.full_load_current_a:g} A). A stall ({stalled:.3g} A, {100 * stalled / rating:.0f} %) {_opens(took.at_least_s, took.at_most_s)}"
        ": the fuse protects the cable, not the motor"
    )
    if rating < unit.full_load_current_a:
        return Finding(
            "fuse",
            FAIL,
            f"{says}. It is below the rated maximum",
            "Take a larger fuse, if the cable bears it.",
        )
    largest = largest_fuse_a(wiring.area_m2)
    if largest is not None and rating > largest:
        return Finding(
            "fuse",
            FAIL,
            f"{says}. For {wiring.conductor} the fuse may be {largest:g} A at most ({LARGEST_FUSE_FROM})",
            "Take a smaller fuse or a thicker cable.",
        )
    if CONTINUOUS_SHARE * rating < unit.full_load_current_a:
        return Finding(
            "fuse",
            WATCH,
            f"{says}. It may open in normal work",
            _larger(unit.full_load_current_a, case.stall(), largest),
        )
    if largest is None:
        return Finding(
            "fuse",
            UNDECIDED,
            f"{says}. No table here covers {wiring.conductor}",
            "Look up what fuse the cable's maker and the local code allow.",
        )
    says += f". {wiring.conductor} bears up to {largest:g} A ({LARGEST_FUSE_FROM})"
    return Finding("fuse", PASS, says)


def _larger(full_a: float, stall_a: Measured, largest_a: float | None) -> str:
    """Which blade fuse carries the work and still protects the cable; what else to do where none does."""
    size = next((size for size in BLADE_SIZES_A if bears_work(size, full_a, stall_a)), None)
    if size is None or largest_a is None or size > largest_a:
        return "Take the next larger, if the cable bears it; else a thicker cable with it."
    return f"Take {size:g} A: it carries the rated maximum with {100 * FUSE_MARGIN:.0f} % to spare, and each start."


def bears_work(fuse_a: float, full_a: float, stall_a: Measured) -> bool:
    """Whether a fuse carries the rated maximum for long with a margin, and the current of each start.

    A start draws the stall current for ``START_S``; the printed curve must not let the fuse open so soon, at the upper
    end of what the stall current may be.
    """
    started = fuse_time(stall_a.value + stall_a.u, fuse_a)
    return CONTINUOUS_SHARE * fuse_a >= (1.0 + FUSE_MARGIN) * full_a and started.at_least_s >= START_S


def _opens(at_least_s: float, at_most_s: float) -> str:
    if math.isinf(at_most_s):
        return "may never open it"
    return f"opens it after {at_least_s:g} s at the soonest and {show_duration(at_most_s)} at the latest"


def duty(case: Case) -> Finding:
    """Duty cycle and the rest it asks for."""
    unit = case.rig.actuator
    if unit.duty_cycle is None:
        return Finding(
            "duty cycle",
            UNDECIDED,
            "no duty cycle is given, so the rest between throws isn't known",
            "Look for it on the data sheet; until then a quarter of the time is assumed when a sheet is planned.",
        )
    push = case.rig.lock.needed_force_n
    run = case.run(0.5 * unit.rated_force_n if push is None else push, unit.voltage_v).time_s.value
    if math.isinf(run):
        return Finding(
            "duty cycle", UNDECIDED, "it would stall, so no run can be reckoned", "See the force margin."
        )
    period = unit.duty_period_s or DEFAULT_PERIOD_S
    rest = rest_for(run, unit.duty_cycle)
    in_a_row = throws_in_a_row(run, unit.duty_cycle, period)
    whole = COMMISSIONING_THROWS * run + (COMMISSIONING_THROWS - 1) * rest
    says = (
        f"{100 * unit.duty_cycle:g} %: a throw of {show_duration(run)} asks for {show_duration(rest)} of rest; 5 lock and "
        f"5 unlock throws take {show_duration(whole)}; {in_a_row} throws in a row use up a cycle of "
        f"{show_duration(period)}{'' if unit.duty_period_s else ' (usual where none is given)'}"
    )
    if in_a_row < 2:
        return Finding(
            "duty cycle", WATCH, f"{says}: not even lock and unlock", "Ask the maker for the duty period."
        )
    return Finding("duty cycle", PASS, says)


def protection(case: Case) -> Finding:
    """The protection code in words."""
    code = case.rig.actuator.protection
    if code is None:
        return Finding(
            "protection",
            UNDECIDED,
            "no protection code is given, so what it bears of dust, jets and water isn't known",
            "Look for the IP code on the data sheet or the type plate.",
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
