"""A command with a person at the keyboard: on a terminal of its own, under Windows on a console of its own."""

import os
import re
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from tests.command import TOP, environment

LIMIT_S = 120.0
COMMANDS_OF_THE_TERMINAL = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
IN_THE_CONSOLE = """
import os, subprocess, sys
ends = [os.open(name, os.O_RDWR) for name in ("CONIN$", "CONOUT$", "CONOUT$")]
sys.exit(subprocess.run(sys.argv[1:], stdin=ends[0], stdout=ends[1], stderr=ends[2]).returncode)
"""
"""A console's own ends are what the command writes to, wherever those of the tests go."""


def at_a_terminal(
    line: Sequence[str],
    typed: str = "",
    after: str = "",
    *,
    env: Mapping[str, str] | None = None,
    cwd: Path = TOP,
    columns: int = 100,
) -> tuple[int, str]:
    """Run it, type ``typed`` once ``after`` is shown: its exit code, and all that was shown, the terminal's commands too."""
    given = environment(TERM="xterm-256color", COLUMNS=str(columns), **(env or {}))
    run = _at_a_console if sys.platform == "win32" else _at_a_pseudo_terminal
    return run(list(line), typed, after, given, cwd, columns)


def plain(shown: str) -> str:
    """What a person reads of it."""
    return COMMANDS_OF_THE_TERMINAL.sub("", shown).replace("\r", "")


class _Watch:
    """What was shown so far; what is to be typed is typed when its moment has come."""

    def __init__(self, write: Callable[[bytes], object], typed: bytes, after: bytes) -> None:
        self.shown = b""
        self._write, self._typed, self._after = write, typed, after

    def look(self, read: Callable[[], bytes]) -> None:
        self._type()
        while piece := self._next(read):
            self.shown += piece
            self._type()

    def _type(self) -> None:
        if (
            self._typed
            and self._after in COMMANDS_OF_THE_TERMINAL.sub("", self.shown.decode(errors="replace")).encode()
        ):
            self._write(self._typed)
            self._typed = b""

    @staticmethod
    def _next(read: Callable[[], bytes]) -> bytes:
        try:
            return read()
        except OSError:  # Linux says so when the other side has closed
            return b""


def _at_a_pseudo_terminal(
    line: list[str], typed: str, after: str, env: Mapping[str, str], cwd: Path, columns: int
) -> tuple[int, str]:
    import pty

    ours, theirs = pty.openpty()
    process = subprocess.Popen(line, cwd=cwd, stdin=theirs, stdout=theirs, stderr=theirs, env=dict(env))
    os.close(theirs)
    patience = threading.Timer(LIMIT_S, process.kill)
    patience.start()
    watch = _Watch(lambda data: os.write(ours, data), typed.encode(), after.encode())
    watch.look(lambda: os.read(ours, 65536))
    code = process.wait()
    patience.cancel()
    os.close(ours)
    return code, watch.shown.decode()


def _at_a_console(
    line: list[str], typed: str, after: str, env: Mapping[str, str], cwd: Path, columns: int
) -> tuple[int, str]:
    from tests.windows.console import Console

    inside = [sys.executable, "-c", IN_THE_CONSOLE, *line]
    with Console(inside, env, cwd, columns) as console:
        watch = _Watch(console.write, typed.replace("\n", "\r").encode(), after.encode())
        watching = threading.Thread(target=watch.look, args=(console.read,))
        watching.start()
        code = console.wait(LIMIT_S)
        console.hang_up()
        watching.join()
    return code, watch.shown.decode()
