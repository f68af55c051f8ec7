"""Sample lines in bulk: a block of ``D`` lines to arrays in one go, SEQ and MICROS to a count and a clock that don't wrap.

The bulk way takes a block only when every byte of it is exactly as it should be, checks included. Anything odd in it
(another message, a damaged line) gives None, and the caller goes line by line through ``framing`` and ``messages``,
which are the rule. It is quick because lines whose fields have the same widths are laid under each other as a table of
bytes, so that each step is one numpy operation for all of them. The CRC is linear, so that of a line is the exclusive-or
of what each of its bytes contributes alone, which depends only on the byte and its distance from the end.

SEQ wraps after 65536 samples, MICROS after 71.6 minutes. Where samples are missing, MICROS says how often SEQ went
round, so the loss is exact. A stretch without any sample that is longer than ``LONGEST_GAP_S`` ends a record. Where
MICROS stands still while SEQ goes on, time goes on by the sample period from there.
"""

from binascii import crc_hqx
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from throwbook.protocol.framing import CHECK_BYTES, LONGEST_LINE_BYTES
from throwbook.protocol.messages import (
    MICROS_SPAN,
    MOST_DIGITS,
    NOT_ANSWERING,
    RANGES,
    SEQ_SPAN,
    ClockJump,
    ClockStopped,
    Lost,
    Reset,
    Sample,
)

IntArray = NDArray[np.int64]
ByteArray = NDArray[np.uint8]
_MINUS, _ZERO, _D, _UNREAD = b"-0Dx"
_MOST_LAYOUTS = 256
_HEX = np.frombuffer(b"0123456789ABCDEF", dtype=np.uint8)


@dataclass(frozen=True, eq=False)
class SampleBlock:
    """Samples as counts."""

    table: IntArray
    """shape (2 + channels, n): SEQ, MICROS, then the counts of each channel"""

    def __len__(self) -> int:
        return int(self.table.shape[1])

    @property
    def seq(self) -> IntArray:
        """shape (n,)"""
        seq: IntArray = self.table[0]
        return seq

    @property
    def micros(self) -> IntArray:
        """shape (n,)"""
        micros: IntArray = self.table[1]
        return micros

    def sample(self, at: int) -> Sample:
        """One of them."""
        seq, micros, *counts = self.table[:, at].tolist()
        return Sample(seq, micros, tuple(counts))


def block_of(samples: list[Sample]) -> SampleBlock:
    """Samples decoded one by one, all with the same channels."""
    rows = [(one.seq, one.micros, *one.counts) for one in samples]
    return SampleBlock(np.array(rows, dtype=np.int64).T)


def decode_block(lines: bytes, channels: str) -> SampleBlock | None:
    """Samples of whole lines, or None when any of them is not plainly a sample with a good check.

    ``lines`` ends with a line feed; ``channels``: letters of those that the board sends.
    """
    letters = np.frombuffer(lines, dtype=np.uint8)
    in_a_line = np.frombuffer(b"," * (len(channels) + 2) + b"*\n", dtype=np.uint8)
    found = np.flatnonzero(letters < _MINUS)  # every mark: what else a sample is made of comes behind them
    many, more = divmod(found.size, in_a_line.size)
    if not many or more or (letters[found].reshape(many, -1) != in_a_line).any():
        return None
    marks: IntArray = found.reshape(many, -1)
    starts = np.concatenate(([0], marks[:-1, -1] + 1))
    if (marks[:, -1] - starts).max() > LONGEST_LINE_BYTES:
        return None
    widths = np.zeros((many, 8), dtype=np.uint8)  # those of a line are one word
    widths[:, : in_a_line.size] = np.diff(found, prepend=-1).reshape(many, -1)
    layout = widths.view(np.uint64)[:, 0]
    table = np.empty((len(channels) + 2, len(starts)), dtype=np.int64)
    left = np.arange(len(starts))
    for _ in range(_MOST_LAYOUTS):
        same = layout[left] == layout[left[0]]
        chosen = left[same]
        first = chosen[0]
        numbers = _same_layout(lines, starts[chosen], marks[first] - starts[first], channels)
        if numbers is None:
            return None
        table[:, chosen] = numbers
        left = left[~same]
        if not left.size:
            return SampleBlock(table) if _in_range(table, channels) else None
    return None


