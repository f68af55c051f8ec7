"""One movement cut up, measured and compared: everything that its signs and limits are then judged by."""

from dataclasses import replace

import numpy as np

from throwbook.core.analysis.baseline import WORST_PLACE_U, Baseline, fit_difference
from throwbook.core.analysis.clipping import clipped_at, over_the_range, shows_one_reading
from throwbook.core.analysis.edges import PlaceU, place_u, starts_softly
from throwbook.core.analysis.figures import (
    UNKNOWN_OVER_A_HOLE,
    Gains,
    end_of,
    figures_of,
    longest_hole_s,
)
from throwbook.core.analysis.movements import Movement
from throwbook.core.analysis.residual_current import JOG, WHOLE, FullStroke
from throwbook.core.analysis.segmentation import Segments, segment
from throwbook.core.analysis.stalled_motor import stalled_motor_of
from throwbook.core.analysis.switches import PinSwitch, lag_of, switches_at_rest, switches_of
from throwbook.core.analysis.transient import FEWEST_ROWS, MOST_OF_IT, SMALLEST_PEAK
from throwbook.core.analysis.travel import (
    Travel,
    hides_ramps,
    late_load,
    profile,
    take_up_of,
    travel,
    voltage_or_nominal,
)
from throwbook.core.assessment import CUT_OFF, NO_RUN, STALL, Figures, Measured
from throwbook.core.diagnosis.evidence import Evidence
from throwbook.core.machine.expected_throw import RATED_C, magnets, stroke_volt_seconds
from throwbook.core.machine.motor import MotorLine, resistance_at
from throwbook.core.quantities.clock import clock_u_s
from throwbook.core.quantities.statistics import K, from_half_width, integrate, median_of
from throwbook.core.rig import Rig
from throwbook.core.trace import FloatArray, Trace

UNREAD_SUPPLY_U = 0.08
"""Relative standard uncertainty of a travel that was reckoned without reading the voltage. A 12 V machine gives 11.8 V
from a battery nearly empty and 14.1 V with its engine running (common practice, no source), 18 % apart; two days of
which nothing is known differ by a triangle of that half-width, 0.18/√6 = 0.07, and the load on the supply differs too."""
SUPPLIES_APART = 0.18
"""How far those two supplies lie apart, as a share."""
UNKNOWN_C = 15.0
"""Taken for a baseline whose temperature nobody wrote down [degC] (assumed)."""
WARMING_U = 0.01
"""Relative standard uncertainty that an unseen winding temperature leaves in the travel (*assumed*: 30 K of copper on
a quarter of the voltage)."""


def gather(
    movement: Movement, rig: Rig, line: MotorLine, baseline: Baseline | None, gains: Gains
) -> Evidence:
    """Cut, measure and compare one movement."""
    trace = movement.trace
    actuator = rig.actuator
    stroke = stroke_of(trace, rig, line, baseline)
    full_vs, full_u, r_ohm = stroke.volt_seconds, stroke.u, stroke.r_ohm
    segments = segment(movement, line.i0_a)
    voltage_v, from_voltage = voltage_or_nominal(trace, actuator.voltage_v, segments)
    still = stalled_motor_of(segments, trace.time_s, voltage_v, actuator, r_ohm, line.u_r)
    moved = travel(trace, segments, voltage_v, from_voltage, r_ohm, still)
    clip_a, clip_open = clipped_at(trace, segments), False
    if clip_a is None and shows_one_reading(trace, segments):
        clip_a, clip_open = float(segments.current_a[segments.first : segments.last + 1].max()), True
    segments, load_too = over_the_range(segments, trace.time_s, clip_a)
    end = end_of(segments, moved.still_from)
    place = PlaceU()
    if end == NO_RUN:
        figures, share, u = Figures(), 0.0, 0.0
        shape_profile, fit = None, None
        hidden_share = by_the_clock = 0.0
        switches = switches_at_rest(trace)
    else:
        share = max(moved.total_vs / full_vs, 0.0)
        figures = figures_of(trace, segments, voltage_v, moved, clip_a, gains)
        u = float(np.hypot(full_u, _resistance_share(figures, line, r_ohm, baseline)))
        coasted_u_s = sum(each.coasted_u_s for each in segments.breaks)
        lasted_s = segments.end_s - segments.start_s
        clock_s = clock_u_s(trace.head, segments.start_s, segments.end_s)
        hole_s = longest_hole_s(trace, segments)
        unseen_u = from_half_width(hole_s / lasted_s)
        u = float(
            np.sqrt(u**2 + (coasted_u_s / lasted_s) ** 2 + (0.5 * clock_s / lasted_s) ** 2 + unseen_u**2)
        )
        hidden = hides_ramps(from_voltage, voltage_v, segments)
        place = place_u(trace.time_s, segments, moved, figures, baseline, hidden, r_ohm, full_vs)
        hidden_share = _hidden_share(segments, trace.time_s, voltage_v, r_ohm) / full_vs
        travel_u = float(np.hypot(place.of(min(max(share, 0.0), 1.0), u), from_half_width(hidden_share)))
        figures = _with_travel(figures, segments, moved, share, travel_u, end)
        rows = segments.last - segments.first + 1
        short = share < MOST_OF_IT or (rows < 2 * FEWEST_ROWS and share < WHOLE)
        all_start = share < JOG or rows < FEWEST_ROWS or (short and _may_be_all_ramp(segments))
        if end == CUT_OFF and all_start:
            # Over before it ran evenly, as far as can be seen: there is no run to speak of.
            figures = replace(figures, run_current_a=None, peak_run_current_a=None)
        by_the_clock = clock_s / lasted_s
        complete = end == CUT_OFF and share > 1.0 - max(2.0 * u, 0.03) and not segments.starts_running
        tied_vs = moved.total_vs if complete else full_vs
        shape_profile = (
            None
            if segments.starts_running or hole_s or hidden_share > WORST_PLACE_U
            else profile(trace.time_s, segments, moved, tied_vs, 0.0 if complete else u)
        )
        fit = None
        if shape_profile is not None and baseline is not None and baseline.has_profile:
            fit = fit_difference(shape_profile.current_a, baseline.median_a)
        figures = replace(figures, take_up_fraction=take_up_of(shape_profile, line.i0_a))
        ended = end in (CUT_OFF, STALL)
        done = 1.0 if complete else min(max(share, 0.0), 1.0)
        known_u = place.between(done, 0.0 if complete else u * done)
        switches = switches_of(trace, segments, moved, ended, done, known_u)
        figures = _with_switches(figures, switches, lag_of(switches, segments, done, from_voltage))
        if load_too:
            figures = replace(figures, peak_run_current_a=None)
        if hole_s or movement.own_level:
            figures = replace(figures, **dict.fromkeys(UNKNOWN_OVER_A_HOLE))
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
        place=place,
        clip_open=clip_open or load_too,
        hidden_share=hidden_share,
        by_the_clock=by_the_clock,
        switches=switches,
        own_level=movement.own_level,
    )


