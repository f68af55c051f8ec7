"""The times of a record: stamps that repeat because the clock is coarse, holes, and where clock and numbering part."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from throwbook.core.quantities.statistics import median_of
from throwbook.core.trace import FloatArray

CLOCK_KEY, CLOCK_U_KEY = "clock", "clock_u_s"
"""Head keys: what was wrong with the clock, in words; how far times may be off by it (expanded, k = 2) [s]."""
CLOCK_FROM_KEY, CLOCK_UNTIL_KEY = "clock_from_s", "clock_until_s"
"""Head keys: where it was wrong, from the first row [s]; one that isn't there: from the first row on, to the last."""
_WINDOWS = 20
"""The period is the median over stretches of a twentieth of the record: a jump spoils one in twenty."""

# Both common practice, no source.
ABRUPT_PERIODS = 2.0
"""A single step that is off by more than this is a jump of the clock, or samples that nobody took."""
FEWEST_AT_ONE_RATE = 20
"""Stamps of fewer rows don't tell a rate."""
HOLE_PERIODS = 1.6
"""A longer step may be a hole ..."""
LASTING_PERIODS = 0.5
"""... and is one where more than this is left of it once its neighbours have given back what they can."""
_NEARBY_STEPS = 4
FEWEST_FREQUENT = 3
"""One long step or two show no evenness."""
FREQUENT_SHARE = 0.02
"""More long steps than this are the clock's own way, or a bad loss: a loss moves rows from their places."""
AT_ITS_PLACE_PERIODS = 2.0
SLOW_SHARE = 0.005
"""A board without a timer keeps its rate within so much of a throw."""


@dataclass(frozen=True, eq=False)
class EvenStamps:
    """Stamps after those that repeat were spread."""

    time_s: FloatArray
    """shape (n,) [s]"""
    repeated: int
    """Rows whose stamp was that of the row before."""
    u_s: float
    """How far a time may be off by it, expanded [s]."""

    @property
    def note(self) -> str:
        """What a person is told; empty where no stamp repeated."""
        if not self.repeated:
            return ""
        return f"{self.repeated:,} of {len(self.time_s):,} time stamps repeat the one before: they were spread evenly"


