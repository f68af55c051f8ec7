"""The command as a person runs it, with nobody at the keyboard: in a process of its own, or in this one."""

import contextlib
import io
import os
import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from unittest import mock

TOP = Path(__file__).parents[1]
BY = "M. K."


def command(logbook: Path | None, *arguments: object) -> list[str]:
    """The words of ``throwbook`` on ``logbook`` (None: none is named)."""
    named = [] if logbook is None else ["--logbook", str(logbook)]
    return [sys.executable, "-m", "throwbook", *named, *map(str, arguments)]


def environment(**more: str) -> dict[str, str]:
    """That of the tests, with who writes things down; the command is found from any folder, and compiled only once."""
    settled = {"THROWBOOK_BY": BY, "PYTHONPATH": str(TOP), "PYTHONDONTWRITEBYTECODE": ""}
    settled["PYTHONIOENCODING"] = "utf-8"  # Windows writes to a pipe by the code page of the computer
    return os.environ | settled | more


def throwbook(
    logbook: Path | None, *arguments: object, env: Mapping[str, str] | None = None, **given: Any
) -> subprocess.CompletedProcess[str]:
    """Run it and give back what it said; ``env`` is laid over that of the tests, ``given`` goes to ``subprocess.run``."""
    return run(command(logbook, *arguments), env=env, **given)


def run(
    line: Sequence[str], env: Mapping[str, str] | None = None, **given: Any
) -> subprocess.CompletedProcess[Any]:
    """Run any command line in the same way."""
    settings: dict[str, Any] = {
        "capture_output": True,
        "check": False,
        "cwd": TOP,
    } | given
    if settings.pop("text", True):
        settings.setdefault("encoding", "utf-8")
    if "input" not in settings:
        settings["stdin"] = subprocess.DEVNULL
    return subprocess.run(line, env=environment(**(env or {})), **settings)


KILLED = 9 if sys.platform == "win32" else -9
"""The end of a process that was killed for good, by ``os.kill(number, 9)``, as ``subprocess`` tells it."""


def as_file_name(text: str) -> str:
    """What of a text may stand in the name of a file on this system."""
    return re.sub(r'[<>:"/\\|?*\x00-\x1f]', "", text) if sys.platform == "win32" else text.replace("/", "")


def throwbook_here(
    logbook: Path | None, *arguments: object, cwd: Path = TOP, env: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[bytes]:
    """Run it in this process, where starting one isn't the point; standard input is empty, what it says is UTF-8."""
    from throwbook.cli import diagnostics
    from throwbook.cli.main import throwbook

    line = command(logbook, *arguments)
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", newline="") for _ in range(2))
    with (
        mock.patch.dict(os.environ, environment(**(env or {}))),
        mock.patch.object(sys, "stdin", io.StringIO()),
        contextlib.chdir(cwd),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        code = diagnostics.run(throwbook, line[3:])
    out.flush()
    err.flush()
    return subprocess.CompletedProcess(line, code, out.buffer.getvalue(), err.buffer.getvalue())


def throwbook_said(
    logbook: Path | None, *arguments: object, cwd: Path = TOP, env: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    """The same, what it says as text."""
    done = throwbook_here(logbook, *arguments, cwd=cwd, env=env)
    return subprocess.CompletedProcess(done.args, done.returncode, done.stdout.decode(), done.stderr.decode())
