"""The figures of one trial, each with its uncertainty; None where the record can't give one."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from throwbook.core.analysis.breaks import LONGEST_S, without_breaks
from throwbook.core.analysis.clipping import (
    CLOSE_SIGMAS,
    at_the_ceiling,
    chance_of_highest,
    least_of_start,
    peak_of_start,
)
from throwbook.core.analysis.edges import Edge, end_of_movement, jitter_of, start_of, starts_softly
from throwbook.core.analysis.record_conditions import lost_by_numbers
from throwbook.core.analysis.segmentation import Segments
from throwbook.core.analysis.transient import QUICK_ROWS_S
from throwbook.core.analysis.travel import Travel, on_motor_side
from throwbook.core.assessment import (
    CUT_OFF,
    NO_RUN,
    STALL,
    STILL_RUNNING,
    Figures,
    Measured,
)
from throwbook.core.quantities.clock import clock_u_s, holes_in
from throwbook.core.quantities.statistics import (
    K,
    from_half_width,
    from_step,
    integrate,
    median_of,
    moving_mean,
    robust_sd,
)
from throwbook.core.trace import FloatArray, Trace

GAIN_WITHIN = 0.015
GAIN_U = from_half_width(GAIN_WITHIN)
"""Relative standard uncertainty of a current channel that brings no calibration: ±1.5 % total error, the figure the
ACS712 data sheet gives, taken as a rectangle."""
VOLTAGE_GAIN_U = from_half_width(0.01)
"""The same for voltage: a divider of two 1 % resistors (*practice*)."""
BEAT_APART = (1, 2)
START_KNOWN_TO, ROWS_OF_LEVEL = 2, 5
"""Rows."""
HUNDREDTHS = 100
"""The peak is the highest mean over one hundredth of the run."""
LONGEST_UNSEEN = 0.02
"""Share of a run that may go unseen in one place and its highest current still be given (*practice*)."""
LONE_ROW = 1.5
"""Periods; between the rows beside a lone missing one a straight line tells what flowed (*practice*)."""
MOST_LOST = 0.01
"""Share of a run beyond the channel's range with which a mean can still be given (*practice*)."""


@dataclass(frozen=True)
class Gains:
    """Relative standard uncertainties of the two channels."""

    current: float = GAIN_U
    voltage: float = VOLTAGE_GAIN_U


def expanded(value: float, *standard: float) -> Measured:
    """A figure with the root sum of squares of its standard uncertainties, k = 2 (JCGM 100)."""
    return Measured(float(value), K * float(np.sqrt(sum(u * u for u in standard))))


def end_of(segments: Segments, still_from: int | None) -> str:
    """How the movement ended: a key of ``wording.ENDS``."""
    if not segments.moved:
        return NO_RUN
    if still_from is not None:
        return STALL
    return STILL_RUNNING if segments.ends_running else CUT_OFF


