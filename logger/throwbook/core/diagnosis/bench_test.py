"""An actuator on the bench, off the machine: is it what its data sheet says, and what is its own motor line.

Two things are judged for each direction: the no-load current and the time for the full stroke, against the rating; and
whether the limit switch cut it off. The same throws then refine the rig's motor line: the data sheet is taken as known
only within its own uncertainty, and each measured throw pulls the line towards what this very actuator did (linear
least squares with a prior, JCGM 100 for the uncertainties).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from throwbook.core.assessment import (
    CUT_OFF,
    FAIL,
    PASS,
    STALL,
    UNDECIDED,
    Assessment,
    Check,
    Measured,
)
from throwbook.core.diagnosis.verdict import WITHOUT_VOLTAGE_U, check
from throwbook.core.machine.expected_throw import stroke_volt_seconds, time_of
from throwbook.core.machine.limits import (
    LONG_BAND,
    MAX,
    MIN,
    PRACTICE,
    SHORT_BAND,
    SHORT_STROKE_S,
    STROKE_TESTS,
    Limit,
)
from throwbook.core.machine.motor import MotorLine, motor_line
from throwbook.core.quantities.rounding import judged_text, limit_text
from throwbook.core.quantities.statistics import combined, expanded, from_half_width, type_a
from throwbook.core.rig import DIRECTIONS, Rig
from throwbook.core.trace import FloatArray, Trace
from throwbook.core.wording import BENCH_LIMITS

NO_LOAD_SHARE = 1.3
"""The no-load current may be so much of the data sheet's. Common practice, no source."""
STROKE_SHARE_U = 0.01
"""Standard uncertainty of the full stroke, as a share. Common practice, no source."""
SURGE_SHARE_U = 0.05
"""Standard uncertainty of either end of the resistance bracket, as a share; assumed."""
FRICTION_SHARE_U = 0.03
"""Standard uncertainty with which one no-load current stands for the actuator's, as a share: it varies from throw to
throw and with warmth. Common practice, no source."""


@dataclass(frozen=True)
class CutOff:
    """Whether the limit switch of one end cut the current off."""

    direction: str
    decision: str
    """``pass`` · ``fail`` · ``undecided``"""
    say: str


@dataclass(frozen=True)
class BenchTest:
    """The judged bench test."""

    checks: tuple[Check, ...]
    cut_offs: tuple[CutOff, ...]
    verdict: str
    """``pass`` · ``fail`` · ``undecided``"""
    because: str
    line: MotorLine
    """The motor line refined by these throws; as the data sheet has it where none could be used."""
    throws_used: int


def judge_bench(rig: Rig, throws: Sequence[tuple[Trace, Assessment]]) -> BenchTest:
    """Judge the throws of one bench test, both directions together. Without load; the full stroke each time."""
    judged = [assessment for _, assessment in throws]
    checks = tuple(one for direction in DIRECTIONS for one in _checks(rig, direction, _of(direction, judged)))
    cut_offs = tuple(_cut_off(direction, _of(direction, judged)) for direction in DIRECTIONS)
    line, used = refined(rig, throws)
    verdict, because = _verdict(checks, cut_offs)
    return BenchTest(checks, cut_offs, verdict, because, line, used)


def refined(rig: Rig, throws: Sequence[tuple[Trace, Assessment]]) -> tuple[MotorLine, int]:
    """The rig's motor line after these no-load throws, and how many could be used.

    Each full stroke that was cut off tells ``i0 = I`` and ``V = k_e v + R I``; its start-up surge brackets R. What the
    data sheet says is the prior, with the covariance of its values.
    """
    prior = motor_line(rig.actuator)
    mean = np.array([prior.i0_a, prior.r_ohm, prior.k_e_v_s_per_m])
    moved = np.array([[v.i0_a, v.r_ohm, v.k_e_v_s_per_m] for v in prior.variants]) - mean
    covariance = moved.T @ moved
    used = [one for one in (_measured(rig, *throw) for throw in throws) if one is not None]
    if not used:
        return prior, 0
    for sensitivity, value, u in _observations(used, prior.k_e_v_s_per_m):
        mean, covariance = _updated(mean, covariance, sensitivity, value, u)
    i0_a, r_ohm, k_e = (float(value) for value in mean)
    u_i0, u_r, u_ke = (float(value) for value in np.sqrt(np.diag(covariance)))
    line = replace(
        prior, i0_a=i0_a, r_ohm=r_ohm, k_e_v_s_per_m=k_e, u_i0=u_i0 / i0_a, u_r=u_r / r_ohm, u_k_e=u_ke / k_e,
        variants=_variants(prior, mean, covariance),
    )  # fmt: skip
    return line, len(used)


# ---- judging ----


def _of(direction: str, judged: Sequence[Assessment]) -> list[Assessment]:
    return [one for one in judged if one.direction == direction and one.usable]


