"""The session of an SSH login ends in mid-record; a second program wants the same port; places that may only be read."""

import json
import os
import shutil
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

import tests.command
from tests.command import command, environment
from tests.faults.test_places import AS_ROOT, CLOSABLE, WITHOUT_ROOTS_POWER
from tests.faults.until import LIMIT_S, until
from tests.left_journals import stall_source
from tests.ports.bench import board_on_a_cable, throw_source
from throwbook.files.journal import unfinished
from throwbook.protocol.simulated_board import IDENTITY

pytestmark = pytest.mark.long

TOP = Path(__file__).parents[2]
RIG = "yard-loader"
RIG_FILE = TOP / "sample-runs" / "yard-loader.toml"


def line_of(folder: Path, *arguments: object, without_power: bool = False) -> list[str]:
    power = WITHOUT_ROOTS_POWER if without_power and AS_ROOT else []
    return [*power, *command(folder / "log.throwbook", *arguments)]


def run(folder: Path, *arguments: object, without_power: bool = False) -> subprocess.CompletedProcess[str]:
    """In this process where the power of root isn't given up: what is told afterwards needs none of its own."""
    if without_power:
        return tests.command.run(line_of(folder, *arguments, without_power=True))
    return tests.command.throwbook_said(folder / "log.throwbook", *arguments)


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


HUNG_UP = getattr(signal, "SIGHUP", signal.SIGTERM)
ENDS = [HUNG_UP, pytest.param(signal.SIGTERM, marks=pytest.mark.long)] if hasattr(signal, "SIGHUP") else []
"""Both are handled by one function; what goes wrong in it goes wrong at SIGHUP, and test_broken_off tells a screen to end.
Windows has no such signals: there a console tells it (``tests/windows``)."""
KILL = 9


def recording_of(folder: Path, *arguments: object) -> subprocess.Popen[bytes]:
    """``record`` in a session of its own, nobody at the keyboard."""
    with not_ignored(HUNG_UP):
        return subprocess.Popen(
            line_of(folder, "record", *arguments),
            cwd=folder,
            env=environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )


# For as long as it takes: without --seconds, a throw that goes on for 120 s of the board's time ends by itself, on a
# busy computer before the second program has even started.
ENDLESS = ("--direction", "lock", "--seconds", "1e6 s")
ENOUGH_BYTES = 20_000


@pytest.mark.skipif(not ENDS, reason="this system has no such signal")
@pytest.mark.parametrize("number", ENDS)
def test_a_session_that_ends_in_mid_record_keeps_and_judges_what_was_recorded(
    number: signal.Signals, tmp_path: Path
):
    record = ("--rig", RIG_FILE, *ENDLESS)
    with board_on_a_cable(throw_source(run_s=1e6), speed=8.0) as (port, _):
        recording = recording_of(tmp_path, *record, "--port", port.name, "--out", tmp_path / "kept.csv")
        assert until(lambda: journal_bytes(tmp_path) > ENOUGH_BYTES), recording.stderr.read()
        second = run(tmp_path, "record", *record, "--port", port.name)  # another program at the same port
        assert (second.returncode, len(second.stderr.strip().splitlines())) == (3, 1), second.stderr
        assert "another program has this port" in second.stderr
        assert unfinished(tmp_path / "log.throwbook.unfinished") == []  # nobody recovers what is still alive
        recording.send_signal(number)
        said = recording.communicate(timeout=LIMIT_S)
    assert recording.returncode in (0, 1), said
    assert len((tmp_path / "kept.csv").read_text().splitlines()) > 500
    assert list((tmp_path / "log.throwbook.unfinished").iterdir()) == []


@pytest.mark.parametrize("number", [*ENDS, KILL])
def test_a_session_that_ends_in_a_stall_takes_the_rig_out_of_use_or_holds_it_until_it_is_judged(
    number: int, tmp_path: Path
):
    assert run(tmp_path, "rig", "add", RIG_FILE).returncode == 0
    board = replace(IDENTITY, id="bench-1")  # what a simulated board records isn't kept
    with board_on_a_cable(stall_source(run_s=2.0), speed=8.0, identity=board) as (port, sender):
        recording = recording_of(tmp_path, "--rig", RIG, *ENDLESS, "--port", port.name)
        assert until(lambda: sender.injected.sent > 1500 and journal_bytes(tmp_path) > ENOUGH_BYTES)
        os.kill(recording.pid, number)
        said = recording.communicate(timeout=LIMIT_S)
    if number == KILL:
        told = json.loads(run(tmp_path, "status", RIG, "--json").stdout)
        assert told["status"] == "restricted"
        [pending] = told["pending"]
        assert "never judged" in pending["sentence"]
        assert "record --recover" in pending["step"]
        listed = run(tmp_path, "rig", "list")
        assert "restricted" in listed.stdout
        assert f"{RIG}: restricted: a recording of a lock throw" in listed.stdout
        assert "was never judged" in run(tmp_path, "status").stdout
        refused = run(tmp_path, "order", "clear", RIG, "--all", "--because", "fine", "--signed", "M. K.")
        assert refused.returncode == 2
        assert "never judged" in refused.stderr
        offered = run(tmp_path, "record", "--rig", RIG, "--direction", "lock", "--port", "/dev/null")
        assert "1 recording was interrupted and never judged: throwbook record --recover" in offered.stderr
        assert run(tmp_path, "record", "--recover", "--discard").returncode == 1
    else:
        assert recording.returncode == 1, said
    told = json.loads(run(tmp_path, "status", RIG, "--json").stdout)
    assert (told["status"], [one["cause"] for one in told["open"]]) == ("do not use", ["stall"])
    assert told["pending"] == []


@CLOSABLE
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


@CLOSABLE
def test_a_journal_that_cannot_be_made_is_told_before_the_throw(tmp_path: Path):
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o555)
    with board_on_a_cable(speed=8.0) as (port, _):
        arguments = ("record", "--rig", RIG_FILE, "--port", port.name, "--direction", "lock")
        done = run(closed, *arguments, without_power=True)
    closed.chmod(0o755)
    assert done.returncode == 3
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr
