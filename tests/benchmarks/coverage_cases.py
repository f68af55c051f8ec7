"""Figures with a ± or an interval that a command, a screen or a paper shows, each beside a truth that was drawn.

The truths are drawn from what a figure itself says that it allows for (a meter's class, a data sheet's half-width, two
models of seasons), by code that shares nothing with what reckons the figure. So this shows whether an interval holds on
its own grounds; whether the grounds are right it can't show. Recorded throws come from the simulator (``strokes``).
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from tests.benchmarks.coverage import Coverage
from tests.benchmarks.season_histories import (
    PLAIN,
    ROUGH,
    Plan,
    make_history,
    quarterly,
    with_every_figure,
)
from tests.benchmarks.seasons import QUARTERS, only
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.assessment import CUT_OFF, PASS, Assessment, Interval, Measured
from throwbook.core.machine.electrical import BLADE_SIZES_A, CONTINUOUS_SHARE, fuse_time, longest_throw_s
from throwbook.core.quantities.statistics import K, chance_beyond
from throwbook.core.rig import DIRECTIONS, Actuator, LockMechanism, Rig, Wiring
from throwbook.core.sheets.acceptance import least_success
from throwbook.core.sheets.assess_hand import assess_by_hand
from throwbook.core.sheets.hand_readings import (
    READ_BY_EYE,
    Accuracy,
    HandThrow,
    Instruments,
    Reading,
    metered,
)
from throwbook.core.sheets.shared_risk import MOST
from throwbook.core.sizing.sizing import Sizing, fit
from throwbook.core.trend.control_chart import OUTSIDE
from throwbook.core.trend.expected_throw import expected_throw, own_weather
from throwbook.core.trend.forecast import CONFIDENCE as FORECAST
from throwbook.core.trend.history import RUN_CURRENT
from throwbook.core.trend.maintenance_effect import CONFIDENCE as EFFECT
from throwbook.core.trend.trend_result import trends_of

Rng = np.random.Generator
SHEET, RATIO, RATIO_OFF = 0.10, 0.75, 0.15
"""As method.md states them: data-sheet values, the assumed full-load over no-load speed and how far it may be off."""
ACTUATORS = 20
"""Drawn for each rig whose fit is reckoned: a share of 2.5 % can't be told from a few hundred truths."""
METER_SHARE_U = 0.005
"""Standard uncertainty of the readings of ``season_histories``, as a share: half of the ± that they are given."""
HAND_EVENT_S = 0.07
"""One event timed by hand (Am. J. Phys. 87(2) 110, 2019)."""


# ---- one actuator: what its sheet says, and what it is ----


@dataclass(frozen=True)
class Motor:
    """Two straight lines, by their four values and the push."""

    idle_a: float
    full_a: float
    free_m_s: float
    ratio: float
    push_n: float

    def current(self, push_n: float) -> float:
        return self.idle_a + push_n * (self.full_a - self.idle_a) / self.push_n

    def ohm(self, volts: float) -> float:
        return volts * (1.0 - self.ratio) / (self.full_a - self.ratio * self.idle_a)

    def volt_seconds_a_metre(self, volts: float) -> float:
        return (volts - self.idle_a * self.ohm(volts)) / self.free_m_s


def draw_sheet(rng: Rng) -> tuple[Rig, Motor]:
    """A rig and the motor that its data sheet describes."""
    full_a = float(rng.uniform(2.0, 12.0))
    motor = Motor(
        idle_a=full_a * float(rng.uniform(0.15, 0.45)),
        full_a=full_a,
        free_m_s=float(rng.uniform(0.008, 0.04)),
        ratio=float(rng.uniform(0.6, 0.9)),
        push_n=float(rng.uniform(400.0, 4000.0)),
    )
    stroke_m = float(rng.uniform(0.1, 0.3))
    actuator = Actuator(
        12.0,
        stroke_m,
        motor.push_n,
        motor.free_m_s,
        motor.idle_a,
        motor.full_a,
        full_load_speed_m_s=motor.ratio * motor.free_m_s if rng.random() < 0.5 else None,
    )
    lock = LockMechanism(0.95 * stroke_m, needed_force_n=motor.push_n * float(rng.uniform(0.2, 0.6)))
    return Rig("drawn", actuator, lock), motor


def one_of(rng: Rng, rig: Rig, sheet: Motor) -> Motor:
    """A motor that the sheet may stand for: every value anywhere in its half-width."""

    def about(value: float) -> float:
        return value * float(rng.uniform(1.0 - SHEET, 1.0 + SHEET))

    while True:
        free_m_s = about(sheet.free_m_s)
        if rig.actuator.full_load_speed_m_s is None:
            ratio = float(rng.uniform(RATIO - RATIO_OFF, RATIO + RATIO_OFF))
        else:
            ratio = about(sheet.ratio * sheet.free_m_s) / free_m_s
        found = Motor(about(sheet.idle_a), about(sheet.full_a), free_m_s, ratio, about(sheet.push_n))
        if found.full_a > found.idle_a and ratio < 1.0:
            return found


# ---- suitability ----


def suitability(rng: Rng, seen: Coverage) -> None:
    """What ``rig fit`` says before the actuator is bought, against the actuators that may come."""
    rig, sheet = draw_sheet(rng)
    length_m = float(rng.uniform(1.0, 8.0))
    full_a = rig.actuator.full_load_current_a
    fuse_a = next(size for size in BLADE_SIZES_A if CONTINUOUS_SHARE * size >= full_a)
    rig = replace(rig, wiring=Wiring("2.5 mm2", 2.5e-6, length_m, fuse_a, "blade"))
    found = fit(rig)
    for _ in range(ACTUATORS if found.numbers else 0):
        motor = one_of(rng, rig, sheet)
        cable_ohm = actuator_comes(rng, seen, rig, motor, found.numbers)
        stalls(rng, seen, fuse_a, motor, cable_ohm, found)


def actuator_comes(
    rng: Rng, seen: Coverage, rig: Rig, motor: Motor, numbers: Mapping[str, Interval | None]
) -> float:
    """One of them, against the ``numbers`` of the fit. Gives the resistance of its cable [ohm]."""
    cable = numbers["cable_ohm"]
    cable_ohm = float(rng.uniform(cable.low, cable.high)) if cable else 0.0
    push_n = rig.lock.needed_force_n or 0.0
    ohm = motor.ohm(12.0)
    run_a = motor.current(push_n)
    left_v = 12.0 - run_a * (ohm + cable_ohm)
    stall_a = 12.0 / (ohm + cable_ohm)
    time_s = motor.volt_seconds_a_metre(12.0) * rig.actuator.stroke_m / left_v if left_v > 0 else np.inf
    truths = {
        "run_current_a": run_a,
        "travel_time_s": time_s,
        "stall_current_a": stall_a,
        "stall_push_n": (stall_a - motor.idle_a) * motor.push_n / (motor.full_a - motor.idle_a),
    }
    left_v = 12.0 - motor.current(rig.actuator.rated_force_n) * ohm
    full_s = motor.volt_seconds_a_metre(12.0) * rig.actuator.stroke_m / left_v if left_v > 0 else np.inf
    seen.see_bound("fit, sheet: rest for a throw at full load, at least", full_s > longest_throw_s(rig))
    dirty = 1.0 + float(rng.uniform(0.1, 0.5)) + 30.0 * float(rng.uniform(0.0, 0.02))
    warm_ohm, magnet = ohm * (1.0 + 0.00393 * 60.0), 1.0 - float(rng.normal(0.0015, 0.0007)) * 60.0
    stalls_n = (10.8 / (warm_ohm + cable_ohm) - motor.idle_a) * motor.push_n / (motor.full_a - motor.idle_a)
    left_n = min(motor.push_n, max(0.0, stalls_n * magnet))
    truths |= {"needed_push_at_worst_n": push_n * dirty, "push_at_worst_n": left_n}
    truths["force_margin"] = left_n / (push_n * dirty) - 1.0
    worst_a = motor.idle_a + push_n * dirty * (motor.full_a - motor.idle_a) / (motor.push_n * magnet)
    worst_v = 10.8 - worst_a * (warm_ohm + cable_ohm)
    truths["run_current_at_worst_a"] = worst_a
    truths["travel_time_at_worst_s"] = (
        motor.volt_seconds_a_metre(12.0) * magnet * rig.actuator.stroke_m / worst_v if worst_v > 0 else np.inf
    )
    for name, true in truths.items():
        found = numbers.get(name)
        if found is not None and np.isfinite(found.value):
            seen.see_span(f"fit: {name}", found.value, found.low, found.high, true, rig.actuator)
    return cable_ohm


