"""The highest current of a start: between what was read and what its decay says it can have been.

A switch closed on a standing motor gives a peak that stands for milliseconds. Rows too far apart, a board that averages
and a filter all show less of it, never more. The true peak lies between the highest reading and its decay carried back
to the moment of switching; that is a rectangle (JCGM 100, 4.3.7). Where the way from the switching to the highest reading
takes much of the time in which the peak halves, the decay isn't known well enough either: the inrush is then at least
the highest reading, and no figure.
"""

import numpy as np

from logger.core.quantities.numerics import median_of
from logger.core.stroke.segmentation import Segments
from logger.core.stroke.transient import FEWEST_ROWS, SMALLEST_PEAK
from logger.core.trace import FloatArray

LONGEST_RISE = 0.6
"""Halvings between the switching and the highest reading up to which the peak counts as seen (*assumed*)."""
QUICK_ROWS_S = 0.012
"""Rows further apart than this don't show the inrush of a motor whose rotor takes some 10 ms to speed up (*practice*)."""


def peak_of_start(time_s: FloatArray, segments: Segments, begin_s: float) -> tuple[float, float] | None:
    """Lowest and highest current that the peak of the start can have had [A]; None: at least the highest reading.

    ``begin_s``: the earliest moment at which the current can have been switched on.
    """
    first, settled, current_a = segments.first, segments.settled, segments.current_a
    start_a = current_a[first : settled + 1]
    peak = first + int(np.argmax(start_a))
    seen_a = float(current_a[peak])
    level_a = median_of(current_a[settled : max(settled + 1, min(2 * settled - first, segments.last) + 1)])
    if segments.last - first < FEWEST_ROWS:
        return None
    if segments.ramped:
        return seen_a, seen_a  # a drive holds it: nothing is missed between two rows
    if segments.period_s > QUICK_ROWS_S or seen_a <= SMALLEST_PEAK * level_a:
        return None
    half_a = 0.5 * (seen_a + level_a)
    below = np.flatnonzero(current_a[peak : segments.last + 1] <= half_a)
    if not len(below):
        return None
    near = slice(peak + int(below[0]) - 1, peak + int(below[0]) + 1)
    half_s = float(np.interp(-half_a, -current_a[near], time_s[near])) - float(time_s[peak])
    halvings = (float(time_s[peak]) - begin_s) / half_s
    if halvings > LONGEST_RISE:
        return None
    return seen_a, level_a + (seen_a - level_a) * 2.0**halvings