def _checks(rig: Rig, direction: str, judged: Sequence[Assessment]) -> list[Check]:
    actuator = rig.actuator
    current = _mean([one.figures.run_current_a for one in judged])
    limit_from = f"{100 * NO_LOAD_SHARE:.0f} % of the data sheet's no-load current; {PRACTICE}"
    highest = Limit(NO_LOAD_SHARE * actuator.no_load_current_a, MAX, "A", limit_from)
    ratio = _mean([_time_ratio(rig, one) for one in judged if one.end == CUT_OFF])
    long_stroke = actuator.stroke_m / actuator.no_load_speed_m_s > SHORT_STROKE_S
    band = LONG_BAND if long_stroke else SHORT_BAND
    return [
        check(f"no_load_current_{direction}", current, highest),
        check(f"stroke_time_{direction}_low", ratio, Limit(1.0 - band, MIN, "1", STROKE_TESTS)),
        check(f"stroke_time_{direction}_high", ratio, Limit(1.0 + band, MAX, "1", STROKE_TESTS)),
    ]


def _time_ratio(rig: Rig, judged: Assessment) -> Measured | None:
    """Time of the full stroke over what the data sheet expects at the measured voltage and current."""
    figures = judged.figures
    if figures.travel_time_s is None or figures.run_current_a is None:
        return None
    volts = figures.mean_voltage_v.value if figures.mean_voltage_v else rig.actuator.voltage_v
    line = motor_line(rig.actuator)
    due_vs = stroke_volt_seconds(line, rig)
    expected_s = float(time_of(due_vs, volts, figures.run_current_a.value, line.r_ohm))
    ratio = figures.travel_time_s.value / expected_s
    u_volts = figures.mean_voltage_v.u / volts if figures.mean_voltage_v else WITHOUT_VOLTAGE_U
    u_time = figures.travel_time_s.u / figures.travel_time_s.value
    return Measured(ratio, ratio * float(np.hypot(u_time, u_volts)))


def _mean(measured: Sequence[Measured | None]) -> Measured | None:
    """Mean of repeats; the greatest of their uncertainties stands for what they have in common."""
    known = [one for one in measured if one is not None]
    if not known:
        return None
    mean, repeat_u = type_a([one.value for one in known])
    own_u = max(one.u for one in known)
    return Measured(mean, own_u if len(known) == 1 else combined(expanded(repeat_u), own_u))


def _cut_off(direction: str, judged: Sequence[Assessment]) -> CutOff:
    ends = [one.end for one in judged]
    if not ends:
        return CutOff(direction, UNDECIDED, f"{direction}: no usable throw; throw it in this direction too")
    if any(end == STALL for end in ends):
        return CutOff(
            direction,
            FAIL,
            f"{direction}: the motor stalled at the end of the stroke: the limit switch did not open",
        )
    if all(end == CUT_OFF for end in ends):
        return CutOff(direction, PASS, f"{direction}: the limit switch opened")
    return CutOff(
        direction, UNDECIDED, f"{direction}: the record ends before the stroke does; record it to the end"
    )


def _verdict(checks: Sequence[Check], cut_offs: Sequence[CutOff]) -> tuple[str, str]:
    failed = [one.say for one in cut_offs if one.decision == FAIL]
    failed += [_about(one) for one in checks if one.decision == FAIL]
    if failed:
        return FAIL, "; ".join(failed)
    open_ = [one.say for one in cut_offs if one.decision == UNDECIDED]
    open_ += [_about(one) for one in checks if one.decision != PASS]
    if open_:
        return UNDECIDED, "; ".join(open_)
    return PASS, "no-load current, time of the full stroke and both limit switches are as on the data sheet"


def _about(one: Check) -> str:
    name = bench_limit(one.name)
    if one.measured is None:
        return f"{name}: not measured"
    return f"{name}: {judged_text(one.measured, one.limit, one.side, one.unit)}, limit {limit_text(one.limit, one.side, one.unit)}"


def bench_limit(name: str) -> str:
    """A limit of the bench test with its direction, in words."""
    direction = next(one for one in DIRECTIONS if f"_{one}" in name)
    return f"{BENCH_LIMITS[name.replace(f'_{direction}', '')].sentence}, {direction}"


# ---- refining: parameters are i0 [A], R [ohm], k_e [V s/m] ----


@dataclass(frozen=True)
class _NoLoad:
    """What one full stroke without load tells."""

    current_a: float
    voltage_v: float
    speed_m_s: float
    u_current_a: float
    u_voltage_v: float
    u_time: float
    """Relative."""
    bracket_ohm: tuple[float, float] | None


Row = tuple[FloatArray, float, float]
"""Sensitivity to the parameters shape (3,), observed value, its standard uncertainty."""


def _measured(rig: Rig, trace: Trace, judged: Assessment) -> _NoLoad | None:
    figures = judged.figures
    current, time_s, volts = figures.run_current_a, figures.travel_time_s, figures.mean_voltage_v
    if judged.end != CUT_OFF or not judged.usable or current is None or time_s is None or volts is None:
        return None
    return _NoLoad(
        current_a=current.value,
        voltage_v=volts.value,
        speed_m_s=rig.actuator.stroke_m / time_s.value,
        u_current_a=current.u / 2,
        u_voltage_v=volts.u / 2,
        u_time=time_s.u / 2 / time_s.value,
        bracket_ohm=resistance_bracket(trace, judged),
    )


def _observations(used: Sequence[_NoLoad], k_e: float) -> list[Row]:
    """The throws together. What limits them (meter, stroke, shape of the surge) is the same in each, so more of them
    make the mean steadier but the uncertainty no smaller.
    """
    current_a = float(np.mean([one.current_a for one in used]))
    speed_m_s = float(np.mean([one.speed_m_s for one in used]))
    voltage_v = float(np.mean([one.voltage_v for one in used]))
    u_current = float(np.hypot(max(one.u_current_a for one in used), FRICTION_SHARE_U * current_a))
    u_speed = speed_m_s * float(np.hypot(STROKE_SHARE_U, max(one.u_time for one in used)))
    u_voltage = float(np.hypot(max(one.u_voltage_v for one in used), k_e * u_speed))
    rows = [
        (np.array([1.0, 0.0, 0.0]), current_a, u_current),
        (np.array([0.0, current_a, speed_m_s]), voltage_v, u_voltage),
    ]
    brackets = [one.bracket_ohm for one in used if one.bracket_ohm is not None]
    if brackets:
        low, high = (float(end) for end in np.mean(brackets, axis=0))
        middle = 0.5 * (low + high)
        u_ohm = float(np.hypot(from_half_width(0.5 * (high - low)), SURGE_SHARE_U * middle))
        rows.append((np.array([0.0, 1.0, 0.0]), middle, u_ohm))
    return rows


def resistance_bracket(trace: Trace, judged: Assessment) -> tuple[float, float] | None:
    """Lowest and highest resistance [ohm] that the start-up surge allows; None where it shows too little.

    At the very start the motor stands, so the current heads for V/R. No sample can be above that: R is at most V over
    the highest one. The decay drawn back to the start mostly overshoots it (the coil delays the rise), so R is at least
    V over that, to within ``SURGE_SHARE_U``.
    """
    figures = judged.figures
    if figures.start_s is None or figures.run_current_a is None or trace.voltage_v is None:
        return None
    since_s = trace.time_s - figures.start_s.value
    current = np.abs(trace.current_a)
    early = (since_s >= 0) & (since_s < 0.3)
    settled = (since_s > 0.4) & (since_s < 0.8)
    if not early.any() or not settled.any():
        return None
    peak = int(np.argmax(np.where(early, current, 0.0)))
    run_a = float(np.median(current[settled]))
    excess = current - run_a
    if excess[peak] < 0.5 * run_a:
        return None
    small = np.flatnonzero((np.arange(len(excess)) > peak) & (excess < 0.15 * excess[peak]))
    stop = int(small[0]) if small.size else len(excess)
    if stop - peak < 3:
        return None
    slope, at_start = np.polyfit(since_s[peak:stop], np.log(excess[peak:stop]), 1)
    drawn_back_a = float(np.exp(at_start)) + run_a
    volts = float(trace.voltage_v[peak])
    low, high = volts / drawn_back_a, volts / float(current[peak])
    return (low, high) if slope < 0 and low < high else None


def _updated(
    mean: FloatArray, covariance: FloatArray, sensitivity: FloatArray, value: float, u: float
) -> tuple[FloatArray, FloatArray]:
    """One observation taken in: weighted least squares, one row at a time."""
    spread = covariance @ sensitivity
    gain = spread / float(sensitivity @ spread + u * u)
    return mean + gain * (value - float(sensitivity @ mean)), covariance - np.outer(gain, spread)


def _variants(prior: MotorLine, mean: FloatArray, covariance: FloatArray) -> tuple[MotorLine, ...]:
    """Lines one standard uncertainty away along each principal direction, so that ``propagated`` works on."""
    values, directions = np.linalg.eigh(covariance)
    moved = []
    for value, direction in zip(values, directions.T, strict=True):
        i0_a, r_ohm, k_e = mean + np.sqrt(max(float(value), 0.0)) * direction
        moved.append(
            replace(prior, i0_a=float(i0_a), r_ohm=float(r_ohm), k_e_v_s_per_m=float(k_e), variants=())
        )
    weaker = replace(
        prior, i0_a=float(mean[0]), r_ohm=float(mean[1]), k_e_v_s_per_m=float(mean[2]), variants=()
    )
    moved.append(replace(weaker, k_f_n_per_a=prior.k_f_n_per_a * (1.0 - prior.u_k_f)))
    return tuple(moved)
