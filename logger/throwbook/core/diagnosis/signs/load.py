"""Signs of the load: how heavy the mechanism is, where, and whether the drive moves it at all."""

from dataclasses import replace

import numpy as np

from throwbook.core.analysis.baseline import PRACTICE_SPREAD, Bump, Fit, find_bump, smooth_over
from throwbook.core.analysis.clipping import ripple_of
from throwbook.core.analysis.switches import speed
from throwbook.core.analysis.transient import QUICK_ROWS_S
from throwbook.core.analysis.travel import GRID_BINS, PLACE_U_WITHOUT_VOLTAGE, rotor_charge_per_volt
from throwbook.core.assessment import CUT_OFF, FAIL, INFO, STALL, WATCH, Measured, Sign
from throwbook.core.diagnosis.evidence import NO_LOAD_U, SETTLE_AT_REST, Evidence, RivalReading, unknown_air
from throwbook.core.diagnosis.signs import ending, pins
from throwbook.core.trace import FloatArray
from throwbook.core.wording import FIGURES

RUNNING = FIGURES["run_current_a"].sentence
Z_99 = 2.326
"""One-sided 99 % of a normal scatter."""
LIGHT_SHARE = 0.3
"""Less than this share of the usual load counts as no load (*practice*)."""
HALF_LOAD = 0.5
"""An endless run with less than half of the usual load is a light one; with more, something slips under load
(*assumed*)."""
SCAN_PROBABILITY = 0.9998
"""A profile is searched at some fifty places that don't overlap: each must be this sure for the whole to be 99 % sure."""
WHOLE_GAP = 0.7
"""A start that lacks this share of the load lacks all of it; less than that is one side of two (*assumed*: halfway
between one side of two equal ones and both)."""


def over_rated(evidence: Evidence) -> Sign | None:
    """Running current above the rated maximum; the record shows since when."""
    run, rated = evidence.figures.run_current_a, evidence.rig.actuator.full_load_current_a
    return above_rated(run, rated, float(evidence.trace.time_s[evidence.segments.settled]))


def above_rated(run: Measured | None, rated_a: float, from_s: float | None = None) -> Sign | None:
    """Above the rated maximum by more than its uncertainty, measured by a board or by hand."""
    if run is None or run.value - run.u <= rated_a:
        return None
    because = f"the {RUNNING} of {run.value:.2f} A is above the full-load current of {rated_a:.2f} A"
    return Sign("over-rated", FAIL, because, value=run.value, limit=rated_a, unit="A", from_s=from_s)


AT_THE_END = RivalReading(
    "how the movement ended would explain it", "Record again. Watch the end of travel from a distance."
)
"""A load that can't be told from the end of the movement: a contact that bounces, a drive that brakes."""
AT_THE_START = RivalReading("a start that these rows do not show would explain it", "Sample faster.")


def light_run(evidence: Evidence) -> Sign | None:
    """Near no-load current all the way: the drive isn't moving the mechanism."""
    run = evidence.figures.run_current_a
    if run is None or evidence.end == STALL or evidence.travel_share < 0.3:
        return None
    idle = evidence.idle_a
    usual = evidence.baseline_run_a
    if ending.turned_too_far(evidence) and run.value < idle + HALF_LOAD * ((usual or idle) - idle):
        return _turns_on(evidence, run.value)
    if usual is None:
        return _light_without_baseline(evidence, run.value)
    load = usual - idle
    if load < 0.15 * usual:
        return None  # the healthy load is itself near nothing: it can't be missed
    limit = idle + LIGHT_SHARE * load
    if run.value > limit or _typical_high(evidence) > idle + 0.5 * load:
        return _lighter(evidence, usual) or load_in_doubt(run, load, limit)
    surely = run.value + run.u <= limit
    flowed_a = evidence.flowed_at_rest_a
    explained = not surely and run.value + flowed_a > limit
    unsure = (
        _would_explain_it(flowed_a)
        if explained
        else f"with ±{run.u:.2g} A it is not certain that any load was moved"
    )
    return Sign(
        "light-run",
        FAIL if surely else WATCH,
        f"{RUNNING} {run.value:.2f} A over the whole travel, close to the no-load current of {idle:.2f} A; the baseline has {usual:.2f} A"
        + ("" if surely else f"; {unsure}"),
        value=run.value,
        limit=limit,
        unit="A",
        settle=SETTLE_AT_REST if explained else "",
    )


def load_in_doubt(run: Measured, load: float, limit: float) -> Sign | None:
    """A running current whose ± is greater than the load itself, and reaches down to no load: no verdict may pass it."""
    if run.u < load or run.value - run.u > limit:
        return None
    because = f"{RUNNING} {run.value:.2f} ± {run.u:.2g} A: it is not certain that any load was moved"
    return Sign("light-run", INFO, because, value=run.value, limit=limit, unit="A", settle=SETTLE_AT_REST)


