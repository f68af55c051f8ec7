"""The board's side of the cable, for rehearsing: bytes and board time in, bytes out; no port and no clock in it.

It answers like a board and sends what a source of samples gives it. The trouble it makes is chosen, seeded and
counted, so that a test can hold what the PC counted against what was really done to the line.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import isnan
from typing import Any, NamedTuple

import numpy as np

from throwbook.core.trace import BoolArray, FloatArray
from throwbook.protocol.framing import Framer, frame
from throwbook.protocol.messages import (
    CENTIDEGREE_C,
    I_AND_V,
    MICROS_SPAN,
    OVER_RANGE,
    SENSOR_ABSENT,
    SEQ_SPAN,
    UNREAD,
    BadMessage,
    FaultLine,
    Go,
    Halt,
    Identity,
    Message,
    NotTaken,
    Ping,
    SetRate,
    Taken,
    Who,
    decode,
    encode,
    switch_bits,
)


class Readings(NamedTuple):
    """What the board's inputs see, each of shape (n,)."""

    current_a: FloatArray
    voltage_v: FloatArray
    left_switch: BoolArray | None = None
    """Closed; None: there is none."""
    right_switch: BoolArray | None = None
    temperature_c: FloatArray | None = None
    """[degC], NaN where the probe doesn't answer; None: there is none."""


Source = Callable[[FloatArray], Readings | tuple[FloatArray, FloatArray]]
"""Readings, or only current [A] and voltage [V], at times [s] since ``go``, shape (n,); called with rising times."""

IDENTITY = Identity("rehearsal", "rehearsal-1", 200, 100.0, 4000.0, 20_000.0, I_AND_V)
HIGHEST_RATE_HZ = 20_000
_FAULT_EVERY_S = 1.0
_MOST_AT_ONCE = 20_000


@dataclass(frozen=True)
class Trouble:
    """What goes wrong. Times are seconds since the first ``go``; shares are 0..1."""

    dropped_bytes: float = 0.0
    """Share of bytes of sample lines that vanish."""
    flipped_bits: float = 0.0
    """Share of bytes of sample lines with one flipped bit."""
    lost_samples: float = 0.0
    """Share of samples the board itself loses: SEQ goes on, the line is never sent."""
    resets_at_s: tuple[float, ...] = ()
    silent_at_s: float | None = None
    silent_for_s: float = float("inf")
    wrong_baud: bool = False
    """Everything it sends is noise, and it understands nothing."""
    clock_jump_at_s: float | None = None
    clock_jump_by_s: float = 10.0
    sensor_absent: bool = False
    clock_drift: float = 0.0
    """Share by which its clock runs fast."""


@dataclass
class Injected:
    """What was really done to the samples of all runs so far."""

    sent: int = 0
    """Sample lines that left whole."""
    lost: int = 0
    """Samples whose line didn't leave whole, for whatever reason."""


