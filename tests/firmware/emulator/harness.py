"""An emulated board on a pseudo-terminal, and the product's own session talking to it."""

import contextlib
import re
import select
import subprocess
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from tests.firmware.emulator.boards import BOARDS
from throwbook.ports.serial_port import Port
from throwbook.protocol.messages import Event
from throwbook.protocol.session import Session

BAUD = 115_200
FLAT_OUT, REAL_TIME = "flat-out", "real-time"
GIVE_UP_AFTER_S = 60.0
Kind = TypeVar("Kind")


@dataclass(frozen=True)
class Fact:
    """A line of the host's record of what really happened."""

    kind: str
    time_s: float
    """Of the board, from power-up."""
    words: tuple[str, ...]

    @property
    def number(self) -> int:
        """Register or channel."""
        return int(self.words[0])

    @property
    def value(self) -> int:
        """Register value or millivolt."""
        return int(self.words[1])


class EmulatedBoard:
    """A compiled sketch that waits for ``go``."""

    def __init__(self, host: subprocess.Popen[str], port: str, record: Path) -> None:
        self.port = port
        self._host = host
        self._record = record

    def go(self) -> None:
        """Power up; call it with the port open."""
        assert self._host.stdin
        self._host.stdin.write("\n")
        self._host.stdin.flush()

    def done(self) -> bool:
        """Whether the simulated time is over (the port stays open)."""
        assert self._host.stdout
        ready, _, _ = select.select([self._host.stdout], [], [], 0)
        return bool(ready) and self._host.stdout.readline() in ("done\n", "")

    def facts(self, kind: str) -> list[Fact]:
        """What really happened, once the board is done."""
        rows = [line.split() for line in self._record.read_text().splitlines()]
        return [Fact(row[0], float(row[1]), tuple(row[2:])) for row in rows if row[0] == kind]

    def began_s(self) -> float:
        """The board's time at which the script's clock began to run, once it is done."""
        return self.facts("began")[0].time_s


@contextlib.contextmanager
def emulated_board(
    host: Path,
    sketches: Path,
    sensor: str,
    script: str,
    seconds: float,
    folder: Path,
    pace: str = FLAT_OUT,
    at_most_s: float = GIVE_UP_AFTER_S,
) -> Iterator[EmulatedBoard]:
    """The board ``sensor`` of ``BOARDS``, which samples for ``seconds`` of its own time."""
    script_file, record = folder / "script", folder / "record"
    script_file.write_text(script)
    emulated = BOARDS[sensor]
    elf = sketches / f"{emulated.sketch}.elf"
    process = subprocess.Popen(
        [str(word) for word in (host, elf, emulated.attached, seconds, pace, script_file, record)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    watchdog = threading.Timer(at_most_s, process.kill)
    watchdog.start()
    assert process.stdin
    assert process.stdout
    try:
        port = next(line.split()[1] for line in process.stdout if line.startswith("port "))
        yield EmulatedBoard(process, port, record)
    finally:
        watchdog.cancel()
        process.kill()
        process.wait()
        process.stdin.close()
        process.stdout.close()


@dataclass
class Heard:
    """What one session got."""

    session: Session
    events: list[Event] = field(default_factory=list)
    raw: bytes = b""

    def of(self, kind: type[Kind]) -> list[Kind]:
        """Events of one kind, in order."""
        return [event for event in self.events if isinstance(event, kind)]

    def body_fields(self, first: str) -> list[list[str]]:
        """The fields of every line that begins with ``first``, from the raw bytes."""
        lines = self.raw.decode("ascii", "replace").split("\n")
        return [line.split("*")[0].split(",") for line in lines if line.startswith(first + ",")]


def converse(
    board: EmulatedBoard,
    rate_hz: int = 200,
    *,
    then: Sequence[tuple[int, bytes]] = (),
    until: Callable[[Heard], bool] = lambda heard: False,
) -> Heard:
    """Power the board up, and let the product's session ask, start and listen until the board is done.

    ``then``: (number of sample, bytes) to be sent once so many samples have come. ``until``: leave sooner.
    """
    heard = Heard(Session())
    port = Port(board.port, BAUD)
    waiting = list(then)
    try:
        board.go()
        # A board takes no command before it has said who it is.
        while not re.search(rb"\nB,[12],[^\n]*\n", heard.raw) and not board.done():
            heard.raw += port.read()
        port.write(heard.session.start(rate_hz, BAUD))
        over = False
        while not until(heard):
            data = port.read()
            if not data:
                if over:
                    return heard
                over = board.done()
                continue
            heard.raw += data
            heard.events += heard.session.receive(data)
            port.write(heard.session.to_send())
            while waiting and heard.session.samples >= waiting[0][0]:
                port.write(waiting.pop(0)[1])
        return heard
    finally:
        port.close()
