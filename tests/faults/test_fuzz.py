"""A handful of bad input for every reader; ``python -m tests.faults.fuzz`` feeds as much as is asked for."""

import pytest

from tests.drawn import drawn
from tests.faults.fuzz import fuzz
from tests.faults.readers import READERS


@pytest.mark.parametrize("name", READERS)
def test_bad_input_is_refused_in_one_line_whatever_it_is(name: str):
    inputs = int(300 / READERS[name].share) if READERS[name].share > 0.5 else 3000
    found = fuzz(name, drawn(inputs, inputs // 3), seed=5)
    assert found.outcome == "survived"
