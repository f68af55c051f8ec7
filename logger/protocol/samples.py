"""Sample lines in bulk: a block of ``D`` lines to arrays in one go.

The bulk way takes a block only when every byte of it is exactly as it should be, checks included. Anything odd in it
(another message, a damaged line) gives None, and the caller goes line by line through ``framing`` and ``messages``,
which are the rule.

How it is quick: lines whose fields have the same widths are laid under each other as a table of bytes, so that each
step is one numpy operation for all of them. The CRC is linear, so that of a line is the exclusive-or of what each of
its bytes contributes alone, which depends only on the byte and its distance from the end.
"""

from binascii import crc_hqx
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from logger.protocol.framing import CHECK_BYTES, LONGEST_LINE_BYTES
from logger.protocol.messages import COUNT_LIMIT, MICROS_SPAN, MOST_DIGITS, SEQ_SPAN, Sample

IntArray = NDArray[np.int64]
ByteArray = NDArray[np.uint8]

_COMMA, _STAR, _FEED, _MINUS, _ZERO, _D = b",*\n-0D"
_MOST_LAYOUTS = 256
_HEX = np.frombuffer(b"0123456789ABCDEF", dtype=np.uint8)


@dataclass(frozen=True, eq=False)
class SampleBlock:
    """Samples as counts, each array of shape (n,)."""

    seq: IntArray
    micros: IntArray
    i_counts: IntArray
    v_counts: IntArray | None

    def __len__(self) -> int:
        return len(self.seq)


def block_of(samples: list[Sample]) -> SampleBlock:
    """Samples decoded one by one, all with or all without a voltage."""
    with_voltage = samples[0].v_counts is not None
    rows = [(one.seq, one.micros, one.i_counts, one.v_counts or 0) for one in samples]
    return _block(np.array(rows, dtype=np.int64)[:, : 4 if with_voltage else 3])


def decode_block(lines: bytes, channels: int) -> SampleBlock | None:
    """Samples of whole lines, or None when any of them is not plainly a sample with a good check.

    ``lines`` ends with a line feed; ``channels``: 1 for current, 2 for current and voltage.
    """
    letters = np.frombuffer(lines, dtype=np.uint8)
    marks_a_line = channels + 4  # commas, star, feed
    found = np.flatnonzero((letters == _COMMA) | (letters == _STAR) | (letters == _FEED))
    if found.size == 0 or found.size % marks_a_line:
        return None
    marks: IntArray = found.reshape(-1, marks_a_line)
    pattern = np.array([_COMMA] * (channels + 2) + [_STAR, _FEED], dtype=np.uint8)
    if (letters[marks] != pattern).any():
        return None
    starts = np.concatenate(([0], marks[:-1, -1] + 1))
    lengths = marks[:, -1] - starts
    if lengths.max() > LONGEST_LINE_BYTES:
        return None
    layout = lengths.copy()
    for column in range(marks_a_line - 2):
        layout = (layout << 7) | (marks[:, column + 1] - marks[:, column])
    table = np.empty((len(marks), channels + 2), dtype=np.int64)
    left = np.arange(len(marks))
    for _ in range(_MOST_LAYOUTS):
        same = layout[left] == layout[left[0]]
        chosen = left[same]
        first = chosen[0]
        numbers = _same_layout(
            _rows(lines, starts[chosen], int(lengths[first])), marks[first] - starts[first]
        )
        if numbers is None:
            return None
        table[chosen] = numbers
        left = left[~same]
        if not left.size:
            return _block(table) if _in_range(table) else None
    return None


def _rows(lines: bytes, starts: IntArray, length: int) -> ByteArray:
    """The lines that start at ``starts``, all ``length`` long, under each other: shape (m, length)."""
    every_place = np.ndarray((len(lines) - length,), dtype=f"V{length}", buffer=lines, strides=(1,))
    return every_place[starts].view(np.uint8).reshape(len(starts), length)


def _same_layout(rows: ByteArray, marks: IntArray) -> NDArray[np.float64] | None:
    """Numbers of lines with their marks in the same places, shape (m, fields); None if any line is wrong."""
    *commas, star, feed = (int(mark) for mark in marks)
    if commas[0] != 1 or feed - star != CHECK_BYTES or (rows[:, 0] != _D).any():
        return None
    if not _check_holds(rows, star):
        return None
    digits = rows - np.uint8(_ZERO)  # what is no digit wraps round to more than 9
    ends = [*commas[1:], star]
    signs = np.ones((len(rows), len(ends)))
    weights = np.zeros((star, len(ends)))
    for field, (comma, end) in enumerate(zip(commas, ends, strict=True)):
        begin = comma + 1
        if field >= 2:
            minus = rows[:, begin] == _MINUS
            if minus.any():
                if end - begin < 2:
                    return None
                signs[minus, field] = -1
                digits[minus, begin] = 0
        if not 1 <= end - begin <= MOST_DIGITS or (digits[:, begin:end] > 9).any():
            return None
        weights[begin:end, field] = 10.0 ** np.arange(end - begin - 1, -1, -1)
    first = commas[0] + 1
    return (digits[:, first:star].astype(np.float64) @ weights[first:]) * signs


def _check_holds(rows: ByteArray, star: int) -> bool:
    """Whether the four upper-case hex digits after the star are the CRC of what stands before it, in every line."""
    places = _contributions()
    found = np.full(len(rows), crc_hqx(bytes(star), 0xFFFF), dtype=np.uint16)
    for column in range(star):
        found ^= places[star - 1 - column].take(rows[:, column])
    return all(
        (rows[:, star + 1 + nibble] == _HEX[(found >> (12 - 4 * nibble)) & 15]).all() for nibble in range(4)
    )


@cache
def _contributions() -> NDArray[np.uint16]:
    """What a byte with n bytes after it contributes to the CRC: shape (longest line, 256)."""
    alone = [
        [crc_hqx(bytes([byte]) + bytes(after), 0) for byte in range(256)]
        for after in range(LONGEST_LINE_BYTES)
    ]
    return np.array(alone, dtype=np.uint16)


def _in_range(table: IntArray) -> bool:
    low, high = table.min(axis=0), table.max(axis=0)
    counts_fit = low[2:].min() >= -COUNT_LIMIT and high[2:].max() < COUNT_LIMIT
    return bool(low[:2].min() >= 0 and high[0] < SEQ_SPAN and high[1] < MICROS_SPAN and counts_fit)


def _block(table: IntArray) -> SampleBlock:
    return SampleBlock(
        seq=table[:, 0],
        micros=table[:, 1],
        i_counts=table[:, 2],
        v_counts=table[:, 3] if table.shape[1] > 3 else None,
    )
