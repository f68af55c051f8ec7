"""How fast: one trace against a CSV reader, a thousand traces in one run, and the start of ``--help``.

    python -m tests.benchmarks.speed_assess

Floors: parse and analyse one 15 s, 200 Hz trace in at most 4 times what pandas.read_csv takes on the same file (median of
30, one process); 1,000 such traces in one run in bounded memory; ``--help`` within 2 times the start of a bare
interpreter plus 60 ms.
"""

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median

from logger.core.stroke.assess import assess_trace
from logger.core.stroke.baseline import make_baseline
from logger.files.tracefile import read_trace, write_trace
from tests.made_strokes import RIG, stroke

ROUNDS = 30
MANY = 1_000


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


def one_trace(folder: Path) -> None:
    """Parse, and parse and analyse, beside pandas on the same file."""
    import pandas

    path = folder / "one.csv"
    write_trace(fifteen_seconds(99, bump_a=0.5), path)
    baseline = make_baseline([assess_trace(fifteen_seconds(seed), RIG) for seed in range(8)])
    csv_ms = median_ms(lambda: pandas.read_csv(path, comment="#"))
    parse_ms = median_ms(lambda: read_trace(path))
    bare_ms = median_ms(lambda: assess_trace(read_trace(path), RIG))
    full_ms = median_ms(lambda: assess_trace(read_trace(path), RIG, baseline))
    print(f"{'one trace, 3,000 rows, median of 30':42} {'ms':>8} {'times read_csv':>15}   floor")
    for name, ms, floor in (
        ("pandas.read_csv", csv_ms, ""),
        ("parse", parse_ms, ""),
        ("parse and analyse, no baseline", bare_ms, "4"),
        ("parse and analyse, baseline of 8", full_ms, "4"),
    ):
        print(f"{name:42} {ms:8.2f} {ms / csv_ms:15.2f}   {floor}")


def many_traces(folder: Path) -> None:
    """Time and peak memory of one run over many files, in a process of its own."""
    inside = folder / "many"
    inside.mkdir()
    for seed in range(8):
        write_trace(fifteen_seconds(seed), inside / f"{seed}.csv")
    files = [str(inside / f"{count % 8}.csv") for count in range(MANY)]
    program = """
import resource, sys, time
from logger.jobs.assess import assess_files
from tests.made_strokes import RIG
begin = time.perf_counter()
judged = assess_files(sys.argv[1:], RIG, sys.argv[1:9])
print(len(judged.assessments), time.perf_counter() - begin, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""
    print(f"\n{'files in one run':42} {'s':>8} {'peak MiB':>15}")
    for some in (files[:10], files):
        done = subprocess.run(
            [sys.executable, "-c", program, *some], capture_output=True, text=True, check=True
        )
        count, took_s, peak_mib = done.stdout.split()
        print(f"{count:42} {float(took_s):8.1f} {float(peak_mib):15.0f}")


def start_of_help() -> None:
    """``--help`` in a fresh process beside an interpreter that does nothing."""

    def run(*arguments: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, *arguments], capture_output=True, check=True)

    bare_ms, help_ms = (
        median_ms(run(*arguments), time.perf_counter)
        for arguments in (("-c", "pass"), ("-m", "logger", "--help"))
    )
    print(f"\n{'start, median of 30':42} {'ms':>8}")
    print(f"{'bare interpreter':42} {bare_ms:8.0f}")
    print(f"{'throwbook --help':42} {help_ms:8.0f}   floor {2 * bare_ms + 60:.0f} (2 x bare + 60)")


def main() -> None:
    """Print all three."""
    with tempfile.TemporaryDirectory() as name:
        one_trace(Path(name))
        many_traces(Path(name))
    start_of_help()


if __name__ == "__main__":
    main()
