"""The command as a person runs it: in a process of its own, with nobody at the keyboard."""

import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

TOP = Path(__file__).parents[1]
BY = "M. K."


def command(logbook: Path | None, *arguments: object) -> list[str]:
    """The words of ``throwbook`` on ``logbook`` (None: none is named)."""
    named = [] if logbook is None else ["--logbook", str(logbook)]
    return [sys.executable, "-m", "throwbook", *named, *map(str, arguments)]


def environment(**more: str) -> dict[str, str]:
    """That of the tests, with who writes things down; the command is found from any folder."""
    return os.environ | {"THROWBOOK_BY": BY, "PYTHONPATH": str(TOP)} | more


def throwbook(
    logbook: Path | None, *arguments: object, env: Mapping[str, str] | None = None, **given: Any
) -> subprocess.CompletedProcess[str]:
    """Run it and give back what it said; ``env`` is laid over that of the tests, ``given`` goes to ``subprocess.run``."""
    return run(command(logbook, *arguments), env=env, **given)


def run(
    line: Sequence[str], env: Mapping[str, str] | None = None, **given: Any
) -> subprocess.CompletedProcess[Any]:
    """Run any command line in the same way."""
    settings: dict[str, Any] = {"capture_output": True, "text": True, "check": False, "cwd": TOP} | given
    if "input" not in settings:
        settings["stdin"] = subprocess.DEVNULL
    return subprocess.run(line, env=environment(**(env or {})), **settings)
