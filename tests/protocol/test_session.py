"""The PC's side against the board's side: what was sent, what was counted, what ended the record."""

from dataclasses import replace

import numpy as np
import pytest

from tests.drawn import drawn
from tests.protocol.cases import IDENTITY_LINE, sample_lines
from throwbook.protocol.framing import frame
from throwbook.protocol.messages import (
    Answered,
    ClockJump,
    ClockStopped,
    Dropped,
    FaultEvent,
    Halted,
    Identified,
    Identity,
    Lost,
    Refusal,
    Reset,
    Samples,
    Started,
    Unfit,
    pin_switches,
)
from throwbook.protocol.session import CUT, IDLE, RUNNING, SETTING, Session, highest_rate_hz
from throwbook.protocol.simulated_board import IDENTITY, Readings, SimulatedBoard, Trouble


def ramp(time_s):
    """2 A and a slow ripple, 12.6 V."""
    return 2.0 + 0.5 * np.sin(time_s), np.full(len(time_s), 12.6)


def converse(
    board, session, *, seconds: float, rate_hz: int, baud: int | None = None, piece: int | None = None
):
    """Let both ends talk for ``seconds`` of board time; gives all events."""
    events = []

    def hear(data: bytes, now_s: float) -> None:
        parts = [data] if piece is None else [data[at : at + piece] for at in range(0, len(data), piece)]
        for part in parts:
            events.extend(session.receive(part))
            answer = session.to_send()
            if answer:
                hear(board.receive(answer, now_s), now_s)

    hear(board.receive(session.start(rate_hz, baud), 0.0), 0.0)
    steps = max(1, round(seconds * 20))
    for step in range(1, steps + 1):
        now_s = seconds * step / steps
        hear(board.advance(now_s), now_s)
    return events


def of(kind, events):
    return [event for event in events if isinstance(event, kind)]


def joined(events, name):
    return np.concatenate([getattr(event, name) for event in of(Samples, events)])


def running_session(rate_hz: int = 200) -> Session:
    session = Session()
    session.start(rate_hz)
    session.receive(IDENTITY_LINE + frame(b"K,rate") + frame(b"K,go"))
    assert session.state == RUNNING
    return session


def test_a_whole_conversation_gives_every_sample_with_its_time_and_value():
    board, session = SimulatedBoard(ramp), Session()
    events = converse(board, session, seconds=10, rate_hz=200)
    assert [type(event) for event in events[:4]] == [Answered, Identified, Started, Samples]
    assert np.array_equal(joined(events, "index"), np.arange(2001))
    time_s = joined(events, "time_s")
    np.testing.assert_allclose(time_s, np.arange(2001) / 200, atol=1e-6)
    current_a, voltage_v = ramp(time_s)
    np.testing.assert_allclose(joined(events, "current_a"), current_a, atol=0.5e-4 * 1.01)
    np.testing.assert_allclose(joined(events, "voltage_v"), voltage_v, atol=2e-3 * 1.01)
    assert not of(Dropped, events)
    assert session.lost == 0


@pytest.mark.parametrize("piece", [1, 7, 64])
def test_the_same_events_come_out_in_any_pieces(piece: int):
    def run(piece):
        return converse(
            SimulatedBoard(ramp, trouble=Trouble(flipped_bits=0.002)),
            Session(),
            seconds=3,
            rate_hz=200,
            piece=piece,
        )

    whole, pieces = run(None), run(piece)
    for name in ("index", "time_s", "current_a", "voltage_v"):
        assert np.array_equal(joined(whole, name), joined(pieces, name))
    assert of(Lost, whole) == of(Lost, pieces)
    assert sum(event.count for event in of(Dropped, whole)) == sum(
        event.count for event in of(Dropped, pieces)
    )


