"""How fast: one trace against a CSV reader, a thousand traces in one run, and the start of ``--help``.

    python -m tests.benchmarks.speed_assess [--files 1000]

Floors: parse and analyse one 15 s, 200 Hz trace in at most 4 times what pandas.read_csv takes on the same file (median of
30, one process); 1,000 such traces in one run in bounded memory; ``--help`` within 2 times the start of a bare
interpreter plus 60 ms.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median

from tests.benchmarks.table import Row, all_met, load, print_table
from tests.made_strokes import RIG, stroke
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.files.trace_file import read_trace, write_trace

ROUNDS = 30
MOST_GROWN_MIB = 20
"""What 1,000 traces may take beyond 10: their verdicts are kept, their samples aren't."""


def fifteen_seconds(seed: int, **changes):
    """A throw of the size the floor speaks of: 3,000 rows."""
    trace = stroke(seed, **changes)
    n = 3_000
    return replace(
        trace, time_s=trace.time_s[:n], current_a=trace.current_a[:n], voltage_v=trace.voltage_v[:n]
    )


def median_ms(work: Callable[[], object], clock: Callable[[], float] = time.process_time) -> float:
    """Median of ``ROUNDS`` calls, after one that isn't counted [ms].

    By default only the time counts in which this process had the processor: on a busy machine a longer piece of work is
    interrupted more often than a short one, which would distort the ratio.
    """
    work()
    took = []
    for _ in range(ROUNDS):
        begin = clock()
        work()
        took.append(clock() - begin)
    return 1000.0 * median(took)


def one_trace(folder: Path) -> list[Row]:
    """Parse, and parse and analyse, beside pandas on the same file."""
    import pandas

    path = folder / "one.csv"
    write_trace(fifteen_seconds(99, bump_a=0.5), path)
    baseline = make_baseline([assess_trace(fifteen_seconds(seed), RIG) for seed in range(8)])
    csv_ms = median_ms(lambda: pandas.read_csv(path, comment="#"))
    rows = [Row("pandas.read_csv of one trace, 3,000 rows", "", f"{csv_ms:.2f} ms", True)]
    for name, floor, work in (
        ("parse over it", "", lambda: read_trace(path)),
        ("parse and analyse over it, no baseline", "4", lambda: assess_trace(read_trace(path), RIG)),
        (
            "parse and analyse over it, baseline of 8",
            "4",
            lambda: assess_trace(read_trace(path), RIG, baseline),
        ),
    ):
        ms = median_ms(work)
        rows.append(Row(name, floor, f"{ms / csv_ms:.2f} ({ms:.2f} ms)", not floor or ms <= 4 * csv_ms))
    return rows


PROGRAM = """
import resource, sys, time
from throwbook.jobs.assess import assess_files
from tests.made_strokes import RIG
begin = time.perf_counter()
judged = assess_files(sys.argv[1:], RIG, sys.argv[1:9])
print(len(judged.assessments), time.perf_counter() - begin, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def many_traces(folder: Path, many: int) -> list[Row]:
    """Time and peak memory of one run over many files, in a process of its own."""
    inside = folder / "many"
    inside.mkdir()
    for seed in range(8):
        write_trace(fifteen_seconds(seed), inside / f"{seed}.csv")
    files = [str(inside / f"{count % 8}.csv") for count in range(many)]
    peaks, rows = [], []
    for some in (files[:10], files):
        done = subprocess.run(
            [sys.executable, "-c", PROGRAM, *some], capture_output=True, text=True, check=True
        )
        count, took_s, peak_mib = done.stdout.split()
        peaks.append(float(peak_mib))
        bounded = peaks[-1] <= peaks[0] + MOST_GROWN_MIB
        floor = f"memory as for 10 + {MOST_GROWN_MIB} MiB" if len(rows) else ""
        said = f"{float(took_s):.1f} s, {peaks[-1]:.0f} MiB"
        rows.append(Row(f"{int(count):,} traces in one `assess`", floor, said, bounded))
    return rows


def start_of_help() -> list[Row]:
    """``--help`` in a fresh process beside an interpreter that does nothing."""

    def run(*arguments: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, *arguments], capture_output=True, check=True)

    bare_ms, help_ms = (
        median_ms(run(*arguments), time.perf_counter)
        for arguments in (("-c", "pass"), ("-m", "throwbook", "--help"))
    )
    most_ms = 2 * bare_ms + 60
    return [
        Row("`throwbook --help`", f"{most_ms:.0f} ms (2 x bare start of {bare_ms:.0f} + 60)", f"{help_ms:.0f} ms", help_ms <= most_ms)
    ]  # fmt: skip


def main() -> int:
    """Print all three."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=1_000)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        rows = one_trace(Path(name)) + many_traces(Path(name), asked.files)
    rows += start_of_help()
    print_table(f"From files to verdicts ({load()})", rows)
    return all_met(rows)


if __name__ == "__main__":
    sys.exit(main())
