"""Noise, wild readings and holes: held against what this rig and this clock are used to."""

from dataclasses import replace

import numpy as np
import pytest

from tests.core.drawn_strokes import RIG, Drawn, cut_by_hand, healthy, usual_baseline
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.analysis.figures import _integral, _unseen
from throwbook.core.analysis.segmentation import _without_spikes
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.trace import Trace


def sign_of(found, name):
    return next((sign for sign in found.signs if sign.sign == name), None)


@pytest.fixture(scope="module")
def noisy_baseline():
    return make_baseline([assess_trace(trace, RIG) for trace in healthy(6, Drawn(noise_a=0.22, ripple=0.0))])


@pytest.mark.parametrize("seed", range(6))
def test_noise_as_in_the_baseline_is_told_and_no_more(noisy_baseline, seed):
    found = assess_trace(Drawn(noise_a=0.22, ripple=0.0, seed=seed).trace(), RIG, noisy_baseline)
    assert sign_of(found, "noisy").level == "info"
    assert "as in the baseline" in sign_of(found, "noisy").because


def test_more_noise_than_in_the_baseline_is_watched(noisy_baseline):
    found = assess_trace(Drawn(noise_a=0.7, ripple=0.0, seed=3).trace(), RIG, noisy_baseline)
    assert sign_of(found, "noisy").level == "watch"


def test_a_binding_spot_is_told_on_a_rig_as_noisy_as_ever(noisy_baseline):
    found = assess_trace(Drawn(noise_a=0.22, ripple=0.0, bump_a=1.2, seed=4).trace(), RIG, noisy_baseline)
    assert sign_of(found, "binding-spot").level == "watch"


def test_noise_without_a_baseline_is_watched_as_before():
    assert sign_of(assess_trace(Drawn(noise_a=0.22, ripple=0.0).trace(), RIG), "noisy").level == "watch"


@pytest.mark.parametrize("share", [0.02, 0.037, 0.08])
@pytest.mark.parametrize("seed", range(3))
def test_many_wild_readings_stay_in_the_mean_and_are_told(share, seed):
    """A current that jumps up in some readings has a mean with them, and not without."""
    drawn = Drawn(ripple=0.0, seed=seed)
    trace = drawn.trace()
    rng = np.random.default_rng(seed)
    moving = (trace.time_s > drawn.start_s + 0.5) & (trace.time_s < drawn.end_s - 0.1)
    hit = moving & (rng.random(len(trace)) < share)
    current_a = trace.current_a + np.where(hit, 1.8, 0.0)
    found = assess_trace(replace(trace, current_a=current_a), RIG)
    true_a = float(np.mean((current_a - drawn.offset_a)[moving]))
    run = found.figures.run_current_a
    assert abs(run.value - true_a) <= run.u
    assert "too many to be left out" in sign_of(found, "noisy").because
    assert not any("replaced" in note for note in found.notes)


def test_a_few_spikes_are_still_replaced():
    trace = Drawn(noise_a=0.005).trace()
    trace.current_a[[900, 1500, 2100]] = 30.0
    found = assess_trace(trace, RIG)
    assert sign_of(found, "noisy") is None
    assert found.figures.peak_run_current_a.value < 3.0


@pytest.mark.parametrize("mix", [(0.45, 0.25, 0.30), (0.6, 0.1, 0.3), (0.34, 0.33, 0.33)])
def test_a_clock_of_uneven_steps_has_lost_nothing(mix):
    """Steps of 2, 3 and 4 ms, as whole milliseconds of a board with other work give them."""
    rng = np.random.default_rng(2)
    trace = Drawn(rate_hz=340, run_s=9.0).trace()
    steps_s = rng.choice([0.002, 0.003, 0.004], len(trace) - 1, p=mix)
    time_s = np.concatenate([[0.0], np.cumsum(steps_s)])
    drawn = Drawn(rate_hz=340, run_s=9.0)
    moving = (time_s > 0.6) & (time_s < time_s[-1] - 0.6)
    current_a = np.where(moving, drawn.level_a, 0.0) + rng.normal(0.0, 0.01, len(time_s))
    found = assess_trace(replace(trace, time_s=time_s, current_a=current_a, voltage_v=None), RIG)
    assert sign_of(found, "gaps") is None


@pytest.mark.parametrize("lost", [1, 3, 40])
def test_rows_that_are_missing_from_an_uneven_clock_are_told(lost):
    rng = np.random.default_rng(2)
    trace = Drawn(rate_hz=340, run_s=9.0).trace()
    time_s = np.concatenate([[0.0], np.cumsum(rng.choice([0.002, 0.003, 0.004], len(trace) - 1))])
    moving = (time_s > 0.6) & (time_s < time_s[-1] - 0.6)
    current_a = np.where(moving, 1.8, 0.0) + rng.normal(0.0, 0.01, len(time_s))
    keep = np.ones(len(time_s), dtype=bool)
    keep[1500 : 1500 + lost] = False
    holed = replace(trace, time_s=time_s[keep], current_a=current_a[keep], voltage_v=None)
    found = sign_of(assess_trace(holed, RIG), "gaps")
    assert (found is not None) == (lost > 1)


@pytest.mark.parametrize("hole_s", [2.0, 30.0])
@pytest.mark.parametrize("shown", [False, True])
def test_nobody_knows_how_long_a_throw_took_whose_middle_no_reading_shows(hole_s, shown):
    baseline = usual_baseline() if shown else None
    trace = Drawn(seed=7).trace()
    asleep = replace(trace, time_s=trace.time_s + np.where(trace.time_s > 5.0, hole_s, 0.0))
    found = assess_trace(asleep, RIG, baseline)
    figures = found.figures
    assert (
        figures.travel_time_s is figures.run_current_a is figures.charge_as is figures.travel_fraction is None
    )
    assert found.verdict == "watch"
    assert "whether the motor stopped meanwhile is not known" in found.because
    assert [sign.sign for sign in found.signs] == ["gaps"]


