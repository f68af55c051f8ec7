"""Lines in, bodies out; everything broken is counted by reason and dropped."""

from binascii import crc_hqx

import numpy as np
import pytest

from tests.protocol.cases import REASONS, UNFIT, Case, cases, sample_lines
from throwbook.protocol.framing import DROP_REASONS, SENT_TWICE, Framer, fault_of, frame
from throwbook.protocol.messages import BadMessage, decode


def outcome(line: bytes) -> str:
    """ok, or the reason to drop a line."""
    framer = Framer()
    bodies = framer.receive(line + b"\n")
    if not bodies:
        assert framer.dropped.count == 1
        return next(iter(framer.dropped.reasons))
    try:
        decode(bodies[0])
    except BadMessage as bad:
        return bad.reason
    return "ok"


@pytest.mark.parametrize("case", cases(), ids=lambda case: f"{case.sender}-{case.outcome}-{case.line[:24]!r}")
def test_every_line_of_the_shared_file_is_taken_or_dropped_as_it_says(case: Case):
    assert outcome(case.line) == REASONS.get(case.outcome, "ok")


def test_the_shared_file_shows_every_reason_from_both_ends():
    for sender in ("board", "pc"):
        shown = {case.outcome for case in cases() if case.sender == sender}
        assert shown - {UNFIT} == {"ok", *REASONS}
    assert {*REASONS.values(), SENT_TWICE} == set(DROP_REASONS)


def test_the_crc_has_the_published_check_value():
    # CRC catalogue, CRC-16/IBM-3740 (also called CCITT-FALSE): 0x29B1 for "123456789".
    assert crc_hqx(b"123456789", 0xFFFF) == 0x29B1
    assert frame(b"123456789") == b"123456789*29B1\n"


def test_the_stream_gives_the_same_whole_and_byte_by_byte():
    lines = [case.line + b"\n" for case in cases()] + sample_lines(200)
    stream = b"".join(lines)
    whole, single = Framer(), Framer()
    bodies = whole.receive(stream)
    assert bodies == [body for at in range(len(stream)) for body in single.receive(stream[at : at + 1])]
    assert whole.dropped == single.dropped
    assert len(bodies) + whole.dropped.count == len(lines)


@pytest.mark.parametrize("seed", range(20))
def test_the_stream_gives_the_same_in_any_split(seed: int):
    stream = b"".join([case.line + b"\n" for case in cases()] + sample_lines(50))
    cuts = np.sort(np.random.default_rng(seed).integers(0, len(stream), 40)).tolist()
    whole, pieces = Framer(), Framer()
    found = [
        body
        for begin, end in zip([0, *cuts], [*cuts, len(stream)], strict=True)
        for body in pieces.receive(stream[begin:end])
    ]
    assert found == whole.receive(stream)
    assert pieces.dropped.reasons == whole.dropped.reasons


def test_a_line_without_end_takes_no_memory_and_counts_once():
    framer = Framer()
    for _ in range(1000):
        assert framer.receive(b"x" * 1000) == []
    assert framer.dropped.reasons == {"too long": 1}
    assert len(framer._rest) <= 120
    assert framer.receive(b"\n" + frame(b"ping")) == [b"ping"]


def test_every_single_flipped_bit_in_a_sample_line_is_rejected():
    for line in sample_lines(150):
        for bit in range(8 * (len(line) - 1)):
            damaged = bytearray(line)
            damaged[bit // 8] ^= 1 << bit % 8
            # A flip can make a line feed: then there are two lines, and neither may pass.
            for part in bytes(damaged[:-1]).split(b"\n"):
                assert fault_of(part), (line, bit)


def test_a_flip_in_the_line_feed_costs_both_lines_and_nothing_else():
    first, second, third = sample_lines(3)
    for bit in range(8):
        framer = Framer()
        joined = first[:-1] + bytes([0x0A ^ 1 << bit]) + second + third
        assert framer.receive(joined) == [third[:-6]]
        assert framer.dropped.count == 1
