"""Whether the current channel was at its end in a movement, and at what reading.

Three things tell it, the board's own word first: a reading at the full scale that the record's head gives, readings
that the board counted as over its range, and a pile-up: a channel at its end repeats its highest reading, in rows next to
each other or not, while a real peak thins out towards its top. A smooth peak seen through a coarse converter holds at
most 2.4 times as many rows in its highest step as in the next (a parabola: 1 to sqrt(2) - 1), so three times is too many.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.core.quantities.numerics import resolution_step, robust_sd
from logger.core.stroke.segmentation import Segments
from logger.core.trace import FloatArray, Trace

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
