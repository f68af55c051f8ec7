"""Whether the motor stalled at the end of a movement, and from when on.

A standing motor has no back-EMF: its current is V/R and stays there. The winding resistance from a data sheet is only
roughly right, so three bounds must all be passed: near enough to V/R, well above the rated maximum, and near the
highest current that this very record showed at the start, where the motor stood still for a moment too.

Where a drive or a protection limits the current, a stop looks otherwise: the current rises out of the run and stands
flat at a level of its own. No load that is still being moved is that flat, since it brings the brushes' ripple and its
own roughness along; so flat means no more scatter than the channel has at rest, above the rated maximum.
"""

from dataclasses import dataclass

import numpy as np

from throwbook.core.analysis.residual_current import ABOVE_RATED, SUSTAINED_SAMPLES
from throwbook.core.analysis.segmentation import Segments
from throwbook.core.quantities.statistics import from_step, median_of, median_of_three, robust_sd
from throwbook.core.rig import Actuator
from throwbook.core.trace import FloatArray

SHARE_OF_START_PEAK = 0.75
"""The start peak falls a little short of V/R, a long stall falls by a warming winding (*practice*)."""


FLAT = 0.02
"""Share of its own level within which a limited current stands: its controller holds it closer (*practice*)."""
FLATTEST = 0.001
"""Scatter of a controller that holds a current, as a share of it, besides what the channel scatters at rest
(*assumed*)."""
WINDING_UP = 1.0 / 3.0
"""First-order winding up takes 0.69 of its time constant to the half and 3.2 more to within 2 %."""
FEWEST_FLAT_ROWS = 10
SHORTEST_FLAT_S = 0.1
"""A throw that is cut off in its run doesn't stand at its highest level for that long before (*assumed*)."""


@dataclass(frozen=True)
class StalledMotor:
    """From which row on the motor stood still."""

    row: int
    limited: bool
    """Told from a current held flat at a limit; else from V/R."""


def stalled_motor_of(
    segments: Segments,
    time_s: FloatArray,
    voltage_v: FloatArray,
    actuator: Actuator,
    r_ohm: float,
    r_u: float,
) -> StalledMotor | None:
    """Where the motor stood still to the end of its movement, or None.

    Parameters
    ----------
    time_s, voltage_v
        shape (n,) [s], and at the board [V].
    r_ohm, r_u
        Winding resistance [ohm] and its relative standard uncertainty.
    """
    row = stalled_from(segments, voltage_v, actuator, r_ohm, r_u)
    if row is not None:
        return StalledMotor(row, limited=False)
    row = flat_limit_from(segments, time_s, actuator)
    return None if row is None else StalledMotor(row, limited=True)


def flat_limit_from(segments: Segments, time_s: FloatArray, actuator: Actuator) -> int | None:
    """First row from which the current rose to a limit and stood flat there to the end of the movement, or None."""
    if not segments.moved or segments.current_a[segments.last - 1] <= actuator.full_load_current_a:
        return None
    current = segments.current_a[segments.first : segments.last]
    level = median_of(current[-FEWEST_FLAT_ROWS:])
    beside = 4.0 * segments.noise_a + segments.step_a
    band = max(FLAT * level, beside)
    outside = np.flatnonzero(np.abs(current - level) > band)
    onset = int(outside[-1]) + 1 if len(outside) else 0
    flat = current[onset:]
    if (
        len(flat) < FEWEST_FLAT_ROWS
        or time_s[segments.last - 1] - time_s[segments.first + onset] < SHORTEST_FLAT_S
    ):
        return None
    level = median_of(flat)
    if level <= actuator.full_load_current_a or float(current.max()) > level + band:
        return None
    settled = _level_line_off(flat[len(flat) // 2 :])  # the way to a limit ends slowly
    still_a = float(np.hypot(segments.noise_a, from_step(segments.step_a)))
    if robust_sd(settled) > 2.0 * still_a + FLATTEST * level:
        return None
    return segments.first + _came_to_stand(current[:onset], level)


def _level_line_off(values: FloatArray) -> FloatArray:
    """What a straight line leaves of the values; shape (n,) -> (n,)."""
    place = np.arange(len(values)) - 0.5 * (len(values) - 1)
    off = values - values.mean()
    left: FloatArray = off - place * (float(place @ off) / float(place @ place))
    return left


def _came_to_stand(rise: FloatArray, level: float) -> int:
    """Row of the way to a limit of ``level`` [A] at which the motor came to stand; 0: it never moved.

    A current that winds up from nothing spends less than a third of the time on its first half; one that ran before
    spends more. Where it ran, the stand begins with the half of the rise out of the run.
    """
    if not len(rise):
        return 0  # at the limit from the first row on
    low = np.flatnonzero(rise < 0.5 * level)
    half = int(low[-1]) + 1 if len(low) else 0
    if half < WINDING_UP * (len(rise) - half):
        return 0
    before = np.flatnonzero(rise < 0.5 * (level + median_of(rise)))
    return int(before[-1]) + 1 if len(before) else 0


def stalled_from(
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
