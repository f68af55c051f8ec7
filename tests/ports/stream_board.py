"""A board whose every line is written beforehand, played through a port as fast as it is read."""

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress

import numpy as np

from throwbook.ports.serial_port import LoopbackPort, PseudoPort, open_far_end
from throwbook.protocol.framing import Framer, frame

IDENTITY = b"B,1,yard-7,shunt-1.0,200,1000,20000,20000,IV"
PATIENCE_S = 20.0
"""A loaded computer may be slow to read; a real line would lose bytes then, and the test would see its own damage."""
_PIECE_BYTES = 2048

Row = tuple[int, int, int, int]
"""SEQ, MICROS, I_COUNTS, V_COUNTS"""


def throw_rows(
    *, rate_hz: float = 200.0, rest_s: float = 1.5, run_s: float = 12.0, after_s: float = 2.0
) -> list[Row]:
    """A plain throw in counts of 1 mA and 20 mV: rest, a surge, 1.6 A for ``run_s``, cut-off, rest."""
    rng = np.random.default_rng(1)
    time_s = np.arange(round((rest_s + run_s + after_s) * rate_hz)) / rate_hz
    on = (time_s >= rest_s) & (time_s < rest_s + run_s)
    surge_a = 5.0 * np.exp(-np.clip(time_s - rest_s, 0, None) / 0.03)
    current_a = np.where(on, 1.6 + surge_a, 0.0) + rng.normal(0, 0.01, len(time_s))
    i_counts, v_counts = np.rint(current_a * 1e3), np.rint((12.6 - 0.05 * current_a) / 0.02)
    columns = np.column_stack((np.arange(len(time_s)), np.rint(time_s * 1e6), i_counts, v_counts)).astype(int)
    return [tuple(row) for row in columns.tolist()]


def lines_of(rows: Sequence[Row], *, fields: int = 4) -> list[bytes]:
    """Sample lines, SEQ and MICROS wrapping as a board's do."""
    return [
        frame(b"D," + b",".join(b"%d" % number for number in (seq % 65536, micros % 2**32, *rest)[:fields]))
        for seq, micros, *rest in rows
    ]


@contextmanager
def stream_board(
    lines: Sequence[bytes], *, identity: bytes = IDENTITY, line_end: bytes = b"\n"
) -> Iterator[PseudoPort | LoopbackPort]:
    """A board that answers, and after ``go`` sends ``lines`` once; then it is silent until the block is left."""
    port, stop = open_far_end(), threading.Event()

    def say(*sending: bytes) -> None:
        data = b"".join(sending).replace(b"\n", line_end)
        for at in range(0, len(data), _PIECE_BYTES):
            if not stop.is_set():
                port.write(data[at : at + _PIECE_BYTES], PATIENCE_S)

    def run() -> None:
        framer, sent = Framer(), False
        answers = {b"who": frame(identity), b"halt": frame(b"K,halt"), b"go": frame(b"K,go")}
        with suppress(OSError, ValueError):
            while not stop.is_set():
                for body in framer.receive(port.read(0.01)):
                    say(answers.get(body, frame(b"K," + body.split(b",")[0])))
                    if body == b"go" and not sent:
                        sent = True
                        say(*lines)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield port
    finally:
        stop.set()
        thread.join()
        port.close()
