"""Which stretches of current in a record make up its one throw."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.core.quantities.numerics import integrate, median_of, runs_of
from logger.core.stroke.breaks import LONGEST_S
from logger.core.stroke.transient import SMALLEST_PEAK
from logger.core.trace import FloatArray

SUSTAINED_SAMPLES = 3
"""Fewer samples in a row than this are a spike, not a movement."""
PAUSE_S = 0.3
"""A break in the current shorter than this is a bad contact: the motor coasts through it (*practice*)."""
DRIVES = 0.1
"""Current below this share of its median drives nothing, whatever voltage is read (*practice*)."""


@dataclass(frozen=True)
class FullStroke:
    """What it takes to do the whole stroke, as far as that is known before the record is cut up."""

    shortest_s: float
    """It can't be done faster than this [s]."""
    volt_seconds: float
    """Back-EMF over its time [V s], from the baseline or the rating."""
    u: float
    """Relative standard uncertainty of that."""
    r_ohm: float
    """Winding resistance [ohm]."""
    nominal_v: float
    """Nominal voltage, for a record without a voltage channel [V]."""

    def share_done(
        self, time_s: FloatArray, current_a: FloatArray, voltage_v: FloatArray | None, rows: slice
    ) -> float:
        """Share of the stroke that the current of these rows drove."""
        amps = current_a[rows]
        volts = self.nominal_v if voltage_v is None else np.abs(voltage_v[rows])
        driven = amps > DRIVES * median_of(amps)
        emf_v = np.where(driven, np.maximum(volts - amps * self.r_ohm, 0.0), 0.0)
        return integrate(emf_v, time_s[rows]) / self.volt_seconds


def regions_of(moving: NDArray[np.bool_], time_s: FloatArray) -> list[tuple[int, int]]:
    """Runs of movement current (first and last row), spikes dropped and short breaks closed."""
    runs = [(a, b - 1) for a, b in runs_of(moving) if b - a >= SUSTAINED_SAMPLES]
    joined: list[tuple[int, int]] = []
    for a, b in runs:
        if joined and (
            time_s[a] - time_s[joined[-1][1]] <= PAUSE_S or a - joined[-1][1] <= SUSTAINED_SAMPLES
        ):
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    return joined


def movement_of(
    regions: list[tuple[int, int]],
    time_s: FloatArray,
    current_a: FloatArray,
    voltage_v: FloatArray | None,
    period_s: float,
    stroke: FullStroke,
) -> tuple[tuple[int, int], int]:
    """The first movement (first and last row), and how many pauses it has.

    What follows a contact's break belongs to it where both parts together come nearer to one stroke than either alone, and
    are no more than one. A return stroke would make two of it.
    """
    first, last = regions[0]
    share = stroke.share_done(time_s, current_a, voltage_v, slice(first, last + 1))
    used = 1
    for a, b in regions[1:]:
        more = stroke.share_done(time_s, current_a, voltage_v, slice(a, b + 1))
        resumed = (
            time_s[a] - time_s[last] <= LONGEST_S + 2.0 * period_s
            and abs(share + more - 1.0) < min(abs(share - 1.0), abs(more - 1.0))
            and share + more <= 1.0 + 2.0 * stroke.u
            and _starts_anew(current_a, time_s, (first, last), (a, b))
        )
        if not resumed:
            break
        share += more
        last = b
        used += 1
    return (first, last), used - 1


def _starts_anew(
    current_a: FloatArray, time_s: FloatArray, before: tuple[int, int], after: tuple[int, int]
) -> bool:
    """Whether a stretch of current is a run of its own and no echo of the cut-off: it lasts, or begins with a surge."""
    a, b = after
    if time_s[b] - time_s[a] >= PAUSE_S:
        return True
    level_a = median_of(current_a[before[0] : before[1] + 1])
    return float(current_a[a : b + 1].max()) >= SMALLEST_PEAK * level_a
