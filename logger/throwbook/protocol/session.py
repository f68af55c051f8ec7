"""The PC's side of the cable: bytes in, events out; no port and no clock in it.

    session = Session()
    port.write(session.start(rate_hz=200, baud=115200))
    for event in session.receive(data):      # any split of the stream
        ...
    port.write(session.to_send())

Time comes from the board's MICROS, loss from SEQ, never from when the bytes arrived. What a message does in a state
stands in ``TABLE``; a message that has no row there is passed over. ``again`` repeats what was not answered: the
caller, who has a clock, says when.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from throwbook.core.trace import FloatArray
from throwbook.protocol.framing import (
    SENT_TWICE,
    Drops,
    Framer,
    frame,
)
from throwbook.protocol.messages import (
    CENTIDEGREE_C,
    NOT_ANSWERING,
    Answered,
    BadMessage,
    ClockJump,
    Dropped,
    Event,
    FaultEvent,
    FaultLine,
    Go,
    Halt,
    Halted,
    Identified,
    Identity,
    Message,
    NotTaken,
    Refusal,
    Reset,
    Sample,
    Samples,
    SetRate,
    Started,
    Taken,
    ToBoard,
    Unfit,
    Who,
    decode,
    encode,
)
from throwbook.protocol.samples import SampleBlock, Unwrapper, block_of, decode_block

BAUDS = (57_600, 115_200, 230_400, 250_000, 460_800, 500_000, 921_600, 1_000_000, 2_000_000)
DEFAULT_BAUD = 115_200
BITS_PER_BYTE = 10
"""8N1: a start bit, eight of data, a stop bit."""
_WIDEST_SEQ_AND_MICROS = len("D,65535,4294967295,")
_WIDEST = {"V": len(",-99999"), "S": len(",15"), "T": len(",-27315")}
_CHECK_AND_FEED = len("*CCCC\n")


def widest_sample_bytes(identity: Identity) -> int:
    """Length of the longest sample line this board may send, line feed included."""
    widest_count = int(identity.full_scale_ma * 1000 / identity.amp_lsb_ua) if identity.amp_lsb_ua else 99_999
    current = len(f"-{widest_count}")
    others = sum(_WIDEST.get(channel, 0) for channel in identity.channels)
    return _WIDEST_SEQ_AND_MICROS + current + others + _CHECK_AND_FEED


def highest_rate_hz(identity: Identity, baud: int) -> int:
    """Samples a second that ``baud`` carries for certain."""
    return baud // (BITS_PER_BYTE * widest_sample_bytes(identity))


def refusal(identity: Identity, rate_hz: int, baud: int) -> str:
    """Why ``rate_hz`` can't be carried at ``baud``, and which baud would; empty when it can."""
    highest = highest_rate_hz(identity, baud)
    if rate_hz <= highest:
        return ""
    enough = [one for one in BAUDS if highest_rate_hz(identity, one) >= rate_hz]
    would = f"{enough[0]} baud would" if enough else f"no baud up to {BAUDS[-1]} would"
    return f"{baud} baud carries at most {highest} samples/s of this board, not {rate_hz}; {would}"


ASKING, SETTING, STARTING, RUNNING = "asking", "setting", "starting", "running"
HALTING, IDLE, CUT = "halting", "idle", "cut"
_BULK_FROM_BYTES = 1024


