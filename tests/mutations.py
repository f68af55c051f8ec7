"""Small faults put into the judging and sizing code, each by itself: does a test find it?

    python -m tests.mutations --faults 300 --seed 1
    python -m tests.mutations --only 17,40-45        # these of that draw

The faults are drawn among all that ``tests.mutation_faults`` can make in ``ROOMS``. Each is written into a copy of the tree and tried
in a process of its own: only tests that run the faulty function (for a constant: a function that names it), the fastest
first, until one fails. Which test runs what is measured once a test file and kept in ``build/``. A test that fails
without any fault, or that looks at the clock, counts for nothing. Not part of ``make test``: 300 faults take an hour.
"""

import argparse
import compileall
import cProfile
import hashlib
import json
import multiprocessing
import os
import py_compile
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path

import pytest
import scipy.optimize
import scipy.stats  # noqa: F401

from tests.mutation_faults import PRODUCT, TOP, Fault, faults_of, runs

ROOMS = ("analysis", "diagnosis", "machine", "quantities", "sheets", "sizing", "status", "trend")
"""Rooms of the core that judge or size, and what they reckon with."""
OTHERS = ("jobs", "files", "report", "cli")
TESTS = (
    "tests/core/**/test_*.py",
    f"{PRODUCT}/core/**/*.py",
    *(f"tests/{room}/test_*.py" for room in OTHERS),
)
"""In this order; of the product's own files those with an example."""
LEFT_OUT = ("long_histories", "simulator/")
"""Tests that look at the clock, or at another room's code only."""
SLOWEST_S = 15.0
"""A test that takes longer isn't run."""
NEAREST = 6
"""Test files, of the same name or room first, that are tried before the others."""
FOLDERS = ("", "/logger", "/tui")
"""Where Python finds the packages and the tests."""
OPTIONS = "-q -p no:cacheprovider -p no:xdist -p no:syrupy -p no:textual-snapshot --hypothesis-seed=0"
MEASURED = TOP / "build" / "mutations.json"
NO_MATTER = {
    f"{PRODUCT}/core/analysis/current_runs.py _only_holds: piece.last + 1 -> (piece.last - 1)": "the middle of a level, two rows shorter",
    f"{PRODUCT}/core/diagnosis/verdict.py unusable: run.value + run.u < TURNS * evidence.idle_a -> "
    "(run.value + run.u <= TURNS * evidence.idle_a)": "only where a measured mean equals the limit in its last bit",
}
"""Faults that change nothing a person can notice: as printed without the line number, and why."""

Test = tuple[float, set[str]]
"""Its seconds and the functions it runs."""


@dataclass
class Outcome:
    """What a run of tests came to."""

    tests: dict[str, Test] = field(default_factory=dict)
    failed: list[str] = field(default_factory=list)


class Session:
    """What pytest asks while it runs: measures every test (``order`` is empty), or runs those of ``order``."""

    def __init__(self, order: dict[str, float], limit_s: float) -> None:
        self.order, self.until = order, time.monotonic() + limit_s
        self.outcome = Outcome()
        self.watch = cProfile.Profile(subcalls=False, builtins=False)
        self.at_import: set[str] = set()

    def functions(self) -> set[str]:
        """What the product ran since this was asked last."""
        codes = [entry.code for entry in self.watch.getstats() if not isinstance(entry.code, str)]
        self.watch.clear()
        names = {
            f"{code.co_filename}:{code.co_qualname}" for code in codes if f"/{PRODUCT}/" in code.co_filename
        }
        return {name[name.index(f"/{PRODUCT}/") + 1 :] for name in names}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        self.at_import = self.functions()
        if self.order:
            place = {test: at for at, test in enumerate(self.order)}
            items[:] = sorted(
                (item for item in items if item.nodeid in place), key=lambda item: place[item.nodeid]
            )

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        began = time.monotonic()
        if began > self.until:
            item.session.shouldstop = "time is up"
        signal.alarm(int(20 + 10 * self.order.get(item.nodeid, 60.0)))
        result = yield
        signal.alarm(0)
        self.outcome.tests[item.nodeid] = (
            round(time.monotonic() - began, 3),
            self.functions() | self.at_import,
        )
        return result

    def pytest_runtest_logreport(self, report: pytest.TestReport | pytest.CollectReport) -> None:
        if report.failed:
            self.outcome.failed.append(report.nodeid)

    pytest_collectreport = pytest_runtest_logreport


def apart(tree: Path, files: list[str], order: dict[str, float], limit_s: float) -> Outcome | None:
    """Run ``files`` of ``tree`` in a process of its own; None where that died or had to be ended."""
    fork = multiprocessing.get_context("fork")
    receive, send = fork.Pipe(duplex=False)
    process = fork.Process(target=_tests, args=(tree, files, Session(order, limit_s), send))
    process.start()
    send.close()
    try:
        return receive.recv() if receive.poll(2 * limit_s + 60.0) else None
    except EOFError:
        return None
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid or 0, signal.SIGKILL)
        process.join()
        shutil.rmtree(tree / ".hypothesis", ignore_errors=True)


def _tests(tree: Path, files: list[str], session: Session, send: Connection) -> None:
    os.setsid()
    resource.setrlimit(resource.RLIMIT_AS, (8 << 30, 8 << 30))
    null = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(null, stream)
    os.chdir(tree)
    theirs = [f"{TOP}{folder}" for folder in FOLDERS]
    sys.path[:] = [f"{tree}{folder}" for folder in FOLDERS] + [
        part for part in sys.path if part not in ("", *theirs)
    ]
    os.environ["PYTHONPATH"] = os.pathsep.join(sys.path[: len(FOLDERS)])
    for name in [name for name in sys.modules if name.partition(".")[0] == "tests"]:
        del sys.modules[name]
    if not session.order:
        session.watch.enable()
    pytest.main([*files, *OPTIONS.split(), *(["-x"] if session.order else [])], plugins=[session])
    session.watch.disable()
    send.send(session.outcome)


