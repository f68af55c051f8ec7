"""Small statistics against numpy's own."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from logger.core.numerics import median_of

finite = st.floats(-1e9, 1e9)


@given(arrays(np.float64, st.integers(1, 40), elements=finite))
def test_the_median_is_that_of_numpy(values):
    assert median_of(values) == np.median(values)
