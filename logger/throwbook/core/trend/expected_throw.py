"""What a healthy throw should take today: time and running current at a voltage and a temperature.

The model is ``expected_throw`` of the machine. From the baseline where there is one: its means, carried to today's voltage
by the motor line (exact) and to today's temperature by the rig's own slopes where its checks have shown them, else by the
allowances of ``series`` (assumed, and wide), the copper and the magnets. Without a baseline only the rating speaks, and only
when the push the mechanism needs is known; the cold adds to that push as much as in the judgement of an actuator.

Cold grease never helps: a throw in the cold is expected no quicker and no lighter than one in the baseline's weather,
however wide its interval.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from throwbook.core.analysis.baseline import Baseline
from throwbook.core.assessment import Interval
from throwbook.core.diagnosis.measure import UNKNOWN_C, throw_volt_seconds
from throwbook.core.machine.expected_throw import (
    RATED_C,
    magnets,
    rated_throw,
    time_of,
    travel_said,
)
from throwbook.core.machine.motor import MotorLine, motor_line, resistance_at
from throwbook.core.rig import Rig
from throwbook.core.trace import FloatArray
from throwbook.core.trend.control_chart import fit_line
from throwbook.core.trend.history import RUN_CURRENT, TRAVEL_TIME, RigHistory
from throwbook.core.trend.series import ALLOWANCES, lines_of, slopes, weather_columns
from throwbook.errors import InputError

ONE_MORE = 0.975
"""Chance that one more healthy throw lies below the upper end; so 95 % lie between both ends."""
ENOUGH_CHECKS, ENOUGH_K = 4, 10.0
"""Checks with a temperature, and how far apart the coldest and the warmest lie [K], from which on the rig's own slopes are
used (assumed; they are drawn to the allowance all the same)."""
OWN = 2
"""The slopes that answer to temperature come first in ``weather_columns``; that of voltage isn't needed here."""


@dataclass(frozen=True, eq=False)
class OwnWeather:
    """How one direction of a rig answers to temperature, as learned from its checks."""

    mean: Mapping[str, FloatArray]
    """By figure: relative slopes, shape (2,)."""
    covariance: Mapping[str, FloatArray]
    """By figure: shape (2, 2)."""
    checks: int
    """How many checks with a temperature it rests on."""


def own_weather(history: RigHistory, direction: str) -> OwnWeather | None:
    """What the rig's checks say of weather in one direction; None where they are too few or too alike."""
    mean, covariance, seen = {}, {}, np.array([])
    for figure in (RUN_CURRENT, TRAVEL_TIME):
        line, _ = lines_of(history, direction, figure)
        if line is None:
            return None
        seen = line.temperature_c[np.isfinite(line.temperature_c)]
        if len(seen) < ENOUGH_CHECKS or np.ptp(seen) < ENOUGH_K:
            return None
        learned = fit_line(line).learned
        mean[figure], covariance[figure] = learned.mean[:OWN], learned.covariance[:OWN, :OWN]
    return OwnWeather(mean, covariance, len(seen))


@dataclass(frozen=True)
class Expected:
    """One healthy throw as it should be; 95 % of single healthy throws lie in the intervals."""

    time_s: Interval
    run_current_a: Interval
    voltage_v: float
    temperature_c: float
    because: str
    """What it rests on."""
    least_time_s: float = 0.0
    """No healthy throw is quicker [s], however wide the interval."""
    least_current_a: float = 0.0
    """None runs lighter [A]."""

    @property
    def time_from_s(self) -> float:
        """Lower end of the expected time [s]; 95 % of healthy throws lie between both ends."""
        return max(self.time_s.low, self.least_time_s)

    @property
    def time_to_s(self) -> float:
        """Upper end of the expected time [s]."""
        return self.time_s.high

    @property
    def current_from_a(self) -> float:
        """Lower end of the expected running current [A]."""
        return max(self.run_current_a.low, self.least_current_a)

    @property
    def current_to_a(self) -> float:
        """Upper end of the expected running current [A]."""
        return self.run_current_a.high


def expected_throw(
    rig: Rig,
    baseline: Baseline | None,
    voltage_v: float | None,
    temperature_c: float,
    own: OwnWeather | None = None,
) -> Expected | None:
    """What one more healthy throw should take at ``voltage_v`` [V] and ``temperature_c`` [degC].

    ``voltage_v`` None: the baseline's own mean, or the nominal voltage. None where nothing can be said: no baseline
    and no known push, or a rating that draws no motor line. ``own``: the direction's own answer to weather, if known.
    """
    try:
        line = motor_line(rig.actuator)
    except InputError:
        return None
    if baseline is not None:
        usual_c = UNKNOWN_C if baseline.ambient_c is None else baseline.ambient_c
        found = _from_baseline(line, baseline, voltage_v, temperature_c, own)
        usual = _from_baseline(line, baseline, voltage_v, usual_c, own)
        if found is not None:
            return _no_easier(found, usual)
    found = _from_rating(rig, line, voltage_v, temperature_c)
    return found if found is None else _no_easier(found, _from_rating(rig, line, voltage_v, RATED_C))


