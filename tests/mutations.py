"""Small faults put into the judging and sizing code, each by itself: does a test find it?

    python -m tests.mutations --faults 300 --seed 1
    python -m tests.mutations --only 17,40-45        # these of that draw

The faults are drawn among all that ``tests.mutation_faults`` can make in ``ROOMS``. Only tests that run the faulty
statement are tried (for a constant: a function that names it), the nearest and fastest first, until one fails. Which test
runs what is measured once a test file and kept in ``build/``.

A fault in a function is put into a process that has loaded every test: its child starts at once. What is worked out while
modules load (a constant, a table) needs a process that loads them anew, and so the nearest test files first. Limits are of
processor time. A test that fails without any fault, or that looks at the clock, counts for nothing; a command that a test
starts in a process of its own runs without the fault.
"""

import argparse
import compileall
import functools
import gc
import hashlib
import inspect
import json
import multiprocessing
import os
import py_compile
import resource
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FrameType, FunctionType
from typing import Any

os.environ["OPENBLAS_NUM_THREADS"] = "1"
import hypothesis
import matplotlib.pyplot  # noqa: F401
import pandas  # noqa: F401
import pytest
import scipy.optimize
import scipy.stats  # noqa: F401

from tests.mutation_faults import PRODUCT, TOP, Fault, faults_of, functions_that_use, places

