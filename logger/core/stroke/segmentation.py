"""One record cut into rest, start-up transient, run and rest again.

The only outside number used here is the actuator's no-load current: a motor that turns draws about that much or more,
so a level well below it is rest. Everything else (zero, noise, the length of the start-up transient) comes from the
record itself.
"""

from dataclasses import dataclass

import numpy as np

from logger.core.quantities.numerics import (
    median_of,
    median_of_three,
    moving_mean,
    resolution_step,
    robust_sd,
)
from logger.core.stroke.breaks import Break, find_breaks, with_coasting
from logger.core.stroke.movement import SUSTAINED_SAMPLES, FullStroke, movement_of, regions_of
from logger.core.stroke.rest import END_S, REST_SHARE, first_guess_of_zero, noise_of, polarity_of, refine_zero
from logger.core.stroke.transient import end_of_transient
from logger.core.trace import FloatArray, Trace

NOISE_SIGMAS = 5.0
"""A sample this many standard deviations off zero isn't noise (one in millions for a normal scatter)."""
BOUNCE_S = 0.015
"""Contacts of a power relay bounce for some milliseconds (*practice*)."""


@dataclass(frozen=True, eq=False)
class Segments:
    """Where things happen in one record; indices count its rows."""

    current_a: FloatArray
    """shape (n,) [A]: zero taken off, the driving direction positive, lone spikes replaced"""
    polarity: int
    zero_a: float
    zero_u_a: float
    """Standard uncertainty of the zero [A]."""
    noise_a: float
    """Standard deviation of one sample at rest [A]."""
    step_a: float
    """Resolution of the current channel [A]; 0: not visible."""
    period_s: float
    """Median time between rows [s]."""
    first: int
    """First row of the movement."""
    settled: int
    """First row after the start-up transient."""
    ramped: bool
    """The start was a drive's ramp of the speed, not the inrush of a switch."""
    last: int
    """Last row of the movement."""
    start_s: float
    start_u_s: float
    """Standard uncertainty [s]."""
    end_s: float
    end_u_s: float
    starts_running: bool
    ends_running: bool
    pauses: int
    """Breaks in the current within the movement, long or short."""
    spikes: int
    settled_latest: int = 0
    """First row at which the start-up transient is over for certain; later than ``settled`` where it isn't resolved."""
    breaks: tuple[Break, ...] = ()
    """Breaks of a contact in mid-throw, each with the surge after it."""

    @property
    def moved(self) -> bool:
        """Whether there was any movement current at all."""
        return self.last > self.first

    @property
    def run(self) -> slice:
        """Rows from the end of the start-up transient to the end of the movement."""
        return slice(self.settled, self.last + 1)


def segment(trace: Trace, no_load_current_a: float, stroke: FullStroke) -> Segments:
    """Cut one record.

    Parameters
    ----------
    trace
        n rows, n >= 3.
    no_load_current_a
        From the rating [A].
    stroke
        What the full stroke takes: a current that stops sooner and comes back is still the same movement.
    """
    time_s = trace.time_s
    period_s = median_of(np.diff(time_s))
    zero_a, rest_seen = first_guess_of_zero(trace.current_a, period_s, no_load_current_a)
    raw = trace.current_a - zero_a
    polarity = polarity_of(raw, no_load_current_a)
    current = polarity * raw
    noise_a = noise_of(current, period_s, no_load_current_a) if rest_seen else 0.0
    width = _smoothing_width(noise_a, no_load_current_a)
    smooth, threshold = movement_threshold(current, noise_a, no_load_current_a)
    regions = regions_of(smooth > threshold, time_s)
    if not regions:
        return _nothing_moved(trace, current, polarity, zero_a, noise_a, period_s)

    (first, last), pauses = movement_of(regions, time_s, current, trace.voltage_v, period_s, stroke)
    current, zero_a, zero_u_a, noise_a, step_a = refine_zero(
        current, zero_a, polarity, first, last, 0.5 * no_load_current_a + NOISE_SIGMAS * noise_a, rest_seen
    )
    if width > 1:
        first, last = _sharpen(current, first, last, width, no_load_current_a)
    else:
        first = _back_to_noise(current, first, noise_a)
        first = _first_contact(current, time_s, first, max(threshold, NOISE_SIGMAS * noise_a))
        last = _back_to_the_knee(current, first, last, max(12, int(END_S / period_s)))
    starts_running = first == 0 or not rest_seen
    ends_running = last >= len(current) - 1
    rest_a = max(REST_SHARE * no_load_current_a, NOISE_SIGMAS * noise_a)
    breaks = find_breaks(current, time_s, first, last, rest_a, period_s)
    start_until = breaks[0].opened - 1 if breaks else last
    settled, ramped, settled_latest = (
        (first, False, first) if starts_running else end_of_transient(current, time_s, first, start_until)
    )
    inrush = None if starts_running or ramped else slice(first, settled)
    breaks = with_coasting(breaks, current, time_s, inrush)
    current, spikes = _without_spikes(current, settled, first, last)

    level = max(median_of(current[first : last + 1]), 1e-9)
    blur_s = 2.0 * (noise_a / level) ** 2 * period_s if width > 1 else 0.0
    start_s, start_u_s = _edge(time_s, first - 1, first, blur_s)
    end_s, end_u_s = _edge(time_s, last, last + 1, blur_s)
    return Segments(
        current_a=current,
        polarity=polarity,
        zero_a=zero_a,
        zero_u_a=zero_u_a,
        noise_a=noise_a,
        step_a=step_a,
        period_s=period_s,
        first=first,
        settled=settled,
        ramped=ramped,
        settled_latest=settled_latest,
        last=last,
        start_s=start_s,
        start_u_s=start_u_s,
        end_s=end_s,
        end_u_s=end_u_s,
        starts_running=starts_running,
        ends_running=ends_running,
        pauses=pauses,
        spikes=spikes,
        breaks=breaks,
    )


