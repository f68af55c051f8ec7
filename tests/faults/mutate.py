"""Good input made bad, in small random steps; the same seed gives the same inputs."""

import random
import re
from collections.abc import Sequence
from dataclasses import dataclass

NUMBERS = (
    b"0", b"-1", b"1e308", b"-1e308", b"1e999", b"nan", b"inf", b"-0", b"0.1", b"1e-320", b"255", b"65535", b"65536",
    b"2147483648", b"4294967296", b"-9223372036854775809", b"9" * 400, b"0x1f", b"1_000", b"\xd9\xa3", b"1/0", b"1,5",
)  # fmt: skip
TEXTS = (
    b"", b"\0", b"\n", b"\r", b"\r\n", b"\t", b" ", b'"', b"'", b"\\", b"#", b"=", b"[", b"[[", b"{", b"}", b",", b";",
    b"*", b"%s%n", b"../../x", b"\x1b[2J\x1b]0;x\x07", b"\xff\xfe", b"\xc3\x28", "\u202eé日\ud7ff".encode(), b"[" * 600,
    b"A" * 5000, b"0001-01-01T00:00:00+23:59", b"9999-12-31T23:59:59-23:59", b"true", b"null", b"=cmd|' /C x'!A1",
)  # fmt: skip
_NUMBER = re.compile(rb"[+-]?\d+(?:\.\d+)?")
LONGEST = 20_000


@dataclass
class Mutator:
    """Gives one bad input after the other."""

    seeds: Sequence[bytes]
    """Good inputs to start from."""
    words: Sequence[bytes]
    """What this reader knows: put in at wrong places."""
    random: random.Random

    def next(self) -> bytes:
        """One input: a seed after one to six steps (now and then none)."""
        draw = self.random
        data = draw.choice(self.seeds)
        for _ in range(draw.choice((0, 1, 1, 1, 2, 2, 3, 4, 6))):
            data = self.changed(data)
        return data[: max(LONGEST, 2 * max(map(len, self.seeds)))]

    def changed(self, data: bytes) -> bytes:
        """``data`` after one step."""
        return self.random.choice(_STEPS)(self, data)

    def place(self, data: bytes) -> int:
        """Somewhere in ``data``."""
        return self.random.randrange(len(data) + 1)


def _flip(self: Mutator, data: bytes) -> bytes:
    if not data:
        return data
    at = self.random.randrange(len(data))
    return data[:at] + bytes([data[at] ^ (1 << self.random.randrange(8))]) + data[at + 1 :]


def _cut(self: Mutator, data: bytes) -> bytes:
    begin, end = sorted((self.place(data), self.place(data)))
    return data[:begin] + data[min(end, begin + 40) :]


def _end_early(self: Mutator, data: bytes) -> bytes:
    return data[: self.place(data)]


def _double(self: Mutator, data: bytes) -> bytes:
    begin, end = sorted((self.place(data), self.place(data)))
    at = self.place(data)
    return data[:at] + data[begin:end] + data[at:]


def _splice(self: Mutator, data: bytes) -> bytes:
    other = self.random.choice(self.seeds)
    return data[: self.place(data)] + other[self.place(other) :]


def _put_in(self: Mutator, data: bytes) -> bytes:
    at = self.place(data)
    word = self.random.choice(self.random.choice((self.words or TEXTS, TEXTS, NUMBERS)))
    return data[:at] + word + data[at + self.random.choice((0, 0, len(word))) :]


def _noise(self: Mutator, data: bytes) -> bytes:
    at = self.place(data)
    return data[:at] + self.random.randbytes(self.random.randrange(1, 9)) + data[at:]


def _number(self: Mutator, data: bytes) -> bytes:
    found = list(_NUMBER.finditer(data[:2000]))
    if not found:
        return _put_in(self, data)
    one = self.random.choice(found)
    return data[: one.start()] + self.random.choice(NUMBERS) + data[one.end() :]


def _swap_lines(self: Mutator, data: bytes) -> bytes:
    lines = data.split(b"\n")
    first, second = self.random.randrange(len(lines)), self.random.randrange(len(lines))
    lines[first], lines[second] = lines[second], lines[first]
    return b"\n".join(lines)


_STEPS = (_flip, _cut, _end_early, _double, _splice, _put_in, _put_in, _noise, _number, _number, _swap_lines)
