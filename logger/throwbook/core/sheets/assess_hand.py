"""A throw measured by hand, judged by the same limits as a recorded one.

Stopwatch, clamp meter and voltmeter give time, running and peak current, perhaps voltages. From these come the same
checks, some of the same signs, and verdicts with wider uncertainty. Never a place: nobody saw where. What the end was like
is what the person wrote down. Without a current the verdict is weak, and says so: time mostly answers to voltage.
"""

import math
from dataclasses import replace

from throwbook.core.analysis.baseline import PRACTICE_SPREAD, Baseline, refuse_other_direction
from throwbook.core.assessment import (
    CUT_OFF,
    FAIL,
    INFO,
    NO_RUN,
    PASS,
    STALL,
    UNDECIDED,
    UNUSABLE,
    WATCH,
    Assessment,
    Check,
    Diagnosis,
    Figures,
    Measured,
    Sign,
)
from throwbook.core.diagnosis.causes import CAUSES, POSSIBLE
from throwbook.core.diagnosis.circumstances import colder
from throwbook.core.diagnosis.evidence import NO_LOAD_U, is_colder, unknown_air
from throwbook.core.diagnosis.measure import throw_volt_seconds
from throwbook.core.diagnosis.signs.load import LIGHT_SHARE, RUNNING, above_rated
from throwbook.core.diagnosis.signs.supply import LOW_SHARE, SUPPLY_LIMIT
from throwbook.core.diagnosis.verdict import check, verdict_of
from throwbook.core.machine.expected_throw import RATED_C, magnets, stroke_volt_seconds, time_of
from throwbook.core.machine.limits import (
    HIGHEST_SUPPLY,
    LOWEST_SUPPLY,
    Opening,
    guarded_run_current,
    limits_for,
    opening,
    widened,
)
from throwbook.core.machine.motor import (
    MotorLine,
    assumed_lines,
    motor_line,
    resistance_at,
)
from throwbook.core.quantities.statistics import expanded, from_half_width
from throwbook.core.quantities.units import show
from throwbook.core.rig import Rig
from throwbook.core.sheets.hand_readings import (
    STOPPED_SHORT,
    HandThrow,
    Instruments,
)

WEAK = "weak: no running current was read, and travel time depends mostly on voltage"
NO_PLACE = "by hand: readings cannot show where along the travel something happened; how it ended is as the person saw it"
PEAK = "by hand: a meter's highest reading may include some of the inrush"


def assess_by_hand(
    throw: HandThrow, rig: Rig, instruments: Instruments | None = None, baseline: Baseline | None = None
) -> Assessment:
    """Judge one throw measured by hand.

    ``baseline`` may come from recorded or from hand-measured throws of the same direction; InputError for one of the other.
    """
    tools = instruments or Instruments()
    if baseline is not None:
        refuse_other_direction(baseline, throw.direction)
    line = motor_line(rig.actuator)
    figures = hand_figures(throw, tools)
    ambient_c = throw.ambient_c.value if throw.ambient_c else None
    base = Assessment(
        file="",
        direction=throw.direction,
        usable=True,
        unusable_because="",
        figures=figures,
        end=CUT_OFF if throw.ended == STOPPED_SHORT else throw.ended,
        signs=(),
        checks=(),
        diagnoses=(),
        verdict=UNUSABLE,
        provisional=baseline.provisional if baseline is not None else False,
        ambient_c=ambient_c,
        notes=_notes(throw, tools, baseline),
    )
    if throw.ended == CUT_OFF and figures.travel_time_s is None and figures.run_current_a is None:
        why = "neither a time nor a running current was read"
        return replace(base, usable=False, unusable_because=why, because=f"Unusable: {why}.")
    ratio, left_open = time_over_expected(throw, figures, rig, line, baseline, ambient_c)
    checks = tuple(_every_digit(one, throw) for one in _checks(figures, ratio, left_open, rig))
    signs = tuple(
        sign
        for sign in (
            *_ending(throw),
            _too_quick(throw, figures, rig, line),
            _light_run(throw, figures, line, baseline),
            above_rated(figures.run_current_a, rig.actuator.full_load_current_a),
            _drag(figures, baseline, ambient_c, rig.units),
            _low_supply(figures, rig),
            _supply_drop(figures, rig),
        )
        if sign is not None
    )
    verdict, because = verdict_of(figures, signs, checks)
    if figures.run_current_a is None and verdict in (PASS, UNDECIDED):
        verdict, because = _weak(checks)
    return replace(
        base,
        signs=signs,
        checks=checks,
        diagnoses=tuple(
            _causes(sign, baseline, ambient_c)
            for sign in signs
            if any(row.sign == sign.sign for row in CAUSES)
        ),
        verdict=verdict,
        because=because,
    )