def stalls(rng: Rng, seen: Coverage, fuse_a: float, motor: Motor, cable_ohm: float, found: Sizing) -> None:
    """The sentence on the fuse, as it is printed, against one stall: motor between coldest and warm, supply between weak and nominal.

    When a fuse opens lies anywhere between the two times that its sheet gives for that current.
    """
    says = next(one.says for one in found.findings if one.about == "fuse")
    least_a, most_a = (
        float(part) for part in re.findall(r"draws ([\d.]+) A .* to ([\d.]+) A \(motor cold\)", says)[0]
    )
    motor_c, volts = float(rng.uniform(-10.0, 80.0)), float(rng.uniform(0.9, 1.0)) * 12.0
    stall_a = volts / (motor.ohm(12.0) * (1.0 + 0.00393 * (motor_c - 20.0)) + cable_ohm)
    opens = fuse_time(stall_a, fuse_a)
    seen.see_bound("fit, fuse: a stall draws at least", stall_a < least_a)
    seen.see_bound("fit, fuse: a stall draws at most", stall_a > most_a)
    seen.see_bound(
        "fit, fuse: a stall opens it at the latest", opens.at_most_s > fuse_time(least_a, fuse_a).at_most_s
    )
    seen.see_bound(
        "fit, fuse: a stall opens it at the soonest", opens.at_least_s < fuse_time(most_a, fuse_a).at_least_s
    )


# ---- by hand ----


def read_meter(rng: Rng, true: float, accuracy: Accuracy, step: float, by_eye: float = 0.0) -> Reading:
    """A meter of that class, read off while it moves."""
    shown = true * (1.0 + by_eye * float(rng.uniform(-1, 1)))
    shown *= 1.0 + accuracy.share * float(rng.uniform(-1, 1))
    shown += accuracy.digits * step * float(rng.uniform(-1, 1))
    return Reading(max(round(shown / step), 0) * step, step)


def by_hand(rng: Rng, seen: Coverage) -> None:
    """What a stopwatch and two meters give, and what is made of it."""
    rig, motor = draw_sheet(rng)
    if rig.actuator.full_load_speed_m_s is None:
        ratio = float(rng.uniform(RATIO - RATIO_OFF, RATIO + RATIO_OFF))
        motor = replace(motor, ratio=ratio)
    rest_v, supply_ohm = float(rng.uniform(0.95, 1.2)) * 12.0, float(rng.uniform(0.02, 0.25))
    run_a = motor.current(motor.push_n * float(rng.uniform(0.2, 0.8)))
    load_v = rest_v - run_a * supply_ohm
    left_v = load_v - run_a * motor.ohm(12.0)
    if left_v < 0.2 * 12.0:
        return
    time_s = motor.volt_seconds_a_metre(12.0) * rig.actuator.stroke_m / left_v
    peak_a = run_a * float(rng.uniform(1.05, 1.4))
    clamp = Accuracy(float(rng.uniform(0.01, 0.03)), float(rng.integers(1, 4)))
    volt = Accuracy(0.005, 3.0)
    step_a = float(rng.choice([0.1, 0.01]))
    clock_s = float(rng.choice([0.1, 0.01]))
    timed = time_s + float(rng.normal(0.0, HAND_EVENT_S)) - float(rng.normal(0.0, HAND_EVENT_S))
    throw = HandThrow(
        "lock",
        time_s=Reading(round(timed / clock_s) * clock_s, clock_s),
        run_current_a=read_meter(rng, run_a, clamp, step_a, READ_BY_EYE) if rng.random() < 0.8 else None,
        peak_current_a=read_meter(rng, peak_a, clamp, step_a, READ_BY_EYE),
        voltage_v=read_meter(rng, load_v, volt, 0.01) if rng.random() < 0.7 else None,
        rest_voltage_v=read_meter(rng, rest_v, volt, 0.01),
        ambient_c=Reading(20.0, 1.0),
    )
    judged = assess_by_hand(throw, rig, Instruments(clamp, volt))
    figures = judged.figures
    lost = load_v, run_a
    truths = {
        "travel_time_s": time_s,
        "run_current_a": run_a,
        "peak_run_current_a": peak_a,
        "mean_voltage_v": load_v,
        "rest_voltage_v": rest_v,
        "source_resistance_ohm": (rest_v - lost[0]) / lost[1],
    }
    for name, true in truths.items():
        seen.see(f"by hand: {name}", getattr(figures, name), true, true, rig.actuator)
    # A motor that is what its sheet says takes just the time that is expected.
    ratio = next(one.measured for one in judged.checks if one.name == "travel_time_high")
    read = "with V" if throw.voltage_v else "no V"
    read += ", with A" if throw.run_current_a else ", no A"
    seen.see(f"by hand: time over expected ({read})", ratio, 1.0, 1.0, rig.actuator)
    seen.see_bound(
        "by hand: quicker than without load (a whole throw called short)",
        any(one.sign == "stopped-short" for one in judged.signs),
    )
    if _decided(judged, "peak_run_current") == "pass":
        over = peak_a > rig.actuator.full_load_current_a
        seen.see_bound("by hand: a highest current that passed is at most the rating", over)


