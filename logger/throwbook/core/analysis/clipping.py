"""The top of the current channel: was it at its end in a movement, and how high can a start have been?

Three things tell it, the board's own word first: a reading at the full scale that the record's head gives, readings
that the board counted as over its range, and a pile-up: a channel at its end repeats its highest reading, in rows next to
each other or not, while a real peak thins out towards its top. A smooth peak seen through a coarse converter holds at
most 2.4 times as many rows in its highest step as in the next (a parabola: 1 to sqrt(2) - 1), so three times is too many.

A switch closed on a standing motor gives a peak that stands for milliseconds, and so does the friction that holds until a
drive breaks it away. Rows too far apart, a board that averages and a filter all show less of it, never more. The true
peak lies between the highest reading and its decay carried back to the moment of switching; that is a rectangle (JCGM 100,
4.3.7). Where the way from the switching to the highest reading takes much of the time in which the peak halves, or where no
row can show it, the inrush is at least the highest reading, and no figure.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from throwbook.core.analysis.segmentation import Segments
from throwbook.core.analysis.transient import FEWEST_ROWS, QUICK_ROWS_S, SMALLEST_PEAK
from throwbook.core.quantities.statistics import from_step, median_of, resolution_step, robust_sd, runs_of
from throwbook.core.trace import FloatArray, Trace

FULL_SCALE_KEYS = ("full_scale_a", "board_full_scale_a")
"""Head keys that give the board's full scale [A], the newer name first."""
OVER_RANGE_KEY = "over_range_samples"
COUNT_KEY = "board_amp_lsb_a"
"""One count of the board's converter [A]."""
CALIBRATION_ZERO_KEY, CALIBRATION_GAIN_KEY = "calibration_zero_a", "calibration_gain"
SAME = 1e-6
"""Readings within this share of each other are the same one."""
FAR_BEYOND = 1.02
"""Readings further than this beyond a full scale don't belong to it."""
PILED_UP = 3.0
"""Times the rows of the fullest of the next levels."""
FEWEST_PILED = 4
NEXT_LEVELS = 3
WHOLE = 0.9
FINE_STEP = 0.01
"""Share of the current below which one step of a converter shows a running motor's ripple (*practice*)."""
LONGEST_SURE_START_S = 0.1
"""What stands at the end of the range no longer than this from its first row on is a start (*practice*)."""
BLURRED = 0.4
"""Noise of so many steps of the converter spreads a steady current over more than one reading; with less, a steady
current repeats itself and a pile-up tells nothing."""


def clipped_at(trace: Trace, segments: Segments) -> float | None:
    """The current at which the movement is cut off flat [A], zero taken off, the driving direction positive; or None."""
    if not segments.moved:
        return None
    shown_a = segments.polarity * trace.current_a[segments.first : segments.last + 1]
    ceiling_a = _by_the_board(trace, segments.polarity, shown_a)
    if ceiling_a is None and _piled_up(shown_a, segments):
        ceiling_a = float(shown_a.max())
    return None if ceiling_a is None else ceiling_a - segments.polarity * segments.zero_a


def shows_one_reading(trace: Trace, segments: Segments) -> bool:
    """Whether nearly every row of a movement, from its first on, shows the very same highest reading.

    It may be a steady current on a coarse converter whose start no row shows, or the end of a range: nothing tells which.
    """
    if not segments.moved or segments.starts_running:
        return False
    shown_a = segments.polarity * trace.current_a[segments.first : segments.last + 1]
    top_a = float(shown_a.max())
    at_top = shown_a >= top_a - SAME * abs(top_a)
    # The first row may be part on and part off.
    return bool(at_top[1:3].all()) and float(np.mean(at_top)) > WHOLE


def over_the_range(segments: Segments, time_s: FloatArray, clip_a: float | None) -> tuple[Segments, bool]:
    """The movement with its start over no sooner than the current that came on with it has left the end of the range; and
    whether that took so long that it may have been the load as well. ``time_s``: shape (n,) of the record [s]."""
    beyond = at_the_ceiling(segments.current_a[segments.first : segments.last + 1], clip_a)
    stretch = next(iter(runs_of(beyond)), None)
    if segments.starts_running or stretch is None:
        return segments, False
    first, stop = segments.first, segments.first + stretch[1]
    since = first + stretch[0] if stretch[0] <= 1 else first
    surely = time_s[stop - 1] - time_s[since] <= LONGEST_SURE_START_S
    rises = bool((np.diff(segments.current_a[first : first + stretch[0] + 1]) > 0.0).all())
    if stretch[0] > 1 and not (surely and rises):
        return segments, False
    if segments.last - stop < FEWEST_PILED:
        return segments, False  # next to nothing is left to be its run
    if stop <= segments.settled or not (surely or stop <= segments.settled_latest):
        return segments, False
    latest = max(segments.settled_latest, min(stop + stretch[1], segments.last - FEWEST_ROWS))
    return replace(segments, settled=stop, settled_latest=max(stop, latest)), not surely


