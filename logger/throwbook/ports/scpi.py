"""A bench supply or meter that speaks SCPI, made to look like a slow board.

Commands are those of IEEE 488.2 and SCPI-99: ``*IDN?``, ``MEASure:CURRent?``, ``MEASure:VOLTage?``, or ``FETCh?`` for a
meter that measures by itself. The instrument is polled by this computer's clock and each reading becomes one sample
line of the board protocol, so that everything above (journal, live figures, verdict) is the same as for a board.
Name: ``scpi:RESOURCE`` with a VISA resource, as ``scpi:ASRL/dev/ttyUSB0::INSTR``; ``@BACKEND`` after it for another
back end than PyVISA-py.
"""

import contextlib
import math
import time
from collections.abc import Callable
from typing import Any, Protocol

from throwbook.errors import OutsideError, Remedy
from throwbook.protocol.framing import Framer, frame
from throwbook.protocol.messages import (
    I_AND_V,
    I_ONLY,
    MICROS_SPAN,
    OVER_RANGE,
    SEQ_SPAN,
    BadMessage,
    FaultLine,
    Go,
    Halt,
    Identity,
    Message,
    NotTaken,
    Ping,
    Sample,
    SetRate,
    Taken,
    Who,
    decode,
    encode,
)

PREFIX = "scpi:"
PURE_PYTHON = "@py"
HIGHEST_RATE_HZ = 20
DEFAULT_RATE_HZ = 10
AMP_LSB_A = 1e-4
VOLT_LSB_V = 1e-3
FULL_SCALE_A = 1000.0
NO_NUMBER = 9.9e37
"""SCPI-99 gives infinity, overload and not-a-number as values of 9.9E37 and above."""
_TIMEOUT_MS = 1000
_IDLE_S = 0.02
MEASURE, FETCH = "measure", "fetch"
# how the instrument is read: (current, voltage; empty: it has none)
QUERIES = {MEASURE: ("MEASure:CURRent?", "MEASure:VOLTage?"), FETCH: ("FETCh?", "")}


class Instrument(Protocol):
    """What is needed of an instrument."""

    def query(self, message: str) -> str:
        """Send a query, give its answer."""

    def close(self) -> None:
        """Let it go."""


class ScpiPort:
    """Has the face of a ``Port``; there is an instrument behind it."""

    def __init__(
        self,
        name: str,
        instrument: Instrument,
        reading: str = MEASURE,
        monotonic: Callable[[], float] = time.monotonic,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        """Ask who it is. Raises OutsideError when it doesn't say."""
        self.name = name
        self.baud = 0
        self.has_baud = False
        self._instrument = instrument
        self._current_query, self._voltage_query = QUERIES[reading]
        self._monotonic = monotonic
        self._wait = wait
        self._framer = Framer()
        self._saying: list[Message] = []
        self._rate_hz = DEFAULT_RATE_HZ
        self._go_s: float | None = None
        self._tick = 0
        self.id = self._ask("*IDN?")

    def write(self, data: bytes) -> None:
        """Commands from the session."""
        for body in self._framer.receive(data):
            try:
                self._saying += self._answer(decode(body))
            except BadMessage:
                continue

    def read(self) -> bytes:
        """Answers, and the sample that is due; waits a little when nothing is."""
        saying, self._saying = self._saying, []
        if not saying:
            saying = self._sample_due() if self._go_s is not None else []
        if not saying:
            self._wait(_IDLE_S)
        return b"".join(frame(encode(message)) for message in saying)

    def close(self) -> None:
        """Let the instrument go."""
        with contextlib.suppress(Exception):
            self._instrument.close()

    def _answer(self, message: Message) -> list[Message]:
        if isinstance(message, Who):
            return [self._identity()]
        if isinstance(message, SetRate):
            if message.rate_hz > HIGHEST_RATE_HZ:
                return [
                    NotTaken(message.word, f"a bench instrument gives at most {HIGHEST_RATE_HZ} per second")
                ]
            self._rate_hz = message.rate_hz
        if isinstance(message, Go):
            self._go_s, self._tick = self._monotonic(), 0
        if isinstance(message, Halt):
            self._go_s = None
        return [Taken(message.word)] if isinstance(message, SetRate | Go | Halt | Ping) else []

    def _identity(self) -> Identity:
        maker, model, serial, firmware = ([*self.id.split(","), "", "", ""])[:4]
        name = " ".join(filter(None, (part.strip() for part in (maker, model, serial))))[:40]
        channels = I_AND_V if self._voltage_query else I_ONLY
        return Identity(
            name or "instrument", firmware.strip()[:20] or "scpi", self._rate_hz,
            AMP_LSB_A * 1e6, VOLT_LSB_V * 1e6 if self._voltage_query else 0.0, FULL_SCALE_A * 1e3, channels,
        )  # fmt: skip

    def _sample_due(self) -> list[Message]:
        assert self._go_s is not None
        begun_s = self._monotonic()
        due = int((begun_s - self._go_s) * self._rate_hz)
        if due < self._tick:
            return []
        current_a = self._number(self._current_query)
        read_s = 0.5 * (begun_s + self._monotonic())
        voltage_v = self._number(self._voltage_query) if self._voltage_query else None
        # A reading that took too long skips the ticks it missed, which count as lost.
        number, self._tick = due, due + 1
        if current_a is None or (self._voltage_query and voltage_v is None):
            return [FaultLine(OVER_RANGE, "the instrument shows overload or no number")]
        micros = round((read_s - self._go_s) * 1e6) % MICROS_SPAN
        volts = () if voltage_v is None else (round(voltage_v / VOLT_LSB_V),)
        return [Sample(number % SEQ_SPAN, micros, (round(current_a / AMP_LSB_A), *volts))]

    def _number(self, query: str) -> float | None:
        """First number of the answer; None for overload and not-a-number."""
        text = self._ask(query).split(",")[0].strip()
        try:
            value = float(text)
        except ValueError as error:
            raise OutsideError(
                f"'{text[:40]}' is no reading", self.name, f"Does it know {query}?", Remedy.TRY_OTHER_READING
            ) from error
        return value if math.isfinite(value) and abs(value) < NO_NUMBER else None

    def _ask(self, query: str) -> str:
        try:
            return self._instrument.query(query).strip()
        except Exception as error:  # PyVISA's back ends raise errors of their own
            raise OutsideError(
                f"the instrument doesn't answer {query} ({' '.join(str(error).split())[:80]})",
                self.name,
                "Check cable, address and that it is set to remote control",
            ) from error


def open_scpi(name: str, baud: int, reading: str = MEASURE) -> ScpiPort:
    """Open ``scpi:RESOURCE[@BACKEND]``. Raises OutsideError."""
    resource, _, backend = name.removeprefix(PREFIX).partition("@")
    try:
        import pyvisa
    except ImportError as error:
        raise OutsideError(
            "PyVISA isn't installed", name, "Install it: python -m pip install 'throwbook[bench]'"
        ) from error
    try:
        manager = pyvisa.ResourceManager(backend or PURE_PYTHON)
        options: dict[str, Any] = (
            {"baud_rate": baud} if resource.upper().startswith("ASRL") and not backend else {}
        )
        instrument: Any = manager.open_resource(
            resource, read_termination="\n", write_termination="\n", timeout=_TIMEOUT_MS, **options
        )
    except Exception as error:  # PyVISA's back ends raise errors of their own
        raise OutsideError(
            f"the instrument doesn't open ({' '.join(str(error).split())[:80]})",
            name,
            "Check the resource name",
        ) from error
    return ScpiPort(name, instrument, reading)
