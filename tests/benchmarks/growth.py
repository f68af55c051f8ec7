"""How time grows with the work: 10, 100, 1,000, 10,000 trials in a logbook, checks of a rig, samples a second of a record.

    python -m tests.benchmarks.growth [--largest 10000] [--only NAME]

Medians of the processor time of work done in this process (a command adds its start to that, writing adds the disk's sync,
which doesn't grow). Beside each row: the power fitted through all four
times (slope of log time over log size), the same over the last tenfold alone, where the fixed cost of small sizes weighs
least, and how it may grow: ``flat`` (one rig's own work, however many other rigs there are) or ``n log n``. A row that
would take more than ``MOST_S`` at the next size isn't tried there. Last comes what the trend of the largest rig takes beside
reading its history. Exit code 1 when a row grows faster than it may, or that is more than ``TREND_OVER_HISTORY``.
"""

import argparse
import math
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np

from tests.benchmarks.board_path import stroke_rows
from tests.benchmarks.logbook_speed import NOW, RIG_FILE, assessment, fill_rig, trace
from tests.benchmarks.season_histories import wearing
from tests.benchmarks.table import Row, hand_over, load, print_table
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.records import REJECTED
from throwbook.core.simulator import SensorModel, ThrowConditions, machine_for, throw
from throwbook.core.trend.trend_result import trends_of
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs import logbook_care
from throwbook.jobs.papers import Issue, report_rig
from throwbook.jobs.rig_list import list_rigs
from throwbook.jobs.rigs import rig_history
from throwbook.jobs.sample_runs import LOAD_SHARE, MACHINE_SEED, RIG
from throwbook.jobs.trend import rig_trend
from throwbook.logbook import Logbook, open_logbook
from throwbook.protocol.framing import Framer, frame
from throwbook.protocol.samples import decode_block

SIZES = (10, 100, 1_000, 10_000)
PER_RIG = 50
"""Trials of a rig where the logbook grows by rigs."""
TODAY = date(2026, 3, 14)
MOST_S = 15.0
ENOUGH_S = 0.4
"""A time is the median of as many calls as fit into this, and of one at least."""
TREND_OVER_HISTORY = 6.0
"""The trend of a rig may take so many times as long as reading its history, a yardstick that every machine has with it."""
FLAT, SORTING = "flat", "n log n"
LENIENCE = 0.2
"""Added to the power that is allowed (0; from 1,000 to 10,000 ``n log n`` is 13.3 times the work, a power of 1.12): a time is only known to a tenth or so."""


class Growth(NamedTuple):
    """One row: times [s] at the sizes, NaN where it wasn't tried."""

    what: str
    may: str
    seconds: list[float]


def median_s(work: Callable[[], object]) -> float:
    """Median processor time of a call [s], after one that isn't counted: it may have had modules to import."""
    work()
    spans: list[float] = []
    while not spans or (sum(spans) < ENOUGH_S and len(spans) < 50):
        begun = time.process_time()
        work()
        spans.append(time.process_time() - begun)
    return statistics.median(spans)


def powers(sizes: Sequence[int], seconds: Sequence[float]) -> tuple[float, float]:
    """Slope of log time over log size: through all sizes that were tried, and over the last tenfold of them."""
    tried = [(math.log10(n), math.log10(s)) for n, s in zip(sizes, seconds, strict=True) if not math.isnan(s)]
    if len(tried) < 2:
        return math.nan, math.nan
    x, y = np.array(tried).T
    return float(np.polyfit(x, y, 1)[0]), float((y[-1] - y[-2]) / (x[-1] - x[-2]))


def allowed(may: str) -> float:
    """The power over the last tenfold that a row may have."""
    return LENIENCE + (0.0 if may == FLAT else math.log10(10 * 4 / 3))