class Session:
    """One conversation with one board."""

    def __init__(self) -> None:
        self.state = IDLE
        self.identity: Identity | None = None
        self.rate_hz: int | None = None
        """Asked for; None: only who it is."""
        self.dropped = Drops()
        """Lines dropped in the whole conversation."""
        self.lost = 0
        """Samples lost in the run."""
        self.samples = 0
        """Samples got in the run."""
        self.heard = 0
        """Good lines taken one by one, of any kind."""
        self._baud: int | None = None
        self._framer = Framer()
        self._unwrapper = Unwrapper(1)
        self._outbox: list[ToBoard] = []
        self._events: list[Event] = []
        self._block: list[Sample] = []
        self._channels: str | None = None
        """Letters of what the board sends; None: nobody knows yet."""
        self._newest: Sample | None = None
        """The run's newest sample as the board sent it."""

    # ---- what the caller does ----

    def start(self, rate_hz: int | None = None, baud: int | None = None) -> bytes:
        """Ask who is there; with ``rate_hz`` go on to sample at that rate.

        ``baud`` None: the line is no serial line and carries any rate. A board left running by somebody else is
        halted first; the leading line feed ends whatever half line it may hold.
        """
        self.rate_hz, self._baud = rate_hz, baud
        self.state = ASKING
        return b"\n" + self._framed(Halt(), Who())

    def halt(self) -> bytes:
        """Ask the board to stop sampling."""
        self.state = HALTING
        return self._framed(Halt())

    def again(self) -> bytes:
        """What is still unanswered, to be sent once more; empty when nothing is."""
        pending: dict[str, ToBoard] = {
            ASKING: Who(),
            SETTING: SetRate(self.rate_hz or 1),
            STARTING: Go(),
            HALTING: Halt(),
        }
        return self._framed(pending[self.state]) if self.state in pending else b""

    def to_send(self) -> bytes:
        """What the answers so far call for; empty when nothing."""
        sending = self._framed(*self._outbox)
        self._outbox.clear()
        return sending

    def receive(self, data: bytes) -> list[Event]:
        """Events of the lines that end in ``data``, in order; drops are told last."""
        self._events = []
        lines = self._framer.whole_lines(data)
        in_bulk = self.state == RUNNING and len(lines) >= _BULK_FROM_BYTES
        block = decode_block(lines, self._channels or "") if in_bulk else None
        if block is not None:
            self._take_block(block)
        else:
            self._line_by_line(lines)
        if self._framer.dropped.reasons:
            self._events.append(Dropped(self._framer.dropped))
            self.dropped.update(self._framer.dropped)
            self._framer.dropped = Drops()
        return self._events

    # ---- lines to messages ----

    def _line_by_line(self, lines: bytes) -> None:
        for body in self._framer.bodies(lines):
            try:
                message = decode(body, self._channels)
            except BadMessage as bad:
                self._framer.dropped.add(bad.reason, frame(body)[:-1])
                continue
            self.heard += 1
            if not isinstance(message, Sample):
                self._close_block()
            self._take(message)
        self._close_block()

    def _take(self, message: Message) -> None:
        action = TABLE.get((self.state, type(message)), TABLE.get(("any", type(message))))
        if action:
            action(self, message)

    # ---- what a message does ----

    def _identified(self, message: Identity) -> None:
        self.identity = message
        if message.in_the_way:
            self._events.append(Unfit(message, message.in_the_way))
            self.state = IDLE
            return
        self._channels = message.channels
        self._events.append(Identified(message))
        if self.rate_hz is None:
            self.state = IDLE
            return
        refused = refusal(message, self.rate_hz, self._baud) if self._baud else ""
        if refused:
            self._events.append(Refusal("rate", refused))
            self.state = IDLE
            return
        self.state = SETTING
        self._outbox.append(SetRate(self.rate_hz))

    def _rate_taken(self, message: Taken) -> None:
        if message.word == SetRate.word:
            self.state = STARTING
            self._outbox.append(Go())

    def _started(self, message: Taken) -> None:
        if message.word == Go.word:
            self._run()

    def _first_sample(self, message: Sample) -> None:
        """The answer to ``go`` went missing, but here are the samples."""
        self._run()
        self._sample(message)

    def _run(self) -> None:
        self.state = RUNNING
        self.lost = self.samples = 0
        self._unwrapper = Unwrapper(self.rate_hz or 1)
        self._newest = None
        self._events.append(Started(self.rate_hz or 0))

    def _sample(self, message: Sample) -> None:
        self._block.append(message)

    def _reset(self, message: Identity) -> None:
        self._cut(Reset("the board restarted"))

    def _halted(self, message: Taken) -> None:
        if message.word == Halt.word:
            self.state = IDLE
            self._events.append(Halted())

    def _halted_by_reset(self, message: Identity) -> None:
        self.state = IDLE
        self._events.append(Halted())

    def _refused(self, message: NotTaken) -> None:
        self._events.append(Refusal(message.word, message.reason))
        if self.state in (SETTING, STARTING):
            self.state = IDLE

    def _answered(self, message: Taken) -> None:
        self._events.append(Answered(message.word))

    def _fault(self, message: FaultLine) -> None:
        after = self._unwrapper.index if self.samples and self.state in (RUNNING, HALTING, CUT) else -1
        self._events.append(FaultEvent(message.code, message.text, after))

    def _cut(self, event: Reset | ClockJump) -> None:
        self.state = CUT
        self._events.append(event)

    # ---- samples ----

    def _close_block(self) -> None:
        if self._block:
            block, self._block = block_of(self._block), []
            self._take_block(block)

    def _take_block(self, block: SampleBlock) -> None:
        if self.identity is None:
            return
        block = self._without_repeats(block)
        if not len(block):
            return
        run = self._unwrapper.take(block.seq, block.micros)
        count = len(run.index)
        if count:
            columns = dict(zip(self.identity.channels, block.table[2:, :count], strict=True))
            current_a = columns["I"] * (self.identity.amp_lsb_ua * 1e-6)
            full_scale_a = self.identity.full_scale_ma * 1e-3
            # Within half a count of the end of the range is at the end of it.
            edge_a = full_scale_a - 0.5e-6 * self.identity.amp_lsb_ua
            self._events.append(
                Samples(
                    index=run.index,
                    time_s=run.micros.astype(np.float64) * 1e-6,
                    current_a=current_a,
                    voltage_v=columns["V"] * (self.identity.volt_lsb_uv * 1e-6) if "V" in columns else None,
                    switches=columns.get("S"),
                    temperature_c=_degrees(columns["T"]) if "T" in columns else None,
                    over_range=np.abs(current_a) >= edge_a,
                )
            )
        if run.stopped is not None:
            self._events.append(run.stopped)
        self._events.extend(run.losses)
        self.lost += sum(loss.count for loss in run.losses)
        self.samples += count
        if run.cut:
            self._cut(run.cut)

    def _without_repeats(self, block: SampleBlock) -> SampleBlock:
        """The block without lines that say the very sample before them once more; they are counted as dropped."""
        before, self._newest = self._newest, block.sample(-1)
        again = [before is not None and before == block.sample(0)]
        table = block.table
        repeats = np.concatenate((again, (table[:, 1:] == table[:, :-1]).all(axis=0)))
        if not repeats.any():
            return block
        line = frame(encode(block.sample(int(np.argmax(repeats)))))[:-1]
        self._framer.dropped.add(SENT_TWICE, line, int(repeats.sum()))
        return SampleBlock(table[:, ~repeats])

    @staticmethod
    def _framed(*sending: ToBoard) -> bytes:
        return b"".join(frame(encode(message)) for message in sending)


def _degrees(counts: NDArray[np.int64]) -> FloatArray:
    """Counts of channel ``T`` [degC], NaN where the probe didn't answer."""
    return np.where(counts == NOT_ANSWERING, np.nan, np.round(counts * CENTIDEGREE_C, 2))


# (state, message): what it does. "any": in every state without a row of its own.
TABLE: dict[tuple[str, type[Message]], Callable[..., None]] = {
    (ASKING, Identity): Session._identified,
    (SETTING, Identity): Session._identified,  # it started anew while being asked
    (SETTING, Taken): Session._rate_taken,
    (STARTING, Identity): Session._identified,
    (STARTING, Taken): Session._started,
    (STARTING, Sample): Session._first_sample,
    (RUNNING, Sample): Session._sample,
    (RUNNING, Identity): Session._reset,
    (HALTING, Sample): Session._sample,
    (HALTING, Taken): Session._halted,
    (HALTING, Identity): Session._halted_by_reset,
    ("any", Taken): Session._answered,
    ("any", NotTaken): Session._refused,
    ("any", FaultLine): Session._fault,
}
