"""The compiled sketches on an emulated ATmega328P, talking through a pseudo-terminal to the product's own session.

What the sensor really gave stands in the emulator host's own record, and is compared at the moment of the read.
"""

import contextlib
import re

import numpy as np
import pytest

from tests.firmware.emulator.boards import BOARDS
from tests.firmware.emulator.harness import FLAT_OUT, REAL_TIME, Fact, Heard, converse, emulated_board
from tests.firmware.emulator.strokes import Event, Stroke, script, steady, stroke_points
from tests.firmware.tools import SKETCHES
from throwbook.protocol.framing import frame
from throwbook.protocol.messages import (
    Dropped,
    FaultEvent,
    Identified,
    Lost,
    Reset,
    Samples,
    Unfit,
)

pytestmark = [pytest.mark.emulator, pytest.mark.long]

PERIOD_S = 0.005
RAM_END = 0x8FF
STACK_BUDGET = 400
"""Bytes; 2048 less this is what RAM_BUDGET of the Makefile must leave free."""
INA219_AFTER_RESET = 0x399F
"""Its configuration register after power came (data sheet of the INA219, "Configuration Register")."""
COUNT_A = 0.005
"""The INA219 sketch's amperes a count."""
STROKE = Stroke(start_s=0.75, end_s=3.25)
ROW = "Every sketch needs a row in tests/firmware/emulator/boards.py, so that the strokes run on it."


def powered_by(emulator, sketches, tmp_path):
    """A board by its sensor, with what flows through it and what happens beside it."""

    @contextlib.contextmanager
    def powered(sensor, points, seconds, events=(), pace=FLAT_OUT):
        text = script(sensor, points, sorted(events, key=lambda event: event.time_s))
        with emulated_board(emulator, sketches, sensor, text, seconds, tmp_path, pace) as emulated:
            yield emulated

    return powered


@pytest.fixture
def board(emulator, sketches, tmp_path):
    return powered_by(emulator, sketches, tmp_path)


def joined(heard: Heard) -> Samples:
    blocks = heard.of(Samples)
    assert blocks, heard.raw[-500:]
    return Samples(
        index=np.concatenate([b.index for b in blocks]),
        time_s=np.concatenate([b.time_s for b in blocks]),
        current_a=np.concatenate([b.current_a for b in blocks]),
        voltage_v=np.concatenate([b.voltage_v for b in blocks if b.voltage_v is not None]),
        over_range=np.concatenate([b.over_range for b in blocks]),
    )


def sample_rows(heard: Heard) -> np.ndarray:
    """SEQ, MICROS, I_COUNTS, V_COUNTS of the whole sample lines, shape (n, 4)."""
    rows = [fields[1:] for fields in heard.body_fields("D")]
    return np.array([row for row in rows if len(row) == 4], dtype=np.int64)


def reads_for(facts: list[Fact], number: int, rows: np.ndarray) -> np.ndarray:
    """Time and value of the read behind each row: the first one of that register or channel after its MICROS."""
    reads = np.array([(fact.time_s, fact.value) for fact in facts if fact.number == number])
    return reads[np.searchsorted(reads[:, 0], rows[:, 1] * 1e-6)]


def told_lost(heard: Heard) -> int:
    """Samples that the board itself says it lost."""
    return sum(int(fault.text.split()[0]) for fault in heard.of(FaultEvent) if fault.code == "overrun")


# ---- a stroke, on each sensor ----


@pytest.mark.parametrize("sensor", BOARDS)
def test_every_sample_of_a_stroke_arrives_with_the_value_the_sensor_gave(board, sensor):
    with board(sensor, stroke_points(STROKE, 4.0), 4.0) as emulated:
        heard = converse(emulated)
        outputs, stack = emulated.facts("output"), emulated.facts("stack")
        reads = emulated.facts("convert" if BOARDS[sensor].analog else "read")
    assert outputs == []  # not one pin was ever an output
    print(f"{sensor}: {RAM_END - stack[0].time_s:.0f} bytes of stack")
    assert RAM_END - stack[0].time_s < STACK_BUDGET
    assert not heard.of(Lost)
    assert not heard.of(FaultEvent)
    assert not heard.of(Dropped)

    rows = sample_rows(heard)[:-1]  # the end of the simulation may cut the last line
    assert len(rows) > 750
    current = reads_for(reads, 0 if BOARDS[sensor].analog else 1, rows)
    voltage = reads_for(reads, 1 if BOARDS[sensor].analog else 2, rows)
    if BOARDS[sensor].analog:
        assert np.abs(rows[:, 2] - (current[:, 1] * 1024 / 5000 - 512)).max() <= 1.9
        assert np.abs(rows[:, 3] - voltage[:, 1] * 1024 / 5000).max() <= 1.9
    else:
        assert np.array_equal(rows[:, 2], current[:, 1].astype(np.uint16).astype(np.int16))
        assert np.array_equal(rows[:, 3], voltage[:, 1].astype(np.uint16) >> (3 if sensor == "ina219" else 0))
    late_s = current[:, 0] - rows[:, 1] * 1e-6
    assert np.ptp(late_s) < 0.0001  # MICROS is the time of the read
    assert (
        np.abs(np.diff(rows[:, 1]) * 1e-6 - PERIOD_S).max() < 0.0005
    )  # the timer calls, not leftover loop time


@pytest.mark.parametrize("sensor", BOARDS)
def test_amperes_and_volts_come_out_as_scripted(board, sensor):
    with board(sensor, steady(-3.456, 13.2), 0.5) as emulated:
        samples = joined(converse(emulated))
    assert np.abs(samples.current_a - -3.456).max() <= 1.9 * BOARDS[sensor].lsb_a
    assert np.abs(samples.voltage_v - 13.2).max() <= BOARDS[sensor].voltage_u_v


# ---- commands ----


def test_every_command_is_answered_and_a_rate_the_line_cannot_carry_is_refused(board):
    sent = b"".join(map(frame, [b"ping", b"who", b"rate,330", b"rate,100", b"who", b"halt", b"ping"]))
    with board("ina219", steady(1.0), 0.8) as emulated:
        heard = converse(emulated, then=[(20, sent)])
    said = [",".join(f) for first in "BKN" for f in heard.body_fields(first)]
    me = "B,1,shunt-1,shunt-2.0.0,200,5000,4000,40000,IV"
    assert said.count(me) >= 2
    assert me.replace(",200,", ",100,") in said
    assert said.count("K,ping") == 2
    assert "N,rate,at most 329/s through this serial line" in said
    last = heard.raw.rstrip().split(b"\n")[-1]
    assert last.startswith(b"K,ping")  # no sample after halt


def test_the_board_holds_the_highest_rate_that_it_does_not_refuse(board):
    with board("ina219", steady(-30.0), 2.0) as emulated:
        heard = converse(emulated, rate_hz=300)
    samples = joined(heard)
    assert heard.session.lost == told_lost(heard) == 0
    assert len(samples) > 550
    assert np.diff(samples.time_s).mean() == pytest.approx(1 / 300, rel=1e-3)


# ---- sensors that fail ----


def test_a_board_without_its_sensor_says_so_and_does_not_start(board):
    with board("ina219", steady(1.0), 0.3, [Event(0.0, "sensor-off")]) as emulated:
        # The session asks no such board to go; it refuses by itself all the same.
        answered = re.compile(rb"\nN,go,[^\n]*\n").search
        heard = converse(
            emulated, then=[(0, frame(b"go"))], until=lambda heard: answered(heard.raw) is not None
        )
    assert heard.body_fields("B")[0] == ["B", "1", "shunt-1", "shunt-2.0.0", "200", "0", "0", "0", "IV"]
    assert "sensor-absent" in [fields[1] for fields in heard.body_fields("F")]
    assert ["N", "go", "sensor absent"] in heard.body_fields("N")
    assert "sensor does not answer" in heard.of(Unfit)[0].why
    assert not heard.of(Samples)


def test_a_hall_sensor_that_is_unplugged_is_told_and_its_false_values_are_held_back(board):
    off = [
        (0.0, 1.0, 12.6),
        (0.6025, 1.0, 12.6),
        (0.602501, -25.0, 12.6),
        (0.9025, -25.0, 12.6),
        (0.902501, 1.0, 12.6),
    ]
    with board("hall", [*off, (2.0, 1.0, 12.6)], 1.3) as emulated:
        heard = converse(emulated)
    assert [fault.code for fault in heard.of(FaultEvent)] == ["sensor-absent"]
    assert heard.session.lost == 0.3 / PERIOD_S
    assert joined(heard).current_a.min() > 0.9


def test_a_sensor_that_drops_out_and_comes_back_is_told_and_set_up_again(board):
    outage = [Event(0.6, "sensor-off"), Event(0.9, "sensor-on")]
    with board("ina226", steady(2.0), 1.3, outage) as emulated:
        heard = converse(emulated)
        writes = [fact for fact in emulated.facts("write") if fact.time_s > emulated.began_s() + 0.9]
    assert [fault.code for fault in heard.of(FaultEvent)] == ["sensor-absent", "sensor-reset"]
    assert heard.session.lost == pytest.approx(0.3 / PERIOD_S, abs=2)
    assert joined(heard).current_a == pytest.approx(2.0, abs=0.002)
    assert [fact.number for fact in writes] == [0, 5]  # configuration and calibration