def build(path: Path, rigs: int, trials: int) -> None:
    """A logbook through the calls that the program uses, each sheet decided and sealed."""
    random = np.random.default_rng(rigs * 1_000_003 + trials)
    with open_logbook(path) as book:
        for number in range(rigs):
            name = f"loader-{number:03d}"
            with book.transaction():
                book.add_rig(name, RIG_FILE.format(name=name), "M. K.", NOW)
                fill_rig(book, random, name, trials // rigs)
                for state in book.sheets(name):
                    seal(book, state.sheet.id)


def seal(book: Logbook, sheet: str) -> None:
    """Decide a sheet and seal it."""
    decided = book.decide(sheet, REJECTED, "", {}, "M. K.", NOW, "no pins looked at")
    book.seal_sheet(sheet, decided.id, NOW)


def appending(book: Logbook, random: np.random.Generator) -> Callable[[], object]:
    """One more trial with its record, stored for good."""
    sheet = book.plan_sheet("loader-000", "spot", {}, "M. K.", NOW)
    many = iter(
        [
            (trace(random, "loader-000", "lock", NOW + timedelta(minutes=n)), assessment(random, "lock"))
            for n in range(60)
        ]
    )

    def run() -> None:
        record, judged = next(many)
        book.add_trial(sheet.id, record, judged, "M. K.", NOW, software_version="0.1.0")

    return run


def sealing(book: Logbook, random: np.random.Generator) -> Callable[[], object]:
    """One more sheet, decided and sealed: planned and filled beforehand."""
    waiting = []
    for number in range(52):
        sheet = book.plan_sheet("loader-000", "spot", {}, "M. K.", NOW)
        record = trace(random, "loader-000", "lock", NOW + timedelta(days=1, minutes=number))
        book.add_trial(sheet.id, record, assessment(random, "lock"), "M. K.", NOW, software_version="0.1.0")
        waiting.append(sheet.id)
    left = iter(waiting)

    def run() -> None:
        with book.transaction():
            seal(book, next(left))

    return run


def opened_and_closed(path: Path) -> None:
    open_logbook(path, read_only=True).close()


def whole_check(path: Path) -> None:
    """Every row, record and seal against its sum; nothing may be found."""
    _, checked = logbook_care.check(str(path))
    assert not checked.problems, checked.problems[:3]


def history(path: Path, rig: str) -> None:
    """What the history of a rig shows: its sheets, its trials with their judgements, its entries."""
    rig_history(path, rig, TODAY)
    with open_logbook(path, read_only=True) as book:
        assert book.trials(rig=rig)


Reading = tuple[str, str, Callable[[Path, Path], object]]
WITH_RIGS: tuple[Reading, ...] = (
    ("open and close", FLAT, lambda path, _: opened_and_closed(path)),
    ("rig list", SORTING, lambda path, _: list_rigs(path, TODAY)),
    ("one rig's history", FLAT, lambda path, _: history(path, "loader-000")),
    ("one rig's trend", FLAT, lambda path, _: rig_trend(path, "loader-000", TODAY)),
    ("one rig's report", FLAT, lambda path, folder: report_rig(path, "loader-000", Issue(folder, TODAY))),
    ("check of every row and seal", SORTING, lambda path, _: whole_check(path)),
)
"""Read in a logbook that grows by rigs of 50 trials."""
WITH_YEARS: tuple[Reading, ...] = (
    ("rig list", SORTING, lambda path, _: list_rigs(path, TODAY)),
    ("its history", SORTING, lambda path, _: history(path, "loader-000")),
    ("its trend", SORTING, lambda path, _: rig_trend(path, "loader-000", TODAY)),
    ("its report", SORTING, lambda path, folder: report_rig(path, "loader-000", Issue(folder, TODAY))),
    ("check of every row and seal", SORTING, lambda path, _: whole_check(path)),
)
"""Read in a logbook of one rig that is thrown and thrown."""
WRITTEN = (("append of a trial", FLAT, appending), ("seal of one more sheet", None, sealing))
"""Written to both; a seal names what the rig's earlier ones didn't, so it may grow with that rig's own years."""


def in_logbooks(sizes: Sequence[int], folder: Path, rows: tuple[Reading, ...], by_rigs: bool) -> list[Growth]:
    """Times of every row in logbooks of these sizes."""
    kind = f"rigs of {PER_RIG}" if by_rigs else "one rig"
    found = {
        what: Growth(f"{kind}: {what}", may or (FLAT if by_rigs else SORTING), [])
        for what, may, _ in (*rows, *WRITTEN)
    }
    for size in sizes:
        path = folder / f"{kind} {size}.throwbook"
        build(path, max(size // PER_RIG, 1) if by_rigs else 1, size)
        for what, may, work in rows:
            tried = found[what].seconds
            too_long = tried and not tried[-1] * (1 if may == FLAT else 10) <= MOST_S  # NaN isn't less either
            if too_long:
                tried.append(math.nan)
                continue
            tried.append(median_s(partial(work, path, folder)))
        with open_logbook(path) as book:
            random = np.random.default_rng(7)
            for what, _, start in WRITTEN:
                found[what].seconds.append(median_s(start(book, random)))
        progress(f"{kind}, {size:,} trials")
    return list(found.values())


def in_records(rates: Sequence[int], folder: Path) -> list[Growth]:
    """Parse and analyse one throw taken at these rates; decode as many lines as a board sends in 15 s of each."""
    machine = machine_for(RIG, MACHINE_SEED, LOAD_SHARE)
    found = {
        what: Growth(f"record: {what}", SORTING, [])
        for what in ("parse", "analyse", "decode what a board sent")
    }
    for rate in rates:
        thrown = throw(
            machine, "lock", ThrowConditions(), SensorModel(rate_hz=float(rate)), (), np.random.default_rng(1)
        )
        path = folder / f"{rate}.csv"
        write_trace(thrown.trace, path)
        record = read_trace(path)
        stream = b"".join(frame(b"D,%d,%d,%d,%d" % row) for row in stroke_rows(15 * rate))
        found["parse"].seconds.append(median_s(partial(read_trace, path)))
        found["analyse"].seconds.append(median_s(partial(assess_trace, record, RIG)))
        found["decode what a board sent"].seconds.append(median_s(partial(decoded, stream)))
        progress(f"record at {rate:,} samples/s")
    return list(found.values())


def in_checks(sizes: Sequence[int]) -> list[Growth]:
    """Trends of a rig of so many checks without a logbook around them: a service every 5 years, and none ever."""
    found = [Growth(f"checks: {what}", SORTING, []) for what in ("a service every 20", "one stretch")]
    for size in sizes:
        for row, every in zip(found, (20, size), strict=True):
            row.seconds.append(median_s(partial(trends_of, wearing(size, every))))
        progress(f"{size:,} checks")
    return found


def decoded(stream: bytes, size: int = 1 << 16) -> int:
    """Lines taken out of a stream that comes in pieces."""
    framer = Framer()
    pieces = (stream[at : at + size] for at in range(0, len(stream), size))
    return sum(len(decode_block(framer.whole_lines(piece), "IV") or ()) for piece in pieces)


def trend_over_history(rows: Sequence[Growth]) -> bool:
    """How often a rig's history could be read while its trend is drawn, at the largest size; whether that is few enough."""
    seconds = {row.what.removeprefix("one rig: "): row.seconds[-1] for row in rows}
    ratio = seconds["its trend"] / seconds["its history"]
    fine = ratio <= TREND_OVER_HISTORY
    row = Row("one rig: its trend over reading its history", f"{TREND_OVER_HISTORY:g}", f"{ratio:.1f}", fine)
    print_table("At the largest size", [row])
    return fine


def progress(what: str) -> None:
    print(f"\r{what:40}", end="", file=sys.stderr, flush=True)


@contextmanager
def room() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="throwbook-growth-") as name:
        yield Path(name)
    print("\r" + " " * 40, end="\r", file=sys.stderr)


def cells(sizes: Sequence[int], row: Growth) -> tuple[list[str], bool]:
    """The row as text, and whether it grows no faster than it may."""
    fitted, last = powers(sizes, row.seconds)
    right = not last > allowed(row.may)
    times = ["-" if math.isnan(one) else f"{1000 * one:,.{1 if one < 0.1 else 0}f}" for one in row.seconds]
    verdict = "as it may" if right else f"FASTER THAN {row.may.upper()}"
    return [row.what, *times, f"{fitted:.2f}", f"{last:.2f}", row.may, verdict], right


def print_growth(sizes: Sequence[int], rows: Sequence[Growth]) -> bool:
    """The table; whether every row grows no faster than it may."""
    heads = ["growth [ms]", *(f"{size:,}" for size in sizes), "power", "last tenfold", "may", ""]
    table, right = [heads], True
    for row in rows:
        texts, fine = cells(sizes, row)
        table.append(texts)
        right &= fine
    widths = [max(len(line[column]) for line in table) for column in range(len(heads))]
    for line in table:
        first, *others = zip(line, widths, strict=True)
        print(first[0].ljust(first[1]), *(text.rjust(width) for text, width in others))
    title = f"Growth (median ms; {load()})"
    hand_over({"title": title, "heads": heads, "lines": table[1:], "rows": [Row("growth", "", "", right)]})
    return right


def main() -> int:
    """Build, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--largest", type=int, default=SIZES[-1])
    parser.add_argument("--only", choices=("rigs", "years", "checks", "records"))
    asked = parser.parse_args()
    sizes = [size for size in SIZES if size <= asked.largest]
    rows: list[Growth] = []
    with room() as folder:
        if asked.only in (None, "rigs"):
            rows += in_logbooks(sizes, folder, WITH_RIGS, by_rigs=True)
        if asked.only in (None, "years"):
            rows += in_logbooks(sizes, folder, WITH_YEARS, by_rigs=False)
        if asked.only in (None, "checks"):
            rows += in_checks(sizes)
        if asked.only in (None, "records"):
            rows += in_records(sizes, folder)
    print("trials in the logbook, checks of a rig, or samples a second of a 15 s record; times in ms")
    right = print_growth(sizes, rows)
    if asked.only in (None, "years"):
        right &= trend_over_history(rows)
    return 0 if right else 1


if __name__ == "__main__":
    sys.exit(main())
