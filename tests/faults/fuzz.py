"""Every reader, fed with bad input: no traceback, no hang, bounded memory.

    python -m tests.faults.fuzz [--count 1000000] [--seed 1] [--only READER] [--minutes M] [--workers 2]

Prints one row a reader. Exit code 1 when one failed; the input that did it is kept in the folder it names, and
``--again FILE --only READER`` feeds it once more.
"""

import argparse
import contextlib
import faulthandler
import math
import random
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path

from tests.faults.mutate import Mutator
from tests.faults.readers import READERS
from tests.memory import peak_kib
from throwbook.errors import ThrowbookError

HANG_S = 60.0
"""One input that takes longer, by the wall clock, counts as a hang; the machine may be busy with other things."""
MOST_WORK_S = 2.0
"""One input may cost so much of a processor's time, however busy the machine is."""
MOST_GROWTH_MB = 100.0
"""Memory that a reader may take beyond what it had after its first inputs."""
FIRST = 300
MOST_KEPT = 5
"""Different faults kept for each reader."""
QUIET_FOLDER = Path("/dev/shm")
"""Memory, where there is one: a million small files needn't wear a disk."""


class Hang(BaseException):
    """Raised by the alarm clock; no reader may catch it."""


@dataclass
class Found:
    """What became of one reader's inputs."""

    name: str
    inputs: int = 0
    refused: int = 0
    longest_s: float = 0.0
    grown_mb: float = 0.0
    seconds: float = 0.0
    faults: dict[str, bytes] = field(default_factory=dict)
    """Where it broke (kind of error, file and line): the input that did it."""

    @property
    def outcome(self) -> str:
        """In words."""
        if self.faults:
            return f"NOT SURVIVED: {'; '.join(self.faults)}"
        if self.longest_s > MOST_WORK_S:
            return f"NOT SURVIVED: {self.longest_s:.1f} s of work for one input"
        return "survived" if self.grown_mb <= MOST_GROWTH_MB else f"NOT SURVIVED: +{self.grown_mb:.0f} MB"


def fuzz(name: str, count: int, seed: int = 1, only: bytes | None = None, minutes: float = math.inf) -> Found:
    """Feed one reader with ``count`` inputs (its share of them; fewer when time is up), or with one that is given."""
    reader = READERS[name]
    found = Found(name)
    draw = random.Random(f"{name} {seed}")
    mutator = Mutator(reader.seeds(), reader.words, draw)
    watch = Watch(found)
    place = QUIET_FOLDER if QUIET_FOLDER.is_dir() else None
    with tempfile.TemporaryDirectory(prefix="throwbook-fuzz-", dir=place) as folder:
        with contextlib.suppress(ThrowbookError):  # libraries are loaded before the clock counts
            reader.one(mutator.seeds[0], draw, Path(folder))
        watch.begin()
        try:
            while found.inputs < (max(int(count * reader.share), 1) if only is None else 1):
                one(found, mutator.next() if only is None else only, draw, Path(folder))
                watch.look()
                if watch.lasted_s > 60 * minutes:
                    break
        finally:
            watch.end()
    return found


class Watch:
    """Alarm clock, duration and memory of one reader's turn."""

    def __init__(self, found: Found) -> None:
        self.found = found

    def begin(self) -> None:
        """Everything is loaded; from here on it counts."""
        self._before = signal.signal(signal.SIGALRM, _ring) if HAS_ALARM else None
        self._begun_s = time.perf_counter()
        self._base_mb = _memory_mb()

    @property
    def lasted_s(self) -> float:
        """Since it began."""
        return time.perf_counter() - self._begun_s

    def look(self) -> None:
        """After each input."""
        if self.found.inputs == FIRST:
            self._base_mb = _memory_mb()

    def end(self) -> None:
        """The turn is over."""
        _alarm(0)
        if HAS_ALARM:
            signal.signal(signal.SIGALRM, self._before)
        self.found.seconds = self.lasted_s
        self.found.grown_mb = _memory_mb() - self._base_mb


def one(found: Found, data: bytes, draw: random.Random, folder: Path) -> None:
    """Feed one input; what became of it is added to ``found``."""
    begun = time.process_time()
    _alarm(HANG_S)
    found.inputs += 1
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a library's warning on a person's screen is a fault too
            READERS[found.name].one(data, draw, folder)
    except ThrowbookError as error:
        found.refused += 1
        if "\n" in str(error) or not str(error):
            found.faults.setdefault("a refusal that isn't one line", data)
    except Exception as error:  # this is what we are looking for
        _keep(found, error, data)
    except Hang as error:
        _keep(found, error, data)
    finally:
        _alarm(0)
    found.longest_s = max(found.longest_s, time.process_time() - begun)


def _keep(found: Found, error: BaseException, data: bytes) -> None:
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames if "/logger/" in frame.filename] or list(frames)
    key = f"{type(error).__name__} at {Path(ours[-1].filename).name}:{ours[-1].lineno} ({str(error)[:60]!r})"
    place = key.partition(" (")[0]
    if len(found.faults) < MOST_KEPT and not any(known.startswith(place) for known in found.faults):
        found.faults[key] = data


HAS_ALARM = hasattr(signal, "SIGALRM")


def _alarm(after_s: float) -> None:
    """Ring then (0: not any more); where a system has no alarm, a reader that hangs ends the whole run, with where it stood."""
    if HAS_ALARM:
        signal.setitimer(signal.ITIMER_REAL, after_s)
    elif after_s:
        faulthandler.dump_traceback_later(after_s, exit=True, file=sys.__stderr__)
    else:
        faulthandler.cancel_dump_traceback_later()


def _ring(number: int, frame: object) -> None:
    raise Hang


def _memory_mb() -> float:
    """The most this process ever had."""
    return peak_kib() / (1 << 10)


def rows(names: list[str], count: int, seed: int, workers: int, minutes: float = math.inf) -> Iterator[Found]:
    """Each reader in a process of its own, so that its memory is its own."""
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn"), max_tasks_per_child=1) as pool:
        waiting = [pool.submit(fuzz, name, count, seed, None, minutes) for name in names]
        for each in waiting:
            yield each.result()


def main() -> int:
    """Print the table as it grows."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=READERS, action="append")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--minutes", type=float, default=math.inf, help="at most, for each reader")
    parser.add_argument("--again", type=Path, help="feed this one input to the reader named by --only")
    asked = parser.parse_args()
    if asked.again:
        READERS[asked.only[0]].one(
            asked.again.read_bytes(), random.Random(asked.seed), Path(tempfile.mkdtemp())
        )
        return 0
    kept = Path(tempfile.gettempdir()) / "throwbook-fuzz-faults"
    bad = 0
    print(f"{'reader':24} {'inputs':>9} {'refused':>8} {'a second':>8} {'longest':>9} {'memory':>8}  outcome")
    for found in rows(asked.only or list(READERS), asked.count, asked.seed, asked.workers, asked.minutes):
        refused = f"{100 * found.refused / found.inputs:.0f} %"
        print(
            f"{found.name:24} {found.inputs:9,} {refused:>8} {found.inputs / found.seconds:8,.0f}"
            f" {1000 * found.longest_s:6.0f} ms {found.grown_mb:+5.0f} MB  {found.outcome}",
            flush=True,
        )
        bad += found.outcome != "survived"
        for number, (what, data) in enumerate(found.faults.items()):
            kept.mkdir(exist_ok=True)
            file = kept / f"{found.name.replace(' ', '-').replace(',', '')}-{number}"
            file.write_bytes(data)
            print(f"    {what}: {file}", flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
