"""The compiled sketches with both pin switches and the thermistor fitted, on the emulated chip."""

import math
import re
from datetime import UTC, datetime

import numpy as np
import pytest

from tests.firmware.emulator.boards import BOARDS
from tests.firmware.emulator.harness import Heard, converse, emulated_board
from tests.firmware.emulator.strokes import Event, Stroke, script, steady, stroke_points
from tests.firmware.test_emulated_boards import RAM_END, STACK_BUDGET, powered_by
from tests.firmware.test_judged_trials import RIG_FILE
from throwbook.core.simulator import (
    SensorModel,
    SimulatedFault,
    ThrowConditions,
    machine_for,
    make_waveform,
)
from throwbook.files.rig_file import read_rig
from throwbook.jobs.record import Recording, RecordPlan
from throwbook.protocol.messages import FaultEvent, Lost, Samples, pin_switches

pytestmark = [pytest.mark.emulator, pytest.mark.long]

ONE_OF_EACH = ("hall", "ina226")
PERIOD_S = 0.005
QUIET_S = 0.020
"""How long a contact must keep still."""
SUPPLY_MV = 5000


@pytest.fixture
def board(emulator, sketches_with_pins, tmp_path):
    return powered_by(emulator, sketches_with_pins, tmp_path)


def thermistor_mv(centigrade: float) -> int:
    """10 kohm at 25 degC, B 3950 K, to ground; 10 kohm to the supply."""
    ohm = 10_000 * math.exp(3950 * (1 / (centigrade + 273.15) - 1 / 298.15))
    return round(SUPPLY_MV * ohm / (10_000 + ohm))


def column(heard: Heard, name: str) -> np.ndarray:
    return np.concatenate([getattr(block, name) for block in heard.of(Samples)])


def changes_s(heard: Heard, closed: np.ndarray) -> list[float]:
    """When a switch changed, from the first sample [s]."""
    return column(heard, "time_s")[1:][closed[1:] != closed[:-1]].tolist()


@pytest.mark.parametrize("sensor", ONE_OF_EACH)
def test_both_switches_and_the_thermistor_come_out_as_they_are_and_no_pin_is_an_output(board, sensor):
    stroke = Stroke(start_s=0.3, end_s=2.4)
    events = [
        Event(0.0, "thermistor-mv", thermistor_mv(7.0)),
        Event(2.0, "left-switch", 1),
        Event(2.3, "right-switch", 1),
        Event(2.6, "right-switch", 0),
    ]
    with board(sensor, stroke_points(stroke, 3.0), 3.0, events) as emulated:
        heard = converse(emulated)
        outputs, stack, began = emulated.facts("output"), emulated.facts("stack"), emulated.began_s()
        happened_s = [fact.time_s - began for fact in emulated.facts("event")]
    assert heard.session.identity.version == 2
    assert heard.session.identity.channels == "IVST"
    assert outputs == []
    print(f"{sensor}: {RAM_END - stack[0].time_s:.0f} bytes of stack")
    assert RAM_END - stack[0].time_s < STACK_BUDGET
    assert not heard.of(Lost)
    assert not heard.of(FaultEvent)
    left, right = pin_switches(column(heard, "switches"))
    # Sampling began a period before its first sample.
    for said, true in zip((*changes_s(heard, left), *changes_s(heard, right)), happened_s[1:], strict=True):
        assert true + QUIET_S - PERIOD_S <= said + PERIOD_S <= true + QUIET_S + 2 * PERIOD_S
    assert column(heard, "temperature_c")[0] == pytest.approx(7.0, abs=0.3)
    assert column(heard, "temperature_c") == pytest.approx(7.0, abs=0.3)


@pytest.mark.parametrize("sensor", ONE_OF_EACH)
def test_a_contact_that_bounces_is_one_change_and_a_broken_wire_reads_open(board, sensor):
    bounces = [Event(0.5 + 0.007 * n, "left-switch", n % 2) for n in range(9)]
    events = [
        *bounces,
        Event(0.57, "left-switch", 1),
        Event(0.9, "left-switch", 0),
    ]  # nothing at the right input
    with board(sensor, steady(1.0), 1.3, events) as emulated:
        heard = converse(emulated)
    left, right = pin_switches(column(heard, "switches"))
    assert changes_s(heard, left) == pytest.approx([0.59, 0.92], abs=0.012)
    assert not right.any()


