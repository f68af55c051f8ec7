"""One record in, every movement in it judged: the whole computation in order."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from throwbook.core.analysis.baseline import Baseline, refuse_other_direction
from throwbook.core.analysis.calibration import GAIN_U_KEY
from throwbook.core.analysis.figures import Gains, least_inrush_a
from throwbook.core.analysis.movements import Movement, movements_of, on_its_own
from throwbook.core.analysis.record_conditions import notes_of, spoilt_by, untimed_by
from throwbook.core.analysis.residual_current import ABOUT, TURNS
from throwbook.core.assessment import (
    FAIL,
    INFO,
    NO_RUN,
    NOT_ON_BENCH,
    SWITCH_OPEN,
    UNUSABLE,
    Assessment,
    Figures,
    Sign,
    worst_of,
)
from throwbook.core.diagnosis.causes import diagnose, superseded
from throwbook.core.diagnosis.evidence import Evidence
from throwbook.core.diagnosis.measure import gather, stroke_of
from throwbook.core.diagnosis.signs import signs_of
from throwbook.core.diagnosis.signs.pins import standing
from throwbook.core.diagnosis.verdict import checks_of, unusable, verdict_of
from throwbook.core.machine.motor import motor_line
from throwbook.core.quantities.text import counted
from throwbook.core.rig import DIRECTIONS, LOCK, Rig
from throwbook.core.trace import Trace
from throwbook.core.wording import closed_switches_said

EITHER_WAY = "the current alone cannot show the direction of this movement: it was judged both ways, and the worse counts"
FEWEST_ROWS = 10
MANY_SPIKES = 0.005
"""Share of lone wild readings that is worth a note."""


Baselines = Mapping[str, Baseline]
"""By direction."""


def assess_trace(
    trace: Trace,
    rig: Rig,
    baseline: Baseline | None = None,
    gains: Gains | None = None,
    on_bench: bool = False,
) -> Assessment:
    """Judge one recorded throw; of several movements in the record the worst stands for it, and a note says so.

    Parameters
    ----------
    trace
        The record.
    rig
        Its rig; the rating gives the motor line and the limits.
    baseline
        Healthy throws of the same direction, or None: then only the rating's limits can be held against it. Raises
        InputError for one of the other direction.
    gains
        Uncertainty of the board's channels; None: that of a board without calibration.
    on_bench
        Off the machine there is nothing to move: running light is as it should be.
    """
    baselines = {} if baseline is None else {trace.direction: baseline}
    return for_record(assess_record(trace, rig, baselines, gains, on_bench))


def for_record(judged: Sequence[Assessment]) -> Assessment:
    """What stands for a record as one throw: its worst movement, with the signs that only the others have.

    Of equal verdicts that of a lock throw: what it showed takes a rig further.
    """
    worst = worst_of(sorted(judged, key=lambda each: each.direction != LOCK))
    if len(judged) == 1:
        return worst
    known = {sign.sign for sign in worst.signs}
    others = {sign.sign: sign for each in judged for sign in each.signs if sign.level != INFO}
    signs = (*worst.signs, *(sign for name, sign in others.items() if name not in known))
    note = f"the record holds {len(judged)} movements: this is movement {worst.movement}, the worst of them ({', '.join(each.verdict for each in judged)})"
    return replace(worst, signs=signs, notes=(note, *worst.notes))


def assess_record(
    trace: Trace,
    rig: Rig,
    baselines: Baselines | None = None,
    gains: Gains | None = None,
    on_bench: bool = False,
) -> tuple[Assessment, ...]:
    """Judge every movement of a record, in order; times count from the record's first row.

    Parameters as for ``assess_trace``, with the baseline of each direction. Where the current doesn't tell which way a
    movement went it is judged both ways, and the worse counts. Raises InputError for a baseline that stands under the
    other direction.
    """
    known = baselines or {}
    for direction, baseline in known.items():
        refuse_other_direction(baseline, direction, trace.source)
    return tuple(_judged(each, rig, known, gains, on_bench) for each in _movements(trace, rig, known))


def cut(trace: Trace, rig: Rig, baselines: Baselines) -> tuple[Movement, ...]:
    """The movements of a record, each a record of its own; the record as it is where it holds one or none."""
    found = _movements(trace, rig, baselines)
    if len(found) == 1:
        return (replace(found[0], trace=trace),)
    return tuple(replace(each, trace=on_its_own(each.trace)) for each in found)


def _movements(trace: Trace, rig: Rig, baselines: Baselines) -> tuple[Movement, ...]:
    if _unfit(trace):
        return (Movement(trace, trace.direction),)
    # Times are told from the first row, whatever clock the file has.
    trace = replace(trace, time_s=trace.time_s - trace.time_s[0])
    line = motor_line(rig.actuator)
    return movements_of(trace, rig, stroke_of(trace, rig, line, baselines.get(trace.direction)))


def judge_throw(
    movement: Movement,
    rig: Rig,
    baselines: Baselines,
    gains: Gains | None = None,
    on_bench: bool = False,
) -> tuple[Trace, Assessment]:
    """A movement that is a record of its own, in the direction that it was judged as, and its assessment."""
    own = replace(movement.trace, time_s=movement.trace.time_s - movement.trace.time_s[0])
    assessment = _judged(replace(movement, trace=own), rig, baselines, gains, on_bench)
    return replace(movement.trace, direction=assessment.direction), assessment


def _judged(
    movement: Movement, rig: Rig, baselines: Baselines, gains: Gains | None, on_bench: bool
) -> Assessment:
    """One movement, by the baseline of its direction; both ways where that isn't known."""
    directions = DIRECTIONS if movement.direction is None else (movement.direction,)
    judged = [
        _assess_movement(
            replace(movement, trace=replace(movement.trace, direction=direction)),
            rig,
            baselines.get(direction),
            gains,
            on_bench,
        )
        for direction in directions
    ]
    worst = worst_of(judged)
    if movement.direction is None:
        worst = replace(worst, notes=(*worst.notes, EITHER_WAY))
    return replace(worst, movement=movement.trace.movement, movements=movement.trace.movements)


