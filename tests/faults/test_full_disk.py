"""A full disk in every place."""

import pytest

from tests.faults.full_disk import COMMANDS, can_mount, command, fill, small_disk, strike
from tests.faults.work import PLACES, RIG

pytestmark = pytest.mark.long

# The places left out here are killed half-way by test_kills every time.
LONG = ("import", "entry", "migration")


@pytest.mark.skipif(not can_mount(), reason="a small disk can only be mounted as root")
@pytest.mark.parametrize(
    ("place", "left_kb"),
    [
        pytest.param(place, left_kb, marks=pytest.mark.long if place in LONG or left_kb else ())
        for place in COMMANDS
        for left_kb in (0, 16)
    ],
)
def test_a_full_disk_is_one_clear_line_exit_3_and_an_intact_logbook(place, left_kb, tmp_path):
    struck = strike(place, left_kb, tmp_path / "disk")
    assert struck.code == 3 or left_kb


@pytest.mark.skipif(not can_mount(), reason="a small disk can only be mounted as root")
def test_a_logbook_on_a_full_disk_can_still_be_read(tmp_path):
    with small_disk(tmp_path / "disk") as folder:
        PLACES["entry"].prepare(folder)
        fill(folder, 0)
        done = command(folder, "rig", "list")
        assert (done.returncode, done.stderr) == (0, "")
        assert RIG in done.stdout