def measured(tree: Path) -> dict[str, Test]:
    """Every test that passes without a fault, by its id."""
    kept = json.loads(MEASURED.read_text("utf-8")) if MEASURED.exists() else {"functions": [], "files": {}}
    number = {function: at for at, function in enumerate(kept["functions"])}
    for path in (path for pattern in TESTS for path in sorted(TOP.glob(pattern))):
        name = path.relative_to(TOP).as_posix()
        stamp = hashlib.sha256(path.read_bytes()).hexdigest()
        example = "test_" in name or ">>>" in path.read_text("utf-8")
        if not example or any(part in name for part in LEFT_OUT) or kept["files"].get(name, [""])[0] == stamp:
            continue
        outcome = apart(tree, [name], {}, 300.0) or Outcome({}, [name])
        print(
            "".join(f"{test}: fails without a fault, left out\n" for test in outcome.failed),
            end="",
            flush=True,
        )
        kept["files"][name] = (
            stamp,
            {
                test: (seconds, [number.setdefault(function, len(number)) for function in reached])
                for test, (seconds, reached) in outcome.tests.items()
                if test not in outcome.failed
            },
        )
        kept["functions"] = list(number)
        MEASURED.parent.mkdir(exist_ok=True)
        MEASURED.write_text(json.dumps(kept), "utf-8")
    return {
        test: (seconds, {kept["functions"][at] for at in reached})
        for name, (_, tests) in kept["files"].items()
        if (TOP / name).exists()
        for test, (seconds, reached) in tests.items()
    }


def attempt(tree: Path, fault: Fault, tests: dict[str, Test], limit_s: float) -> tuple[str, str]:
    """Whether the fault is ``found`` or not, and by what: the failed test, or what stands against it."""
    wanted = runs(fault)
    nearest: dict[str, tuple[bool, bool, float]] = {}
    for test, (seconds, reached) in tests.items():
        if reached & wanted and seconds < SLOWEST_S:
            name, (room, stem) = test.partition("::")[0], Path(fault.path.removesuffix(".py")).parts[-2:]
            rank = (stem not in name, room not in name, seconds)
            nearest[name] = min(rank, nearest.get(name, rank))
    files = sorted(nearest, key=lambda name: nearest[name])
    ran = known = 0
    file = tree / fault.path
    right = file.read_bytes()
    file.write_bytes(right[: fault.start] + fault.new.encode() + right[fault.end :])
    try:
        # To load every test file takes longer than the tests that find most faults.
        for part in filter(None, (files[:NEAREST], files[NEAREST:])):
            # Within a file a test may lean on what another worked out, so all are run: those that get there first.
            order = sorted(
                (not reached & wanted, seconds, test)
                for test, (seconds, reached) in tests.items()
                if test.partition("::")[0] in part and seconds < SLOWEST_S
            )
            done = apart(tree, part, {test: seconds for _, seconds, test in order}, limit_s)
            if done is None:
                return "found", "its process died or never ended"
            if done.failed or not done.tests:
                return "found", (done.failed or ["nothing could be imported"])[0]
            ran, known = ran + len(done.tests), known + len(order)
    finally:
        file.write_bytes(right)
    return "survived", f"{ran} of {known} tests ran"


def main() -> None:
    """Draw, try, print."""
    ask = argparse.ArgumentParser(prog="python -m tests.mutations", description=__doc__.partition("\n")[0])
    ask.add_argument("--faults", type=int, default=300)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--only", default="", help="numbers of the draw, such as 3,7,20-40")
    ask.add_argument("--seconds", type=float, default=60.0, help="time for the tests of one fault")
    given = ask.parse_args()
    files = sorted(file for room in ROOMS for file in (TOP / PRODUCT / "core" / room).rglob("*.py"))
    every = [fault for file in files for fault in faults_of(file.relative_to(TOP).as_posix())]
    drawn = random.Random(given.seed).sample(every, given.faults)
    parts = [part.partition("-") for part in (given.only or f"1-{given.faults}").split(",")]
    chosen = {number for low, _, high in parts for number in range(int(low), int(high or low) + 1)}
    print(f"{len(drawn)} of {len(every)} faults in {len(files)} files, seed {given.seed}", flush=True)
    counts = {"found": 0, "survived": 0, "can't matter": 0}
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder) / "tree"
        shutil.copytree(TOP, tree, ignore=shutil.ignore_patterns(".*", "build", "__pycache__", "*.egg-info"))
        # Checked by content: a fault may leave the file's size and second as they were.
        compileall.compile_dir(
            tree / "logger", quiet=1, invalidation_mode=py_compile.PycInvalidationMode.CHECKED_HASH
        )
        tests = measured(tree)
        for at, fault in enumerate(drawn, 1):
            if at not in chosen:
                continue
            began = time.monotonic()
            result, why = attempt(tree, fault, tests, given.seconds)
            if result == "survived" and fault.name in NO_MATTER:
                result, why = "can't matter", NO_MATTER[fault.name]
            counts[result] += 1
            place = fault.name.replace(" ", f":{fault.line} ", 1)
            print(f"{at:3} {result:8} {time.monotonic() - began:4.0f} s  {place}  [{why}]", flush=True)
    tried = sum(counts.values())
    print(f"{tried} tried: " + ", ".join(f"{many} {result}" for result, many in counts.items()))
    matter = tried - counts["can't matter"]
    print(
        f"found: {counts['found'] / tried:.1%} of all, {counts['found'] / matter:.1%} of those that can matter"
    )


if __name__ == "__main__":
    main()
