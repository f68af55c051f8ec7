"""Files of other loggers at the command line: how they were read is said, what is unclear is asked, or refused in a pipe."""

import json
import os
import sys
from pathlib import Path

import pytest

from tests.cli.sheet_steps import TOLD
from tests.cli.test_import_asks import at_the_question
from tests.command import run as run_line
from tests.files.other_loggers import OTHER_LOGGERS, THROW, comma, table
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.files.rig_file import read_rig
from throwbook.logbook import open_logbook

RIG = "yard-loader"
RIG_FILE = Path(__file__).parents[2] / "sample-runs" / "yard-loader.toml"
SEMICOLONS = next(case for case in OTHER_LOGGERS if case.name.startswith("semicolons"))
DATED = next(case for case in OTHER_LOGGERS if case.name.startswith("a date of dots"))
MILLISECONDS = table("Zeit;Strom\n", lambda row: f"{1e3 * row[0]:.0f};{comma(row[1], 3)}")
COMMAS = next(case for case in OTHER_LOGGERS if case.name.startswith("commas that may"))


@pytest.fixture
def run(in_empty_folder):
    code, _, err = in_empty_folder("rig", "add", RIG_FILE)
    assert code == 0, err
    return in_empty_folder


def bring(run, *words):
    return run("import", "--rig", RIG, "--kind", "spot", "--direction", "lock", *TOLD, *words)


def stored():
    with open_logbook(Path("book.throwbook"), read_only=True) as book:
        return book.trials(rig=RIG), book.orders(RIG)


def test_how_a_file_was_read_is_said_and_kept_with_the_throw(run):
    Path("lock.csv").write_bytes(SEMICOLONS.content)
    assess = ("assess", "--rig", RIG_FILE, "--direction", "lock", "lock.csv")
    said = "read as: semicolons; decimal comma; UTF-16; lines 1 to 4 passed over; no day found in it; time in s from 'Zeit [s]'"
    code, out, err = run(*assess)
    assert code == 0, err
    assert said.removeprefix("read ") in " ".join(out.split())
    [judged] = [json.loads(line) for line in run(*assess, "--json")[1].splitlines()]
    assert [note for note in judged["notes"] if note.startswith(said)]
    code, out, err = bring(run, "lock.csv")
    assert code == 0, err
    assert f"lock.csv, {said}" in " ".join(out.split())
    with open_logbook(Path("book.throwbook"), read_only=True) as book:
        [logged] = book.trials(rig=RIG)
        assert f"read as: {book.trace(logged.id).head['read_as']}".startswith(said)
    code, out, err = bring(run, "--json", "lock.csv")
    again = json.loads(out)
    assert again["known"]
    assert f"read as: {again['read_as']['lock.csv']}".startswith(said)


def test_the_figures_are_those_of_our_own_file(run):
    Path("lock.csv").write_bytes(DATED.content)
    theirs = json.loads(run("assess", "--rig", RIG_FILE, "--direction", "lock", "--json", "lock.csv")[1])
    ours = json.loads(
        run("assess", "--rig", RIG_FILE, "--json", RIG_FILE.with_name("baseline") / "lock-1.csv")[1]
    )
    for figure in ("travel_time_s", "run_current_a", "peak_run_current_a", "mean_voltage_v"):
        assert abs(theirs[figure] - ours[figure]) <= max(theirs[f"{figure}_u"], ours[f"{figure}_u"])
    code, _, err = bring(run, "lock.csv")
    assert code == 0, err
    [logged], _ = stored()
    assert logged.trial.started.replace(tzinfo=None).isoformat() == "2026-03-14T09:12:33"


OURS = tuple(
    getattr(assess_trace(THROW, read_rig(RIG_FILE)).figures, name).value
    for name in ("travel_time_s", "run_current_a")
)


def test_a_baseline_of_both_directions_keeps_its_own(run):
    Path("lock.csv").write_bytes(SEMICOLONS.content)
    words = ("assess", "--rig", RIG_FILE, "--direction", "lock", "--baseline", RIG_FILE.with_name("baseline"))
    code, out, err = run(*words, "lock.csv")
    assert code == 0, err
    assert "Baseline for lock: " in out
    assert "Baseline for unlock: " in out