def _assess_movement(
    movement: Movement, rig: Rig, baseline: Baseline | None, gains: Gains | None, on_bench: bool
) -> Assessment:
    trace = movement.trace
    if reason := _unfit(trace):
        return _unusable(trace, reason)
    line = motor_line(rig.actuator)
    gains = gains or _gains_of(trace)
    evidence = gather(movement, rig, line, baseline, gains)
    reason = unusable(evidence)
    if reason:
        # Where the movement lies isn't sure either: only what a switch showed wherever it lies stands.
        evidence = replace(evidence, switches=() if on_bench else standing(evidence))
        kept = (*RECORD_SIGNS, SWITCH_OPEN)
        signs = tuple(sign for sign in signs_of(evidence) if sign.sign in kept)
        return _failed_by(replace(_unusable(trace, reason), signs=signs, end=evidence.end))
    signs = superseded(signs_of(evidence))
    if on_bench:
        signs = tuple(sign for sign in signs if sign.sign not in NOT_ON_BENCH)
    if spoilt := _spoilt(evidence, signs, gains):
        return spoilt
    checks = checks_of(evidence)
    verdict, because = verdict_of(evidence.figures, signs, checks)
    return Assessment(
        file=trace.source,
        direction=trace.direction,
        usable=True,
        unusable_because="",
        figures=evidence.figures,
        end=evidence.end,
        signs=signs,
        checks=checks,
        diagnoses=diagnose(evidence, signs),
        verdict=verdict,
        because=because,
        provisional=baseline.provisional if baseline is not None else False,
        profile=evidence.profile,
        ambient_c=trace.ambient_c,
        notes=_notes(evidence, gains),
        started=trace.started,
        inrush_end_s=_inrush_end(evidence),
    )


def _unfit(trace: Trace) -> str:
    """Why nothing at all can be reckoned with these rows; empty: it can."""
    if len(trace) < FEWEST_ROWS:
        return f"only {len(trace)} rows"
    return "" if (np.diff(trace.time_s) > 0.0).all() else "its times do not rise"


def _spoilt(evidence: Evidence, signs: tuple[Sign, ...], gains: Gains) -> Assessment | None:
    """What is left of a record whose readings or times the board itself said to be wrong; None: it said no such thing.

    No figure is given and nothing passes; a motor that stood still under voltage is told all the same.
    """
    trace, segments = evidence.trace, evidence.segments
    whole = evidence.end == NO_RUN
    start_s = float(trace.time_s[0]) if whole else segments.start_s
    end_s = float(trace.time_s[-1]) if whole else segments.end_s
    reason = spoilt_by(trace.head, start_s, end_s) or untimed_by(trace.head, start_s, end_s)
    if not reason:
        return None
    kept = tuple(sign for sign in signs if sign.sign in (*RECORD_SIGNS, *STANDING_SIGNS))
    return _failed_by(
        replace(_unusable(trace, reason), signs=kept, end=evidence.end, notes=_notes(evidence, gains))
    )