def _with_switches(figures: Figures, switches: tuple[PinSwitch, ...], lag: Measured | None) -> Figures:
    """Add when and where each pin's switch changed, and how far apart the two did."""
    for each in switches:
        if each.change is not None:
            own = {
                f"{each.side}_switch_at_s": each.change.at_s,
                f"{each.side}_switch_at_fraction": each.change.at_fraction,
            }
            figures = replace(figures, **own)
    return replace(figures, switch_lag_fraction=lag)


def _hidden_share(segments: Segments, time_s: FloatArray, voltage_v: FloatArray, r_ohm: float) -> float:
    """Volt-seconds that a motor would have moved in between the earliest and the latest moments of its start and of its end."""
    total = 0.0
    for rows in (slice(segments.earliest, segments.first + 1), slice(segments.last, segments.latest + 1)):
        emf_v = voltage_v[rows] - np.maximum(segments.current_a[rows], 0.0) * r_ohm
        total += integrate(np.maximum(emf_v, 0.0), time_s[rows])
    return total


def _may_be_all_ramp(segments: Segments) -> bool:
    """Whether a start shows neither the peak of a switch nor the end of a drive's ramp, or stands high for longer than it
    seems to take."""
    if segments.ramped or segments.starts_running:
        return False
    late_a = median_of(
        segments.current_a[segments.last - (segments.last - segments.first) // 3 : segments.last + 1]
    )
    stands = (
        segments.settled == segments.first and segments.current_a[segments.first] > SMALLEST_PEAK * late_a
    )
    return bool(stands) or starts_softly(segments)


def stroke_of(trace: Trace, rig: Rig, line: MotorLine, baseline: Baseline | None) -> FullStroke:
    """What the full stroke takes at this trial's temperature."""
    actuator = rig.actuator
    full_vs, full_u = full_stroke(line, rig, baseline, trace.voltage_v is not None, trace.ambient_c)
    return FullStroke(
        volt_seconds=full_vs,
        u=full_u,
        r_ohm=float(resistance_at(line, trace.ambient_c if trace.ambient_c is not None else 20.0)),
        nominal_v=actuator.voltage_v,
        no_load_a=line.i0_a,
        full_load_a=actuator.full_load_current_a,
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
        # Few throws know their own scatter badly: so wide that twice of it holds 95 % (Student's t).
        scatter = spread.reach(0.975) / (K * spread.mean) if spread.n > 1 else 0.02
        share, magnet_u = magnets(baseline.ambient_c, ambient_c)
        supply = 0.0 if from_voltage else UNREAD_SUPPLY_U
        return spread.mean * share, float(np.sqrt(scatter**2 + WARMING_U**2 + magnet_u**2 + supply**2))
    share, magnet_u = magnets(RATED_C, ambient_c)
    supply = 0.0 if from_voltage else UNREAD_SUPPLY_U
    return stroke_volt_seconds(line, rig) * share, float(np.sqrt(line.u_k_e**2 + magnet_u**2 + supply**2))


def throw_volt_seconds(line: MotorLine, baseline: Baseline) -> float | None:
    """What a whole throw of the baseline takes by its time, voltage and running current [V s], at its own temperature.

    Without a voltage the nominal one stands in. None where the baseline lacks time or current, or nothing would be left
    to turn the motor.
    """
    time, run, volts = (
        baseline.figures.get(name) for name in ("travel_time_s", "run_current_a", "mean_voltage_v")
    )
    if time is None or run is None:
        return None
    ohm = float(resistance_at(line, UNKNOWN_C if baseline.ambient_c is None else baseline.ambient_c))
    left_v = (line.v_ref if volts is None else volts.mean) - run.mean * ohm
    return time.mean * left_v if left_v > 0.0 else None


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


def _with_travel(
    figures: Figures, segments: Segments, moved: Travel, share: float, u: float, end: str
) -> Figures:
    """Add what the travel says: share of the stroke, and the volt-seconds a baseline is made from.

    ``u``: standard uncertainty of the share of the stroke.
    """
    if segments.starts_running:
        return figures
    held = min(max(share, 0.0), 1.0)
    fraction = Measured(held, 2.0 * u)
    whole = end == CUT_OFF and moved.total_vs > 0.0
    return replace(
        figures,
        travel_fraction=fraction,
        back_emf_vs=Measured(moved.total_vs, 2.0 * WARMING_U * moved.total_vs)
        if whole and moved.total_vs > 0.0
        else None,
    )
