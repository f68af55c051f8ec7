"""The session of an SSH login ends in mid-record; a second program wants the same port; places that may only be read."""

import shutil
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import tests.command
from logger.files.journal import unfinished
from tests.command import command
from tests.faults.test_places import AS_ROOT, WITHOUT_ROOTS_POWER
from tests.faults.until import LIMIT_S, until
from tests.ports.bench import board_on_a_cable, throw_source

TOP = Path(__file__).parents[2]
RIG_FILE = TOP / "sample-runs" / "yard-loader.toml"


def line_of(folder: Path, *arguments: object, without_power: bool = False) -> list[str]:
    power = WITHOUT_ROOTS_POWER if without_power and AS_ROOT else []
    return [*power, *command(folder / "log.throwbook", *arguments)]


def run(folder: Path, *arguments: object, without_power: bool = False) -> subprocess.CompletedProcess[str]:
    return tests.command.run(line_of(folder, *arguments, without_power=without_power))


def journal_bytes(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.glob("log.throwbook.unfinished/*.journal"))


@contextmanager
def not_ignored(number: signal.Signals) -> Iterator[None]:
    """What is started here hears the signal, even where these tests were started with ``nohup``, which is inherited."""
    before = signal.signal(number, signal.SIG_DFL)
    try:
        yield
    finally:
        signal.signal(number, before)


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="this system has no such signal")
@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGTERM])
def test_a_session_that_ends_in_mid_record_leaves_a_journal_that_is_offered_and_recovered(
    number: signal.Signals, tmp_path: Path
):
    # For as long as it takes: without --seconds, a throw that goes on for 120 s of the board's time ends by itself, on a
    # busy computer before the second program has even started.
    record = ("record", "--rig", RIG_FILE, "--direction", "lock", "--seconds", "1e6 s")
    with board_on_a_cable(throw_source(run_s=1e6), speed=8.0) as (port, _):
        line = line_of(tmp_path, *record, "--port", port.name)
        with not_ignored(number):
            recording = subprocess.Popen(
                line,
                cwd=TOP,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                start_new_session=True,
            )
        assert until(lambda: journal_bytes(tmp_path) > 20_000), recording.stderr.read()
        second = run(tmp_path, *record, "--port", port.name)  # another program at the same port
        assert (second.returncode, len(second.stderr.strip().splitlines())) == (3, 1), second.stderr
        assert "another program has this port" in second.stderr
        assert unfinished(tmp_path / "log.throwbook.unfinished") == []  # nobody recovers what is still alive
        recording.send_signal(number)
        said = recording.communicate(timeout=LIMIT_S)
        assert recording.returncode == -number, said  # not ended by itself before
    assert len(unfinished(tmp_path / "log.throwbook.unfinished")) == 1
    offered = run(tmp_path, *record, "--port", "/dev/null")
    assert "1 recording broke off" in offered.stderr
    assert "record --recover" in offered.stderr
    kept = run(tmp_path, "record", "--recover", "--out", tmp_path / "kept.csv")
    assert kept.returncode in (0, 1), kept.stderr
    assert len((tmp_path / "kept.csv").read_text().splitlines()) > 500
    assert unfinished(tmp_path / "log.throwbook.unfinished") == []


@pytest.mark.skipif(AS_ROOT and shutil.which("setpriv") is None, reason="root may write everywhere")
def test_places_that_may_only_be_read_are_one_line_and_exit_3(tmp_path: Path):
    closed = tmp_path / "closed"
    closed.mkdir()
    book = tmp_path / "open"
    book.mkdir()
    assert run(book, "rig", "add", RIG_FILE).returncode == 0
    closed.chmod(0o555)
    trace = TOP / "sample-runs" / "healthy" / "lock-mild.csv"
    for folder, arguments in (
        (closed, ("record", "--rig", RIG_FILE, "--port", "socket://127.0.0.1:1", "--direction", "lock")),
        (book, ("assess", "--rig", RIG_FILE, "--plot", closed / "p.png", trace)),
        (book, ("report", "yard-loader", "--folder", closed)),
        (book, ("cab-card", "yard-loader", "--folder", closed)),
        (book, ("export", closed / "out")),
        (book, ("samples", closed / "runs")),
        (book, ("demo", "--folder", closed / "demo")),
    ):
        done = run(folder, *arguments, without_power=True)
        assert done.returncode == 3, (arguments, done.stdout, done.stderr)
        assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    closed.chmod(0o755)
    assert list(closed.iterdir()) == []


def test_a_journal_that_cannot_be_made_is_told_before_the_throw(tmp_path: Path):
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o555)
    with board_on_a_cable(speed=8.0) as (port, _):
        arguments = ("record", "--rig", RIG_FILE, "--port", port.name, "--direction", "lock")
        done = run(closed, *arguments, without_power=True)
    closed.chmod(0o755)
    assert done.returncode == 3
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr
