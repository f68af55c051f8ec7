"""A memory card or a network folder that takes its time: nothing is lost, and nothing is blamed that isn't at fault."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.command import TOP, command, environment, throwbook
from tests.faults.slow_disk import slow_disk
from tests.ports.bench import board_on_a_cable
from throwbook.jobs.find import opened

pytestmark = [
    pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the shim is for Linux"),
    pytest.mark.long,
]
RIG_FILE = TOP / "sample-runs" / "yard-loader.toml"


def test_a_disk_that_hangs_in_mid_throw_ends_no_recording_and_costs_no_sample(tmp_path: Path):
    hangs = slow_disk(tmp_path, each_s=0.03, once_s=4.0, at=12)  # longer than a board may be silent
    with board_on_a_cable(speed=2.0) as (port, _):
        record = ("record", "--rig", RIG_FILE, "--direction", "lock", "--port", port.name)
        done = throwbook(tmp_path / "log.throwbook", *record, "--out", tmp_path / "t.csv", env=hangs)
    assert done.returncode in (0, 1), done.stderr
    assert "0 lost, 0 lines dropped; the current is off again." in done.stdout
    assert "Look at the board" not in done.stderr


def test_two_programs_on_a_slow_disk_both_get_their_throw_into_the_logbook(tmp_path: Path):
    book, slow = tmp_path / "log.throwbook", slow_disk(tmp_path, each_s=0.3)
    assert throwbook(book, "rig", "add", RIG_FILE, env=slow).returncode == 0
    read = ("--direction", "lock", "--run", "2.1A", "--time")
    lines = [
        command(book, "enter", "--rig", "yard-loader", "--kind", "spot", *read, f"14.{number}s")
        for number in (3, 5)
    ]
    both = [
        subprocess.Popen(
            line, cwd=TOP, env=environment(**slow), stdin=subprocess.DEVNULL, stderr=subprocess.PIPE
        )
        for line in lines
    ]
    for one in both:
        _, said = one.communicate(timeout=60.0)
        assert one.returncode in (0, 1), said
    assert throwbook(book, "check").returncode == 0
    with opened(book, read_only=True) as held:
        assert len(held.trials(rig="yard-loader")) == 2