def hand_figures(throw: HandThrow, tools: Instruments) -> Figures:
    """What was read, with its expanded uncertainty; None for all that hands can't measure."""
    run, peak, rest = throw.run_current_a, throw.peak_current_a, throw.rest_voltage_v
    volts = tools.volts(throw.voltage_v) if throw.voltage_v else None
    figures = Figures(
        travel_time_s=tools.time(throw.time_s) if throw.time_s else None,
        run_current_a=tools.amps(run) if run else None,
        peak_run_current_a=tools.amps(peak) if peak else None,
        mean_voltage_v=volts,
        rest_voltage_v=tools.volts(rest) if rest else None,
    )
    if throw.ended == STALL:  # a current read on a stalled motor is no running current
        level = figures.peak_run_current_a or figures.run_current_a
        ran = figures.run_current_a if peak else None
        return replace(
            figures, stall_current_a=level, run_current_a=ran, peak_run_current_a=None, travel_time_s=None
        )
    return replace(figures, source_resistance_ohm=_source_resistance(figures))


def _source_resistance(figures: Figures) -> Measured | None:
    """Volts lost per ampere between rest and run [ohm]; both readings are by the same meter, taken as independent."""
    rest, load, run = figures.rest_voltage_v, figures.mean_voltage_v, figures.run_current_a
    if rest is None or load is None or run is None or run.value <= 0.0:
        return None
    lost = rest.value - load.value
    u = math.hypot(rest.u / run.value, load.u / run.value, lost * run.u / run.value**2)
    return Measured(lost / run.value, u)


def time_over_expected(
    throw: HandThrow,
    figures: Figures,
    rig: Rig,
    line: MotorLine,
    baseline: Baseline | None,
    ambient_c: float | None,
) -> tuple[Measured | None, Opening]:
    """Travel time over the time that the voltage and current read ask for.

    Against the baseline's throws where their voltage was read as this one's was (or neither's), else against the rating.
    And how far what was not read leaves that open: without a voltage the nominal one stands in, without a current the
    baseline's or half the rated load, without a full-load speed the assumed line. The ± holds that too, as a rectangle.
    """
    time_s = figures.travel_time_s
    if throw.ended != CUT_OFF or time_s is None:
        return None, Opening()
    nominal_v = rig.actuator.voltage_v
    volts, amps = figures.mean_voltage_v, figures.run_current_a
    volt_ends = () if volts is not None else (LOWEST_SUPPLY * nominal_v, HIGHEST_SUPPLY * nominal_v)
    usual_a, *amp_ends = (amps.value,) if amps is not None else _usual_current(rig, baseline)
    reckoned_v = nominal_v if volts is None else volts.value
    r_ohm = float(resistance_at(line, ambient_c if ambient_c is not None else 20.0))
    turning = reckoned_v - usual_a * r_ohm
    if turning <= 0.0:
        return None, Opening()
    taken_vs, by_rating = _volt_seconds(line, rig, baseline, figures, ambient_c)
    share = time_s.value / float(time_of(taken_vs, reckoned_v, usual_a, r_ohm))
    others = assumed_lines(rig.actuator) if by_rating else ()
    left_open = opening(line, (reckoned_v, *volt_ends), (usual_a, *amp_ends), ambient_c, others)
    u = math.hypot(
        time_s.u / time_s.value,
        (volts.u if volts is not None else 0.0) / turning,
        (amps.u if amps is not None else 0.0) * r_ohm / turning,
        expanded(from_half_width(left_open.furthest)),
    )
    return Measured(share, share * u), left_open


def _volt_seconds(
    line: MotorLine, rig: Rig, baseline: Baseline | None, figures: Figures, ambient_c: float | None
) -> tuple[float, bool]:
    """What a whole throw takes at this temperature [V s], and whether only the rating says so."""
    taken_vs = None
    if baseline is not None and baseline.from_voltage == (figures.mean_voltage_v is not None):
        taken_vs = throw_volt_seconds(line, baseline)
    there_c = RATED_C if taken_vs is None or baseline is None else baseline.ambient_c
    magnet, _ = magnets(there_c, ambient_c)
    return (stroke_volt_seconds(line, rig) if taken_vs is None else taken_vs) * magnet, taken_vs is None


def _usual_current(rig: Rig, baseline: Baseline | None) -> tuple[float, float, float]:
    """Where none was read: the one to reckon with [A], and both ends of what it may have been."""
    spread = baseline.figures.get("run_current_a") if baseline is not None else None
    if spread is not None:
        return spread.mean, 0.7 * spread.mean, 1.3 * spread.mean
    low, high = rig.actuator.no_load_current_a, rig.actuator.full_load_current_a
    return 0.5 * (low + high), low, high


