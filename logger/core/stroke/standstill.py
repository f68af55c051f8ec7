"""Whether the motor stood still under voltage at the end of a movement, and from when on.

A standing motor has no back-EMF: its current is V/R and stays there. The winding resistance from a data sheet is only
roughly right, so three bounds must all be passed: near enough to V/R, well above the rated maximum, and near the
highest current that this very record showed at the start, where the motor stood still for a moment too.
"""

import numpy as np

from logger.core.quantities.numerics import median_of, median_of_three
from logger.core.rig import Actuator
from logger.core.stroke.segmentation import SUSTAINED_SAMPLES, Segments
from logger.core.trace import FloatArray

ABOVE_RATED = 1.2
"""A stall draws more than the rated maximum by a clear margin: data sheets of screw actuators put the stall at three
to five times the rated current (*practice*)."""
SHARE_OF_START_PEAK = 0.75
"""The start peak falls a little short of V/R, a long stall falls by a warming winding (*practice*)."""


def standstill_from(
    segments: Segments, voltage_v: FloatArray, actuator: Actuator, r_ohm: float, r_u: float
) -> int | None:
    """First row from which the motor stood still to the end of its movement, or None.

    Parameters
    ----------
    voltage_v
        shape (n,) at the board [V].
    r_ohm, r_u
        Winding resistance [ohm] and its relative standard uncertainty.
    """
    if not segments.moved:
        return None
    rows = slice(segments.first, segments.last + 1)
    current = median_of_three(segments.current_a[rows])
    stall_a = voltage_v[rows] / r_ohm
    floor_a = np.maximum(ABOVE_RATED * actuator.full_load_current_a, (1.0 - 2.0 * min(r_u, 0.3)) * stall_a)
    high = current >= floor_a
    if not high[-1] and not high[-2:].any():
        return None
    below = np.flatnonzero(~high[:-1])
    onset = int(below[-1]) + 1 if len(below) else 0
    tail = current[onset:]
    start_peak_a = float(np.max(current[: max(SUSTAINED_SAMPLES, len(current) // 10)]))
    if len(tail) < SUSTAINED_SAMPLES or median_of(tail) < SHARE_OF_START_PEAK * start_peak_a:
        return None
    if onset > 0 and len(tail) < 0.5 * (segments.settled - segments.first):
        return None  # shorter than a start: a load on its way through, not a standing motor
    return segments.first + onset
