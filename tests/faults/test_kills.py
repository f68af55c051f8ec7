"""A handful of the kills; ``python -m tests.faults`` does two hundred."""

import pytest

from tests.faults.kills import kills
from tests.faults.work import PLACES

pytestmark = pytest.mark.long

# Work that isn't one piece leaves a half: the places left out here are stopped half-way by test_full_disk every time.
AT_ONCE = ("import", "entry", "migration")


@pytest.mark.parametrize(
    "place", [pytest.param(place, marks=() if place in AT_ONCE else pytest.mark.long) for place in PLACES]
)
def test_after_kill_9_all_that_was_reported_is_there_and_nothing_is_there_by_half(place, tmp_path):
    struck = []
    for kill in kills(place, 12, tmp_path, seed=3):
        struck.append(kill)
        # On a busy machine the work can be over before the kill comes: then another one is tried.
        if len(struck) >= 3 and any(one.in_the_work for one in struck):
            break
    assert any(one.in_the_work for one in struck)