def _checks(figures: Figures, ratio: Measured | None, left_open: Opening, rig: Rig) -> tuple[Check, ...]:
    """The same limits as for a recorded throw; travel done can't be measured by hand (``_too_quick``)."""
    expected_s = figures.travel_time_s.value / ratio.value if figures.travel_time_s and ratio else None
    limits = limits_for(rig, expected_s)
    if figures.peak_run_current_a is None:
        limits["run_current"] = guarded_run_current(rig)
    for name in ("travel_time_low", "travel_time_high"):
        limits[name] = widened(limits[name], left_open)
    measured = {
        "run_current": figures.run_current_a,
        "peak_run_current": figures.peak_run_current_a,
        "travel_time_low": ratio,
        "travel_time_high": ratio,
        "supply_under_load": figures.mean_voltage_v,
    }
    return tuple(check(name, measured[name], limits[name], by_hand=True) for name in measured)


EVERY_DIGIT = "Type every digit the meter shows (2.0 A, not 2 A)."
WHOLE_A = 1.0
"""A clamp meter that steps by whole amperes is rare: then a digit was left out."""


def _every_digit(one: Check, throw: HandThrow) -> Check:
    """Asks for the digits first where a current was typed without any."""
    read = {"run_current": throw.run_current_a, "peak_run_current": throw.peak_current_a}.get(one.name)
    if not one.settle or read is None or read.step < WHOLE_A:
        return one
    return replace(one, settle=f"{EVERY_DIGIT} {one.settle}")


def _weak(checks: tuple[Check, ...]) -> tuple[str, str]:
    timed_ones = [one for one in checks if one.name.startswith("travel_time")]
    decided = all(one.decision == PASS for one in timed_ones)
    word = "met" if decided else "not decided"
    return (PASS if decided else UNDECIDED), f"The limits of the travel time are {word}; {WEAK}."


# ---- signs ----


def _ending(throw: HandThrow) -> tuple[Sign, ...]:
    told = {
        NO_RUN: ("no-start", "recorded by hand: did not start"),
        STALL: ("stall", "recorded by hand: stalled; where is not known"),
        STOPPED_SHORT: ("stopped-short", "recorded by hand: stopped short"),
    }
    if throw.ended not in told:
        return ()
    sign, because = told[throw.ended]
    return (Sign(sign, FAIL, because),)


def _too_quick(throw: HandThrow, figures: Figures, rig: Rig, line: MotorLine) -> Sign | None:
    """Quicker than the motor alone at that voltage, beyond the ±: all that a stopwatch shows of a throw that stopped short.

    Without a reading of the voltage the highest that a supply has.
    """
    time_s, volts = figures.travel_time_s, figures.mean_voltage_v
    if throw.ended != CUT_OFF or time_s is None:
        return None
    nominal_v = rig.actuator.voltage_v
    volt = Measured(HIGHEST_SUPPLY * nominal_v, 0.0) if volts is None else volts
    turning = volt.value - line.i0_a * line.r_ohm
    if turning <= 0.0:
        return None
    least_s = rig.lock.needed_travel_m * line.k_e_v_s_per_m / turning
    if time_s.value + math.hypot(time_s.u, least_s * volt.u / turning) >= least_s:
        return None
    read = f"at {volt.value:.1f} V" if volts is not None else f"even at {volt.value:.1f} V (none was read)"
    because = f"{time_s.value:.1f} s is faster than this actuator runs at no load {read}: {least_s:.1f} s for the travel needed, so the travel was not done"
    return Sign("stopped-short", FAIL, because, time_s.value, least_s, "s")


def _light_run(throw: HandThrow, figures: Figures, line: MotorLine, baseline: Baseline | None) -> Sign | None:
    run, peak = figures.run_current_a, figures.peak_run_current_a
    if run is None or throw.ended == STALL:
        return None
    usual = baseline.figures.get("run_current_a") if baseline is not None else None
    highest = peak.value if peak is not None else run.value
    if usual is None:
        limit, level = line.i0_a * (1.0 + NO_LOAD_U), WATCH
        light = run.value <= limit and highest <= line.i0_a * (1.0 + 2.0 * NO_LOAD_U)
        said = "no more than the no-load current"
    else:
        load = usual.mean - line.i0_a
        limit, level = line.i0_a + LIGHT_SHARE * load, FAIL
        light = load >= 0.15 * usual.mean and run.value + run.u <= limit
        said = f"close to the no-load current of {line.i0_a:.2f} A; the baseline has {usual.mean:.2f} A"
    if not light:
        return None
    return Sign("light-run", level, f"{RUNNING} {run.value:.2f} A, {said}", run.value, limit, "A")