@pytest.mark.parametrize("seed", range(drawn(6, 1)))
@pytest.mark.parametrize(
    "trouble",
    [
        Trouble(flipped_bits=0.002),
        Trouble(dropped_bytes=0.002),
        Trouble(lost_samples=0.05),
        Trouble(flipped_bits=0.001, dropped_bytes=0.001, lost_samples=0.01),
        Trouble(silent_at_s=3.0, silent_for_s=4.0),
    ],
    ids=lambda trouble: repr(trouble)[8:40],
)
def test_loss_counted_is_loss_injected_exactly(trouble: Trouble, seed: int):
    board, session = SimulatedBoard(ramp, trouble=trouble, seed=seed), Session()
    events = converse(board, session, seconds=15, rate_hz=400)
    index = joined(events, "index")
    # What is lost before the first or after the last sample got can't be known; those lines are few and counted here.
    sent_but_unknown = board.injected.sent + board.injected.lost - (index[-1] + 1)
    assert session.samples == board.injected.sent == len(index)
    assert session.lost + sent_but_unknown == board.injected.lost
    assert session.lost == index[-1] + 1 - len(index) == sum(event.count for event in of(Lost, events))
    assert session.lost > 0


def test_a_loss_longer_than_a_whole_turn_of_seq_is_still_counted_exactly():
    board, session = SimulatedBoard(ramp, trouble=Trouble(silent_at_s=5, silent_for_s=500)), Session()
    converse(board, session, seconds=510, rate_hz=400)
    assert session.lost == 500 * 400 == board.injected.lost


@pytest.mark.long
def test_seq_and_micros_are_unwrapped_over_days():
    session = running_session(rate_hz=1)
    total = 3 * 86_400  # SEQ goes round about 4 times, MICROS about 60 times
    last = None
    for first in range(0, total, 5000):
        lines = b"".join(sample_lines(5000, first=first, period_us=1_000_000))
        (samples,) = session.receive(lines)
        assert np.array_equal(samples.index, np.arange(first, first + 5000))
        np.testing.assert_allclose(samples.time_s, samples.index, atol=1e-6)
        last = samples
    assert last.index[-1] >= total - 1
    assert session.lost == 0


def test_a_board_that_starts_anew_cuts_the_record_and_keeps_what_came():
    board, session = SimulatedBoard(ramp, trouble=Trouble(resets_at_s=(2.0,))), Session()
    events = converse(board, session, seconds=4, rate_hz=200)
    assert of(Reset, events) == [Reset("the board restarted")]
    assert joined(events, "index")[-1] == 400
    assert session.state == CUT


def test_numbers_going_back_cut_the_record_even_when_the_identity_line_was_lost():
    session = running_session()
    lines = sample_lines(500)
    session.receive(b"".join(lines))
    events = session.receive(b"".join(lines[:100]))
    assert of(Reset, events) == [Reset("the board's sample numbers went back")]
    assert not of(Samples, events)
    assert session.receive(b"".join(lines[100:200])) == []


@pytest.mark.parametrize("cut", [1, 2, 3, 50])
def test_a_line_sent_twice_is_dropped_and_counted_wherever_the_stream_is_cut(cut: int):
    session = running_session()
    lines = sample_lines(100)
    stream = [*lines[:51], lines[50], *lines[51:99], lines[98], lines[98], lines[99]]
    events = [
        event
        for at in range(0, len(stream), cut)
        for event in session.receive(b"".join(stream[at : at + cut]))
    ]
    assert np.array_equal(joined(events, "index"), np.arange(100))
    assert session.dropped.reasons == {"sent twice": 3}
    assert session.dropped.first == {"sent twice": lines[50][:-1]}
    assert session.lost == 0
    assert not of(Reset, events)


def test_a_number_twice_with_other_values_still_cuts_the_record():
    session = running_session()
    lines = sample_lines(60)
    events = session.receive(b"".join([*lines, frame(b"D,59,295000,1,1")]))
    assert of(Reset, events) == [Reset("the board's sample numbers went back")]


