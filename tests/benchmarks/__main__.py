"""Every benchmark, one after the other, or those that are named; at the end every figure in one table.

    python -m tests.benchmarks [NAME ...] [--quick]

``--quick`` takes a small part of each (a few minutes in all): enough to see that a change broke nothing, too few to hold
against the floors of rates and shares. Without it each writes its figures into ``measured.md``, between its two marks;
so take them on a machine that does nothing else. All of them take about three quarters of an hour on two cores;
``logbook_speed`` alone builds a logbook of 100,000 trials. Exit code 1 when a floor isn't met.
"""

import argparse
import json
import os
import platform
import shutil
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


MEASURED = Path(__file__).with_name("measured.md")
TOP = Path(__file__).parents[2]

BENCHMARKS = (
    Benchmark("speed_assess", "parse and analyse against a CSV reader, start of --help", ("--files", "100")),
    Benchmark("strokes", "verdicts on single strokes of random machines", ("--rigs", "6")),
    Benchmark("foreign_strokes", "the same on machines and boards foreign to the simulator", ("--rigs", "1")),
    Benchmark("pins", "what a switch at each pin tells, and never claims", ("--rigs", "4")),
    Benchmark(
        "composed", "records of several movements on poor boards, hidden faults in them", ("--records", "400")
    ),
    Benchmark(
        "coverage",
        "how often a ± and an interval hold",
        ("--draws", "200", "--histories", "6", "--rigs", "0"),
    ),
    Benchmark("by_hand", "commissioning with a cheap meter: whom the rules let through", ("--sheets", "300")),
    Benchmark("board_path", "samples a second, decoding, corrupted lines, memory", ("--quick",)),
    Benchmark("emulated_board", "compiled sketches in an emulator, from the counts to the verdict", ()),
    Benchmark("seasons", "wear against weather over four years", ("--rigs", "20")),
    Benchmark("binding_place", "a growing binding spot: place, and named before it stalls", ("--rigs", "4")),
    Benchmark("fleet", "trend of one rig over 20 years, of 1,000 rigs", ("--rigs", "40")),
    Benchmark("yard", "the list of 1,000 rigs, most pressing first", ("--rigs", "40", "--parquet", "8")),
    Benchmark("logbook_speed", "a logbook of 100,000 trials", ("--trials", "2000", "--rigs", "20")),
    Benchmark("papers", "report, blank sheet, cab card", ()),
    Benchmark("screen", "opening, frames, keys while recording", ("--trials", "1000")),
    Benchmark("start_up", "processor time of --help, rig list, status, first screen", ("--times", "3")),
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
    asked = parser.parse_args()
    unknown = [name for name in asked.names if name not in known]
    if unknown:
        print(f"no benchmark is called {unknown[0]}; there are: {', '.join(known)}")
        return 2
    failed, pages = [], []
    with tempfile.TemporaryDirectory(prefix="throwbook-benchmarks-") as folder:
        for one in [known[name] for name in asked.names or known]:
            print(f"\n== {one.name}: {one.about} ({load()})", flush=True)
            collected = Path(folder) / one.name
            collected.touch()
            command = [
                sys.executable,
                "-m",
                f"tests.benchmarks.{one.name}",
                *(one.quick if asked.quick else ()),
            ]
            if subprocess.run(command, check=False, env={**os.environ, COLLECT: str(collected)}).returncode:
                failed.append(one.name)
            tables = [json.loads(line) for line in collected.read_text(encoding="utf-8").splitlines()]
            if tables:
                pages.append(as_markdown(one.name, tables))
                if not asked.quick:
                    page = put_between_marks(MEASURED.read_text(encoding="utf-8"), one.name, pages[-1])
                    MEASURED.write_text(page, encoding="utf-8")
    print("\n== every figure\n\n" + "\n".join(pages))
    if failed:
        print(f"ended with an error or a floor not met: {', '.join(failed)}")
    return 1 if failed else 0


def as_markdown(name: str, tables: list[dict[str, Any]]) -> str:
    """The tables of one benchmark as ``measured.md`` has them: command, day, commit and machine in a line above."""
    machine = f"{os.cpu_count()} {platform.machine()} cores, Python {platform.python_version()}, {load()} at the end"
    parts = [f"`python -m tests.benchmarks {name}`, {datetime.now(UTC):%Y-%m-%d}, {commit()}, {machine}.\n"]
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


def commit() -> str:
    """The commit that is measured; "+" where something isn't committed."""
    if not shutil.which("git"):
        return "no commit"
    said = subprocess.run(
        ["git", "describe", "--always", "--dirty=+"], capture_output=True, text=True, check=False, cwd=TOP
    )
    return said.stdout.strip() or "no commit"


def put_between_marks(page: str, name: str, text: str) -> str:
    """``page`` with ``text`` in the place of what stood between the two marks of ``name``; all else as it was."""
    first, last = f"<!-- {name} -->\n", f"<!-- /{name} -->\n"
    before, _, rest = page.partition(first)
    _, found, after = rest.partition(last)
    if not found:
        raise SystemExit(f"{MEASURED.name} lacks the two marks of {name}: {first.strip()} and {last.strip()}")
    return f"{before}{first}{text}{last}{after}"


if __name__ == "__main__":
    sys.exit(main())
