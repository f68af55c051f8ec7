"""The start-up transient.

A switch closed on a standing motor gives a peak that falls from its first moment, ever slower. A drive that ramps the
speed up holds or raises its current as long as it accelerates, and then lets go at once.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from throwbook.core.quantities.statistics import median_of, moving_mean, robust_sd, runs_of
from throwbook.core.trace import FloatArray

BOUNCE_S = 0.015
"""Contacts of a power relay bounce for some milliseconds (*practice*)."""
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
BROKE_AWAY = 1.5
"""A drive that breaks its motor away draws up to so many times what it then speeds it up with; a switch closed on a
standing motor gives far more (*practice*)."""
STAYS_LOW = 3
"""After a ramp the current stays low for so much of it at least, until the load is taken up (*assumed*)."""
AT_ONCE = 0.5
"""A ramp's fall is this share of all that falls at least, between two neighbouring stretches (*assumed*)."""
ROUNDED = 2.0
"""A filter makes the time from peak to half up to so many times that of a plain decay (*practice*)."""
PLAIN_PEAK = 2.0
"""A start this many times as high as what follows is no load that eases (*practice*)."""
MOST_OF_IT = 1.0 / 3.0
"""A start that takes more of the movement than this isn't told from a load that eases: it isn't resolved (*practice*)."""
ALMOST = 0.999
"""For rounding."""
STRONG_RIPPLE = 0.1
"""A ripple with an amplitude below this share of its level makes no peak of ``SMALLEST_PEAK``."""
RIPPLE_SHARE = 0.5
"""Share of the scatter of a run that one frequency and its neighbours carry, if it is a ripple (*practice*)."""
FEWEST_PERIODS = 6
MOST_ROWS_LOOKED_AT = 16384
CLEAR_LINE = 4.0
"""A ripple's frequency stands out of those beside it by more than this factor (*practice*); a hump's doesn't."""
QUICK_ROWS_S = 0.012
"""Rows further apart than this don't show the inrush of a motor whose rotor takes some 10 ms to speed up (*practice*)."""
CLIMB_STRETCHES, STILL_CLIMBS = 25, 0.25
"""A movement in so many stretches climbs from one to the next by at least this share of what it does in the mean (*assumed*)."""
FEWEST_AHEAD = 5
"""Rows on which the level after a rise is taken at least."""


class Transient(NamedTuple):
    """A start-up transient; rows count those of the record."""

    settled: int
    """First row at which it is over."""
    ramped: bool
    """It was a drive's ramp of the speed, not the inrush of a switch."""
    settled_latest: int
    """First row at which it is over for certain; later than ``settled`` where the start isn't told from an easing load."""


def end_of_transient(current: FloatArray, time_s: FloatArray, first: int, last: int) -> Transient:
    """When the start-up transient is over, and whether it was a drive's ramp.

    An inrush is judged by how fast it halves: the excess over the level that follows is timed to its half; six halvings
    leave 1.6 %. A start without a peak is over when the current has risen to that level. A strong ripple is averaged over
    its own period first, so that none of its waves passes for a peak.
    """
    moving = without_ripple(current[first : last + 1])
    ramp = end_of_ramp(moving)
    if ramp is not None:
        return Transient(first + ramp, True, first + ramp)
    settled = _end_of_peak(moving, time_s[first : last + 1])
    latest = max(1, int(MOST_OF_IT * (last - first + 1)))
    resolved = settled <= latest or _stands_level_from(moving, settled)
    if not resolved:
        latest = max(latest, min(settled, last - first - FEWEST_AHEAD))
        settled = min(_end_of_rise(moving), latest)
    surely = max(settled if resolved else latest, _late_end_of_ramp(moving))
    if _starts_softly(moving, settled):
        if last > first and median_of(np.diff(time_s[first : last + 1])) > QUICK_ROWS_S:
            settled = min(settled, 1)  # no row shows the peak: what rises may as well be the load
        else:
            surely = max(surely, _end_of_climb(moving, settled))
    return Transient(first + settled, False, first + surely)