@pytest.mark.parametrize("piece", [300, 7000, 10**6])
def test_a_clock_that_stands_still_is_told_once_and_the_numbers_go_on_in_its_place(piece: int):
    session = running_session()
    rows = [(n % 65536, min(n, 700) * 5000, n, n) for n in range(3000)]
    stream = b"".join(frame(b"D,%d,%d,%d,%d" % row) for row in rows)
    events = [
        event for at in range(0, len(stream), piece) for event in session.receive(stream[at : at + piece])
    ]
    assert of(ClockStopped, events) == [ClockStopped(after_index=700)]
    time_s = joined(events, "time_s")
    assert np.array_equal(joined(events, "index"), np.arange(3000))
    np.testing.assert_allclose(time_s[:701], np.arange(701) / 200, atol=1e-6)
    assert (time_s[701:901] == time_s[700]).all()
    np.testing.assert_allclose(np.diff(time_s[901:]), 1 / 200, atol=1e-6)


def test_a_clock_that_never_moves_loses_nothing_and_cuts_nothing():
    session = running_session()
    events = session.receive(b"".join(frame(b"D,%d,77,%d,%d" % (n % 65536, n, n)) for n in range(70_000)))
    assert (session.samples, session.lost) == (70_000, 0)
    assert of(ClockStopped, events) == [ClockStopped(after_index=0)]
    assert joined(events, "time_s")[-1] == pytest.approx(70_000 / 200 - 1.0, abs=0.02)


