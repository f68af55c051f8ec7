"""Every benchmark, one after the other, or those that are named; at the end every figure in one table.

    python -m tests.benchmarks [NAME ...] [--quick] [--markdown FILE]

``--quick`` takes a small part of each (a few minutes in all): enough to see that a change broke nothing, too few to hold
against the floors of rates and shares. ``--markdown FILE`` writes the table as DEVELOPERS.md has it. All of them take
about three quarters of an hour on two cores; ``logbook_speed`` alone builds a logbook of 100,000 trials. Figures for
DEVELOPERS.md are taken on a machine that does nothing else. Exit code 1 when a floor isn't met.
"""

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from tests.benchmarks.table import COLLECT, Row, judged, load


class Benchmark(NamedTuple):
    name: str
    about: str
    quick: tuple[str, ...]
    """What it is called with for ``--quick``."""


BENCHMARKS = (
    Benchmark("speed_assess", "parse and analyse against a CSV reader, start of --help", ("--files", "100")),
    Benchmark("strokes", "verdicts on single strokes of random machines", ("--rigs", "6")),
    Benchmark("foreign_strokes", "the same on machines and boards foreign to the simulator", ("--rigs", "1")),
    Benchmark(
        "composed", "records of several movements on poor boards, hidden faults in them", ("--records", "400")
    ),
    Benchmark(
        "coverage",
        "how often a ± and an interval hold",
        ("--draws", "200", "--histories", "6", "--rigs", "0"),
    ),
    Benchmark("board_path", "samples a second, decoding, corrupted lines, memory", ("--quick",)),
    Benchmark("emulated_board", "compiled sketches in an emulator, from the counts to the verdict", ()),
    Benchmark("seasons", "wear against weather over four years", ("--rigs", "20")),
    Benchmark("binding_place", "a growing binding spot: place, and named before it stalls", ("--rigs", "4")),
    Benchmark("fleet", "trend of one rig over 20 years, of 1,000 rigs", ("--rigs", "40")),
    Benchmark("logbook_speed", "a logbook of 100,000 trials", ("--trials", "2000", "--rigs", "20")),
    Benchmark("papers", "report, blank sheet, cab card", ()),
    Benchmark("screen", "opening, frames, keys while recording", ("--trials", "1000")),
    Benchmark("growth", "time as work grows from 10 to 10,000", ("--largest", "1000")),
)


def main() -> int:
    known = {one.name: one for one in BENCHMARKS}
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(known))
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--markdown", type=Path, metavar="FILE")
    asked = parser.parse_args()
    unknown = [name for name in asked.names if name not in known]
    if unknown:
        print(f"no benchmark is called {unknown[0]}; there are: {', '.join(known)}")
        return 2
    failed = []
    with tempfile.TemporaryDirectory(prefix="throwbook-benchmarks-") as folder:
        collected = Path(folder) / "tables"
        collected.touch()
        for one in [known[name] for name in asked.names or known]:
            print(f"\n== {one.name}: {one.about} ({load()})", flush=True)
            command = [
                sys.executable,
                "-m",
                f"tests.benchmarks.{one.name}",
                *(one.quick if asked.quick else ()),
            ]
            if subprocess.run(command, check=False, env={**os.environ, COLLECT: str(collected)}).returncode:
                failed.append(one.name)
        tables = [json.loads(line) for line in collected.read_text(encoding="utf-8").splitlines()]
    text = as_markdown(tables, asked.quick)
    print(f"\n== every figure\n\n{text}")
    if asked.markdown:
        asked.markdown.write_text(text, encoding="utf-8")
    if failed:
        print(f"ended with an error or a floor not met: {', '.join(failed)}")
    return 1 if failed else 0


def as_markdown(tables: list[dict[str, Any]], quick: bool) -> str:
    """The tables as DEVELOPERS.md has them, the machine in a line above."""
    machine = f"{os.cpu_count()} {platform.machine()} cores, Python {platform.python_version()}, {load()} at the end"
    parts = [f"{datetime.now(UTC):%Y-%m-%d}, {machine}{', a quick run' if quick else ''}.\n"]
    for table in tables:
        heads = table.get("heads") or ["figure", "floor", "measured"]
        lines = table.get("lines") or [
            [
                row.figure,
                row.floor,
                f"**{row.measured}: not met**" if judged(row) == "NOT MET" else row.measured,
            ]
            for row in (Row(*each) for each in table["rows"])
        ]
        rows = [heads, ["---"] * len(heads), *lines]
        parts.append(f"{table['title']}:\n\n" + "\n".join(f"| {' | '.join(row)} |" for row in rows) + "\n")
    return "\n".join(parts)


if __name__ == "__main__":
    sys.exit(main())
