"""A recording's times from the board's clock and its numbering, and all that was wrong with them."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.core.quantities.clock import (
    CLOCK_FROM_KEY,
    CLOCK_KEY,
    CLOCK_U_KEY,
    CLOCK_UNTIL_KEY,
    parting_of,
    period_of,
    spread_evenly,
)
from logger.core.trace import FloatArray

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
        note = f"the board says that it lost {hidden:,} samples, and neither its clock nor its numbers show where"
        troubles.append(ClockTrouble(note, max(hidden_s, apart_s), *whole))
    elif parting is not None and not hidden:
        note = (
            f"the board's clock and its sample numbers part by {apart_s:.3g} s: times may be off by so much"
        )
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
    rate = "the rate it had held" if period_s else f"the {rate_hz} samples a second asked for"
    note = f"the board's clock stood still for {stood_s:.1f} s: times there are reckoned from sample numbers at {rate}"
    return reckoned, bool(period_s), ClockTrouble(note, stood_s, still, len(index) - 1)
