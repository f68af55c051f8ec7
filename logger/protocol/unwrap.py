"""SEQ and MICROS of a run, which wrap round, to a count and a clock that don't.

SEQ wraps after 65536 samples, MICROS after 71.6 minutes. Where samples are missing, MICROS says how often SEQ went
round, so the loss is exact. A stretch without any sample that is longer than ``LONGEST_GAP_S`` ends a record. Where
MICROS stands still while SEQ goes on, time goes on by the sample period from there.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.protocol.events import ClockJump, ClockStopped, Lost, Reset
from logger.protocol.messages import MICROS_SPAN, SEQ_SPAN

IntArray = NDArray[np.int64]

LONGEST_GAP_S = 600.0
ALLOWED_SLIP_S = 5.0
"""A stall of the board, or a jump of its clock, shorter than this is kept as a gap in time; what the numbers say against
it widens the times' uncertainty."""
ALLOWED_SLIP_SHARE = 0.01
LONGEST_STILL_S = 1.0
"""No clock is so coarse that it stands still for longer than this while samples come."""
_LEARN_FROM_STEPS = 100
_LEAST_PERIOD_SHARE = 1e-3
"""A period below this share of the one asked for is that of a clock that stands still."""


@dataclass(frozen=True, eq=False)
class Unwrapped:
    """A block on the run's own count and clock."""

    index: IntArray
    micros: IntArray
    """From the run's first sample."""
    losses: list[Lost]
    cut: Reset | ClockJump | None
    """Why the block was cut short after these samples; None: it wasn't."""
    stopped: ClockStopped | None
    """The clock was found to stand still in this block, for the first time in the run."""


class Unwrapper:
    """Follows one run from its first sample."""

    def __init__(self, rate_hz: float) -> None:
        self._nominal_us = 1e6 / rate_hz
        self._last: tuple[int, int] | None = None
        self.index = 0
        self.micros = 0
        self._moved = (0, 0)
        """Count and clock of the newest sample at which the clock had gone on."""
        self._stopped = False

    def take(self, seq: IntArray, micros: IntArray) -> Unwrapped:
        """Unwrap the next block, arrays of shape (n,), n > 0."""
        last = self._last or (int(seq[0]) - 1, int(micros[0]) - round(self.period_us))
        first_block = self._last is None
        turns = np.diff(seq, prepend=last[0]) % SEQ_SPAN
        passed_us = np.diff(micros, prepend=last[1]) % MICROS_SPAN
        rounds = np.rint((passed_us / self.period_us - turns) / SEQ_SPAN).astype(np.int64)
        steps = turns + SEQ_SPAN * rounds
        cut, keep = self._first_break(turns, steps, passed_us)
        steps, passed_us = steps[:keep], passed_us[:keep]
        if first_block:
            steps[:1], passed_us[:1] = 0, 0
        index = self.index + np.cumsum(steps)
        clock, stopped = self._gone_on(index, self.micros + np.cumsum(passed_us))
        if keep:
            self.index, self.micros = int(index[-1]), int(clock[-1])
            self._last = int(seq[keep - 1]), int(micros[keep - 1])
        losses = [
            Lost(count=int(steps[at]) - 1, after_index=int(index[at] - steps[at]))
            for at in np.flatnonzero(steps > 1)
        ]
        return Unwrapped(index, clock, losses, cut, stopped)

    @property
    def period_us(self) -> float:
        """Sample period by the board's own clock, learned from the run itself once it is long enough."""
        index, micros = self._moved
        if index < _LEARN_FROM_STEPS or micros < _LEAST_PERIOD_SHARE * self._nominal_us * index:
            return self._nominal_us
        return micros / index

    def _gone_on(self, index: IntArray, clock: IntArray) -> tuple[IntArray, ClockStopped | None]:
        """The clock of each sample, which goes on by the sample period where it has stood still for too long."""
        if len(clock) and clock[0] > self.micros and (clock[1:] > clock[:-1]).all():
            self._moved = int(index[-1]), int(clock[-1])
            return clock, None
        period_us = self.period_us
        moved = np.flatnonzero(np.diff(clock, prepend=self.micros))
        newest = np.concatenate(([self._moved[0]], index[moved]))
        still_us = (index - newest[np.searchsorted(moved, np.arange(len(index)), side="right")]) * period_us
        if len(moved):
            self._moved = int(index[moved[-1]]), int(clock[moved[-1]])
        stuck = still_us > LONGEST_STILL_S * 1e6
        if not stuck.any():
            return clock, None
        steps = np.diff(index, prepend=self.index)
        clock = clock + np.cumsum(np.where(stuck, np.rint(steps * period_us), 0.0)).astype(np.int64)
        if len(moved):
            self._moved = self._moved[0], int(clock[moved[-1]])
        first_time, self._stopped = not self._stopped, True
        at = int(np.argmax(stuck))
        return clock, ClockStopped(int(index[at] - round(still_us[at] / period_us))) if first_time else None

    def _first_break(
        self, turns: IntArray, steps: IntArray, passed_us: IntArray
    ) -> tuple[Reset | ClockJump | None, int]:
        """The first place where the run can't go on, and how many samples stand before it."""
        slip_us = np.abs(passed_us - steps * self.period_us)
        gap = passed_us > LONGEST_GAP_S * 1e6
        jump = slip_us > ALLOWED_SLIP_S * 1e6 + ALLOWED_SLIP_SHARE * passed_us
        breaks = np.flatnonzero((steps <= 0) | gap | jump)
        if not breaks.size:
            return None, len(steps)
        at = int(breaks[0])
        # More than half way round either span is taken for a step back.
        clock_back = passed_us[at] > MICROS_SPAN // 2
        if steps[at] <= 0 or (clock_back and turns[at] > SEQ_SPAN // 2):
            return Reset("the board's sample numbers went back"), at
        by_s = float(passed_us[at] - (MICROS_SPAN if clock_back else 0)) / 1e6
        return ClockJump(f"the board's clock jumped by {by_s:+.1f} s"), at
