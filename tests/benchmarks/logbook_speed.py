"""How fast a big logbook is: 100,000 trials of 200 rigs, each with a 15 s record at 200 Hz.

    python -m tests.benchmarks.logbook_speed [--trials 100000] [--rigs 200] [--keep FOLDER]

Prints a table: what, measured, limit. The records are noise about a level, with the digits and the scatter of a 10 bit
board (worse to pack than a real throw, which is smooth), each one different; the judgements hold what a real one holds.
Exit code 1 when a limit isn't met.
"""

import argparse
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from tests.benchmarks.table import Row, all_met, load, print_table
from throwbook.core.assessment import (
    Assessment,
    Check,
    Diagnosis,
    Figures,
    Measured,
    Profile,
    Sign,
)
from throwbook.core.records import Order, Service
from throwbook.core.trace import Trace
from throwbook.logbook import Logbook, open_logbook, serialization
from throwbook.logbook.schema import to_json
from throwbook.logbook.serialization import assessment_to_json, profile_blob

NOW = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
SAMPLES, RATE_HZ = 3000, 200
A_COUNT, V_COUNT = 0.0049, 0.015
"""Size of one count: 5 A over 1024, 15 V over 1024."""
A_SCATTER, V_SCATTER = 0.02, 0.02
PER_SHEET = 10

RIG_FILE = """name = "{name}"
units = "metric"
[lock]
needed_travel = "188 mm"
[actuator]
voltage = "12 V"
stroke = "200 mm"
rated_force = "1500 N"
no_load_speed = "16 mm/s"
full_load_speed = "11 mm/s"
no_load_current = "0.9 A"
full_load_current = "3.6 A"
extend_locks = true
"""


def trace(random: np.random.Generator, rig: str, direction: str, started: datetime) -> Trace:
    """One record, its values as a board gives them: whole counts."""
    time_s = np.round(np.arange(SAMPLES) / RATE_HZ, 4)
    level = np.where((time_s > 0.5) & (time_s < 14.3), 2.1 + 0.2 * np.sin(time_s / 3), 0.0)
    current = np.rint((level + A_SCATTER * random.standard_normal(SAMPLES)) / A_COUNT)
    voltage = np.rint((12.6 - 0.1 * level + V_SCATTER * random.standard_normal(SAMPLES)) / V_COUNT)
    return Trace(
        time_s,
        np.round(current * A_COUNT, 4),
        np.round(voltage * V_COUNT, 3),
        direction,
        rig,
        started,
        4.0,
        {"format": "throwbook-trace-1", "rig": rig, "direction": direction, "ambient": "4.0 degC"},
        "throw.csv",
    )


def assessment(random: np.random.Generator, direction: str) -> Assessment:
    """A judgement of usual size."""
    run = Measured(float(2.1 + 0.05 * random.standard_normal()), 0.05)
    names = [name for name, _ in Figures().items()]
    figures = Figures(
        **{name: Measured(float(random.random()), 0.01) for name in names} | {"run_current_a": run}
    )
    source = "80 % of the full-load current (common practice, no source)"
    checks = tuple(
        Check(name, run, 2.88, "max", "A", source, "pass", "")
        for name in ("run_current_a", "peak", "time", "supply")
    )
    signs = (Sign("uneven-sides", "info", "the load comes in two steps", 0.3, None, "A", 0.4, 0.02, 5.0),)
    cause = (
        Diagnosis("even friction", "possible", ("cold-stiff grease", "wear"), "detach and repeat", ("drag",)),
    )
    grid = np.linspace(0, 1, 201)
    profile = Profile(
        grid, 2.0 + 0.2 * np.sin(4 * grid) + 0.005 * random.standard_normal(201), np.full(201, 0.01), 0.004
    )
    because = "Every limit is met within its guard band."
    return Assessment(
        "throw.csv",
        direction,
        True,
        "",
        figures,
        "cut-off",
        signs,
        checks,
        cause,
        "pass",
        because,
        profile=profile,
    )