ROOMS = ("analysis", "diagnosis", "machine", "quantities", "sheets", "sizing", "status", "trend")
"""Rooms of the core that judge or size, and what they reckon with."""
OTHERS = ("jobs", "files", "report", "cli")
TESTS = (
    "tests/core/**/test_*.py",
    f"{PRODUCT}/core/**/*.py",
    *(f"tests/{room}/test_*.py" for room in OTHERS),
    "tests/test_api.py",
    "tests/test_composed_records.py",
)
"""In this order; of the product's own files those with an example."""
LEFT_OUT = ("long_histories", "simulator/")
"""Tests that look at the clock, or at another room's code only."""
NUMBERS = "tests/core/test_numbers.py::test_every_number_with_a_name_is_as_it_was_looked_at"
"""Runs no function and looks at every constant."""
NEAREST = 6
"""Test files, of the same name or room first, that are loaded before the others."""
FOLDERS = ("", "/logger", "/tui")
"""Where Python finds the packages and the tests."""
OPTIONS = (
    "-q -p no:cacheprovider -p no:xdist -p no:syrupy -p no:textual-snapshot "
    "--hypothesis-profile=faults --hypothesis-seed=0 --continue-on-collection-errors -W ignore::pytest.PytestAssertRewriteWarning"
)
hypothesis.settings.register_profile("faults", deadline=None, database=None)
STANDS_STILL_S = 1800
"""By the clock: a test that waits for ever uses no processor time."""
AT_ONCE = 4
"""Test files that are measured side by side."""
MEASURED = TOP / "build" / "mutations.json"
EQUAL = "only where a reckoned figure equals the limit in its last bit"
NO_MATTER = {
    f"{PRODUCT}/core/analysis/residual_current.py only_holds: piece.last + 1 -> (piece.last - 1)": "the middle of a level, two rows shorter",
    f"{PRODUCT}/core/analysis/current_runs.py _is_echo: ran_s < PAUSE_S -> (ran_s <= PAUSE_S)": EQUAL,
    f"{PRODUCT}/core/analysis/residual_current.py RunRecord.at_stall_level: level_a >= ABOVE_RATED * self.stroke.full_load_a -> "
    "(level_a > ABOVE_RATED * self.stroke.full_load_a)": EQUAL,
    f"{PRODUCT}/core/analysis/residual_current.py _steps: ordered[int(high[-1]):] <= low_a -> "
    "(ordered[int(high[-1]):] < low_a)": EQUAL,
    f"{PRODUCT}/core/diagnosis/signs/load.py _flowed_at_rest: flowed_a > SAME_LEVEL * evidence.idle_a -> "
    "(flowed_a >= SAME_LEVEL * evidence.idle_a)": EQUAL,
    f"{PRODUCT}/core/trend/profile_trend.py _spot: abs(one.at_fraction - run[0].at_fraction) > SAME_PLACE -> "
    "(abs(one.at_fraction - run[0].at_fraction) >= SAME_PLACE)": EQUAL,
    f"{PRODUCT}/core/analysis/baseline.py _measure: 1e-12 -> 9.5e-13": "keeps nought out of a division",
    f"{PRODUCT}/core/diagnosis/verdict.py unusable: run.value + run.u < TURNS * evidence.idle_a -> "
    "(run.value + run.u <= TURNS * evidence.idle_a)": EQUAL,
    f"{PRODUCT}/core/analysis/clipping.py _piled_up: shown_a >= top_a - SAME * abs(top_a) -> (shown_a > top_a - SAME * abs(top_a))": EQUAL,
    f"{PRODUCT}/core/diagnosis/signs/load.py _light_without_baseline: run_a > limit -> (run_a >= limit)": EQUAL,
    f"{PRODUCT}/core/analysis/stalled_motor.py flat_limit_from: float(current.max()) > level + band -> (float(current.max()) >= level + band)": EQUAL,
    f"{PRODUCT}/core/analysis/current_runs.py current_runs_of: way * smooth_a > threshold_a -> (way * smooth_a >= threshold_a)": EQUAL,
    f"{PRODUCT}/core/analysis/residual_current.py _breaks_off: fall_a > 0.0 -> (fall_a >= 0.0)": EQUAL,
    f"{PRODUCT}/core/analysis/current_runs.py _brakes_down_a_ramp: lasted_s > PAUSE_S + SETTLED_S -> (lasted_s >= PAUSE_S + SETTLED_S)": EQUAL,
    f"{PRODUCT}/core/analysis/current_runs.py _brakes_down_a_ramp: float(np.abs(current_a[after.first:after.last + 1]).max()) < BRAKES_WITH * highest_a -> (float(np.abs(current_a[after.first:after.last + 1]).max()) <= BRAKES_WITH * highest_a)": EQUAL,
    f"{PRODUCT}/core/analysis/residual_current.py _low_levels: record.current_a[first + a:inner.start] > falling_a -> (record.current_a[first + a:inner.start] >= falling_a)": EQUAL,
    f"{PRODUCT}/core/analysis/breaks.py find_breaks: moving < rest_a -> (moving <= rest_a)": EQUAL,
    f"{PRODUCT}/core/analysis/transient.py _end_of_rise: moving[rows] >= (1.0 - RISEN_TO) * level -> (moving[rows] > (1.0 - RISEN_TO) * level)": EQUAL,
    f"{PRODUCT}/core/sheets/assess_hand.py _drag: heavier - run.u / usual.mean <= limit -> (heavier - run.u / usual.mean < limit)": EQUAL,
    f"{PRODUCT}/core/diagnosis/bench_test.py resistance_bracket: excess[peak] < 0.5 * run_a -> (excess[peak] <= 0.5 * run_a)": EQUAL,
    f"{PRODUCT}/core/analysis/live.py LiveThrow._move: level_a > FALL_SHARE * self._on_a -> (level_a >= FALL_SHARE * self._on_a)": EQUAL,
    f"{PRODUCT}/core/analysis/figures.py _unseen: lost_by_numbers(trace.head, float(lost.sum())) >= 0.5 -> (lost_by_numbers(trace.head, float(lost.sum())) > 0.5)": "a count of rows is never a half",
    f"{PRODUCT}/core/trend/profile_trend.py _spot: 2 -> 1.9": "whole numbers: fewer than 1.9 are fewer than 2",
    f"{PRODUCT}/core/trend/control_chart.py slope_of: 3 -> 2.85": "whole numbers: fewer than 2.85 are fewer than 3",
    f"{PRODUCT}/core/analysis/travel.py voltage_or_nominal: median_of(moving) < 0 -> (median_of(moving) <= 0)": "nothing is nothing with either sign",
    f"{PRODUCT}/core/trend/profile_trend.py bump: 1e-12 -> 9.5e-13": "keeps nought out of a division",
    f"{PRODUCT}/core/analysis/edges.py _against_time: 1e-09 -> 1.05e-09": "keeps nought out of a division",
    f"{PRODUCT}/core/analysis/edges.py _in_noise: segments.last + 1 -> (segments.last - 1)": "the middle of a movement, two rows shorter",
    f"{PRODUCT}/core/trend/change_test.py _listed: size - mean -> (size + mean)": "(level - lies) sums to nought: whatever is added to the sizes falls out",
    f"{PRODUCT}/core/sheets/shared_risk.py reach: limit.value / step + 1e-09 -> "
    "(limit.value / step - 1e-09)": "a reading at the limit itself is accepted by neither rule",
}
"""Faults that change nothing a person can notice: as printed without the line number, and why."""