def at_the_ceiling(current_a: FloatArray, clip_a: float | None) -> NDArray[np.bool_]:
    """Which rows stand at the end of the channel; shape (n,) bool."""
    if clip_a is None:
        return np.zeros(len(current_a), dtype=np.bool_)
    return np.asarray(current_a >= clip_a - SAME * abs(clip_a), dtype=np.bool_)


def _by_the_board(trace: Trace, polarity: int, shown_a: FloatArray) -> float | None:
    """The lowest reading that the board's own word puts at the end of its range, or None."""
    top_a = float(shown_a.max())
    full_a = _full_scale(trace.head, polarity)
    if full_a is not None and top_a <= FAR_BEYOND * full_a:
        count_a = min(_number(trace.head, COUNT_KEY) or resolution_step(shown_a), 0.01 * full_a)
        reached = shown_a[shown_a >= full_a - 0.5 * count_a]  # within half a count of the end is at the end
        if len(reached):
            return float(reached.min())
        if trace.movements > 1:
            return None  # the readings that it counted are another movement's
    counted = _number(trace.head, OVER_RANGE_KEY) or 0.0
    highest = top_a >= (1.0 - SAME) * float(np.abs(trace.current_a).max())
    return top_a if counted >= 1.0 and highest else None


def _full_scale(head: Mapping[str, Any], polarity: int) -> float | None:
    """Highest current that the board can show in the driving direction [A], in the terms of the record; None: not told."""
    full_a = next((told for key in FULL_SCALE_KEYS if (told := _number(head, key)) is not None), None)
    if full_a is None or full_a <= 0.0:
        return None
    gain, zero_a = _number(head, CALIBRATION_GAIN_KEY), _number(head, CALIBRATION_ZERO_KEY)
    return full_a if gain is None or zero_a is None else abs(gain) * full_a + polarity * zero_a


def _number(head: Mapping[str, Any], key: str) -> float | None:
    told = head.get(key)
    is_number = isinstance(told, int | float) and not isinstance(told, bool) and np.isfinite(told)
    return float(told) if is_number else None  # type: ignore[arg-type]


def _piled_up(shown_a: FloatArray, segments: Segments) -> bool:
    """Whether the highest reading repeats itself as no real peak does."""
    top_a = float(shown_a.max())
    at_top = shown_a >= top_a - SAME * abs(top_a)
    piled, below_a = np.flatnonzero(at_top), shown_a[~at_top]
    if len(piled) < FEWEST_PILED:
        return False
    levels, counts = np.unique(below_a, return_counts=True)
    step_a = resolution_step(levels) if len(levels) > 1 else segments.step_a
    near = counts[levels >= top_a - (NEXT_LEVELS + 0.5) * step_a]
    if _start_at_the_top(shown_a, piled, step_a):
        return len(piled) >= float(np.mean(near)) if len(near) else True
    if len(piled) < PILED_UP * float(near.max(initial=1)):
        return False
    if segments.noise_a >= BLURRED * step_a or _scatter_below(shown_a, top_a) >= BLURRED * step_a:
        return True
    # All of it at one reading: a fine step would show some of a turning motor's ripple.
    return len(piled) > WHOLE * len(shown_a) and 0.0 < segments.step_a < FINE_STEP * abs(top_a)


def _scatter_below(shown_a: FloatArray, top_a: float) -> float:
    """How much neighbouring rows scatter in the upper half of the current, below its highest reading [A]."""
    below = (shown_a < top_a - SAME * abs(top_a)) & (shown_a > 0.5 * top_a)
    together = below[1:] & below[:-1]
    return robust_sd(np.diff(shown_a)[together]) / float(np.sqrt(2.0))


