"""Where the rod was, from back-EMF; current over that travel, and load that comes late on it.

A brushed permanent-magnet motor turns at a speed in proportion to V - iR, so the travel is in proportion to the
integral of that over time. Without a voltage channel a constant supply stands in, and every place is known less well.
"""

from dataclasses import dataclass

import numpy as np

from throwbook.core.analysis.baseline import PRACTICE_SPREAD, Baseline, Fit, smooth_over
from throwbook.core.analysis.breaks import BESIDE_ROWS, left_out
from throwbook.core.analysis.residual_current import SUSTAINED_SAMPLES
from throwbook.core.analysis.segmentation import Segments
from throwbook.core.analysis.stalled_motor import StalledMotor
from throwbook.core.analysis.transient import BOUNCE_S
from throwbook.core.assessment import Measured, Profile
from throwbook.core.quantities.statistics import from_step, integrate, median_of, moving_mean, runs_of
from throwbook.core.trace import FloatArray, Trace

NOTICEABLE = 0.25
"""Less than a quarter of the load missing isn't one side of two (*assumed*)."""
RAMP_BINS = 3
"""The load comes in over a few bins, not at once."""


@dataclass(frozen=True)
class LateLoad:
    """A beginning that lacks load."""

    missing: float
    """Share of the usual load that is missing there"""
    until: float
    """Share of the stroke at which it is there"""
    usual: float
    """Share of the stroke at which the baseline has it"""
    extent: float
    """How much later, share of the stroke"""
    u: float
    """Standard uncertainty of the place"""


