"""Bytes to bodies and back: one line is ``BODY*CCCC`` and a line feed.

CCCC is the CRC-16 of BODY in upper-case hex (polynomial 0x1021, initial 0xFFFF, not reflected, no final xor). A line
that is too long, has no check or a wrong one is counted by reason and dropped, never guessed at.
"""

from binascii import crc_hqx
from collections import Counter

LONGEST_LINE_BYTES = 120
"""Without the line feed."""

TOO_LONG = "too long"
NO_CHECK = "no check"
"""The line doesn't end in a star and four upper-case hex digits."""
WRONG_CRC = "wrong crc"
UNKNOWN = "unknown message"
WRONG_FIELDS = "wrong fields"
DROP_REASONS = (TOO_LONG, NO_CHECK, WRONG_CRC, UNKNOWN, WRONG_FIELDS)

CHECK_BYTES = 5
"""The star and four digits."""
_UPPER_HEX = frozenset(b"0123456789ABCDEF")


def crc(body: bytes) -> int:
    """CRC-16 of ``body``.

    >>> f"{crc(b'123456789'):04X}"
    '29B1'
    """
    return crc_hqx(body, 0xFFFF)


def frame(body: bytes) -> bytes:
    r"""The line that carries ``body``.

    >>> frame(b"ping")
    b'ping*F72B\n'
    """
    return b"%b*%04X\n" % (body, crc_hqx(body, 0xFFFF))


class Framer:
    """Takes any split of the stream, gives whole bodies in order; keeps the count of what it dropped."""

    def __init__(self) -> None:
        self.dropped: Counter[str] = Counter()
        """Lines dropped so far, by reason (one of ``DROP_REASONS``)."""
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
        return lines

    def bodies(self, lines: bytes) -> list[bytes]:
        """The good bodies of whole lines; the other lines are counted, each by its reason."""
        bodies = []
        for line in lines.split(b"\n")[:-1]:
            reason = fault_of(line)
            if reason:
                self.dropped[reason] += 1
            else:
                bodies.append(line[:-CHECK_BYTES])
        return bodies

    def _keep(self, data: bytes) -> None:
        """Hold the unfinished line, unless it is too long already."""
        if self._skipping:
            return
        self._rest += data
        if len(self._rest) > LONGEST_LINE_BYTES:
            self.dropped[TOO_LONG] += 1
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
