"""Whether a record's columns can be in the units they were read in. A guess is put to a person, never acted upon.

A board samples some times to some thousand times a second, and a motor draws what its rating lets it draw. A step of
5 s, a current a thousand times the rating, or a throw drawn in milliampere, is a column in another unit: nothing that
such a record shows may raise or answer an order.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from throwbook.core.diagnosis.assess import assess_record
from throwbook.core.machine.motor import motor_line
from throwbook.core.rig import Rig
from throwbook.core.trace import FloatArray, Trace

TIME, CURRENT, VOLTAGE = "time", "current", "voltage"

STEPS_S = (50e-6, 0.25)
"""Shortest and longest step from row to row of a board: 20 kHz to 4 Hz. Common practice, no source."""
STROKES = (0.02, 20.0)
"""A throw lasts between these times the stroke at no-load speed, a stall and an endless run among them. Assumed."""
FAR = 20.0
"""So many times the stall current, or the nominal voltage, is another unit and no fault. Assumed."""
FAINT = 0.05
"""Less than this share of the no-load current all the way is no running motor in ampere. Assumed."""
OF_NOMINAL = (0.4, 2.0)
"""A supply lies between these shares of the nominal voltage."""
STEADY = 0.2
"""The voltage of a supply wanders less than this, as a share; that of a wire that hangs in the air wanders more."""

TIME_UNITS = {"ms": 1e-3, "us": 1e-6, "min": 60.0, "d": 86400.0}
"""What a column of times may be in: unit, seconds."""


@dataclass(frozen=True)
class OddUnit:
    """A column that is likely in another unit."""

    quantity: str
    """``time``, ``current`` or ``voltage``."""
    what: str
    """One sentence: what doesn't fit, and the option that reads it otherwise."""


def odd_units(trace: Trace, rig: Rig) -> list[OddUnit]:
    """Columns of ``trace`` [s, A, V] that no board and no actuator of this rating gives."""
    if len(trace) < 3:
        return []
    found = (
        (TIME, _odd_time(trace, rig)),
        (CURRENT, _odd_current(trace, rig)),
        (VOLTAGE, _odd_voltage(trace.voltage_v, rig.actuator.voltage_v)),
    )
    return [OddUnit(quantity, what) for quantity, what in found if what]


def _odd_time(trace: Trace, rig: Rig) -> str:
    steps = np.diff(trace.time_s)
    step_s = float(np.median(steps))
    flows_s = _flows(trace.current_a) * len(trace) * step_s
    stroke_s = rig.actuator.stroke_m / rig.actuator.no_load_speed_m_s
    if STEPS_S[0] <= step_s <= STEPS_S[1] and flows_s <= 5.0 * STROKES[1] * stroke_s:
        return ""
    fitting = [
        unit
        for unit, factor in TIME_UNITS.items()
        if STEPS_S[0] <= step_s * factor <= STEPS_S[1]
        and STROKES[0] <= flows_s * factor / stroke_s <= STROKES[1]
    ]
    ways = [f"--time-unit {unit}" for unit in fitting]
    if bool(np.all(steps == 1.0)):
        ways.insert(0, "--rate 200, if the column counts rows at 200 a second")
    told = f"its rows are {_digits(step_s)} s apart and its current flows for {_digits(flows_s)} s, where a stroke takes some {_digits(stroke_s)} s"
    return f"{told}{_ways(ways)}"


def _flows(current_a: FloatArray) -> float:
    """Share of the rows in which current flows, whatever the column's unit is."""
    size = np.abs(current_a)
    return float(np.mean(size > 0.2 * np.percentile(size, 99)))


def _odd_current(trace: Trace, rig: Rig) -> str:
    line = motor_line(rig.actuator)
    stall_a = line.v_ref / line.r_ohm
    size = np.abs(trace.current_a)
    level_a = float(np.percentile(size, 95))
    amps = f"{_digits(level_a)} A"
    if level_a > FAR * stall_a:
        ways = ["--current-unit mA" if level_a * 1e-3 <= FAR * stall_a else "--current-unit uA"]
        most = f"{_digits(stall_a)} A at most"
        return f"it shows {amps} where this actuator draws {most}{_ways(ways)}"
    if float(size.max()) >= FAINT * line.i0_a:
        return ""
    larger = [
        one.figures
        for one in assess_record(replace(trace, current_a=trace.current_a * 1e3), rig)
        if one.usable
    ]
    # Noise and drift have neither a start nor an end, or a current that its own ± swallows; a throw shows one at least.
    thrown = [
        one.run_current_a
        for one in larger
        if one.run_current_a is not None and (one.start_s is not None or one.travel_time_s is not None)
    ]
    if not any(one.value >= max(0.2 * line.i0_a, one.u) for one in thrown):
        return ""
    ways = ["--current-unit A, if its header says mA", "--current-unit kA"]
    return f"it shows a throw, but of {amps}{_ways(ways)}"


def _odd_voltage(voltage_v: FloatArray | None, nominal_v: float) -> str:
    if voltage_v is None:
        return ""
    middle_v = float(np.median(voltage_v))
    volts, due = f"{_digits(middle_v)} V", f"{_digits(nominal_v)} V"
    if middle_v > FAR * nominal_v:
        unit = "mV" if middle_v * 1e-3 <= FAR * nominal_v else "uV"
        return f"it shows {volts} on a supply of {due}{_ways([f'--voltage-unit {unit}'])}"
    steady = float(np.std(voltage_v)) < STEADY * abs(middle_v)
    if steady and OF_NOMINAL[0] <= middle_v * 1e3 / nominal_v <= OF_NOMINAL[1]:
        ways = ["--voltage-unit V, if its header says mV", "--voltage-unit kV"]
        return f"it shows {volts} on a supply of {due}{_ways(ways)}"
    return ""


def _ways(ways: Sequence[str]) -> str:
    return f" (in another unit: {', or '.join(ways)})" if ways else ""


def _digits(number: float) -> str:
    return f"{number:,.0f}" if number >= 100.0 else f"{number:.3g}"
