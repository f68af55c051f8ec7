"""The start-up transient: when the inrush has died away into the run, or a drive has done speeding the motor up.

A switch closed on a standing motor gives a peak that falls from its first moment, ever slower. A drive that ramps the
speed up holds or raises its current as long as it accelerates, and then lets go at once.
"""

import numpy as np

from logger.core.quantities.numerics import median_of, robust_sd, runs_of
from logger.core.trace import FloatArray

NOISE_SIGMAS = 5.0
"""A fall this many standard deviations of the readings isn't their scatter."""
FEWEST_ROWS = 12
"""A movement of fewer rows shows no transient."""
DECAY_HALVINGS = 6
"""The start-up transient counts as over after this many halvings of its excess (1.6 % of it is left)."""


RISEN_TO = 0.05
"""A rise is timed to within this share of its level, where noise doesn't hide it yet (*practice*)."""
SMALLEST_PEAK = 1.2
"""A start that stands no higher than this over what follows shows no peak (*practice*)."""
HOLD_OVER_FALL = 4
"""A ramp lasts at least so many times as long as the fall after it: a hump of load falls as gradually as it rose
(*assumed*)."""


def end_of_transient(current: FloatArray, time_s: FloatArray, first: int, last: int) -> tuple[int, bool]:
    """First row at which the start-up transient is over, and whether it was a drive's ramp.

    An inrush is judged by how fast it halves: the excess over the level that follows is timed to its half; six halvings
    leave 1.6 %. A start without a peak is over when the current has risen to that level.
    """
    ramp = end_of_ramp(current, first, last)
    return (_end_of_peak(current, time_s, first, last), False) if ramp is None else (ramp, True)


def end_of_ramp(current: FloatArray, first: int, last: int) -> int | None:
    """First row after a ramp of the speed, or None: looked for with stretches of a hundredth, then of a 400th of the
    movement, since a ramp may be long or short."""
    length = last - first + 1
    total = np.concatenate(([0.0], np.cumsum(current[first : first + length // 3 + length // 100 + 2])))
    for width in sorted({max(2, length // 100), max(2, length // 400)}, reverse=True):
        found = _end_of_hold(current, total, first, length // 3, width)
        if found is not None:
            return found
    return None


def _end_of_hold(current: FloatArray, total: FloatArray, first: int, reach: int, width: int) -> int | None:
    """First row after a ramp of the speed, or None where the start doesn't look like one.

    Looked for in the first ``reach`` rows: the sharpest fall between two neighbouring stretches of ``width`` rows. Before
    it the current never stood higher, so that it isn't an inrush dying away; it falls at once and for good, so that it
    isn't a load. ``total``: running sum of the current from ``first`` on, with a nought before.
    """
    if reach < 2 * HOLD_OVER_FALL * width:
        return None
    start = current[first : first + reach + width]
    means = (
        total[width : len(start) + 1] - total[: len(start) + 1 - width]
    ) / width  # of start[i : i + width]
    fall = means[: reach - width] - means[width:reach]  # at start[i + width]
    at = int(np.argmax(fall)) + width
    before, after = float(means[at - width]), float(means[at])
    if at < HOLD_OVER_FALL * width or before < SMALLEST_PEAK * after:
        return None
    if float(means[: at - width].max()) > before + 0.25 * (before - after):
        return None
    noise = robust_sd(np.diff(start)) / np.sqrt(2.0)
    if before - after < NOISE_SIGMAS * noise * np.sqrt(2.0 / width):
        return None
    near = start[at - width : at + width]
    falling = int(np.count_nonzero(np.abs(near - 0.5 * (before + after)) < 0.25 * (before - after)))
    rest = start[at : 2 * at]
    if HOLD_OVER_FALL * falling > at or float(np.mean(rest)) > 0.5 * (before + after):
        return None
    # From three quarters to a quarter it halves 1.6 times; the same six halvings as for an inrush are given it.
    below = at - width + int(np.argmax(near < 0.5 * (before + after)))
    return first + min(below + 1 + DECAY_HALVINGS * falling // 2, reach)


def _end_of_peak(current: FloatArray, time_s: FloatArray, first: int, last: int) -> int:
    """The end of an inrush, or of a start without a peak."""
    length = last - first + 1
    if length < FEWEST_ROWS:
        return first
    window = max(3, length // 10)
    peak = first + int(np.argmax(current[first : first + window]))
    later = current[first + window : min(last, first + 3 * window) + 1]
    if len(later) == 0:
        return first  # too short to have a run after its start
    after = median_of(later)
    if current[peak] <= SMALLEST_PEAK * after:
        # The load may only come later: what the start rises to is no more than the lightest part of the run.
        return _end_of_rise(current, first, last, min(after, _lightest(current[first + window : last + 1])))
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
    """First row at which a start without a peak has come as near to its level as an inrush does in six halvings."""
    up = np.flatnonzero(current[first : last + 1] >= (1.0 - RISEN_TO) * level)
    rows = int(up[0]) if len(up) else 0
    return min(first + int(np.ceil(rows * DECAY_HALVINGS / np.log2(1.0 / RISEN_TO))), last)
