"""A day and a night of throws in one process: nothing grows that shouldn't, and every throw is accounted for.

    python -m tests.faults.soak [--hours 24] [--seed 1]

One throw a minute of board time, both ways in turn, some with a bad cable: board, line, journal, trial, verdict, sheet of
the logbook, as `throwbook record` does it. Every fiftieth goes through a real pseudo-terminal and the recorder's threads;
in the others the board answers in the same thread, so that a day takes minutes. Exit code 1 when something grew or was lost.
"""

import argparse
import os
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from throwbook.core.rig import DIRECTIONS
from throwbook.core.sheets.conditions import FOR_PRACTICE
from throwbook.files.journal import Journal, unfinished
from throwbook.files.rig_file import read_rig
from throwbook.jobs.find import journal_folder, opened
from throwbook.jobs.logbook_care import check
from throwbook.jobs.record import Recording, RecordPlan
from throwbook.jobs.recording import Recorded, judged
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.sheets import plan
from throwbook.jobs.simulated_board import Rehearsal, ThrowScript, make_board
from throwbook.jobs.store_trial import Place, keep
from throwbook.jobs.trial_builder import TrialRecord
from throwbook.ports.serial_port import open_far_end, serve
from throwbook.protocol.session import Session
from throwbook.protocol.simulated_board import SimulatedBoard, Trouble

RIG_FILE = Path(__file__).parents[2] / "sample-runs" / "yard-loader.toml"
STARTED = datetime(2026, 4, 1, 6, 0, tzinfo=UTC)
EVERY = timedelta(minutes=1)
ON_A_SHEET = 20
THROUGH_A_PORT = 50
SPEED = 20.0
STEP_S = 0.1
MOST_GROWTH_MB = 32.0
TROUBLES = (
    Trouble(),
    Trouble(),
    Trouble(flipped_bits=0.0005),
    Trouble(lost_samples=0.002),
    Trouble(dropped_bytes=0.0005),
)


Standing = tuple[int, float, int, int, float]
"""Throws so far, memory [MB], open handles, threads, logbook [MB]."""


@dataclass
class Day:
    """What a soak did and found."""

    throws: int = 0
    through_ports: int = 0
    samples: int = 0
    lost: int = 0
    first_s: float = 0.0
    last_s: float = 0.0
    """Seconds for one throw, median of the first and of the last tenth."""
    wrong: list[str] = field(default_factory=list)
    rows: list[Standing] = field(default_factory=list)


