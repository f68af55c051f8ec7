"""A bench for the tests: a simulated board at a port of this system, in a thread of its own."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import numpy as np

from throwbook.core.rig import Actuator, LockMechanism, Rig
from throwbook.ports.serial_port import LoopbackPort, PseudoPort, open_far_end, serve
from throwbook.protocol.simulated_board import IDENTITY, SimulatedBoard, Source, Trouble

RIG = Rig(
    name="yard-loader",
    actuator=Actuator(12.0, 0.2, 1500.0, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011),
    lock=LockMechanism(needed_travel_m=0.188),
)


def throw_source(
    *, rest_s: float = 1.5, run_s: float = 12.0, run_a: float = 1.6, noise_a: float = 0.01, seed: int = 1
) -> Source:
    """A plain throw: rest, a surge, a steady run, cut-off, rest for ever."""
    rng = np.random.default_rng(seed)

    def source(time_s):
        on = (time_s >= rest_s) & (time_s < rest_s + run_s)
        surge = 5.0 * np.exp(-np.clip(time_s - rest_s, 0, None) / 0.03)
        current = np.where(on, run_a + surge, 0.0) + rng.normal(0, noise_a, len(time_s))
        return current, 12.6 - 0.05 * current

    return source


@contextmanager
def board_on_a_cable(
    source: Source | None = None, *, trouble: Trouble | None = None, speed: float = 1.0, identity=IDENTITY
) -> Iterator[tuple[PseudoPort | LoopbackPort, SimulatedBoard]]:
    """A board that answers until the block is left."""
    port = open_far_end()
    board = SimulatedBoard(source or throw_source(), identity, trouble)
    stop = threading.Event()

    def run() -> None:
        with suppress(OSError, ValueError):  # the test pulled the cable
            serve(board, port, stop, speed=speed)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield port, board
    finally:
        stop.set()
        thread.join()
        port.close()