def _no_easier(found: Expected, usual: Expected | None) -> Expected:
    """In the cold no quicker and no lighter than in the weather that was measured, or that the rating is for."""
    if usual is None or found.temperature_c >= usual.temperature_c:
        return found
    return replace(
        found,
        time_s=found.time_s.raised_to(usual.time_s.value),
        run_current_a=found.run_current_a.raised_to(usual.run_current_a.value),
        least_time_s=usual.time_from_s,
        least_current_a=usual.current_from_a,
    )


def _from_baseline(
    line: MotorLine,
    baseline: Baseline,
    voltage_v: float | None,
    temperature_c: float,
    own: OwnWeather | None,
) -> Expected | None:
    time, run = baseline.figures.get("travel_time_s"), baseline.figures.get("run_current_a")
    if time is None or run is None:
        return None
    measured_v = baseline.figures.get("mean_voltage_v")
    then_v = measured_v.mean if measured_v is not None else line.v_ref
    now_v = then_v if voltage_v is None else voltage_v
    then_c = UNKNOWN_C if baseline.ambient_c is None else baseline.ambient_c
    heavier, heavier_sd = _weather(RUN_CURRENT, then_c, temperature_c, own)
    slower, slower_sd = _weather(TRAVEL_TIME, then_c, temperature_c, own)
    current_a = run.mean * (1.0 + heavier)
    taken_vs, ohm = throw_volt_seconds(line, baseline), float(resistance_at(line, temperature_c))
    if taken_vs is None or now_v - current_a * ohm <= 0.1 * now_v:
        return None  # next to stall the line says nothing
    magnet, magnet_u = magnets(then_c, temperature_c)
    time_s = float(time_of(taken_vs * magnet, now_v, current_a, ohm))
    if own is not None:  # its checks' times, at one voltage, have in them what the heavier current costs
        drop_v = run.mean * line.r_ohm
        if now_v - drop_v <= 0.1 * now_v:
            return None
        time_s, magnet_u = time.mean * (then_v - drop_v) / (now_v - drop_v) * (1.0 + slower), 0.0
    weather = (
        "effect of weather assumed, not measured"
        if own is None
        else f"effect of weather from {own.checks} checks of this rig"
    )
    return Expected(
        Interval.about(
            time_s,
            time_s
            * hypot(
                time.reach(ONE_MORE) / time.mean, 2.0 * slower_sd, 2.0 * _between(TRAVEL_TIME), 2.0 * magnet_u
            ),
        ),
        Interval.about(
            current_a,
            current_a * hypot(run.reach(ONE_MORE) / run.mean, 2.0 * heavier_sd, 2.0 * _between(RUN_CURRENT)),
        ),
        now_v,
        temperature_c,
        f"{'provisional ' if baseline.provisional else ''}baseline of {baseline.n} throws over the full stroke, {weather}",
    )


def _weather(figure: str, then_c: float, now_c: float, own: OwnWeather | None) -> tuple[float, float]:
    """Relative change from one temperature to another, and its standard deviation."""
    columns = weather_columns(np.array([then_c, now_c]), np.zeros(2))
    moved = (columns[1] - columns[0])[:OWN]
    if own is not None:
        mean, covariance = own.mean[figure], own.covariance[figure]
    else:
        mean, sd = (one[:OWN] for one in slopes(ALLOWANCES[figure]))
        covariance = np.diag(sd**2)
    return float(moved @ mean), float(np.sqrt(moved @ covariance @ moved))


def _between(figure: str) -> float:
    """Scatter between two days, the baseline's and today's, relative (assumed, see ``series``)."""
    return float(np.sqrt(2.0)) * ALLOWANCES[figure].between_checks[0]


def _from_rating(rig: Rig, line: MotorLine, voltage_v: float | None, temperature_c: float) -> Expected | None:
    push_n = rig.lock.needed_force_n
    if push_n is None:
        return None
    volts = rig.actuator.voltage_v if voltage_v is None else voltage_v
    current_a, time_s = rated_throw(rig, line, push_n, volts, temperature_c, temperature_c)
    if not np.isfinite(time_s.value):
        return None
    because = f"data sheet and force needed only, over {travel_said(rig)}: no baseline yet"
    return Expected(time_s, current_a, volts, temperature_c, because)
