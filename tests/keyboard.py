"""A command with a person at the keyboard: on a terminal of its own, under Windows on a console of its own."""

import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from tests.command import TOP, environment

LIMIT_S = 120.0
COMMANDS_OF_THE_TERMINAL = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
IN_THE_CONSOLE = """
import ctypes, os, runpy, sys, threading, time
def ctrl_c(file):
    while not os.path.exists(file):
        time.sleep(0.05)
    ctypes.WinDLL("kernel32").GenerateConsoleCtrlEvent(0, 0)
for number, name in enumerate(("CONIN$", "CONOUT$", "CONOUT$")):
    os.dup2(os.open(name, os.O_RDWR), number)
sys.stdin = sys.__stdin__ = open(0, encoding="utf-8")
sys.stdout = sys.__stdout__ = open(1, "w", encoding="utf-8", buffering=1)
sys.stderr = sys.__stderr__ = open(2, "w", encoding="utf-8", buffering=1)
file, _, kind, program, *sys.argv[1:] = sys.argv[1:]
threading.Thread(target=ctrl_c, args=(file,), daemon=True).start()
if kind == "-m":
    runpy.run_module(program, run_name="__main__", alter_sys=True)
else:
    exec(program, {"__name__": "__main__"})
"""
"""Run by Python with a file's name and the words of ``python -m MODULE ...`` or ``python -c PROGRAM ...``: a console's own ends
are what it writes to, wherever those of the tests go. Ctrl-C comes as soon as there is such a file."""
CTRL_C = "\x03"


def at_a_terminal(
    line: Sequence[str],
    typed: str | signal.Signals = "",
    after: str | Callable[[], bool] = "",
    *,
    env: Mapping[str, str] | None = None,
    cwd: Path = TOP,
    columns: int = 100,
) -> tuple[int, str]:
    """Run it, type ``typed`` (or send that signal) once ``after`` is shown, or true.

    Gives its exit code, and all that was shown, the terminal's commands too.
    """
    given = environment(TERM="xterm-256color", COLUMNS=str(columns), **(env or {}))
    run = _at_a_console if sys.platform == "win32" else _at_a_pseudo_terminal
    if callable(after):
        return run(list(line), typed, lambda shown: after(), given, cwd, columns)
    return run(list(line), typed, lambda shown: after in plain(shown), given, cwd, columns)


def plain(shown: str) -> str:
    """What a person reads of it."""
    return COMMANDS_OF_THE_TERMINAL.sub("", shown).replace("\r", "")


class _Watch:
    """What was shown so far; what is to be typed is typed when its moment has come."""

    def __init__(self, write: Callable[[Any], object], typed: Any, ready: Callable[[str], bool]) -> None:
        self.shown = b""
        self._write, self._typed, self._ready = write, typed, ready

    def look(self, read: Callable[[], bytes]) -> None:
        self._type()
        while piece := self._next(read):
            self.shown += piece
            self._type()

    def _type(self) -> None:
        if self._typed and self._ready(self.shown.decode(errors="replace")):
            self._write(self._typed)
            self._typed = ""

    @staticmethod
    def _next(read: Callable[[], bytes]) -> bytes:
        try:
            return read()
        except OSError:  # Linux says so when the other side has closed
            return b""


def _at_a_pseudo_terminal(
    line: list[str], typed: Any, ready: Callable[[str], bool], env: Mapping[str, str], cwd: Path, columns: int
) -> tuple[int, str]:
    import pty

    ours, theirs = pty.openpty()
    process = subprocess.Popen(line, cwd=cwd, env=dict(env), preexec_fn=lambda: os.login_tty(theirs))
    os.close(theirs)
    patience = threading.Timer(LIMIT_S, process.kill)
    patience.start()

    def press(what: str | signal.Signals) -> None:
        if isinstance(what, str):
            os.write(ours, what.encode())
        else:
            process.send_signal(what)

    watch = _Watch(press, typed, ready)
    watch.look(lambda: os.read(ours, 65536))
    code = process.wait()
    patience.cancel()
    os.close(ours)
    return code, watch.shown.decode()


def _at_a_console(
    line: list[str], typed: Any, ready: Callable[[str], bool], env: Mapping[str, str], cwd: Path, columns: int
) -> tuple[int, str]:
    from tests.windows.console import Console

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "ctrl-c")
        with Console([sys.executable, "-c", IN_THE_CONSOLE, str(file), *line], env, cwd, columns) as console:
            press = (
                (lambda _: file.touch()) if typed == CTRL_C else (lambda keys: console.write(keys.encode()))
            )
            watch = _Watch(press, typed.replace("\n", "\r"), ready)
            watching = threading.Thread(target=watch.look, args=(console.read,))
            watching.start()
            code = console.wait(LIMIT_S)
            console.hang_up()
            watching.join()
    return code, watch.shown.decode()