def _lighter(evidence: Evidence, usual: float) -> Sign | None:
    """Lighter than the baseline by more than its spread and the weather explain: one side may not be moved."""
    fit = evidence.fit
    if fit is None or evidence.end != CUT_OFF or float(np.mean(fit.covered)) < 0.4:
        return None
    lighter = -fit.level_a / usual
    limit = _change_limit(evidence, usual, -1.0)
    if lighter <= limit:
        return None
    flowed_a = evidence.flowed_at_rest_a
    surely = lighter - flowed_a / usual > limit
    return Sign(
        "light-run",
        WATCH if surely else INFO,
        f"{RUNNING} {-100 * lighter:+.0f} % against the baseline ({usual:.2f} A), over the whole travel; "
        + ("a side that is no longer driven looks like this" if surely else _would_explain_it(flowed_a)),
        value=lighter,
        limit=limit,
        unit="1",
        settle="" if surely else SETTLE_AT_REST,
    )


def _would_explain_it(flowed_a: float) -> str:
    return f"the {flowed_a:.2g} A that flowed at rest would explain it, if they stop while the motor runs"


def _change_limit(evidence: Evidence, usual: float, sense: float) -> float:
    """Change of the load, as a share of the usual current, that the baseline's spread, the weather and this trial's
    own uncertainty leave unexplained. ``sense`` +1: heavier, -1: lighter."""
    assert evidence.baseline is not None
    cold, cold_u = evidence.cold_share()
    scatter = evidence.baseline.figures["run_current_a"].reach() / usual
    run = evidence.figures.run_current_a
    own = run.u / usual if run is not None else 0.0
    spread = float(np.sqrt(scatter**2 + (Z_99 * cold_u) ** 2 + own**2))
    return max(PRACTICE_SPREAD, spread) + max(sense * cold, 0.0)


def _turns_on(evidence: Evidence, run_a: float) -> Sign:
    """The motor turned for more than the whole stroke, light: it doesn't move the rod."""
    return Sign(
        "light-run",
        FAIL,
        f"the motor turned for {evidence.travel_share:.1f} strokes at {run_a:.2f} A and did not stop",
        value=evidence.travel_share,
        limit=ending.TURNED_TOO_FAR,
        unit="1",
    )


def _light_without_baseline(evidence: Evidence, run_a: float) -> Sign | None:
    """Only a hint: without a baseline a light mechanism looks the same."""
    limit = evidence.idle_a * (1.0 + NO_LOAD_U)
    if run_a > limit or _typical_high(evidence) > evidence.idle_a * (1.0 + 2.0 * NO_LOAD_U):
        return None
    return Sign(
        "light-run",
        WATCH,
        f"{RUNNING} {run_a:.2f} A over the whole travel, no more than the no-load current",
        value=run_a,
        limit=limit,
        unit="A",
    )


def _typical_high(evidence: Evidence) -> float:
    """The current that only the heaviest tenth of the run exceeds [A]."""
    segments = evidence.segments
    return float(np.percentile(segments.current_a[segments.run], 90))


def drag(evidence: Evidence) -> Sign | None:
    """Heavier over the whole travel than the baseline, by more than its spread and the weather explain."""
    fit, usual = evidence.fit, evidence.baseline_run_a
    if fit is None or usual is None or evidence.baseline is None:
        return None
    if evidence.end != CUT_OFF or float(np.mean(fit.covered)) < 0.4:
        return (
            None  # a short stretch, or one that ended against something, doesn't speak for the whole travel
        )
    heavier = fit.level_a / usual
    limit = _change_limit(evidence, usual, 1.0)
    if heavier <= limit:
        return None
    weather = unknown_air(evidence.baseline.ambient_c, evidence.trace.ambient_c)
    sign = Sign(
        "drag",
        WATCH,
        f"{RUNNING} {100 * heavier:+.0f} % against the baseline ({usual:.2f} A), over the whole travel{weather}",
        value=heavier,
        limit=limit,
        unit="1",
    )
    return pins.with_side(sign, evidence)


def binding_spot(evidence: Evidence) -> Sign | None:
    """Heavier at one place, which the baseline doesn't have. Without a baseline a hump is only told."""
    if evidence.baseline is None or not evidence.baseline.has_profile:
        return _hump(evidence)
    bump = _bump(evidence)
    if bump is None:
        return None
    usual = evidence.baseline_run_a or evidence.idle_a
    at_u = 2.0 * evidence.place.between(bump.at_fraction, bump.at_u)
    where = f"{100 * bump.at_fraction:.0f} % of the stroke (±{100 * at_u:.1f} %)"
    segments = evidence.segments
    unresolved = segments.settled_latest > segments.settled or segments.period_s > QUICK_ROWS_S
    by_the_start = unresolved and bump.at_fraction - at_u <= 0.0
    beside = AT_THE_END if bump.at_fraction + at_u >= 1.0 else AT_THE_START if by_the_start else None
    sign = Sign(
        "binding-spot",
        INFO if beside else WATCH,
        f"{bump.height_a:.2f} A more current at {where}: {100 * (bump.height_a / usual):+.0f} % of the {RUNNING}"
        + (f"; {beside.says}" if beside else ""),
        value=bump.height_a,
        limit=bump.limit_a,
        unit="A",
        at_fraction=bump.at_fraction,
        at_fraction_u=at_u,
        from_s=_time_at(evidence, bump.at_fraction - 0.5 * bump.width),
        settle=beside.settle if beside else "",
    )
    return pins.with_side(sign, evidence)


