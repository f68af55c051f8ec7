"""What only several throws together show: run against rest, and how far equal throws differ.

A duty cycle of 25 % means that a run of 10 s asks for 30 s of rest. Where the data sheet names the cycle too (25 % of 20
minutes), running is added up over that cycle instead.

Each throw is judged by itself first; this adds to it what its neighbours in the same set say.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from throwbook.core.assessment import (
    CUT_OFF,
    FAIL,
    INFO,
    PASS,
    UNDECIDED,
    WATCH,
    Assessment,
    Check,
    Diagnosis,
    Measured,
    Sign,
)
from throwbook.core.diagnosis.verdict import check
from throwbook.core.machine.electrical import rest_for, running_share
from throwbook.core.machine.limits import limits_for
from throwbook.core.quantities.rounding import rounded_down
from throwbook.core.quantities.units import show_rest
from throwbook.core.rig import Actuator, Rig

SPREAD = "spread_run_current"
FEWEST_FOR_SPREAD = 3

SHORT_RESTS = Diagnosis(
    cause="the rests between the throws are too short: the motor is warming, its current falls and it slows",
    sure="likely",
    rivals=("the computer's clock was set between two throws",),
    action="Let the motor cool for half an hour. Attachment on the ground, hands out: repeat the throws, with the rests that the duty cycle calls for.",
    signs=("duty-exceeded",),
)


def judge_set(assessments: Sequence[Assessment], rig: Rig) -> tuple[Assessment, ...]:
    """The same trials in the same order, with the signs and checks of the set added.

    Duty is judged for trials that know when they started; the spread of running current per direction, over complete
    movements that didn't fail. The spread is a property of the set: it leaves each trial's own verdict alone.
    """
    spreads = spread_checks(assessments, rig)
    duty = duty_signs(assessments, rig.actuator)
    return tuple(
        _with_set(assessment, spreads.get(assessment.direction), duty.get(index))
        for index, assessment in enumerate(assessments)
    )


def spread_checks(assessments: Sequence[Assessment], rig: Rig) -> dict[str, Check]:
    """By direction: largest less smallest running current over their mean, against the limit.

    The gain error of the board is common to all throws of a set and cancels in the share.
    """
    limit = limits_for(rig)[SPREAD]
    found = {}
    for direction in sorted({assessment.direction for assessment in assessments}):
        currents = [
            assessment.figures.run_current_a.value
            for assessment in assessments
            if assessment.direction == direction
            and assessment.end == CUT_OFF
            and assessment.verdict != FAIL
            and assessment.figures.run_current_a is not None
        ]
        if len(currents) < FEWEST_FOR_SPREAD:
            continue
        mean = sum(currents) / len(currents)
        spread = Measured((max(currents) - min(currents)) / mean, 0.0)
        found[direction] = check(SPREAD, spread, limit)
    return found


def _with_set(assessment: Assessment, spread: Check | None, duty: Sign | None) -> Assessment:
    if spread is not None and assessment.end == CUT_OFF and assessment.verdict != FAIL:
        assessment = replace(assessment, checks=(*assessment.checks, spread))
    if duty is None:
        return assessment
    assessment = replace(assessment, signs=(*assessment.signs, duty))
    if duty.level == WATCH:
        assessment = replace(assessment, diagnoses=(*assessment.diagnoses, SHORT_RESTS))
    if duty.level == WATCH and assessment.verdict in (PASS, UNDECIDED):
        because = duty.because[:1].upper() + duty.because[1:] + "."
        assessment = replace(assessment, verdict=WATCH, because=because)
    return assessment


@dataclass(frozen=True)
class _Run:
    """When the motor ran [s], counted from the first run of the set."""

    index: int
    begin_s: float
    end_s: float


def duty_signs(assessments: Sequence[Assessment], actuator: Actuator) -> dict[int, Sign]:
    """By position in the set: the sign of a run that came too soon, at watch from the second in a row."""
    if actuator.duty_cycle is None or not 0.0 < actuator.duty_cycle < 1.0:
        return {}
    before: list[_Run] = []
    signs = {}
    for run in _runs(assessments):
        if _overlaps(run, before):
            continue  # two records of one actuator can't overlap: the clock was wrong
        if actuator.duty_period_s is not None:
            sign = _over_cycle(run, before, actuator.duty_cycle, actuator.duty_period_s)
        else:
            sign = _short_rest(run, before, actuator.duty_cycle)
        if sign is not None:
            signs[run.index] = sign
        before.append(run)
    return signs


def overlaps(assessments: Sequence[Assessment]) -> int:
    """How many runs of known date begin before the one before them has ended; those of one moment were typed in together."""
    runs = _runs(assessments)
    apart = [[other for other in runs[:n] if other.begin_s < run.begin_s] for n, run in enumerate(runs)]
    return sum(_overlaps(run, before) for run, before in zip(runs, apart, strict=True))


def no_own_time(assessments: Sequence[Assessment]) -> int:
    """How many runs of known date begin at the very moment of an earlier one: one actuator made them one after the other."""
    begins = [run.begin_s for run in _runs(assessments)]
    return len(begins) - len(set(begins))


def _overlaps(run: _Run, before: Sequence[_Run]) -> bool:
    return any(other.end_s > run.begin_s for other in before)


def _runs(assessments: Sequence[Assessment]) -> list[_Run]:
    """Runs of known date in the order of time."""
    dated = []
    for index, assessment in enumerate(assessments):
        start, end, started = assessment.figures.start_s, assessment.figures.end_s, assessment.started
        if start is not None and end is not None and started is not None:
            dated.append((started + timedelta(seconds=start.value), end.value - start.value, index))
    dated.sort(key=lambda entry: entry[0])
    return [
        _Run(index, (begin - dated[0][0]).total_seconds(), (begin - dated[0][0]).total_seconds() + length_s)
        for begin, length_s, index in dated
    ]


def _over_cycle(run: _Run, before: Sequence[_Run], duty: float, period_s: float) -> Sign | None:
    """Started although the cycle up to then held more running than the rating allows.

    Reckoned up to the start, so that a steady rhythm of just the rated share never counts as too much.
    """
    window_from_s = run.begin_s - period_s
    on_s = sum(max(0.0, one.end_s - max(one.begin_s, window_from_s)) for one in before)
    if on_s <= duty * period_s:
        return None
    because = (
        f"it had run {on_s:.0f} s within {period_s / 60:.3g} min before this throw; rated for"
        f" {duty * period_s:.0f} s ({100 * duty:.0f} %): let it cool"
    )
    return Sign("duty-exceeded", WATCH, because, value=on_s / period_s, limit=duty, unit="1")


def _short_rest(run: _Run, before: Sequence[_Run], duty: float) -> Sign | None:
    """The rest before this run was shorter than the rated share asks for.

    Once is daily work (pull the pins, change the attachment, throw them again) and only told; from the second short
    rest in a row the set breaks the duty cycle (*practice*).
    """
    short_rests = 0
    later = run
    for earlier in reversed(before):
        if _share(earlier, later) <= duty:
            break
        short_rests += 1
        later = earlier
    if not short_rests:
        return None
    last = before[-1]
    length_s = last.end_s - last.begin_s
    because = f"it started again after {rounded_down(run.begin_s - last.end_s, 0)} s of rest. A run of {length_s:.0f} s at {100 * duty:.0f} % duty calls for {show_rest(rest_for(length_s, duty))}"
    if short_rests > 1:
        because += f". This is the {_nth(short_rests)} short rest in a row: let it cool"
    level = WATCH if short_rests > 1 else INFO
    return Sign("duty-exceeded", level, because, value=_share(last, run), limit=duty, unit="1")


def _share(run: _Run, following: _Run) -> float:
    """Running time over the time from one start to the next."""
    return running_share(run.end_s - run.begin_s, following.begin_s - run.end_s)


def _nth(count: int) -> str:
    """
    >>> _nth(2), _nth(3), _nth(12), _nth(21)
    ('second', 'third', '12th', '21st')
    """
    words = {2: "second", 3: "third"}
    ending = "th" if count % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(count % 10, "th")
    return words.get(count, f"{count}{ending}")
