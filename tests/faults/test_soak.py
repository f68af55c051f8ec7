"""An hour's worth of throws in little; ``python -m tests.faults.soak`` throws for a day and a night."""

import sys
from pathlib import Path

import pytest

from tests.faults.soak import soak

pytestmark = pytest.mark.long


@pytest.mark.skipif(sys.platform != "linux", reason="open handles are counted in /proc")
def test_every_throw_is_accounted_for_and_nothing_stays_open(tmp_path: Path):
    day = soak(12, tmp_path, through_a_port=6)
    assert day.wrong == []
    assert (day.throws, day.through_ports) == (12, 2)
    assert day.lost > 0  # some came over a bad cable
