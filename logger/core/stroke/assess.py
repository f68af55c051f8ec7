"""One trace in, one judged trial out: the whole computation in order."""

from dataclasses import replace

import numpy as np

from logger.core.assessment import CUT_OFF, NO_RUN, UNUSABLE, Assessment, Figures, Measured
from logger.core.machine.rating import MotorLine, motor_line, resistance_at
from logger.core.rig import Rig
from logger.core.stroke.baseline import Baseline
from logger.core.stroke.calibration import GAIN_U_KEY
from logger.core.stroke.diagnosis import diagnose
from logger.core.stroke.evidence import (
    MAGNET_SHARE_PER_K,
    MAGNET_SHARE_PER_K_U,
    UNKNOWN_TEMPERATURE_K,
    Evidence,
)
from logger.core.stroke.figures import Gains, clipped_at, end_of, figures_of
from logger.core.stroke.late_load import late_load, take_up_of
from logger.core.stroke.movement import FullStroke
from logger.core.stroke.segmentation import Segments, segment
from logger.core.stroke.shape import fit_difference
from logger.core.stroke.signs import signs_of, superseded
from logger.core.stroke.standstill import standstill_of
from logger.core.stroke.travel import Travel, profile, travel, voltage_or_nominal
from logger.core.stroke.verdict import checks_of, unusable, verdict_of
from logger.core.trace import Trace

HIGHEST_SUPPLY = 1.25
"""Engine running, a 12 V system stands at up to 15 V: the fastest that a stroke can be (*practice*)."""
WARMING_U = 0.01
"""Relative standard uncertainty that an unseen winding temperature leaves in the travel (*assumed*: 30 K of copper on
a quarter of the voltage)."""
FEWEST_ROWS = 10
MANY_SPIKES = 0.005
"""Share of lone wild readings that is worth a note."""


def assess_trace(
    trace: Trace,
    rig: Rig,
    baseline: Baseline | None = None,
    gains: Gains | None = None,
    on_bench: bool = False,
) -> Assessment:
    """Judge one recorded throw.

    Parameters
    ----------
    trace
        The record.
    rig
        Its rig; the rating gives the motor line and the limits.
    baseline
        Healthy throws of the same direction, or None: then only the rating's limits can be held against it.
    gains
        Uncertainty of the board's channels; None: that of a board without calibration.
    on_bench
        Off the machine there is nothing to move: running light is as it should be.
    """
    if len(trace) < FEWEST_ROWS:
        return _unusable(trace, f"only {len(trace)} rows")
    # Times are told from the first row, whatever clock the file has.
    trace = replace(trace, time_s=trace.time_s - trace.time_s[0])
    line = motor_line(rig.actuator)
    gains = gains or _gains_of(trace)
    evidence = gather(trace, rig, line, baseline, gains)
    reason = unusable(evidence)
    if reason:
        signs = tuple(sign for sign in signs_of(evidence) if sign.sign in RECORD_SIGNS)
        return replace(_unusable(trace, reason), signs=signs, end=evidence.end)
    signs = superseded(signs_of(evidence))
    if on_bench:
        signs = tuple(sign for sign in signs if sign.sign != "light-run")
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
        notes=_notes(evidence),
        started=trace.started,
        inrush_end_s=_inrush_end(evidence),
    )


RECORD_SIGNS = ("clipped", "gaps", "cut-record", "noisy")


def _gains_of(trace: Trace) -> Gains:
    """The uncertainty that the board's calibration left, where the record's head tells it."""
    told = trace.head.get(GAIN_U_KEY)
    return Gains(current=told) if isinstance(told, float) and 0.0 < told < 1.0 else Gains()


def gather(trace: Trace, rig: Rig, line: MotorLine, baseline: Baseline | None, gains: Gains) -> Evidence:
    """Cut, measure and compare one record."""
    actuator = rig.actuator
    if baseline is not None and baseline.direction != trace.direction:
        baseline = None
    r_ohm = float(resistance_at(line, trace.ambient_c if trace.ambient_c is not None else 20.0))
    full_vs, full_u = full_stroke(line, rig, baseline, trace.voltage_v is not None, trace.ambient_c)
    stroke = FullStroke(
        shortest_s=actuator.stroke_m / (actuator.no_load_speed_m_s * HIGHEST_SUPPLY),
        volt_seconds=full_vs,
        u=full_u,
        r_ohm=r_ohm,
        nominal_v=actuator.voltage_v,
    )
    segments = segment(trace, line.i0_a, stroke)
    voltage_v, from_voltage = voltage_or_nominal(trace, actuator.voltage_v, segments)
    still = standstill_of(segments, trace.time_s, voltage_v, actuator, r_ohm, line.u_r)
    moved = travel(trace, segments, voltage_v, from_voltage, r_ohm, still)
    clip_a = (
        clipped_at(segments.current_a, segments.first, segments.last, segments.step_a)
        if segments.moved
        else None
    )
    end = end_of(segments, moved.still_from)
    if end == NO_RUN:
        figures, share, u = Figures(), 0.0, 0.0
        shape_profile, fit = None, None
    else:
        share = max(moved.total_vs / full_vs, 0.0)
        figures = figures_of(trace, segments, voltage_v, moved, clip_a, gains)
        u = float(np.hypot(full_u, _resistance_share(figures, line, r_ohm, baseline)))
        coasted_u_s = sum(each.coasted_u_s for each in segments.breaks)
        u = float(np.hypot(u, coasted_u_s / (segments.end_s - segments.start_s)))
        figures = _with_travel(figures, segments, moved, share, u, end)
        complete = end == CUT_OFF and share > 1.0 - max(2.0 * u, 0.03) and not segments.starts_running
        tied_vs = moved.total_vs if complete else full_vs
        shape_profile = (
            None
            if segments.starts_running
            else profile(trace.time_s, segments, moved, tied_vs, 0.0 if complete else u)
        )
        fit = None
        if shape_profile is not None and baseline is not None and baseline.has_profile:
            fit = fit_difference(shape_profile.current_a, baseline.median_a)
        figures = replace(figures, take_up_fraction=take_up_of(shape_profile, line.i0_a))
    return Evidence(
        trace=trace,
        rig=rig,
        line=line,
        baseline=baseline,
        segments=segments,
        moved=moved,
        figures=figures,
        clip_a=clip_a,
        end=end,
        travel_share=share,
        travel_share_u=u,
        profile=shape_profile,
        fit=fit,
        late=late_load(fit, baseline, shape_profile, line.i0_a),
    )


