"""``import`` without ``--rig``, as the owner of many rigs types it."""

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.command import command, environment
from tests.faults.test_hangup import not_ignored
from throwbook.core.wording import OUT_OF_USE
from throwbook.files.trace_file import read_trace

SAMPLES = Path(__file__).parents[2] / "sample-runs" / "baseline"


@pytest.fixture
def folder(tmp_path):
    """Two throws of quarry-loader by their heads, one that only its folder tells, one that nothing tells."""
    path = tmp_path / "incoming"
    for name, rig, source in (
        ("1.csv", "quarry-loader", "lock-1"),
        ("2.csv", "quarry-loader", "unlock-1"),
        ("Quarry Loader/3.csv", "", "lock-2"),
        ("4.csv", "", "unlock-2"),
    ):
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        text = (SAMPLES / f"{source}.csv").read_text("utf-8")
        (path / name).write_text(text.replace('# rig = "yard-loader"\n', f'# rig = "{rig}"\n' if rig else ""))
    return path


def test_what_was_left_is_listed_and_the_exit_code_says_so(run, folder):
    code, out, err = run("import", "--kind", "spot", str(folder))
    assert (code, err) == (2, "")
    assert "quarry-loader-1" in out
    assert f"left: {folder / '4.csv'}: neither its head nor its name says which rig it is." in out
    assert "--by-name" in out
    assert "2 throws logged on 1 sheet; 2 files left where they are." in out
    code, out, _ = run("import", "--kind", "spot", "--by-name", "--json", str(folder))
    record = json.loads(out)
    assert code == 2
    assert [(one["rig"], one["sheet"], len(one["logged"])) for one in record["sheets"]] == [
        ("quarry-loader", "quarry-loader-1", 1)
    ]
    assert [Path(one["file"]).name for one in record["left"]] == ["4.csv"]
    assert len(record["known"]) == 2
    (folder / "4.csv").unlink()
    code, out, _ = run("import", "--kind", "spot", "--by-name", str(folder))
    assert out == "0 throws logged on 0 sheets; 3 files in the logbook already.\n"
    assert code == 0


def test_many_files_of_a_folder_with_one_reason_are_one_line_that_names_each(run, folder):
    for name in ("b.csv", "c.csv", "a.csv"):
        (folder / name).touch()
    (folder / "of a\u2028line.csv").touch()
    _, out, _ = run("import", "--kind", "spot", str(folder))
    empty = "line 1: the file is empty. Record the throw again"
    lines = " ".join(out.split())
    assert f"left: {folder}: a.csv, b.csv, c.csv, of a\ufffdline.csv: {empty}" in lines
    assert f"left: {folder / '4.csv'}: neither its head" in lines
    assert out.count("the file is empty") == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--rig", "quarry-loader", "--watch"), "--watch: it is for files of many rigs"),
        (("--rig", "quarry-loader", "--by-name"), "--by-name: it is for files of many rigs"),
        (("--started", "2026-03-14T09:00"), "--started: it needs one rig"),
    ],
)
def test_options_that_do_not_go_together_are_refused(run, folder, words, said):
    code, _, err = run("import", "--kind", "spot", *words, str(folder))
    assert code == 2
    assert said in err


def test_only_a_folder_is_watched(run, folder):
    code, _, err = run("import", "--kind", "spot", "--watch", str(folder / "1.csv"))
    assert code == 2
    assert "this is not a folder" in err


@pytest.mark.skipif(sys.platform == "win32", reason="a process of its own gets no Ctrl-C there")
def test_ctrl_c_ends_watching_cleanly(run, folder):
    line = command(run.path, "import", "--kind", "spot", "--watch", folder)
    with not_ignored(signal.SIGINT):
        watching = subprocess.Popen(line, stdout=subprocess.PIPE, text=True, env=environment())
    with watching:
        assert watching.stdout.readline().startswith("Watching ")
        watching.send_signal(signal.SIGINT)
        assert watching.stdout.read().startswith("No longer watching ")
    assert watching.returncode == 0


def test_a_watched_folder_that_goes_is_named_and_ends_it(run, folder):
    line = command(run.path, "import", "--kind", "spot", "--watch", folder)
    with subprocess.Popen(
        line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment()
    ) as watching:
        assert watching.stdout.readline().startswith("Watching ")
        folder.rename(folder.parent / "elsewhere")
        _, err = watching.communicate(timeout=30)
    assert watching.returncode == 3
    assert "this folder is gone" in err


def test_a_throw_keeps_what_its_file_is_known_by(run, folder):
    run("import", "--kind", "spot", str(folder))
    code, _, _ = run("export", "--traces", str(folder.parent / "out"))
    assert code == 0
    heads = [read_trace(path).head for path in (folder.parent / "out" / "traces").iterdir()]
    assert all(len(head["file_sha256"]) == 64 for head in heads)


def test_a_rig_that_a_throw_took_out_of_use_is_named_with_its_caution(run, folder):
    stalled = (SAMPLES.parent / "signs" / "stall-mid-way.csv").read_text("utf-8")
    (folder / "5.csv").write_text(stalled.replace("yard-loader", "quarry-loader"), "utf-8")
    _, out, _ = run("import", "--kind", "spot", str(folder))
    assert f"quarry-loader: {OUT_OF_USE}" in out
