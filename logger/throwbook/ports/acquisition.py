"""Port to disk to caller: the bytes are on the disk before anybody looks at them.

One thread only reads the port; a second one writes and syncs what came, at least every ``SYNC_EVERY_S``, and then
hands it on. The caller takes it with ``next``, in its own thread.
"""

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from throwbook.errors import OutsideError

SYNC_EVERY_S = 0.05
"""The promise is 0.25 s; the rest is left to slow disks."""
_READ_PAUSE_S = 0.002
_SLEPT_S = 2.0
_MOST_AT_ONCE_S = 0.5


class ReadsAndWrites(Protocol):
    """What the recorder needs of a port."""

    def read(self) -> bytes:
        """What has come; waits a little for the first byte."""

    def write(self, data: bytes) -> None:
        """Send all of it."""


class Keeps(Protocol):
    """What the recorder needs of a journal."""

    def append(self, data: bytes, monotonic_s: float) -> None:
        """Write."""

    def sync(self) -> None:
        """Wait until it is on disk."""


@dataclass(frozen=True)
class Chunk:
    """Bytes that came."""

    data: bytes
    monotonic_s: float
    """When the first of them came [s]."""


@dataclass(frozen=True)
class Slept:
    """This computer slept, or its clock was set."""

    seconds: float


@dataclass(frozen=True)
class Broken:
    """The port or the journal failed; what came before was handed on."""

    error: OutsideError
    part: str
    """``port`` or ``journal``"""


Item = Chunk | Slept | Broken


class Recorder:
    """Runs from ``start`` to ``stop``."""

    def __init__(
        self,
        port: ReadsAndWrites,
        journal: Keeps,
        *,
        monotonic: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self._port = port
        self._journal = journal
        self._monotonic = monotonic
        self._wall = wall
        self.quiet_s = 0.0
        """How long the port has been asked in vain since the last byte [s].

        Neither a disk that hangs nor a computer that stood still makes it longer: only the port's own silence does.
        """
        self._stop = threading.Event()
        self._came: queue.SimpleQueue[Item] = queue.SimpleQueue()
        self._kept: queue.SimpleQueue[Item] = queue.SimpleQueue()
        self._threads = [
            threading.Thread(target=self._read, name="port reader", daemon=True),
            threading.Thread(target=self._keep, name="journal writer", daemon=True),
        ]

    def start(self) -> None:
        """Begin to read."""
        for thread in self._threads:
            thread.start()

    def next(self, wait_s: float) -> Item | None:
        """The next thing that happened, or None when nothing did within ``wait_s``."""
        try:
            return self._kept.get(timeout=wait_s)
        except queue.Empty:
            return None

    def write(self, data: bytes) -> None:
        """Send to the board; raises OutsideError."""
        self._port.write(data)

    def stop(self) -> list[Item]:
        """End both threads; gives what came until then and wasn't taken."""
        self._stop.set()
        for thread in self._threads:
            thread.join()
        left = []
        while not self._kept.empty():
            left.append(self._kept.get())
        return left

    def _read(self) -> None:
        ahead_s = self._wall() - self._monotonic()
        while not self._stop.is_set():
            asked_s = self._monotonic()
            try:
                data = self._port.read()
            except OutsideError as error:
                self._came.put(Broken(error, "port"))
                return
            now_s = self._monotonic()
            self.quiet_s = 0.0 if data else self.quiet_s + min(now_s - asked_s, _MOST_AT_ONCE_S)
            if data:
                self._came.put(Chunk(data, now_s))
                self._stop.wait(_READ_PAUSE_S)  # let a little gather: fewer, larger reads
            # The steady clock stands still while a computer sleeps; the wall clock doesn't.
            slept_s = (self._wall() - now_s) - ahead_s
            if abs(slept_s) > _SLEPT_S:
                ahead_s += slept_s
                self._came.put(Slept(slept_s))

    def _keep(self) -> None:
        reader = self._threads[0]
        works = True  # a journal that failed once takes nothing more, so that it has no hole in the middle
        while reader.is_alive() or not self._came.empty():
            try:
                items = [self._came.get(timeout=SYNC_EVERY_S)]
            except queue.Empty:
                continue
            self._stop.wait(SYNC_EVERY_S)  # what comes meanwhile is written with it
            while not self._came.empty():
                items.append(self._came.get())
            for item in _joined(items):
                if isinstance(item, Chunk) and works:
                    try:
                        self._journal.append(item.data, item.monotonic_s)
                        self._journal.sync()
                    except OutsideError as error:
                        works = False
                        self._kept.put(Broken(error, "journal"))
                self._kept.put(item)


def _joined(items: list[Item]) -> list[Item]:
    """The same with bytes that came one after the other in one piece."""
    joined: list[Item] = []
    pieces: list[bytes] = []
    for item in [*items, None]:
        if isinstance(item, Chunk):
            if not pieces:
                began_s = item.monotonic_s
            pieces.append(item.data)
            continue
        if pieces:
            joined.append(Chunk(b"".join(pieces), began_s))
            pieces = []
        if item is not None:
            joined.append(item)
    return joined
