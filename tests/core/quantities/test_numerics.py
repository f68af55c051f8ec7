"""The shared statistics against their plain definitions, and beside scipy's on drawn values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate as scipy_integrate
from scipy import signal, stats

from throwbook.core.quantities.statistics import (
    chance_beyond,
    false_accept_risk,
    from_half_width,
    from_step,
    integrate,
    interval_of,
    median_of,
    median_of_three,
    medians_of_rows,
    moving_mean,
    prediction_factor,
    robust_sd,
    shared_variance,
    t_quantile,
    type_a,
)


@given(st.lists(st.floats(-1e3, 1e3), max_size=40), st.integers(1, 60))
def test_the_moving_mean_is_the_mean_of_the_neighbours_that_there_are(values, width):
    array = np.array(values)
    for k, got in enumerate(moving_mean(array, width)):
        low = max(0, k - width // 2)
        high = min(len(array), k - width // 2 + width)
        assert got == pytest.approx(np.mean(array[low:high]), abs=1e-9)


def test_limits_from_few_throws_are_wider_than_three_sigma():
    # t(0.99, n-1) sqrt(1 + 1/n): 4.1 for n = 5, 3.0 for n = 10 (Student's t; the method's own figures).
    assert prediction_factor(5) == pytest.approx(4.1, abs=0.05)
    assert prediction_factor(10) == pytest.approx(3.0, abs=0.05)


def test_variances_that_are_all_alike_are_one_variance():
    """Mean of the logarithm of chi-square over its degrees: digamma(d/2) - log(d/2); digamma(2) = 1 - 0.577216 (Euler)."""
    prior, worth = shared_variance(np.full(50, 3.0), 4)
    assert (prior, worth) == (pytest.approx(3.0 * 2.0 / np.exp(1.0 - 0.577215665)), np.inf)


def test_what_variances_have_in_common_is_what_they_were_drawn_with():
    """The model of Smyth 2004, section 3: a scaled inverse chi-square of 10 degrees about 2.0, seen with 4 degrees."""
    rng = np.random.default_rng(8)
    true = 10.0 * 2.0 / rng.chisquare(10.0, 20_000)
    prior, worth = shared_variance(true * rng.chisquare(4.0, 20_000) / 4.0, 4)
    assert (prior, worth) == (pytest.approx(2.0, rel=0.03), pytest.approx(10.0, rel=0.1))


@pytest.mark.parametrize("seed", range(8))
def test_medians_means_scatter_and_integrals_are_those_of_scipy(seed):
    rng = np.random.default_rng(seed)
    values = rng.normal(2.0, 0.3, int(rng.integers(3, 60)))
    at_s = np.cumsum(rng.uniform(0.001, 0.1, len(values)))
    assert median_of(values) == np.median(values)
    assert medians_of_rows(values.reshape(1, -1)) == np.median(values)
    assert robust_sd(values) == pytest.approx(stats.median_abs_deviation(values, scale="normal"), rel=1e-4)
    assert median_of_three(values)[1:-1] == pytest.approx(signal.medfilt(values, 3)[1:-1])
    assert integrate(values, at_s) == pytest.approx(scipy_integrate.trapezoid(values, at_s))
    mean, u = type_a(values)
    assert (mean, u) == (pytest.approx(np.mean(values)), pytest.approx(stats.sem(values)))
    # An end of ours is one of the draws; scipy's lies between two of them.
    draws = rng.lognormal(0.0, 0.5, 4096)
    found = interval_of(1.0, draws)
    assert (found.low, found.high) == pytest.approx(stats.mstats.mquantiles(draws, [0.025, 0.975]), rel=0.01)


@pytest.mark.parametrize("seed", range(8))
def test_chances_and_factors_are_those_of_scipys_distributions(seed):
    rng = np.random.default_rng(100 + seed)
    room, u, degrees = rng.uniform(0.0, 3.0), rng.uniform(0.2, 2.0), int(rng.integers(1, 40))
    p = float(rng.uniform(0.5, 0.999))
    assert false_accept_risk(room, u) == pytest.approx(stats.norm.sf(room, scale=u))
    half_width = u * np.sqrt(3.0)
    rectangle = stats.uniform.sf(room, loc=-half_width, scale=2.0 * half_width)
    assert chance_beyond(room, u) == pytest.approx(max(stats.norm.sf(room, scale=u), rectangle))
    assert t_quantile(p, degrees) == pytest.approx(stats.t.ppf(p, degrees), rel=1e-9)
    n = degrees + 1
    assert prediction_factor(n, p) == pytest.approx(stats.t.ppf(p, n - 1) * np.sqrt(1.0 + 1.0 / n), rel=1e-9)
    assert from_half_width(half_width) == pytest.approx(stats.uniform.std(-half_width, 2.0 * half_width))
    assert from_step(u) == pytest.approx(stats.uniform.std(0.0, u))