def late_load(
    fit: Fit | None, baseline: Baseline | None, profile: Profile | None, idle_a: float
) -> LateLoad | None:
    """Look at the beginning of the profile, where the baseline already carries load and this trial doesn't yet."""
    if fit is None or baseline is None or profile is None or baseline.profile_n < 2:
        return None
    usual = baseline.figures.get("run_current_a")
    if usual is None:
        return None
    covered = np.flatnonzero(fit.covered)
    # A load is late only where the baseline itself had more: a fit that goes by a ripple's phase may ask for anything.
    misfit_a = np.maximum(fit.misfit_a, profile.current_a - baseline.median_a)
    expected = profile.current_a - misfit_a
    begin = covered[: max(4, len(covered) // 2)]
    idle = min(idle_a, float(np.min(smooth_over(profile.current_a, 2)[begin], initial=idle_a)))
    load = expected - idle
    usual_load = baseline.median_a - min(idle_a, idle)
    carries = usual_load > 0.6 * median_of(usual_load[covered])
    with np.errstate(invalid="ignore", divide="ignore"):
        missing = smooth_over(-misfit_a, 2) / load
    stretch = _first_stretch([int(k) for k in begin if carries[k]], missing)
    if len(stretch) < 2:
        return None
    lacking_a = float(np.mean(-misfit_a[stretch]))
    width = max(w for w in baseline.scan_sd_a if w <= max(2, len(stretch)))
    scatter = float(np.max(baseline.scan_sd_a[width][stretch]))
    limit = max(PRACTICE_SPREAD * usual.mean, baseline.scan_factor(width, 0.999) * scatter)
    if lacking_a < limit:
        return None
    m = len(profile.current_a)
    depth = float(np.percentile(missing[stretch], 85))
    with np.errstate(invalid="ignore", divide="ignore"):
        until = _there_at(-misfit_a / load, stretch, depth)
    usual_at = stretch[0] / m
    return LateLoad(
        missing=depth,
        until=until,
        usual=usual_at,
        extent=until - usual_at,
        u=float(np.hypot(profile.place_u, from_step(1.0 / m))),
    )


def _first_stretch(loaded: list[int], missing: FloatArray) -> list[int]:
    """Bins in a row that lack load, where they begin within ``RAMP_BINS`` of the place where load usually begins."""
    lacking = [bool(missing[k] > NOTICEABLE) for k in loaded]
    begin = next((k for k, lacks in enumerate(lacking[: RAMP_BINS + 1]) if lacks), None)
    if begin is None:
        return []
    end = begin
    while end < len(lacking) and lacking[end]:
        end += 1
    return loaded[begin:end]


def _there_at(missing: FloatArray, stretch: list[int], depth: float) -> float:
    """Share of the stroke at which a load that was late is there, half of it at least.

    A bin in which it comes lacks part of it and counts for that part of its width: the last two of the stretch and the
    one behind are looked at.
    """
    begin = max(stretch[0], stretch[-1] - 1)
    bins = np.arange(begin, min(stretch[-1] + 2, len(missing)))
    shares = np.clip(np.nan_to_num(missing[bins]) / max(depth, 1e-9), 0.0, 1.0)
    return float(begin + np.sum(shares)) / len(missing)


def take_up_of(profile: Profile | None, idle_a: float) -> Measured | None:
    """Share of the stroke at which the current first leaves the no-load level for good.

    None where the run never leaves that level, or where the start-up transient hides the place.
    """
    if profile is None or profile.place_u > 0.05:
        return None
    smooth = smooth_over(profile.current_a, 2)
    known = np.flatnonzero(~np.isnan(smooth))
    if len(known) < 20:
        return None
    typical = median_of(smooth[known])
    if typical < 1.15 * idle_a:
        return None
    loaded = smooth[known] > idle_a + 0.5 * (typical - idle_a)
    first = int(known[int(np.argmax(loaded))])
    m = len(smooth)
    hidden = known[0] / m if first == known[0] else 0.0
    return Measured(
        0.0 if hidden else first / m, 2.0 * float(np.hypot(profile.place_u, max(hidden, 1.0 / m)))
    )


FEWEST_START_ROWS = 4
"""A start of fewer rows doesn't show its charge."""
GRID_BINS = 100
"""Bins of one hundredth of the stroke."""
LONGEST_FILLED = 2
"""Bins in a row that a straight line between two samples may fill."""
PLACE_U_WITHOUT_VOLTAGE = 0.03
"""Standard uncertainty of a place when the supply is taken as constant, as a share of the stroke (*assumed*)."""


@dataclass(frozen=True, eq=False)
class Travel:
    """The movement as distance in volt-seconds (distance times k_e)."""

    emf_v: FloatArray
    """shape (rows of the movement,) back-EMF [V]"""
    volt_seconds: FloatArray
    """shape (rows of the movement,) [V s] from 0 at the start"""
    total_vs: float
    """[V s] over the whole movement, both ends included"""
    from_voltage: bool
    still_from: int | None
    """Row (of the record) from which the motor stalled; None: it turned to the end."""
    limited: bool = False
    """That was told from a current held flat at a limit, not from V/R."""
    by_drive: bool = False
    """The voltage read is the motor's, and a drive sets it."""
    ramp_vs: float = 0.0
    """What was taken off for a ramp that the voltage doesn't show [V s]"""
    supply_v: float = 0.0
    """Median of the voltage over the movement, read or nominal [V]"""


def voltage_or_nominal(trace: Trace, nominal_v: float, segments: Segments) -> tuple[FloatArray, bool]:
    """Voltage over the record with its driving polarity made positive [V], and whether it was measured."""
    if trace.voltage_v is None:
        return np.full(len(trace), nominal_v), False
    moving = trace.voltage_v[segments.first : segments.last + 1]
    return (-trace.voltage_v if median_of(moving) < 0 else trace.voltage_v), True


def on_motor_side(voltage_v: FloatArray, segments: Segments) -> bool:
    """Whether the board sees the motor's voltage: none before the start."""
    before = float(voltage_v[: max(1, segments.first - 1)].mean())
    return abs(before) < 0.5 * float(voltage_v[segments.first : segments.last + 1].mean())


def hides_ramps(from_voltage: bool, voltage_v: FloatArray, segments: Segments) -> bool:
    """Whether a drive's ramp doesn't show in the voltage: none was read, or it is the supply's."""
    return not (from_voltage and on_motor_side(voltage_v, segments))


def set_by_a_drive(voltage_v: FloatArray, time_s: FloatArray, segments: Segments) -> bool:
    """Whether the motor's voltage is a drive's, raised little by little: it tells nothing of the supply.

    A switch gives all of it within a sample or two, however its contacts bounce.
    """
    if segments.starts_running or not on_motor_side(voltage_v, segments):
        return False
    if segments.ramped:
        return True
    rows = slice(max(0, segments.first - 2), segments.last + 1)
    usual_v = median_of(voltage_v[rows])
    if usual_v <= 0.0:  # more than half of the rows read nothing: no rise can be told
        return False
    share = voltage_v[rows] / usual_v
    tenth, half = int(np.argmax(share > 0.1)), int(np.argmax(share > 0.5))
    return half - tenth > SUSTAINED_SAMPLES and bool(time_s[rows][half] - time_s[rows][tenth] > BOUNCE_S)


def travel(
    trace: Trace,
    segments: Segments,
    voltage_v: FloatArray,
    from_voltage: bool,
    r_ohm: float,
    still: StalledMotor | None,
) -> Travel:
    """Integrate the back-EMF over the movement.

    Parameters
    ----------
    voltage_v
        shape (n,) [V], see ``voltage_or_nominal``.
    r_ohm
        Winding resistance at the temperature of the trial [ohm].
    still
        From its row on the rod counts as standing.
    """
    still_from = None if still is None else still.row
    rows = slice(segments.first, segments.last + 1)
    time_s, current_a = trace.time_s[rows], segments.current_a[rows]
    emf_v = voltage_v[rows] - current_a * r_ohm
    ramp_vs = 0.0
    if segments.ramped and hides_ramps(from_voltage, voltage_v, segments):
        # The drive's supply tells nothing of the motor's voltage: an even ramp from standing is the simplest there is.
        ramp = segments.settled - segments.first
        even = np.linspace(0.0, 1.0, ramp, endpoint=False)
        ramp_vs = integrate((1.0 - even) * emf_v[:ramp], time_s[:ramp]) if ramp > 1 else 0.0
        emf_v[:ramp] *= even
    # In a break of the current the motor only coasts; a supply that reads full voltage then drives nothing. What it
    # draws while it turns is the measure: a long stand at the end draws many times that.
    turning_a = current_a if still_from is None else current_a[: max(1, still_from - segments.first)]
    for a, b in runs_of(current_a < 0.1 * median_of(turning_a)):
        if b - a >= SUSTAINED_SAMPLES:
            emf_v[a:b] = 0.0
    for each in segments.breaks:
        opened, closed = each.opened - segments.first, each.closed - segments.first
        share = each.coasted_s / float(time_s[closed] - time_s[opened])
        emf_v[opened:closed] = share * median_of(emf_v[max(0, opened - BESIDE_ROWS) : opened])
    if still_from is not None:
        emf_v[max(0, still_from - segments.first) :] = 0.0
    step_vs = 0.5 * (emf_v[1:] + emf_v[:-1]) * np.diff(time_s)
    begin_vs = float(emf_v[0]) * max(0.0, float(time_s[0]) - segments.start_s)
    finish_vs = float(emf_v[-1]) * max(0.0, segments.end_s - float(time_s[-1]))
    volt_seconds = begin_vs + np.concatenate(([0.0], np.cumsum(step_vs)))
    return Travel(
        emf_v,
        volt_seconds,
        float(volt_seconds[-1]) + finish_vs,
        from_voltage,
        still_from,
        limited=still is not None and still.limited,
        by_drive=from_voltage and set_by_a_drive(voltage_v, trace.time_s, segments),
        ramp_vs=ramp_vs,
        supply_v=median_of(voltage_v[rows]),
    )


def rotor_charge_per_volt(time_s: FloatArray, segments: Segments, moved: Travel) -> float:
    """Charge that speeds the rotor up by one volt of back-EMF [A s/V]: its inertia, as the terminals see it.

    The start tells it: what flowed beyond the load while the back-EMF rose from nothing to its running value. 0 where
    the record doesn't resolve the start or has no voltage.
    """
    first, settled = segments.first, segments.settled
    if not moved.from_voltage or segments.starts_running or settled - first < FEWEST_START_ROWS:
        return 0.0
    after = slice(settled, min(2 * settled - first, segments.last) + 1)
    load_a = median_of(segments.current_a[after])
    risen_v = median_of(moved.emf_v[after.start - first : after.stop - first])
    start = slice(first, settled + 1)
    charge_as = integrate(segments.current_a[start] - load_a, time_s[start])
    return max(charge_as, 0.0) / risen_v if risen_v > 0 else 0.0


def profile(
    time_s: FloatArray, segments: Segments, moved: Travel, full_vs: float, full_u: float
) -> Profile | None:
    """Load current over travel on the fixed grid, or None where the run is too short for one.

    What flows only to speed the rotor up (after the start, or when the supply jumps) is taken off.

    Parameters
    ----------
    full_vs
        Volt-seconds of the full stroke [V s].
    full_u
        Relative standard uncertainty of it.

    Bins that the movement didn't reach, or that lie in the start-up transient or in a hole of the record, are NaN.
    Single bins between two samples (a low rate) are filled by the straight line between them.
    """
    # The very last reading may be taken half before and half after the cut-off.
    stop = segments.last if moved.still_from is None else moved.still_from
    stop = min(stop, segments.first + _driven_rows(moved.emf_v))
    rows = slice(segments.settled - segments.first, max(stop - segments.first, 0))
    place = moved.volt_seconds[rows] / full_vs
    current = segments.current_a[segments.settled : stop]
    if len(place) < 8 or place[-1] - place[0] < 0.05:
        return None
    centres = (np.arange(GRID_BINS) + 0.5) / GRID_BINS
    index = np.clip((place * GRID_BINS).astype(np.int64), 0, GRID_BINS - 1)
    kept_current, kept_index = current, index
    emf_v = moved.emf_v[rows]
    if segments.breaks:
        out = left_out(segments.breaks, slice(segments.settled, stop))
        kept_current, kept_index = current[~out], index[~out]
        ran_s = time_s[segments.settled : stop]
        emf_v = np.interp(ran_s, ran_s[~out], emf_v[~out])  # the rotor's charge is for the run beside a break
    count = np.bincount(kept_index, minlength=GRID_BINS)
    total = np.bincount(kept_index, weights=kept_current, minlength=GRID_BINS)
    seen = count > 0
    mean = np.full(GRID_BINS, np.nan)
    mean[seen] = total[seen] / count[seen]
    scatter_a = _scatter_within_bins(kept_current, kept_index, count, mean)
    inside = (centres >= place[0]) & (centres <= place[-1])
    gaps = inside & ~seen
    for a, b in runs_of(gaps):
        if b - a > LONGEST_FILLED:
            gaps[a:b] = False
    mean[gaps] = np.interp(centres[gaps], place, current)
    # The bins in which the start-up transient and the movement end are only partly covered.
    mean[~inside] = np.nan
    mean[int(np.argmax(inside))] = np.nan
    mean -= rotor_charge_per_volt(time_s, segments, moved) * _speeding_up(
        time_s[segments.settled : stop], emf_v, place
    )
    if segments.breaks:
        mean[index[out]] = np.nan  # a bin with part of a break or its surge tells nothing of the load
    u_a = scatter_a / np.sqrt(np.maximum(count, 1))
    per_sample = (place[-1] - place[0]) / len(place)
    place_u = float(np.hypot(full_u, from_step(per_sample)))
    if not moved.from_voltage:
        place_u = float(np.hypot(place_u, PLACE_U_WITHOUT_VOLTAGE))
    return Profile(centres, mean, np.where(np.isnan(mean), np.nan, u_a), place_u)


def _driven_rows(emf_v: FloatArray) -> int:
    """Rows until the motor was last driven: where its switch has opened the current dies away without a voltage, as if
    the motor turned backwards, and that is no load."""
    driven = np.flatnonzero(emf_v > 0.0)
    return int(driven[-1]) + 1 if driven.size else 0


def _speeding_up(time_s: FloatArray, emf_v: FloatArray, place: FloatArray) -> FloatArray:
    """Mean rise of the back-EMF over each bin [V/s], shape (m,); 0 outside the movement.

    Taken between the bin's two edges, from averages over half a bin, so that noise hardly counts.
    """
    width = max(3, len(place) // (2 * GRID_BINS))
    smooth_v = moving_mean(emf_v, width)
    edges = np.clip(np.arange(GRID_BINS + 1) / GRID_BINS, place[0], place[-1])
    at_s = np.interp(edges, np.maximum.accumulate(place), time_s)
    lasted_s = np.diff(at_s)
    rise_v = np.diff(np.interp(at_s, time_s, smooth_v))
    return np.where(lasted_s > 0, rise_v / np.where(lasted_s > 0, lasted_s, 1.0), 0.0)


def _scatter_within_bins(
    current: FloatArray, index: np.ndarray, count: np.ndarray, mean: FloatArray
) -> float:
    """Standard deviation of one sample about its bin [A]: noise and brush ripple, not the shape of the load."""
    spare = len(current) - int(np.count_nonzero(count))
    if spare >= 20:
        return float(np.sqrt(np.sum((current - mean[index]) ** 2) / spare))
    return float(np.std(np.diff(current)) / np.sqrt(2.0))
