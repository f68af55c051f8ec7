"""The worst case a rig has to stand, every assumption named; stroke, push, time and current against it."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from throwbook.core.assessment import FAIL, PASS, UNDECIDED, WATCH, Interval
from throwbook.core.machine.expected_throw import (
    RATED_C,
    RatedThrow,
    Values,
    given_values,
    line_at,
    push_needed,
    rated_throw,
    reckoned,
    travel_said,
)
from throwbook.core.machine.limits import MAX, Limit, decide, limits_for
from throwbook.core.machine.motor import (
    MotorLine,
    Number,
    motor_line,
    stall_current,
    stall_force,
)
from throwbook.core.quantities.rounding import rounded_down, rounded_up
from throwbook.core.quantities.units import display_unit, show, show_interval, to_display
from throwbook.core.rig import Rig

COLDEST_ASSUMED_C = -10.0
"""Where the rig doesn't say [degC]. Assumed."""
LOWEST_VOLTAGE_SHARE = 0.90
"""Lowest supply, of the nominal one, where the rig doesn't say. Common practice, no source."""
WARM_MOTOR_C = 80.0
"""A motor after many throws [degC]: the weakest one meets the heaviest load. Assumed."""


@dataclass(frozen=True)
class Finding:
    """One thing judged."""

    about: str
    verdict: str
    """``pass`` · ``watch`` · ``fail`` · ``undecided``"""
    says: str
    do: str = ""


@dataclass(frozen=True)
class SizingCase:
    """A rig whose values draw a motor line, ready to be judged."""

    rig: Rig
    line: MotorLine
    limits: dict[str, Limit]
    lowest_voltage_v: float
    coldest_c: float
    assumed: tuple[str, ...]
    """What stands in for values that the rig doesn't give, one phrase each."""

    def worst_factor(self) -> Interval:
        """Push needed cold and dirty over push needed clean and warm."""
        return self.reckoned(lambda values: values.harder(self.coldest_c, dirty=True))

    def worst_push(self) -> Interval | None:
        """Push needed cold and dirty [N]; None: the rig doesn't say what it needs."""
        return push_needed(self.rig, self.line, self.coldest_c, dirty=True)

    def stalls_at(self, values: Values) -> Number:
        """Push [N] that stops it at the lowest voltage with a warm motor; 0: it doesn't even start."""
        warm = line_at(values.line, WARM_MOTOR_C, values.magnets_off)
        return np.maximum(0.0, stall_force(warm, self.lowest_voltage_v, values.supply_ohm))

    def push_left(self, values: Values) -> Number:
        """Push [N] it can give at the lowest voltage with a warm motor, never over the rated one."""
        return np.minimum(values.rated_push_n, self.stalls_at(values))

    def most_push(self) -> Interval:
        """Push [N] that the mechanism may need clean and warm and still leave the margin asked for."""
        asked = 1.0 + self.limits["force_margin"].value
        return self.reckoned(
            lambda values: self.push_left(values) / (values.harder(self.coldest_c, dirty=True) * asked)
        )

    def margin(self) -> Interval | None:
        """Push left over beyond the worst push needed, over that push; None: the rig doesn't say what it needs."""
        needed_n = self.rig.lock.needed_force_n
        if needed_n is None:
            return None
        return self.reckoned(
            lambda values: (
                self.push_left(values) / (needed_n * values.harder(self.coldest_c, dirty=True)) - 1.0
            )
        )

    def run(self, push_n: float, voltage_v: float) -> RatedThrow:
        """Current and time of a whole throw at a steady push [N], motor at 20 degC."""
        return rated_throw(self.rig, self.line, push_n, voltage_v)

    def worst_run(self) -> RatedThrow | None:
        """The same cold and dirty at the lowest voltage with a warm motor; None: the push isn't known."""
        needed_n = self.rig.lock.needed_force_n
        if needed_n is None:
            return None
        return rated_throw(
            self.rig, self.line, needed_n, self.lowest_voltage_v, WARM_MOTOR_C, self.coldest_c, dirty=True
        )

    def stall(self, temperature_c: float = RATED_C, voltage_v: float | None = None) -> Interval:
        """Stall current [A] behind the cable, at nominal voltage unless said, winding at ``temperature_c`` [degC]."""
        volts = self.rig.actuator.voltage_v if voltage_v is None else voltage_v
        return self.reckoned(
            lambda values: stall_current(values.line, volts, values.supply_ohm, temperature_c)
        )

    def stall_push(self) -> Interval:
        """Push [N] in a stall at nominal voltage behind the cable, motor at 20 degC."""
        volts = self.rig.actuator.voltage_v
        return self.reckoned(lambda values: stall_force(values.line, volts, values.supply_ohm))

    def cable_ohm(self) -> Interval:
        """Cable there and back at 20 degC [ohm]; 0 where the wiring isn't given."""
        return self.reckoned(lambda values: values.supply_ohm)

    def cable_drop(self) -> Interval:
        """Voltage [V] lost in the cable at the rated maximum current."""
        full_a = self.rig.actuator.full_load_current_a
        return self.reckoned(lambda values: full_a * values.supply_ohm)

    def stalled_drop(self) -> Interval:
        """Voltage [V] lost in the cable in a stall at nominal voltage, motor cold."""
        volts = self.rig.actuator.voltage_v
        return self.reckoned(
            lambda values: (
                values.supply_ohm * stall_current(values.line, volts, values.supply_ohm, self.coldest_c)
            )
        )

    def stalls_at_best(self) -> float:
        """``stalls_at`` of the values as they are given [N]."""
        return float(self.stalls_at(given_values(self.rig, self.line)))

    def reckoned(self, prediction: Callable[[Values], Number]) -> Interval:
        """A prediction with the 95 % interval that data sheet and assumptions leave."""
        return reckoned(self.rig, self.line, prediction)


