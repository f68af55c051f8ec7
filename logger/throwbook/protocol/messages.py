"""One table of messages: body to frozen message and back, for both ends of the cable; and what a session tells its caller.

The first field names the message. A body whose first field isn't in the table, or whose fields don't fit their row
exactly, raises ``BadMessage`` with the reason to count it under.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from throwbook.core.trace import BoolArray, FloatArray
from throwbook.protocol.framing import (
    CHECK_BYTES,
    LONGEST_LINE_BYTES,
    TOO_FEW_FIELDS,
    TOO_MANY_FIELDS,
    UNKNOWN,
    WRONG_FIELDS,
    Drops,
)

I_ONLY = "I"
I_AND_V = "IV"
ALL_CHANNELS = "IVST"
LETTERS = {1: I_AND_V, 2: ALL_CHANNELS}
"""By version of the protocol: letters of the channels a board may send, in the order of their fields."""
CHANNELS_ALLOWED = {1: "I or IV", 2: f"letters of {ALL_CHANNELS} in this order, each once, I among them"}
SENSOR_ABSENT = "sensor-absent"
OVER_RANGE = "over-range"
OVERRUN = "overrun"
"""Fault codes every board uses; the text of an overrun begins with the count lost."""


class BadMessage(Exception):
    """A body with a good check that still isn't a message; ``reason`` is one of ``framing.DROP_REASONS``."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True)
class Identity:
    """``B``: who the board is."""

    id: str
    firmware: str
    rate_hz: int
    amp_lsb_ua: float
    """Current of one count [uA]."""
    volt_lsb_uv: float
    """Voltage of one count [uV]; 0 without a voltage channel."""
    full_scale_ma: float
    """Greatest current either way that the board can measure [mA]."""
    channels: str
    """Letters of ``LETTERS``; what else a board may say is in the way of using it."""
    version: int = 1
    """Of the protocol."""

    @property
    def in_the_way(self) -> str:
        """Why nothing can be measured with this board, in its own words; empty: nothing is in the way."""
        for bad, why in (
            (
                not self._channels_fit(),
                f"its channels are {self.channels or 'none'}: {CHANNELS_ALLOWED[self.version]}",
            ),
            (
                not (self.amp_lsb_ua or self.full_scale_ma),
                "its scales are all 0, as from a board whose sensor does not answer: check the sensor's plug and supply",
            ),
            (not self.amp_lsb_ua, "its current step is 0"),
            (not self.volt_lsb_uv and "V" in self.channels, "its voltage step is 0, and it sends a voltage"),
            (not self.full_scale_ma, "its full scale is 0"),
        ):
            if bad:
                return f"board {self.id} can't be used, {why}; it said {encode(self).decode('ascii')}"
        return ""

    def _channels_fit(self) -> bool:
        in_order = "".join(letter for letter in LETTERS[self.version] if letter in self.channels)
        return self.channels == in_order and I_ONLY in self.channels


@dataclass(frozen=True)
class Sample:
    """``D``: one sample as counts."""

    seq: int
    micros: int
    counts: tuple[int, ...]
    """One for each channel that the board sends, in the order of their letters."""


@dataclass(frozen=True)
class Taken:
    """``K``: a command was taken."""

    word: str


@dataclass(frozen=True)
class NotTaken:
    """``N``: a command was refused."""

    word: str
    reason: str


@dataclass(frozen=True)
class FaultLine:
    """``F``: a fault the board sees itself."""

    code: str
    text: str


@dataclass(frozen=True)
class Who:
    """``who``: asks for the identity."""

    word: ClassVar[str] = "who"


@dataclass(frozen=True)
class SetRate:
    """``rate,HZ``: asks for a sampling rate."""

    rate_hz: int
    word: ClassVar[str] = "rate"


@dataclass(frozen=True)
class Go:
    """``go``: start sampling."""

    word: ClassVar[str] = "go"


@dataclass(frozen=True)
class Halt:
    """``halt``: stop sampling."""

    word: ClassVar[str] = "halt"


@dataclass(frozen=True)
class Ping:
    """``ping``: are you there."""

    word: ClassVar[str] = "ping"


FromBoard = Identity | Sample | Taken | NotTaken | FaultLine
ToBoard = Who | SetRate | Go | Halt | Ping
Message = FromBoard | ToBoard
Field = Callable[[bytes], object]
MOST_DIGITS = 10
"""Of an integer field, sign included."""
_INTEGER = re.compile(rb"(?!.{11})-?[0-9]+")
_NUMBER = re.compile(rb"[0-9]{1,10}(\.[0-9]{1,6})?")
_TEXT = re.compile(rb"[ -)+-~]*")  # printable ASCII without the star


