"""Start, transient and end on records whose times are known."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.core.drawn_strokes import RIG, Drawn
from tests.drawn import drawn
from throwbook.core.analysis.movements import movements_of
from throwbook.core.analysis.residual_current import FullStroke
from throwbook.core.analysis.segmentation import _back_to_the_knee, _first_opening, segment
from throwbook.core.analysis.transient import _falls_for_good
from throwbook.core.trace import Trace

I0 = 0.9
STROKE = FullStroke(140.0, 0.05, 0.9, 15.0, I0, 3.6)


def cut(trace: Trace):
    return segment(movements_of(trace, RIG, STROKE)[0], I0)


@pytest.mark.parametrize("rate_hz", [10, 25, 50, 100, 200, 400, 1000, 10_000])
@pytest.mark.parametrize("sign", [1, -1])
def test_start_and_end_within_one_sample_at_any_rate_and_polarity(rate_hz, sign):
    drawn = Drawn(rate_hz=rate_hz, sign=sign, rest_s=0.637, run_s=13.211)
    found = cut(drawn.trace())
    assert abs(found.start_s - drawn.start_s) <= 1.0 / rate_hz
    assert abs(found.end_s - drawn.end_s) <= 1.0 / rate_hz
    assert found.polarity == sign


@settings(max_examples=drawn(60, 20), deadline=None)
@given(
    rate_hz=st.floats(40, 500),
    rest_s=st.floats(0.25, 2.0),
    run_s=st.floats(2.0, 15.0),
    offset_a=st.floats(-0.15, 0.15),
    noise_a=st.floats(0.0, 0.06),
    ripple=st.floats(0.0, 0.15),
    ripple_hz=st.floats(5.0, 300.0),
    seed=st.integers(0, 1000),
)
def test_start_and_end_within_one_sample_whatever_the_record(
    rate_hz, rest_s, run_s, offset_a, noise_a, ripple, ripple_hz, seed
):
    drawn = Drawn(
        rate_hz=rate_hz,
        rest_s=rest_s,
        run_s=run_s,
        offset_a=offset_a,
        noise_a=noise_a,
        ripple=ripple,
        ripple_hz=ripple_hz,
        seed=seed,
    )
    found = cut(drawn.trace())
    assert abs(found.start_s - drawn.start_s) <= 1.01 / rate_hz
    assert abs(found.end_s - drawn.end_s) <= 1.01 / rate_hz
    assert abs(found.zero_a - offset_a) <= 5.0 * noise_a / np.sqrt(0.25 * rate_hz) + 1e-6


def test_a_lone_spike_at_rest_is_not_the_start():
    drawn = Drawn()
    trace = drawn.trace()
    trace.current_a[40] = 8.0
    found = cut(trace)
    assert abs(found.start_s - drawn.start_s) <= 1.0 / drawn.rate_hz


@pytest.mark.parametrize("spike_a", [-3.0, -2.5, 2.5])
def test_a_lone_spike_that_smoothing_spreads_over_rows_is_no_movement(spike_a):
    trace = Drawn(
        rate_hz=100, noise_a=0.01, rest_s=1.48, after_s=0.1, offset_a=0.15, with_voltage=False
    ).trace()
    coarse = np.round(
        0.05 * np.rint(trace.current_a / 0.05), 2
    )  # most rows at rest are the same: their scatter is the spike's
    coarse[45] = spike_a
    assert len(movements_of(replace(trace, current_a=coarse), RIG, STROKE)) == 1


def test_lone_spikes_in_the_run_are_taken_out_and_counted():
    trace = Drawn(noise_a=0.005).trace()
    trace.current_a[[900, 1500, 2100]] = 30.0
    found = cut(trace)
    assert found.spikes == 3
    assert np.max(found.current_a[800:2400]) < 3.0


@pytest.mark.parametrize("decay_s", [0.02, 0.05, 0.2, 0.5])
def test_the_transient_is_set_apart_by_its_own_decay(decay_s):
    drawn = Drawn(decay_s=decay_s, noise_a=0.002, ripple=0.0)
    found = cut(drawn.trace())
    lasted = drawn.trace().time_s[found.settled] - drawn.start_s
    # Six halvings of an exponential take 4.16 of its time constants.
    assert 3.0 * decay_s <= lasted <= 6.0 * decay_s + 3.0 / drawn.rate_hz


def test_a_soft_start_has_no_transient_to_speak_of():
    found = cut(Drawn(peak_a=1.8).trace())
    assert found.settled - found.first < 30


def test_missing_rows_widen_the_start_by_the_hole_and_no_more():
    drawn = Drawn(rest_s=0.5)
    trace = drawn.trace()
    keep = (trace.time_s < 0.46) | (trace.time_s > 0.52)
    holed = Trace(trace.time_s[keep], trace.current_a[keep], trace.voltage_v[keep], "lock")
    found = cut(holed)
    assert abs(found.start_s - 0.5) <= 0.04
    assert found.start_u_s == pytest.approx(0.065 / np.sqrt(12.0), rel=0.1)


def test_a_record_that_begins_in_mid_run_says_so():
    trace = Drawn().trace()
    late = Trace(trace.time_s[400:], trace.current_a[400:], trace.voltage_v[400:], "lock")
    assert cut(late).starts_running
    assert not cut(late).ends_running


def test_a_record_that_ends_in_mid_run_says_so():
    trace = Drawn().trace()
    early = Trace(trace.time_s[:1500], trace.current_a[:1500], trace.voltage_v[:1500], "lock")
    assert cut(early).ends_running
    assert not cut(early).starts_running


def test_a_record_without_any_current_has_no_movement():
    trace = Drawn().trace()
    rest = Trace(trace.time_s[:100], trace.current_a[:100], None, "lock")
    assert not cut(rest).moved


def test_a_short_break_in_the_current_does_not_end_the_movement():
    drawn = Drawn()
    trace = drawn.trace()
    trace.current_a[1000:1030] = drawn.offset_a
    found = cut(trace)
    assert abs(found.end_s - drawn.end_s) <= 1.0 / drawn.rate_hz


def test_a_coarse_converter_knows_its_zero_no_better_than_its_step():
    trace = Drawn(noise_a=0.0, ripple=0.0).trace()
    coarse = Trace(trace.time_s, np.round(trace.current_a / 0.05) * 0.05, None, "lock")
    assert cut(coarse).zero_u_a == pytest.approx(0.05 / np.sqrt(12.0), rel=0.2)  # UNC-2, JCGM 100 F.2.2.1


def _stroke(rate_hz: float, current_of_t, rest_s: float = 0.5, after_s: float = 0.5, end_s: float = 3.0):
    """A record drawn from a function of the time since the start; rest on both sides."""
    time_s = np.arange(0.0, rest_s + end_s + after_s, 1.0 / rate_hz)
    t = time_s - rest_s
    current_a = np.where(t < 0, 0.0, current_of_t(np.maximum(t, 0.0)))
    noise = np.random.default_rng(3).normal(0, 0.004, len(time_s))
    return Trace(time_s, current_a + noise, None, "lock")


@pytest.mark.parametrize("rate_hz", [200, 1000, 10_000])
@pytest.mark.parametrize("decay_s", [0.002, 0.01, 0.03])
def test_a_current_that_decays_through_a_diode_ends_where_it_was_cut_off(rate_hz, decay_s):
    trace = _stroke(rate_hz, lambda t: 2.0 * np.exp(-np.maximum(t - 3.0, 0.0) / decay_s))
    assert abs(cut(trace).end_s - 3.5) <= max(2.0 / rate_hz, 0.1 * decay_s)


@pytest.mark.parametrize("rate_hz", [1000, 10_000])
def test_a_bouncing_relay_does_not_end_the_start_up_transient(rate_hz):
    def bouncing(t):
        open_ = ((t > 0.0045) & (t < 0.0057)) | ((t > 0.008) & (t < 0.0092))
        return np.where(open_ | (t > 3.0), 0.0, 2.0 + 8.0 * (1 - np.exp(-t / 0.001)) * np.exp(-t / 0.04))

    found = cut(_stroke(rate_hz, bouncing))
    assert found.current_a[found.settled : found.last].max() < 2.0 + 8.0 * np.exp(-0.1 / 0.04)


def test_a_few_rows_of_rest_are_rest():
    """The recorder was switched on with the motor: 50 ms before the start at 100 Hz, no end in the record."""
    trace = _stroke(100, lambda t: 2.0 + 6.0 * np.exp(-t / 0.05), rest_s=0.05)
    found = cut(trace)
    assert not found.starts_running
    assert abs(found.start_s - 0.05) <= 0.01


def test_a_clean_break_ends_the_movement_at_its_last_reading():
    """Nothing is walked back where no row has fallen, though the last reading lies a little low."""
    current = np.concatenate([[0.0], 2.0 + 0.01 * np.tile([1.0, -1.0], 50), [1.5], np.zeros(20)])
    assert _back_to_the_knee(current, 1, 101, 20, 0.6 * I0, 0.0) == 101


def test_a_dip_counts_as_the_end_of_a_start_from_a_tenth_of_the_record_on():
    """A start that took 60 rows of 200: after that a dip counts that lasts as long, or 20 rows of the record."""

    def falls(rows):
        current = np.full(200, 5.0)
        current[80 : 80 + rows] = 1.0
        return _falls_for_good(current, np.arange(200) / 200.0, 60, 3.0)

    assert (falls(19), falls(20)) == (None, 80)


@pytest.mark.parametrize(("jumps_a", "ends"), [(0.01, 980), (0.6, 999)])
def test_a_dip_right_before_the_end_is_a_first_opening_only_where_the_run_is_smoother(jumps_a, ends):
    """2 A for ten seconds at 100 Hz, a fall to 0.4 A 0.18 s before the end; a run that jumps by as much does so by itself."""
    current_a = 2.0 + np.resize([0.0, jumps_a, jumps_a], 1001)
    current_a[981] = 0.4
    current_a[1000] = 0.0
    time_s = np.arange(1001) / 100.0
    assert _first_opening(current_a, time_s, 0, 999, 0.01) == ends
