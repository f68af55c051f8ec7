"""The logbook's own commands, run as a person runs them."""

import json
import subprocess

import pytest

from tests.command import command, environment, throwbook_here
from tests.logbook.conftest import NOW, RIG, TOML, fill
from throwbook.logbook import open_logbook


def run(*arguments, book=None, expect=0):
    done = throwbook_here(book, *arguments)
    out, err = done.stdout.decode(), done.stderr.decode()
    assert done.returncode == expect, (out, err)
    assert "Traceback" not in err
    return subprocess.CompletedProcess(done.args, done.returncode, out, err)


@pytest.fixture
def path(tmp_path):
    where = tmp_path / "Füße und Räder" / "log book.throwbook"
    where.parent.mkdir()
    with open_logbook(where) as book:
        book.add_rig(RIG, TOML, "M. K.", NOW)
        fill(book, trials=2)
    return where


def test_check_says_that_all_is_well_or_names_the_sheet_and_exits_1(path):
    assert "No change or loss was found" in run("check", book=path).stdout
    with open_logbook(path) as book:
        book.db.execute("DROP TRIGGER placement_no_update")
        book.db.execute("UPDATE placement SET as_found = 1")
    told = json.loads(run("check", "--json", book=path, expect=1).stdout)
    assert told["whole"] is False
    assert told["problems"][0]["where"] == "sheet quarry-loader-1"


def test_backup_gives_a_logbook_that_checks_out(path, tmp_path):
    made = json.loads(run("backup", "--json", book=path).stdout)
    assert run("check", book=made["backup"])
    assert "already" in run("backup", made["backup"], book=path, expect=2).stderr


def test_merge_takes_in_what_is_new_and_says_so(path, tmp_path):
    other = tmp_path / "other"
    other.write_bytes(path.read_bytes())
    with open_logbook(other) as book:
        fill(book, trials=2, first_seed=40)
    assert "1 sheet, 2 throws" in run("merge", other, book=path).stdout
    assert "Nothing new" in run("merge", other, book=path).stdout


def test_export_writes_a_folder(path, tmp_path):
    assert "trials.csv" in run("export", tmp_path / "out", book=path).stdout
    assert "run_current_a" in run("export", "--columns").stdout
    assert "FOLDER" in run("export", book=path, expect=2).stderr


@pytest.mark.parametrize("command", ["check", "backup", "export", "merge"])
def test_a_missing_logbook_and_a_wrong_file_are_one_line_and_exit_2(command, tmp_path):
    arguments = {"export": [tmp_path / "out"], "merge": [tmp_path / "x"]}.get(command, [])
    wrong = tmp_path / "notes.txt"
    wrong.write_text("Greased the left pin.\n" * 20)
    if command != "merge":
        assert "no logbook here" in run(command, *arguments, book=tmp_path / "none", expect=2).stderr
    told = run(command, *arguments, book=wrong, expect=2).stderr
    assert "not a logbook" in told
    assert len(told.strip().splitlines()) == 1
    assert wrong.read_text() == "Greased the left pin.\n" * 20


def test_a_command_says_once_that_it_waits_for_another_program(path):
    """The other program lets go when it reads what the command says."""
    with open_logbook(path) as other:
        other.db.execute("BEGIN IMMEDIATE")
        line = command(path, "order", "raise", RIG, "--cause", "damage", "--because", "left pin bent")
        process = subprocess.Popen(
            line,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=environment(),
        )
        said = process.stderr.readline().decode()
        other.db.execute("ROLLBACK")
        _, rest = process.communicate(timeout=30)
    assert "another program is writing" in said
    assert (process.returncode, rest) == (0, b"")


def test_a_rig_file_that_cannot_be_read_is_not_covered_and_hides_no_status(path):
    assert "Not covered: suitability (rig file)." in run("status", RIG, book=path).stdout
    raised = run("order", "raise", RIG, "--cause", "damage", "--because", "left pin bent", book=path).stdout
    assert "DO NOT USE" in raised


def test_a_backup_is_put_back_and_what_it_lacks_is_said(run, tmp_path):
    copy = tmp_path / "copy.throwbook"
    assert run("backup", str(copy))[0] == 0
    assert run("order", "raise", RIG, "--cause", "damage", "--because", "bent pin", "--by", "M. K.")[0] == 0
    code, out, err = run("backup", "--restore", str(copy), "--by", "M. K.")
    assert (code, err) == (0, "")
    said = " ".join(out.split())
    assert f"Restored: {run.path}" in said
    assert "Carried over from it: 1 order." in said
    [kept] = run.path.parent.glob("*-before-restore-*")
    first = kept.read_bytes()
    assert json.loads(run("status", RIG, "--json")[1])["status"] == "do not use"
    run.path.write_bytes(b"")
    code, out, err = run("backup", "--restore", str(copy), "--by", "M. K.", "--json")
    done = json.loads(out)
    assert (code, done["unread"], done["held"]) == (0, "the logbook was empty", [RIG])
    assert kept.read_bytes() == first
    assert json.loads(run("status", RIG, "--json")[1])["status"] == "restricted"
    signed = ("--all", "--because", "nothing was thrown since", "--signed", "M. K.")
    code, _, err = run("order", "clear", RIG, *signed)
    assert code == 0, err
    code, _, err = run("backup", "other.throwbook", "--restore", str(kept))
    assert code == 2
    assert "a copy and a restore at once" in err