def case_of(rig: Rig) -> SizingCase:
    """Make a case of ``rig``. Raises InputError where its values draw no motor line."""
    assumed = []
    lowest, coldest = rig.lock.lowest_voltage_v, rig.lock.coldest_c
    if lowest is None:
        lowest = LOWEST_VOLTAGE_SHARE * rig.actuator.voltage_v
        assumed.append(f"lowest supply {lowest:.3g} V ({100 * LOWEST_VOLTAGE_SHARE:.0f} % of nominal)")
    if coldest is None:
        coldest = COLDEST_ASSUMED_C
        assumed.append(f"coldest {coldest:g} degC")
    if rig.wiring is None:
        assumed.append("a cable without resistance")
    line = motor_line(rig.actuator)
    if line.full_load_speed_assumed:
        assumed.append("full-load speed three quarters of the no-load speed")
    return SizingCase(rig, line, limits_for(rig), lowest, coldest, tuple(assumed))


LITTLE_EXCESS = 0.02
LARGE_EXCESS = 0.15
"""Stroke beyond the needed travel, as a share of it: under the first leaves nothing for wear and adjustment, over the
second has to be taken up by something made for it. Common practice, no source."""


def stroke(case: SizingCase) -> Finding:
    """Stroke against needed travel, and where the excess goes."""
    rig = case.rig
    travel, have = rig.lock.needed_travel_m, rig.actuator.stroke_m
    excess = have - travel
    shown = f"stroke {_length(case, have)}, travel needed {_length(case, travel)}"
    if excess < 0.0:
        return Finding(
            "stroke",
            FAIL,
            f"{shown}: {_length(case, -excess)} short, so the pins cannot travel all the way",
            "Choose an actuator with a longer stroke.",
        )
    goes = rig.lock.excess_goes
    spare = f"{shown}: {_length(case, excess)} to spare"
    if excess < LITTLE_EXCESS * travel:
        return Finding(
            "stroke",
            WATCH,
            f"{spare}, which leaves next to nothing for wear and adjustment",
            "Choose the next longer stroke, or measure the travel on the machine again.",
        )
    if goes is None:
        return Finding(
            "stroke",
            UNDECIDED,
            f"{spare}. The rod keeps moving until its own limit switch opens. If the pins reach their stops first, the motor stalls there on every throw",
            "Say what takes up the spare stroke (a spring, a slot, adjustable limit switches) in lock.excess_goes.",
        )
    taken = f"{spare}, taken up by: {goes}"
    if excess > LARGE_EXCESS * travel:
        return Finding("stroke", WATCH, f"{taken}. That is a lot", "Measure that it can take up that much.")
    return Finding("stroke", PASS, taken)


