"""Bad input that is bred: what reached code that no input had reached before is kept and changed further.

    pip install atheris                      # not among the project's own requirements; for 64-bit Linux and macOS
    python -m tests.faults.guided [--seconds 60] [--seed 1] [--only READER] [--workers 1]

The readers, the judgement and the steps that make input bad are those of ``tests.faults.fuzz``; half of the changes are
libFuzzer's own. Prints one row a reader; branches are counted in the project's own code. Exit code 1 when a reader failed;
the input that did it is kept in the folder it names, and ``--again FILE --only READER`` feeds it once more.
"""

import argparse
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import zlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.faults.fuzz import Found

TOP = Path(__file__).parents[2]
LONGEST = 20_000
MOST_MB = 1024
INTRICATE = ("trace file", "rig file", "lines from a board", "journal", "typed quantity", "hand-entry lines")
"""Bred when none is named: the readers with most to go wrong in them."""
_SEEN = re.compile(rb"#(\d+)\s+\w+\s+cov: (\d+) ft: \d+ corp: (\d+)")


@dataclass(frozen=True)
class Bred:
    """What became of one reader."""

    name: str
    runs: int
    seconds: float
    refused: int
    branches: tuple[int, int]
    """Reached by the good inputs alone, and in the end."""
    kept: int
    """Inputs that reached something new."""
    longest_s: float
    grown_mb: float
    outcome: str
    faults: dict[str, bytes]


def breed(name: str, seconds: int, seed: int) -> Bred:
    """Breed input for one reader, in a process of its own."""
    with tempfile.TemporaryDirectory(prefix="throwbook-guided-") as folder:
        line = [sys.executable, "-m", "tests.faults.guided", "--inside", folder, "--only", name]
        line += ["--seconds", str(seconds), "--seed", str(seed)]
        done = subprocess.run(line, cwd=TOP, capture_output=True, check=False)
        result = Path(folder) / "result.json"
        seen = _SEEN.findall(done.stderr)
        if not result.exists() or not seen:
            last = done.stderr.decode("utf-8", "replace").strip().splitlines()[-8:]
            return Bred(
                name,
                0,
                1.0,
                0,
                (0, 0),
                0,
                0.0,
                0.0,
                f"NOT SURVIVED: it ended at once: {' / '.join(last)}",
                {},
            )
        told = json.loads(result.read_text("utf-8"))
    first = next((found for found in seen if found[2] != b"0"), seen[0])
    told["faults"] = {what: bytes.fromhex(data) for what, data in told["faults"].items()}
    return Bred(name=name, branches=(int(first[1]), int(seen[-1][1])), kept=int(seen[-1][2]), **told)


def inside(name: str, seconds: int, seed: int, folder: Path) -> None:
    """The process that breeds. Never returns."""
    import atheris

    with atheris.instrument_imports(include=["throwbook"]):
        from tests.faults import fuzz
        from tests.faults.mutate import Mutator
        from tests.faults.readers import READERS

        reader = READERS[name]
        seeds = list(reader.seeds())
        work = folder / "work"
        work.mkdir()
        first = fuzz.Found(name)
        for data in seeds * 3:  # whatever is imported late is imported now, counted branch by branch
            fuzz.one(first, data, chance(data), work)
    corpus = folder / "corpus"
    corpus.mkdir()
    for number, data in enumerate(seeds):
        (corpus / str(number)).write_bytes(data)
    found = fuzz.Found(name)
    found.faults |= first.faults
    watch = fuzz.Watch(found)
    mutator = Mutator(seeds, reader.words, random.Random(seed))

    def one(data: bytes) -> None:
        fuzz.one(found, data, chance(data), work)
        watch.look()
        if watch.lasted_s > seconds:
            watch.end()
            _write(found, folder / "result.json")
            os._exit(0)  # libFuzzer would end without letting anything be written

    def change(data: bytes, longest: int, number: int) -> bytes:
        if number % 2:
            return bytes(atheris.Mutate(data, longest))
        mutator.random.seed(number)
        return mutator.changed(data)[:longest]

    limits = [f"-seed={seed}", f"-max_len={LONGEST}", f"-rss_limit_mb={MOST_MB}", "-timeout=0"]
    atheris.Setup(["guided", *limits, str(corpus)], one, custom_mutator=change)
    watch.begin()
    atheris.Fuzz()


def chance(data: bytes) -> random.Random:
    """The same for the same input, so that what it reaches depends on the input alone."""
    return random.Random(zlib.crc32(data))


def _write(found: "Found", path: Path) -> None:
    told = {"runs": found.inputs, "seconds": found.seconds, "refused": found.refused}
    told |= {"longest_s": found.longest_s, "grown_mb": found.grown_mb, "outcome": found.outcome}
    told["faults"] = {what: data.hex() for what, data in found.faults.items()}
    path.write_text(json.dumps(told), "utf-8")


def rows(names: list[str], seconds: int, seed: int, workers: int) -> Iterator[Bred]:
    """One after the other, or so many at a time."""
    with ThreadPoolExecutor(workers) as pool:
        yield from pool.map(lambda name: breed(name, seconds, seed), names)


def main() -> int:
    """Print the table as it grows."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seconds", type=int, default=60, help="for each reader")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", action="append", metavar="READER")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--again", type=Path, help="feed this one input to the reader named by --only")
    parser.add_argument("--inside", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    names = asked.only or list(INTRICATE)
    if asked.inside:
        inside(names[0], asked.seconds, asked.seed, asked.inside)
    if asked.again:
        from tests.faults.readers import READERS

        data = asked.again.read_bytes()
        READERS[names[0]].one(data, chance(data), Path(tempfile.mkdtemp()))
        return 0
    print(
        f"{'reader':20} {'inputs':>9} {'a second':>8} {'refused':>8} {'branches':>13} {'kept':>6} {'longest':>9}"
        f" {'memory':>8}  outcome"
    )
    bad = 0
    for bred in rows(names, asked.seconds, asked.seed, asked.workers):
        print(
            f"{bred.name:20} {bred.runs:9,} {bred.runs / bred.seconds:8,.0f}"
            f" {100 * bred.refused / max(bred.runs, 1):6.0f} % {bred.branches[0]:5,} -> {bred.branches[1]:5,}"
            f" {bred.kept:6,} {1000 * bred.longest_s:6.0f} ms {bred.grown_mb:+5.0f} MB  {bred.outcome}",
            flush=True,
        )
        bad += bred.outcome != "survived"
        _keep(bred)
    return 1 if bad else 0


def _keep(bred: Bred) -> None:
    kept = Path(tempfile.gettempdir()) / "throwbook-guided-faults"
    for number, (what, data) in enumerate(bred.faults.items()):
        kept.mkdir(exist_ok=True)
        file = kept / f"{bred.name.replace(' ', '-').replace(',', '')}-{number}"
        file.write_bytes(data)
        print(f"    {what}: {file}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