def _decided(judged: Assessment, name: str) -> str:
    return next(one.decision for one in judged.checks if one.name == name)


def shared_risk(rng: Rng, seen: Coverage) -> None:
    """The chance that is printed beside a reading accepted by shared risk, against how often the truth is over the limit.

    The truth is flat about the limit, as where nothing is known of it.
    """
    clamp = Accuracy(float(rng.uniform(0.005, 0.03)), float(rng.integers(1, 4)))
    limit_a, step_a = float(rng.uniform(2.0, 8.0)), float(rng.choice([0.1, 0.01]))
    true = float(rng.uniform(0.6, 1.5)) * limit_a
    reading = read_meter(rng, true, clamp, step_a, READ_BY_EYE)
    found = metered(reading, clamp, READ_BY_EYE)
    room = limit_a - found.value
    if room < 0.0 or room >= found.u:
        return
    chance = chance_beyond(room, found.u / K)
    if chance <= MOST:
        seen.see_chance("shared risk", chance, true > limit_a)


# ---- seasons ----


def wears(rng: Rng, seen: Coverage, style: str) -> None:
    """Level, change and slope of a rig that wears, by histories of ``season_histories``."""
    rate = float(rng.uniform(0.03, 0.15))
    made = make_history(rng, style, quarterly(13, rate * QUARTERS[:13]), limit=0.9)
    for one in trends_of(made.history):
        if one.figure != RUN_CURRENT:
            continue
        level = made.world.current_a * (1.0 + made.wear[-1])
        newest = one.points[-1]
        # A meter reads its whole life a little high or low: what it says of the baseline it says of every check.
        level /= 1.0 + float(rng.normal(0.0, METER_SHARE_U))
        label = f"{style}: {one.direction}"
        seen.see(
            f"{style}: corrected value", Measured(newest.corrected, newest.corrected_u), level, level, label
        )
        seen.see(
            f"{style}: change since the baseline",
            Measured(one.change, K * one.change_u),
            made.wear[-1],
            made.wear[-1],
            label,
        )
        slope = one.slope
        if slope.low is not None and np.isfinite(slope.low) and np.isfinite(slope.high):
            seen.see_span(
                f"{style}: slope a year",
                slope.per_year,
                slope.low,
                slope.high,
                rate * made.world.current_a,
                label,
            )


