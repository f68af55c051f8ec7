"""From the counts in an emulated sensor to a verdict: compiled sketch, serial port, journal, recorder, assessment.

The stroke is scripted, so its start, its end and its currents are known without any of the code under test.
"""

import json
from datetime import UTC, datetime

import pytest

from tests.command import throwbook
from tests.firmware.emulator.boards import BOARDS
from tests.firmware.emulator.harness import emulated_board
from tests.firmware.emulator.strokes import Event, Stroke, script, stroke_points
from throwbook.core.assessment import CUT_OFF, PASS
from throwbook.files.journal import read_journal
from throwbook.files.rig_file import read_rig
from throwbook.files.trace_file import read_trace
from throwbook.jobs.record import Recording, RecordPlan

pytestmark = [pytest.mark.emulator, pytest.mark.long]

RATE_HZ = 200
STROKE = Stroke(start_s=1.2037, end_s=6.2011)
SECONDS = 8.0

# A data sheet's line through 40 mm/s at 0.9 A and 28 mm/s at 3.6 A moves 36.2 mm/s at 2.1 A and 12.43 V:
# v = (V - iR) / k_e, R = 12 (1 - 0.7) / (3.6 - 0.7 * 0.9) = 1.212 ohm, k_e = (12 - 0.9 R) / 0.040 = 272.7 V s/m.
RIG_FILE = """name = "yard-loader"
units = "metric"
[lock]
needed_travel = "172 mm"
[actuator]
voltage = "12 V"
stroke = "180 mm"
rated_force = "500 N"
no_load_speed = "40 mm/s"
full_load_speed = "28 mm/s"
no_load_current = "0.9 A"
full_load_current = "3.6 A"
"""


@pytest.fixture
def rig_file(tmp_path):
    path = tmp_path / "yard-loader.toml"
    path.write_text(RIG_FILE)
    return path


@pytest.fixture
def recorded_from(emulator, sketches, rig_file, tmp_path):
    def record(sensor, events=(), seconds=SECONDS):
        text = script(sensor, stroke_points(STROKE, seconds), events)
        with emulated_board(emulator, sketches, sensor, text, seconds, tmp_path) as board:
            board.go()
            plan = RecordPlan(
                port=board.port,
                rig=read_rig(rig_file),
                direction="lock",
                folder=tmp_path / "journals",
                rate_hz=RATE_HZ,
            )
            return Recording(plan, now=lambda: datetime.now(UTC)).run()

    return record


# That every sample of every board arrives with its value, test_emulated_boards finds; what is judged of it is one code.
@pytest.mark.parametrize(
    "sensor",
    [pytest.param(one, marks=pytest.mark.long if number else ()) for number, one in enumerate(BOARDS)],
)
def test_a_healthy_stroke_is_recorded_and_judged(recorded_from, sensor):
    recorded = recorded_from(sensor)
    assert recorded.problem is None
    assert recorded.lost == 0
    assessment = recorded.assessment
    figures = assessment.figures
    print(
        f"{sensor}: travel time {figures.travel_time_s.value:.4f} s, scripted {STROKE.end_s - STROKE.start_s:.4f} s"
    )
    assert figures.travel_time_s.value == pytest.approx(STROKE.end_s - STROKE.start_s, abs=2 / RATE_HZ)
    assert figures.run_current_a.value == pytest.approx(STROKE.run_a, abs=1.9 * BOARDS[sensor].lsb_a + 0.01)
    assert figures.mean_voltage_v.value == pytest.approx(STROKE.voltage_v(4.0), abs=0.06)
    assert assessment.end == CUT_OFF
    assert [sign.sign for sign in assessment.signs if sign.level != "info"] == []
    assert assessment.verdict == PASS
    assert read_journal(recorded.journal).received.count(b"\nD,") >= len(recorded.trace)


def test_a_board_that_resets_in_mid_stroke_leaves_a_cut_record_that_is_kept(recorded_from):
    recorded = recorded_from("hall", [Event(3.0, "board-reset")], seconds=4.0)
    assert "restarted" in recorded.ended
    assert recorded.problem is not None
    assert recorded.trace.time_s[-1] == pytest.approx(3.0, abs=0.02)
    assert "cut-record" in [sign.sign for sign in recorded.assessment.signs]
    assert recorded.assessment.verdict != PASS


def test_the_record_command_takes_a_throw_from_an_emulated_board(emulator, sketches, rig_file, tmp_path):
    text = script("ina226", stroke_points(STROKE, SECONDS))
    with emulated_board(emulator, sketches, "ina226", text, SECONDS, tmp_path) as board:
        board.go()
        record = ("record", "--json", "--rig", rig_file, "--port", board.port, "--direction", "lock")
        done = throwbook(tmp_path / "logbook.db", *record, "--out", tmp_path / "out.csv", timeout=300)
    assert done.returncode == 0, done.stderr
    judged = json.loads(done.stdout)
    assert judged["verdict"] == PASS
    assert judged["travel_time_s"] == pytest.approx(STROKE.end_s - STROKE.start_s, abs=2 / RATE_HZ)
    assert read_trace(tmp_path / "out.csv").head["firmware"] == "shunt-2.0.0"
