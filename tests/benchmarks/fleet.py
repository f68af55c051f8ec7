"""How fast: one rig with 20 years of checks as a command, and a fleet of 1,000 rigs with 40 checks each.

python -m tests.benchmarks.fleet [--rigs 1000] [--logbook KEPT]
"""

import argparse
import resource
import subprocess
import sys
import tempfile
from datetime import date
from pathlib import Path
from time import perf_counter

import numpy as np

from tests.benchmarks.season_histories import PLAIN, make_history, quarterly
from tests.benchmarks.table import Row, all_met, load, print_table
from tests.jobs.season_logbook import store
from throwbook.core.trend.history import RigHistory
from throwbook.jobs.trend import fleet


def full(seed: int, checks: int) -> RigHistory:
    """A history with every figure that a trend is drawn of."""
    from dataclasses import replace

    from throwbook.core.assessment import Measured

    rng = np.random.default_rng(seed)
    wear = rng.uniform(0, 0.08) * np.arange(checks) / 4 if seed % 5 == 0 else np.zeros(checks)
    history = make_history(rng, PLAIN, quarterly(checks, wear)).history
    out = []
    for check in history.checks:
        throws = []
        for throw in check.throws:
            amps = throw.figures.run_current_a.value if throw.figures.run_current_a else 0.0
            more = {
                "peak_run_current_a": amps * 1.2,
                "travel_time_s": 12 + rng.normal(0, 0.1),
                "source_resistance_ohm": 0.06 + rng.normal(0, 0.005),
                "energy_j": 12 * 12 * amps,
                "take_up_fraction": 0.05 + rng.normal(0, 0.003),
            }
            figures = replace(
                throw.figures, **{name: Measured(float(value), 0.01) for name, value in more.items()}
            )
            throws.append(replace(throw, figures=figures))
        out.append(replace(check, throws=tuple(throws)))
    return replace(history, checks=tuple(out))


def main() -> int:
    from throwbook.logbook import open_logbook

    parser = argparse.ArgumentParser()
    parser.add_argument("--rigs", type=int, default=1000)
    parser.add_argument("--logbook", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        path = asked.logbook or Path(scratch) / "book"
        if not path.exists():
            begun = perf_counter()
            with open_logbook(path) as book:
                store(book, full(1, 80), "twenty-years")
                for i in range(asked.rigs):
                    store(book, full(i, 40), f"rig-{i:04d}")
            print(f"logbook of {asked.rigs} rigs written in {perf_counter() - begun:.0f} s")
        command = [
            sys.executable,
            "-m",
            "throwbook",
            "--logbook",
            str(path),
            "trend",
            "twenty-years",
            "--json",
        ]
        taken = []
        for _ in range(5):
            begun = perf_counter()
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
            taken.append(perf_counter() - begun)
        begun = perf_counter()
        count = sum(1 for _ in fleet(path, date(2032, 3, 1), workers=2))
        seconds = perf_counter() - begun
        peak = max(
            resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        )
    one_s, thousand_s = float(np.median(taken)), 1000 * seconds / count
    rows = [
        Row("trend of one rig, 20 years, as a command", "1 s", f"{one_s:.2f} s", one_s < 1),
        Row("trend of 1,000 rigs x 40 checks on two processes", "60 s",
            f"{thousand_s:.0f} s ({seconds:.1f} s for {count})", thousand_s < 60),
        Row("largest of its processes", "", f"{peak / 1024:.0f} MiB", True),
    ]  # fmt: skip
    print_table(f"Trends ({load()})", rows)
    return all_met(rows)


if __name__ == "__main__":
    sys.exit(main())
