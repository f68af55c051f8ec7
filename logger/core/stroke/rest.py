"""The rest before and after a movement: zero, noise, and which way the current flows."""

import numpy as np

from logger.core.quantities.numerics import median_of, moving_mean, resolution_step, robust_sd
from logger.core.trace import FloatArray

REST_SHARE = 0.3
"""Share of the no-load current below which the motor counts as at rest: it leaves room for a rating three times too
high."""
FEWEST_REST_ROWS = 3
"""A rest of fewer rows at an end of the record isn't told from chance."""
END_S = 0.15
"""Either end of the record is looked at over this long for a first guess of the rest level [s]."""


def first_guess_of_zero(
    current_a: FloatArray, period_s: float, no_load_current_a: float
) -> tuple[float, bool]:
    """The rest level from whichever end of the record lies nearer to nothing, and whether there is any rest.

    A level far from nothing is still rest (a sensor with a large offset) where both ends agree on it and most of the
    record lies elsewhere.
    """
    rows = max(3, min(int(END_S / period_s), len(current_a) // 10))
    head, tail = median_of(current_a[:rows]), median_of(current_a[-rows:])
    zero = head if abs(head) <= abs(tail) else tail
    if abs(zero) <= 0.5 * no_load_current_a:
        return zero, True
    elsewhere = float(np.mean(np.abs(current_a - zero) > 0.5 * no_load_current_a))
    if abs(head - tail) < 0.2 * no_load_current_a and elsewhere > 0.5:
        return zero, True
    # A recorder that was switched on with the motor leaves only a few rows of rest, but they agree.
    for few in (current_a[:FEWEST_REST_ROWS], current_a[-FEWEST_REST_ROWS:]):
        level = median_of(few)
        if abs(level) <= 0.5 * no_load_current_a and float(np.ptp(few)) < 0.2 * no_load_current_a:
            return level, True
    return 0.0, False


def polarity_of(raw: FloatArray, no_load_current_a: float) -> int:
    """+1 or -1: which way most of the current beyond the rest band flows."""
    beyond = raw[np.abs(raw) > REST_SHARE * no_load_current_a]
    return -1 if len(beyond) and float(np.sum(beyond)) < 0 else 1


def noise_of(current: FloatArray, period_s: float, no_load_current_a: float) -> float:
    """Noise of one sample, from the rows whose neighbourhood lies within the rest band on average."""
    nearby = moving_mean(current, max(3, int(END_S / period_s)))
    return robust_sd(current[np.abs(nearby) < 0.5 * no_load_current_a])


def refine_zero(
    current: FloatArray,
    zero_a: float,
    polarity: int,
    first: int,
    last: int,
    rest_band_a: float,
    rest_seen: bool,
) -> tuple[FloatArray, float, float, float, float]:
    """Zero and noise again, now from all the rest on both sides of the movement."""
    step_a = resolution_step(current[max(0, first - 50) : first + 200])
    if not rest_seen:
        return current, 0.0, float("nan"), 0.0, step_a
    before = current[: max(0, first - 1)]
    # A motor braked by its own switch drives a decaying current back: only the last third of the rest after counts.
    after = current[last + 1 + (2 * (len(current) - last - 1)) // 3 :]
    # A return stroke in the same record isn't rest.
    before, after = (_trimmed(part[np.abs(part) < rest_band_a]) for part in (before, after))
    known = [part for part in (before, after) if len(part) >= 3]
    if not known:
        return current, zero_a, step_a / np.sqrt(12.0), 0.0, step_a
    shift = float(np.mean(known[0]))
    rest = np.concatenate([part - np.mean(part) for part in known])
    noise_a = max(robust_sd(rest), float(np.std(rest)))
    # A zero that sits still inside one step of the converter is known no better than that step (JCGM 100 F.2.2.1).
    stuck = step_a / np.sqrt(12.0) if noise_a < 0.5 * step_a else 0.0
    drift = abs(shift - float(np.mean(after))) / np.sqrt(12.0) if len(known) == 2 else 0.0
    zero_u_a = float(np.sqrt(noise_a**2 / len(known[0]) + stuck**2 + drift**2))
    return current - shift, zero_a + polarity * shift, zero_u_a, noise_a, step_a


def _trimmed(part: FloatArray) -> FloatArray:
    """Rest rows without spikes and without the tails of a pulse."""
    if len(part) < 5:
        return part
    middle, sd = median_of(part), robust_sd(part)
    kept: FloatArray = part[np.abs(part - middle) <= 4.0 * sd] if sd > 0 else part
    return kept