def _failed_by(judged: Assessment) -> Assessment:
    """An unusable record that shows something at level fail all the same: that stands."""
    failed = [sign.because for sign in judged.signs if sign.level == FAIL]
    if not failed:
        return judged
    because = f"{failed[0][:1].upper()}{failed[0][1:].rstrip('.')}. Besides, {judged.unusable_because}."
    return replace(judged, verdict=FAIL, because=because)


STANDING_SIGNS = ("stall", "end-stop", SWITCH_OPEN)
"""The last doesn't come from the current: whatever spoilt the current, it stands."""
RECORD_SIGNS = ("clipped", "gaps", "cut-record", "noisy")


def _gains_of(trace: Trace) -> Gains:
    """The uncertainty that the board's calibration left, where the record's head tells it."""
    told = trace.head.get(GAIN_U_KEY)
    return Gains(current=told) if isinstance(told, float) and 0.0 < told < 1.0 else Gains()


def _inrush_end(evidence: Evidence) -> float | None:
    """End of the start-up transient [s]; None where the record doesn't hold the start."""
    segments = evidence.segments
    if evidence.end == NO_RUN or segments.starts_running:
        return None
    return float(evidence.trace.time_s[segments.settled])


def _notes(evidence: Evidence, gains: Gains) -> tuple[str, ...]:
    """What a person should know about how this was judged."""
    notes = notes_of(evidence.trace.head)
    segments = evidence.segments
    if evidence.line.full_load_speed_assumed:
        notes.append(
            "the data sheet gives no full-load speed: it is assumed, so expected times are less certain"
        )
    if evidence.trace.voltage_v is None and evidence.end != NO_RUN:
        notes.append("no voltage channel: positions and the cause of a slow throw are less certain")
    if evidence.moved.by_drive:
        notes.append("a drive sets the motor's voltage: the supply cannot be judged from this record")
    if segments.pauses > len(segments.breaks):
        notes.append(f"the current dropped out {counted(segments.pauses, 'time')} during the movement")
    shown = evidence.end == NO_RUN or segments.starts_running or evidence.figures.inrush_a is not None
    least = "" if shown else f"{least_inrush_a(segments, gains):.2f}"
    if least.strip("0."):
        notes.append(f"the rows are too far apart to show the peak of the inrush. It is at least {least} A")
    if segments.settled_latest > segments.settled:
        notes.append(
            "the inrush does not settle into the run: the running current is given with and without it"
        )
    if segments.bounced_s:
        notes.append(f"a contact bounced for {segments.bounced_s:.2g} s after the current first dropped out")
    if segments.residual_a:
        turns = segments.residual_a >= ABOUT * TURNS * evidence.idle_a
        why = (
            "flat and calm, as a drive holds its place"
            if turns
            else "no motor of this rating turns at that current"
        )
        notes.append(f"{segments.residual_a:.2g} A flowed on after the end: {why}")
    if segments.spikes > MANY_SPIKES * (segments.last - segments.first):
        notes.append(f"replaced by their neighbours: {counted(segments.spikes, 'single outlying reading')}")
    if (
        evidence.switches
        and evidence.trace.direction == LOCK
        and all(each.closed_after for each in evidence.switches)
    ):
        notes.append(closed_switches_said(*evidence.trace.switches_at_end))
    if evidence.baseline is None:
        notes.append("no baseline: drag, binding and free play cannot be judged")
    elif evidence.baseline.provisional:
        notes.append("provisional: the baseline rests on no accepted commissioning sheet")
    return tuple(notes)


def _unusable(trace: Trace, reason: str) -> Assessment:
    return Assessment(
        file=trace.source,
        direction=trace.direction,
        usable=False,
        unusable_because=reason,
        figures=Figures(),
        end=NO_RUN,
        signs=(),
        checks=(),
        diagnoses=(),
        verdict=UNUSABLE,
        because=f"Unusable: {reason}.",
        ambient_c=trace.ambient_c,
        started=trace.started,
    )
