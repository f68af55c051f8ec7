"""From figures and signs to a verdict: a limit of the rating with a guard band, an alert as read.

Rule for the rating (JCGM 106, ILAC-G8:09/2019, guard band w = U): inside the limit by at least U is ``pass``, beyond it by
more than U is ``fail``, in between ``undecided``, with what would settle it. An alert is compared as read: over it is
``watch``; only beyond twice its tolerance, and by more than U, a throw fails by it.
"""

from dataclasses import replace

from throwbook.core.analysis.clipping import at_the_ceiling
from throwbook.core.analysis.figures import GAIN_U
from throwbook.core.analysis.residual_current import JOG, TURNS
from throwbook.core.assessment import (
    CUT_OFF,
    FAIL,
    NO_RUN,
    PASS,
    STALL,
    UNDECIDED,
    UNUSABLE,
    WATCH,
    Check,
    Figures,
    Measured,
    Sign,
)
from throwbook.core.diagnosis.evidence import Evidence
from throwbook.core.diagnosis.signs.supply import WIDER_RANGE
from throwbook.core.machine.limits import (
    ALERT,
    HIGHEST_SUPPLY,
    LOWEST_SUPPLY,
    MAX,
    NOT_JUDGED,
    Limit,
    Opening,
    decide,
    guarded_run_current,
    limits_for,
    opening,
    widened,
)
from throwbook.core.machine.motor import assumed_lines
from throwbook.core.quantities.rounding import judged_text, limit_text
from throwbook.core.wording import limited

ANOTHER_RATING = "the current fits neither rest nor run of this actuator: data sheet values and record do not belong together"
WITH_VOLTAGE_U, WITHOUT_VOLTAGE_U = 0.02, 0.10
"""What a voltage that was read leaves open of a time against what is expected, and one that wasn't: 11.8 to 14.1 V of a 12 V
machine, ±9 % as a rectangle; relative, k = 2 (common practice, no source)."""

SETTLE = {
    "run_current": "Calibrate the board against a meter, or judge the mean of three more throws.",
    "peak_run_current": "Sample faster, or calibrate the board against a meter.",
    "travel_done": "Measure the voltage too, sample faster, and check how far the rod moves.",
    "supply_under_load": "Check the board's voltage against a voltmeter.",
}
"""What would settle an undecided limit."""
FINER_METER = "Use a clamp meter with a finer last digit and give its accuracy, or record with a board."
SETTLE_BY_HAND = {
    "run_current": f"Read the peak running current too, with a meter that holds it. {FINER_METER}",
    "peak_run_current": FINER_METER,
    "supply_under_load": "Use a voltmeter with a finer last digit.",
}
"""The same where stopwatch and meters were read; a limit that isn't here is settled in the same way."""


def decide_alert(measured: Measured | None, limit: Limit) -> str:
    """``pass``, ``watch`` as soon as the reading itself is over, ``fail`` where it is surely over ``fails_at``."""
    if measured is None:
        return NOT_JUDGED
    if limit.fails_at is not None and decide(measured, limit.fails_at, limit.side) == FAIL:
        return FAIL
    over = measured.value > limit.value if limit.side == MAX else measured.value < limit.value
    return WATCH if over else PASS


def check(name: str, measured: Measured | None, limit: Limit, by_hand: bool = False) -> Check:
    """One figure against one limit."""
    settle = SETTLE | SETTLE_BY_HAND if by_hand else SETTLE
    if limit.judged_as == ALERT:
        decision = decide_alert(measured, limit)
    else:
        decision = decide(measured, limit.value, limit.side)
    return Check(
        name=name,
        measured=measured,
        limit=limit.value,
        side=limit.side,
        unit=limit.unit,
        limit_from=limit.limit_from,
        decision=decision,
        settle=settle.get(name, "") if decision == UNDECIDED else "",
    )


def checks_of(evidence: Evidence) -> tuple[Check, ...]:
    """Every limit that a single trial is held against."""
    figures = evidence.figures
    ratio = time_ratio(evidence)
    time_s = figures.travel_time_s
    expected_s = time_s.value / ratio.value if time_s is not None and ratio is not None else None
    limits = limits_for(evidence.rig, expected_s)
    if figures.peak_run_current_a is None:
        limits["run_current"] = guarded_run_current(evidence.rig)
    limits["travel_done"] = widened(limits["travel_done"], _left_open(evidence))
    for name in ("travel_time_low", "travel_time_high"):
        limits[name] = widened(limits[name], _left_open(evidence, supply=not evidence.moved.from_voltage))
    measured = {
        "run_current": figures.run_current_a,
        "peak_run_current": figures.peak_run_current_a,
        "travel_done": ratio,
        "travel_time_low": ratio,
        "travel_time_high": ratio,
        "supply_under_load": None if evidence.moved.by_drive else figures.mean_voltage_v,
    }
    checks = [check(name, measured[name], limits[name]) for name in measured]
    return tuple(_at_least(one, evidence) for one in checks)


def _left_open(evidence: Evidence, supply: bool = False) -> Opening:
    """What the data sheet leaves open of the expected time where it gives no full-load speed, and an unread ``supply``."""
    nominal_v = evidence.rig.actuator.voltage_v
    volts, amps = evidence.figures.mean_voltage_v, evidence.figures.run_current_a
    reckoned_v = nominal_v if volts is None else volts.value
    ends = (LOWEST_SUPPLY * nominal_v, HIGHEST_SUPPLY * nominal_v) if supply else ()
    middle_a = 0.5 * (evidence.idle_a + evidence.rig.actuator.full_load_current_a)
    others = assumed_lines(evidence.rig.actuator) if evidence.baseline is None else ()
    return opening(
        evidence.line,
        (reckoned_v, *ends),
        (middle_a if amps is None else amps.value,),
        evidence.trace.ambient_c,
        others,
    )


def _at_least(one: Check, evidence: Evidence) -> Check:
    """A current that the board's range cut off is at least the end of that range: it can fail its limit, never pass it."""
    if (
        evidence.clip_a is None
        or one.measured is not None
        or one.name not in ("run_current", "peak_run_current")
    ):
        return one
    if not at_the_ceiling(evidence.segments.current_a[evidence.segments.run], evidence.clip_a).any():
        return one
    surely_a = evidence.clip_a * (1.0 - 2.0 * GAIN_U)
    failed = one.name == "peak_run_current" and surely_a > one.limit
    return replace(one, decision=FAIL if failed else UNDECIDED, settle="" if failed else WIDER_RANGE)


def time_ratio(evidence: Evidence) -> Measured | None:
    """Travel time over the time that the measured voltage and current ask for.

    Against the baseline where there is one, else against the rating. Only the measurement's uncertainty counts: how
    far a healthy rig may be from its reference is what the limit allows for.
    """
    time_s = evidence.figures.travel_time_s
    if (
        evidence.end != CUT_OFF
        or time_s is None
        or evidence.travel_share <= 0.0
        or evidence.hidden_share > JOG
        or evidence.jog_before_a_throw
    ):
        return None
    u = time_s.u / time_s.value + (WITH_VOLTAGE_U if evidence.moved.from_voltage else WITHOUT_VOLTAGE_U)
    return Measured(evidence.travel_share, u * evidence.travel_share)


def verdict_of(figures: Figures, signs: tuple[Sign, ...], checks: tuple[Check, ...]) -> tuple[str, str]:
    """The verdict and its reason in a sentence.

    ``fail`` outweighs ``watch``, ``watch`` outweighs ``undecided``: what is known weighs more than what isn't.
    """
    told = [sign for sign in signs if sign.level == FAIL]
    if told:
        return FAIL, _sentence(told[0].because)
    failed = [one for one in checks if one.decision == FAIL]
    if failed:
        return FAIL, beyond_text(failed[0], figures)
    standing = [sign for sign in signs if sign.level == WATCH and not sign.settle]
    if standing:
        return WATCH, _sentence(standing[0].because)
    over = [one for one in checks if one.decision == WATCH]
    if over:
        return WATCH, beyond_text(over[0], figures)
    unsettled = [sign for sign in signs if sign.settle]
    if unsettled:
        return UNDECIDED, f"{_sentence(unsettled[0].because)} {unsettled[0].settle}"
    open_ones = [one for one in checks if one.decision == UNDECIDED]
    if open_ones:
        one = open_ones[0]
        return UNDECIDED, f"{beyond_text(one, figures)} {one.settle}".strip()
    if figures.run_current_a is None:
        return (
            UNDECIDED,
            "The record gives no running current. Record the whole throw, with rest before and after it.",
        )
    return (
        PASS,
        "All limits that can be judged are met. This says nothing about the pins.",
    )


def unusable(evidence: Evidence) -> str:
    """Why no verdict can come from this record, or nothing."""
    segments = evidence.segments
    if evidence.end == NO_RUN:
        return "" if segments.quiet else ANOTHER_RATING
    run = evidence.figures.run_current_a
    if evidence.end != STALL and run is not None and run.value + run.u < TURNS * evidence.idle_a:
        return ANOTHER_RATING
    if segments.starts_running and segments.ends_running and evidence.end != STALL:
        return "the motor runs from the first row to the last: there is no rest to measure from"
    jog = evidence.travel_share < JOG and evidence.end == CUT_OFF
    if jog and not segments.quiet:
        return ANOTHER_RATING
    if segments.last - segments.first < 8 and evidence.end != STALL and not jog:
        return "the movement has too few rows"
    return ""


def beyond_text(one: Check, figures: Figures) -> str:
    """A limit that isn't met, as a sentence: the figure, which side of the limit, where the limit comes from."""
    if one.measured is None:
        return _without_figure(one)
    where = "too close to" if one.decision == UNDECIDED else ("above" if one.side == MAX else "below")
    figure = judged_text(one.measured, one.limit, one.side, one.unit)
    time_s = figures.travel_time_s
    if one.name.startswith("travel_time") and time_s is not None and one.measured.value > 0.0:
        figure += f" of expected ({time_s.value:.1f} s; expected {time_s.value / one.measured.value:.1f} s for the full stroke)"
    return _sentence(f"{limited(one.name)} {figure} is {where} the limit {_limit(one)} ({one.limit_from})")


def _limit(one: Check) -> str:
    return limit_text(one.limit, one.side, one.unit)


def _without_figure(one: Check) -> str:
    """A limit that a current cut off by the board's range was held against."""
    known = (
        "above"
        if one.decision == FAIL
        else "not known: it went over the board's range, so it cannot be compared with"
    )
    return _sentence(f"{limited(one.name)} {known} the limit {_limit(one)} ({one.limit_from})")


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:].rstrip(".") + "."


__all__ = [
    "NOT_JUDGED",
    "UNUSABLE",
    "beyond_text",
    "check",
    "checks_of",
    "decide",
    "decide_alert",
    "time_ratio",
    "unusable",
    "verdict_of",
]