def _start_at_the_top(shown_a: FloatArray, piled: NDArray[np.intp], step_a: float) -> bool:
    """Whether start and run reach the very same highest reading, with less between them.

    The start's peak and the load of the run have nothing to do with each other: at the same reading both are cut off.
    ``piled``: the rows at that reading.
    """
    first = int(piled[0])
    if first >= max(3, len(shown_a) // 50):
        return False
    pieces = np.split(piled, np.flatnonzero(np.diff(piled) > 1) + 1)
    later = sum(len(piece) for piece in pieces[1:])
    if later < max(FEWEST_PILED, len(shown_a) // 50):
        return False
    return float(np.min(shown_a[first : int(pieces[1][0])])) < float(shown_a[first]) - 1.5 * step_a


LONGEST_RISE = 0.6
"""Halvings between the switching and the highest reading up to which the peak counts as seen (*assumed*)."""
BREAK_AWAY_ROWS_S = 0.005
"""Rows further apart than this don't show how a drive breaks its motor away: that is over within the first hundredths of
a ramp (*practice*)."""
BREAK_AWAY = 2.0
"""A motor takes up to so many times as much to break away as to turn slowly (*practice*)."""
ROWS_OF_RISE = 3
AVERAGED_ROWS = 1.5
"""From the highest reading to the end of a ramp it is a row, and half of one more for a board that averages."""
FITTED_DOWN_TO = 0.25
"""Share of the excess down to which a decay is looked at: below it the load's own shape shows (*practice*)."""
FEWEST_FITTED = 4
"""Rows of a decay through which a line is drawn at least."""
FLAT_TOP_STEPS = 10.0
"""Equal rows at the top beside a fall of so many of the converter's steps aren't the top of a peak (*practice*)."""
CLOSE_SIGMAS = 2.0
"""Readings within so many standard deviations of the highest compete to be it."""
FEWEST_FOR_SCATTER, ROWS_FOR_SCATTER = 20, 600
RIPPLE_APART = (1, 2, 4, 8)
"""Rows between two readings of a run that are held against each other."""


class StartPeak(NamedTuple):
    """What the peak of a start can have been [A]."""

    lowest_a: float
    highest_a: float
    scatter_a: float
    """Standard uncertainty of both from the ripple of the brushes."""


def peak_of_start(time_s: FloatArray, segments: Segments, begin_s: float) -> StartPeak | None:
    """Between what the peak of the start lies; None: all that is known is ``least_of_start``.

    ``begin_s``: the earliest moment at which the current can have been switched on.
    """
    first, settled, current_a = segments.first, segments.settled, segments.current_a
    start_a = current_a[first : settled + 1]
    peak = first + int(np.argmax(start_a))
    if segments.last - first < FEWEST_ROWS or _is_flat_topped(start_a, segments.step_a):
        return None
    if segments.ramped:
        return _of_a_drive(time_s, segments, peak, begin_s)
    level_a = median_of(current_a[settled : max(settled + 1, min(2 * settled - first, segments.last) + 1)])
    if segments.period_s > QUICK_ROWS_S or current_a[peak] <= SMALLEST_PEAK * level_a:
        return None
    return _carried_back(time_s, segments, peak, level_a, begin_s)


def least_of_start(segments: Segments) -> tuple[float, float]:
    """Highest reading of the start, and its standard uncertainty from the ripple [A]."""
    highest_a, scatter_a = _highest_of(segments.current_a[segments.first : segments.settled + 1], segments)
    return highest_a, scatter_a


def _of_a_drive(time_s: FloatArray, segments: Segments, peak: int, begin_s: float) -> StartPeak | None:
    """A drive holds its current or raises it until the ramp is over; before that it breaks the motor away."""
    first, current_a = segments.first, segments.current_a
    start_a = current_a[first : segments.settled + 1]
    seen_a, scatter_a = _highest_of(start_a, segments)
    if peak - first >= ROWS_OF_RISE and seen_a >= BREAK_AWAY * float(start_a[:2].max()):
        rise_a = (float(current_a[peak]) - float(current_a[peak - ROWS_OF_RISE])) / ROWS_OF_RISE
        return StartPeak(seen_a, seen_a + AVERAGED_ROWS * rise_a, scatter_a)
    if segments.period_s > BREAK_AWAY_ROWS_S:
        return None
    held_a = median_of(current_a[peak : segments.settled + 1])
    if seen_a - held_a <= CLOSE_SIGMAS * max(scatter_a, segments.noise_a, segments.step_a):
        return StartPeak(seen_a, seen_a, scatter_a)
    return _carried_back(time_s, segments, peak, held_a, begin_s)


def _carried_back(
    time_s: FloatArray, segments: Segments, peak: int, level_a: float, begin_s: float
) -> StartPeak | None:
    """The decay towards ``level_a`` carried back from the highest reading to the switching.

    Not only to where the readings still rose: a filter rises while the peak is long over.
    """
    decay_a = segments.current_a[peak : segments.last + 1]
    seen_a = float(decay_a[0])
    below = np.flatnonzero(decay_a <= level_a + FITTED_DOWN_TO * (seen_a - level_a))
    if not len(below) or not below[0]:
        return None  # never that low, or no higher than the level from its first row on: nothing that decays
    rows = int(below[0])
    since_s, excess_a = time_s[peak : peak + rows] - time_s[peak], decay_a[:rows] - level_a
    scatter_a = ripple_of(segments) * seen_a
    lowest_a = fitted_a = seen_a
    if rows >= FEWEST_FITTED:
        # The ripple lifts single rows: a line through the logarithms of the decay, each weighing as its excess does.
        logs = np.log(excess_a)
        weight = excess_a**2 / float(excess_a @ excess_a)
        apart_s = since_s - float(weight @ since_s)
        slope = float((weight * apart_s) @ logs) / float((weight * apart_s) @ apart_s)
        if slope >= 0.0:
            return None  # by all its rows it doesn't decay
        height = float(weight @ logs) - slope * float(weight @ since_s)
        half_s = -float(np.log(2.0)) / slope
        fitted_a = level_a + float(np.exp(height))
        lowest_a = min(seen_a, fitted_a)
        # A board that averages shows the ripple of the slow start, and none of the run's.
        off = logs - height - slope * since_s
        scatter_a = max(scatter_a, seen_a * float(np.sqrt(off @ off / (rows - 2))))
    else:
        at = slice(rows - 1, rows + 1)
        gone = np.log2((seen_a - level_a) / np.maximum(decay_a[at] - level_a, 1e-9))
        half_s = float(np.interp(-np.log2(FITTED_DOWN_TO), gone, time_s[peak:][at] - time_s[peak])) / float(
            -np.log2(FITTED_DOWN_TO)
        )
    halvings = (float(time_s[peak]) - begin_s) / half_s
    if not 0.0 <= halvings <= LONGEST_RISE:
        return None
    # The highest of the readings near a rounded peak is the one that the ripple lifted most.
    return StartPeak(lowest_a - scatter_a, level_a + (fitted_a - level_a) * 2.0**halvings, scatter_a)


def _is_flat_topped(start_a: FloatArray, step_a: float) -> bool:
    """Whether the highest reading repeats itself and then falls at once: a channel at its end, not the top of a peak."""
    peak = int(start_a.argmax())
    same = int((start_a[peak:] < start_a[peak]).argmax())
    if same < 2 or peak + same + 1 >= len(start_a):
        return False
    return float(start_a[peak] - start_a[peak + same + 1]) > FLAT_TOP_STEPS * step_a


def _highest_of(start_a: FloatArray, segments: Segments) -> tuple[float, float]:
    """Highest reading without what it owes to being the highest of many, and its standard uncertainty [A]."""
    highest_a = float(start_a.max())
    one_a = ripple_of(segments) * abs(highest_a)
    many = int(np.count_nonzero(start_a >= highest_a - CLOSE_SIGMAS * one_a))
    chance_a = chance_of_highest(one_a, many)
    return highest_a - 0.5 * chance_a, float(np.hypot(from_step(chance_a), one_a / np.sqrt(many)))


def chance_of_highest(scatter_a: float, many: int) -> float:
    """How much the highest of so many readings of one level may owe to their scatter alone [A]; it may be nothing of it."""
    return scatter_a * float(np.sqrt(2.0 * np.log(max(many, 1))))


@lru_cache(maxsize=2)  # start, run and load of one movement each ask for it
def ripple_of(segments: Segments) -> float:
    """Scatter of the readings of the run about its shape, as a share of its level: it grows with the current.

    Taken at several distances, since a slow ripple hardly shows between neighbours.
    """
    whole_a = segments.current_a[segments.run]
    run_a = whole_a[len(whole_a) // 5 :][:ROWS_FOR_SCATTER]
    if len(run_a) < FEWEST_FOR_SCATTER:
        return 0.0
    apart_a = [
        robust_sd(run_a[apart:] - run_a[:-apart])
        for apart in RIPPLE_APART
        if apart <= max(1, len(whole_a) // 50)
    ]
    scatter_a = float(np.sqrt(np.mean(np.square(apart_a))))
    return min(1.0, scatter_a / float(np.sqrt(2.0)) / max(abs(median_of(run_a)), 1e-9))
