"""Where a sign says that something began, and the ± of it: a twentieth more or less must not go unseen.

The places are those of the drawn records, reckoned as travel: the sum of the back-EMF over the time.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests.core.drawn_strokes import RIG, Drawn, healthy, usual_baseline
from throwbook.core.analysis.baseline import Fit, _scan_sd, _swing, find_bump, fit_difference, make_baseline
from throwbook.core.analysis.figures import _run_noise
from throwbook.core.analysis.stalled_motor import _came_to_stand, _level_line_off
from throwbook.core.analysis.travel import take_up_of
from throwbook.core.assessment import Measured, Profile
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.diagnosis.measure import _resistance_share
from throwbook.core.machine.motor import motor_line, resistance_at

QUIET = Drawn(noise_a=0.005, ripple=0.0)
BIN = 0.01


@pytest.fixture(scope="module")
def baseline():
    return usual_baseline()


def lacking(until, lacks, begins=0.02):
    """A throw that lacks this share of its load from one share of its time to another."""
    trace = QUIET.trace()
    share = (trace.time_s - QUIET.start_s) / QUIET.run_s
    early = (share > begins) & (share < until)
    idle_a = 0.9 + QUIET.offset_a
    current_a = np.where(early, (1.0 - lacks) * trace.current_a + lacks * idle_a, trace.current_a)
    return replace(trace, current_a=current_a)


def travelled(trace, at_s):
    """Share of the travel done by then."""
    ohm = float(resistance_at(motor_line(RIG.actuator), 15.0))
    moving = (trace.time_s >= QUIET.start_s) & (trace.time_s < QUIET.end_s)
    emf_v = np.where(moving, trace.voltage_v - (trace.current_a - QUIET.offset_a) * ohm, 0.0)
    return float(np.sum(emf_v[trace.time_s < at_s]) / np.sum(emf_v))


def sign_of(trace, baseline, name):
    return next(sign for sign in assess_trace(trace, RIG, baseline).signs if sign.sign == name)


@pytest.mark.parametrize(("lacks", "name"), [(1.0, "free-play"), (0.5, "uneven-sides")])
def test_a_late_load_is_there_where_it_says(baseline, lacks, name):
    ratios = []
    for until in (0.08, 0.1, 0.13, 0.17, 0.19, 0.22):
        trace = lacking(until, lacks)
        sign = sign_of(trace, baseline, name)
        true = travelled(trace, QUIET.start_s + until * QUIET.run_s)
        assert abs(sign.at_fraction - true) <= sign.at_fraction_u
        ratios.append(sign.at_fraction / true)
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.03)


def test_the_uncertainty_of_a_late_load_is_that_of_a_bin(baseline):
    """One bin, as a rectangle, k = 2: this record's places are known far better than that (JCGM 100, 4.3.7)."""
    for lacks, name in ((1.0, "free-play"), (0.5, "uneven-sides")):
        sign = sign_of(lacking(0.13, lacks), baseline, name)
        assert sign.at_fraction_u == pytest.approx(2.0 * BIN / np.sqrt(12.0), rel=0.02)


def test_a_late_load_tells_how_much_later_and_how_much_was_missing(baseline):
    play = sign_of(lacking(0.17, 1.0), baseline, "free-play")
    assert (play.value, play.limit) == (play.at_fraction, pytest.approx(0.03, abs=0.001))
    later = 100.0 * (play.at_fraction - play.limit)
    assert f"{later:.1f} % of the stroke later" in play.because
    assert sign_of(lacking(0.17, 0.5), baseline, "uneven-sides").value == pytest.approx(0.5, rel=0.03)


