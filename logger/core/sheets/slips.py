"""Readings typed with a slip: 86 s for 8.6 s, running and peak exchanged. A written throw is never taken back, so it is asked before it is written.

The bounds are wide on purpose: what lies beyond them isn't a bad throw, it is no throw of this actuator.
"""

from logger.core.assessment import CUT_OFF, Assessment
from logger.core.machine.rating import motor_line, resistance_at
from logger.core.quantities.units import show
from logger.core.rig import Rig
from logger.core.sheets.byhand_lines import HandThrow
from logger.core.stroke.expectation import HIGHEST_SUPPLY

TIMES_OFF = 5.0
"""A whole throw that takes so many times as long as its volts and amperes ask for, or as short. Common practice, no source."""
OF_STALL, OF_NO_LOAD = 2.0, 0.2
"""No motor draws more than twice its stall current, nor less than a fifth of its no-load current while it runs."""
OF_NOMINAL = (0.4, 2.0)
"""A motor that runs has a supply between these shares of the nominal voltage."""
COLDEST_C = -40.0
"""Where no air temperature was read: the coldest, at which a winding carries most."""


def slip(throw: HandThrow, judged: Assessment, rig: Rig) -> str:
    """What can't be meant, in words, or "".

    ``judged`` is the throw as ``assess_by_hand`` judges it.
    """
    for rule in (_amps, _standing, _exchanged, _volts):
        if told := rule(throw, rig):
            return told
    return _time(throw, judged)  # last: it is judged by amperes and volts


def _time(throw: HandThrow, judged: Assessment) -> str:
    ratio = next((one.measured for one in judged.checks if one.name == "travel_time_high"), None)
    if throw.time_s is None or ratio is None or throw.ended != CUT_OFF:
        return ""
    if 1.0 / TIMES_OFF <= ratio.value <= TIMES_OFF:
        return ""
    took, due = show(throw.time_s.value, "time"), show(throw.time_s.value / ratio.value, "time")
    return f"it took {took} where about {due} is due"


def _amps(throw: HandThrow, rig: Rig) -> str:
    stall_a = rig.actuator.voltage_v / float(motor_line(rig.actuator).r_ohm)
    least_a = OF_NO_LOAD * rig.actuator.no_load_current_a
    for word, one in (("running", throw.run_current_a), ("peak", throw.peak_current_a)):
        if one is None:
            continue
        amps = show(one.value, "current")
        if one.value > OF_STALL * stall_a:
            return f"{amps} {word} is far above what the motor can draw ({show(stall_a, 'current')} stalled)"
        if throw.ended == CUT_OFF and one.value < least_a:
            idle = show(rig.actuator.no_load_current_a, "current")
            return f"{amps} {word} is far below what the motor draws without load ({idle})"
    return ""


def _standing(throw: HandThrow, rig: Rig) -> str:
    """A motor that turned all the way never averaged what it draws standing still."""
    if throw.run_current_a is None or throw.ended != CUT_OFF:
        return ""
    line = motor_line(rig.actuator)
    volts = throw.voltage_v or throw.rest_voltage_v
    air_c = throw.ambient_c.value if throw.ambient_c else COLDEST_C
    least_ohm = float(resistance_at(line, air_c)) * max(1.0 - 2.0 * line.u_r, 0.5)
    most_a = (volts.value if volts else HIGHEST_SUPPLY * line.v_ref) / least_ohm
    if throw.run_current_a.value <= most_a:
        return ""
    amps = show(throw.run_current_a.value, "current")
    return f"{amps} running is more than the motor draws standing still ({show(most_a, 'current')} at most)"


def _exchanged(throw: HandThrow, rig: Rig) -> str:
    """The highest reading is never below the running one, by more than the last digits of both."""
    run, peak = throw.run_current_a, throw.peak_current_a
    if run is None or peak is None or peak.value >= run.value - run.step - peak.step:
        return ""
    return f"{show(peak.value, 'current')} peak is below {show(run.value, 'current')} running: were they exchanged?"


def _volts(throw: HandThrow, rig: Rig) -> str:
    nominal = rig.actuator.voltage_v
    for one in (throw.voltage_v, throw.rest_voltage_v):
        if one is not None and not OF_NOMINAL[0] <= one.value / nominal <= OF_NOMINAL[1]:
            return f"{show(one.value, 'voltage')} is no supply of an actuator for {show(nominal, 'voltage')}"
    return ""