def force(case: SizingCase) -> Finding:
    """Force margin at the lowest voltage, cold and dirty."""
    limit = case.limits["force_margin"]
    left = case.reckoned(case.push_left)
    factor = case.worst_factor()
    at = f"At {case.lowest_voltage_v:.3g} V, {show(case.coldest_c, 'temperature', case.rig.units)} and dirty (force needed times {factor.value:.2f}, {factor.low:.2f} to {factor.high:.2f}, assumed)"
    worst = case.worst_push()
    if worst is None:
        return Finding(
            "force margin",
            UNDECIDED,
            f"the force needed to move the latch is not known. {at} it may be {_at_most(case, case.most_push().low)} at most, measured clean and warm, to leave a margin of {rounded_up(100 * limit.value, 1)} %",
            "Attachment on the ground, power isolated, actuator detached: measure it with a spring scale where the rod attaches. Give lock.needed_force.",
        )
    margin = case.margin()
    assert margin is not None
    decision = decide(margin, limit.value, limit.side)
    says = (
        f"{at} the mechanism needs {_push(case, worst)} and the actuator gives {_push(case, left)}: margin "
        f"{show_interval(margin, 'share')}, at least {rounded_up(100 * limit.value, 1)} % required ({limit.limit_from})"
    )
    if margin.value <= 0.0 and decision == FAIL:
        beyond = (
            "The motor would stall"
            if worst.value > case.stalls_at_best()
            else "That is above its rated force"
        )
        return Finding("force margin", FAIL, f"{says}. {beyond}", "Choose a stronger actuator.")
    do = {
        PASS: "",
        FAIL: "Choose a stronger actuator, or make the mechanism move more freely.",
        UNDECIDED: "The data sheet and the assumed dirt and cold leave it open. Choose a stronger actuator, or measure the force cold and dirty and test it on the bench at the lowest voltage.",
    }[decision]
    return Finding("force margin", decision, says, do)


def time_and_current(case: SizingCase) -> Finding:
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
            f"without the force needed only the range is known. It goes from {_a(idle.current_a)} and {_s(idle.time_s)} at no load to {_a(full.current_a)} and {_s(full.time_s)} at rated force, at {nominal:g} V {over}",
            "Give lock.needed_force. The first bench throws then show whether it is right.",
        )
    usual = case.run(needed, nominal)
    says = (
        f"{over}, clean and warm at {nominal:g} V: {_a(usual.current_a)}, {_s(usual.time_s)}; cold, dirty, motor warm, at "
        f"{case.lowest_voltage_v:.3g} V: {_a(hard.current_a)}, {_s(hard.time_s)}"
    )
    if math.isinf(hard.time_s.value):
        return Finding(
            "time and current", FAIL, f"{says}: the motor would stall there", "Choose a stronger actuator."
        )
    rated = case.rig.actuator.full_load_current_a
    says += f". Limit of the running current {rounded_down(limit.value, 2)} A ({limit.limit_from}), full-load current {rated:g} A"
    decision = decide(usual.current_a, limit.value, limit.side)
    at_worst = decide(hard.current_a, rated, MAX)
    if decision == PASS and at_worst == FAIL:
        return Finding(
            "time and current",
            FAIL,
            f"{says}. At its worst it runs above the full-load current",
            "Choose a stronger actuator, or make the mechanism move more freely.",
        )
    if decision == PASS and at_worst == UNDECIDED:
        return Finding(
            "time and current",
            UNDECIDED,
            f"{says}. At its worst it may run above the full-load current",
            "Measure the current on the bench at the greatest force, or choose a stronger actuator.",
        )
    if decision == PASS and decide(hard.current_a, limit.value, limit.side) != PASS:
        return Finding(
            "time and current",
            WATCH,
            f"{says}. At its worst it may run above its limit",
            "Choose a stronger actuator, or keep the mechanism clean and greased.",
        )
    do = "" if decision == PASS else "Choose a stronger actuator, or measure the current on the bench."
    return Finding("time and current", decision, says, do)


def _length(case: SizingCase, value_m: float) -> str:
    return show(value_m, "length", case.rig.units)


def _push(case: SizingCase, push_n: Interval) -> str:
    return show_interval(push_n, "force", case.rig.units)


def _at_most(case: SizingCase, value_n: float) -> str:
    number = to_display(value_n, "force", case.rig.units)
    return f"{rounded_down(number, 0)} {display_unit('force', case.rig.units)}"


def _a(current_a: Interval) -> str:
    return show_interval(current_a, "current")


def _s(time_s: Interval) -> str:
    return "never" if math.isinf(time_s.value) else show_interval(time_s, "time")