@pytest.mark.parametrize("at", [0.3, 0.5, 0.7])
def test_a_binding_spot_begins_where_the_current_rises(baseline, at):
    """A bell of 3 % of the time stands above 0.4 of its height from 1.35 of its widths before its middle."""
    drawn = replace(QUIET, bump_a=1.0, bump_at=at)
    sign = sign_of(drawn.trace(), baseline, "binding-spot")
    rises_s = drawn.start_s + drawn.run_s * (at - 1.354 * drawn.bump_width)
    assert sign.from_s == pytest.approx(rises_s, abs=0.01 * drawn.run_s)
    assert sign.from_s == pytest.approx(rises_s, rel=0.04)
    assert sign.at_fraction_u == pytest.approx(0.01104, rel=0.03)


def test_a_current_over_the_rating_begins_with_the_run():
    found = assess_trace(replace(QUIET, level_a=4.4).trace(), RIG)
    sign = next(sign for sign in found.signs if sign.sign == "over-rated")
    assert sign.from_s == found.inrush_end_s
    assert sign.from_s == pytest.approx(QUIET.start_s + 4.2 * QUIET.decay_s, abs=0.03)


DRIVE_RAMP_S, DRIVE_CRUISE_S, DRIVE_FROM_S = 0.4, 2.4, 0.5


def driven(until=1.0, seed=1, whole=True):
    """A drive's throw as its supply sees it, and the share of the stroke done: an even ramp, an even speed whatever the
    load, and an even ramp down in which next to nothing is drawn. The load comes after a third of the travel."""
    rate_hz, rng = 400.0, np.random.default_rng(seed)
    time_s = np.arange(0.0, 4.4, 1.0 / rate_hz)
    ran_s = time_s - DRIVE_FROM_S
    lasted_s = 2.0 * DRIVE_RAMP_S + DRIVE_CRUISE_S
    speed = np.clip(np.minimum(ran_s, lasted_s - ran_s) / DRIVE_RAMP_S, 0.0, 1.0)
    share = np.cumsum(speed) / np.sum(speed)
    slows = ran_s > lasted_s - DRIVE_RAMP_S
    current_a = np.where(share > 0.33, 2.0, 1.2) + np.where(ran_s < DRIVE_RAMP_S, 1.2, 0.0)
    moving = (ran_s >= 0.0) & ~slows & (share < until)
    current_a = np.where(moving, current_a, 0.0) + rng.normal(0.0, 0.005, len(time_s))
    volts = 12.6 - 0.05 * current_a + rng.normal(0.0, 0.004, len(time_s))
    trace = replace(
        QUIET.trace(), time_s=time_s, current_a=current_a, voltage_v=volts, source=f"drive-{seed}"
    )
    return trace, float(share[np.flatnonzero(moving)[-1]])


@pytest.mark.parametrize("until", [0.3, 0.55, 0.8])
def test_a_drives_place_at_its_supply_holds_what_its_ramps_hide(until):
    """V - iR of the supply isn't the speed: neither the ramps show in it, nor a speed that is held whatever the load."""
    usual = make_baseline([assess_trace(driven(seed=k)[0], RIG) for k in range(2, 8)])
    trace, true = driven(until)
    sign = sign_of(trace, usual, "stopped-short")
    assert abs(sign.at_fraction - true) <= sign.at_fraction_u
    assert sign.at_fraction_u < DRIVE_RAMP_S / DRIVE_CRUISE_S  # both ramps, and no more


def test_a_switched_motors_place_is_no_wider_for_what_drives_do(baseline):
    """Its start gives a peak: no ramp hides, so the ± is that of the full stroke and of the edges."""
    trace = replace(QUIET, run_s=0.5 * QUIET.run_s).trace()
    sign = sign_of(trace, baseline, "stopped-short")
    found = assess_trace(trace, RIG, baseline)
    assert sign.at_fraction_u == pytest.approx(found.figures.travel_fraction.u)
    assert sign.at_fraction_u < 0.03