class SimulatedBoard:
    """One board from power-up on."""

    def __init__(
        self, source: Source, identity: Identity = IDENTITY, trouble: Trouble | None = None, seed: int = 1
    ) -> None:
        self.identity = identity
        self.injected = Injected()
        self.running = False
        self._source = source
        self._trouble = trouble or Trouble()
        self._rng = np.random.default_rng(seed)
        self._framer = Framer()
        self._origin_s: float | None = None
        """When the first ``go`` came."""
        self._run_from_s = 0.0
        self._next = 0
        """Number of the next sample in this run."""
        self._feed_lost = False
        """The last sample line went out without its line feed, so the next line is spoilt too."""
        self._last_fault_s = -np.inf
        self._resets_left = sorted(self._trouble.resets_at_s)

    def power_up(self) -> bytes:
        """What it says when it gets power."""
        return self._said(self.identity)

    def receive(self, data: bytes, now_s: float) -> bytes:
        """Answers to the commands in ``data``, at ``now_s`` by any steady clock."""
        if self._trouble.wrong_baud:
            return self._noise(len(data))
        answers = b""
        for body in self._framer.receive(data):
            try:
                message = decode(body)
            except BadMessage:
                continue
            sending = self.advance(now_s) if self.running else b""
            answers += sending + self._said(*self._answer(message, now_s))
        return answers

    def advance(self, now_s: float) -> bytes:
        """The lines of the samples due up to ``now_s``."""
        if not self.running or self._origin_s is None:
            return b""
        if self._resets_left and now_s - self._origin_s >= self._resets_left[0]:
            return self._reset(self._resets_left.pop(0) + self._origin_s)
        return self._sample_lines(now_s)

    # ---- commands ----

    def _answer(self, message: Message, now_s: float) -> list[Message]:
        if isinstance(message, Who):
            return [self.identity]
        if isinstance(message, SetRate):
            if self.running:
                return [NotTaken(message.word, "sampling; halt first")]
            if message.rate_hz > HIGHEST_RATE_HZ:
                return [NotTaken(message.word, f"above {HIGHEST_RATE_HZ}")]
            self.identity = replace(self.identity, rate_hz=message.rate_hz)
            return [Taken(message.word)]
        if isinstance(message, Go):
            return self._go(now_s)
        if isinstance(message, Halt):
            self.running = False
            return [Taken(message.word)]
        return [Taken(message.word)] if isinstance(message, Ping) else []

    def _go(self, now_s: float) -> list[Message]:
        if self._trouble.sensor_absent:
            return [
                FaultLine(SENSOR_ABSENT, "no answer from the current sensor"),
                NotTaken("go", "no sensor"),
            ]
        if not self.running:
            self.running = True
            self._run_from_s, self._next = now_s, 0
            self._feed_lost = False
            if self._origin_s is None:
                self._origin_s = now_s
        return [Taken("go")]

    def _reset(self, at_s: float) -> bytes:
        """Samples up to the reset, half a line, and a new power-up."""
        sending = self._sample_lines(at_s)
        half = frame(b"D,%d,%d" % (self._next % SEQ_SPAN, 0))[:7]
        self.running = False
        return sending + half + b"\n" + self.power_up()

    # ---- samples ----

    def _sample_lines(self, now_s: float) -> bytes:
        pieces = []
        due = int((now_s - self._run_from_s) * self.identity.rate_hz) + 1
        while self._next < due:
            numbers = np.arange(self._next, min(due, self._next + _MOST_AT_ONCE))
            self._next = int(numbers[-1]) + 1
            pieces.append(self._lines(numbers))
        return b"".join(pieces)

    def _lines(self, numbers: np.ndarray) -> bytes:
        time_s = numbers / self.identity.rate_hz
        readings = Readings(*self._source(time_s))
        most = int(self.identity.full_scale_ma * 1000 / self.identity.amp_lsb_ua)
        counts = np.rint(readings.current_a * 1e6 / self.identity.amp_lsb_ua)
        i_counts = np.clip(counts, -most, most).astype(np.int64)
        columns = [(numbers % SEQ_SPAN).tolist(), self._micros(time_s).tolist(), i_counts.tolist()]
        form = b"D,%d,%d,%d"
        for channel in self.identity.channels[1:]:
            columns.append(self._fields(readings, channel))
            form += b",%b" if channel == "T" else b",%d"
        lines = [frame(form % row) for row in zip(*columns, strict=True)]
        sending = self._troubled(lines, time_s + self._since_origin_s())
        if (np.abs(counts) > most).any() and float(time_s[-1]) >= self._last_fault_s + _FAULT_EVERY_S:
            self._last_fault_s = float(time_s[-1])
            sending += self._said(FaultLine(OVER_RANGE, "current beyond the range"))
        return sending

    def _fields(self, readings: Readings, channel: str) -> list[Any]:
        """Of a channel other than the current: counts, and what stands for a temperature."""
        if channel == "V":
            counts = np.rint(readings.voltage_v * 1e6 / self.identity.volt_lsb_uv).astype(np.int64)
            return list(counts.tolist())
        if channel == "S":
            bits = switch_bits(readings.left_switch, readings.right_switch, len(readings.current_a))
            return list(bits.tolist())
        if readings.temperature_c is None:
            return [UNREAD.encode()] * len(readings.current_a)
        degrees = readings.temperature_c.tolist()
        return [UNREAD.encode() if isnan(one) else b"%d" % round(one / CENTIDEGREE_C) for one in degrees]

    def _since_origin_s(self) -> float:
        return self._run_from_s - (self._origin_s or 0.0)

    def _micros(self, time_s: FloatArray) -> np.ndarray:
        since_s = time_s + self._since_origin_s()
        jump_at_s = self._trouble.clock_jump_at_s
        board_s = since_s * (1 + self._trouble.clock_drift)
        if jump_at_s is not None:
            board_s = board_s + np.where(since_s >= jump_at_s, self._trouble.clock_jump_by_s, 0.0)
        return np.rint(board_s * 1e6).astype(np.int64) % MICROS_SPAN

    # ---- trouble ----

    def _troubled(self, lines: list[bytes], since_s: FloatArray) -> bytes:
        """The lines as they leave, with the chosen trouble done to them and counted."""
        trouble = self._trouble
        gone = np.zeros(len(lines), dtype=bool)
        if trouble.lost_samples:
            gone |= self._rng.random(len(lines)) < trouble.lost_samples
        if trouble.silent_at_s is not None:
            gone |= (since_s >= trouble.silent_at_s) & (since_s < trouble.silent_at_s + trouble.silent_for_s)
        if not (gone.any() or trouble.dropped_bytes or trouble.flipped_bits):
            self.injected.sent += len(lines)
            return b"".join(lines)
        leaving = []
        for line, lost in zip(lines, gone.tolist(), strict=True):
            if lost:
                self.injected.lost += 1
                continue
            damaged = self._damaged(line)
            spoilt = damaged != line or self._feed_lost
            self.injected.lost += spoilt
            self.injected.sent += not spoilt
            self._feed_lost = not damaged.endswith(b"\n")
            leaving.append(damaged)
        return b"".join(leaving)

    def _damaged(self, line: bytes) -> bytes:
        letters = np.frombuffer(line, dtype=np.uint8)
        if self._trouble.flipped_bits:
            hit = self._rng.random(len(letters)) < self._trouble.flipped_bits
            bits = (1 << self._rng.integers(0, 8, len(letters))).astype(np.uint8)
            letters = np.where(hit, letters ^ bits, letters).astype(np.uint8)
        if self._trouble.dropped_bytes:
            letters = letters[self._rng.random(len(letters)) >= self._trouble.dropped_bytes]
        return letters.tobytes()

    def _said(self, *sending: Message) -> bytes:
        lines = b"".join(frame(encode(message)) for message in sending)
        return self._noise(len(lines)) if self._trouble.wrong_baud else lines

    def _noise(self, count: int) -> bytes:
        return self._rng.bytes(count)
