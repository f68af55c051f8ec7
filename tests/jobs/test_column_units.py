"""A column in another unit is asked about; nothing that it shows reaches the status unasked, and no true record is asked about."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from throwbook.core.diagnosis.column_units import _flows, odd_units
from throwbook.errors import InputError
from throwbook.files.rig_file import read_rig
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs.assess import TraceReading
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.jobs.rig_list import list_rigs
from throwbook.jobs.rigs import add_rig
from throwbook.logbook import open_logbook

SAMPLES = Path(__file__).parents[2] / "sample-runs"
RIG = read_rig(SAMPLES / "yard-loader.toml")
LOCK = SAMPLES / "baseline" / "lock-1.csv"
RATE_HZ = 1.0 / np.median(np.diff(read_trace(LOCK).time_s))
NOW = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)


def scaled(time=1.0, current=1.0, voltage=1.0, source=LOCK):
    one = read_trace(source)
    volts = None if one.voltage_v is None else one.voltage_v * voltage
    return replace(one, time_s=one.time_s * time, current_a=one.current_a * current, voltage_v=volts)


def rows_as_time(source=LOCK):
    one = read_trace(source)
    return replace(one, time_s=np.arange(len(one), dtype=float))


def days_as_time(source=LOCK):
    one = read_trace(source)
    return replace(one, time_s=46_000.4 + one.time_s / 86_400.0)


WRONG = {
    "milliseconds": (scaled(time=1e3), "time-unit", "--time-unit ms", {"time": 1e-3}),
    "microseconds": (scaled(time=1e6), "time-unit", "--time-unit us", {"time": 1e-6}),
    "row numbers": (rows_as_time(), "time-unit", "--rate 200", {"time": 1.0 / RATE_HZ}),
    "days of a spreadsheet": (days_as_time(), "time-unit", "--time-unit d", {"time": 86_400.0}),
    "milliampere": (scaled(current=1e3), "current-unit", "--current-unit mA", {"current": 1e-3}),
    "a thousand times too little": (
        scaled(current=1e-3),
        "current-unit",
        "--current-unit kA",
        {"current": 1e3},
    ),
    "millivolt": (scaled(voltage=1e3), "voltage-unit", "--voltage-unit mV", {"voltage": 1e-3}),
    "a thousandth of the volts": (
        scaled(voltage=1e-3),
        "voltage-unit",
        "--voltage-unit kV",
        {"voltage": 1e3},
    ),
}


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "logbook"
    add_rig(path, SAMPLES / "yard-loader.toml", "M. K.", NOW)
    return path


@pytest.mark.parametrize("case", WRONG)
def test_a_column_in_another_unit_is_refused_with_the_option_that_reads_it(case, book, tmp_path):
    trace, kind, option, factors = WRONG[case]
    write_trace(trace, tmp_path / "odd.csv")
    order = ImportPlan("yard-loader", "spot", [tmp_path / "odd.csv"])
    with pytest.raises(InputError) as told:
        import_traces(book, order, "M. K.", NOW)
    assert option in str(told.value)
    assert f"--allow {kind}" in str(told.value)
    with open_logbook(book, read_only=True) as opened:
        assert opened.trials(rig="yard-loader") == []
        assert opened.orders("yard-loader") == []
    done = import_traces(book, order, "M. K.", NOW, reading=TraceReading(factors=factors))
    [logged] = done.logged
    plain = import_traces(book, ImportPlan("yard-loader", "spot", [LOCK]), "M. K.", NOW)
    figures = logged.judgement.assessment.figures
    assert logged.judgement.assessment.verdict != "fail"
    assert [rig.rig_status.status.level for rig in list_rigs(book, NOW.date())] == [plain.status.level]
    assert figures.travel_time_s.value == pytest.approx(14.0, abs=3.0)
    assert figures.run_current_a.value == pytest.approx(2.4, abs=1.0)


@pytest.mark.parametrize(
    ("share", "asked"), [(0.39, False), (0.41, True), (1.0, True), (1.95, True), (2.05, False)]
)
def test_millivolts_are_asked_about_where_they_make_a_supply_of_this_rig(share, asked):
    """A supply lies between 0.4 and 2.0 of the nominal voltage (assumed)."""
    trace = read_trace(LOCK)
    flat = replace(trace, voltage_v=np.full(len(trace), share * RIG.actuator.voltage_v / 1000.0))
    assert [one.quantity for one in odd_units(flat, RIG)] == ["voltage"] * asked


@pytest.mark.parametrize(("share", "asked"), [(0.95, True), (1.05, False)])
def test_a_whole_throw_below_a_twentieth_of_the_no_load_current_is_asked_about(share, asked):
    """Less than 5 % of it in every reading is no motor in ampere (assumed)."""
    highest_a = float(np.abs(read_trace(LOCK).current_a).max())
    faint = scaled(current=share * 0.05 * RIG.actuator.no_load_current_a / highest_a)
    assert [one.quantity for one in odd_units(faint, RIG)] == ["current"] * asked


def test_two_columns_may_be_odd_at_once():
    odd = odd_units(scaled(time=1e3, current=1e3, voltage=1e3), RIG)
    assert [one.quantity for one in odd] == ["time", "current", "voltage"]


EVERY_SAMPLE = sorted(SAMPLES.rglob("*.csv"))


@pytest.mark.parametrize("path", EVERY_SAMPLE, ids=lambda path: path.stem)
def test_no_true_record_whatever_its_fault_is_asked_about(path):
    assert odd_units(read_trace(path), RIG) == []


def quiet(level_a=0.0, noise_a=0.003, drift_a=0.0, rate_hz=200.0, seconds=20.0):
    """A record in which nothing runs: a sensor's offset, its noise, its drift."""
    rows = int(rate_hz * seconds)
    noise = np.random.default_rng(3).normal(0.0, noise_a, rows)
    time_s = np.arange(rows) / rate_hz
    current_a = level_a + noise + drift_a * time_s / seconds
    return replace(read_trace(LOCK), time_s=time_s, current_a=current_a, voltage_v=None)


@pytest.mark.parametrize(
    "still",
    [
        quiet(),
        quiet(0.004),
        quiet(noise_a=0.0),
        quiet(0.01, 0.0002, 0.004),
        quiet(rate_hz=10.0),
        quiet(rate_hz=10_000.0),
    ],
    ids=["noise", "offset", "dead", "drift", "10 Hz", "10 kHz"],
)
def test_a_record_in_which_nothing_runs_is_no_throw_in_another_unit(still):
    assert odd_units(still, RIG) == []


@pytest.mark.parametrize("factor", [1e3, 1e6])
@pytest.mark.parametrize("rate_hz", [10, 50, 1000])
def test_a_time_in_another_unit_is_told_at_any_rate(rate_hz, factor):
    one = read_trace(LOCK)
    time_s = np.arange(one.time_s[0], one.time_s[-1], 1.0 / rate_hz)
    current_a = np.interp(time_s, one.time_s, one.current_a)
    thrown = replace(one, time_s=time_s, current_a=current_a, voltage_v=None)
    assert odd_units(thrown, RIG) == []
    assert [odd.quantity for odd in odd_units(replace(thrown, time_s=time_s * factor), RIG)] == ["time"]


def test_a_current_that_flows_in_a_fiftieth_of_the_rows_is_told_from_the_noise_of_the_others():
    current_a = np.resize([0.01, -0.01], 1000)
    current_a[400:420] = 3.0
    assert _flows(current_a) == 0.02
