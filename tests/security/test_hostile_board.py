"""A board that sends commands for the terminal, each in a line whose check fits."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.ports.bench import throw_source
from tests.security.test_hostile_names import SAMPLES, only_printable, throwbook
from throwbook.ports.serial_port import open_far_end, serve
from throwbook.protocol.framing import frame
from throwbook.protocol.simulated_board import IDENTITY, SimulatedBoard

ATTACK = b"\x1b[2J\x1b]0;owned\x07\x9b31m\x08\x0c\xe2\x80\xae"
SAID = {
    "boot noise": b"rst:0x1 " + ATTACK + b"\r\n",
    "name": frame(b"B,1,re" + ATTACK + b",x-1,200,100,4000,20000,IV"),
    "id": frame(b"B,1,rehearsal," + ATTACK + b",200,100,4000,20000,IV"),
    "fault": frame(b"F,over" + ATTACK + b",12 lost" + ATTACK),
    "refusal": frame(b"N,rate" + ATTACK + b",no" + ATTACK),
    "kind": frame(ATTACK + b",1"),
}


class HostileBoard(SimulatedBoard):
    """Answers as it should, and says something else before and after."""

    attack = b""

    def receive(self, data: bytes, now_s: float) -> bytes:
        return self.attack + super().receive(data, now_s) + self.attack

    def advance(self, now_s: float) -> bytes:
        return super().advance(now_s) + self.attack


@contextmanager
def hostile_board(attack: bytes) -> Iterator[str]:
    port, stop = open_far_end(), threading.Event()
    board = HostileBoard(throw_source(rest_s=0.8, run_s=2.0), IDENTITY)
    board.attack = attack
    thread = threading.Thread(target=serve, args=(board, port, stop), kwargs={"speed": 4.0})
    thread.start()
    try:
        yield port.name
    finally:
        stop.set()
        thread.join()
        port.close()


@pytest.mark.parametrize("place", SAID)
def test_nothing_a_board_says_commands_the_terminal(place: str, tmp_path: Path):
    record = ("record", "--rig", SAMPLES / "yard-loader.toml", "--direction", "lock", "--out")
    with hostile_board(SAID[place]) as port:
        found = only_printable(throwbook(tmp_path, "board", "find", "--port", port))
        recorded = throwbook(tmp_path, *record, "kept.csv", "--port", port)
        only_printable(recorded)
    assert "rehearsal-1" in found  # what it says as it should is still heard
    assert recorded.returncode in (0, 1), recorded.stderr
    assert (tmp_path / "kept.csv").read_bytes().isascii()
    assert b"\x1b" not in (tmp_path / "kept.csv").read_bytes()
