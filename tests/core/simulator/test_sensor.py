"""The sensor, the stream of a simulated board, and what makes records differ."""

from dataclasses import replace
from itertools import islice

import numpy as np
import pytest

from throwbook.core.simulator import (
    SensorModel,
    SimulatedFault,
    ThrowConditions,
    make_waveform,
    random_machine,
    random_sensor,
    stream,
    throw,
)
from throwbook.core.simulator.sensor import sense_current

CLEAN = SensorModel(rate_hz=500, noise_a=0, resolution_a=0, before_s=0.5, after_s=0.5, voltage_noise_v=0)

MILD = ThrowConditions()


def machine(seed=3):
    return random_machine(np.random.default_rng(seed))[1]


def record(sensor, seed=4, conditions=MILD, which=None):
    return throw(which or machine(), "lock", conditions, sensor, [], np.random.default_rng(seed)).trace


def test_the_same_seed_gives_the_same_record_bit_for_bit():
    sensor = random_sensor(np.random.default_rng(1), machine())
    one, two = record(sensor), record(sensor)
    assert np.array_equal(one.current_a, two.current_a)
    assert np.array_equal(one.time_s, two.time_s)
    assert np.array_equal(one.voltage_v, two.voltage_v)


def test_errors_of_the_sensor_come_out_as_they_were_put_in():
    true = np.linspace(0, 5, 20_000)
    sensor = replace(
        CLEAN, gain=1.02, offset_a=-0.1, noise_a=0.05, resolution_a=0.01, full_scale_a=4.0, polarity=-1
    )
    seen = sense_current(sensor, true, true, np.random.default_rng(0))
    low = true < 3.5
    assert np.polyfit(true[low], seen[low], 1) == pytest.approx([-1.02, 0.1], abs=0.005)
    assert np.std(seen[low] + 1.02 * true[low]) == pytest.approx(0.05, rel=0.05)
    assert seen.min() == -4.0
    assert np.allclose(seen / 0.01, np.round(seen / 0.01))


def test_commutation_ripple_follows_the_speed_and_an_aperture_averages_it_out():
    heights = []
    for aperture in (0.0, 0.01):
        sensor = replace(CLEAN, rate_hz=10_000, aperture_s=aperture)
        thrown = throw(machine(), "lock", MILD, sensor, [], np.random.default_rng(4))
        m, motor = thrown.waveform.motion, machine().motor
        middle = slice(10_000, 14_096)
        at = thrown.trace.time_s[middle].mean() - thrown.truth.start_s
        expected_hz = motor.ripples_per_turn * np.interp(at, m.time_s, m.speed_rad_s) / (2 * np.pi)
        current = thrown.trace.current_a[middle]
        lines = np.abs(np.fft.rfft((current - current.mean()) * np.hanning(4096))) * 4 / 4096
        hertz = np.fft.rfftfreq(4096, 1e-4)
        near = (hertz > 0.9 * expected_hz) & (hertz < 1.1 * expected_hz)
        heights.append(lines[near].max() / current.mean())
    assert heights[0] == pytest.approx(machine().motor.ripple, rel=0.3)
    assert heights[1] < 0.2 * heights[0]


def test_the_alternator_ripples_only_with_the_engine_running():
    off, on = (record(CLEAN, conditions=ThrowConditions(engine_running=run)) for run in (False, True))
    assert np.std(off.voltage_v[:200]) < 0.005
    assert np.std(on.voltage_v[:200]) > 0.01
    assert on.voltage_v[:200].mean() > off.voltage_v[:200].mean() + 0.5


def test_lost_rows_show_as_gaps_in_the_times():
    trace = record(replace(CLEAN, lost_share=0.05))
    steps = np.diff(trace.time_s) * 500
    assert np.mean(steps > 1.5) == pytest.approx(0.05, abs=0.02)


def test_time_stamps_jitter_but_never_turn_back():
    trace = record(replace(CLEAN, jitter_s=0.001))
    steps = np.diff(trace.time_s)
    assert np.all(steps > 0)
    assert np.std(steps) > 0.0005