Hits = set[str]
"""Places, as ``tests.mutation_faults.places`` names them."""


@dataclass
class Outcome:
    """What a run of tests came to."""

    tests: dict[str, tuple[float, Hits]] = field(default_factory=dict)
    """Processor time [s] and, if asked for, what each ran."""
    failed: list[str] = field(default_factory=list)
    hits: Hits = field(default_factory=set)
    """What ran while the test files were loaded."""
    functions: int = 0
    """How many of the product's are loaded."""


@dataclass(frozen=True)
class Task:
    """What one child is to run: a fault put into the loaded code (None: none), the tests in order (None: all)."""

    fault: Fault | None
    order: dict[str, float] | None
    limit_s: float = 1e9


class Loaded:
    """A process that has loaded ``files`` of ``tree``; each task runs in a child of it.

    Its first answer says what failed or ran while it loaded them, each further one what came of a task. One that
    measures runs every test at once, and answers only then.
    """

    def __init__(self, tree: Path, files: list[str], measure: bool = False) -> None:
        self.tree, self.measure, self.dead = tree, measure, False
        self.task, self.outcome = Task(None, None), Outcome()
        self.lines: dict[CodeType, set[int]] = {}
        self.tasks, self.results = multiprocessing.Pipe(), multiprocessing.Pipe()
        self.pid = os.fork()
        if self.pid:
            return
        try:
            self._stand_apart()
            _limit(120.0)
            if measure:
                self._watch(self._trace)
            ended = pytest.main([*files, *OPTIONS.split()], plugins=[self])
            self._watch(None)
            if ended == pytest.ExitCode.INTERNAL_ERROR:
                self.outcome.failed.append("pytest itself")
            self.results[1].send(self.outcome)
            os._exit(0)
        finally:
            os._exit(1)

    def run(self, task: Task) -> Outcome | None:
        """None where the child died or had to be ended."""
        self.tasks[1].send(task)
        return self.answer()

    def close(self) -> None:
        with suppress(ProcessLookupError, ChildProcessError):
            os.killpg(self.pid, signal.SIGKILL)
            os.waitpid(self.pid, 0)

    def answer(self) -> Outcome | None:
        """The next one; None where there will be none."""
        while not self.is_ready(1.0):
            pass
        found: Outcome | None = None if self.dead else self.results[0].recv()
        return found

    def is_ready(self, wait_s: float) -> bool:
        """Whether the next answer is there, or will never be."""
        there = self.results[0].poll(wait_s)
        self.dead = self.dead or (not there and os.waitpid(self.pid, os.WNOHANG)[0] > 0)
        return there or self.dead

    def _stand_apart(self) -> None:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_AS, (8 << 30, 8 << 30))
        null = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(null, stream)
        os.chdir(self.tree)
        theirs = [f"{TOP}{folder}" for folder in FOLDERS]
        sys.path[:] = [f"{self.tree}{folder}" for folder in FOLDERS] + [
            part for part in sys.path if part not in ("", *theirs)
        ]
        os.environ["PYTHONPATH"] = os.pathsep.join(sys.path[: len(FOLDERS)])
        for name in [name for name in sys.modules if name.partition(".")[0] == "tests"]:
            del sys.modules[name]

    # ---- which lines run ----

    def _watch(self, trace: Callable[..., Any] | None) -> None:
        threading.settrace(trace)  # type: ignore[arg-type]
        sys.settrace(trace)

    def _trace(self, frame: FrameType, event: str, arg: object) -> Callable[..., Any] | None:
        code = frame.f_code
        if f"/{PRODUCT}/core/" not in code.co_filename or not code.co_flags & inspect.CO_OPTIMIZED:
            return None
        lines = self.lines.setdefault(code, set())
        lines.add(frame.f_lineno)

        def line(frame: FrameType, event: str, arg: object) -> Callable[..., Any]:
            lines.add(frame.f_lineno)
            return line

        return line

    def _hits(self) -> Hits:
        """What ran since this was asked last."""
        ran: Hits = set()
        for code, lines in self.lines.items():
            known = places(os.path.relpath(code.co_filename, self.tree))
            ran |= {known[line] for line in lines if line in known}
        self.lines.clear()
        return ran

    # ---- what pytest asks ----

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self.outcome.failed.append(report.nodeid)

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool | None:
        """Wait for tasks. In a child: None, and pytest goes on with the tests."""
        self.outcome.hits = self._hits()
        _limit(0.0)
        if self.measure:
            return None
        gc.unfreeze()  # what is frozen isn't listed
        functions = {
            (made.__code__.co_filename, made.__code__.co_qualname, made.__code__.co_firstlineno): made
            for made in gc.get_objects()
            if isinstance(made, FunctionType) and PRODUCT in made.__code__.co_filename
        }
        for kept in gc.get_objects():
            if isinstance(kept, functools._lru_cache_wrapper) and kept.__module__.startswith("throwbook."):
                kept.cache_clear()  # what was worked out while the tests were loaded is worked out anew
        self.outcome.functions = len(functions)
        self.results[1].send(self.outcome)
        items = {item.nodeid: item for item in session.items}
        gc.collect()
        gc.freeze()
        while True:
            self.task = self.tasks[0].recv()
            if not (child := os.fork()):
                break
            if os.waitpid(child, 0)[1]:
                self.results[1].send(None)
        self.outcome = Outcome()
        if self.task.fault:
            put_in(self.task.fault, self.tree, functions)
        if self.task.order is not None:
            session.config.option.maxfail = 1
            session.items[:] = [items[test] for test in self.task.order if test in items]
        return None

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        began = time.process_time()
        if began > self.task.limit_s:
            item.session.shouldstop = "time is up"
        usual_s = (self.task.order or {}).get(item.nodeid, 120.0)
        _limit(20.0 + 10.0 * usual_s)
        result = yield
        _limit(0.0)
        self.outcome.tests[item.nodeid] = (round(time.process_time() - began, 3), self._hits())
        return result

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.outcome.failed.append(report.nodeid)


