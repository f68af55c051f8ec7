"""Bytes to bodies and back: one line is ``BODY*CCCC`` and a line feed.

CCCC is the CRC-16 of BODY in upper-case hex (polynomial 0x1021, initial 0xFFFF, not reflected, no final xor). A line
that is too long, has no check or a wrong one is counted by reason and dropped, never guessed at. A carriage return
before the line feed is no part of the line.
"""

from binascii import crc_hqx
from collections import Counter
from dataclasses import dataclass, field

LONGEST_LINE_BYTES = 120
"""Without the line feed."""

TOO_LONG = "too long"
NO_CHECK = "no checksum"
"""The line doesn't end in a star and four upper-case hex digits."""
WRONG_CRC = "wrong checksum"
UNKNOWN = "unknown message"
TOO_FEW_FIELDS = "too few fields"
TOO_MANY_FIELDS = "too many fields"
WRONG_FIELDS = "wrong fields"
"""As many as there should be, but one of them isn't what it should be."""
SENT_TWICE = "sent twice"
"""The sample before once more, letter for letter."""
DROP_REASONS = (
    TOO_LONG,
    NO_CHECK,
    WRONG_CRC,
    UNKNOWN,
    TOO_FEW_FIELDS,
    TOO_MANY_FIELDS,
    WRONG_FIELDS,
    SENT_TWICE,
)

CHECK_BYTES = 5
"""The star and four digits."""
_UPPER_HEX = frozenset(b"0123456789ABCDEF")


def frame(body: bytes) -> bytes:
    r"""The line that carries ``body``.

    >>> frame(b"123456789")
    b'123456789*29B1\n'
    """
    return b"%b*%04X\n" % (body, crc_hqx(body, 0xFFFF))


@dataclass
class Drops:
    """Lines that were dropped: how many by each reason, and the first of each."""

    reasons: Counter[str] = field(default_factory=Counter)
    """By reason, one of ``DROP_REASONS``."""
    first: dict[str, bytes] = field(default_factory=dict)
    """The first line of each reason, at most as long as a line may be."""

    def add(self, reason: str, line: bytes, count: int = 1) -> None:
        """``count`` lines more, ``line`` the first of them."""
        self.reasons[reason] += count
        self.first.setdefault(reason, line[:LONGEST_LINE_BYTES])

    def update(self, later: "Drops") -> None:
        """Those of ``later`` too."""
        self.reasons.update(later.reasons)
        self.first = {**later.first, **self.first}

    @property
    def count(self) -> int:
        """All of them together."""
        return self.reasons.total()

    def sentence(self) -> str:
        """What a person is told; empty when nothing was dropped.

        >>> drops = Drops()
        >>> drops.add(WRONG_CRC, b"D,7,35*0000", 4100)
        >>> drops.add(TOO_MANY_FIELDS, b"D,8,40,1,2*77A0", 12)
        >>> drops.sentence()
        '4,112 lines dropped: 4,100 wrong checksum, 12 too many fields; first one: "D,7,35*0000"'
        """
        if not self.reasons:
            return ""
        parts = [f"{count:,} {reason}" for reason, count in self.reasons.most_common()]
        lines = "line" if self.count == 1 else "lines"
        first = readable(self.first[self.reasons.most_common(1)[0][0]])
        return f'{self.count:,} {lines} dropped: {", ".join(parts)}; first one: "{first}"'


LONGEST_SHOWN = 60
"""Letters of a dropped line that a person is shown."""


def readable(line: bytes) -> str:
    r"""A line from the cable as plain ASCII on one line, cut where it is long.

    >>> readable(b"D,7\xff\x1b")
    'D,7\\xff\\x1b'
    """
    text = "".join(chr(byte) if 32 <= byte < 127 else f"\\x{byte:02x}" for byte in line[:LONGEST_SHOWN])
    return text[:LONGEST_SHOWN] + ("..." if len(text) > LONGEST_SHOWN or len(line) > LONGEST_SHOWN else "")


class Framer:
    """Takes any split of the stream, gives whole bodies in order; keeps what it dropped."""

    def __init__(self) -> None:
        self.dropped = Drops()
        """Lines dropped so far."""
        self._rest = b""
        self._skipping = False
        """In the middle of a line that is already too long."""

    def receive(self, data: bytes) -> list[bytes]:
        """Bodies of the lines that end in ``data`` and whose check holds."""
        return self.bodies(self.whole_lines(data))

    def whole_lines(self, data: bytes) -> bytes:
        """The lines that end in ``data``, unchecked; what is left of it is held for the next call."""
        head, feed, tail = data.rpartition(b"\n")
        if not feed:
            self._keep(data)
            return b""
        lines = self._rest + head + feed
        if self._skipping:
            lines = lines[lines.index(b"\n") + 1 :]
            self._skipping = False
        self._rest = b""
        self._keep(tail)
        return lines.replace(b"\r\n", b"\n") if b"\r" in lines else lines

    def bodies(self, lines: bytes) -> list[bytes]:
        """The good bodies of whole lines; the other lines are counted, each by its reason."""
        bodies = []
        for line in lines.split(b"\n")[:-1]:
            reason = fault_of(line)
            if reason:
                self.dropped.add(reason, line)
            else:
                bodies.append(line[:-CHECK_BYTES])
        return bodies

    def _keep(self, data: bytes) -> None:
        """Hold the unfinished line, unless it is too long already."""
        if self._skipping:
            return
        self._rest += data
        if len(self._rest) > LONGEST_LINE_BYTES and self._rest[LONGEST_LINE_BYTES:] != b"\r":
            self.dropped.add(TOO_LONG, self._rest)
            self._rest = b""
            self._skipping = True


def fault_of(line: bytes) -> str:
    """Why a line (without its line feed) must be dropped; empty when its check holds."""
    if len(line) > LONGEST_LINE_BYTES:
        return TOO_LONG
    body, check = line[:-CHECK_BYTES], line[-CHECK_BYTES:]
    if len(check) < CHECK_BYTES or check[:1] != b"*" or not _UPPER_HEX.issuperset(check[1:]):
        return NO_CHECK
    return "" if int(check[1:], 16) == crc_hqx(body, 0xFFFF) else WRONG_CRC