def test_a_current_that_jumps_in_the_run_alone_is_watched():
    """More than a tenth of itself from reading to reading, on a board that is quiet at rest."""
    drawn = Drawn(ripple=0.0)
    trace = drawn.trace()
    moving = (trace.time_s > drawn.start_s + 0.4) & (trace.time_s < drawn.end_s)
    jumps = np.where(moving, np.random.default_rng(5).normal(0.0, 0.25, len(trace)), 0.0)
    sign = sign_of(assess_trace(replace(trace, current_a=trace.current_a + jumps), RIG), "noisy")
    assert (sign.level, sign.value) == ("watch", pytest.approx(0.25, rel=0.1))
    assert sign.limit == pytest.approx(0.1 * 1.83, rel=0.02)


def test_single_readings_that_stand_out_are_told_where_the_others_hardly_scatter():
    drawn = Drawn(ripple=0.0)
    trace = drawn.trace()
    moving = np.flatnonzero((trace.time_s > drawn.start_s + 0.5) & (trace.time_s < drawn.end_s - 0.1))
    current_a = trace.current_a.copy()
    current_a[moving[::140]] += 1.2  # 18 of 2,500: 0.7 %
    sign = sign_of(assess_trace(replace(trace, current_a=current_a), RIG), "noisy")
    assert (sign.level, sign.value < sign.limit) == ("info", True)
    assert "18 single readings stand out" in sign.because


@pytest.mark.parametrize(("away_a", "replaced"), [(0.195, 0), (0.205, 1)])
def test_a_lone_reading_is_a_spike_from_a_tenth_of_the_level_on(away_a, replaced):
    current_a = np.full(200, 2.0)
    current_a[120] += away_a
    shown, spikes, left = _without_spikes(current_a, 5, 0, 199, until=199)
    assert (spikes, left, shown[120]) == (replaced, 0, 2.0 if replaced else 2.0 + away_a)


@pytest.mark.parametrize(("rows", "judged"), [(7, False), (8, True)])
def test_a_movement_is_judged_from_nine_readings_on(rows, judged):
    """Eight steps from reading to reading, over the whole throw."""
    step_s = 13.2 / rows
    drawn = Drawn(rate_hz=1.0 / step_s, rest_s=20 * step_s, after_s=20 * step_s, ripple=0.0, peak_a=1.8)
    found = assess_trace(drawn.trace(), RIG)
    assert found.usable == judged
    assert ("too few rows" in found.because) != judged


@pytest.mark.parametrize(("lost", "level"), [(40, "info"), (60, "watch")])
def test_a_hole_is_watched_from_a_fiftieth_of_the_movement_on_however_long_the_rest_before_it(lost, level):
    """13.2 s at 200 Hz after a minute of rest: a fiftieth is 0.264 s, 53 rows; of all rows 2 % are far more."""
    trace = Drawn(rest_s=60.0).trace()
    keep = (np.arange(len(trace)) < 13_000) | (np.arange(len(trace)) >= 13_000 + lost)
    holed = replace(
        trace, time_s=trace.time_s[keep], current_a=trace.current_a[keep], voltage_v=trace.voltage_v[keep]
    )
    assert sign_of(assess_trace(holed, RIG), "gaps").level == level


@pytest.mark.parametrize(
    ("lost", "head", "hides"),
    [(10, {}, False), (40, {}, True), (40, {"rate_asked_hz": 100, "lost_samples": 0}, False)],
)
def test_a_peak_may_hide_where_readings_were_lost_for_more_than_a_fiftieth_of_the_run(lost, head, hides):
    """Ten seconds at 100 Hz, a fiftieth is 0.2 s; where a board's numbers run on, it was the clock that jumped."""
    rows = np.arange(1000)
    rows = rows[(rows < 500) | (rows >= 500 + lost)]
    trace = Trace(rows / 100.0, np.full(len(rows), 2.0), None, "lock", head=head)
    assert _unseen(trace, slice(0, len(rows))).hides_a_peak == hides


def test_a_charge_is_known_as_well_as_its_zero_its_gain_and_its_end():
    """2 A over 10 s: 20 A s. Zero off by 5 mA: 0.05 A s; gain by 1 %: 0.2 A s; end by 0.03 s: 0.06 A s. k = 2."""
    time_s = np.arange(1200) / 100.0
    current_a = np.where((time_s >= 1.0) & (time_s <= 11.0), 2.0, 0.0)
    cut = cut_by_hand(time_s, current_a, 100, 110, 1100, start_s=1.0, end_s=11.0, end_u_s=0.03)
    found = _integral(time_s, current_a, cut, None, 0.005, 0.01, True)
    assert found == pytest.approx((20.0, 2.0 * (0.05**2 + 0.2**2 + 0.06**2) ** 0.5), rel=1e-6)


def test_a_clock_that_was_wrong_by_a_fiftieth_leaves_a_charge_as_unsure():
    head = {"clock_u_s": 0.264}  # expanded, of 13.2 s
    trace = Drawn().trace()
    plain = assess_trace(trace, RIG).figures.charge_as
    wrong = assess_trace(replace(trace, head=head), RIG).figures.charge_as
    assert wrong.u**2 - plain.u**2 == pytest.approx((0.02 * plain.value) ** 2, rel=0.02)