def _same_layout(lines: bytes, starts: IntArray, marks: IntArray, channels: str) -> IntArray | None:
    """Numbers of the lines that start at ``starts``, all with these marks, shape (fields, m); None if any line is wrong."""
    *commas, star, feed = (int(mark) for mark in marks)
    every_place = np.ndarray((len(lines) - feed,), dtype=f"V{feed}", buffer=lines, strides=(1,))
    under_each_other = every_place[starts].view(np.uint8).reshape(len(starts), feed)
    columns = np.ascontiguousarray(under_each_other.T)  # the lines byte by byte
    if commas[0] != 1 or feed - star != CHECK_BYTES or (columns[0] != _D).any():
        return None
    same = (columns == columns[:, :1]).all(axis=1).tolist()  # the same byte in every line: reckoned once
    if not _check_holds(columns, star, same):
        return None
    digits = columns[:star] - np.uint8(_ZERO)  # what is no digit wraps round to more than 9
    ends = [*commas[1:], star]
    temperature = 2 + channels.find("T") if "T" in channels else -1
    numbers = np.empty((len(ends), columns.shape[1]), dtype=np.int64)
    for field, (comma, end) in enumerate(zip(commas, ends, strict=True)):
        begin = comma + 1
        if not 1 <= end - begin <= MOST_DIGITS:
            return None
        those = slice(1) if all(same[begin:end]) else slice(None)
        minus = (
            columns[begin, those] == _MINUS if field >= 2 and end - begin > 1 else None
        )  # counts may be negative
        if minus is not None:
            digits[begin, those][minus] = 0
        unread = columns[begin, those] == _UNREAD if field == temperature and end - begin == 1 else None
        if unread is not None:
            digits[begin, those][unread] = 0
        if (digits[begin:end, those] > 9).any():
            return None
        # nine digits fit 32 bits, which is quicker
        number: NDArray[Any] = digits[begin, those].astype(np.int32 if end - begin <= 9 else np.int64)
        for digit in digits[comma + 2 : end, those]:
            number *= 10
            number += digit
        if minus is not None:
            np.negative(number, out=number, where=minus)
        if unread is not None:
            number[unread] = NOT_ANSWERING
        numbers[field] = number
    return numbers


def _check_holds(columns: ByteArray, star: int, same: list[bool]) -> bool:
    """Whether the four upper-case hex digits after the star are the CRC of what stands before it, in every line.

    ``same``: of each column, whether every line has the same byte there.
    """
    places = _contributions()
    of_same = bytes(columns[column, 0] if same[column] else 0 for column in range(star))
    found = np.full(columns.shape[1], crc_hqx(of_same, 0xFFFF), dtype=np.uint16)
    for column in range(star):
        if not same[column]:
            # "clip" spares a check of every index; a byte can't be out of range.
            found ^= places[star - 1 - column].take(columns[column], mode="clip")
    said = found.astype(np.uint32)
    for nibble, digit in enumerate(_check_digits(), star + 1):
        said ^= digit.take(columns[nibble], mode="clip")
    return not said.any()


@cache
def _check_digits() -> NDArray[np.uint32]:
    """What each of the four digits of a check says of the CRC; a byte that is none sets a bit of its own: shape (4, 256)."""
    digits = np.empty((4, 256), dtype=np.uint32)
    for place in range(4):
        digits[place] = 1 << (16 + place)
        digits[place, _HEX] = np.arange(16) << (12 - 4 * place)
    return digits


@cache
def _contributions() -> NDArray[np.uint16]:
    """What a byte with n bytes after it contributes to the CRC: shape (longest line, 256)."""
    last = np.array([crc_hqx(bytes([byte]), 0) for byte in range(256)], dtype=np.uint16)
    rows = [last]
    while len(rows) < LONGEST_LINE_BYTES:  # one zero byte more behind it
        rows.append((rows[-1] << 8) ^ last[rows[-1] >> 8])
    return np.array(rows)


def _in_range(table: IntArray, channels: str) -> bool:
    ranges = [(0, SEQ_SPAN - 1), (0, MICROS_SPAN - 1), *(RANGES[channel] for channel in channels)]
    columns = list(table)
    if channels.endswith("T"):
        columns[-1] = columns[-1][columns[-1] != NOT_ANSWERING]
    return all(
        not len(column) or (low <= int(column.min()) and int(column.max()) <= high)
        for (low, high), column in zip(ranges, columns, strict=True)
    )


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
