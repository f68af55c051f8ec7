"""A pseudo-terminal that stands in for a serial port, and a rehearsal board behind it."""

import contextlib
import os
import select
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

from logger.errors import OutsideError
from logger.protocol.rehearsal import RehearsalBoard

_STEP_S = 0.005
_READ_BYTES = 4096
MOST_STEP_S = 0.5
"""Longest stretch of board time that is made at once."""


def _both_ends() -> tuple[int, int, str]:
    """Far end, near end and the near end's name."""
    if sys.platform == "win32":
        raise OutsideError("this system has no pseudo-terminals", "rehearsal", "Rehearse on Linux or macOS")
    else:  # noqa: RET506 - so that the type checker leaves it out on Windows
        import tty

        far, near = os.openpty()
        tty.setraw(near)
        os.set_blocking(far, False)
        return far, near, os.ttyname(near)


class PseudoPort:
    """The far end of a pseudo-terminal; ``name`` is the near end, which anybody opens like a serial port."""

    def __init__(self, link: Path | None = None) -> None:
        """Open it, with ``link`` as a second name; raises OutsideError where there are no pseudo-terminals."""
        self._far, self._near, self.name = _both_ends()
        self._link = link
        if link is not None:
            with contextlib.suppress(FileNotFoundError):
                link.unlink()
            link.symlink_to(self.name)

    def read(self, wait_s: float) -> bytes:
        """What the near end wrote; waits at most ``wait_s``."""
        ready, _, _ = select.select([self._far], [], [], wait_s)
        return os.read(self._far, _READ_BYTES) if ready else b""

    def write(self, data: bytes, wait_s: float = 0.2) -> None:
        """Send ``data``; what nobody takes within ``wait_s`` is thrown away, as a real line would."""
        view = memoryview(data)
        while view:
            try:
                view = view[os.write(self._far, view) :]
            except BlockingIOError:
                if not select.select([], [self._far], [], wait_s)[1]:
                    return

    def close(self) -> None:
        """Pull the cable: the near end sees its port vanish."""
        for end in (self._far, self._near):
            with contextlib.suppress(OSError):
                os.close(end)
        if self._link is not None:
            with contextlib.suppress(OSError):
                self._link.unlink()


def serve(
    board: RehearsalBoard,
    port: PseudoPort,
    stop: threading.Event,
    *,
    speed: float = 1.0,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Be the board until ``stop`` is set, its time going ``speed`` times as fast as ``clock``."""
    port.write(board.power_up())
    begun_s = clock()
    board_s = 0.0
    while not stop.is_set():
        heard = port.read(_STEP_S)
        # After a pause of this computer the board makes up for it in steps that the line can hold.
        board_s = min((clock() - begun_s) * speed, board_s + MOST_STEP_S)
        sending = board.receive(heard, board_s) if heard else b""
        port.write(sending + board.advance(board_s))