UNCLEAR = {
    "decimals": (COMMAS.content, "--decimal comma or --decimal point", ("--decimal", "point")),
    "milliseconds": (MILLISECONDS.encode(), "--time-unit ms", ("--time-unit", "ms")),
    "milliampere": (
        table("Zeit;Strom\n", lambda row: f"{comma(row[0], 4)};{1e3 * row[1]:.0f}").encode(),
        "--current-unit mA",
        ("--current-unit", "mA"),
    ),
}


@pytest.mark.parametrize("case", UNCLEAR)
def test_in_a_pipe_what_is_unclear_is_refused_with_the_option_that_answers(run, case):
    content, named, option = UNCLEAR[case]
    Path("lock.csv").write_bytes(content)
    assess = ("assess", "--rig", RIG_FILE, "--direction", "lock", "lock.csv")
    for words in (assess, (*assess, "--json")):
        code, out, err = run(*words)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert named in err
    code, out, err = bring(run, "lock.csv")
    assert (code, out) == (2, "")
    assert named in err
    assert stored() == ([], [])
    code, out, err = run(*assess, *option, "--json")
    assert code == 0, err
    assert (json.loads(out)["travel_time_s"], json.loads(out)["run_current_a"]) == pytest.approx(
        OURS, rel=0.01
    )
    code, out, err = bring(run, "lock.csv", *option)
    assert code == 0, err
    assert len(stored()[0]) == 1


@pytest.mark.parametrize(("answer", "code"), [("point\n", 0), ("comma\nn\n", 2)])
def test_at_a_terminal_it_is_asked(tmp_path, answer, code):
    file = tmp_path / "lock.csv"
    file.write_bytes(COMMAS.content)
    arguments = ["assess", "--rig", RIG_FILE, "--direction", "lock", file]
    done, shown = at_the_question(arguments, answer, asked="(comma, point):")
    said = " ".join(shown.split())
    assert "the comma in '1,000' may mark decimals or thousands" in said
    assert ("1 throw: " in said) == (code == 0), said
    # as decimals its rows would be 10 us apart: asked about next, and nobody answers
    assert done == code, said


IN_TURN = """import json, sys
from throwbook.cli import diagnostics
from throwbook.cli.main import throwbook
print([diagnostics.run(throwbook, words) for words in json.loads(sys.argv[1])])"""


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_no_command_waits_for_a_pipe_under_a_files_name(run, tmp_path):
    os.mkfifo("pipe.csv")
    os.symlink("pipe.csv", "pipe.toml")
    trace = RIG_FILE.with_name("baseline") / "lock-1.csv"
    commands = {
        "trace": ("assess", "--rig", RIG_FILE, "pipe.csv"),
        "baseline": ("assess", "--rig", RIG_FILE, "--baseline", "pipe.csv", trace),
        "rig": ("assess", "--rig", "pipe.toml", trace),
        "import": ("import", "--rig", RIG, "--kind", "spot", "pipe.csv"),
        "rig add": ("rig", "add", "pipe.csv"),
        "logbook": ("--logbook", "pipe.csv", "rig", "list"),
        "merge": ("merge", "pipe.csv"),
        "enter": ("enter", "--rig", RIG, "--file", "pipe.csv"),
    }
    # one process for all of them, as each may wait for ever
    lines = json.dumps([list(map(str, words)) for words in commands.values()])
    env = {"THROWBOOK_LOGBOOK": "book.throwbook"}
    done = run_line([sys.executable, "-c", IN_TURN, lines], env=env, timeout=60, cwd=tmp_path)
    assert done.stdout.splitlines()[-1] == str([2] * len(commands)), done.stderr
    refused = done.stderr.splitlines()
    assert [line for line in refused if "this is a pipe or a device" not in line] == []
    assert len(refused) == len(commands)