def soak(
    throws: int,
    folder: Path,
    seed: int = 1,
    through_a_port: int = THROUGH_A_PORT,
    tell: Callable[[Standing], None] = lambda standing: None,
) -> Day:
    """Throw, record, judge and keep ``throws`` times; ``tell`` is called now and then with how things stand."""
    day, book = Day(), folder / "soak.throwbook"
    rig = read_rig(RIG_FILE)
    add_rig(book, RIG_FILE, "M. K.", STARTED, FOR_PRACTICE)  # what a simulated board sends goes nowhere else
    rehearsal = Rehearsal(rig, rest_s=1.0, seed=seed)
    script, identity = ThrowScript(rehearsal), make_board(rehearsal).identity
    took_s: list[float] = []
    sheet = ""
    for number in range(throws):
        now = STARTED + number * EVERY
        begun_s = time.perf_counter()
        if number % ON_A_SHEET == 0:
            sheet = plan(book, rig.name, "spot", "M. K.", now)[0].name
        direction = DIRECTIONS[number % 2]
        given = RecordPlan("", rig, direction, journal_folder(str(book)), rig_ref=rig.name)
        trouble = TROUBLES[number % len(TROUBLES)]
        board = SimulatedBoard(
            script, identity, trouble, seed=number
        )  # switched on anew, the machine goes on
        if number % through_a_port == through_a_port - 1:
            recorded = _through_a_port(given, board, now)
            day.through_ports += 1
        else:
            recorded = _in_this_thread(given, board, now)
        place = Place(logbook=str(book), in_logbook=True, sheet=sheet, by="M. K.")
        keep(recorded, place, now)
        took_s.append(time.perf_counter() - begun_s)
        _account(day, recorded)
        if number % max(throws // 12, 1) == 0 or number == throws - 1:
            day.rows.append(_standing(number + 1, book))
            tell(day.rows[-1])
    tenth = max(throws // 10, 1)
    day.first_s, day.last_s = (sorted(part)[tenth // 2] for part in (took_s[:tenth], took_s[-tenth:]))
    _settle(day, book)
    return day


def _in_this_thread(given: RecordPlan, board: SimulatedBoard, now: datetime) -> Recorded:
    """The same bytes, journal and trial as the job's, without a port."""
    session, record = Session(), TrialRecord(given.rig, given.direction)
    header = {"rig": given.rig.name, "rig_ref": given.rig_ref, "direction": given.direction, "rate_hz": 200}
    header |= {"keep_all": False, "ambient_c": None, "started": now.isoformat()}
    journal = Journal(given.folder / f"{now:%Y%m%d-%H%M%S}.journal", header, 0.0)
    board_s = 0.0
    sending = session.start(200, 2_000_000)
    while not record.is_over and not record.cut and board_s < 120.0:
        came = board.receive(sending, board_s) if sending else b""
        board_s += STEP_S
        came += board.advance(board_s)
        journal.append(came, board_s)
        for event in session.receive(came):
            record.take(event, now + timedelta(seconds=board_s))
        sending = session.to_send()
    board.receive(session.halt(), board_s)
    journal.end("the current is off again", board_s)
    trace = record.trace(source=journal.path.stem)
    return judged(record, trace, given.rig_ref, {}, journal.path, "the current is off again", None, [])


def _through_a_port(given: RecordPlan, board: SimulatedBoard, now: datetime) -> Recorded:
    port, stop = open_far_end(), threading.Event()
    thread = threading.Thread(target=serve, args=(board, port, stop), kwargs={"speed": SPEED})
    thread.start()
    try:
        return Recording(
            replace(given, port=port.name, silent_s=20.0, answer_within_s=60.0), now=lambda: now
        ).run()
    finally:
        stop.set()
        thread.join()
        port.close()


def _account(day: Day, recorded: Recorded) -> None:
    day.throws += 1
    day.samples += recorded.samples
    day.lost += recorded.lost
    if recorded.assessment is None or recorded.assessment.end != "cut-off":
        day.wrong.append(f"throw {day.throws}: {recorded.ended}")


def _standing(throws: int, book: Path) -> Standing:
    with open("/proc/self/statm", encoding="ascii") as file:
        memory_mb = int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20
    handles = len(os.listdir("/proc/self/fd"))
    return throws, memory_mb, handles, threading.active_count(), book.stat().st_size / 2**20


def _settle(day: Day, book: Path) -> None:
    """What must hold at the end."""
    with opened(book, read_only=True) as held:
        kept = len(held.trials(rig="yard-loader"))
    if kept != day.throws:
        day.wrong.append(f"{day.throws} throws made, {kept} in the logbook")
    problems = check(str(book))[1].problems
    if problems:
        day.wrong.append(f"{len(problems)} problems: {problems[0]}")
    left = unfinished(journal_folder(str(book))) + [
        path for path in book.parent.iterdir() if path.suffix == ".part"
    ]
    if left:
        day.wrong.append(f"{len(left)} files left behind")
    warm, last = day.rows[min(2, len(day.rows) - 1)], day.rows[-1]
    if last[1] - warm[1] > MOST_GROWTH_MB:
        day.wrong.append(f"memory grew by {last[1] - warm[1]:.0f} MB")
    if last[2] > warm[2] or last[3] > warm[3]:
        day.wrong.append(f"{last[2] - warm[2]} handles and {last[3] - warm[3]} threads stayed open")


def _print_row(row: Standing) -> None:
    print(f"{row[0]:7} {row[1]:10.1f} {row[2]:8} {row[3]:8} {row[4]:11.1f}", flush=True)


def main() -> int:
    """Print the table as it grows."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    throws = int(timedelta(hours=asked.hours) / EVERY)
    begun_s = time.perf_counter()
    quiet = Path("/dev/shm")  # memory, where there is one: a day of synced writes needn't wear a disk
    place = quiet if quiet.is_dir() else None
    print(f"{'throws':>7} {'memory MB':>10} {'handles':>8} {'threads':>8} {'logbook MB':>11}", flush=True)
    with tempfile.TemporaryDirectory(prefix="throwbook-soak-", dir=place) as folder:
        day = soak(throws, Path(folder), asked.seed, tell=_print_row)
    print(
        f"{day.throws} throws ({day.through_ports} through a port) in {time.perf_counter() - begun_s:.0f} s; "
        f"{day.samples:,} samples, {day.lost:,} lost on the line; one throw {1000 * day.first_s:.0f} ms at first, "
        f"{1000 * day.last_s:.0f} ms at last"
    )
    print("\n".join(day.wrong) or "every throw accounted for; nothing grew")
    return 1 if day.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