def test_the_current_dies_with_its_own_time_constant_and_may_flow_back():
    slow = replace(machine(), cut_s=0.004, undershoot=0.3)
    thrown = throw(slow, "lock", MILD, replace(CLEAN, rate_hz=10_000), [], np.random.default_rng(4))
    after = thrown.trace.time_s - thrown.truth.end_s
    last = thrown.waveform.motion.current_a[-1]
    falling = (after > 0) & (after < 0.0038)
    assert np.log(thrown.trace.current_a[falling] / last) == pytest.approx(-after[falling] / 0.004, abs=0.05)
    assert thrown.trace.current_a[after > 0].min() < -0.05 * last
    assert np.all(np.abs(thrown.trace.current_a[after > 0.06]) < 0.001 * last)


def test_the_zero_wanders_as_fast_as_it_says():
    trace = record(replace(CLEAN, drift_a_s=0.01))
    rest = trace.current_a[-50:].mean() - trace.current_a[:50].mean()
    assert rest == pytest.approx(0.01 * (trace.time_s[-25] - trace.time_s[25]), rel=0.02)


def test_no_voltage_channel_where_the_board_has_none():
    assert record(replace(CLEAN, has_voltage=False)).voltage_v is None


def test_a_board_after_the_reversing_switch_sees_signs_turn_and_nothing_at_rest():
    behind = replace(machine(), placed_in="motor")
    for direction, sign in (("lock", 1), ("unlock", -1)):
        trace = throw(behind, direction, ThrowConditions(), CLEAN, [], np.random.default_rng(2)).trace
        middle = slice(len(trace) // 3, len(trace) // 2)
        assert np.all(sign * trace.current_a[middle] > 0)
        assert np.all(sign * trace.voltage_v[middle] > 0)
        assert np.all(np.abs(trace.voltage_v[:100]) < 0.01)
        assert (sign * trace.current_a).min() < 0  # brake pulse


def test_stream_is_the_record_in_counts_and_then_idles():
    truth = throw(machine(), "lock", ThrowConditions(), CLEAN, [], np.random.default_rng(6)).truth
    wave = make_waveform(machine(), "lock", ThrowConditions(), CLEAN, [], np.random.default_rng(6))
    seconds = truth.travel_time_s + 3
    readings = list(
        islice(stream([(1.0, wave)], CLEAN, np.random.default_rng(1), 0.001, 0.004), int(seconds * 500))
    )
    time = np.array([r.time_s for r in readings])
    amps = np.array([r.current_counts for r in readings]) * 0.001
    assert time == pytest.approx(np.arange(len(readings)) / 500)
    assert np.all(amps[time < 1.0] == 0)
    assert np.all(amps[time > 1.1 + truth.travel_time_s] == 0)
    running = (time > 1.0 + truth.inrush_end_s - truth.start_s) & (time < 1.0 + truth.travel_time_s)
    assert amps[running].mean() == pytest.approx(truth.run_current_a, rel=0.01)


def test_stream_plays_several_throws_one_after_the_other():
    waves = [
        make_waveform(machine(), d, ThrowConditions(), CLEAN, [], np.random.default_rng(6))
        for d in ("lock", "unlock")
    ]
    second = 2.0 + waves[0].motion.current_until_s
    source = stream([(0.5, waves[0]), (second, waves[1])], CLEAN, np.random.default_rng(1), 0.001, 0.004)
    amps = np.array([r.current_counts for r in islice(source, int((second + 2) * 500))]) * 0.001
    assert np.all(np.abs(amps[int((second - 0.5) * 500) : int(second * 500)]) < 0.01)
    assert amps[int((second + 0.5) * 500) :].mean() > 0.1


def test_stream_takes_the_sensor_faults_of_its_throws():
    wave = make_waveform(
        machine(),
        "lock",
        ThrowConditions(),
        CLEAN,
        [SimulatedFault("clipped", 0.5)],
        np.random.default_rng(6),
    )
    counts = [
        r.current_counts
        for r in islice(stream([(0.2, wave)], CLEAN, np.random.default_rng(1), 0.001, 0.004), 2000)
    ]
    assert max(counts) <= 0.5 * machine().healthy_run_current_a("lock") / 0.001 + 1
