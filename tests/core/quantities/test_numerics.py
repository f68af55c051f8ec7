"""The shared robust statistics against their plain definitions."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.quantities.statistics import moving_mean, prediction_factor, shared_variance


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