def serviced(rng: Rng, seen: Coverage, style: str) -> None:
    """What a service changed, checked on its own day or a quarter later."""
    served = Plan(
        np.concatenate([np.linspace(0.0, 0.2, 8), [0.2, float(rng.uniform(0.0, 0.2))]]),
        (5, *[3] * 7, 5, 5),
        ("commissioning", *["seasonal"] * 8, "after-service"),
        twins=(9,) if rng.random() < 0.5 else (),
        services=(9,),
    )
    made = make_history(rng, style, served)
    for one in trends_of(made.history):
        if one.figure == RUN_CURRENT and one.service_effects:
            effect = one.service_effects[-1]
            true = made.world.current_a * (made.wear[9] - made.wear[8])
            days = "on one day" if served.twins else "a quarter apart"
            seen.see_span(
                f"{style}: effect of a service, {days} ({100 * EFFECT:.0f} %)",
                effect.change,
                effect.low,
                effect.high,
                true,
                one.direction,
            )


def as_it_was(rng: Rng, seen: Coverage, style: str) -> None:
    """A rig that doesn't wear: what its card says of each throw of the newest check, and its chart of every check."""
    made = make_history(rng, style, quarterly(9))
    history = with_every_figure(made.history, rng)
    before, newest = replace(history, checks=history.checks[:-1]), history.checks[-1]
    for direction in DIRECTIONS:
        first = [one for one in history.checks[0].throws if one.direction == direction]
        judged = [
            Assessment(
                "",
                direction,
                True,
                "",
                one.figures,
                CUT_OFF,
                (),
                (),
                (),
                PASS,
                ambient_c=history.checks[0].ambient_c,
            )
            for one in first
        ]
        baseline, own = make_baseline(judged), own_weather(before, direction)
        for throw in (one for one in newest.throws if one.direction == direction):
            time_s, run_a, volts = (
                throw.figures.travel_time_s,
                throw.figures.run_current_a,
                throw.figures.mean_voltage_v,
            )
            assert time_s is not None
            assert run_a is not None
            assert volts is not None
            card = expected_throw(history.rig, baseline, volts.value, newest.ambient_c or 20.0, own)
            if card is not None:
                seen.see_span(
                    f"{style}: card, time of a throw",
                    card.time_s.value,
                    card.time_from_s,
                    card.time_to_s,
                    time_s.value,
                )
                seen.see_span(
                    f"{style}: card, running current of a throw",
                    card.run_current_a.value,
                    card.current_from_a,
                    card.current_to_a,
                    run_a.value,
                )
    for trend in trends_of(made.history):
        if trend.figure == RUN_CURRENT:
            reach = trend.chart.factor * trend.chart.sigma
            off = trend.points[-1].corrected - trend.chart.centre
            seen.see_bound(
                f"{style}: chart, a check lies at most so far off", abs(off) > reach, 200.0 * OUTSIDE
            )


def forecast(rng: Rng, seen: Coverage, style: str) -> None:
    """The interval of a crossing is of 80 %."""
    rate, limit = float(rng.uniform(0.05, 0.20)), float(rng.uniform(0.15, 0.5))
    made = make_history(rng, style, quarterly(wear=rate * QUARTERS), limit=limit)
    truth = made.days[0] + timedelta(days=limit / rate * 365.25)
    history = only(made.history, int(rng.integers(6, 18)))
    if truth <= history.checks[-1].on:
        return
    for one in trends_of(history):
        if one.figure == RUN_CURRENT and one.direction == DIRECTIONS[0] and one.forecast is not None:
            found = [
                (day - made.days[0]).days
                for day in (one.forecast.crosses, one.forecast.low, one.forecast.high)
            ]
            seen.see_span(
                f"{style}: forecast ({100 * FORECAST:.0f} %)",
                *map(float, found),
                float((truth - made.days[0]).days),
                rate,
            )


def success(rng: Rng, seen: Coverage) -> None:
    """ "At least so many throws succeed", after n without a failure; said only where none failed."""
    true, n = float(rng.uniform(0.3, 1.0)), int(rng.integers(5, 60))
    failed = rng.random(n) >= true
    if not failed.any():
        broken = true < least_success(n)
        seen.see_bound("statement: at least so many throws succeed", broken, most_percent=5.0)


STYLES = (PLAIN, ROUGH)