def _limit(seconds: float) -> None:
    """End this process when it has reckoned for so long; 0: never."""
    signal.setitimer(signal.ITIMER_PROF, seconds)
    signal.alarm(STANDS_STILL_S if seconds else 0)


def put_in(fault: Fault, tree: Path, functions: dict[tuple[str, str, int], FunctionType]) -> None:
    """Give the loaded function that holds the fault its faulty code."""
    file = tree / fault.path

    def inside(code: CodeType) -> Iterator[CodeType]:
        for part in code.co_consts:
            if isinstance(part, CodeType):
                yield part
                yield from inside(part)

    for code in inside(compile(with_fault(file, fault), file, "exec", dont_inherit=True)):
        made = functions.get((str(file), code.co_qualname, code.co_firstlineno))
        if made and made.__code__ != code:
            made.__code__ = code


def with_fault(file: Path, fault: Fault) -> bytes:
    """The whole file."""
    right = file.read_bytes()
    return right[: fault.start] + fault.new.encode() + right[fault.end :]


class Known:
    """Which places every test runs that passes without a fault: kept from run to run."""

    def __init__(self, tree: Path) -> None:
        kept = json.loads(MEASURED.read_text("utf-8")) if MEASURED.exists() else {"places": [], "files": {}}
        self.bit = {place: at for at, place in enumerate(kept["places"])}
        files: dict[str, tuple[str, dict[str, tuple[float, str]]]] = kept["files"]
        names = [path.relative_to(TOP).as_posix() for part in TESTS for path in sorted(TOP.glob(part))]
        stamps = {name: hashlib.sha256((TOP / name).read_bytes()).hexdigest() for name in names}
        new = [
            name
            for name in names
            if ("test_" in name or ">>>" in (TOP / name).read_text("utf-8"))
            and not any(part in name for part in LEFT_OUT)
            and files.get(name, ("",))[0] != stamps[name]
        ]
        for name, measured in self._measured(tree, new):
            files[name] = (stamps[name], measured)
            MEASURED.parent.mkdir(exist_ok=True)
            MEASURED.write_text(json.dumps({"places": list(self.bit), "files": files}), "utf-8")
        self.tests: dict[str, tuple[float, int]] = {}
        self.at_load = 0
        for name in filter(files.__contains__, names):
            every = {test: (seconds, int(mask, 16)) for test, (seconds, mask) in files[name][1].items()}
            self.at_load |= every.pop("")[1]
            self.tests |= every

    def mask(self, ran: Iterable[str]) -> int:
        """A bit a place."""
        return sum(1 << self.bit.setdefault(place, len(self.bit)) for place in set(ran))

    def _measured(self, tree: Path, names: list[str]) -> Iterator[tuple[str, dict[str, tuple[float, str]]]]:
        running: dict[str, Loaded] = {}
        while names or running:
            while names and len(running) < AT_ONCE:
                name = names.pop(0)
                running[name] = Loaded(tree, [name], measure=True)
            for name in [name for name, loaded in running.items() if loaded.is_ready(0.1)]:
                outcome = running[name].answer()
                running.pop(name).close()
                if outcome is None:
                    print(f"{name}: could not be measured, left out of this run", flush=True)
                    continue
                for test in outcome.failed:
                    print(f"{test}: fails without a fault, left out", flush=True)
                tests = {"": (0.0, outcome.hits)} | outcome.tests
                yield (
                    name,
                    {
                        test: (seconds, f"{self.mask(hits):x}")
                        for test, (seconds, hits) in tests.items()
                        if test not in outcome.failed
                    },
                )

    def wanted(self, fault: Fault) -> int:
        """The places of which a test has to run one to notice the fault."""
        if fault.function:
            lines = places(fault.path)
            return self.mask(lines[line] for line in fault.statement if line in lines)
        users = functions_that_use(fault)
        return self.mask(place for place in self.bit if place.rpartition("+")[0] in users)

    def order(self, fault: Fault) -> dict[str, float]:
        """Tests and their processor time [s]: the nearest file first, in it those that run the fault, the fastest first.

        Of the nearest files the other tests follow at the end: they may lean on what one that ran it worked out.
        """
        wanted = self.wanted(fault)
        room, stem = Path(fault.path.removesuffix(".py")).parts[-2:]
        rank: dict[str, tuple[bool, bool, float]] = {}
        for test, (seconds, ran) in self.tests.items():
            if ran & wanted:
                name = test.partition("::")[0]
                near = (stem not in name, f"/{room}/" not in name, seconds)
                rank[name] = min(near, rank.get(name, near))
        nearest = sorted(rank, key=lambda name: rank[name])
        place = {name: at for at, name in enumerate(nearest)}
        order = sorted(
            (not ran & wanted, place[name], seconds, test)
            for test, (seconds, ran) in self.tests.items()
            if (name := test.partition("::")[0]) in place and (ran & wanted or place[name] < NEAREST)
        )
        first = {} if fault.function else {NUMBERS: self.tests[NUMBERS][0]}
        return first | {test: seconds for _, _, seconds, test in order}