def test_a_sensor_that_lost_its_settings_unseen_is_found_within_a_second(board):
    with board("ina219", steady(2.0), 2.2, [Event(0.5, "sensor-reset")]) as emulated:
        heard = converse(emulated)
        written_s = [fact.time_s - emulated.began_s() for fact in emulated.facts("write")]
    told = [fault.code for fault in heard.of(FaultEvent)]
    assert told[-1] == "sensor-reset"
    assert 0.5 < max(written_s) < 0.5 + 1.1
    assert heard.session.lost == 0
    current_a = joined(heard).current_a
    torn = np.abs(current_a - 2.0) > 0.006  # else right all along
    # A reset within a reading, after its register was chosen: the sensor then answers with its settings, once, and that
    # is far over the range.
    assert told[:-1] == ["over-range"] * int(torn.sum())
    assert current_a[torn] == pytest.approx(INA219_AFTER_RESET * COUNT_A)


@pytest.mark.parametrize("refusal", ["refuse-pointers", "refuse-reads"])
def test_a_transfer_refused_half_way_costs_its_own_samples_and_no_wrong_value(board, refusal):
    events = [Event(0.5, refusal, 1), Event(0.8, refusal, 3)]
    with board("ina219", steady(2.0), 1.2, events) as emulated:
        heard = converse(emulated)
    assert heard.session.lost == 4
    assert [fault.code for fault in heard.of(FaultEvent)] == ["sensor-absent"] * 2
    assert joined(heard).current_a == pytest.approx(2.0, abs=0.006)


def test_current_beyond_the_range_is_told_and_stands_at_the_end_of_the_range(board):
    points = [(0.0, 5.0, 12.0), (0.5, 5.0, 12.0), (0.501, -55.0, 12.0), (1.0, -55.0, 12.0)]
    with board("ina219", points, 1.0) as emulated:
        heard = converse(emulated)
    samples = joined(heard)
    assert [fault.code for fault in heard.of(FaultEvent)] == ["over-range"]
    assert samples.current_a.min() == pytest.approx(-40.0)
    assert samples.over_range.sum() == pytest.approx(0.5 / PERIOD_S, abs=5)


# ---- the line, and the board ----


def test_what_a_flooded_board_says_it_lost_is_exactly_what_is_missing(board):
    flood = [(30 + 60 * n, frame(b"ping") * 150) for n in range(8)]
    with board("ina226", steady(-33.0), 5.0) as emulated:
        heard = converse(emulated, rate_hz=300, then=[*flood, (550, frame(b"halt"))])
    assert heard.session.lost > 50
    assert told_lost(heard) == heard.session.lost


def test_a_board_that_starts_anew_in_mid_record_is_seen(board):
    with board("hall", steady(1.0), 1.4, [Event(0.8, "board-reset")]) as emulated:
        heard = converse(emulated)
    (reset,) = heard.of(Reset)
    assert reset.why == "the board restarted"
    assert len(joined(heard)) == pytest.approx(0.8 / PERIOD_S, abs=2)
    assert len(heard.of(Identified)) >= 1


def test_at_the_pace_of_a_real_board_nothing_is_lost_either(board):
    with board("hall", steady(1.0), 1.5, pace=REAL_TIME) as emulated:
        heard = converse(emulated)
    assert heard.session.lost == told_lost(heard) == 0
    assert len(joined(heard)) > 200


# ---- what the compiler made ----


def test_every_sketch_keeps_within_its_budget_of_flash_and_ram(sketches):
    sizes = (sketches / "sizes.txt").read_text().splitlines()
    print("\n".join(sizes))
    assert {line.split()[0] for line in sizes} == {board.sketch for board in BOARDS.values()}, ROW


def test_no_line_of_the_sketches_can_drive_a_pin_but_the_pulses_to_a_one_wire_probe():
    drives = re.compile(r"pinMode|digitalWrite|analogWrite|\btone\b|\b(DDR|PORT)[B-D]\b|\bCOM[012][AB][01]\b")
    sources = [*SKETCHES.glob("*/*.h"), *SKETCHES.glob("*/*.ino")]
    assert len(sources) > 10
    found = [
        (s.name, line.strip()) for s in sources for line in s.read_text().splitlines() if drives.search(line)
    ]
    assert sorted(found) == [
        # in no build without that probe; how long it stays low: test_one_wire_on_boards.py
        ("one_wire_line.h", "static void let_go() { DDRD &= static_cast<uint8_t>(~kBit); }"),
        ("one_wire_line.h", "static void pull_low() { DDRD |= kBit; }"),
        # the pull-ups of inputs: without a direction this drives nothing
        ("sampled_sensor.h", "void begin_switches() { PORTD |= pull_ups(Beside::wiring()); }"),
    ]


def test_the_readme_tells_of_every_fault_that_a_board_can_send():
    sent = set(
        re.findall(r"start\('F'\)\.field\(\"([a-z-]+)\"\)", (SKETCHES / "common/conversation.h").read_text())
    )
    told = set(re.findall(r"^\| `([a-z-]+)` \|", (SKETCHES / "README.md").read_text(), re.MULTILINE))
    assert sent == told
    assert len(sent) == 4
