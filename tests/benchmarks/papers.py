"""How long the papers take, cold: a commissioning sheet (10 throws) and four years of quarterly checks.

    python -m tests.benchmarks.papers

Each figure is a whole command in a fresh process, the best of three: wall time, and the processor time of that run. The
logbook is simulated (fixed seed), built through the same jobs as the command line.
"""

import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage

import numpy as np

from tests.benchmarks.table import Row, all_met, load, print_table
from throwbook.core.records import PinAnswers
from throwbook.core.simulator import SensorModel, ThrowConditions, machine_for, throw
from throwbook.files.rig_file import rig_toml
from throwbook.files.trace_file import write_trace
from throwbook.jobs import sign_off
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.sample_runs import LOAD_SHARE, MACHINE_SEED, RIG, USUAL_SENSOR

BEGUN = datetime(2022, 3, 1, 9, 0, tzinfo=UTC)
SEEN = PinAnswers("yes", "yes", "torch", "yes", "yes")
ISSUED = ("--issued", "2026-03-02")


@dataclass(frozen=True)
class Spent:
    """One command."""

    wall_s: float
    processor_s: float


def main() -> int:
    """Build the logbook, time the papers, print the table; 1 where a floor isn't met."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        book = build(folder)
        report = spent(book, "report", RIG.name, "--folder", name, *ISSUED)
        blank = spent(book, "sheet", "blank", RIG.name, "--folder", name, *ISSUED)
        card = spent(book, "cab-card", RIG.name, "--folder", name, *ISSUED)
        pdf_mb = (folder / f"report-{RIG.name}.pdf").stat().st_size / 1e6
        html_mb = (folder / f"report-{RIG.name}.html").stat().st_size / 1e6
    rows = [
        Row("report, 10 throws and 16 checks", "5 s", said(report), report.wall_s < 5.0),
        Row("its PDF", "1.5 MB", f"{pdf_mb:.2f} MB", pdf_mb < 1.5),
        Row("its HTML", "2 MB", f"{html_mb:.2f} MB", html_mb < 2.0),
        Row("blank sheet", "2 s", said(blank), blank.wall_s < 2.0),
        Row("cab card, both sizes", "2 s", said(card), card.wall_s < 2.0),
    ]
    print_table(f"Papers, cold ({load()})", rows)
    return all_met(rows)


def said(one: Spent) -> str:
    """``3.1 s (2.9 s of processor)``."""
    return f"{one.wall_s:.2f} s ({one.processor_s:.2f} s of processor)"


def spent(book: Path, *command: str) -> Spent:
    """The best of three runs by wall time."""
    found = []
    for _ in range(3):
        before, begun = getrusage(RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "throwbook", "--logbook", str(book), *command],
            check=True,
            stdout=subprocess.DEVNULL,
        )
        wall_s, after = time.perf_counter() - begun, getrusage(RUSAGE_CHILDREN)
        found.append(Spent(wall_s, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime))
    return min(found, key=lambda one: one.wall_s)


def build(folder: Path) -> Path:
    """A logbook with one accepted commissioning sheet and sixteen quarterly checks of three throws each way."""
    book = folder / "bench.throwbook"
    rig_file = folder / "rig.toml"
    rig_file.write_text(rig_toml(RIG), encoding="utf-8")
    add_rig(book, rig_file, "M. K.", BEGUN)
    rng = np.random.default_rng(20220301)
    name = fill(book, folder, rng, "commissioning", BEGUN, 5, 14.0)
    sign_off.accept(book, name, SEEN, "M. K.", BEGUN + timedelta(hours=2))
    for quarter in range(1, 17):
        at = BEGUN + timedelta(days=91 * quarter)
        fill(book, folder, rng, "seasonal", at, 3, 12.0 + 10.0 * float(np.sin(np.pi * quarter / 2)))
    return book


def fill(
    book: Path, folder: Path, rng: np.random.Generator, kind: str, at: datetime, each_way: int, air_c: float
) -> str:
    """One sheet of simulated throws; gives its name."""
    machine = machine_for(RIG, MACHINE_SEED, LOAD_SHARE)
    place = folder / f"{at:%Y%m%d}"
    place.mkdir()
    for number in range(2 * each_way):
        way = ("lock", "unlock")[number % 2]
        sensor = SensorModel(**USUAL_SENSOR)  # type: ignore[arg-type]
        started = at + timedelta(minutes=number + 1)
        thrown = throw(
            machine,
            way,
            ThrowConditions(temperature_c=air_c),
            sensor,
            (),
            rng,
            started=started,
            rig_name=RIG.name,
        )
        write_trace(thrown.trace, place / f"{number:02d}.csv")
    answers = {"hours_since_movement": 0.0, "worked_before": "no", "ambient_c": air_c, "operator": "M. K."}
    order = ImportPlan(RIG.name, kind, sorted(place.glob("*.csv")), answers)
    done = import_traces(book, order, "M. K.", at + timedelta(hours=1))
    assert done.sheet is not None
    return done.sheet.name


if __name__ == "__main__":
    sys.exit(main())
