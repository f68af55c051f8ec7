"""A recording with more than one movement: each is kept as a throw of its own, judged, and raises."""

import json
import shutil
import signal
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tests.cli.test_import_asks import at_the_question
from tests.command import command
from tests.command import run as run_line
from tests.made_strokes import RIG
from tests.ports.bench import board_on_a_cable
from tests.records_of_several import GOOD, SHORT, STALLED, STANDING, record, source_of
from throwbook.core.analysis.live import OVER
from throwbook.files.trace_file import read_trace
from throwbook.jobs.find import find_rig, journal_folder, opened
from throwbook.jobs.record import Recording, RecordPlan
from throwbook.jobs.recording import throws_of
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.store_trial import Place, judge_left_over, keep, left_over
from throwbook.jobs.trial_builder import TrialRecord
from throwbook.protocol.messages import Samples, Started
from throwbook.protocol.simulated_board import IDENTITY

pytestmark = pytest.mark.long

NOW = datetime(2026, 3, 14, 9, 12, 33, tzinfo=UTC)
BY = "M. K."
RIG_FILE = Path(__file__).parents[1] / "cli" / "quarry-loader.toml"
MACHINE = replace(IDENTITY, id="bench-1")


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "log.throwbook"
    add_rig(path, RIG_FILE, BY, NOW)
    return path


def recorded(book: Path, kinds, *, rest_s: float = 2.0, signs=(), **plan):
    shown = source_of(record(kinds, rest_s=rest_s, signs=signs))
    with board_on_a_cable(shown, speed=16.0, identity=MACHINE) as (port, _):
        given = RecordPlan(
            port.name,
            find_rig(RIG.name, str(book)).rig,
            "lock",
            journal_folder(str(book)),
            rig_ref=RIG.name,
            silent_s=10.0,
            answer_within_s=30.0,
            **plan,
        )
        return Recording(given, now=lambda: NOW).run()


def kept(book: Path):
    with opened(book, read_only=True) as held:
        return [(one.direction, one.judgement.assessment.verdict) for one in held.trials(rig=RIG.name)]


@pytest.mark.parametrize(
    ("kinds", "verdicts"), [([GOOD, STALLED], ["pass", "fail"]), ([STANDING, GOOD], ["fail", "pass"])]
)
def test_a_recording_of_a_fixed_time_keeps_every_movement_and_each_raises(book: Path, kinds, verdicts):
    one = recorded(book, kinds, seconds=26.0)
    assert [throw.assessment.verdict for throw in one.throws] == verdicts
    assert one.assessment.verdict == "fail"
    done = keep(one, Place(logbook=str(book), in_logbook=True, by=BY), NOW)
    assert [verdict for _, verdict in kept(book)] == verdicts
    assert done.took_out
    assert done.rig_status.status.level == "do not use"
    with opened(book, read_only=True) as held:
        trials = held.trials(rig=RIG.name)
        assert [one.placement.file[-2:] for one in trials] == ["#1", "#2"]
        assert trials[1].trial.started > trials[0].trial.started


def test_a_stall_let_go_and_thrown_again_within_a_second_are_two_throws(book: Path):
    """The recording ends one second after the current is off: until then all belongs to it."""
    one = recorded(book, [STANDING, GOOD], rest_s=0.6)
    assert one.ended == "the current is off again"
    assert [throw.assessment.verdict for throw in one.throws] == ["fail", "pass"]
    keep(one, Place(logbook=str(book), in_logbook=True, by=BY), NOW)
    assert len(kept(book)) == 2


def test_what_begins_just_as_the_recording_ends_is_not_passed_over():
    """The board's samples come in lots: the one that shows the end may show the next movement begin."""
    trace = record([GOOD, STALLED], rest_s=1.01)
    parts = TrialRecord(RIG, "lock")
    parts.take(Started(200), NOW)
    rows = 0
    while not parts.is_over:
        part = slice(rows, rows + 40)
        index = np.arange(len(trace))[part]
        shown = trace.time_s[part], trace.current_a[part], trace.voltage_v[part]
        parts.take(Samples(index, *shown, np.zeros(len(index), bool)), NOW)
        rows += 40
    assert parts.live.phase == OVER
    throws = throws_of(parts.trace(), RIG, {})
    assert [throw.assessment.movement for throw in throws] == [1, 2]
    assert throws[1].assessment.verdict != "pass"


def test_the_sign_of_the_current_tells_the_way_back(book: Path):
    one = recorded(book, [GOOD, GOOD], signs=[1, -1], seconds=32.0)
    assert one.untold == ()
    keep(one, Place(logbook=str(book), in_logbook=True, by=BY), NOW)
    assert kept(book) == [("lock", "pass"), ("unlock", "pass")]


