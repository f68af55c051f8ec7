"""A bench instrument as a slow source: a simulated one through PyVISA, and a scripted one for the throw."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tests.ports.bench import RIG, throw_source
from throwbook.errors import InputError, OutsideError
from throwbook.jobs.record import Recording, RecordPlan
from throwbook.ports.scpi import ScpiPort, open_scpi
from throwbook.protocol.messages import FaultEvent, Identified, Samples
from throwbook.protocol.session import Session

SIMULATED = f"scpi:ASRL1::INSTR@{Path(__file__).with_name('instrument.yaml')}@sim"
NOW = datetime(2026, 3, 14, tzinfo=UTC)


def plan(tmp_path: Path, **changes) -> RecordPlan:
    given = {"port": SIMULATED, "rate_hz": 20, "seconds": 1.0, "by_key": True, **changes}
    return RecordPlan(rig=RIG, direction="lock", folder=tmp_path, **given)


def test_a_simulated_supply_is_recorded_through_pyvisa(tmp_path: Path):
    recorded = Recording(plan(tmp_path), now=lambda: NOW).run()
    assert recorded.identity.id == "Fellside Bench PS-1 0042"
    assert recorded.trace.current_a == pytest.approx(2.013)
    assert recorded.trace.voltage_v == pytest.approx(12.6)
    assert np.median(np.diff(recorded.trace.time_s)) == pytest.approx(0.05, rel=0.3)


def test_a_meter_is_read_with_fetch_and_has_no_voltage(tmp_path: Path):
    recorded = Recording(plan(tmp_path, reading="fetch"), now=lambda: NOW).run()
    assert recorded.trace.current_a == pytest.approx(1.987)
    assert recorded.trace.voltage_v is None


def test_a_rate_above_20_is_refused(tmp_path: Path):
    with pytest.raises(InputError, match="at most 20 per second"):
        Recording(plan(tmp_path, rate_hz=200), now=lambda: NOW).run()


@pytest.mark.parametrize("name", ["scpi:ASRL9::INSTR@" + SIMULATED.partition("@")[2], "scpi:nonsense"])
def test_an_instrument_that_is_not_there_is_told(name: str):
    with pytest.raises(OutsideError, match="instrument doesn't"):
        open_scpi(name, 9600)


class Scripted:
    """An instrument whose readings follow a throw; it alone moves the time."""

    def __init__(self, answer_s: float = 0.005) -> None:
        self.now_s = 0.0
        self.answer_s = answer_s
        self.source = throw_source(noise_a=0.0)
        self.odd: dict[float, str] = {}
        """Answers from so many seconds on, instead of a reading."""

    def wait(self, seconds: float) -> None:
        self.now_s += seconds

    def query(self, message: str) -> str:
        self.now_s += self.answer_s
        if message == "*IDN?":
            return "Fellside Bench,PS-2,7,2.0\r\n"
        for from_s, text in self.odd.items():
            if from_s <= self.now_s < from_s + 0.2:
                return text
        current, volts = self.source(np.array([self.now_s]))
        return f"{(current if 'CURR' in message else volts)[0]:.4E}"

    def close(self) -> None:
        raise RuntimeError("instruments may fail to close")


def listen(instrument: Scripted, seconds: float, rate_hz: int = 10):
    port = ScpiPort("scpi:x", instrument, monotonic=lambda: instrument.now_s, wait=instrument.wait)
    session = Session()
    events = []
    port.write(session.start(rate_hz))
    while instrument.now_s < seconds:
        events += session.receive(port.read())
        port.write(session.to_send())
    port.close()
    return events, session


def test_a_throw_comes_out_with_its_times_and_values():
    events, session = listen(Scripted(), 18.0)
    assert isinstance(next(event for event in events if isinstance(event, Identified)), Identified)
    time_s = np.concatenate([event.time_s for event in events if isinstance(event, Samples)])
    current_a = np.concatenate([event.current_a for event in events if isinstance(event, Samples)])
    running = current_a > 1.0
    assert session.lost == 0
    assert time_s[running][-1] - time_s[running][0] == pytest.approx(12.0, abs=0.2)
    assert np.median(current_a[running]) == pytest.approx(1.6, abs=0.001)


def test_an_instrument_too_slow_for_the_rate_has_its_missed_readings_counted():
    _, session = listen(Scripted(answer_s=0.08), 10.0, rate_hz=20)
    # Each sample takes two answers of 80 ms, so it makes about one tick in three or four.
    assert session.samples + session.lost == pytest.approx(10 * 20, abs=8)
    assert session.lost > session.samples


def test_overload_is_told_and_leaves_a_gap():
    instrument = Scripted()
    instrument.odd[5.0] = "9.91E37"
    events, session = listen(instrument, 8.0)
    assert any(isinstance(event, FaultEvent) and "overload" in event.text for event in events)
    assert session.lost in (1, 2, 3)


def test_an_answer_that_is_no_number_names_the_query():
    instrument = Scripted()
    instrument.odd[5.0] = "ERROR"
    with pytest.raises(OutsideError, match="is no reading"):
        listen(instrument, 8.0)