def test_a_clock_of_half_a_second_does_not_stand_still():
    session = running_session()
    rows = [(n, n * 5000 // 500_000 * 500_000, 1, 1) for n in range(2000)]
    events = session.receive(b"".join(frame(b"D,%d,%d,%d,%d" % row) for row in rows))
    assert not of(ClockStopped, events)
    assert session.samples == 2000


def test_a_fault_says_behind_which_sample_it_came():
    session = running_session()
    lines = sample_lines(20)
    before = session.receive(frame(b"F,overrun,1 lost"))
    events = session.receive(b"".join([*lines[:12], frame(b"F,sensor-absent,gone"), *lines[12:]]))
    assert before == [FaultEvent("overrun", "1 lost", -1)]
    assert of(FaultEvent, events) == [FaultEvent("sensor-absent", "gone", 11)]


def test_a_board_that_cannot_measure_is_asked_for_nothing_more():
    session = Session()
    session.start(200)
    (event,) = session.receive(frame(b"B,1,bench-1,shunt-1.0,200,100,0,3200,IV"))
    assert isinstance(event, Unfit)
    assert "its voltage step is 0" in event.why
    assert (session.state, session.to_send(), session.again()) == (IDLE, b"", b"")


def test_a_voltage_that_the_board_did_not_announce_is_a_field_too_many():
    session = Session()
    session.start(200)
    session.receive(frame(b"B,1,bench-2,hall-1.0,200,26393.6,0,5000,I") + frame(b"K,rate") + frame(b"K,go"))
    lines = sample_lines(400)
    events = session.receive(b"".join(lines))
    assert not of(Samples, events)
    assert session.dropped.sentence() == (
        f'400 lines dropped: 400 too many fields; first one: "{lines[0][:-1].decode()}"'
    )


def test_lines_that_end_in_cr_and_lf_read_the_same_in_any_pieces():
    lines = b"".join(sample_lines(500))
    plain = running_session().receive(lines)
    for piece in (1, 16, 4096, 10**6):
        session, stream = running_session(), lines.replace(b"\n", b"\r\n")
        events = [
            event for at in range(0, len(stream), piece) for event in session.receive(stream[at : at + piece])
        ]
        assert np.array_equal(joined(events, "current_a"), joined(plain, "current_a"))
        assert not session.dropped.reasons


@pytest.mark.parametrize("by_s", [-30.0, 10.0, 3000.0])
def test_a_clock_that_jumps_cuts_the_record(by_s: float):
    board = SimulatedBoard(ramp, trouble=Trouble(clock_jump_at_s=40.0, clock_jump_by_s=by_s))
    events = converse(board, Session(), seconds=45, rate_hz=200)
    assert len(of(ClockJump, events)) == 1
    assert joined(events, "index")[-1] == 40 * 200 - 1


def test_a_short_stall_of_the_board_stays_a_gap_in_time():
    board = SimulatedBoard(ramp, trouble=Trouble(clock_jump_at_s=4.0, clock_jump_by_s=0.4))
    events = converse(board, Session(), seconds=6, rate_hz=200)
    assert not of(ClockJump, events)
    assert np.diff(joined(events, "time_s")).max() == pytest.approx(0.405)


def test_a_rate_the_baud_cannot_carry_is_refused_with_the_baud_that_would():
    board, session = SimulatedBoard(ramp), Session()
    events = converse(board, session, seconds=1, rate_hz=500, baud=115_200)
    assert of(Refusal, events) == [
        Refusal("rate", "115200 baud carries at most 295 samples/s of this board, not 500; 230400 baud would")
    ]
    assert session.state == IDLE
    assert not board.running


def test_the_rate_that_is_let_through_really_fits_the_widest_lines():
    bits_each = 10 * len(frame(b"D,65535,4294967295,-200000,-99999"))
    assert 295 * bits_each <= 115_200 < 296 * bits_each


def test_a_rate_the_board_refuses_is_told_with_its_reason():
    events = converse(SimulatedBoard(ramp), Session(), seconds=1, rate_hz=30_000)
    assert of(Refusal, events) == [Refusal("rate", "above 20000")]


def test_an_absent_sensor_is_told():
    board = SimulatedBoard(ramp, trouble=Trouble(sensor_absent=True))
    events = converse(board, Session(), seconds=1, rate_hz=200)
    assert of(FaultEvent, events) == [FaultEvent("sensor-absent", "no answer from the current sensor")]
    assert of(Refusal, events) == [Refusal("go", "no sensor")]


def test_what_was_not_answered_is_asked_again_and_a_reset_in_the_handshake_is_taken_in():
    session = Session()
    session.start(200)
    assert session.again() == frame(b"who")
    session.receive(IDENTITY_LINE)
    assert session.to_send() == frame(b"rate,200")
    assert session.to_send() == b""
    assert session.again() == frame(b"rate,200")
    session.receive(frame(b"K,rate"))
    assert session.to_send() == session.again() == frame(b"go")
    session.receive(IDENTITY_LINE)
    assert session.state == SETTING


def test_samples_are_taken_when_the_answer_to_go_was_lost():
    session = Session()
    session.start(200)
    session.receive(IDENTITY_LINE + frame(b"K,rate"))
    events = session.receive(b"".join(sample_lines(3)))
    assert [type(event) for event in events] == [Started, Samples]


def test_samples_from_before_the_start_are_no_part_of_the_run():
    session = Session()
    session.start(200)
    assert session.receive(b"".join(sample_lines(300))) == []


def test_halting_takes_the_last_samples_and_ends():
    board, session = SimulatedBoard(ramp), Session()
    converse(board, session, seconds=1, rate_hz=200)
    events = session.receive(board.receive(session.halt(), 1.5))
    assert [type(event) for event in events] == [Samples, Halted]
    assert len(events[0]) == 100
    assert not board.running


def test_current_beyond_the_range_is_marked_where_it_happens():
    def step(time_s):
        return np.where(time_s < 1, 1.0, 25.0), np.full(len(time_s), 12.0)

    events = converse(SimulatedBoard(step), Session(), seconds=2, rate_hz=200)
    assert np.array_equal(joined(events, "over_range"), joined(events, "time_s") >= 1)
    assert of(FaultEvent, events)[0].code == "over-range"


def test_the_wrong_baud_is_nothing_but_drops():
    session = Session()
    board = SimulatedBoard(ramp, trouble=Trouble(wrong_baud=True))
    events = session.receive(board.receive(session.start(200) * 200, 0.0) + b"\n")
    assert {type(event) for event in events} == {Dropped}
    assert session.state == "asking"


def test_a_board_with_only_current_gives_no_voltage():
    identity = Identity("one", "hall-1", 100, 26_393.6, 0.0, 5000.0, "I")
    events = converse(SimulatedBoard(ramp, identity), Session(), seconds=2, rate_hz=100)
    assert all(event.voltage_v is None for event in of(Samples, events))
    np.testing.assert_allclose(joined(events, "current_a"), ramp(joined(events, "time_s"))[0], atol=0.0133)


SWITCHED = replace(IDENTITY, channels="IVST", version=2)


def thrown(time_s):
    """The left pin arrives after 4 s, the right one a moment later; for one second the probe doesn't answer."""
    degrees = np.where((time_s > 6) & (time_s <= 7), np.nan, np.round(18.0 - 0.01 * time_s, 2))
    return Readings(*ramp(time_s), time_s >= 4.0, time_s >= 4.15, degrees)


def test_a_board_of_version_2_gives_its_switches_and_its_temperature():
    session = Session()
    events = converse(SimulatedBoard(thrown, SWITCHED), session, seconds=10, rate_hz=200)
    true = thrown(np.arange(2001) / 200)
    left, right = pin_switches(joined(events, "switches"))
    assert np.array_equal(left, true.left_switch)
    assert np.array_equal(right, true.right_switch)
    assert np.array_equal(joined(events, "temperature_c"), true.temperature_c, equal_nan=True)
    np.testing.assert_allclose(joined(events, "voltage_v"), true.voltage_v, atol=2e-3 * 1.01)
    assert not session.dropped.reasons


def test_a_board_may_send_switches_without_voltage():
    identity = Identity("one", "hall-2", 100, 26_393.6, 0.0, 5000.0, "IS", version=2)
    events = converse(SimulatedBoard(thrown, identity), Session(), seconds=6, rate_hz=100)
    assert all(event.voltage_v is None and event.temperature_c is None for event in of(Samples, events))
    assert pin_switches(joined(events, "switches"))[1].sum() == 186


def test_a_switch_that_is_not_fitted_is_none():
    def left_only(time_s):
        return thrown(time_s)._replace(right_switch=None)

    events = converse(SimulatedBoard(left_only, SWITCHED), Session(), seconds=6, rate_hz=200)
    left, right = pin_switches(joined(events, "switches"))
    assert left.any()
    assert right is None


def test_samples_that_do_not_fit_the_channels_are_dropped_and_counted_by_reason():
    session = Session()
    session.start(200)
    session.receive(frame(b"B,2,b,x,200,100,4000,3200,IVST") + frame(b"K,rate") + frame(b"K,go"))
    bodies = [b"D,0,0,1,2,12,1850", b"D,1,5000,1,2", b"D,2,10000,1,2,16,x", b"D,3,15000,1,2,15,x"]
    events = session.receive(b"".join(frame(body) for body in bodies))
    assert session.dropped.reasons == {"too few fields": 1, "wrong fields": 1}
    assert of(Lost, events) == [Lost(2, 0)]
    assert joined(events, "switches").tolist() == [12, 15]


@pytest.mark.parametrize("trouble", [Trouble(flipped_bits=0.002), Trouble(dropped_bytes=0.002)])
def test_no_switch_and_no_degree_comes_out_of_a_damaged_line(trouble: Trouble):
    board, session = SimulatedBoard(thrown, SWITCHED, trouble), Session()
    events = converse(board, session, seconds=10, rate_hz=200)
    index, true = joined(events, "index"), thrown(np.arange(2001) / 200)
    assert session.lost > 20
    left, _ = pin_switches(joined(events, "switches"))
    assert np.array_equal(left, true.left_switch[index])
    assert np.array_equal(joined(events, "temperature_c"), true.temperature_c[index], equal_nan=True)


def test_the_rate_that_is_let_through_fits_the_widest_lines_of_every_channel():
    widest = 10 * len(frame(b"D,65535,4294967295,-200000,-99999,15,-27315"))
    assert highest_rate_hz(SWITCHED, 115_200) == 115_200 // widest
    assert highest_rate_hz(SWITCHED, 115_200) >= 200


def test_the_rehearsal_board_says_the_identity_it_has():
    assert Session().receive(SimulatedBoard(ramp).power_up()) == []
    session = Session()
    session.start()
    assert session.receive(SimulatedBoard(ramp).power_up()) == [Identified(IDENTITY)]
    assert session.state == IDLE