def _starts_softly(moving: FloatArray, settled: int) -> bool:
    """Whether the start shows no peak: it is a drive's, or the rows are too far apart."""
    return len(moving) >= FEWEST_ROWS and float(moving[: settled + 1].max()) < BROKE_AWAY * _inner_level(
        moving
    )


def _end_of_climb(moving: FloatArray, settled: int) -> int:
    """First row at which the current of a soft start no longer climbs: its drive may be speeding the motor up all the
    while, as far as a supply's current tells; ``settled`` where it doesn't climb by as much as a peak is high."""
    width = max(2, len(moving) // CLIMB_STRETCHES)
    stretches = max(0, (2 * len(moving)) // 3 - settled) // width
    if stretches < 3:
        return settled
    levels_a = moving[settled : settled + stretches * width].reshape(stretches, width).mean(axis=1)
    least_a = STILL_CLIMBS * float(levels_a.max() - levels_a[0]) / stretches
    stops = np.flatnonzero(np.diff(levels_a) < least_a)
    top = int(stops[0]) if len(stops) else stretches - 1
    return settled + (top + 1) * width if levels_a[top] >= SMALLEST_PEAK * levels_a[0] else settled


def _stands_level_from(moving: FloatArray, settled: int) -> bool:
    """Whether a plain peak has died away: all that is left of a short movement, a third of it, is one level."""
    rest = moving[settled:-1]
    if len(rest) < max(FEWEST_AHEAD, len(moving) // 3 - 1):
        return False
    half = len(rest) // 2
    level_a = median_of(rest)
    peak_a = float(moving.max())
    eases_a = abs(median_of(rest[:half]) - median_of(rest[half:]))
    return peak_a >= PLAIN_PEAK * level_a and eases_a <= 2.0**-DECAY_HALVINGS * (peak_a - level_a)


def without_ripple(moving: FloatArray) -> FloatArray:
    """A movement with a strong ripple averaged over its own period, else as it is; shape (n,) -> (n,)."""
    period = _period_of_ripple(moving)
    return moving if period is None else moving_mean(moving, period)


def _period_of_ripple(moving: FloatArray) -> int | None:
    """Rows of one period of a ripple that is strong enough to pass for a peak, from the inner run; None: there is none."""
    n = len(moving)
    inner = moving[n // 5 : n - n // 10][:MOST_ROWS_LOOKED_AT]
    rows = len(inner)
    if rows < 4 * FEWEST_PERIODS:
        return None
    place = np.arange(rows) - 0.5 * (rows - 1)
    off = inner - inner.mean()
    off = off - place * (float(place @ off) / float(place @ place))
    off = off * _hann(rows)
    strong_a = STRONG_RIPPLE * abs(median_of(inner))
    odd = float(off[::2].sum() - off[1::2].sum())  # the highest frequency counts once
    if _amplitude_of(0.5 * (rows * float(off @ off) + odd * odd), rows) < ALMOST * strong_a:
        return None  # not even with all of it at one frequency
    power = np.abs(np.fft.rfft(off)) ** 2
    top = int(np.argmax(power[FEWEST_PERIODS:])) + FEWEST_PERIODS  # a slower wave is the load's own shape
    reach = max(2, top // 20)  # the speed changes a little under way
    beside = np.concatenate(
        (power[max(0, top - 3 * reach) : top - reach], power[top + reach + 1 : top + 3 * reach])
    )
    near = float(power[top - reach : top + reach + 1].sum())
    if float(power[top]) < CLEAR_LINE * float(beside.max(initial=0.0)):
        return None
    whole = float(power[FEWEST_PERIODS:].sum())
    if whole <= 0.0 or near < RIPPLE_SHARE * whole or _amplitude_of(near, rows) < strong_a:
        return None
    return max(2, round(rows / top))


def _amplitude_of(power: float, rows: int) -> float:
    """Amplitude of a ripple from its power under a Hann window, on one side: 3/32 of rows^2 times its square."""
    return float(np.sqrt(power * 32.0 / 3.0) / rows)


@lru_cache(maxsize=16)
def _hann(rows: int) -> FloatArray:
    return np.hanning(rows)


def _inner_level(moving: FloatArray) -> float:
    """Level of a movement away from both its ends [A]."""
    n = len(moving)
    return median_of(moving[n // 5 : max(n // 5 + 1, n - n // 10)])


def end_of_ramp(moving: FloatArray) -> int | None:
    """First row after a ramp of the speed, or None: looked for with stretches of a hundredth, then of a 400th of the
    movement, since a ramp may be long or short."""
    length = len(moving)
    total = np.concatenate(([0.0], np.cumsum(moving[: length // 3 + length // 100 + 2])))
    for width in sorted({max(2, length // 100), max(2, length // 400)}, reverse=True):
        found = _end_of_hold(moving, total, length // 3, width)
        if found is not None:
            return found
    return None


def _late_end_of_ramp(moving: FloatArray) -> int:
    """First row after what may be a ramp that took more than a third of a movement; 0: there is none.

    In so short a movement it isn't told from a load that falls.
    """
    length = len(moving)
    if length < 2 * FEWEST_ROWS:
        return 0
    total = np.concatenate(([0.0], np.cumsum(moving)))
    found = _end_of_hold(moving, total, (2 * length) // 3, max(2, length // 100))
    return found or 0


def _end_of_hold(moving: FloatArray, total: FloatArray, reach: int, width: int) -> int | None:
    """First row after a ramp of the speed, or None where the start doesn't look like one.

    Looked for in the first ``reach`` rows: the sharpest fall between two neighbouring stretches of ``width`` rows. Before
    it the current never stood higher, but for what breaks the motor away at first, so that it isn't an inrush dying away;
    it falls at once and stays low for a third as long again, so that it isn't a load. ``total``: running sum of the
    current, with a nought before.
    """
    if reach < 2 * HOLD_OVER_FALL * width:
        return None
    start = moving[: reach + width]
    means = (
        total[width : len(start) + 1] - total[: len(start) + 1 - width]
    ) / width  # of start[i : i + width]
    fall = means[: reach - width] - means[width:reach]  # at start[i + width]
    at = int(np.argmax(fall)) + width
    # A row in mid-fall belongs to neither side of it.
    before, after = float(means[max(0, at - width - 1) : at - width + 1].max()), float(means[at])
    if at < HOLD_OVER_FALL * width or before < SMALLEST_PEAK * after:
        return None
    highest = before + 0.25 * (before - after)
    held, broke_away = float(means[at // 4 : at - width].max()), float(means[: at - width].max())
    if held > highest or broke_away > max(highest, BROKE_AWAY * before):
        return None
    noise = robust_sd(np.diff(start)) / np.sqrt(2.0)
    if before - after < NOISE_SIGMAS * noise * np.sqrt(2.0 / width):
        return None
    near = start[at - width : at + width]
    falling = int(np.count_nonzero(np.abs(near - 0.5 * (before + after)) < 0.25 * (before - after)))
    rest = moving[at : at + at // STAYS_LOW]
    if HOLD_OVER_FALL * falling > at or float(np.mean(rest)) > 0.5 * (before + after):
        return None
    later = moving[2 * at : 3 * at]
    if len(later) and before - after < AT_ONCE * (before - float(np.mean(later))):
        return None  # it goes on falling: an inrush whose top a filter has rounded
    # From three quarters to a quarter it halves 1.6 times; the same six halvings as for an inrush are given it.
    below = at - width + int(np.argmax(near < 0.5 * (before + after)))
    return min(below + 1 + DECAY_HALVINGS * falling // 2, reach)


def _end_of_peak(moving: FloatArray, time_s: FloatArray) -> int:
    """The end of an inrush, or of a start without a peak; past the last row where it never comes."""
    length = len(moving)
    if length < FEWEST_ROWS:
        return 0
    window = max(3, length // 10)
    peak = int(np.argmax(moving[:window]))
    falls = np.flatnonzero(moving[peak:] < moving[peak])
    peak += int(falls[0]) - 1 if len(falls) else 0  # a top cut off flat falls from its last row on
    begin = max(window, peak + 1)
    later = moving[begin : begin + 2 * window + 1]
    if len(later) == 0:
        return 0  # too short to have a run after its start
    after = median_of(later)
    if moving[peak] <= SMALLEST_PEAK * after:
        return _end_of_rise(moving)
    level = min(after, _inner_level(moving))
    settled = 1
    for _ in range(2):
        half = _falls_for_good(moving, time_s, peak, 0.5 * (moving[peak] + level))
        if half is None:
            return _end_of_rise(moving)
        over_s = _falls_at(moving, time_s, peak, half, level, 0.5) + (DECAY_HALVINGS - 1) * _half_time(
            moving, time_s, peak, half, level
        )
        settled = max(half, int(np.searchsorted(time_s, over_s)))
        ahead = moving[settled : settled + max(5, settled - peak)]
        if len(ahead) == 0:
            break
        level = median_of(ahead)
    return settled


def _half_time(current: FloatArray, time_s: FloatArray, peak: int, half: int, level: float) -> float:
    """In which time the excess over ``level`` halves [s]; ``half``: first row with less than half of it.

    The time since the peak; no more than twice what the fall itself says (from three quarters to a half is 0.585 of a
    halving), so that a top held flat doesn't count while one that a filter has rounded does.
    """
    halved_s = _falls_at(current, time_s, peak, half, level, 0.5)
    fall_s = halved_s - _falls_at(current, time_s, peak, half, level, 0.75)
    return max(0.0, min(ROUNDED * fall_s / float(np.log2(1.5)), halved_s - float(time_s[peak])))


def _falls_at(
    current: FloatArray, time_s: FloatArray, peak: int, half: int, level: float, share: float
) -> float:
    """When the excess over ``level`` last fell through this share of the peak's, before or at row ``half`` [s]."""
    mark = level + share * (current[peak] - level)
    above = np.flatnonzero(current[peak:half] > mark)
    i = peak + int(above[-1]) if len(above) else peak
    part = (current[i] - mark) / max(current[i] - current[i + 1], 1e-12)
    return float(time_s[i] + min(max(part, 0.0), 1.0) * (time_s[i + 1] - time_s[i]))


def _falls_for_good(current: FloatArray, time_s: FloatArray, peak: int, level_a: float) -> int | None:
    """First row after the peak from which the current stays below a level as long as it took to get there.

    A relay that bounces breaks the current for less than that, and for some milliseconds at most, be the peak its first
    row. Rows are counted from the start; None: it never does.
    """
    for a, b in runs_of(current[peak:] <= level_a):
        if peak + b == len(current):
            return peak + a
        lasts_s = float(time_s[peak + b] - time_s[peak + a])
        if b - a >= min(peak + a, len(current) // 10) and lasts_s > BOUNCE_S:
            return peak + a
    return None


def _end_of_rise(moving: FloatArray) -> int:
    """First row at which a start without a peak has come as near to its level as an inrush does in six halvings.

    Its level is what follows: the mean of as much again twice over as the rise has taken. A load that comes on later is
    none of the start's business.
    """
    last = len(moving) - 1
    rows = np.arange(max(1, last // 3))
    fewest = max(FEWEST_AHEAD, last // 50)  # a relay that bounces is no level
    ahead = np.minimum(rows + np.maximum(fewest, 2 * rows), last + 1)
    total = np.concatenate(([0.0], np.cumsum(moving)))
    level = (total[ahead] - total[rows]) / np.maximum(ahead - rows, 1)
    up = np.flatnonzero(moving[rows] >= (1.0 - RISEN_TO) * level)
    risen = int(up[0]) if len(up) else 0
    return min(int(np.ceil(risen * DECAY_HALVINGS / np.log2(1.0 / RISEN_TO))), last)
