"""The seasons' own reckoning beside scipy's, on drawn histories: equal to rounding, or the difference is explained."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import linalg, signal, stats

from tests import drawn as draws
from tests.benchmarks.season_histories import PLAIN, ROUGH, make_history, quarterly
from throwbook.core.trend import maintenance_effect
from throwbook.core.trend.change_test import GRID, evidence, learn, rises_at_every_check, shapes_of
from throwbook.core.trend.control_chart import (
    EWMA_WEIGHT,
    chart_and_points,
    ewma,
    ewma_limit,
    fit_line,
    slope_of,
)
from throwbook.core.trend.series import WEATHER, lines_of
from throwbook.core.trend.signals import check_states, newest_stage, rises_together, whole_of
from throwbook.core.trend.trend_result import FEWEST_BEFORE, NEWEST, dispersion_of, trends_of

SEEDS = range(draws.drawn(8, 3))


def drawn(seed, checks=12, services=()):
    """A line of the running current of a rig that wears a little, in one of two kinds of history."""
    plan = replace(quarterly(checks, 0.04 * np.arange(checks) / 4), services=services)
    made = make_history(np.random.default_rng(31_000 + seed), (PLAIN, ROUGH)[seed % 2], plan)
    line = lines_of(made.history, "lock", "run_current")[0]
    assert line is not None
    return line


def as_of_mean_level(line):
    """Each check at 20 degC and nominal voltage, by what weather does at the mean level of all checks."""
    return np.median(line.throws[0]) * (
        1.0 + line.change - line.weather @ fit_line(line).learned.mean[:WEATHER]
    )


def points_of(line):
    return chart_and_points(line, fit_line(line), check_states(line, {}))


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("checks", [4, 9, 12, 30])
def test_slope_and_its_interval(seed, checks):
    line = drawn(seed, checks)
    _, points = points_of(line)
    fit = fit_line(line)
    values = [one.corrected for one in points]
    wider = slope_of(line, fit, points)
    # Weather adds what it did at the mean level, or as a share of the level: both ends hold both.
    level_a = np.maximum(as_of_mean_level(line), np.median(line.throws[0]))
    share = (
        line.weather @ fit.learned.mean[:WEATHER] * np.median(line.throws[0]) * (level_a / level_a.mean() - 1)
    )
    theirs = [stats.theilslopes(values + way * share / 2, line.years) for way in (0, 1, -1)]
    fit.learned.covariance[:WEATHER, :WEATHER] = 0.0
    ours = slope_of(line, fit, points)
    assert ours.per_year == wider.per_year == pytest.approx(theirs[0].slope, rel=1e-12)
    # Where the interval's ranks lie beyond the pairs there are, ours has no end; scipy takes the outermost pair.
    if ours.low is not None:
        assert ours.low == pytest.approx(min(one.low_slope for one in theirs[1:]), rel=1e-9)
    if ours.high is not None:
        assert ours.high == pytest.approx(max(one.high_slope for one in theirs[1:]), rel=1e-9)
    assert (ours.low is None) == (checks == 4)
    if checks == 4:
        return
    # What a user reads is wider by what weather's slopes may be off, which tilts all checks together.
    tilt = [stats.linregress(line.years, column).slope for column in line.weather.T]
    off = fit_line(line).learned.covariance[:WEATHER, :WEATHER]
    reached_a = max(np.median(line.throws[0]), np.mean(values))
    shared = stats.norm.ppf(0.975) * reached_a * np.sqrt(tilt @ off @ np.array(tilt))
    low = min(one.slope - np.hypot(one.slope - one.low_slope, shared) for one in theirs[1:])
    high = max(one.slope + np.hypot(one.high_slope - one.slope, shared) for one in theirs[1:])
    assert (wider.low, wider.high) == pytest.approx((low, high), rel=1e-6)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("checks", [4, 10, 11, 40])
def test_chance_of_a_trend_by_ranks(seed, checks):
    line = drawn(seed, checks)
    _, points = points_of(line)
    p = slope_of(line, fit_line(line), points).p_value
    values = np.array([one.corrected for one in points])
    if checks <= 10:
        exact = stats.kendalltau(np.arange(checks), values, method="exact").pvalue
        assert p == pytest.approx(exact, rel=1e-9)
        return
    # Above ten both take the normal curve; ours with the correction for whole numbers (Gilbert 1987), scipy without.
    tau = stats.kendalltau(np.arange(checks), values, method="asymptotic")
    s = round(tau.statistic * checks * (checks - 1) / 2)
    sd = np.sqrt(checks * (checks - 1) * (2 * checks + 5) / 18)
    assert tau.pvalue == pytest.approx(2 * stats.norm.sf(abs(s) / sd), rel=1e-9)
    assert p == pytest.approx(2 * stats.norm.sf(max(abs(s) - 1, 0) / sd), rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_after_less_before_with_its_widening_left_out_is_welch(seed):
    rng = np.random.default_rng(seed)
    before, after = rng.normal(2.4, 0.05, rng.integers(2, 8)), rng.normal(2.3, 0.02, rng.integers(2, 8))
    ours = maintenance_effect.compare(before, after, scatter=0.3, known=0.0)
    theirs = stats.ttest_ind(after, before, equal_var=False)
    low, high = theirs.confidence_interval(0.92)
    assert (ours.low, ours.high, ours.df) == pytest.approx((low, high, theirs.df), rel=1e-9)
    assert ours.change / ours.se == pytest.approx(theirs.statistic, rel=1e-9)
    # What a user reads is wider by what the days don't share, never narrower for it.
    apart = maintenance_effect.compare(before, after, scatter=0.3, shared_u=0.05, known=0.0)
    assert apart.high - apart.low > ours.high - ours.low
    assert apart.se == pytest.approx(np.hypot(ours.se, 0.05))


def as_rows(series, between, shape=None):
    """A series as rows of plain least squares: one a check, and one for each coefficient that something is assumed of."""
    columns, mean, sd = series.columns, series.mean, series.sd
    if shape is not None:
        columns = np.concatenate([columns, shape[:, None]], axis=1)
    weight = 1.0 / np.sqrt(between**2 + series.variance)
    prior = np.eye(len(mean), columns.shape[1]) / sd[:, None]
    a = np.concatenate([columns * weight[:, None], prior])
    b = np.concatenate([series.change * weight, mean / sd])
    return a, b


@pytest.mark.parametrize("seed", SEEDS)
def test_weather_and_level_are_those_of_least_squares(seed):
    line = drawn(seed)
    series = newest_stage(whole_of(line), wears=True)
    ours = learn(series)
    a, b = as_rows(series, ours.between)
    theirs = linalg.lstsq(a, b)[0]
    assert ours.mean == pytest.approx(theirs, rel=1e-8, abs=1e-10)
    assert ours.covariance == pytest.approx(linalg.inv(a.T @ a), rel=1e-6, abs=1e-12)
    # ± of a corrected value: of the correction, of the check (its throws, and what checks differ by), of the meter
    _, points = points_of(line)
    part = linalg.inv(a.T @ a)[:WEATHER, :WEATHER]
    shares = []
    for multiple in GRID:
        a, b = as_rows(series, series.between[0] * multiple)
        left = b - a @ linalg.lstsq(a, b)[0]
        between = np.log((series.between[0] * multiple) ** 2 + series.variance).sum()
        prior = stats.norm.logpdf(np.log(multiple), 0.0, series.between[1])
        shares.append(prior - 0.5 * (left @ left + between + np.linalg.slogdet(a.T @ a)[1]))
    square = np.average((series.between[0] * GRID) ** 2, weights=np.exp(np.array(shares) - max(shares)))
    # half way from what weather did at the mean level to the same share of this level, anywhere between alike
    before_a = as_of_mean_level(line)
    scale_a = np.maximum(np.median(line.throws[0]), before_a)
    share = (
        line.weather @ ours.mean[:WEATHER] * np.median(line.throws[0]) * (scale_a / scale_a.mean() - 1) / 2
    )
    assert [one.corrected for one in points] == pytest.approx(before_a - share)
    for one, off_a, weather, variance, stated in zip(
        points, share, line.weather, line.variance, line.stated_u, strict=True
    ):
        level_a = max(np.median(line.throws[0]), one.corrected)
        ours_u = 2.0 * np.sqrt(level_a**2 * (weather @ part @ weather + square + variance) + off_a**2 / 3)
        assert one.corrected_u == pytest.approx(np.hypot(ours_u, stated), rel=1e-6)


@pytest.mark.parametrize("seed", SEEDS)
def test_each_rise_is_that_of_least_squares(seed):
    series = newest_stage(whole_of(drawn(seed)))
    shapes, kinds = shapes_of(series)
    found = evidence(series, shapes)
    for g, multiple in enumerate(GRID):
        for m in range(len(kinds)):
            a, b = as_rows(series, series.between[0] * multiple, shapes[:, m])
            size = linalg.lstsq(a, b)[0][-1]
            u = np.sqrt(linalg.inv(a.T @ a)[-1, -1])
            assert (found.pull / found.weight)[g, m] == pytest.approx(size, rel=1e-6, abs=1e-9)
            assert found.weight[g, m] ** -0.5 == pytest.approx(u, rel=1e-6)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_chance_and_the_level_of_a_rise_are_averaged_over_the_scatter(seed):
    """As the rise test states them: normal tails of each fit, weighted by how well each scatter explains the checks."""
    series = newest_stage(whole_of(drawn(seed)))
    newest = rises_at_every_check(series)[-1]
    shift = next(one for one in newest if (one.shape, one.checks) == ("shift", 1))
    shape = (np.arange(len(series.change)) == len(series.change) - 1).astype(float)
    log_share, chance, level, covariance, size = [], [], [], [], []
    for multiple in GRID:
        between = series.between[0] * multiple
        a, b = as_rows(series, between, shape)
        fitted, u2 = linalg.lstsq(a, b)[0], linalg.inv(a.T @ a)
        chance.append(stats.norm.sf(fitted[-1] / np.sqrt(u2[-1, -1])))
        level.append(fitted[series.level])
        size.append(fitted[-1])
        covariance.append(u2[np.ix_([series.level, -1], [series.level, -1])])
        left = b - a @ fitted
        prior = stats.norm.logpdf(np.log(multiple), 0.0, series.between[1])
        spread = np.sum(np.log(between**2 + series.variance)) + np.linalg.slogdet(a.T @ a)[1]
        log_share.append(prior - 0.5 * (left @ left + spread))
    share = np.exp(np.array(log_share) - max(log_share))
    share /= share.sum()
    assert shift.chance == pytest.approx(share @ chance, rel=1e-5)
    assert shift.level == pytest.approx(share @ level, rel=1e-6, abs=1e-9)
    both = np.array([level, size])
    apart = both - (both @ share)[:, None]
    found = np.tensordot(share, covariance, axes=1) + (apart * share) @ apart.T
    assert shift.level_u**2 == pytest.approx(found[0, 0], rel=1e-5)
    assert shift.with_level == pytest.approx(found[0, 1], rel=1e-5)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_uncertainty_of_a_change_holds_which_shape_it_has(seed):
    """Every shape and none, each by how well it explains the checks: their variance, and what they lie from the one told."""
    series = newest_stage(whole_of(drawn(seed)))
    series = replace(
        series, change=series.change + 0.3 * series.years
    )  # every shape rises, so every one is listed
    shapes, kinds = shapes_of(series)
    weights = []
    for multiple in GRID:
        between = series.between[0] * multiple
        plain, b = as_rows(series, between)
        prior = stats.norm.logpdf(np.log(multiple), 0.0, series.between[1])
        spread = np.sum(np.log(between**2 + series.variance)) + np.linalg.slogdet(plain.T @ plain)[1]
        for m in range(len(kinds) + 1):
            a = as_rows(series, between, shapes[:, m])[0] if m < len(kinds) else plain
            left = b - a @ linalg.lstsq(a, b)[0]
            none = m == len(kinds)
            weights.append(prior - 0.5 * (left @ left + spread) + none)
    share = np.exp(np.array(weights) - max(weights))
    share = (share / share.sum()).reshape(len(GRID), -1).sum(axis=0)
    told = {(one.shape, one.since): one for one in rises_at_every_check(series)[-1]}
    listed = [told[kind] for kind in kinds]
    size = np.array([one.size for one in listed] + [0.0])
    within = np.array([one.u for one in listed] + [0.0])
    for one in listed:
        square = share @ (within**2 + (size - one.size) ** 2)
        assert one.any_shape_u == pytest.approx(np.sqrt(square), rel=1e-4)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_uncertainty_of_a_change_is_that_of_a_ratio(seed):
    """JCGM 100:2008, 5.2.2: level now over level at the start, both learned from the same checks."""
    made = make_history(np.random.default_rng(seed), PLAIN, quarterly(12, 0.15 * np.arange(12) / 4))
    line = lines_of(made.history, "lock", "run_current")[0]
    (trend,) = (one for one in trends_of(made.history) if one.direction == "lock")
    unlock = lines_of(made.history, "unlock", "run_current")[0]
    rise = check_states(line, rises_together(line, unlock))[-1].reading.rise
    centre, now = trend.chart.centre / line.scale, trend.chart.level / line.scale
    slopes = np.array([-now / centre**2, 1.0 / centre])
    cross = rise.level_u**2 + rise.with_level
    # Scatter is a share of the figure, and that has come up.
    now_u2 = rise.level_u**2 + 2.0 * rise.with_level + (rise.any_shape_u * max(1.0, now / centre)) ** 2
    expected = slopes @ np.array([[rise.level_u**2, cross], [cross, now_u2]]) @ slopes
    assert trend.change_u == pytest.approx(np.sqrt(expected), rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_ewma_is_a_filter_of_the_first_order(seed):
    line = drawn(seed, 20)
    _, points = points_of(line)
    values = np.array([one.corrected for one in points])
    start = [(1.0 - EWMA_WEIGHT) * values[0]]
    filtered, _ = signal.lfilter([EWMA_WEIGHT], [1.0, EWMA_WEIGHT - 1.0], values, zi=start)
    assert [one.ewma for one in points] == pytest.approx(filtered, rel=1e-12)
    # its limit: the standard deviation of the same filter fed with noise of one
    gains, _ = signal.lfilter([EWMA_WEIGHT], [1.0, EWMA_WEIGHT - 1.0], np.eye(1, 20)[0], zi=[0.0])
    assert ewma_limit(20, EWMA_WEIGHT, 1.0) == pytest.approx(3.0 * np.sqrt(np.cumsum(gains**2)), rel=1e-12)
    assert ewma(values, EWMA_WEIGHT, values[0]) == pytest.approx(filtered, rel=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_more_scatter_is_an_f_test(seed):
    line = drawn(seed)
    found = dispersion_of(line)
    groups = [one / line.scale for one in line.throws]
    squares = [(np.var(one, ddof=1) * (len(one) - 1), len(one) - 1) for one in groups]
    (before, df_before), (now, df_now) = (np.sum(part, axis=0) for part in (squares[:-3], squares[-3:]))
    assert (NEWEST, FEWEST_BEFORE) == (3, 6)
    assert found.before == pytest.approx(np.sqrt(before / df_before))
    assert found.now == pytest.approx(np.sqrt(now / df_now))
    assert found.chance == pytest.approx(stats.f.sf((now / df_now) / (before / df_before), df_now, df_before))