def full_stroke(
    line: MotorLine, rig: Rig, baseline: Baseline | None, from_voltage: bool, ambient_c: float | None
) -> tuple[float, float]:
    """Volt-seconds of the full stroke at this trial's temperature, and their relative standard uncertainty.

    From the baseline where it was measured in the same way, else from the rating. Warm magnets are weaker: the same
    stroke takes fewer volt-seconds.
    """
    spread = baseline.figures.get("back_emf_vs") if baseline is not None else None
    if spread is not None and baseline is not None and baseline.from_voltage == from_voltage:
        scatter = spread.sd / spread.mean * float(np.sqrt(1.0 + 1.0 / spread.n)) if spread.n > 1 else 0.02
        share, magnet_u = magnets(baseline.ambient_c, ambient_c)
        supply = 0.0 if from_voltage else 0.05
        return spread.mean * share, float(np.sqrt(scatter**2 + WARMING_U**2 + magnet_u**2 + supply**2))
    share, magnet_u = magnets(20.0, ambient_c)
    supply = 0.0 if from_voltage else 0.08
    full_vs = line.k_e_v_s_per_m * rig.actuator.stroke_m
    return full_vs * share, float(np.sqrt(line.u_k_e**2 + magnet_u**2 + supply**2))


def _resistance_share(figures: Figures, line: MotorLine, r_ohm: float, baseline: Baseline | None) -> float:
    """Relative standard uncertainty of the travel from a resistance that is known only from a data sheet.

    Against a baseline only a current other than the baseline's matters.
    """
    run, volts = figures.run_current_a, figures.mean_voltage_v
    if run is None:
        return 0.0
    usual = baseline.figures.get("run_current_a") if baseline is not None else None
    other_a = (
        abs(run.value - usual.mean) if usual is not None else 0.0
    )  # k_e and R hang together in the rating
    left_v = (volts.value if volts is not None else line.v_ref) - run.value * r_ohm
    # Whether the current or only its reading has changed isn't known either: half of it may be a wrong gain.
    return float(np.hypot(line.u_r, 0.5)) * r_ohm * other_a / max(left_v, 0.1 * line.v_ref)


def magnets(there_c: float | None, here_c: float | None) -> tuple[float, float]:
    """Back-EMF constant here over there, and the standard uncertainty of that."""
    if there_c is None or here_c is None:
        return 1.0, abs(MAGNET_SHARE_PER_K) * UNKNOWN_TEMPERATURE_K
    warmer_k = here_c - there_c
    return 1.0 + MAGNET_SHARE_PER_K * warmer_k, MAGNET_SHARE_PER_K_U * abs(warmer_k)


def _with_travel(
    figures: Figures, segments: Segments, moved: Travel, share: float, u: float, end: str
) -> Figures:
    """Add what the travel says: share of the stroke, and the volt-seconds a baseline is made from."""
    if segments.starts_running:
        return figures
    held = min(max(share, 0.0), 1.0)
    fraction = Measured(held, 2.0 * u * held)
    whole = end == CUT_OFF and moved.total_vs > 0.0
    return replace(
        figures,
        travel_fraction=fraction,
        back_emf_vs=Measured(moved.total_vs, 2.0 * WARMING_U * moved.total_vs)
        if whole and moved.total_vs > 0.0
        else None,
    )


def _inrush_end(evidence: Evidence) -> float | None:
    """End of the start-up transient [s]; None where the record doesn't hold the start."""
    segments = evidence.segments
    if evidence.end == NO_RUN or segments.starts_running:
        return None
    return float(evidence.trace.time_s[segments.settled])


def _notes(evidence: Evidence) -> tuple[str, ...]:
    """What a person should know about how this was judged."""
    notes = []
    segments = evidence.segments
    if evidence.line.full_load_speed_assumed:
        notes.append(
            "the data sheet gives no full-load speed: the speed line is assumed, and known less well"
        )
    if evidence.trace.voltage_v is None and evidence.end != NO_RUN:
        notes.append("no voltage channel: places and the cause of a slow throw are known less well")
    if evidence.moved.by_drive:
        notes.append(
            "a drive sets the motor's voltage: the supply behind it can't be judged from this record"
        )
    if segments.pauses > len(segments.breaks):
        notes.append(f"the current broke off {segments.pauses} time(s) in mid-movement")
    if segments.rows_left_out:
        notes.append("a further movement in the same record was left out: one record is one throw")
    if segments.spikes > MANY_SPIKES * (segments.last - segments.first):
        notes.append(f"{segments.spikes} lone reading(s) were replaced by their neighbours")
    if evidence.baseline is None:
        notes.append("no baseline: drag, binding and free play can't be judged")
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