class Trial:
    """Puts one fault after the other into the tree, or into what is loaded of it."""

    def __init__(self, tree: Path, limit_s: float) -> None:
        self.tree, self.limit_s = tree, limit_s
        self.known = Known(tree)
        files = sorted({test.partition("::")[0] for test in self.known.tests})
        self.loaded = Loaded(tree, files)
        loaded = self.loaded.answer()
        if loaded is None or not loaded.functions:
            sys.exit("no function of the product is loaded: no fault can be put in")
        self.sound: set[str] = set()
        """Tests that passed without a fault in the loaded process as well."""

    def attempt(self, fault: Fault) -> tuple[str, str]:
        """Whether the fault is ``found`` or ``survived``, and by what: the failed test, or what stood against it."""
        order = self.known.order(fault)
        if not order:
            return "survived", "no test runs it"
        if not fault.function or self.known.wanted(fault) & self.known.at_load:
            return self._loaded_anew(fault, order)
        while True:
            done = self.loaded.run(Task(fault, order, self.limit_s))
            if done is None:
                return "found", "its process died or never ended"
            if not done.failed:
                return "survived", f"{len(done.tests)} of {len(order)} tests ran"
            test = done.failed[0]
            if test not in self.sound:
                alone = self.loaded.run(Task(None, {test: order.get(test, 60.0)}))
                if alone is None or alone.failed:
                    print(f"{test}: fails without a fault, left out", flush=True)
                    order.pop(test)
                    self.known.tests.pop(test)
                    continue
            self.sound.add(test)
            return "found", test

    def _loaded_anew(self, fault: Fault, order: dict[str, float]) -> tuple[str, str]:
        files = list(dict.fromkeys(test.partition("::")[0] for test in order))
        file, ran = self.tree / fault.path, 0
        right = file.read_bytes()
        file.write_bytes(with_fault(file, fault))
        try:
            for part in filter(None, (files[:1], files[1:NEAREST], files[NEAREST:])):
                mine = {test: s for test, s in order.items() if test.partition("::")[0] in part}
                anew = Loaded(self.tree, part)
                at_load = anew.answer()
                failed = at_load.failed if at_load else ["a file that couldn't be loaded"]
                done = None if failed else anew.run(Task(None, mine, self.limit_s))
                anew.close()
                if failed:
                    return "found", failed[0]
                if done is None or done.failed:
                    return "found", done.failed[0] if done else "its process died or never ended"
                ran += len(done.tests)
        finally:
            file.write_bytes(right)
        return "survived", f"{ran} of {len(order)} tests ran"