def build(path: Path, rigs: int, trials: int) -> None:
    """The logbook, through the same calls that the program uses."""
    random = np.random.default_rng(20260314)
    each = trials // rigs
    with open_logbook(path) as book:
        for number in range(rigs):
            name = f"loader-{number:03d}"
            with book.transaction():
                book.add_rig(name, RIG_FILE.format(name=name), "M. K.", NOW)
                fill_rig(book, random, name, each)
            if number % 10 == 9:
                print(f"\r{(number + 1) * each} trials", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)


def fill_rig(book: Logbook, random: np.random.Generator, name: str, trials: int) -> None:
    """Some years of one rig."""
    for first in range(0, trials, PER_SHEET):
        begun = NOW - timedelta(days=30 * (trials - first) // PER_SHEET)
        sheet = book.plan_sheet(name, "seasonal", {"throws_each_way": 5}, "M. K.", begun)
        book.answer(sheet.id, {"ambient_c": 4.0, "operator": "M. K."}, "M. K.", begun)
        for number in range(min(PER_SHEET, trials - first)):
            direction = ("lock", "unlock")[number % 2]
            record = trace(random, name, direction, begun + timedelta(minutes=number))
            judged = assessment(random, direction)
            book.add_trial(sheet.id, record, judged, "M. K.", begun, software_version="0.1.0")
        if first % (20 * PER_SHEET) == 0:
            book.add_order(Order(name, "watch", "watch sign", "heavier", begun, "M. K."))
            book.add_service(Service(name, "greased", begun, "M. K.", details={"due_on": "2026-06-01"}))


def seconds(action, times: int = 7) -> float:
    """Median time [s]."""
    spans = []
    for _ in range(times):
        begun = time.perf_counter()
        action()
        spans.append(time.perf_counter() - begun)
    return statistics.median(spans)


def command(path: Path, *arguments: str):
    """A whole command in a process of its own."""

    def run() -> None:
        line = [sys.executable, "-m", "throwbook", "--logbook", str(path), *arguments]
        subprocess.run(line, check=True, stdout=subprocess.DEVNULL)

    return run


def history(path: Path, rig: str):
    """Open the logbook, read everything of one rig."""

    def run() -> None:
        with open_logbook(path, read_only=True) as book:
            assert book.trials(rig=rig)
            book.sheets(rig), book.services(rig), book.orders(rig), book.baselines(rig)

    return run


JOURNALS = {"rollback": "DELETE", "write-ahead": "WAL"}
"""What a bare insert is measured with: SQLite as it comes, and the journal that the logbook uses. Full sync in both."""


def append_spans(path: Path, folder: Path, times: int = 60) -> dict[str, list[float]]:
    """Times [s] to log one trial, and of bare inserts of the same bytes, taken in turns.

    The same bytes: packed record, judgement and profile, as one blob in a table of nothing else. Logging packs them too,
    which takes the time told as ``packing``; and stores what they are found by (ids, sheet, file: about 700 bytes more).
    """
    bare = {name: bare_table(folder / f"bare {name}.db", journal) for name, journal in JOURNALS.items()}
    spans: dict[str, list[float]] = {name: [] for name in ("logbook", "packing", *JOURNALS)}
    with open_logbook(path) as book:
        random = np.random.default_rng(book.read("SELECT count(*) FROM trial")[0][0])  # new ones in every run
        sheet = book.plan_sheet("loader-000", "spot", {}, "M. K.", NOW)
        for number in range(times):
            record = trace(random, "loader-000", "lock", NOW + timedelta(minutes=number))
            judged = assessment(random, "lock")
            begun = time.perf_counter()
            data = (
                serialization.encode(serialization.columns(record))
                + to_json(assessment_to_json(judged)).encode()
            )
            data += profile_blob(judged.profile)
            spans["packing"].append(time.perf_counter() - begun)
            begun = time.perf_counter()
            book.add_trial(sheet.id, record, judged, "M. K.", NOW, software_version="0.1.0")
            spans["logbook"].append(time.perf_counter() - begun)
            for name, db in bare.items():
                begun = time.perf_counter()
                db.execute("INSERT INTO bare (data) VALUES (?)", [data])
                spans[name].append(time.perf_counter() - begun)
    for db in bare.values():
        db.close()
    return spans


def bare_table(path: Path, journal: str) -> sqlite3.Connection:
    """A new file with one table of blobs, at full sync."""
    for ending in ("", "-wal", "-shm", "-journal"):
        path.with_name(path.name + ending).unlink(missing_ok=True)
    db = sqlite3.connect(path, isolation_level=None)
    db.execute(f"PRAGMA journal_mode = {journal}")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("CREATE TABLE bare (id INTEGER PRIMARY KEY, data BLOB NOT NULL) STRICT")
    return db


def appended(spans: dict[str, list[float]], name: str, about: str) -> Row:
    """Logging over a bare insert with this journal."""
    ratio = median_ratio(spans, name)
    each = [1000 * statistics.median(spans[one]) for one in ("logbook", name)]
    return Row(
        f"append over a bare insert, {about}",
        "3",
        f"{ratio:.2f} ({each[0]:.2f} ms against {each[1]:.2f} ms)",
        ratio <= 3,
    )


def stored_alone(spans: dict[str, list[float]]) -> Row:
    """The same without the time to pack, which a bare insert is spared."""
    spared = [a - b for a, b in zip(spans["logbook"], spans["packing"], strict=True)]
    ratio = median_ratio({**spans, "logbook": spared}, "write-ahead")
    packing = 1000 * statistics.median(spans["packing"])
    return Row("the same, already packed", "-", f"{ratio:.2f} (packing takes {packing:.2f} ms)", True)


def median_ratio(spans: dict[str, list[float]], name: str) -> float:
    """Median of logging over bare insert."""
    return statistics.median(a / b for a, b in zip(spans["logbook"], spans[name], strict=True))


def main() -> int:
    """Build, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=100_000)
    parser.add_argument("--rigs", type=int, default=200)
    parser.add_argument("--keep", type=Path, help="Build there, or use what is there already.")
    asked = parser.parse_args()
    folder = asked.keep or Path(tempfile.mkdtemp(prefix="throwbook-speed-"))
    folder.mkdir(exist_ok=True)
    path = folder / "big.throwbook"
    if not path.exists():
        begun = time.perf_counter()
        build(path, asked.rigs, asked.trials)
        print(f"built in {time.perf_counter() - begun:.0f} s")
    kib = path.stat().st_size / asked.trials / 1000
    one = (
        len(serialization.encode(serialization.columns(trace(np.random.default_rng(1), "r", "lock", NOW))))
        / 1000
    )
    spans = append_spans(path, folder)
    listed, told = (
        seconds(command(path, "rig", "list")),
        seconds(history(path, f"loader-{asked.rigs // 2:03d}")),
    )
    rows = [
        Row("rig list, whole command", "0.3 s", f"{listed:.3f} s", listed <= 0.3),
        Row("one rig's history, opened and read", "0.3 s", f"{told:.3f} s", told <= 0.3),
        *(appended(spans, name, about) for name, about in (
            ("rollback", "SQLite as it comes (rollback)"), ("write-ahead", "write-ahead journal"))),
        stored_alone(spans),
        Row("one packed record", "12 kB", f"{one:.1f} kB", one <= 12),
        Row("whole file per trial, judgement and indexes too", "12 kB", f"{kib:.1f} kB", kib <= 12),
    ]  # fmt: skip
    print_table(
        f"Logbook of {asked.trials:,} trials of {asked.rigs} rigs ({load()}, SQLite {sqlite3.sqlite_version})",
        rows,
    )
    if not asked.keep:
        shutil.rmtree(folder)
    return all_met(rows)


if __name__ == "__main__":
    sys.exit(main())
