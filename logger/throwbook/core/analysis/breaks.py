"""Breaks of the current in mid-throw.

While a contact is open no current flows, far less than a turning motor draws; the motor slows down, so the current comes
back as at a start, with a surge. Both must be seen. Zeros without a surge after them (a sensor that dropped out), a hole
in the times without zeros (lost readings) and an end without a return are none.

At a low rate the surge may lie between two rows, and one row may be all there is of the zeros. Such a place is a break too,
but not a certain one: its rows don't count as load, and the sign says what the record can't tell.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from throwbook.core.analysis.transient import FEWEST_ROWS, NOISE_SIGMAS, SMALLEST_PEAK, end_of_transient
from throwbook.core.quantities.statistics import from_step, median_of, robust_sd, runs_of
from throwbook.core.trace import FloatArray

SLOWEST_PERIOD_S = 0.045
"""Rows further apart than this show neither a short break nor its surge for certain (*assumed*)."""
SHORTEST_S = 0.03
"""Relays bounce and brushes jump for less than this (*practice*)."""
LONGEST_S = 1.0
"""What lasts longer is more likely somebody who let go of the switch (*assumed*)."""
FEWEST_OPEN_ROWS = 2
MOST_BREAKS = 12
"""More zeros than this are a drive's pulses or brushes that jump, not a contact that opens (*assumed*)."""
LONGEST_SPIKE = 2
"""So many rows in a row are a spike, or a contact that bounces; they don't end a break."""
BESIDE_ROWS = 12
"""Rows on whose median the level beside a break is taken. As many zeros after as many rows of current: by chance once in
C(24, 12) = 2.7 million times, however rough the run."""
COASTED_U = 0.3
"""Relative standard uncertainty of how far a motor coasts (*assumed*: some of the braking grows with the speed; if all
of it did, it would coast twice as far)."""
UNSEEN_SURGE_ROWS = 2
"""Rows after the return in which the rest of a surge may hide at a low rate: one, and a second where a board averages."""
SURGE_WITHIN_S = 0.1
"""A surge stands at its highest within this time of the return (*practice*)."""


@dataclass(frozen=True)
class Break:
    """One break; indices count the rows of the record."""

    opened: int
    """First row without current, or on its way down."""
    closed: int
    """First row with current again."""
    settled: int
    """First row after the surge."""
    coasted_s: float = 0.0
    """So long at the speed before is as far as the motor coasted while it was open [s]."""
    coasted_u_s: float = 0.0
    """Standard uncertainty of that [s]."""
    certain: bool = True
    """Zeros and surge were both seen; else the rate is too low to tell it from readings that dropped out."""


def find_breaks(
    current_a: FloatArray, time_s: FloatArray, first: int, last: int, rest_a: float, period_s: float
) -> tuple[Break, ...]:
    """Every break in the movement from row ``first`` to ``last``, in order.

    Parameters
    ----------
    current_a, time_s
        shape (n,) [A], zero taken off, driving direction positive; [s].
    rest_a
        Below this no motor turns, and noise alone doesn't reach it from zero [A].
    period_s
        Median time between rows [s].
    """
    if last - first < 2 * FEWEST_ROWS:
        return ()
    moving = current_a[first : last + 1]
    if float(moving.min()) >= rest_a:
        return ()
    found = []
    for a, b in _zeros(moving < rest_a):
        opened = _opened_at(current_a, time_s, first, first + a, first + b, last, rest_a, period_s)
        if opened is not None:
            certain = period_s <= SLOWEST_PERIOD_S and b - a >= FEWEST_OPEN_ROWS
            found.append((opened, first + b, certain))
    if not 0 < len(found) <= MOST_BREAKS:
        return ()
    ends = [opened for opened, _, _ in found[1:]] + [last + 1]
    breaks = []
    for (opened, closed, certain), end in zip(found, ends, strict=True):
        settled = _surge_over(current_a, time_s, closed, end - 1)
        if not certain:
            settled = min(max(settled, closed + UNSEEN_SURGE_ROWS), end)
        breaks.append(Break(opened, closed, settled, certain=certain))
    return tuple(breaks)


def _zeros(open_rows: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and one-past-last row of every run of zeros, a spike in their midst counted with them."""
    joined: list[tuple[int, int]] = []
    for a, b in runs_of(open_rows):
        if joined and a - joined[-1][1] <= LONGEST_SPIKE:
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    return joined


def _opened_at(
    current_a: FloatArray,
    time_s: FloatArray,
    first: int,
    a: int,
    b: int,
    last: int,
    rest_a: float,
    period_s: float,
) -> int | None:
    """Row at which a contact opened before the zeros from ``a`` to before ``b``; None: no break."""
    if a - first < FEWEST_ROWS or b + 1 >= last:
        return None
    lasted_s = float(time_s[b] - time_s[a])
    seen_s = (b - a) * period_s
    if seen_s < SHORTEST_S or lasted_s > LONGEST_S + 2.0 * period_s or seen_s < 0.5 * lasted_s:
        return None
    beside_a = current_a[a - BESIDE_ROWS : a]
    level_a = median_of(beside_a)
    scatter_a = robust_sd(np.diff(beside_a)) / np.sqrt(2.0)
    by_chance = level_a < rest_a + NOISE_SIGMAS * scatter_a and (
        b - a < BESIDE_ROWS or float(beside_a.min()) < rest_a
    )
    if level_a < 2.0 * rest_a or by_chance:
        return None  # so light or so rough a run comes near zero by itself
    reach = max(2, int(SURGE_WITHIN_S / period_s))
    surge_a = float(current_a[b : min(b + reach, last) + 1].max())
    surged = surge_a >= max(SMALLEST_PEAK * level_a, level_a + NOISE_SIGMAS * scatter_a)
    between_rows = period_s > SLOWEST_PERIOD_S and b - a >= FEWEST_OPEN_ROWS
    if not surged and not between_rows:
        return None
    # A diode or a filter drags out the fall: it is part of the break.
    opened = a
    while opened > a - BESIDE_ROWS // 2 and current_a[opened - 1] < 0.8 * level_a:
        opened -= 1
    return opened


def _surge_over(current_a: FloatArray, time_s: FloatArray, closed: int, last: int) -> int:
    """First row after the surge, by the rule of the start; where too little follows to tell, all of it counts."""
    if last - closed < FEWEST_ROWS:
        return last + 1
    return end_of_transient(current_a, time_s, closed, last).settled_latest


def with_coasting(
    breaks: tuple[Break, ...], current_a: FloatArray, time_s: FloatArray, start: slice | None
) -> tuple[Break, ...]:
    """The breaks with how far the motor coasted in each.

    What brakes a coasting motor is what its running current held up before. The start shows the charge that speeds the
    rotor up from standing; that charge over the running current is the time the load takes to stop it. Braked evenly, it
    moves on while it slows down, for a mean of half its speed if it comes to stand.

    ``start``: rows of the start-up transient; None: there is none to learn from, and it coasted anything up to all the time.
    """
    if not breaks:
        return ()
    charge_as = 0.0 if start is None else _charge_of(current_a, time_s, start, breaks[0].opened)
    return tuple(_coasting(each, current_a, time_s, charge_as) for each in breaks)


def _coasting(each: Break, current_a: FloatArray, time_s: FloatArray, charge_as: float) -> Break:
    """``charge_as``: what speeds the rotor up [A s]; 0: not known."""
    open_s = float(time_s[each.closed] - time_s[each.opened])
    before = current_a[max(0, each.opened - BESIDE_ROWS // 2) : each.opened]
    held_a = median_of(before) if len(before) else 0.0
    if (
        not each.certain or charge_as <= 0.0 or held_a <= 0.0
    ):  # no current held anything up that could brake it
        return replace(each, coasted_s=0.5 * open_s, coasted_u_s=from_step(open_s))
    stops_s = charge_as / held_a
    turned_s = min(open_s, stops_s)
    coasted_s = turned_s * (1.0 - 0.5 * turned_s / stops_s)
    return replace(each, coasted_s=coasted_s, coasted_u_s=COASTED_U * coasted_s)


def _charge_of(current_a: FloatArray, time_s: FloatArray, start: slice, opened: int) -> float:
    """Charge of a start beyond the level that follows it, before the first break [A s]."""
    level_a = median_of(
        current_a[start.stop : max(start.stop + 1, min(2 * start.stop - start.start, opened))]
    )
    steps_s = np.diff(time_s[start.start : start.stop + 1])
    return float(np.sum((current_a[start] - level_a) * steps_s))


def without_breaks(
    breaks: tuple[Break, ...], values: FloatArray, time_s: FloatArray, run: slice
) -> tuple[FloatArray, FloatArray]:
    """Values and times of the rows ``run`` without breaks and surges, the times closed up; shape (m,) each."""
    kept = np.flatnonzero(~left_out(breaks, run))
    rows = kept + run.start
    steps = np.diff(time_s[rows])
    joins = np.diff(kept) > 1
    steps[joins] = median_of(steps) if len(steps) else 0.0
    closed_up_s: FloatArray = np.concatenate(([0.0], np.cumsum(steps)))[: len(rows)]
    return values[rows], closed_up_s


def left_out(breaks: tuple[Break, ...], rows: slice) -> np.ndarray:
    """Which of the rows lie in a break or its surge; shape (rows,) bool."""
    out = np.zeros(max(0, rows.stop - rows.start), dtype=np.bool_)
    for each in breaks:
        out[max(0, each.opened - 1 - rows.start) : max(0, each.settled - rows.start)] = True
    return out
