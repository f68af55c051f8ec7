"""Where the logbook lies: a folder that may not be written, names with spaces and accents, a wrong file, nothing."""

import os
import shutil
import sys

import pytest

from tests.command import as_file_name, run, throwbook_said
from tests.command import command as words
from tests.faults.full_disk import command
from tests.faults.work import PLACES, RIG, TOP, logbook, start, throws

AS_ROOT = hasattr(os, "geteuid") and os.geteuid() == 0
WITHOUT_ROOTS_POWER = ["setpriv", "--bounding-set=-dac_override"]
"""Root may write everywhere; without this capability the permissions of a folder count for it too."""


CLOSABLE = pytest.mark.skipif(
    sys.platform == "win32", reason="Windows' permissions of a folder aren't set by chmod"
)


def without_power(folder, *arguments):
    if AS_ROOT and shutil.which("setpriv") is None:
        pytest.skip("root may write everywhere, and setpriv isn't here to take that away")
    return run([*(WITHOUT_ROOTS_POWER if AS_ROOT else []), *words(logbook(folder), *arguments)])


@pytest.fixture
def closed_folder(tmp_path):
    folder = tmp_path / "closed"
    folder.mkdir()
    start(folder)
    throws(folder, 0, 2)
    folder.chmod(0o555)
    yield folder
    folder.chmod(0o755)


@CLOSABLE
@pytest.mark.long  # one command that fails with a traceback there: make test tries papers and plots in such a folder (tests/cli)
def test_in_a_folder_without_permission_reading_works_and_writing_is_one_line_and_exit_3(
    closed_folder, tmp_path
):
    before = logbook(closed_folder).read_bytes()
    read = without_power(closed_folder, "rig", "list")
    assert (read.returncode, read.stderr) == (0, "")
    assert RIG in read.stdout
    files = sorted(closed_folder.glob("throw *.csv"))
    for arguments in (
        ("import", "--rig", RIG, "--kind", "spot", *files),
        ("enter", "--rig", RIG, "--kind", "spot", "--direction", "lock", "--time", "14.3s", "--run", "2.1A"),
        ("backup", closed_folder / "copy"),
        ("export", closed_folder / "out"),
    ):
        done = without_power(closed_folder, *arguments)
        assert done.returncode == 3, (arguments, done.stderr)
        assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    assert logbook(closed_folder).read_bytes() == before
    elsewhere = without_power(closed_folder, "backup", tmp_path / "copy")
    assert elsewhere.returncode == 0, elsewhere.stderr


@CLOSABLE
def test_a_logbook_that_cannot_be_made_is_one_line_and_exit_3(tmp_path):
    folder = tmp_path / "closed"
    folder.mkdir(mode=0o555)
    done = without_power(folder, "rig", "add", TOP / "sample-runs" / "yard-loader.toml")
    folder.chmod(0o755)
    assert done.returncode == 3, done.stderr
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr


# spaces, letters of no code page and marks of a shell or an address at once; each alone in test-all
NAMES = ("two words", "Füße", "日誌", "a'b\"c", "50% #1 ?x=y&z", "-rf")


@pytest.mark.parametrize(
    "name", ["-r 日誌 50% #1 a'b?x=y&z", *(pytest.param(one, marks=pytest.mark.long) for one in NAMES)]
)
def test_any_name_of_a_folder_will_do(name, tmp_path):
    folder = tmp_path / as_file_name(name)
    folder.mkdir()
    PLACES["entry"].prepare(folder)
    done = command(folder, "rig", "list")
    assert (done.returncode, done.stderr) == (0, "")
    assert RIG in done.stdout
    assert sorted(path.name for path in folder.iterdir()) == [logbook(folder).name]


def test_every_writing_command_refuses_a_wrong_file_and_leaves_it(tmp_path):
    wrong = logbook(tmp_path)
    wrong.write_text("Greased the left pin.\n" * 30)
    for arguments in (
        ("rig", "add", TOP / "sample-runs" / "yard-loader.toml"),
        ("rig", "list"),
        ("import", "--rig", RIG, "--kind", "spot", TOP / "sample-runs" / "baseline" / "lock-1.csv"),
        ("enter", "--rig", RIG, "--kind", "spot", "--direction", "lock", "--time", "14.3s", "--run", "2.1A"),
        ("sheet", "list"),
        ("check",),
    ):
        done = throwbook_said(wrong, *arguments)
        assert done.returncode == 2, (arguments, done.stderr)
        assert "not a logbook" in done.stderr
        assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    assert wrong.read_text() == "Greased the left pin.\n" * 30
    assert [path.name for path in tmp_path.iterdir()] == [wrong.name]
