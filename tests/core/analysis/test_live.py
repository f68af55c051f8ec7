"""The live detector: any rate, any blocks, spikes, offsets, stalls."""

import numpy as np
import pytest

from throwbook.core.analysis.live import (
    AT_STALL,
    FLOWING,
    HOLD_S,
    OVER,
    OVER_RATED,
    RESTING,
    LiveThrow,
)
from throwbook.core.rig import Actuator

ACTUATOR = Actuator(12.0, 0.2, 1500.0, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011)
RATES_HZ = [10, 50, 200, 1000, 10_000]


def throw(rate_hz, *, run_a=2.0, run_s=12.0, rest_s=2.0, after_s=3.0, offset_a=0.0, noise_a=0.02, seed=1):
    """Times, current, voltage of a plain throw: rest, a surge that decays, a steady run, rest."""
    time_s = np.arange(round((rest_s + run_s + after_s) * rate_hz)) / rate_hz
    on = (time_s >= rest_s) & (time_s < rest_s + run_s)
    surge = 6.0 * np.exp(-(time_s - rest_s) / 0.03)
    current = np.where(on, run_a + np.where(time_s >= rest_s, surge, 0.0), 0.0)
    current += offset_a + np.random.default_rng(seed).normal(0, noise_a, len(time_s))
    return time_s, current, 12.6 - 0.1 * current


