"""The compiled sketches with a one-wire probe in place of the thermistor, on the emulated chip with an emulated DS18B20."""

import re

import numpy as np
import pytest

from tests.firmware.emulator.boards import BOARDS
from tests.firmware.emulator.harness import EmulatedBoard, Heard, converse
from tests.firmware.emulator.strokes import Event, Stroke, steady, stroke_points
from tests.firmware.test_emulated_boards import RAM_END, STACK_BUDGET, powered_by
from throwbook.protocol.messages import FaultEvent, Lost, Samples, pin_switches

pytestmark = [pytest.mark.emulator, pytest.mark.long]

ONE_OF_EACH = ("hall", "ina226")
PERIOD_US = 5000
CYCLES_PER_US = 16
PORT_D4 = ("D", "16")
STEADY_US = {"hall": 12, "ina226": 200}
"""How far two samples may be from a period apart. micros() steps by 4 us; with a thermistor it comes to 8 and 132."""
PULSES_US = {"reset": (480, 640), "write 0": (60, 120), "write 1 or read": (1, 15)}
"""Lows that the data sheet of the DS18B20 allows; a reset may be longer, but must not be late for the next sample."""


@pytest.fixture
def board(emulator, sketches_with_one_wire, tmp_path):
    return powered_by(emulator, sketches_with_one_wire, tmp_path)


def column(heard: Heard, name: str) -> np.ndarray:
    return np.concatenate([getattr(block, name) for block in heard.of(Samples)])


def nothing_but_pulses(emulated: EmulatedBoard) -> None:
    """No pin but D4 was ever an output, and that one for pulses of the bus alone."""
    assert {fact.words for fact in emulated.facts("output")} <= {PORT_D4}
    lows = np.array([fact.value for fact in emulated.facts("low")]) / CYCLES_PER_US
    assert abs(len(lows) - len(emulated.facts("output"))) <= 1  # each began and ended
    allowed = [(lows >= least) & (lows <= most) for least, most in PULSES_US.values()]
    assert np.any(allowed, axis=0).all(), sorted(set(lows))


@pytest.mark.parametrize("sensor", ONE_OF_EACH)
def test_it_is_read_between_the_samples_and_no_sample_is_late_or_lost(board, sensor):
    stroke = Stroke(start_s=0.3, end_s=2.4)
    events = [Event(0.0, "probe-sixteenths", -85), Event(1.0, "left-switch", 1)]
    with board(sensor, stroke_points(stroke, 3.0), 3.0, events) as emulated:
        heard = converse(emulated)
    nothing_but_pulses(emulated)
    assert heard.session.identity.channels == "IVST"
    assert not heard.of(Lost)
    assert not heard.of(FaultEvent)
    assert RAM_END - emulated.facts("stack")[0].time_s < STACK_BUDGET
    masked_us = emulated.facts("masked")[0].time_s / CYCLES_PER_US
    apart_us = np.diff(sample_rows_with_more(heard)[:, 1])
    print(
        f"{sensor}: {RAM_END - emulated.facts('stack')[0].time_s:.0f} bytes of stack, interrupts off {masked_us:.1f} us, "
        f"samples {apart_us.min()} to {apart_us.max()} us apart"
    )
    assert masked_us <= 75
    assert np.abs(apart_us - PERIOD_US).max() <= STEADY_US[sensor]
    read = column(heard, "temperature_c")
    assert np.unique(read[~np.isnan(read)]).tolist() == [-5.31]  # -85 / 16
    assert not np.isnan(read[-200:]).any()
    left, right = pin_switches(column(heard, "switches"))
    assert left[-200:].all()
    assert not right.any()


def sample_rows_with_more(heard: Heard) -> np.ndarray:
    """SEQ and MICROS of the whole sample lines, the last left out: the end of the simulation may cut it."""
    return np.array([fields[1:3] for fields in heard.body_fields("D")][:-1], dtype=np.int64)


@pytest.mark.parametrize("trouble", [("probe-present", 0, 1), ("probe-shorted", 1, 0), ("probe-flip", 3, -1)])
@pytest.mark.parametrize("sensor", ONE_OF_EACH)
def test_a_probe_that_is_off_shorted_or_misheard_is_no_temperature_until_it_is_mended(board, sensor, trouble):
    name, on, off = trouble
    events = [Event(0.0, "probe-sixteenths", 400), Event(1.5, name, on), Event(3.2, name, off)]
    with board(sensor, steady(1.0), 5.5, events) as emulated:
        heard = converse(emulated)
    nothing_but_pulses(emulated)
    assert not heard.of(Lost)
    # by the script's clock: a record whose start was asked for twice begins later
    time_s = sample_rows_with_more(heard)[:, 1] / 1e6 - emulated.began_s()
    read = column(heard, "temperature_c")[: len(time_s)]
    assert set(read[~np.isnan(read)]) == {25.0}
    assert (read[(time_s > 1.3) & (time_s < 1.5)] == 25.0).all()
    assert np.isnan(read[(time_s > 2.8) & (time_s < 3.1)]).all()
    assert (read[time_s > 5.2] == 25.0).all()
    assert time_s[-1] > 5.4


@pytest.mark.parametrize("sensor", ONE_OF_EACH)
def test_the_85_degrees_of_a_probe_that_lost_its_supply_never_come(board, sensor):
    losses = [Event(0.2 + 0.31 * n, "probe-power-loss") for n in range(8)]
    events = [Event(0.0, "probe-sixteenths", 400), *losses]
    with board(sensor, steady(1.0), 4.5, events) as emulated:
        heard = converse(emulated)
    read = column(heard, "temperature_c")
    assert set(read[~np.isnan(read)]) == {25.0}


def test_the_sketches_with_a_one_wire_probe_keep_within_their_budgets(sketches_with_one_wire):
    sizes = (sketches_with_one_wire / "sizes.txt").read_text()
    print(sizes)
    assert re.findall(r"^(\w+)", sizes, re.MULTILINE) == sorted({each.sketch for each in BOARDS.values()})