def test_a_shape_that_is_a_little_off_its_place_is_no_load():
    """At a step of 1 A in the baseline a misfit of half of that may be a place that is off; on level ground it is a load."""
    baseline_a = np.where(np.arange(100) < 50, 2.0, 3.0)

    def bump_at(bin_):
        misfit_a = np.zeros(100)
        misfit_a[bin_] = 0.5
        fit = Fit(2.5, 0.0, 0.0, misfit_a, np.ones(100, dtype=bool))
        return find_bump(fit, baseline_a, {2: np.full(100, 0.01)}, {2: 3.0}, 0.1, place_u=0.01)

    assert [bump_at(bin_) is None for bin_ in (25, 49, 75)] == [False, True, False]


def test_a_straight_line_leaves_nothing_of_itself():
    line = 3.0 - 0.2 * np.arange(40)
    np.testing.assert_allclose(_level_line_off(line), 0.0, atol=1e-12)
    waves = np.tile([0.1, -0.1, -0.1, 0.1], 10)  # level, and without a slope of its own
    np.testing.assert_allclose(_level_line_off(line + waves), waves, atol=1e-12)


def test_a_baseline_scatters_as_its_throws_do_and_one_more_lies_within_the_prediction():
    """Sample standard deviation; prediction of one more: t sqrt(1 + 1/n) (from memory; any text on statistics)."""
    judged = [assess_trace(trace, RIG) for trace in healthy(6)]
    usual = make_baseline(judged)
    amps = [one.figures.run_current_a.value for one in judged]
    assert usual.figures["run_current_a"].sd == pytest.approx(np.std(amps, ddof=1))
    width, degrees = next(iter(usual.scan_degrees.items()))
    expected = stats.t.ppf(0.99, degrees) * np.sqrt(1.0 + 1.0 / 6.0)
    assert usual.scan_factor(width, 0.99) == pytest.approx(expected, rel=1e-6)


def test_a_figure_that_one_throw_of_a_set_gave_is_no_baseline_of_it():
    one, *others = healthy(3)
    blind = [replace(trace, voltage_v=None) for trace in others]
    assert "mean_voltage_v" not in make_baseline([assess_trace(each, RIG) for each in (one, *blind)]).figures
    alone = make_baseline([assess_trace(one, RIG)]).figures["mean_voltage_v"]
    assert (alone.n, alone.sd) == (1, 0.0)


def test_what_swings_below_counts_by_how_far_and_a_load_above_does_not():
    """A twentieth of normal scatter lies more than 1.645 standard deviations below."""
    quiet = np.random.default_rng(1).normal(0.0, 0.01, 4000)
    beats = np.where(np.arange(4000) < 1000, np.tile([0.3, -0.3], 2000), 0.0)
    assert _swing(quiet + beats) == pytest.approx(0.3 / 1.645, rel=0.03)
    assert _swing(quiet + np.maximum(beats, 0.0)) < 0.02
    assert _swing(20.0 * quiet) == pytest.approx(0.2, rel=0.05)


def test_the_scatter_about_a_baseline_is_that_of_a_new_throw_place_by_place():
    """n/(n-1) of the mean square about their own middle; where it is alike all over, all places know it together."""
    rng, noise = np.random.default_rng(3), np.zeros(400)
    alike = rng.normal(0.0, 0.05, (6, 400)) * np.sqrt(5.0 / 6.0)
    sd, degrees = _scan_sd(list(alike), noise, 1)
    assert np.median(sd) == pytest.approx(0.05, rel=0.05)
    assert degrees == 5 * 400
    rough = alike * np.where(np.arange(400) < 200, 1.0, 4.0)
    sd, degrees = _scan_sd(list(rough), noise, 1)
    assert np.sqrt(np.mean(sd[200:] ** 2)) == pytest.approx(0.2, rel=0.12)
    assert 5 < degrees < 20


