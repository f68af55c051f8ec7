"""One movement cut into rest, start-up transient, run and rest again.

The only outside number used here is the actuator's no-load current: a motor that turns draws about that much or more,
so a level well below it is rest. Everything else (zero, noise, the length of the start-up transient) comes from the
record itself.
"""

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from throwbook.core.analysis.breaks import Break, find_breaks, with_coasting
from throwbook.core.analysis.current_runs import flows_at_rest, movement_threshold, rows_smoothed
from throwbook.core.analysis.movements import Movement
from throwbook.core.analysis.residual_current import (
    PAUSE_S,
    ROWS_OF_A_STEP,
    ROWS_OF_STEPS,
    SURELY_HIGHER,
    SURELY_LOWER,
    SUSTAINED_SAMPLES,
    SWITCHED_S,
    TURNS,
    earliest_of,
    latest_of,
)
from throwbook.core.analysis.rest import (
    END_S,
    FEWEST_NOISE_ROWS,
    FEWEST_REST_ROWS,
    FLAT,
    NOISE_SIGMAS,
    one_quiet_level,
    smoothing_width,
    zero_of,
)
from throwbook.core.analysis.transient import BOUNCE_S, end_of_transient
from throwbook.core.quantities.statistics import (
    MAD_TO_SD,
    from_step,
    median_of,
    median_of_three,
    resolution_step,
    robust_sd,
)
from throwbook.core.trace import FloatArray

SPIKES_SHARE, FEW_SPIKES = 0.005, 5
"""More wild readings than this share of a movement are its waveform, not spikes; a few are spikes in any case."""
CUT_OFF_BELOW = 0.5
"""A row with less than this share of what a fall would have left there was cut off (*assumed*)."""
LONGEST_BOUNCE_S = 0.2
"""A limit contact bounces for up to so long (*practice*)."""
CLEARLY_LESS = 0.9
"""What holds a level loses less than this from its first half to its second (*practice*)."""
DIP, BESIDE_DIP = 0.6, 4
"""A contact that opened for less than a row or two leaves less than this share of what so many rows on either side show."""


@dataclass(frozen=True, eq=False)
class Segments:
    """Where things happen in one movement; indices count its rows."""

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
    bounced_s: float
    """A contact bounced for so long after the end [s]; 0: it didn't."""
    residual_a: float
    """What flowed on after the end [A]."""
    spikes: int
    """Lone wild readings that were replaced by their neighbours."""
    wild: int = 0
    """Wild readings that were left in: too many to be spikes."""
    settled_latest: int = 0
    """First row at which the start-up transient is over for certain; later than ``settled`` where it isn't resolved."""
    quiet: bool = True
    """The rows beside the movement are one quiet level, and so is a record in which nothing moved."""
    over: int = 0
    """Last row of what belongs to the end: bounce, settling, residual current."""
    breaks: tuple[Break, ...] = ()
    """Breaks of a contact in mid-throw, each with the surge after it."""
    earliest: int = 0
    """Row at which the current left its rest for good: where that isn't ``first``, the start lies between the two."""
    latest: int = 0
    """Last row at which it may have ended, by the second reading of a record with a current at rest."""

    @property
    def moved(self) -> bool:
        """Whether there was any movement current at all."""
        return self.last > self.first

    @property
    def may_be_ramped(self) -> bool:
        """Whether the start was a drive's ramp, or isn't told from one."""
        return self.ramped or self.settled_latest > self.settled

    @property
    def run(self) -> slice:
        """Rows from the end of the start-up transient to the end of the movement."""
        return slice(self.settled, self.last + 1)


