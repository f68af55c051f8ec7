"""The start-up transient: when the inrush has died away into the run."""

import numpy as np

from logger.core.quantities.numerics import median_of, runs_of
from logger.core.trace import FloatArray

FEWEST_ROWS = 12
"""A movement of fewer rows shows no transient."""
DECAY_HALVINGS = 6
"""The start-up transient counts as over after this many halvings of its excess (1.6 % of it is left)."""


def end_of_transient(current: FloatArray, time_s: FloatArray, first: int, last: int) -> int:
    """First row at which the start-up transient has died away, judged by how fast it halves.

    The excess over the level that follows is timed to its half; six halvings leave 1.6 %. A start without a peak
    (a soft start) is over when the current has risen to that level.
    """
    length = last - first + 1
    if length < FEWEST_ROWS:
        return first
    window = max(3, length // 10)
    peak = first + int(np.argmax(current[first : first + window]))
    later = current[first + window : min(last, first + 3 * window) + 1]
    if len(later) == 0:
        return first  # too short to have a run after its start
    after = median_of(later)
    if current[peak] <= 1.2 * after:
        return _end_of_rise(current, first, last, after)
    level = _lightest(current[peak : last + 1])
    settled = first + 1
    for _ in range(2):
        half = 0.5 * (current[peak] + level)
        found = _falls_for_good(current[first : last + 1], peak - first, half)
        if found is None:
            return _end_of_rise(current, first, last, level)
        j = first + found
        share = (current[j - 1] - half) / max(current[j - 1] - current[j], 1e-12)
        half_time_s = time_s[j - 1] + share * (time_s[j] - time_s[j - 1]) - time_s[peak]
        over_s = time_s[peak] + DECAY_HALVINGS * max(half_time_s, 0.0)
        settled = max(j, int(np.searchsorted(time_s, over_s)))
        settled = min(settled, first + max(1, (2 * length) // 3))
        ahead = current[settled : min(last + 1, settled + max(5, settled - peak))]
        if len(ahead) == 0:
            break
        level = median_of(ahead)
    return settled


def _falls_for_good(current: FloatArray, peak: int, level_a: float) -> int | None:
    """First row after the peak from which the current stays below a level as long as it took to get there.

    A relay that bounces breaks the current for less than that. Rows are counted from the start; None: it never does.
    """
    for a, b in runs_of(current[peak:] <= level_a):
        if peak + b == len(current) or b - a >= min(peak + a, len(current) // 10):
            return peak + a
    return None


def _lightest(current: FloatArray) -> float:
    """Level of the lightest twentieth of a stretch [A]: what a start decays towards, whatever comes later."""
    rows = max(1, len(current) // 20)
    blocks = current[: rows * (len(current) // rows)].reshape(-1, rows)
    return float(blocks.mean(axis=1).min())


def _end_of_rise(current: FloatArray, first: int, last: int, level: float) -> int:
    """First row at which a start without a peak has reached its level."""
    up = np.flatnonzero(current[first : last + 1] >= 0.95 * level)
    return first + (int(up[0]) if len(up) else 0)
