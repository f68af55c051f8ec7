"""kill -9 at random moments of real work, then a look at what is left."""

import os
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.command import KILLED, environment
from tests.faults.work import PLACES, TOP


@dataclass(frozen=True)
class Killed:
    """One kill."""

    place: str
    after_s: float
    said: int
    """Things reported done before."""
    in_the_work: bool
    """False: the work had ended already."""


def run(place: str, folder: Path, kill_after_s: float | None) -> tuple[list[str], float]:
    """Do the work in a process of its own; what it said was done, and how long it took [s]."""
    line = [sys.executable, "-m", "tests.faults.work", place, str(folder)]
    process = subprocess.Popen(
        line,
        cwd=TOP,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        env=environment(),
    )
    assert process.stdin is not None
    assert process.stdout is not None
    assert process.stderr is not None
    assert process.stdout.readline().strip() == "ready", process.stderr.read()
    begun = time.perf_counter()
    process.stdin.write("go\n")
    process.stdin.flush()
    try:
        process.wait(kill_after_s)
    except subprocess.TimeoutExpired:
        os.kill(process.pid, 9)
        process.wait()
    took_s = time.perf_counter() - begun
    said = process.stdout.read().split("\n")[:-1]  # a line that isn't ended wasn't said
    stderr = process.stderr.read()
    for pipe in (process.stdin, process.stdout, process.stderr):
        pipe.close()
    assert process.returncode in (0, KILLED), stderr
    return said, took_s


def kills(place: str, times: int, folder: Path, seed: int) -> Iterator[Killed]:
    """Kill the work of one place at ``times`` random moments, each on a fresh copy, and verify each time."""
    random_ = random.Random(f"{place} {seed}")
    fresh = folder / "fresh"
    fresh.mkdir()
    PLACES[place].prepare(fresh)
    spans_s = []
    for name in ("whole", "whole again"):  # the first finds the disk cold
        whole = shutil.copytree(fresh, folder / name)
        said, span_s = run(place, whole, None)
        assert said[-1] == "end"
        PLACES[place].verify(whole, said[:-1])
        spans_s.append(span_s)
    for _ in range(times):
        struck = shutil.copytree(fresh, folder / "struck")
        moment_s = random_.uniform(0, min(spans_s))
        said, _ = run(place, struck, moment_s)
        ended = said[-1:] == ["end"]
        PLACES[place].verify(struck, said[:-1] if ended else said)
        yield Killed(place, moment_s, len(said), not ended)
        shutil.rmtree(struck)
