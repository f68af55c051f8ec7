"""When a movement began and ended: between which two moments, and the uncertainty of not knowing where between.

Each is a bracket, taken as a rectangle (JCGM 100, 4.3.7). It holds the time between two rows, a row that is itself part on
and part off (a board that averages), what a filter drags out, and on top of it the jitter of the time stamps.
"""

from typing import NamedTuple

import numpy as np

from logger.core.quantities.numerics import median_of, robust_sd, runs_of
from logger.core.stroke.rest import NOISE_SIGMAS
from logger.core.stroke.segmentation import Segments, level_before
from logger.core.trace import FloatArray

ROWS_BESIDE = 12
"""Rows that show the level beside an edge."""
CLEARLY_SIGMAS = 4.0
CLEARLY_SHARE = 0.05
"""A row lower than the level by this share, and by four times its scatter, is clearly below it (*practice*)."""
CLEARLY_AT_MOST = 0.35
"""However rough the run, a row this share below its level isn't part of it any more (*practice*)."""
SKIPPED, FEWEST_SKIPS = 0.15, 4
"""Brushes that leave less than this share of the run so many times jump all the way (*practice*)."""
BOUNCE_U_S = 0.0025
"""Standard uncertainty of a start whose rows are too far apart to show how the contact bounces (*assumed*): a relay bounces
for some milliseconds, and a row may fall into one of the openings."""
BLURRED_ROWS = 100.0
"""Rows to which a step as high as the noise can be placed (*assumed*: one in white noise about a sharp step; neither is
the step sharp nor the noise white)."""
EARLIEST_OF_FALL = 1.0
"""A fall reaches its half after so many times what it takes from three quarters to a quarter: a straight one (a board that
averages) 1.0, a first-order one (a filter, a diode) ln 2 / ln 3 = 0.63. The earliest begin counts."""


class Edge(NamedTuple):
    """A moment and its standard uncertainty, both [s]."""

    at_s: float
    u_s: float


def start_of(time_s: FloatArray, segments: Segments, jitter_s: float) -> Edge:
    """When the current was switched on [s]; ``jitter_s`` as ``jitter_of`` gives it."""
    first = segments.first
    if first == 0 or _is_blurred(time_s, first - 1, first, segments.start_u_s):
        return Edge(segments.start_s, _in_noise(segments, segments.start_u_s))
    seen_a = max(NOISE_SIGMAS * segments.noise_a, 2.0 * segments.step_a)
    held_a = level_before(segments.current_a, first, ROWS_BESIDE)
    dragged_s = _time_to_four_times(time_s[first - 1 :], segments.current_a[first - 1 :] - held_a, seen_a)
    earliest_s, latest_s = float(time_s[first - 1]), float(time_s[first])
    bounce_s = BOUNCE_U_S if latest_s - earliest_s > BOUNCE_U_S else 0.0
    return _within(earliest_s - dragged_s, latest_s, float(np.hypot(jitter_s, bounce_s)))


def end_of_movement(time_s: FloatArray, segments: Segments, jitter_s: float) -> Edge:
    """When the current was cut off [s]; for a record that shows it. ``jitter_s`` as ``jitter_of`` gives it."""
    last, current_a = segments.last, segments.current_a - segments.residual_a
    if last + 1 >= len(time_s) or _is_blurred(time_s, last, last + 1, segments.end_u_s):
        return Edge(segments.end_s, _in_noise(segments, segments.end_u_s))
    begin = max(segments.settled, last - ROWS_BESIDE - 1)
    beside_a = current_a[begin : max(begin + 1, last - 1)]
    level_a = median_of(beside_a)
    clearly_a = max(CLEARLY_SIGMAS * robust_sd(beside_a), CLEARLY_SHARE * level_a, segments.step_a)
    low = np.flatnonzero(current_a[last - 1 :] < level_a - min(clearly_a, CLEARLY_AT_MOST * level_a))
    if not len(low) or level_a <= 0.0:
        return Edge(segments.end_s, segments.end_u_s)
    off = last - 1 + int(low[0])
    after_s, after_a = time_s[off - 1 :], current_a[off - 1 :]
    half_s, width_s = _fall_of(after_s, after_a, level_a)
    gap_s = float(time_s[off] - time_s[off - 1])
    hidden = min(clearly_a / level_a, CLEARLY_AT_MOST)
    earliest_s = float(time_s[off - 1]) - hidden * gap_s  # so much of a row that is part off doesn't show
    if width_s > gap_s:
        # A filter behind an average falls as the square of time at first: so long it hides in the scatter.
        slow_s = np.sqrt(2.0 * hidden * gap_s * width_s)
        earliest_s = min(earliest_s - slow_s, half_s - EARLIEST_OF_FALL * width_s)
    unsure_s = _may_have_ended_later(time_s, segments, current_a, level_a - clearly_a)
    latest_s = float(time_s[off])
    skipped_s = _longest_skip(time_s, segments, level_a)
    if skipped_s:
        latest_s = float(time_s[last + 1]) + skipped_s
    return _within(earliest_s, latest_s, float(np.hypot(jitter_s, unsure_s / np.sqrt(3.0))))


