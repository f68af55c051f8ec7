"""From the counts in an emulated sensor to a verdict: compiled sketch, serial port, journal, recorder, assessment.

The stroke is scripted, so its start, its end and its currents are known without any of the code under test.
"""

from datetime import UTC, datetime

import pytest

from logger.core.assessment import CUT_OFF, PASS
from logger.core.rig import Actuator, LockMechanism, Rig
from logger.files.journal import read_journal
from logger.jobs.record import Recording, RecordPlan
from tests.firmware.emulator.harness import emulated_board
from tests.firmware.emulator.strokes import Event, Stroke, script, stroke_points

pytestmark = pytest.mark.emulator

RATE_HZ = 200
STROKE = Stroke(start_s=1.2037, end_s=6.2011)
SECONDS = 8.0

# A data sheet's line through 40 mm/s at 0.9 A and 28 mm/s at 3.6 A moves 36.2 mm/s at 2.1 A and 12.43 V:
# v = (V - iR) / k_e, R = 12 (1 - 0.7) / (3.6 - 0.7 * 0.9) = 1.212 ohm, k_e = (12 - 0.9 R) / 0.040 = 272.7 V s/m.
RIG = Rig(
    name="yard-loader",
    actuator=Actuator(
        voltage_v=12.0,
        stroke_m=0.180,
        rated_force_n=1500.0,
        no_load_speed_m_s=0.040,
        full_load_speed_m_s=0.028,
        no_load_current_a=0.9,
        full_load_current_a=3.6,
    ),
    lock=LockMechanism(needed_travel_m=0.172),
)


@pytest.fixture
def recorded_from(emulator, sketches, tmp_path):
    def record(sensor, events=(), seconds=SECONDS):
        text = script(sensor, stroke_points(STROKE, seconds), events)
        with emulated_board(emulator, sketches, sensor, text, seconds, tmp_path) as board:
            board.go()
            plan = RecordPlan(
                port=board.port, rig=RIG, direction="lock", folder=tmp_path / "journals", rate_hz=RATE_HZ
            )
            return Recording(plan, now=lambda: datetime.now(UTC)).run()

    return record


@pytest.mark.parametrize(("sensor", "lsb_a"), [("hall", 0.0489), ("ina219", 0.005), ("ina226", 0.00125)])
def test_a_healthy_stroke_is_recorded_and_judged(recorded_from, sensor, lsb_a):
    recorded = recorded_from(sensor)
    assert recorded.problem is None
    assert recorded.lost == 0
    assessment = recorded.assessment
    figures = assessment.figures
    print(
        f"{sensor}: travel time {figures.travel_time_s.value:.4f} s, scripted {STROKE.end_s - STROKE.start_s:.4f} s"
    )
    assert figures.travel_time_s.value == pytest.approx(STROKE.end_s - STROKE.start_s, abs=2 / RATE_HZ)
    assert figures.run_current_a.value == pytest.approx(STROKE.run_a, abs=1.9 * lsb_a + 0.01)
    assert figures.mean_voltage_v.value == pytest.approx(STROKE.voltage_v(4.0), abs=0.06)
    assert assessment.end == CUT_OFF
    assert [sign.sign for sign in assessment.signs if sign.level != "info"] == []
    assert assessment.verdict == PASS
    assert read_journal(recorded.journal).received.count(b"\nD,") >= len(recorded.trace)


def test_a_board_that_resets_in_mid_stroke_leaves_a_cut_record_that_is_kept(recorded_from):
    recorded = recorded_from("hall", [Event(3.0, "board-reset")], seconds=4.0)
    assert "anew" in recorded.ended
    assert recorded.problem is not None
    assert recorded.trace.time_s[-1] == pytest.approx(3.0, abs=0.02)
    assert "cut-record" in [sign.sign for sign in recorded.assessment.signs]
    assert recorded.assessment.verdict != PASS