def _drag(figures: Figures, baseline: Baseline | None, ambient_c: float | None, units: str) -> Sign | None:
    run = figures.run_current_a
    usual = baseline.figures.get("run_current_a") if baseline is not None else None
    if run is None or usual is None or baseline is None:
        return None
    heavier = run.value / usual.mean - 1.0
    limit = max(PRACTICE_SPREAD, usual.reach() / usual.mean)
    if heavier <= limit:
        return None
    above = f"above the baseline ({usual.mean:.2f} A)"
    weather = _weather(baseline, ambient_c, units)
    u = run.u / usual.mean
    if heavier - u <= limit:
        because = f"{RUNNING} {100 * heavier:.0f} ± {100 * u:.0f} % {above}, so it may be less{weather}"
        return Sign("drag", INFO, because, heavier, limit, "1")
    return Sign("drag", WATCH, f"{RUNNING} {100 * heavier:.0f} % {above}{weather}", heavier, limit, "1")


def _weather(baseline: Baseline, ambient_c: float | None, units: str) -> str:
    """What the air has to do with a heavier run."""
    if ambient_c is None or baseline.ambient_c is None or not is_colder(baseline.ambient_c, ambient_c):
        return unknown_air(baseline.ambient_c, ambient_c)
    now, then = (show(one, "temperature", units) for one in (ambient_c, baseline.ambient_c))
    return f"; it is colder now ({now}) than at the baseline ({then})"


def _low_supply(figures: Figures, rig: Rig) -> Sign | None:
    rest, nominal = figures.rest_voltage_v, rig.actuator.voltage_v
    if rest is None or rest.value + rest.u >= LOW_SHARE * nominal:
        return None
    because = f"{rest.value:.1f} V at rest, {100 * (rest.value / nominal):.0f} % of the nominal {nominal:g} V: supply voltage low, even at rest"
    return Sign("low-supply", WATCH, because, rest.value, LOW_SHARE * nominal, "V")


def _supply_drop(figures: Figures, rig: Rig) -> Sign | None:
    source = figures.source_resistance_ohm
    limit = (1.0 - SUPPLY_LIMIT) * rig.actuator.voltage_v / rig.actuator.full_load_current_a
    if source is None or source.value - source.u <= limit:
        return None
    because = f"{1000 * source.value:.0f} mV voltage drop for each ampere; more than a tenth of the nominal voltage at the full-load current"
    return Sign("supply-drop", WATCH, because, source.value, limit, "ohm")


OF_A_BOARD = frozenset(
    {
        "a current sensor that reads high",
        "a current sensor that reads low",
        "a voltage channel that reads low",
        "the board's current sensor is not in the circuit",
        "the board's gain or zero is wrong",
    }
)
"""Causes that a hand-held meter doesn't have."""


def _causes(sign: Sign, baseline: Baseline | None, ambient_c: float | None) -> Diagnosis:
    """The nearest cause first, the others as its rivals: what would split them was not recorded."""
    rows = [row for row in CAUSES if row.sign == sign.sign]
    cold = is_colder(baseline.ambient_c if baseline else None, ambient_c)
    nearest = next((row for row in rows if row.fits is colder and cold), rows[-1])
    others = [row.cause for row in rows if row is not nearest and not (row.fits is colder and cold is False)]
    rivals = dict.fromkeys([*others, *nearest.rivals])
    kept = tuple(one for one in rivals if one not in OF_A_BOARD and one != nearest.cause)
    return Diagnosis(nearest.cause, POSSIBLE, kept, nearest.action, (sign.sign,))


def _notes(throw: HandThrow, tools: Instruments, baseline: Baseline | None) -> tuple[str, ...]:
    notes = [NO_PLACE]
    if throw.run_current_a is None and throw.ended == CUT_OFF:
        notes.append(WEAK)
    if throw.peak_current_a is not None:
        notes.append(PEAK)
    if tools.assumed:
        notes.append(f"accuracy not given, assumed: {', '.join(tools.assumed)}")
    if throw.voltage_v is None and throw.ended == CUT_OFF:
        notes.append(
            "no voltage was read: the nominal voltage is used, and a slow throw may come from a low supply"
        )
    if baseline is None:
        notes.append("no baseline: drag cannot be judged")
    elif baseline.provisional:
        notes.append("provisional: the baseline rests on no accepted commissioning sheet")
    if throw.note:
        notes.append(throw.note)
    return tuple(notes)