def _may_have_ended_later(
    time_s: FloatArray, segments: Segments, current_a: FloatArray, lowest_a: float
) -> float:
    """How much later the end may have been [s]: one row off, and on again to the very last, is a contact's first opening
    or a reading that dropped out. 0 where it is plain."""
    last, over = segments.last, segments.over
    # The last row of all may be part on and part off.
    on_again = current_a[last + 2 : over]
    if not len(on_again) or bool(np.any(on_again < lowest_a)):
        return 0.0
    return float(time_s[over] - time_s[last])


def _longest_skip(time_s: FloatArray, segments: Segments, level_a: float) -> float:
    """How long brushes that jump leave nothing flowing at most [s]: they may have been off when the switch opened. 0
    where they don't jump, or where a contact broke."""
    if segments.breaks:
        return 0.0
    rows = segments.run
    gone = [
        (a, b) for a, b in runs_of(segments.current_a[rows] < SKIPPED * level_a) if b < rows.stop - rows.start
    ]
    if len(gone) < FEWEST_SKIPS:
        return 0.0
    ran_s = time_s[rows]
    return max(float(ran_s[b] - ran_s[a]) for a, b in gone)


def jitter_of(time_s: FloatArray) -> float:
    """Standard deviation of one time stamp about an even clock [s]."""
    return robust_sd(np.diff(time_s)) / float(np.sqrt(2.0)) if len(time_s) > 2 else 0.0


def _in_noise(segments: Segments, u_s: float) -> float:
    """Standard uncertainty of an edge that was placed by its noise [s]: never less than ``u_s``."""
    level_a = max(median_of(segments.current_a[segments.first : segments.last + 1]), 1e-9)
    return max(u_s, BLURRED_ROWS * (segments.noise_a / level_a) ** 2 * segments.period_s)


def _is_blurred(time_s: FloatArray, i: int, j: int, u_s: float) -> bool:
    """Whether an edge was placed by its noise and not between two rows."""
    return bool(u_s > 1.01 * float(time_s[j] - time_s[i]) / np.sqrt(12.0))


def _within(earliest_s: float, latest_s: float, beside_u_s: float) -> Edge:
    """``beside_u_s``: standard uncertainty of what isn't in the bracket [s]."""
    u = float(np.hypot((latest_s - earliest_s) / np.sqrt(12.0), beside_u_s))
    return Edge(0.5 * (earliest_s + latest_s), u)


def _time_to_four_times(time_s: FloatArray, current_a: FloatArray, seen_a: float) -> float:
    """How long a rise takes from what can be seen to four times that [s]: as long as it was not seen, at most.

    A current that a filter drags up begins as the square of time: the first quarter takes half of the time.
    """
    begin, end = _rises_at(time_s, current_a, seen_a), _rises_at(time_s, current_a, 4.0 * seen_a)
    return max(0.0, end - begin)


def _rises_at(time_s: FloatArray, current_a: FloatArray, level_a: float) -> float:
    above = np.flatnonzero(current_a >= level_a)
    return _crossing(time_s, current_a, int(above[0]) if len(above) else 0, level_a)


def _fall_of(time_s: FloatArray, current_a: FloatArray, level_a: float) -> tuple[float, float]:
    """When a fall from ``level_a`` passes its half, and how long it takes from three quarters to a quarter [s]."""
    at_s = []
    for share in (0.75, 0.5, 0.25):
        below = np.flatnonzero(current_a < share * level_a)
        at_s.append(
            _crossing(time_s, current_a, int(below[0]) if len(below) else len(time_s) - 1, share * level_a)
        )
    return at_s[1], at_s[2] - at_s[0]


def _crossing(time_s: FloatArray, current_a: FloatArray, row: int, level_a: float) -> float:
    """When the straight line from the row before to ``row`` passes a level [s]."""
    if row == 0:
        return float(time_s[0])
    rise_a = float(current_a[row] - current_a[row - 1])
    share = 1.0 if rise_a == 0.0 else min(max((level_a - float(current_a[row - 1])) / rise_a, 0.0), 1.0)
    return float(time_s[row - 1] + share * (time_s[row] - time_s[row - 1]))