@pytest.mark.parametrize("sensor", ONE_OF_EACH)
def test_a_thermistor_that_comes_off_is_no_temperature_at_once(board, sensor):
    events = [
        Event(0.0, "thermistor-mv", thermistor_mv(-5.0)),
        Event(0.6, "thermistor-mv", SUPPLY_MV),
        Event(0.9, "thermistor-mv", thermistor_mv(31.0)),
    ]
    with board(sensor, steady(1.0), 1.4, events) as emulated:
        heard = converse(emulated)
    time_s, read = column(heard, "time_s"), column(heard, "temperature_c")
    assert np.isnan(read[(time_s > 0.62) & (time_s < 0.88)]).all()
    there = read[~np.isnan(read)]
    assert set(np.round(there / 36.0)) == {0.0, 1.0}  # nothing in between, nothing beyond
    assert read[time_s < 0.58] == pytest.approx(-5.0, abs=0.4)
    assert read[time_s > 0.92] == pytest.approx(31.0, abs=0.4)


def test_the_rate_limit_reckons_with_the_longer_lines(board):
    with board("ina226", steady(-33.0), 1.5) as emulated:
        heard = converse(emulated, rate_hz=230)
    assert heard.session.lost == 0
    assert len(column(heard, "time_s")) > 300


def test_the_sketches_with_everything_fitted_keep_within_their_budgets(sketches_with_pins):
    sizes = (sketches_with_pins / "sizes.txt").read_text()
    print(sizes)
    assert re.findall(r"^(\w+)", sizes, re.MULTILINE) == sorted({each.sketch for each in BOARDS.values()})


# ---- a simulated machine at the pins of the chip, as far as the verdict ----

SECONDS, START_S, STEP_S = 9.0, 1.2, 0.002


def machine_script(sensor: str, rig, faults) -> str:
    """Current, voltage and both switches of a simulated lock throw."""
    rng = np.random.default_rng(5)
    ideal = SensorModel(resolution_a=0.0, voltage_resolution_v=0.0, full_scale_a=1e6)
    air = ThrowConditions(temperature_c=9.0)
    thrown = make_waveform(machine_for(rig, 3), "lock", air, ideal, faults, rng)
    time_s = np.arange(0.0, SECONDS, STEP_S)
    current_a, voltage_v = thrown.at(time_s - START_S, ideal, rng)
    events = [Event(0.0, "thermistor-mv", thermistor_mv(9.0))]
    for side in ("left", "right"):
        closed = thrown.switch(side, time_s - START_S, 0.0)
        changes = np.flatnonzero(np.diff(closed.astype(int), prepend=0))
        events += [Event(float(time_s[at]), f"{side}-switch", int(closed[at])) for at in changes]
    points = list(zip(time_s.tolist(), current_a.tolist(), voltage_v.tolist(), strict=True))
    return script(sensor, points, sorted(events, key=lambda event: event.time_s))


@pytest.fixture
def judged(emulator, sketches_with_pins, tmp_path):
    def record(sensor, *faults):
        (tmp_path / "rig.toml").write_text(RIG_FILE)
        rig = read_rig(tmp_path / "rig.toml")
        text = machine_script(sensor, rig, faults)
        with emulated_board(emulator, sketches_with_pins, sensor, text, SECONDS, tmp_path) as emulated:
            emulated.go()
            plan = RecordPlan(emulated.port, rig, "lock", tmp_path / "journals", rate_hz=200)
            return Recording(plan, now=lambda: datetime.now(UTC)).run()

    return record


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("sensor", ONE_OF_EACH)
def test_one_pin_left_behind_is_told_with_its_side_from_the_chips_pins_to_the_verdict(judged, sensor, side):
    recorded = judged(sensor, SimulatedFault("pin-behind", side=side))
    assert recorded.lost == 0
    (sign,) = [one for one in recorded.assessment.signs if one.sign == "switch-open"]
    assert (sign.level, sign.side) == ("fail", side)
    assert recorded.assessment.verdict == "fail"
    stand = dict(zip(("left", "right"), recorded.trace.switches_at_end, strict=True))
    assert stand.pop(side) is False
    assert stand.popitem()[1] is True
    assert recorded.trace.at_the_board_c == pytest.approx(9.0, abs=0.3)


@pytest.mark.parametrize("sensor", ONE_OF_EACH)
def test_two_pins_that_arrive_raise_no_sign_of_a_switch(judged, sensor):
    recorded = judged(sensor)
    assert recorded.trace.switches_at_end == (True, True)
    assert not [one for one in recorded.assessment.signs if one.sign.startswith("switch")]
    assert recorded.assessment.verdict != "fail"
