"""A console of Windows: its window is closed in mid-throw, its code pages, the screen on it."""

import contextlib
import subprocess
import sys
import threading
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.command import TOP, command, environment, run
from tests.faults.session_bench import RIG, Bench, board_for_a_throw
from tests.faults.until import until
from tests.keyboard import IN_THE_CONSOLE, plain
from tests.windows.console import Console
from throwbook.cli.record_end import Ending
from throwbook.jobs.record import HUNG_UP
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.windows import _HEARING, CLOSE

RIG_FILE = TOP / "sample-runs" / "yard-loader.toml"
LIMIT_S = 120.0


@contextmanager
def on_a_console(line, cwd, **env):
    """The program on it, and a list that what it shows is added to."""
    shown: list[bytes] = []
    given = environment(**env)
    with Console(
        [sys.executable, "-c", IN_THE_CONSOLE, str(cwd / "ctrl-c"), *line], given, cwd, 100, 30
    ) as console:

        def look() -> None:
            while piece := console.read():
                shown.append(piece)

        looking = threading.Thread(target=look, daemon=True)
        looking.start()
        yield console, lambda: plain(b"".join(shown).decode("utf-8", "replace"))
        console.hang_up()
        looking.join(LIMIT_S)


def test_a_closed_window_ends_the_recording_and_the_system_waits_for_what_is_kept():
    """The very function that the system calls; Wine calls none, it ends the program."""
    ended: list[str] = []
    with Ending(ended.append):
        system = threading.Thread(target=_HEARING[-1], args=(CLOSE,), daemon=True)
        system.start()
        assert until(lambda: ended == [HUNG_UP])
    assert system.is_alive()


def test_a_window_closed_in_mid_record_loses_nothing(tmp_path: Path):
    bench = Bench(tmp_path)
    with contextlib.ExitStack() as both:
        port, board = both.enter_context(board_for_a_throw())
        line = command(bench.book, "record", "--rig", RIG, "--direction", "lock", "--port", port.name)
        console, shown = both.enter_context(on_a_console(line, tmp_path))
        assert until(bench.samples_came), shown()
        before, sent = bench.journal_bytes(), board.injected.sent
        console.hang_up()
        until(lambda: not bench.journals, 5.0)
    bench.verify("window closed", 0.0, before, sent, "")


def test_a_window_closed_while_the_screen_records_loses_nothing(tmp_path: Path):
    from tests.faults.terminal import KEYS_TO_ARM

    bench, keys = Bench(tmp_path), {"Enter": b"\r", "C-s": b"\x13"}
    with contextlib.ExitStack() as both:
        port, board = both.enter_context(board_for_a_throw())
        opened = on_a_console(command(bench.book), tmp_path, THROWBOOK_PORT=port.name)
        console, shown = both.enter_context(opened)
        for text, presses in KEYS_TO_ARM:
            assert until(lambda text=text: text in shown()), shown()[-3000:]
            for press in presses:
                console.write(keys.get(press, press.encode()))
                until(lambda: False, 0.3)
        assert until(bench.samples_came), shown()[-3000:]
        before, sent = bench.journal_bytes(), board.injected.sent
        console.hang_up()
        until(lambda: not bench.journals, 5.0)
    bench.verify("window closed", 0.0, before, sent, "")


def test_the_screen_opens_on_a_console_and_ends_with_its_key(tmp_path: Path):
    from datetime import UTC, datetime

    book = tmp_path / "Füße" / "log.throwbook"
    book.parent.mkdir()
    add_rig(book, RIG_FILE, "M. K.", datetime(2026, 3, 14, tzinfo=UTC))
    with on_a_console(command(book), tmp_path) as (console, shown):
        assert until(lambda: "yard-loader" in shown()), shown()
        console.write(b"\x11")
        assert console.wait(LIMIT_S) == 0, shown()


@pytest.mark.parametrize("page", [437, 850, 1252, 65001])
def test_what_goes_into_a_pipe_is_what_the_console_shows(page: int, tmp_path: Path):
    """``chcp`` sets the code page; ``more`` and PowerShell read a pipe by it."""
    trace = TOP / "sample-runs" / "signs" / "binding-spot-lock.csv"
    line = command(None, "assess", "--rig", RIG_FILE, "--baseline", TOP / "sample-runs" / "baseline", trace)
    program = (
        "import ctypes, subprocess, sys\n"
        f"ctypes.WinDLL('kernel32').SetConsoleOutputCP({page})\n"
        f"sys.exit(subprocess.run({line!r}, stdout=open('said.txt', 'wb')).returncode)\n"
    )
    with on_a_console([sys.executable, "-c", program], tmp_path, PYTHONIOENCODING="") as (console, shown):
        assert console.wait(LIMIT_S) in (0, 1), shown()
    said = (tmp_path / "said.txt").read_bytes().decode(f"cp{page}")
    assert "±" in said
    assert "\N{REPLACEMENT CHARACTER}" not in said


def test_nul_is_no_terminal_and_nothing_is_asked_there(tmp_path: Path):
    line = command(tmp_path / "book", "meter", "add", "clamp")
    done = run(line, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, capture_output=False, timeout=LIMIT_S)
    assert done.returncode == 2
    assert "In a pipe nothing is asked" in done.stderr


def test_a_letter_that_a_code_page_lacks_ends_nothing(tmp_path: Path):
    rig = tmp_path / "rig.toml"
    rig.write_text(RIG_FILE.read_text("utf-8").replace('"yard-loader"', '"日本 Ж é"'), "utf-8")
    for page in ("cp437", "cp850", "cp1252"):
        book = tmp_path / f"{page}.throwbook"
        for words in (("rig", "add", rig), ("rig", "list"), ("status",), ("rig", "show", "nobody 日")):
            done = run(command(book, *words), env={"PYTHONIOENCODING": page}, encoding=page)
            assert "Traceback" not in done.stderr, done.stderr
            assert done.returncode in (0, 2), done.stderr