def period_of(index: NDArray[np.int64] | None, time_s: FloatArray) -> float:
    """Time from sample to sample [s], by the whole record; a few jumps and holes don't move it.

    ``index``: number of each sample, shape (n,); None: one after the other. 0.0 where the clock stands still.
    """
    if len(time_s) < 2:
        return 0.0
    lag = max(1, len(time_s) // _WINDOWS)
    apart = lag if index is None else index[lag:] - index[:-lag]
    period_s = median_of((time_s[lag:] - time_s[:-lag]) / apart)
    rows = len(time_s) - 1 if index is None else index[-1] - index[0]
    return period_s or float((time_s[-1] - time_s[0]) / rows)


def spread_evenly(time_s: FloatArray, index: NDArray[np.int64] | None = None) -> EvenStamps:
    """Stamps that repeat, moved apart.

    Where the samples came at one rate the times are those of that rate, as near to the stamps as a tick allows; where
    they didn't, the rows of one tick are spread evenly up to the next, but no wider than the period. Where the clock
    stands still from the first row to the last the stamps stay.

    Parameters
    ----------
    time_s
        Never falls, shape (n,) [s].
    index
        Number of each sample, shape (n,); None: one after the other.
    """
    if (time_s[1:] > time_s[:-1]).all():
        return EvenStamps(time_s, 0, 0.0)
    numbers = np.arange(len(time_s)) if index is None else index
    period_s = period_of(numbers, time_s)
    firsts = np.flatnonzero(np.diff(time_s, prepend=-np.inf))
    repeated = len(time_s) - len(firsts)
    if not period_s:
        return EvenStamps(time_s, repeated, 0.0)
    counts = np.diff(np.append(firsts, len(time_s)))
    ticks_s = np.append(np.diff(time_s[firsts]), np.inf)
    apart_s = np.minimum(ticks_s / counts, period_s)
    place = np.arange(len(time_s)) - np.repeat(firsts, counts)
    even_s = time_s + place * np.repeat(apart_s, counts)
    tied = counts > 1
    # The last tick has no end; it is taken to be as long as the longest before it.
    ticks_s[-1] = max(period_s, float(np.max(ticks_s[:-1], where=tied[:-1], initial=0.0)))
    short_s = float(np.max((counts * period_s - ticks_s)[tied], initial=0.0))
    regular_s = _at_one_rate(numbers, time_s, even_s, median_of(ticks_s[tied]), period_s)
    spread_s = regular_s if (np.diff(regular_s) > 0.0).all() else even_s
    return EvenStamps(spread_s, repeated, period_s + short_s)


def _at_one_rate(
    numbers: NDArray[np.int64], time_s: FloatArray, even_s: FloatArray, tick_s: float, period_s: float
) -> FloatArray:
    """Times on a straight line over the numbers, stretch by stretch between holes; ``even_s`` where stamps don't fit one."""
    holes = np.flatnonzero(np.diff(time_s) - period_s * np.diff(numbers) > tick_s + period_s) + 1
    regular_s = even_s.copy()
    for first, last in zip([0, *holes.tolist()], [*holes.tolist(), len(time_s)], strict=True):
        rows = slice(first, last)
        if last - first < FEWEST_AT_ONE_RATE:
            continue
        n = (numbers[rows] - numbers[rows].mean()).astype(np.float64)
        line_s = n * (float(n @ time_s[rows]) / float(n @ n))
        behind_s = time_s[rows] - line_s
        if float(np.ptp(behind_s)) <= tick_s + period_s:
            regular_s[rows] = line_s + behind_s.max()
    return regular_s


def holes_in(time_s: FloatArray) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows behind which rows are missing, and how many in each place, from the stamps alone.

    A clock whose steps go up and down (2, 3 and 4 ms) loses nothing: what one step takes too long its neighbours give
    back, or long steps come so evenly that every row is at its place.
    """
    period_s = period_of(None, time_s)
    steps_s = np.diff(time_s)
    after = np.flatnonzero(steps_s > HOLE_PERIODS * period_s)
    if len(after) >= FEWEST_FREQUENT and len(after) > FREQUENT_SHARE * len(steps_s):
        n = np.arange(len(time_s)) - 0.5 * (len(time_s) - 1)
        if float(np.ptp(time_s - n * float(n @ time_s) / float(n @ n))) <= AT_ITS_PLACE_PERIODS * period_s:
            after = after[:0]
    if not len(after):
        return after, after
    nearby = after[:, np.newaxis] + np.delete(np.arange(-_NEARBY_STEPS, _NEARBY_STEPS + 1), _NEARBY_STEPS)
    nearby_s = steps_s[np.clip(nearby, 0, len(steps_s) - 1)]
    usual_s = np.median(nearby_s, axis=1)
    given_back_s = np.maximum(usual_s[:, np.newaxis] - nearby_s, 0.0).sum(axis=1)
    after = after[steps_s[after] - usual_s - given_back_s > LASTING_PERIODS * period_s]
    return after, np.rint(steps_s[after] / period_s).astype(np.int64) - 1


@dataclass(frozen=True)
class Parting:
    """Where clock and numbering part."""

    by_s: float
    """How far [s]."""
    first: int
    """Row before the first jump; the first row where they part slowly."""
    last: int
    """Row after the last jump; the last row where they part slowly."""


def parting_of(index: NDArray[np.int64], time_s: FloatArray) -> Parting | None:
    """How far clock and numbering part from each other in a record; None: no further than a timer's jitter.

    A clock that runs fast or slow all along is no disagreement: the period is the record's own.
    """
    period_s = period_of(index, time_s)
    apart_s = time_s - time_s[0] - period_s * (index - index[0])
    widest_s = float(np.ptp(apart_s))
    jumps = np.flatnonzero(np.abs(np.diff(apart_s)) > ABRUPT_PERIODS * period_s)
    if len(jumps):
        return Parting(widest_s, int(jumps[0]), int(jumps[-1]) + 1)
    slow_s = max(ABRUPT_PERIODS * period_s, SLOW_SHARE * float(time_s[-1] - time_s[0]))
    return Parting(widest_s, 0, len(index) - 1) if widest_s > slow_s else None


def with_clock(head: Mapping[str, Any], spread: EvenStamps) -> Mapping[str, Any]:
    """``head`` with what is known of stamps that repeat; the same where none does."""
    if not spread.repeated:
        return head
    said = head.get(CLOCK_KEY)
    note = f"{said}; {spread.note}" if isinstance(said, str) else spread.note
    everywhere = {key: said for key, said in head.items() if key not in (CLOCK_FROM_KEY, CLOCK_UNTIL_KEY)}
    return {**everywhere, CLOCK_KEY: note, CLOCK_U_KEY: max(clock_u_s(head), round(spread.u_s, 6))}


def clock_u_s(head: Mapping[str, Any], from_s: float = -np.inf, until_s: float = np.inf) -> float:
    """How far the time between these two moments [s from the first row] may be off by the clock, expanded [s].

    0.0: the head says nothing of the kind, or the clock was wrong elsewhere.
    """
    u_s = _number(head.get(CLOCK_U_KEY), 0.0)
    wrong_from_s = _number(head.get(CLOCK_FROM_KEY), -np.inf)
    wrong_until_s = _number(head.get(CLOCK_UNTIL_KEY), np.inf)
    return max(u_s, 0.0) if wrong_from_s <= until_s and wrong_until_s >= from_s else 0.0


def _number(said: object, otherwise: float) -> float:
    return float(said) if isinstance(said, int | float) and np.isfinite(said) else otherwise


FEWEST_FOR_A_PERIOD = 100
"""Rows before a clock stopped that tell what its period was."""


@dataclass(frozen=True)
class ClockTrouble:
    """One thing that was wrong."""

    note: str
    u_s: float
    """How far times may be off by it, expanded [s]."""
    first: int
    """Row before it began."""
    last: int
    """Row after it was over."""


@dataclass(frozen=True, eq=False)
class BoardTimes:
    """Times that rise from row to row."""

    time_s: FloatArray
    """shape (n,) [s]"""
    period_s: float
    """As the samples came [s]; 0.0: the clock doesn't tell."""
    troubles: tuple[ClockTrouble, ...]

    def head(self) -> dict[str, Any]:
        """What the record's head says of its clock."""
        head: dict[str, Any] = {}
        if self.period_s:
            head["rate_hz"] = round(1.0 / self.period_s, 3)
        if self.troubles:
            first = min(trouble.first for trouble in self.troubles)
            last = max(trouble.last for trouble in self.troubles)
            head[CLOCK_KEY] = "; ".join(trouble.note for trouble in self.troubles)
            head[CLOCK_U_KEY] = round(max(trouble.u_s for trouble in self.troubles), 6)
            head[CLOCK_FROM_KEY] = round(float(self.time_s[first] - self.time_s[0]), 6)
            head[CLOCK_UNTIL_KEY] = round(float(self.time_s[last] - self.time_s[0]), 6)
        return head


def board_times(
    index: NDArray[np.int64], time_s: FloatArray, rate_hz: int, stopped_at: int | None, hidden: int
) -> BoardTimes:
    """Times of a recording's rows.

    Parameters
    ----------
    index, time_s
        Number and time of each row as the board sent them, shape (n,), n > 0.
    rate_hz
        Asked for.
    stopped_at
        Number of the last sample at which the clock had gone on; None: it never stopped.
    hidden
        Samples that the board says it lost and its numbers don't show.
    """
    troubles = []
    whole = 0, len(index) - 1
    if stopped_at is None and len(index) > 1 and time_s[-1] == time_s[0]:
        stopped_at = int(index[0])  # too short a record for the run to tell
    told = True
    if stopped_at is not None:
        time_s, told, trouble = _by_numbers(index, time_s, rate_hz, stopped_at)
        troubles.append(trouble)
    spread = spread_evenly(time_s, index)
    if spread.repeated:
        troubles.append(ClockTrouble(spread.note, spread.u_s, *whole))
    time_s = spread.time_s
    period_s = period_of(index, time_s)
    parting = parting_of(index, time_s)
    hidden_s, apart_s = hidden * period_s, parting.by_s if parting is not None else 0.0
    if hidden and abs(apart_s - hidden_s) > max(2.0 * period_s, 0.1 * hidden_s):
        note = f"the board reports {hidden:,} lost samples, and neither its clock nor its numbers show where"
        troubles.append(ClockTrouble(note, max(hidden_s, apart_s), *whole))
    elif parting is not None and not hidden:
        note = f"the board's clock and its sample numbers differ by {apart_s:.3g} s: times may be off by that much"
        troubles.append(ClockTrouble(note, apart_s, parting.first, parting.last))
    return BoardTimes(time_s, period_s if told else 0.0, tuple(troubles))


def _by_numbers(
    index: NDArray[np.int64], time_s: FloatArray, rate_hz: int, stopped_at: int
) -> tuple[FloatArray, bool, ClockTrouble]:
    """Times with those after the stop reckoned from the numbers, and whether the clock had told its period before."""
    still = max(int(np.searchsorted(index, stopped_at, side="right")) - 1, 0)
    before = slice(0, still + 1)
    period_s = period_of(index[before], time_s[before]) if still >= FEWEST_FOR_A_PERIOD else 0.0
    reckoned = time_s.copy()
    reckoned[still:] = time_s[still] + (index[still:] - index[still]) * (period_s or 1.0 / (rate_hz or 1))
    stood_s = float(reckoned[-1] - reckoned[still])
    rate = "the rate it had held" if period_s else f"the {rate_hz} samples per second that were set"
    note = f"the board's clock did not move for {stood_s:.1f} s: times there are calculated from sample numbers at {rate}"
    return reckoned, bool(period_s), ClockTrouble(note, stood_s, still, len(index) - 1)
