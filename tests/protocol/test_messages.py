"""The table of messages, both directions, and the bulk way against the rule."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.protocol.cases import UNFIT, cases, sample_lines
from throwbook.protocol.framing import Framer, fault_of, frame
from throwbook.protocol.messages import (
    NOT_ANSWERING,
    TABLE,
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
    pin_switches,
)
from throwbook.protocol.samples import block_of, decode_block

EXAMPLES: list[Message] = [
    Identity("bench-1", "shunt-1.0", 200, 100.0, 4000.0, 3200.0, "IV"),
    Identity("bench-2", "hall-1.0", 100, 26393.6, 0.0, 5000.0, "I"),
    Identity("bench-3", "shunt-2.0", 200, 100.0, 4000.0, 3200.0, "IVST", version=2),
    Sample(65535, 2**32 - 1, (-32768, 32767)),
    Sample(0, 0, (0,)),
    Sample(7, 35000, (-12, 3150, 15, -4000)),
    Sample(7, 35000, (-12, 3150, 4, NOT_ANSWERING)),
    Taken("go"),
    NotTaken("rate", "above 400"),
    FaultLine("overrun", "17 lost, buffer full"),
    Who(),
    SetRate(500),
    Go(),
    Halt(),
    Ping(),
]


@pytest.mark.parametrize("message", EXAMPLES, ids=lambda message: type(message).__name__)
def test_a_message_written_and_read_is_the_same_message(message: Message):
    assert decode(encode(message)) == message


def test_the_examples_cover_the_whole_table():
    assert {type(message) for message in EXAMPLES} == {kind for kind, _ in TABLE.values()}


def test_a_text_with_a_star_or_too_long_still_makes_a_line_that_reads():
    for text in ("a*b", "x" * 300, "grün"):
        line = frame(encode(FaultLine("over-range", text)))[:-1]
        assert not fault_of(line)
        assert isinstance(decode(line[:-5]), FaultLine)


@given(st.binary(max_size=130))
def test_no_body_does_worse_than_a_bad_message(body: bytes):
    try:
        decode(body)
    except BadMessage as bad:
        reason = bad.reason
    else:
        reason = "taken"
    assert reason in ("unknown message", "too few fields", "too many fields", "wrong fields", "taken")


@pytest.mark.parametrize("case", cases(), ids=lambda case: repr(case.line[:40]))
def test_a_board_that_cannot_measure_is_refused_by_name_with_what_it_said(case):
    if not case.line.startswith(b"B,") or case.outcome not in ("ok", UNFIT):
        return
    why = decode(case.line[:-5]).in_the_way
    assert (case.outcome == UNFIT) == bool(why)
    if why:
        assert "board bench-1 " in why
        assert case.line[:-5].decode() in why


@pytest.mark.parametrize(
    ("channels", "body", "reason"),
    [
        ("I", b"D,1,2,3,4", "too many fields"),
        ("IV", b"D,1,2,3", "too few fields"),
        ("IV", b"D,1,2,3,4,5", "too many fields"),
        ("IVST", b"D,1,2,3,4,5", "too few fields"),
        ("IVST", b"D,1,2,3,4,16,5", "wrong fields"),
        ("IVST", b"D,1,2,3,4,-1,5", "wrong fields"),
        ("IVST", b"D,1,2,3,4,x,5", "wrong fields"),
        ("IVST", b"D,1,2,3,x,15,5", "wrong fields"),
        ("IVST", b"D,1,2,3,4,15,-27316", "wrong fields"),
        ("IVST", b"D,1,2,3,4,15,100000", "wrong fields"),
    ],
)
def test_a_sample_that_does_not_fit_the_channels_of_its_board_is_dropped_by_reason(channels, body, reason):
    with pytest.raises(BadMessage) as raised:
        decode(body, channels)
    assert raised.value.reason == reason
    assert decode_block(frame(body), channels) is None


def test_the_bits_of_the_switches_say_closed_and_fitted():
    """The numbers are those of the protocol's own description, version 2."""
    left, right = pin_switches(np.array([12, 13, 14, 15]))
    assert left.tolist() == [False, True, False, True]
    assert right.tolist() == [False, False, True, True]
    left, right = pin_switches(np.array([0, 4, 5, 1, 3]))  # closed without being fitted is no closed switch
    assert left.tolist() == [False, False, True, False, False]
    assert right is None
    assert pin_switches(np.array([3, 3])) == (None, None)


def one_by_one(lines: bytes, channels: str = "IV") -> list[Sample]:
    return [decode(body, channels) for body in Framer().receive(lines)]


def same(block, samples: list[Sample]) -> bool:
    return np.array_equal(block.table, block_of(samples).table)


@pytest.mark.parametrize("seed", range(5))
def test_the_bulk_way_gives_what_the_rule_gives(seed: int):
    lines = b"".join(sample_lines(2000, seed=seed, first=64_000))
    assert same(decode_block(lines, "IV"), one_by_one(lines))


numbers = st.tuples(
    st.integers(0, 65535),
    st.integers(0, 2**32 - 1),
    st.integers(-(2**31), 2**31 - 1).filter(lambda n: len(str(n)) <= 10),
    st.integers(-99_999, 99_999),
)


@given(st.lists(numbers, min_size=1, max_size=30))
def test_the_bulk_way_reads_every_width(rows):
    lines = b"".join(frame(b"D,%d,%d,%d,%d" % row) for row in rows)
    assert same(decode_block(lines, "IV"), one_by_one(lines))


more_numbers = st.tuples(
    numbers, st.integers(0, 15), st.one_of(st.just(NOT_ANSWERING), st.integers(-27_315, 99_999))
)


@given(st.lists(more_numbers, min_size=1, max_size=30), st.sampled_from(["IVST", "IVS", "IVT", "IS", "IT"]))
def test_the_bulk_way_reads_switches_and_temperatures(rows, channels: str):
    samples = []
    for (seq, micros, *counts), switches, temperature in rows:
        of = dict(zip("IVST", (*counts, switches, temperature), strict=True))
        samples.append(Sample(seq, micros, tuple(of[channel] for channel in channels)))
    lines = b"".join(frame(encode(sample)) for sample in samples)
    assert one_by_one(lines, channels) == samples
    assert same(decode_block(lines, channels), samples)


@pytest.mark.parametrize(
    "case", [case for case in cases() if case.sender == "board"], ids=lambda case: repr(case.line[:24])
)
def test_the_bulk_way_takes_no_block_with_anything_else_in_it(case):
    good = sample_lines(20)
    lines = Framer().whole_lines(b"".join([*good[:9], case.line + b"\n", *good[9:]]))
    try:
        is_sample = case.outcome == "ok" and isinstance(decode(case.line.rpartition(b"*")[0], "IV"), Sample)
    except BadMessage:
        is_sample = False
    assert (decode_block(lines, "IV") is not None) == is_sample


def test_the_bulk_way_refuses_every_single_flipped_bit():
    lines = sample_lines(12)
    block = b"".join(lines)
    for bit in range(8 * len(block)):
        damaged = bytearray(block)
        damaged[bit // 8] ^= 1 << bit % 8
        assert decode_block(bytes(damaged), "IV") is None


def test_the_bulk_way_keeps_to_the_channels_of_the_board():
    one_channel = b"".join(frame(b"D,%d,%d,%d" % (n, 5000 * n, -n)) for n in range(50))
    assert decode_block(one_channel, "IV") is None
    assert np.array_equal(decode_block(one_channel, "I").table[2:], [-np.arange(50)])
    assert decode_block(b"".join(sample_lines(50)), "I") is None