def test_a_stand_behind_a_run_begins_with_the_half_of_the_rise_out_of_it():
    """Ten rows of a run at 0.3 A below a limit that lies 1 A up, then at the limit; from nothing at once it never ran."""
    assert _came_to_stand(np.array([0.3] * 10 + [1.0] * 5), 1.0) == 10
    assert _came_to_stand(np.array([0.3] * 10 + [0.6, 0.9] + [1.0] * 5), 1.0) == 11
    assert _came_to_stand(np.array([0.2, 0.7] + [1.0] * 15), 1.0) == 0


@pytest.mark.parametrize("comes_on", [0.07, 0.3, 0.45])
def test_the_take_up_point_is_where_the_current_has_half_of_what_it_has_more_later(comes_on):
    at = (np.arange(100) + 0.5) / 100.0
    amps = np.where(at < comes_on, 0.9, 2.1)
    found = take_up_of(Profile(at, amps, np.full(100, 0.02), 0.005), 0.9)
    assert abs(found.value - comes_on) <= 0.011
    # of its place and of one hundredth of the stroke, k = 2
    assert found.u == pytest.approx(2.0 * np.hypot(0.005, 0.01))


@pytest.mark.parametrize(("rows", "given"), [(20, False), (21, True)])
def test_noise_is_told_from_twenty_steps_on_as_their_scatter_over_root_two(rows, given):
    found = _run_noise(2.0 + np.resize([0.1, -0.1], rows))
    assert (found is not None) == given
    if given:  # twenty steps of 0.2 A up and down: 0.2 / sqrt(2), known to 1 / sqrt(2 x 20)
        assert (found.value, found.u) == pytest.approx((0.2 / 2**0.5, 2 * 0.2 / 2**0.5 / 40**0.5), rel=1e-6)


def test_a_supply_of_80_milliohm_is_read_off_the_whole_start():
    """Readings of 4 mV and a few ampere over some twenty rows know it to a few milliohm."""
    for seed in range(4):
        found = assess_trace(Drawn(seed=seed).trace(), RIG).figures.source_resistance_ohm
        assert abs(found.value - 0.08) <= found.u
        assert found.u < 0.0019


def test_the_slope_of_a_short_stretch_is_pulled_towards_nothing():
    """20 of 200 places, the slope of 20 places one sixth of a percent each: 20 x 0.1^2 / 12 = 0.0167 against a pull of
    (0.01 / 0.5)^2 = 0.0004. Ridge regression, reckoned by hand: 0.5 x 0.0167 / (0.0167 + 0.0004)."""
    current_a, usual_a = np.full(200, np.nan), np.full(200, 2.0)
    place = (np.arange(200) + 0.5) / 200.0
    current_a[60:80] = 2.0 + 0.5 * (place[60:80] - 0.35)
    fit = fit_difference(current_a, usual_a)
    squares = 20 * (20**2 - 1) / 12 / 200**2
    # the first weights are those of a line without any slope: the last digits are theirs
    assert fit.slope_a == pytest.approx(0.5 * squares / (squares + 0.0004), rel=4e-3)


def test_half_of_another_current_than_the_baselines_may_be_a_wrong_gain():
    """2.4 A for the usual 2.0 A at 1 ohm: 0.4 V of the 9.6 V that are left, a resistance known to 10 %, half of the
    difference open: 0.51 x 0.4 / 9.6."""
    line = replace(motor_line(RIG.actuator), u_r=0.1)
    usual = make_baseline([assess_trace(trace, RIG) for trace in healthy(3)])
    run = usual.figures["run_current_a"]
    usual = replace(usual, figures={"run_current_a": replace(run, mean=2.0)})
    figures = replace(
        assess_trace(Drawn().trace(), RIG).figures,
        run_current_a=Measured(2.4, 0.1),
        mean_voltage_v=Measured(12.0, 0.1),
    )
    assert _resistance_share(figures, line, 1.0, usual) == pytest.approx(0.5099 * 0.4 / 9.6, rel=1e-3)
    assert _resistance_share(figures, line, 1.0, None) == 0.0