def test_a_direction_that_nothing_tells_can_be_told_and_is_judged_so(book: Path):
    one = recorded(book, [GOOD, SHORT], seconds=25.0)
    assert one.untold == (2,)
    told = one.directed({2: "unlock"})
    assert (told.untold, told.throws[1].trace.direction) == ((), "unlock")
    done = keep(told, Place(logbook=str(book), in_logbook=True, by=BY), NOW)
    assert done.rig_status.status.level == "restricted"


def test_recovered_it_is_kept_movement_by_movement_and_never_twice(book: Path):
    one = recorded(book, [GOOD, STALLED], seconds=26.0)
    copy = shutil.copy(one.journal, book.parent)
    one.let_go()
    (first,) = judge_left_over(left_over(str(book)), str(book), BY, NOW)
    assert [throw.assessment.verdict for throw in first.recorded.throws] == ["pass", "fail"]
    assert first.kept.rig_status.status.level == "do not use"
    shutil.move(copy, one.journal)  # as it lies there when the program dies before it lets go of it
    (second,) = judge_left_over(left_over(str(book)), str(book), BY, NOW)
    assert second.kept.sheet == first.kept.sheet
    assert [verdict for _, verdict in kept(book)] == ["pass", "fail"]


def test_as_a_trace_file_the_record_stays_whole(book: Path, tmp_path: Path):
    one = recorded(book, [GOOD, STALLED], seconds=26.0)
    file = tmp_path / "t.csv"
    keep(one, Place(out=file), NOW)
    assert len(read_trace(file)) == len(one.trace)


def test_the_command_asks_at_a_terminal_which_way_a_movement_went(book: Path):
    with board_on_a_cable(source_of(record([GOOD, SHORT])), speed=16.0, identity=MACHINE) as (port, _):
        words = ["record", "--rig", RIG.name, "--port", port.name, "--direction", "lock", "--seconds", "25s"]
        done, shown = at_the_question(["--logbook", book, *words], "unlock\n", asked="was it lock or unlock?")
    assert done == 1, shown
    assert [direction for direction, _ in kept(book)] == ["lock", "unlock"]


def test_refused_it_waits_for_recovery_and_holds_the_rig_until_then(book: Path):
    with board_on_a_cable(source_of(record([GOOD, STALLED])), speed=16.0, identity=MACHINE) as (port, _):
        words = ["record", "--rig", RIG.name, "--port", port.name, "--direction", "lock", "--seconds", "26s"]
        done = run_line(command(book, *words, "--movements", "refuse"))
    assert done.returncode == 2, done.stderr
    assert "it holds 2 movements" in done.stderr
    assert kept(book) == []
    assert len(left_over(str(book))) == 1
    done = run_line(command(book, "record", "--recover", "--movements", "split"))
    assert done.returncode == 1, done.stderr
    assert kept(book) == [("lock", "pass"), ("lock", "fail")]


@pytest.mark.skipif(sys.platform == "win32", reason="this system tells no program to end by a signal")
def test_told_to_end_at_the_question_it_keeps_all_and_the_worse_counts(book: Path):
    """Whoever ends the session can't answer any more, and what was recorded isn't lost by that."""
    with board_on_a_cable(source_of(record([GOOD, SHORT])), speed=16.0, identity=MACHINE) as (port, _):
        words = ["record", "--rig", RIG.name, "--port", port.name, "--direction", "lock", "--seconds", "25s"]
        done, shown = at_the_question(
            ["--logbook", book, *words], signal.SIGTERM, asked="was it lock or unlock?"
        )
    assert done == 1, shown
    assert kept(book) == [("lock", "pass"), ("lock", "fail")]


def test_the_command_shows_every_movement_and_exits_1_whichever_failed(book: Path, tmp_path: Path):
    shown = source_of(record([STANDING, GOOD]))
    with board_on_a_cable(shown, speed=16.0, identity=MACHINE) as (port, _):
        words = ["record", "--rig", RIG.name, "--port", port.name, "--direction", "lock", "--seconds", "20s"]
        done = run_line(command(book, *words))
    assert done.returncode == 1, done.stderr
    assert "2 movements in this record" in done.stdout
    assert "do not use" in done.stdout.lower()
    with board_on_a_cable(source_of(record([STANDING, GOOD], seed=9)), speed=16.0, identity=MACHINE) as (
        port,
        _,
    ):
        done = run_line(command(book, *words[:3], "--port", port.name, *words[5:], "--json"))
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert [(row["movement"], row["movements"], row["verdict"]) for row in rows] == [
        (1, 2, "fail"),
        (2, 2, "pass"),
    ]
    assert len(kept(book)) == 4
