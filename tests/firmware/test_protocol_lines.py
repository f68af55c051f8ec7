"""The board's end of the protocol reads the shared file of lines as the PC's end does."""

import random
import subprocess

import pytest

from tests.protocol.cases import cases
from throwbook.protocol.framing import Framer, frame
from throwbook.protocol.messages import BadMessage, SetRate, ToBoard, decode

ORDERS = {"who": 1, "rate": 2, "go": 3, "halt": 4, "ping": 5}
FROM_PC = [case for case in cases() if case.sender == "pc"]


@pytest.fixture
def board_reads(header_programs):
    def read(data: bytes) -> tuple[list[tuple[int, int, bytes]], int]:
        """Good bodies as (order, rate, body), and the count of lines dropped for their frame."""
        done = subprocess.run(
            [header_programs / "headers"],
            input=f"read {data.hex()}\n".encode(),
            capture_output=True,
            check=True,
            timeout=60,
        )
        *lines, dropped = done.stdout.rstrip(b"\n").split(b"|")
        parts = [line.split(b":", 2) for line in lines]
        return [(int(order), int(rate), body) for order, rate, body in parts], int(dropped.split()[1])

    return read


@pytest.mark.parametrize("case", FROM_PC, ids=lambda case: f"{case.outcome} {case.line[:20]!r}")
def test_the_board_obeys_the_good_lines_and_no_other(board_reads, case):
    bodies, _ = board_reads(case.line + b"\n")
    obeyed = [(order, rate) for order, rate, _ in bodies if order]
    if case.outcome != "ok":
        assert obeyed == []
        return
    message = decode(case.line[:-5])
    rate = message.rate_hz if isinstance(message, SetRate) else 0
    assert obeyed == [(ORDERS[message.word], rate)]


def test_after_every_broken_line_the_next_good_one_is_read(board_reads):
    data = b"".join(case.line + b"\n" + frame(b"ping") for case in FROM_PC)
    bodies, _ = board_reads(data)
    assert sum(order == ORDERS["ping"] for order, _, _ in bodies) == len(FROM_PC) + sum(
        case.outcome == "ok" and case.line.startswith(b"ping") for case in FROM_PC
    )


def test_both_ends_agree_on_ten_thousand_damaged_lines(board_reads):
    dice = random.Random(20)
    words = [
        b"who",
        b"go",
        b"halt",
        b"ping",
        b"rate,200",
        b"rate,0",
        b"rate,1000000",
        b"rate,1000001",
        b"x" * 115,
    ]
    lines = []
    for _ in range(10_000):
        line = bytearray(frame(dice.choice(words)))
        for _ in range(dice.choice([0, 0, 1, 2, 3])):
            line[dice.randrange(len(line))] ^= 1 << dice.randrange(8)
        lines.append(bytes(line))
    data = b"".join(lines)
    ours, dropped = board_reads(data.replace(b"|", b"!"))
    framer = Framer()
    theirs = framer.receive(data.replace(b"|", b"!"))
    assert [body for _, _, body in ours] == theirs
    assert dropped == framer.dropped.count
    assert [order for order, _, _ in ours] == [pc_order(body) for body in theirs]


def pc_order(body: bytes) -> int:
    try:
        message = decode(body)
    except BadMessage:
        return 0
    return ORDERS[message.word] if isinstance(message, ToBoard) else 0