def movement_threshold(
    current: FloatArray, noise_a: float, no_load_current_a: float
) -> tuple[FloatArray, float]:
    """The current smoothed as far as its noise asks for, and the level beyond which it isn't rest [A]."""
    width = _smoothing_width(noise_a, no_load_current_a)
    threshold = max(REST_SHARE * no_load_current_a, NOISE_SIGMAS * noise_a / np.sqrt(width))
    return moving_mean(current, width), min(threshold, 0.8 * no_load_current_a)


def _smoothing_width(noise_a: float, no_load_current_a: float) -> int:
    """Rows to average so that noise stays below the rest band; 1 for any decent record."""
    needed = (NOISE_SIGMAS * noise_a / (0.6 * no_load_current_a)) ** 2
    return max(1, int(np.ceil(needed)))


def _sharpen(
    current: FloatArray, first: int, last: int, width: int, no_load_current_a: float
) -> tuple[int, int]:
    """Both edges of a noisy record again, now from the unsmoothed rows.

    The likeliest place of a step from 0 to a level in white noise is where the running sum of (reading - half the
    level) turns: the smoothing only had to find the neighbourhood. The level after the start is at least the no-load
    current.
    """
    reach = 2 * width
    rise = np.cumsum(current[: min(first + reach, last)] - 0.5 * no_load_current_a)
    first = int(np.argmin(rise)) + 1 if len(rise) and rise.min() < 0 else 0
    quarter = (last - first) // 4
    level = float(np.mean(current[first + quarter : last - quarter + 1]))
    low, high = max(first + 1, last - reach), min(len(current), last + reach + 1)
    if low >= high:
        return first, max(first, last)  # no longer than its own noise
    fall = np.cumsum(current[low:high] - 0.5 * level)
    return first, low + int(np.argmax(fall))


def _back_to_noise(current: FloatArray, first: int, noise_a: float) -> int:
    """Walk back from the threshold to where the rise leaves the noise."""
    while first > 0 and current[first - 1] > NOISE_SIGMAS * noise_a and current[first - 1] < current[first]:
        first -= 1
    return first


def _first_contact(current: FloatArray, time_s: FloatArray, first: int, threshold_a: float) -> int:
    """A relay's contact bounces before it rests: the start is its first touch, however short."""
    before = np.flatnonzero((current[:first] > threshold_a) & (time_s[:first] >= time_s[first] - BOUNCE_S))
    return int(before[0]) if len(before) else first


def _back_to_the_knee(current: FloatArray, first: int, last: int, window: int) -> int:
    """The movement ends where the current leaves its last level, however long a filter or a diode drags out the fall.

    ``window``: rows that show the last level; again and again, since the first look may see little but the fall.
    """
    threshold_row = last
    while True:
        level_a = median_of(current[max(first, last - window + 1) : last + 1])
        back = last
        while back > first + 1 and current[back] < 0.5 * level_a:
            back -= 1
        if back == last:
            break
        last = back
    fell = threshold_row - last
    if fell < 2:
        return last  # a clean break: nothing to walk back
    before = current[max(first, last - window + 1) : last + 1]
    lowest_a = median_of(before) - 2.0 * robust_sd(before)
    # The first half of such a fall never takes longer than the rest of it.
    for back in range(last, max(first + 1, last - fell), -1):
        if current[back] >= lowest_a:
            return back
    return last


def _without_spikes(current: FloatArray, settled: int, first: int, last: int) -> tuple[FloatArray, int]:
    """Lone samples that stand out of both their neighbours replaced by the neighbours' median."""
    middle = median_of_three(current)
    away = np.abs(current - middle)
    steps = np.abs(np.diff(current[first : last + 1]))
    usual = 1.4826 * median_of(steps) / np.sqrt(2.0) if len(steps) else 0.0
    level = median_of(current[first : last + 1])
    spike = away > max(8.0 * usual, 0.1 * level)
    # The start-up peak can be one sample wide at a low rate: nothing before the run is called a spike.
    spike[: max(settled + 1, first + SUSTAINED_SAMPLES)] = False
    spike[max(0, last - 1) :] = False
    return np.where(spike, middle, current), int(np.count_nonzero(spike))


def _edge(time_s: FloatArray, i: int, j: int, blur_s: float) -> tuple[float, float]:
    """An event between rows i and j: the middle, and the uncertainty of not knowing where between."""
    n = len(time_s)
    if i < 0 or j >= n:
        return float(time_s[max(i, 0)] if i >= 0 else time_s[j]), 0.0
    gap_s = float(time_s[j] - time_s[i])
    return float(0.5 * (time_s[i] + time_s[j])), float(np.hypot(gap_s / np.sqrt(12.0), blur_s))


def _nothing_moved(
    trace: Trace, current: FloatArray, polarity: int, zero_a: float, noise_a: float, period_s: float
) -> Segments:
    """A record without a movement."""
    t0 = float(trace.time_s[0])
    return Segments(
        current_a=current,
        polarity=polarity,
        zero_a=zero_a,
        zero_u_a=noise_a / np.sqrt(len(current)),
        noise_a=noise_a,
        step_a=resolution_step(current[:500]),
        period_s=period_s,
        first=0,
        settled=0,
        ramped=False,
        last=0,
        start_s=t0,
        start_u_s=0.0,
        end_s=t0,
        end_u_s=0.0,
        starts_running=False,
        ends_running=False,
        pauses=0,
        spikes=0,
    )
