"""Throws that no machine made never speak for one: not by recording, import, merge, acceptance or on paper."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tests.cli.sheet_steps import GOOD, RIG, RIG_FILE, TOLD, accept, enter
from throwbook.cli import diagnostics
from throwbook.cli.main import throwbook
from throwbook.core.sheets.conditions import CAUTION, FOR_PRACTICE, simulated_by
from throwbook.core.simulator import SensorModel, ThrowConditions, machine_for, throw
from throwbook.errors import InputError
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs.find import find_rig
from throwbook.jobs.recording import Recorded, throws_of
from throwbook.jobs.store_trial import Place, keep
from throwbook.logbook import open_logbook
from throwbook.logbook.merge import merge

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
LOOKED = ("--left-pin", "yes", "--right-pin", "yes", "--seen-how", "torch", "--load-check", "done")
LOOKED += ("--retained-power-off", "yes", "--signed", "M. K.")


@pytest.fixture
def practice(tmp_path, capsys):
    """A practice logbook, as ``start_practice`` makes it."""
    path = tmp_path / "practice.throwbook"
    with open_logbook(path) as book:
        book.add_rig(RIG, RIG_FILE.read_text("utf-8"), "M. K.", START, FOR_PRACTICE)

    def command(*words: str) -> tuple[int, str, str]:
        code = diagnostics.run(throwbook, ["--logbook", str(path), *words])
        told = capsys.readouterr()
        return code, told.out, told.err

    command.path = path
    return command


def ten_throws(folder, **head: str):
    """Ten healthy simulated throws of the rig as files, with ``head`` as what made them."""
    rig = find_rig(str(RIG_FILE), None).rig
    machine = machine_for(rig, 3, 0.4)
    files = []
    rng = np.random.default_rng(14)
    for number in range(10):
        way = ("lock", "unlock")[number % 2]
        started = START + timedelta(minutes=2 * number)
        made = throw(machine, way, ThrowConditions(10.0), SensorModel(), (), rng, started, RIG).trace
        file = folder / f"{number}-{head.get('board', 'made')}.csv"
        write_trace(replace(made, head=dict(head)), file)
        files.append(str(file))
    return files


def bring_in(command, files):
    return command("import", "--rig", RIG, "--kind", "commissioning", *TOLD, *files)


@pytest.mark.parametrize(
    ("head", "made_by"),
    [
        ({"board": "Rehearsal "}, "a simulated board"),
        ({"made_by": "throwbook samples (simulated)"}, "a simulation"),
        ({"board": "shunt-1", "firmware": "1"}, ""),
        ({}, ""),
    ],
)
def test_a_record_says_in_its_head_that_no_machine_made_it(head, made_by):
    assert simulated_by(head) == made_by


def test_a_rehearsal_board_cannot_fill_a_sheet_of_a_real_logbook(run, tmp_path):
    code, _, err = bring_in(run, ten_throws(tmp_path, board="rehearsal"))
    assert (code, "made by a simulated board" in err) == (2, True)
    assert run("sheet", "list")[1].count(RIG) == 0


def test_throws_of_a_simulation_are_no_acceptance(run, tmp_path):
    assert bring_in(run, ten_throws(tmp_path, made_by="throwbook samples (simulated)"))[0] == 0
    code, _, err = run("sheet", "accept", f"{RIG}-1", *LOOKED)
    assert (code, "made by a simulation; that says nothing about this machine" in err) == (2, True)
    assert json.loads(run("status", RIG, "--json")[1])["commissioned"] is False


def test_a_throw_recorded_from_a_rehearsal_board_becomes_a_file_and_no_entry(run, tmp_path, monkeypatch):
    trace = read_trace(tmp_path / ten_throws(tmp_path, board="rehearsal")[0])
    monkeypatch.chdir(tmp_path)
    rig = find_rig(RIG, str(run.path)).rig
    throws = throws_of(trace, rig, {})
    recorded = Recorded(
        rig, RIG, trace, throws, "off", None, (), None, len(trace), 0, 0, tmp_path / "journal"
    )
    kept = keep(recorded, Place(logbook=str(run.path), in_logbook=True, by="M. K."), START)
    assert (kept.sheet, "made by a simulated board" in kept.kept_out) == ("", True)
    assert kept.file is not None
    assert kept.file.exists()
    assert run("sheet", "list")[1].count(RIG) == 0


def test_a_practice_logbook_says_so_wherever_the_rig_stands_and_on_every_paper(practice, tmp_path):
    assert bring_in(practice, ten_throws(tmp_path, board="rehearsal"))[0] == 0
    assert practice("sheet", "accept", f"{RIG}-1", *LOOKED)[0] == 0
    assert CAUTION in practice("status", RIG)[1]
    assert json.loads(practice("status", RIG, "--json")[1])["practice"] is True
    assert practice("report", RIG, "--folder", str(tmp_path))[0] == 0
    page = (tmp_path / f"report-{RIG}.html").read_text("utf-8")
    assert CAUTION in page
    assert "Practice, no machine. Test report" in page


def test_a_real_logbook_does_not_take_a_practice_one_in(run, practice, tmp_path):
    assert bring_in(practice, ten_throws(tmp_path, board="rehearsal"))[0] == 0
    with open_logbook(run.path) as book, pytest.raises(InputError, match="practice logbook"):
        merge(book, practice.path)
    code, _, err = run("merge", str(practice.path))
    assert (code, "practice logbook" in err) == (2, True)
    assert run("sheet", "list")[1].count(RIG) == 0


def test_a_real_logbook_is_not_called_practice(run):
    enter(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    assert CAUTION not in run("status", RIG)[1]
    found = json.loads(run("status", RIG, "--json")[1])
    assert (found["practice"], found["status"]) == (False, "in service")
    assert found["sentence"] == f"in service; {found['next_check']['sentence']}"
    assert found["next_check"]["on"] is not None, "an accepted commissioning sheet sets the next check"
    assert "look at each pin separately" in found["caution"]