def _time_at(evidence: Evidence, fraction: float) -> float:
    """When the rod passed a share of the stroke [s]."""
    moved = evidence.moved.volt_seconds
    row = int(np.searchsorted(moved, fraction * evidence.moved.total_vs))
    rows = evidence.trace.time_s[evidence.segments.first : evidence.segments.last + 1]
    return float(rows[min(row, len(rows) - 1)])


def _bump(evidence: Evidence) -> Bump | None:
    """The clearest load at one place beyond the baseline, in a movement that was done."""
    fit, baseline, profile = evidence.fit, evidence.baseline, evidence.profile
    usual = evidence.baseline_run_a
    if fit is None or baseline is None or profile is None or usual is None or evidence.end != CUT_OFF:
        return None
    if baseline.profile_n < 2:
        return None
    factors = {width: baseline.scan_factor(width, SCAN_PROBABILITY) for width in baseline.scan_sd_a}
    smallest = PRACTICE_SPREAD * max(usual, usual + fit.level_a)
    # A travel that doesn't add up shifts places, and the more so the less it adds up.
    shift_u = float(np.hypot(profile.place_u, 0.25 * (evidence.travel_share - 1.0)))
    blind_u = 0.0 if evidence.moved.from_voltage else PLACE_U_WITHOUT_VOLTAGE
    ripple_a = float(np.sqrt(2.0)) * ripple_of(evidence.segments) * usual
    return find_bump(
        _no_lighter_than_idle(fit, profile.current_a, baseline.median_a, evidence.idle_a),
        baseline.median_a,
        baseline.scan_sd_a,
        factors,
        smallest,
        shift_u,
        blind_u,
        ripple_a,
        _spin_up_bins(evidence),
    )


def _no_lighter_than_idle(fit: Fit, current_a: FloatArray, baseline_a: FloatArray, idle_a: float) -> Fit:
    """The split difference of a lighter throw, its expected current nowhere below no load: before the load is taken up there
    is nothing that could have become lighter."""
    least_a = np.minimum(baseline_a, idle_a)
    return replace(fit, misfit_a=np.minimum(fit.misfit_a, current_a - least_a))


def _spin_up_bins(evidence: Evidence) -> float:
    """Time constant in which the rotor speeds up, in hundredths of the stroke; 0 where none was taken off the profile."""
    segments, moved = evidence.segments, evidence.moved
    tau_s = rotor_charge_per_volt(evidence.trace.time_s, segments, moved) * evidence.line.r_ohm
    return tau_s * GRID_BINS * speed(segments, evidence.travel_share)


def _hump(evidence: Evidence) -> Sign | None:
    """Without a baseline: the highest place, told and no more."""
    profile, run = evidence.profile, evidence.figures.run_current_a
    if profile is None or run is None or evidence.end != CUT_OFF:
        return None
    smooth = smooth_over(profile.current_a, 4)
    if np.all(np.isnan(smooth)):
        return None
    top = int(np.nanargmax(smooth))
    height = float(smooth[top] - np.nanmedian(profile.current_a))
    noise = float(np.nanmedian(profile.u_a)) / 2.0
    if height < max(2.0 * PRACTICE_SPREAD * run.value, 5.0 * noise):
        return None
    at = float(profile.fraction[top])
    return Sign(
        "binding-spot",
        INFO,
        f"a hump of {height:.2f} A at {100 * at:.0f} % of the stroke; without a baseline this may be normal for the mechanism",
        value=height,
        unit="A",
        at_fraction=at,
        at_fraction_u=2.0 * evidence.place.between(at, max(profile.place_u, 0.01)),
    )


def free_play(evidence: Evidence) -> Sign | None:
    """The load is taken up later than in the baseline, by more than its place may be off."""
    late = evidence.late
    if late is None or late.missing < WHOLE_GAP:
        return None
    at_u = 2.0 * evidence.place.between(late.until, late.u)
    if late.extent <= at_u:
        return None
    return Sign(
        "free-play",
        WATCH,
        f"take-up point {100 * late.extent:.1f} % of the stroke later than in the baseline, at {100 * late.until:.0f} %",
        value=late.until,
        limit=late.usual,
        unit="1",
        at_fraction=late.until,
        at_fraction_u=at_u,
    )


def uneven_sides(evidence: Evidence) -> Sign | None:
    """The load comes in two steps, one side after the other."""
    late = evidence.late
    if late is None or late.missing >= WHOLE_GAP:
        return None
    return Sign(
        "uneven-sides",
        INFO,
        f"the load comes on in two steps: {100 * late.missing:.0f} % of it only at {100 * late.until:.0f} % of the stroke",
        value=late.missing,
        unit="1",
        at_fraction=late.until,
        at_fraction_u=2.0 * evidence.place.between(late.until, late.u),
    )


OF_THE_LOAD = (light_run, over_rated, drag, binding_spot, free_play, uneven_sides)
