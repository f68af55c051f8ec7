"""Does the actuator suit the mechanism: stroke, push, time and current."""

import math

from logger.core.assessment import FAIL, PASS, UNDECIDED, WATCH, Interval
from logger.core.fitting.fit_case import Case, Finding
from logger.core.machine.expected_throw import travel_said
from logger.core.machine.limits import MAX
from logger.core.quantities.number_text import rounded_down, rounded_up
from logger.core.quantities.units import display_unit, show, show_interval, to_display
from logger.core.stroke.verdict import decide

LITTLE_EXCESS = 0.02
LARGE_EXCESS = 0.15
"""Stroke beyond the needed travel, as a share of it: under the first leaves nothing for wear and adjustment, over the
second has to be taken up by something made for it. Common practice, no source."""


def stroke(case: Case) -> Finding:
    """Stroke against needed travel, and where the excess goes."""
    rig = case.rig
    travel, have = rig.lock.needed_travel_m, rig.actuator.stroke_m
    excess = have - travel
    shown = f"stroke {_length(case, have)}, needed travel {_length(case, travel)}"
    if excess < 0.0:
        return Finding(
            "stroke",
            FAIL,
            f"{shown}: {_length(case, -excess)} short, so the pins can't go all the way",
            "Take an actuator with a longer stroke.",
        )
    goes = rig.lock.excess_goes
    spare = f"{shown}: {_length(case, excess)} to spare"
    if excess < LITTLE_EXCESS * travel:
        return Finding(
            "stroke",
            WATCH,
            f"{spare}, which leaves next to nothing for wear and adjustment",
            "Take the next longer stroke, or check the travel again on the machine.",
        )
    if goes is None:
        return Finding(
            "stroke",
            UNDECIDED,
            f"{spare}. The rod runs on to its own limit switch: if the pins reach their stops first, it stalls there at "
            "every throw",
            "Say where the excess goes (a spring, a slot, limit switches that can be set) in lock.excess_goes.",
        )
    taken = f"{spare}, taken up by: {goes}"
    if excess > LARGE_EXCESS * travel:
        return Finding("stroke", WATCH, f"{taken}. That is much", "Measure that it can take up that much.")
    return Finding("stroke", PASS, taken)


def force(case: Case) -> Finding:
    """Force margin at the lowest voltage, cold and dirty."""
    limit = case.limits["force_margin"]
    left = case.reckoned(case.push_left)
    factor = case.worst_factor()
    at = (
        f"At {case.lowest_voltage_v:.3g} V, {show(case.coldest_c, 'temperature', case.rig.units)} and dirty "
        f"(push needed times {factor.value:.2f}, {factor.low:.2f} to {factor.high:.2f}, assumed)"
    )
    worst = case.worst_push()
    if worst is None:
        return Finding(
            "force margin",
            UNDECIDED,
            f"the push the mechanism needs isn't known. {at} it may need at most {_at_most(case, case.most_push().low)} when clean and "
            f"warm to keep a margin of {rounded_up(100 * limit.value, 1)} %",
            "Measure it (a spring scale on the rod end of the mechanism, actuator off) and give lock.needed_force.",
        )
    margin = case.margin()
    assert margin is not None
    decision = decide(margin, limit.value, limit.side)
    says = (
        f"{at} the mechanism needs {_push(case, worst)} and the actuator gives {_push(case, left)}: margin "
        f"{show_interval(margin, 'share')}, asked for {rounded_up(100 * limit.value, 1)} % ({limit.limit_from})"
    )
    if margin.value <= 0.0 and decision == FAIL:
        beyond = "It would stall" if worst.value > case.stalls_at_best() else "That is beyond its rated push"
        return Finding("force margin", FAIL, f"{says}. {beyond}", "Take a stronger actuator.")
    do = {
        PASS: "",
        FAIL: "Take a stronger actuator, or ease the mechanism.",
        UNDECIDED: "Data sheet and assumed factor can't settle it: take a stronger actuator, or measure the push cold and dirty "
        "and try it on the bench at the lowest voltage.",
    }[decision]
    return Finding("force margin", decision, says, do)


def time_and_current(case: Case) -> Finding:
    """Expected running current and time at the load, nominal and at the worst."""
    nominal = case.rig.actuator.voltage_v
    limit = case.limits["run_current"]
    needed, hard = case.rig.lock.needed_force_n, case.worst_run()
    over = f"over {travel_said(case.rig)}"
    if needed is None or hard is None:
        idle = case.run(0.0, nominal)
        full = case.run(case.rig.actuator.rated_force_n, nominal)
        return Finding(
            "time and current",
            UNDECIDED,
            f"without the push needed only the range is known: {_a(idle.current_a)} and {_s(idle.time_s)} without load "
            f"to {_a(full.current_a)} and {_s(full.time_s)} at rated push, at {nominal:g} V {over}",
            "Give lock.needed_force; the first bench throws then show whether it holds.",
        )
    usual = case.run(needed, nominal)
    says = (
        f"{over}, clean and warm at {nominal:g} V: {_a(usual.current_a)}, {_s(usual.time_s)}; cold, dirty, motor warm, at "
        f"{case.lowest_voltage_v:.3g} V: {_a(hard.current_a)}, {_s(hard.time_s)}"
    )
    if math.isinf(hard.time_s.value):
        return Finding("time and current", FAIL, f"{says}: it would stall there", "Take a stronger actuator.")
    rated = case.rig.actuator.full_load_current_a
    says += f". Limit of the running current {rounded_down(limit.value, 2)} A ({limit.limit_from}), rated maximum {rated:g} A"
    decision = decide(usual.current_a, limit.value, limit.side)
    at_worst = decide(hard.current_a, rated, MAX)
    if decision == PASS and at_worst == FAIL:
        return Finding(
            "time and current",
            FAIL,
            f"{says}. At its worst it runs above the rated maximum",
            "Take a stronger actuator, or ease the mechanism.",
        )
    if decision == PASS and at_worst == UNDECIDED:
        return Finding(
            "time and current",
            UNDECIDED,
            f"{says}. At its worst it may run above the rated maximum",
            "Measure the current on the bench at the worst push, or take a stronger actuator.",
        )
    if decision == PASS and decide(hard.current_a, limit.value, limit.side) != PASS:
        return Finding(
            "time and current",
            WATCH,
            f"{says}. At its worst it may run above its limit",
            "Take a stronger actuator, or keep the mechanism clean and greased.",
        )
    do = "" if decision == PASS else "Take a stronger actuator, or measure the current on the bench."
    return Finding("time and current", decision, says, do)


def _length(case: Case, value_m: float) -> str:
    return show(value_m, "length", case.rig.units)


def _push(case: Case, push_n: Interval) -> str:
    return show_interval(push_n, "force", case.rig.units)


def _at_most(case: Case, value_n: float) -> str:
    number = to_display(value_n, "force", case.rig.units)
    return f"{rounded_down(number, 0)} {display_unit('force', case.rig.units)}"


def _a(current_a: Interval) -> str:
    return show_interval(current_a, "current")


def _s(time_s: Interval) -> str:
    return "never" if math.isinf(time_s.value) else show_interval(time_s, "time")
