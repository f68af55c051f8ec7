"""Clocks that step: summer time ends, a computer wakes up in 1970, the time is set in mid-record."""

import signal
import subprocess
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from tests.command import TOP, command, environment
from tests.faults.until import LIMIT_S, until
from tests.faults.work import BY, RIG, SAMPLES
from tests.ports.bench import RIG as BENCH_RIG
from tests.ports.bench import board_on_a_cable, throw_source
from throwbook.core.sheets.hand_readings import parse_lines
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs import enter
from throwbook.jobs.find import opened
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.jobs.latch import status
from throwbook.jobs.logbook_care import check
from throwbook.jobs.record import Recording, RecordPlan
from throwbook.jobs.rig_list import list_rigs
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.trend import rig_trend
from throwbook.ports.acquisition import Recorder, Slept

NOW = datetime(2026, 11, 1, 9, 0, tzinfo=UTC)
IN_1970 = datetime(1970, 1, 1, 0, 0, 9, tzinfo=timezone(timedelta(hours=-8)))
LINE = "lock 14.{0}s 2.1A 2.9A 12.4V both seen"


def throw_at(folder: Path, started: datetime, number: int) -> Path:
    source = sorted((SAMPLES / "baseline").glob("lock-*.csv"))[number % 8]
    path = folder / f"throw {number}.csv"
    write_trace(replace(read_trace(source), started=started, head={}), path)
    return path


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "log.throwbook"
    add_rig(path, SAMPLES / "yard-loader.toml", BY, NOW)
    return path


def test_throws_on_both_sides_of_the_end_of_summer_time_are_in_their_true_order(book: Path, tmp_path: Path):
    summer, winter = timezone(timedelta(hours=2)), timezone(timedelta(hours=1))
    before = datetime(2026, 10, 25, 2, 50, tzinfo=summer)
    after = datetime(2026, 10, 25, 2, 10, tzinfo=winter)  # by the wall clock forty minutes earlier
    files = [throw_at(tmp_path, after, 1), throw_at(tmp_path, before, 0)]
    done = import_traces(book, ImportPlan(RIG, "spot", files), BY, NOW)  # any doubt would be refused
    assert [logged.trial.started for logged in done.logged] == [before, after]


def test_an_hour_that_never_was_is_an_hour_like_any_other(book: Path, tmp_path: Path):
    stands_still = datetime(2026, 3, 29, 2, 30, tzinfo=timezone(timedelta(hours=1)))
    done = import_traces(book, ImportPlan(RIG, "spot", [throw_at(tmp_path, stands_still, 0)]), BY, NOW)
    assert done.logged[0].trial.started == stands_still


def test_a_computer_back_in_1970_still_writes_and_reads_everything(book: Path, tmp_path: Path):
    for number, now in enumerate((NOW, IN_1970, NOW + timedelta(days=1), IN_1970 - timedelta(days=9))):
        enter.enter(
            book, RIG, enter.HandEntry(parse_lines(LINE.format(number)), "spot", seen_how="torch"), BY, now
        )
    lost = throw_at(tmp_path, IN_1970, 1)
    import_traces(book, ImportPlan(RIG, "seasonal", [lost]), BY, IN_1970, settle=lambda doubt: None)
    assert check(str(book))[1].problems == ()
    assert list_rigs(book, IN_1970.date())[0].trials == 5
    assert rig_trend(str(book), RIG, NOW.date()) is not None
    assert rig_trend(str(book), RIG, IN_1970.date()) is not None
    with opened(book, read_only=True) as held:
        assert len(held.sheets(RIG)) == 5
        assert status(held, RIG)


def test_a_clock_that_was_lost_is_a_doubt_that_a_person_settles(book: Path, tmp_path: Path):
    import_traces(book, ImportPlan(RIG, "spot", [throw_at(tmp_path, NOW - timedelta(days=3), 0)]), BY, NOW)
    told = []
    lost = throw_at(tmp_path, IN_1970, 1)
    import_traces(
        book, ImportPlan(RIG, "spot", [lost]), BY, NOW, settle=lambda doubt: told.append(doubt.kind)
    )
    assert told == ["clock-reversed"]


def test_a_clock_set_in_mid_record_changes_no_time_of_the_record(tmp_path: Path):
    started = datetime(2026, 3, 14, 9, 12, 33, tzinfo=UTC)
    running, asked = [], []

    def steps() -> datetime:
        if not running:
            return started
        asked.append(1)
        return IN_1970 if len(asked) % 2 else started + timedelta(days=4000)

    with board_on_a_cable(speed=16.0) as (port, _):
        plan = RecordPlan(port.name, BENCH_RIG, "lock", tmp_path, silent_s=10.0, answer_within_s=30.0)
        recorded = Recording(plan, now=steps, on_live=running.append).run()
    assert recorded.ended == "the current is off again"
    assert recorded.trace.started == started
    assert np.diff(recorded.trace.time_s).max() == pytest.approx(1 / 200, abs=2e-6)
    assert len(asked) > 6


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="this system has no such signal")
@pytest.mark.long  # a process that is really stopped: make test lets the clocks of a recorder jump (below, and tests/ports)
def test_a_computer_that_stood_still_in_mid_record_goes_on_and_counts_what_it_missed(tmp_path: Path):
    line = command(
        tmp_path / "log.throwbook", "record", "--rig", SAMPLES / "yard-loader.toml", "--direction", "lock"
    )
    journals = tmp_path / "log.throwbook.unfinished"
    # Counted in board seconds: it throws while the program stands still, and long after.
    with board_on_a_cable(throw_source(run_s=60.0), speed=4.0) as (port, board):
        record = [*line, "--port", port.name, "--out", str(tmp_path / "t.csv")]
        program = subprocess.Popen(
            record, cwd=TOP, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert until(lambda: any(path.stat().st_size > 20_000 for path in journals.glob("*.journal")))
        program.send_signal(signal.SIGSTOP)
        stood_at = board.injected.sent
        assert until(
            lambda: board.injected.sent > stood_at + 2400
        )  # three seconds: longer than a board may be silent
        program.send_signal(signal.SIGCONT)
        told, complained = program.communicate(timeout=LIMIT_S)
    assert program.returncode in (0, 1), complained
    assert "the current is off again" in told
    assert "never arrived" in complained
    trace = read_trace(tmp_path / "t.csv")
    assert trace.head["lost_samples"] > 200
    assert trace.time_s[-1] > 60.0


class _Silent:
    def read(self) -> bytes:
        return b""

    def write(self, data: bytes) -> None: ...


class _Forgets:
    def append(self, data: bytes, monotonic_s: float) -> None: ...

    def sync(self) -> None: ...


@pytest.mark.parametrize("step_s", [-1.7e9, -3600.0, 3600.0, 1.7e9])
def test_a_step_of_the_wall_clock_is_told_once_and_with_its_size(step_s: float):
    asked = []

    def wall() -> float:
        asked.append(1)
        return 1.8e9 if len(asked) < 3 else 1.8e9 + step_s

    recorder = Recorder(_Silent(), _Forgets(), monotonic=lambda: 50.0, wall=wall)
    recorder.start()
    assert recorder.next(20.0) == Slept(step_s)
    assert recorder.next(0.2) is None
    recorder.stop()
