"""The cases of lines.txt, and lines made for the tests."""

import re
from pathlib import Path
from typing import NamedTuple

import numpy as np

from throwbook.protocol.framing import frame

REASONS = {
    "too-long": "too long",
    "no-check": "no checksum",
    "wrong-crc": "wrong checksum",
    "unknown": "unknown message",
    "too-few": "too few fields",
    "too-many": "too many fields",
    "wrong-fields": "wrong fields",
}


UNFIT = "unfit"
"""The line is good, and says a board that can't be used."""


class Case(NamedTuple):
    sender: str
    outcome: str
    line: bytes


def cases() -> list[Case]:
    text = (Path(__file__).parent / "lines.txt").read_text(encoding="ascii")
    found = []
    for row in text.splitlines():
        if row and not row.startswith("#"):
            sender, outcome, written = row.split("\t")
            line = re.sub(rb"\\x([0-9A-F]{2})", lambda hit: bytes([int(hit[1], 16)]), written.encode("ascii"))
            found.append(Case(sender, outcome, line))
    return found


IDENTITY_LINE = frame(b"B,1,bench-1,shunt-1.0,200,100,4000,3200,IV")


def sample_lines(count: int, *, seed: int = 1, first: int = 0, period_us: int = 5000) -> list[bytes]:
    """Lines of a steady stream with counts of every width and sign."""
    rng = np.random.default_rng(seed)
    i_counts = rng.integers(-3200, 3200, count) // rng.choice([1, 10, 100, 1000], count)
    v_counts = rng.integers(-5, 4096, count)
    return [
        frame(b"D,%d,%d,%d,%d" % (n % 65536, n * period_us % 2**32, i, v))
        for n, i, v in zip(range(first, first + count), i_counts.tolist(), v_counts.tolist(), strict=True)
    ]
