"""From a file with a switch at each pin to the verdict and the status: one pin stays behind, and the current shows nothing."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tests.command import throwbook_said
from throwbook.core.simulator import SensorModel, SimulatedFault, ThrowConditions, machine_for, throw
from throwbook.files.rig_file import read_rig
from throwbook.files.trace_file import write_trace
from throwbook.jobs.rigs import add_rig

RIG_FILE = Path(__file__).with_name("quarry-loader.toml")
RIG = read_rig(RIG_FILE)
MACHINE = machine_for(RIG, 5)
SENSOR = SensorModel(rate_hz=100, before_s=0.6, after_s=0.8, has_switches=True, has_probe=True)


def file_of(folder: Path, direction: str, number: int, *faults: SimulatedFault) -> Path:
    started = datetime(2026, 5, 4, 9, number, tzinfo=UTC)
    rng = np.random.default_rng(number)
    thrown = throw(MACHINE, direction, ThrowConditions(), SENSOR, faults, rng, started, RIG.name)
    file = folder / f"{direction}-{number}.csv"
    write_trace(replace(thrown.trace, current_a=np.round(thrown.trace.current_a, 4)), file)
    return file


def lines(done) -> list[dict]:
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_pin_that_stays_behind_fails_its_throw_and_is_told_with_its_side(side, tmp_path):
    good = file_of(tmp_path, "lock", 1)
    behind = file_of(tmp_path, "lock", 2, SimulatedFault("pin-behind", side=side))
    first, second = lines(throwbook_said(None, "assess", "--rig", RIG_FILE, "--json", good, behind))
    assert first["verdict"] != "fail"
    assert 0.85 < first[f"{side}_switch_at_fraction"] < 1.0
    (sign,) = [one for one in second["signs"] if one["sign"] == "switch-open"]
    assert (second["verdict"], sign["level"], sign["side"]) == ("fail", "fail", side)
    assert f"{side.upper()} SWITCH open" in sign["because"]
    assert second[f"{side}_switch_at_s"] is None


@pytest.mark.parametrize(
    ("direction", "level"),
    [("lock", "do not use"), pytest.param("unlock", "restricted", marks=pytest.mark.long)],
)
def test_it_tightens_the_status_at_once_and_closed_switches_never_ease_it(direction, level, tmp_path):
    book = tmp_path / "logbook"
    add_rig(book, RIG_FILE, "M. K.", datetime.now(UTC))

    def brought_in(*files: Path):
        return throwbook_said(book, "import", "--rig", RIG.name, "--kind", "spot", *files)

    def status() -> str:
        (one,) = lines(throwbook_said(book, "status", RIG.name, "--json"))
        return one["status"]

    assert brought_in(file_of(tmp_path, direction, 3)).returncode == 0
    before = status()
    assert brought_in(file_of(tmp_path, direction, 4, SimulatedFault("pin-behind"))).returncode == 1
    assert status() == level != before
    closed = [file_of(tmp_path, "lock", 5), file_of(tmp_path, "unlock", 7)]
    assert brought_in(*closed).returncode == 0
    assert status() == level