def integer(low: int, high: int) -> Field:
    """A field that is a plain decimal integer from ``low`` to ``high``."""

    def read(field: bytes) -> int:
        if not _INTEGER.fullmatch(field) or not low <= int(field) <= high:
            raise BadMessage(WRONG_FIELDS)
        return int(field)

    return read


def number(field: bytes) -> float:
    """A field that is a decimal number, zero or above, with or without decimals."""
    if not _NUMBER.fullmatch(field):
        raise BadMessage(WRONG_FIELDS)
    return float(field)


def text(field: bytes) -> str:
    """A field of printable ASCII."""
    if not _TEXT.fullmatch(field):
        raise BadMessage(WRONG_FIELDS)
    return field.decode("ascii")


def one_of(*words: str) -> Field:
    """A field that is one of ``words``."""

    def read(field: bytes) -> str:
        if (word := field.decode("ascii", "replace")) not in words:
            raise BadMessage(WRONG_FIELDS)
        return word

    return read


SEQ_SPAN = 1 << 16
MICROS_SPAN = 1 << 32
COUNT_LIMIT = 1 << 31
LEFT_CLOSED, RIGHT_CLOSED, LEFT_FITTED, RIGHT_FITTED = 1, 2, 4, 8
"""Bits of channel ``S``."""


def switch_bits(left: BoolArray | None, right: BoolArray | None, many: int) -> NDArray[np.int64]:
    """Counts of channel ``S``, shape (many,); ``left``, ``right``: closed, None: there is no such switch."""
    bits = np.zeros(many, dtype=np.int64)
    for closed, bit, fitted in ((left, LEFT_CLOSED, LEFT_FITTED), (right, RIGHT_CLOSED, RIGHT_FITTED)):
        if closed is not None:
            bits += np.where(closed, bit + fitted, fitted)
    return bits


def pin_switches(bits: NDArray[np.int64]) -> tuple[BoolArray | None, BoolArray | None]:
    """Left and right switch closed, from counts of channel ``S``; None: no row says that it is fitted.

    In a row that doesn't say so, while another does, it counts as open.
    """
    left, right = (
        (bits & (closed | fitted)) == (closed | fitted) if (bits & fitted).any() else None
        for closed, fitted in ((LEFT_CLOSED, LEFT_FITTED), (RIGHT_CLOSED, RIGHT_FITTED))
    )
    return left, right


CENTIDEGREE_C = 0.01
COLDEST, HOTTEST = -27_315, 99_999
"""Hundredths of a degree: absolute zero, and hotter than any probe."""
NOT_ANSWERING = -COUNT_LIMIT
"""Count of a temperature whose probe doesn't answer; as a number it is too long for any field."""
UNREAD = "x"
"""The field that says so."""
RANGES: dict[str, tuple[int, int]] = {
    "I": (-COUNT_LIMIT, COUNT_LIMIT - 1),
    "V": (-COUNT_LIMIT, COUNT_LIMIT - 1),
    "S": (0, LEFT_CLOSED | RIGHT_CLOSED | LEFT_FITTED | RIGHT_FITTED),
    "T": (COLDEST, HOTTEST),
}
"""By channel: least and greatest count."""


def count_of(channel: str) -> Field:
    """A field of this channel."""
    plain = integer(*RANGES[channel])
    return (
        (lambda field: NOT_ANSWERING if field == UNREAD.encode() else plain(field))
        if channel == "T"
        else plain
    )


COUNTS = {channel: count_of(channel) for channel in RANGES}


# first field: (message class, the fields after it). The last field of F and N takes the rest, commas and all.
TABLE: dict[bytes, tuple[type[Message], tuple[Field, ...]]] = {
    b"B": (
        Identity,
        (
            one_of(*map(str, LETTERS)),
            text,
            text,
            integer(1, 1_000_000),
            number,
            number,
            number,
            text,
        ),
    ),
    b"D": (Sample, (integer(0, SEQ_SPAN - 1), integer(0, MICROS_SPAN - 1))),
    b"K": (Taken, (text,)),
    b"N": (NotTaken, (text, text)),
    b"F": (FaultLine, (text, text)),
    b"who": (Who, ()),
    b"rate": (SetRate, (integer(1, 1_000_000),)),
    b"go": (Go, ()),
    b"halt": (Halt, ()),
    b"ping": (Ping, ()),
}
FIRST_FIELDS = {kind: first for first, (kind, _) in TABLE.items()}
_REST_IN_LAST = (FaultLine, NotTaken)


