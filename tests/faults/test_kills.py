"""A handful of the kills; ``python -m tests.faults`` does two hundred."""

import pytest

from tests.faults.kills import kills
from tests.faults.work import PLACES


@pytest.mark.parametrize("place", PLACES)
def test_after_kill_9_all_that_was_reported_is_there_and_nothing_is_there_by_half(place, tmp_path):
    struck = list(kills(place, 3, tmp_path, seed=3))
    assert any(kill.in_the_work for kill in struck)
