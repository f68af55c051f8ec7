"""On a terminal a doubt is asked about, and which way a movement went; a no stores nothing, a yes goes on."""

import os
import select
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.command import command
from tests.records_of_several import GOOD, SHORT, record, write
from throwbook.jobs.rigs import add_rig
from throwbook.logbook import open_logbook

pty = pytest.importorskip("pty")
RIG_FILE = Path(__file__).with_name("quarry-loader.toml")
TOP = Path(__file__).parents[2]
TRACE = TOP / "sample-runs" / "baseline" / "lock-1.csv"


def at_a_terminal(arguments, answer, asked=b"[y/N]"):
    """Run a command at a pseudo-terminal, answer its one question (or send it a signal), give its exit code and what it showed."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(command(None, *arguments), cwd=TOP, stdin=theirs, stdout=theirs, stderr=theirs)
    os.close(theirs)
    shown = b""
    while True:
        ready, _, _ = select.select([ours], [], [], 30)
        assert ready, shown
        try:
            piece = os.read(ours, 4096)
        except OSError:  # the other side has closed
            break
        if not piece:
            break
        if asked not in shown and asked in shown + piece:
            if isinstance(answer, bytes):
                os.write(ours, answer)
            else:
                process.send_signal(answer)
        shown += piece
    os.close(ours)
    return process.wait(30), shown.decode()


@pytest.mark.parametrize(("answer", "code", "trials"), [(b"y\n", 0, 1), (b"n\n", 2, 0), (b"\n", 2, 0)])
def test_a_file_of_another_rig_is_asked_about(answer, code, trials, tmp_path):
    book = tmp_path / "logbook"
    text = (
        (TOP / "sample-runs" / "yard-loader.toml").read_text("utf-8").replace("yard-loader", "quarry-loader")
    )
    rig = tmp_path / "quarry-loader.toml"
    rig.write_text(text, "utf-8")
    add_rig(book, rig, "M. K.", datetime.now(UTC))
    arguments = ["--logbook", book, "import", "--rig", "quarry-loader", "--kind", "bench", TRACE]
    done, shown = at_a_terminal(arguments, answer)
    assert "recorded on rig 'yard-loader', not 'quarry-loader'" in shown.replace("\r\n", " ")
    assert done == code, shown
    with open_logbook(book, read_only=True) as opened:
        assert len(opened.trials(rig="quarry-loader")) == trials


def test_which_way_a_movement_went_is_asked_where_nothing_tells(tmp_path):
    book = tmp_path / "logbook"
    add_rig(book, RIG_FILE, "M. K.", datetime.now(UTC))
    file = write(tmp_path, "lock-1.csv", record([GOOD, SHORT]))
    arguments = ["--logbook", book, "import", "--rig", "quarry-loader", "--kind", "spot", file]
    done, shown = at_a_terminal(arguments, b"unlock\n", asked=b"which way did it go?")
    assert done == 1, shown
    assert "2 movements: lock, direction not known" in " ".join(shown.split())
    with open_logbook(book, read_only=True) as opened:
        assert [one.direction for one in opened.trials(rig="quarry-loader")] == ["lock", "unlock"]