def decode(body: bytes, channels: str | None = None) -> Message:
    """The message a body carries; ``channels``: letters of those the board sends, None: any. Raises ``BadMessage``.

    >>> decode(b"D,7,35000,-12,3150")
    Sample(seq=7, micros=35000, counts=(-12, 3150))
    """
    first, *written = body.split(b",")
    if first not in TABLE:
        raise BadMessage(UNKNOWN)
    kind, readers = TABLE[first]
    if kind in _REST_IN_LAST:
        written = body.split(b",", len(readers))[1:]
    if kind is Sample:
        readers += _count_readers(channels, len(written) - len(readers))
    if len(written) < len(readers):
        raise BadMessage(TOO_FEW_FIELDS)
    if len(written) > len(readers):
        raise BadMessage(TOO_MANY_FIELDS)
    values: list[Any] = [read(field) for read, field in zip(readers, written, strict=True)]
    if kind is Sample:
        return Sample(values[0], values[1], tuple(values[2:]))
    if kind is Identity:
        values.append(int(values.pop(0)))
    make: Callable[..., Message] = kind
    return make(*values)


def _count_readers(channels: str | None, many: int) -> tuple[Field, ...]:
    """One for each count of a sample; where the board's channels aren't known, ``many`` of any kind, if that may be."""
    if channels is not None:
        return tuple(COUNTS[channel] for channel in channels)
    return (_any_count,) * min(max(many, len(I_ONLY)), len(ALL_CHANNELS))


def _any_count(field: bytes) -> object:
    return COUNTS["T" if field == UNREAD.encode() else "I"](field)


def encode(message: Message) -> bytes:
    """The body that carries ``message``; texts are cut so that the line keeps within its length.

    >>> encode(SetRate(500))
    b'rate,500'
    """
    kind = type(message)
    values = [getattr(message, field.name) for field in fields(message)]
    if kind is Identity:
        values.insert(0, values.pop())
    elif kind is Sample:
        values += [UNREAD if count == NOT_ANSWERING else count for count in values.pop()]
    written = [FIRST_FIELDS[kind].decode(), *(_written(value) for value in values)]
    return ",".join(written).encode("ascii", "replace")[: LONGEST_LINE_BYTES - CHECK_BYTES]


def _written(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.6f}".rstrip("0").rstrip(".")
    return str(value).replace("*", "+")


@dataclass(frozen=True)
class Identified:
    """The board said who it is."""

    identity: Identity


@dataclass(frozen=True)
class Unfit:
    """The board said who it is, and can't be used; nothing more is asked of it."""

    identity: Identity
    why: str


@dataclass(frozen=True)
class Started:
    """The board samples from here on."""

    rate_hz: int


@dataclass(frozen=True, eq=False)
class Samples:
    """Samples in order, each array of shape (n,)."""

    index: NDArray[np.int64]
    """Place in the run, from 0 at its first sample; a step above 1 is loss."""
    time_s: FloatArray
    """[s] from the run's first sample, by the board's clock"""
    current_a: FloatArray
    """[A] by the board's own scale, before any calibration"""
    voltage_v: FloatArray | None
    """[V] likewise"""
    over_range: NDArray[np.bool_]
    """Where the current stood at the end of the board's range."""
    switches: NDArray[np.int64] | None = None
    """Bits of the pin switches (``LEFT_CLOSED`` and the others); None: the board sends none."""
    temperature_c: FloatArray | None = None
    """[degC] at the board's probe, NaN while it doesn't answer; None: the board sends none."""

    def __len__(self) -> int:
        return len(self.index)


@dataclass(frozen=True)
class Lost:
    """Samples that the board took and the PC never got, all in one place."""

    count: int
    after_index: int
    """Index of the last sample before the loss."""


@dataclass(frozen=True)
class Dropped:
    """Lines that were no good since the last such event."""

    drops: Drops

    @property
    def count(self) -> int:
        """All of them together."""
        return self.drops.count


@dataclass(frozen=True)
class Answered:
    """The board took a command."""

    word: str


@dataclass(frozen=True)
class Refusal:
    """A command was refused, by the board or because the line can't carry it."""

    word: str
    reason: str


@dataclass(frozen=True)
class FaultEvent:
    """A fault the board sees itself."""

    code: str
    text: str
    after_index: int = -1
    """Index of the last sample before it; -1: before the first."""


@dataclass(frozen=True)
class Reset:
    """The board started anew in mid-record, or its numbering went back: the record is cut here."""

    why: str


@dataclass(frozen=True)
class ClockJump:
    """The board's clock and its numbering no longer agree: the record is cut here."""

    why: str


@dataclass(frozen=True)
class ClockStopped:
    """The board's clock stands still while its numbering goes on: times are reckoned from the numbers then."""

    after_index: int
    """Index of the last sample at which the clock had gone on."""


@dataclass(frozen=True)
class Halted:
    """The board stopped sampling as asked."""


Event = (
    Identified
    | Unfit
    | Started
    | Samples
    | Lost
    | Dropped
    | Answered
    | Refusal
    | FaultEvent
    | Reset
    | ClockJump
    | ClockStopped
    | Halted
)