def segment(movement: Movement, no_load_current_a: float) -> Segments:
    """Cut one movement.

    Parameters
    ----------
    movement
        Its rows with their rest, and where about the current is.
    no_load_current_a
        From the rating [A].
    """
    trace, rest, run, period_s = movement.trace, movement.rest, movement.run, movement.period_s
    if run is None:
        return _nothing_moved(movement, no_load_current_a)
    time_s, polarity, first, last = trace.time_s, run.way, run.first, run.last
    width = rows_smoothed(rest, no_load_current_a)
    threshold = movement_threshold(rest, no_load_current_a)
    step_a = resolution_step(trace.current_a[max(0, first - 50) : first + 200])
    zero_a, zero_u_a, noise_a = 0.0, float("nan"), 0.0
    if rest.seen:
        # A current that flows on to the last row may be what holds the other way.
        over = run.over if run.over < len(trace) - 1 else last
        zero = zero_of(trace.current_a, first, over, rest, no_load_current_a, step_a)
        zero_a, zero_u_a, noise_a = zero.level_a, zero.u_a, zero.noise_a
    current = polarity * (trace.current_a - zero_a)
    if width > 1:
        first, last = _sharpen(current, first, last, width, no_load_current_a)
    if smoothing_width(rest.noise_a, no_load_current_a) == 1:
        beyond = current - level_before(current, first, max(3, int(END_S / period_s)))
        first = _back_to_noise(beyond, first, noise_a)
        first = _first_contact(beyond, time_s, first, max(threshold, NOISE_SIGMAS * noise_a))
        turns_a = TURNS * no_load_current_a
        unsure_a = NOISE_SIGMAS * noise_a + 2.0 * step_a
        window = max(12, int(2.0 * END_S / period_s))
        # A fall goes to what flows on.
        left_a, still_turns_a = current - run.residual_a, max(turns_a - run.residual_a, unsure_a)
        last = _back_to_the_knee(left_a, first, last, window, still_turns_a, unsure_a)
    opened = _first_opening(current, time_s, first, last, noise_a)
    bounced_s = run.bounced_s if opened == last else float(time_s[run.over] - time_s[opened])
    last = opened
    starts_running = first == 0 or not rest.seen
    ends_running = last >= len(current) - 1
    rest_a = max(threshold, NOISE_SIGMAS * noise_a)
    # What flowed at rest may flow no more: where all that is read turns a motor, nothing broke off.
    open_a = min(rest_a, TURNS * no_load_current_a - max(0.0, polarity * zero_a))
    breaks = find_breaks(current, time_s, first, last, open_a, period_s)
    start_until = breaks[0].opened - 1 if breaks else last
    # Where no rest was seen a movement may have begun in its record all the same, and its start is none of its run.
    settled, ramped, settled_latest = (
        (first, False, first) if first == 0 else end_of_transient(current, time_s, first, start_until)
    )
    inrush = None if starts_running or ramped else slice(first, settled)
    breaks = with_coasting(breaks, current, time_s, inrush)
    # A limit contact that bounces leaves lone rows as well.
    until = int(np.searchsorted(time_s, time_s[last] - LONGEST_BOUNCE_S))
    current, spikes, wild = _without_spikes(current, settled, first, last, min(until, last - 1))

    earliest = min(first, earliest_of(run), _left_its_rest(trace.current_a, first, no_load_current_a))
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
        pauses=run.pauses,
        bounced_s=bounced_s,
        residual_a=run.residual_a,
        spikes=spikes,
        wild=wild,
        quiet=_quiet_beside(movement, no_load_current_a),
        over=run.over,
        breaks=breaks,
        earliest=earliest,
        latest=max(last, latest_of(run)) if flows_at_rest(rest, no_load_current_a) else last,
    )


def _left_its_rest(current_a: FloatArray, first: int, no_load_current_a: float) -> int:
    """Row at which a current that glides into its movement left the level that it stood at before; ``first`` where it doesn't
    glide. ``current_a`` as read [A]."""
    before = current_a[:first]
    if len(before) < FEWEST_NOISE_ROWS:
        return first
    off_a = np.abs(before - median_of(before))
    # Not more than a step where most readings are the very same.
    scatter_a = max(MAD_TO_SD * median_of(off_a), resolution_step(before[-ROWS_OF_STEPS:]))
    at_rest = off_a <= NOISE_SIGMAS * scatter_a + FLAT * no_load_current_a
    calm = at_rest[2:] & at_rest[1:-1] & at_rest[:-2]
    left = int(np.flatnonzero(calm)[-1]) + SUSTAINED_SAMPLES if calm.any() else first
    return left if first - left >= ROWS_OF_A_STEP else first


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


def _quiet_beside(movement: Movement, no_load_current_a: float) -> bool:
    """Whether what isn't the movement is one quiet level; a residual current is known by itself."""
    run, trace = movement.run, movement.trace
    if run is None or run.residual_a:
        return True
    settled = int(np.searchsorted(trace.time_s, trace.time_s[run.over] + PAUSE_S))
    beside = np.concatenate((trace.current_a[: max(0, run.first - 2)], trace.current_a[settled + 1 :]))
    return one_quiet_level(beside, movement.period_s, no_load_current_a)


def level_before(current: FloatArray, first: int, rows: int) -> float:
    """What flowed right before a movement: nothing, or what held its place [A]."""
    before = current[max(0, first - 1 - rows) : max(0, first - 1)]
    if len(before) < FEWEST_REST_ROWS:
        return 0.0
    level_a, latest_a = median_of(before), float(before[-1])
    return latest_a if abs(latest_a) < 0.5 * abs(level_a) else level_a  # what is gone by then isn't it


def _back_to_noise(current: FloatArray, first: int, noise_a: float) -> int:
    """Walk back from the threshold to where the rise leaves the noise."""
    while first > 0 and current[first - 1] > NOISE_SIGMAS * noise_a and current[first - 1] < current[first]:
        first -= 1
    return first


def _first_contact(current: FloatArray, time_s: FloatArray, first: int, threshold_a: float) -> int:
    """A relay's contact bounces before it rests: the start is its first touch, however short."""
    before = np.flatnonzero((current[:first] > threshold_a) & (time_s[:first] >= time_s[first] - BOUNCE_S))
    return int(before[0]) if len(before) else first


def _back_to_the_knee(
    current: FloatArray, first: int, last: int, window: int, turns_a: float, unsure_a: float
) -> int:
    """The movement ends where the current leaves its last level, however long a filter or a diode drags out the fall.

    ``window``: rows that show the last level; again and again, since the first look may see little but the fall.
    ``turns_a``: no motor turns at less [A]; more than that, held flat, is a level of its own and no fall. ``unsure_a``: what
    chance makes of the difference between two rows [A].
    """
    threshold_row = last
    level_a = median_of(current[max(first, last - window + 1) : last + 1])
    if (
        last - 1 > first
        and current[last - 1] < CUT_OFF_BELOW * current[last] < CUT_OFF_BELOW * SURELY_LOWER * level_a
    ):
        last -= 1  # a contact that bounces lets something through for part of a row, on the way down
    while True:
        level_a = median_of(current[max(first, last - window + 1) : last + 1])
        if level_a <= 0.0:
            # By the movement's own zero nothing flows here, and there is no level to be left.
            flows = np.flatnonzero(current[first + 1 : last + 1] > unsure_a)
            return first + 1 + int(flows[-1]) if len(flows) else last
        back = last
        while back > first + 1 and current[back] < 0.5 * level_a:
            back -= 1
        if back < last and _falls_faster_later(current[back : threshold_row + 2], unsure_a):
            window = last - back  # the level that was left is that of the last of it
            continue
        after_a = current[min(last + 1, len(current) - 1)]
        if back == last or _turns_on(np.append(current[back - 1 : last + 1], after_a), turns_a):
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


def _falls_faster_later(rows: FloatArray, unsure_a: float) -> bool:
    """Whether a fall isn't at its fastest as it leaves the upper half of its level, as one that a filter, a diode or an average
    drags out is: what comes before is no fall, but a start that still dies away. ``rows``: the last high one and all after."""
    falls_a = rows[:-2] - rows[2:]  # over two rows: one may be part on and part off
    return len(falls_a) > 1 and float(falls_a[1:].max()) > SURELY_HIGHER * falls_a[0] + unsure_a


def _turns_on(rows: FloatArray, turns_a: float) -> bool:
    """Whether a motor turned at these rows, after its start had drawn far more: they hold a level, or dying away they are
    cut off. A fall begins at once, goes on as it began, and ends far below what a motor turns at.

    ``rows``: the last two that are high, those that are low, and the first without current.
    """
    low = rows[2:-1]
    goes_on_a = np.minimum(rows[1:-1] / rows[:-2], 1.0) * rows[1:-1]
    holds = len(low) >= SUSTAINED_SAMPLES and float(low.min()) >= turns_a
    if holds or low[0] >= CUT_OFF_BELOW * goes_on_a[0]:
        for ends in range(
            len(low) - 1, max(-1, len(low) - 3), -1
        ):  # the last one may be part on and part off
            rises = ends > 0 and low[ends - 1] < CUT_OFF_BELOW * low[ends]  # a contact bounces on its way
            if low[ends] >= turns_a and not rises and rows[ends + 3] <= CUT_OFF_BELOW * goes_on_a[ends + 1]:
                return True
    half = len(low) // 2
    if half < SUSTAINED_SAMPLES:
        return False
    early_a, late_a = median_of(low[:half]), median_of(low[half:])
    return late_a >= max(turns_a, CLEARLY_LESS * early_a)