def followed(samples, block: int) -> LiveThrow:
    live = LiveThrow(ACTUATOR)
    for at in range(0, len(samples[0]), block):
        live.take(*(column[at : at + block] for column in samples))
    return live


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("offset_a", [-0.2, 0.0, 0.2])
def test_start_and_end_are_found_at_any_rate_and_offset(rate_hz: int, offset_a: float):
    live = followed(throw(rate_hz, offset_a=offset_a), block=max(1, rate_hz // 20))
    assert live.phase == OVER
    assert live.start_s == pytest.approx(2.0, abs=1.01 / rate_hz)
    assert live.end_s == pytest.approx(14.0, abs=1.01 / rate_hz)
    assert live.figures().running_s == pytest.approx(12.0, abs=2.02 / rate_hz)


@pytest.mark.parametrize("block", [1, 7, 100, 10_000])
def test_the_same_comes_out_of_any_blocks_but_for_the_zero_they_could_learn(block: int):
    live, whole = followed(throw(200), block), followed(throw(200), 50)
    assert (live.phase, live.start_s, live.end_s) == (whole.phase, whole.start_s, whole.end_s)
    assert live.figures().peak_a == pytest.approx(whole.figures().peak_a, abs=0.005)
    assert live.figures().travel_fraction == pytest.approx(whole.figures().travel_fraction, abs=0.002)
    np.testing.assert_allclose(live.figures().strip_high_a, whole.figures().strip_high_a, atol=0.005)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_spikes_and_noise_at_rest_start_nothing(rate_hz: int):
    time_s, current, volts = throw(rate_hz, run_a=0.0, run_s=0.0, rest_s=20.0, noise_a=0.05)
    current[rate_hz :: 3 * rate_hz] = 9.0
    live = followed((time_s, current, volts), block=max(1, rate_hz // 20))
    assert live.phase == RESTING


def test_a_contact_that_opens_for_half_a_second_does_not_end_the_throw():
    time_s, current, volts = throw(200)
    current[(time_s > 6) & (time_s < 6.5)] = 0.0
    live = followed((time_s, current, volts), 10)
    assert live.end_s == pytest.approx(14.0, abs=0.011)


def test_current_the_other_way_counts_the_same():
    time_s, current, volts = throw(200)
    live, turned = followed((time_s, current, volts), 10), followed((time_s, -current, volts), 10)
    assert (live.start_s, live.end_s) == (turned.start_s, turned.end_s)


def test_a_record_that_begins_in_mid_run_runs_at_once():
    time_s, current, volts = (column[800:] for column in throw(200))
    live = LiveThrow(ACTUATOR)
    live.take(time_s[:20], current[:20], volts[:20])
    assert live.phase == FLOWING
    assert live.start_s == time_s[0]


def test_the_throw_is_over_one_hold_after_the_fall_and_not_before():
    samples = throw(200)
    live = LiveThrow(ACTUATOR)
    over_at_s = next(
        float(t)
        for t, i, v in zip(*samples, strict=True)
        if (live.take(np.array([t]), np.array([i]), np.array([v])) or live.phase == OVER)
    )
    assert over_at_s == pytest.approx(14.0 + HOLD_S, abs=0.011)


def warned_after(samples, since_s: float, rate_hz: int) -> tuple[float, str]:
    """Seconds from ``since_s`` to the first warning, and its words."""
    live = LiveThrow(ACTUATOR)
    block = max(1, rate_hz // 20)
    for at in range(0, len(samples[0]), block):
        live.take(*(column[at : at + block] for column in samples))
        if live.figures().warning:
            return float(samples[0][min(at + block, len(samples[0])) - 1]) - since_s, live.figures().warning
    return float("inf"), ""


@pytest.mark.parametrize("rate_hz", [50, 200, 1000])
def test_current_over_the_rated_maximum_is_told_within_0_3_s(rate_hz: int):
    time_s, current, volts = throw(rate_hz)
    current[(time_s >= 7) & (time_s < 14)] = 4.2
    after_s, warning = warned_after((time_s, current, volts), 7.0, rate_hz)
    assert 0.0 < after_s <= 0.25  # the rest of the 0.3 s is for the cable and the disk
    assert warning == OVER_RATED


@pytest.mark.parametrize("rate_hz", [50, 200, 1000])
def test_a_motor_that_never_starts_is_told_within_0_3_s(rate_hz: int):
    time_s, current, volts = throw(rate_hz, run_a=9.0)
    after_s, warning = warned_after((time_s, current, volts), 2.0, rate_hz)
    assert after_s <= 0.33
    assert warning == AT_STALL


@pytest.mark.parametrize("rate_hz", [50, 200, 1000, 10_000])
def test_a_healthy_throw_with_its_surge_and_spikes_warns_of_nothing(rate_hz: int):
    time_s, current, volts = throw(rate_hz, noise_a=0.05)
    current[3 * rate_hz :: rate_hz] = 8.0
    assert warned_after((time_s, current, volts), 0.0, rate_hz)[1] == ""


def test_the_estimated_travel_is_what_the_rating_says():
    live = followed(throw(200, run_a=0.9, run_s=10.0, noise_a=0.0), 10)
    # 10 s at the no-load current and 12.51 V: v = (12.51 - 0.9 R)/k_e with R and k_e of the data sheet.
    ratio = 0.011 / 0.016
    r_ohm = 12 * (1 - ratio) / (3.6 - ratio * 0.9)
    k_e = (12 - 0.9 * r_ohm) / 0.016
    expected = 10.0 * (12.51 - 0.9 * r_ohm) / k_e / 0.2
    assert live.figures().travel_fraction == pytest.approx(expected, rel=0.01)


def test_without_a_voltage_the_nominal_one_stands_in():
    time_s, current, _ = throw(200)
    live = LiveThrow(ACTUATOR)
    live.take(time_s, current, None)
    assert live.figures().voltage_v is None
    assert live.figures().travel_fraction > 0.5


def test_the_strip_is_decimated_and_keeps_every_extreme():
    time_s, current, volts = throw(10_000)
    current[60_000], current[80_000] = 7.7, 0.3
    figures = followed((time_s, current, volts), 120).figures()
    assert len(figures.strip_s) <= (12 + HOLD_S) / 0.05 + 2
    assert figures.strip_high_a.max() == pytest.approx(current.max(), abs=0.05)
    assert (
        pytest.approx(figures.strip_high_a[np.searchsorted(figures.strip_s, 4.0, "right") - 1], abs=0.05)
        == 7.7
    )
    assert figures.strip_low_a[np.searchsorted(figures.strip_s, 6.0, "right") - 1] == pytest.approx(
        0.3, abs=0.05
    )