def draw(every: list[Fault], many: int, seed: int) -> list[Fault]:
    """Each fault's lot hangs on its own name alone, so that a change of other code leaves the draw as it was."""
    alike: Counter[str] = Counter()

    def lot(fault: Fault) -> str:
        alike[fault.name] += 1
        return hashlib.sha256(f"{seed} {alike[fault.name]} {fault.name}".encode()).hexdigest()

    return sorted(every, key=lot)[:many]


def main() -> None:
    """Draw, try, print."""
    ask = argparse.ArgumentParser(prog="python -m tests.mutations", description=__doc__.partition("\n")[0])
    ask.add_argument("--faults", type=int, default=300)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--only", default="", help="numbers of the draw, such as 3,7,20-40")
    ask.add_argument("--seconds", type=float, default=60.0, help="processor time for the tests of one fault")
    given = ask.parse_args()
    files = sorted(file for room in ROOMS for file in (TOP / PRODUCT / "core" / room).rglob("*.py"))
    every = [fault for file in files for fault in faults_of(file.relative_to(TOP).as_posix())]
    for file in (TOP / PRODUCT).rglob("*.py"):
        places(file.relative_to(TOP).as_posix())  # as the files are now: they may change while it runs
    drawn = draw(every, given.faults, given.seed)
    parts = [part.partition("-") for part in (given.only or f"1-{given.faults}").split(",")]
    chosen = {number for low, _, high in parts for number in range(int(low), int(high or low) + 1)}
    print(f"{len(drawn)} of {len(every)} faults in {len(files)} files, seed {given.seed}", flush=True)
    counts = {"found": 0, "survived": 0, "can't matter": 0}
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder).resolve() / "tree"
        shutil.copytree(TOP, tree, ignore=shutil.ignore_patterns(".*", "build", "__pycache__", "*.egg-info"))
        # Checked by content: a fault may leave the file's size and second as they were.
        compileall.compile_dir(
            tree / "logger", quiet=1, invalidation_mode=py_compile.PycInvalidationMode.CHECKED_HASH
        )
        trial = Trial(tree, given.seconds)
        for at, fault in enumerate(drawn, 1):
            if at not in chosen:
                continue
            began = time.monotonic()
            result, why = trial.attempt(fault)
            if result == "survived" and fault.name in NO_MATTER:
                result, why = "can't matter", NO_MATTER[fault.name]
            counts[result] += 1
            place = fault.name.replace(" ", f":{fault.line} ", 1)
            print(f"{at:3} {result:8} {time.monotonic() - began:4.0f} s  {place}  [{why}]", flush=True)
        trial.loaded.close()
    tried = sum(counts.values())
    print(f"{tried} tried: " + ", ".join(f"{many} {result}" for result, many in counts.items()))
    matter = tried - counts["can't matter"]
    print(
        f"found: {counts['found'] / tried:.1%} of all, {counts['found'] / matter:.1%} of those that can matter"
    )


if __name__ == "__main__":
    main()