def _first_opening(current: FloatArray, time_s: FloatArray, first: int, last: int, noise_a: float) -> int:
    """Last row before a limit contact first opened, where rows too far apart, or averaged, show no zero of its bounce.

    Within 0.3 s of the end the current falls by nearly half for some rows and is back at once: no load does that. Where it
    did so before, its brushes jump all the way.
    """
    since = int(np.searchsorted(time_s, time_s[last] - PAUSE_S))
    if since - first < 2 * (last - since) or last - since < BESIDE_DIP:
        return last
    sides = sliding_window_view(current[first : last + 1], BESIDE_DIP).max(axis=1)
    inner = current[first + BESIDE_DIP : last + 1 - BESIDE_DIP]
    beside = np.minimum(sides[: len(inner)], sides[BESIDE_DIP + 1 :])
    run = current[first + (since - first) // 2 : since]
    rough_a = max(noise_a, robust_sd(np.diff(run)) / float(np.sqrt(2.0)))
    fallen = (inner < DIP * beside - NOISE_SIGMAS * rough_a) & (beside >= SURELY_LOWER * median_of(run))
    dips = first + BESIDE_DIP + np.flatnonzero(fallen)
    # A start peak is no level beside a dip.
    dips = dips[time_s[dips] > time_s[first] + PAUSE_S]
    if not len(dips) or dips[0] < since or BESIDE_DIP * median_of(np.diff(time_s)) > SWITCHED_S:
        return last
    return int(dips[0]) - 1


def _without_spikes(
    current: FloatArray, settled: int, first: int, last: int, until: int
) -> tuple[FloatArray, int, int]:
    """Lone samples that stand out of both their neighbours replaced by the neighbours' median: how many were, and how
    many were left in, because so many of them are the waveform. ``until``: row from which on none is looked for."""
    middle = median_of_three(current)
    away = np.abs(current - middle)
    steps = np.abs(np.diff(current[first : last + 1]))
    usual = 1.4826 * median_of(steps) / np.sqrt(2.0) if len(steps) else 0.0
    level = median_of(current[first : last + 1])
    spike = away > max(8.0 * usual, 0.1 * level)
    # The start-up peak can be one sample wide at a low rate: nothing before the run is called a spike.
    spike[: max(settled + 1, first + SUSTAINED_SAMPLES)] = False
    spike[max(0, until) :] = False
    spikes = int(np.count_nonzero(spike))
    if spikes > max(FEW_SPIKES, SPIKES_SHARE * (last - first)):
        return current, 0, spikes
    return np.where(spike, middle, current), spikes, 0


def _edge(time_s: FloatArray, i: int, j: int, blur_s: float) -> tuple[float, float]:
    """An event between rows i and j: the middle, and the uncertainty of not knowing where between."""
    n = len(time_s)
    if i < 0 or j >= n:
        return float(time_s[max(i, 0)] if i >= 0 else time_s[j]), 0.0
    gap_s = float(time_s[j] - time_s[i])
    return float(0.5 * (time_s[i] + time_s[j])), float(np.hypot(from_step(gap_s), blur_s))


def _nothing_moved(movement: Movement, no_load_current_a: float) -> Segments:
    """A record without a movement."""
    trace, rest = movement.trace, movement.rest
    current = trace.current_a - rest.level_a
    t0 = float(trace.time_s[0])
    return Segments(
        current_a=current,
        polarity=1,
        zero_a=rest.level_a,
        zero_u_a=rest.noise_a / np.sqrt(len(current)),
        noise_a=rest.noise_a,
        step_a=resolution_step(current[:500]),
        period_s=movement.period_s,
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
        bounced_s=0.0,
        residual_a=0.0,
        quiet=one_quiet_level(trace.current_a, movement.period_s, no_load_current_a),
        spikes=0,
    )