def figures_of(
    trace: Trace,
    segments: Segments,
    voltage_v: FloatArray,
    moved: Travel,
    clip_a: float | None,
    gains: Gains,
) -> Figures:
    """Every figure that this record supports (travel in shares of the stroke is added by ``assess``).

    The run ends where the motor stood still, if it did: stall current is a figure of its own.
    """
    time_s, current_a = trace.time_s, segments.current_a
    whole_start, whole_end = not segments.starts_running, not segments.ends_running
    stop = moved.still_from if moved.still_from is not None else segments.last + 1
    run = slice(segments.settled, max(stop, segments.settled))
    source = None if moved.by_drive else source_resistance(trace, voltage_v, segments, clip_a, gains)
    clock_u = clock_u_s(trace.head, segments.start_s, segments.end_s) / K
    jitter_s = jitter_of(time_s)
    switched = start_of(time_s, segments, jitter_s) if whole_start else None
    start = expanded(*switched) if switched else None
    end = _end(time_s, segments, moved, jitter_s)
    by_clock = clock_u / max(segments.end_s - segments.start_s, segments.period_s)
    zero_u = segments.zero_u_a if np.isfinite(segments.zero_u_a) else 0.1 * abs(median_of(current_a))
    peak_window = max(3, (run.stop - run.start) // HUNDREDTHS)
    load_a, load_s = current_a[run], time_s[run]
    if segments.breaks:
        load_a, load_s = without_breaks(segments.breaks, current_a, time_s, run)
    unseen = _unseen(trace, slice(segments.settled, run.stop)) if not segments.breaks else NOTHING_UNSEEN
    return Figures(
        start_s=_by_the_clock(start, trace),
        end_s=_by_the_clock(end, trace),
        travel_time_s=_travel_time(start, end, clock_u),
        inrush_a=_inrush(time_s, segments, switched, clip_a, zero_u, gains),
        run_current_a=_run_current(
            load_s,
            load_a,
            0 if segments.breaks else _fell_before(current_a, segments.first, run),
            time_s[: run.start],
            current_a[: run.start],
            segments.settled_latest - segments.settled,
            clip_a,
            float(np.hypot(zero_u, _by_unseen(load_a, peak_window, unseen.share))),
            gains,
        ),
        peak_run_current_a=None
        if unseen.hides_a_peak
        else _peak(
            load_a,
            segments.settled_latest - segments.settled,
            peak_window,
            clip_a,
            zero_u,
            gains,
            over=_rows_since(end, load_s),
        ),
        stall_current_a=_stall(current_a, moved, segments, clip_a, zero_u, gains),
        mean_voltage_v=_mean_voltage(trace, voltage_v, segments, gains),
        rest_voltage_v=_rest_voltage(trace, voltage_v, segments, source, gains),
        source_resistance_ohm=source,
        run_noise_a=_run_noise(load_a[segments.settled_latest - segments.settled :]),
        charge_as=_integral(
            time_s,
            current_a,
            segments,
            clip_a,
            zero_u,
            float(np.hypot(gains.current, by_clock)),
            whole_start and whole_end,
        ),
        energy_j=None
        if trace.voltage_v is None
        else _integral(
            time_s,
            current_a * voltage_v,
            segments,
            clip_a,
            zero_u * float(np.mean(voltage_v)),
            float(np.sqrt(gains.current**2 + gains.voltage**2 + by_clock**2)),
            whole_start and whole_end,
        ),
    )


UNKNOWN_OVER_A_HOLE = (
    "travel_time_s",
    "travel_fraction",
    "back_emf_vs",
    "run_current_a",
    "peak_run_current_a",
    "charge_as",
    "energy_j",
)
"""What nobody can tell of a movement that may have stopped, and been started again, where no reading shows it."""


def longest_hole_s(trace: Trace, segments: Segments) -> float:
    """The longest stretch of a movement that no reading shows, where it may have stopped and been started again [s]; 0
    where none is so long. Where a board's numbers run on, no reading is lost: then it is the clock that jumped."""
    time_s = trace.time_s[segments.first : min(segments.last + 2, len(trace))]
    if len(time_s) < 2 or lost_by_numbers(trace.head, 1.0) < 0.5:
        return 0.0
    longest_s = float(np.diff(time_s).max()) - 2.0 * segments.period_s
    return longest_s if longest_s > LONGEST_S else 0.0


class Unseen(NamedTuple):
    """Time of a run for which there are no rows: readings were lost, or the clock jumped."""

    share: float
    hides_a_peak: bool
    """Readings were lost over so long that the highest may be among them."""


NOTHING_UNSEEN = Unseen(0.0, False)


def _unseen(trace: Trace, run: slice) -> Unseen:
    time_s = trace.time_s[run]
    if len(time_s) < 4:
        return NOTHING_UNSEEN
    holes, lost = holes_in(time_s)
    if not len(holes):
        return NOTHING_UNSEEN
    lasted_s, steps_s = float(time_s[-1] - time_s[0]), np.diff(time_s)[holes]
    period_s = float(np.median(steps_s / (lost + 1)))
    longest_s = float(steps_s.max()) - period_s
    readings = lost_by_numbers(trace.head, float(lost.sum())) >= 0.5
    hides = readings and longest_s > max(LONGEST_UNSEEN * lasted_s, LONE_ROW * period_s)
    return Unseen(float((lost * period_s).sum()) / lasted_s, hides)


def _by_unseen(current_a: FloatArray, window: int, share: float) -> float:
    """Standard uncertainty of a mean from what flowed unseen: anything between the lowest and the highest of the run [A]."""
    if not share:
        return 0.0
    means_a = moving_mean(current_a, window)
    return share * float(np.ptp(means_a)) / float(np.sqrt(12.0))


def _end(time_s: FloatArray, segments: Segments, moved: Travel, jitter_s: float) -> Measured | None:
    """End of the movement: the cut-off, or where the motor came to stand. None where the record doesn't show it."""
    if moved.still_from is None:
        return None if segments.ends_running else expanded(*end_of_movement(time_s, segments, jitter_s))
    if moved.still_from <= segments.settled:
        return None  # it never moved
    return expanded(float(time_s[moved.still_from]), 2.0 * segments.period_s)


def _by_the_clock(moment: Measured | None, trace: Trace) -> Measured | None:
    """A moment with what the clock may be off since the first row."""
    if moment is None:
        return None
    return Measured(moment.value, float(np.hypot(moment.u, clock_u_s(trace.head, until_s=moment.value))))


def _travel_time(start: Measured | None, end: Measured | None, clock_u: float) -> Measured | None:
    """None too where all of it, or more, may be its uncertainty."""
    if start is None or end is None:
        return None
    lasted = Measured(end.value - start.value, float(np.sqrt(start.u**2 + end.u**2 + (K * clock_u) ** 2)))
    return lasted if lasted.u < lasted.value else None


def _inrush(
    time_s: FloatArray,
    segments: Segments,
    switched: Edge | None,
    clip_a: float | None,
    zero_u: float,
    gains: Gains,
) -> Measured | None:
    """None where it was cut off, or where the rows don't show the peak: then ``least_inrush_a`` is all that is known."""
    if switched is None:
        return None
    if at_the_ceiling(segments.current_a[segments.first : segments.settled + 1], clip_a).any():
        return None
    peak = peak_of_start(time_s, segments, switched.at_s - np.sqrt(3.0) * switched.u_s)
    if peak is None:
        return None
    peak_a = 0.5 * (peak.lowest_a + peak.highest_a)
    unseen_a = from_step(peak.highest_a - peak.lowest_a)
    return expanded(peak_a, unseen_a, zero_u, segments.noise_a, peak.scatter_a, gains.current * peak_a)


def least_inrush_a(segments: Segments, gains: Gains) -> float:
    """The inrush is at least this [A]: the highest reading of the start, less what it may be off by."""
    highest_a, rippled_a = least_of_start(segments)
    zero_u = segments.zero_u_a if np.isfinite(segments.zero_u_a) else 0.0
    least = expanded(highest_a, zero_u, segments.noise_a, rippled_a, gains.current * highest_a)
    return max(0.0, least.value - least.u)


def _fell_before(current_a: FloatArray, first: int, run: slice) -> int:
    """Rows before a run by which its start had already fallen to the run's first level: it may have been over."""
    start_a = current_a[first : run.start]
    if len(start_a) < 2 or run.stop - run.start < 2:
        return 0
    level_a = median_of(current_a[run.start : min(run.stop, run.start + ROWS_OF_LEVEL)])
    peak = int(np.argmax(start_a))
    low = np.flatnonzero(start_a[peak:] <= level_a)
    return len(start_a) - peak - int(low[0]) if len(low) else 0


def _run_current(
    time: FloatArray,
    current: FloatArray,
    fell: int,
    start_s: FloatArray,
    start_a: FloatArray,
    unsettled: int,
    clip_a: float | None,
    zero_u: float,
    gains: Gains,
) -> Measured | None:
    """Time-average over the run. The scatter is taken from block means, so that slow beats of an aliased ripple count.

    Wherever its start ended, the mean of what follows lies within the ±: among the last ``fell`` rows of the start, whose
    times and currents are ``start_s`` and ``start_a``, or among the first ``unsettled`` of the run.
    """
    lost = float(np.mean(at_the_ceiling(current, clip_a))) if len(current) else 0.0
    if len(current) < 4 or lost > MOST_LOST:
        return None
    # Where the start ends is known to two rows at best.
    later = min(max(unsettled, START_KNOWN_TO), len(current) - 2)
    all_a, all_s = (
        np.append(start_a[len(start_a) - fell :], current),
        np.append(start_s[len(start_s) - fell :], time),
    )
    steps_as = 0.5 * (all_a[1:] + all_a[:-1]) * np.diff(all_s)
    after_as = np.cumsum(steps_as[::-1])[::-1][: fell + later + 1]
    means = after_as / (all_s[-1] - all_s[: fell + later + 1])
    mean = 0.5 * float(means.min() + means.max()) if unsettled else float(means[fell])
    start_u = from_half_width(float(np.abs(means - mean).max()))
    beyond_a = from_half_width(
        lost * (clip_a or 0.0)
    )  # where it was cut off it may have been twice as high (*assumed*)
    return expanded(mean, zero_u, _scatter_of_mean(current), gains.current * mean, start_u, beyond_a)


def _scatter_of_mean(current: FloatArray) -> float:
    """Standard uncertainty of the mean from what neighbouring samples disagree by [A].

    The shape of the load is no scatter, so differences between neighbours are used; they are taken at spacings of 1,
    3 and 9 samples and the worst counts, which a slow beat can't hide from.
    """
    n = len(current)
    worst = 0.0
    for block in (1, 3, 9):
        m = n // block
        if m < 6:
            break
        means = current if block == 1 else current[: m * block].reshape(m, block).mean(axis=1)
        # Second differences drop a straight slope: var = 6 sd^2 for independent blocks.
        second = means[2:] - 2.0 * means[1:-1] + means[:-2]
        worst = max(worst, float(np.sqrt(np.mean(second**2) / 6.0 / m)))
    return worst


def _rows_since(end: Measured | None, time_s: FloatArray) -> int:
    """Rows of a run behind the earliest moment at which it may have ended: what a bouncing contact lets through."""
    if end is None:
        return 0
    earliest_s = end.value - float(np.sqrt(3.0)) * end.u / K
    return len(time_s) - int(np.searchsorted(time_s, earliest_s))


def _peak(
    current: FloatArray,
    unsettled: int,
    window: int,
    clip_a: float | None,
    zero_u: float,
    gains: Gains,
    over: int = 0,
) -> Measured | None:
    """Highest mean over one hundredth of the run: a load, not a spike or a brush ripple.

    ``unsettled``: rows at the beginning that may still be the start; ``over``: rows at the end that may lie behind it. The
    highest with and without them lies within the ±.
    """
    if len(current) < 4 or at_the_ceiling(current, clip_a).any():
        return None
    means = moving_mean(current, window)[window // 2 : len(current) - window // 2]
    peak = float(np.max(means))
    start_a = 0.0
    over = max(0, over - window)
    if 0 < unsettled + over < len(means):
        start_a = peak - float(np.max(means[unsettled : len(means) - over]))
        peak -= 0.5 * start_a
    scatter_a = _scatter_of_one(means[::window])
    # The highest of many: so much of it may be scatter, or nothing of it.
    many = int(np.count_nonzero(means[::window] >= peak - CLOSE_SIGMAS * scatter_a))
    chance_a = chance_of_highest(scatter_a, many)
    peak -= 0.5 * chance_a
    # Of fewer rows each is longer than a hundredth of the run, and three together hide a peak as high as the highest.
    too_long = max(0.0, 1.0 - len(current) / HUNDREDTHS)
    rows_a = current[window // 2 : len(current) - window // 2]
    blurred_a = too_long * max(0.0, float(np.max(rows_a)) - peak - 0.5 * chance_a)
    peak += 0.5 * blurred_a
    steps = float(np.std(np.diff(current)) / np.sqrt(2.0 * window))
    return expanded(
        peak,
        from_step(blurred_a),
        zero_u,
        max(steps, scatter_a),
        from_step(chance_a),
        from_step(start_a),
        gains.current * peak,
    )


def _scatter_of_one(means: FloatArray) -> float:
    """Standard deviation of one mean about the shape of the load [A].

    Second differences drop the shape where it is straight, a robust scatter what happens at a few places only. Taken at
    several distances, since an aliased ripple may beat slowly.
    """
    worst = 0.0
    for apart in BEAT_APART:
        second = means[2 * apart :] - 2.0 * means[apart:-apart] + means[: -2 * apart]
        if len(second) > 4:
            worst = max(worst, robust_sd(second) / float(np.sqrt(6.0)))
    return worst


def _stall(
    current_a: FloatArray,
    moved: Travel,
    segments: Segments,
    clip_a: float | None,
    zero_u: float,
    gains: Gains,
) -> Measured | None:
    if moved.still_from is None:
        return None
    tail = current_a[moved.still_from : segments.last + 1]
    if at_the_ceiling(tail, clip_a).any():
        return None
    level = median_of(tail)
    return expanded(level, zero_u, float(np.std(tail)) / np.sqrt(len(tail)), gains.current * level)


def _mean_voltage(trace: Trace, voltage_v: FloatArray, segments: Segments, gains: Gains) -> Measured | None:
    if trace.voltage_v is None or segments.last - segments.settled < 3:
        return None
    time, volts = trace.time_s[segments.run], voltage_v[segments.run]
    if segments.breaks:
        volts, time = without_breaks(segments.breaks, voltage_v, trace.time_s, segments.run)
        if len(volts) < 4:
            return None
    mean = integrate(volts, time) / float(time[-1] - time[0])
    return expanded(mean, _scatter_of_mean(volts), gains.voltage * mean)


def _run_noise(current: FloatArray) -> Measured | None:
    """Scatter of neighbouring samples while running [A]: brush ripple, bad contact and sensor noise together."""
    steps = np.diff(current)
    if len(steps) < 20:
        return None
    noise = float(np.std(steps) / np.sqrt(2.0))
    if noise == 0.0:
        return None  # it hides below the channel's step: how far isn't known
    return expanded(noise, noise / np.sqrt(2.0 * len(steps)))


def _rest_voltage(
    trace: Trace, voltage_v: FloatArray, segments: Segments, source: Measured | None, gains: Gains
) -> Measured | None:
    """Supply without load: read before the start, or (a board on the motor side of the switch sees none then) the
    voltage in the run carried back to no current along the line of the start."""
    before = voltage_v[: max(0, segments.first - 1)]
    if trace.voltage_v is None or len(before) < 2 or segments.starts_running:
        return None
    early = slice(segments.settled, min(segments.settled + 50, segments.last) + 1)
    rest, running = median_of(before), median_of(voltage_v[early])
    if abs(rest) < 0.5 * running:
        if source is None:
            return None
        amps = median_of(segments.current_a[early])
        carried = running + source.value * amps
        return expanded(carried, 0.5 * source.u * amps, gains.voltage * carried, 0.005 * carried)
    return expanded(rest, float(np.std(before)) / np.sqrt(len(before)), gains.voltage * rest)


def source_resistance(
    trace: Trace, voltage_v: FloatArray, segments: Segments, clip_a: float | None, gains: Gains
) -> Measured | None:
    """-dV/di upstream of the board, from the start: rest, inrush and its decay [ohm].

    The fast change of the start outweighs everything slow (the battery's own recovery). A straight line by least
    squares with current on x; None where the current didn't change enough or the line doesn't describe the rows.
    """
    if trace.voltage_v is None or segments.starts_running or segments.settled <= segments.first:
        return None
    if segments.period_s > QUICK_ROWS_S and on_motor_side(voltage_v, segments):
        return None  # so far apart no row shows whether a switch or a drive gave the motor its voltage
    inrush_rows = segments.settled - segments.first
    before = min(segments.first - 1, max(4, inrush_rows))
    rows = np.arange(segments.first - max(before, 0), min(segments.settled + inrush_rows, segments.last) + 1)
    volts, amps = voltage_v[rows], segments.current_a[rows]
    if abs(median_of(voltage_v[: max(1, segments.first - 1)])) < 0.5 * median_of(volts):
        # Motor side: no voltage before the switch closes, nor where that channel comes later than the current.
        keep = (rows > segments.first) & (volts > 0.5 * median_of(volts))
        volts, amps = volts[keep], amps[keep]
        if starts_softly(segments):
            return None  # a drive that sets the motor's voltage itself: that voltage isn't the supply's
    if clip_a is not None:
        keep = ~at_the_ceiling(amps, clip_a)
        volts, amps = volts[keep], amps[keep]
    if len(amps) < 5:
        return None
    spread = amps - amps.mean()
    s_xx = float(spread @ spread)
    if s_xx <= 0:
        return None
    slope = float(spread @ volts) / s_xx
    misfit = volts - volts.mean() - slope * spread
    # Rows that lie on one side of the line together are one observation, not many: a drive that raises its voltage
    # draws a curve, and its slope is nobody's resistance.
    apart = 1 + int(np.count_nonzero(np.diff(misfit > 0)))
    together = max(1.0, len(amps) / (2.0 * apart))  # by chance alone the side changes at every other row
    u = float(np.sqrt(misfit @ misfit / (len(amps) - 2) / s_xx * together))
    if -slope + K * u < 0.0:
        return None  # a supply that rises with the load isn't one: the two channels don't belong together
    return expanded(-slope, u, abs(slope) * float(np.hypot(gains.current, gains.voltage)))


def _integral(
    time_s: FloatArray,
    values: FloatArray,
    segments: Segments,
    clip_a: float | None,
    zero_u: float,
    gain_u: float,
    whole: bool,
) -> Measured | None:
    """Integral over the whole movement, transient included."""
    rows = slice(segments.first, segments.last + 1)
    if not whole or at_the_ceiling(segments.current_a[rows], clip_a).any():
        return None
    total = integrate(values[rows], time_s[rows])
    lasted = segments.end_s - segments.start_s
    edge = abs(float(values[segments.last])) * segments.end_u_s
    return expanded(total, zero_u * lasted, gain_u * total, edge)
