"""A board of version 2, end to end: recorded, kept, exported and read again, the arrays are the very same."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tests.left_journals import leave_journal
from tests.made_strokes import RIG as STROKES_RIG
from tests.ports.bench import RIG, board_on_a_cable, throw_source
from tests.records_of_several import GOOD, record, source_of
from throwbook import to_frame
from throwbook.core.trace import CHANNELS
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs.assess import assess_files
from throwbook.jobs.find import RigSource, opened
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.jobs.logbook_care import check, export
from throwbook.jobs.record import Recording, RecordPlan
from throwbook.jobs.recording import recover
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.store_trial import Place, keep
from throwbook.jobs.trial_builder import TrialRecord
from throwbook.protocol.messages import LEFT_CLOSED, LEFT_FITTED, Samples, Started
from throwbook.protocol.simulated_board import IDENTITY, Readings

NOW = datetime(2026, 3, 14, 9, 12, tzinfo=UTC)
BY = "A. Fitter"
SWITCHED = replace(IDENTITY, id="bench-1", channels="IVST", version=2)
TOP = Path(__file__).parents[2]
plain = throw_source()


def pins(time_s):
    """The left switch closes 9 s after the start, the right one 0.3 s later; the probe loses its wire for a second."""
    degrees = np.where((time_s > 5) & (time_s < 6), np.nan, np.round(14.0 + 0.01 * time_s, 2))
    return Readings(*plain(time_s), time_s >= 10.5, time_s >= 10.8, degrees)


def same(one, other) -> None:
    """Every channel, to the last bit."""
    assert list(one.columns()) == list(other.columns())
    for name, column in one.columns().items():
        assert column.tobytes() == other.columns()[name].tobytes(), name


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "book.throwbook"
    add_rig(path, TOP / "sample-runs" / "yard-loader.toml", BY, NOW)
    return path


def recorded_at(folder: Path, source=pins, identity=SWITCHED):
    with board_on_a_cable(source, speed=16.0, identity=identity) as (port, _):
        plan = RecordPlan(port.name, RIG, "lock", folder, silent_s=10.0, answer_within_s=30.0)
        return Recording(plan, now=lambda: NOW).run()


def test_switches_and_temperature_pass_from_the_board_to_an_exported_file(book: Path, tmp_path: Path):
    one = recorded_at(tmp_path)
    trace = one.trace
    changes = trace.time_s[np.flatnonzero(np.diff(trace.left_switch.astype(int)))]
    assert len(changes) == 1
    assert trace.left_switch.sum() - trace.right_switch.sum() == 60  # 0.3 s at 200 a second
    assert 0 < np.isnan(trace.temperature_c).sum() <= 200
    assert list(to_frame(trace).columns) == list(CHANNELS)
    keep(one, Place(logbook=str(book), in_logbook=True, by=BY, out=tmp_path / "t.csv"), NOW)
    same(trace, read_trace(tmp_path / "t.csv"))
    with opened(book, read_only=True) as made:
        (logged,) = made.trials(rig=RIG.name)
        same(trace, made.trace(logged.id))
    export(str(book), tmp_path / "out", traces=True)
    (file,) = (tmp_path / "out" / "traces").glob("*.csv")
    same(trace, read_trace(file))
    _, found = check(str(book))
    assert not found.problems


def test_a_switch_whose_wire_breaks_while_a_throw_runs_is_shown_open_as_its_record_has_it():
    parts = TrialRecord(RIG, "lock")
    parts.take(Started(200), NOW)
    for number, bits in enumerate((LEFT_FITTED | LEFT_CLOSED, LEFT_FITTED | LEFT_CLOSED, 0)):
        index = np.arange(40) + 40 * number
        shown = index / 200, np.full(40, 2.0), None
        parts.take(Samples(index, *shown, np.zeros(40, bool), np.full(40, bits)), NOW)
        assert parts.figures().left_switch == bool(bits)
        assert parts.figures().right_switch is None
    assert parts.trace().switches_at_end == (False, None)


def test_a_throw_that_fails_is_kept_before_any_question_about_the_air(tmp_path: Path):
    whole = recorded_at(tmp_path / "whole")
    assert whole.air_question == whole.air_doubt
    assert "The probe at the board reads 14.1 degC" in whole.air_question
    failed = recorded_at(tmp_path / "failed", lambda time_s: pins(time_s)._replace(right_switch=time_s > 1e6))
    assert [one.sign for one in failed.assessment.signs if one.level == "fail"] == ["switch-open"]
    assert (failed.air_question, failed.air_doubt) == ("", whole.air_question)


def test_a_board_of_version_1_gains_no_channel(tmp_path: Path):
    assert list(recorded_at(tmp_path, plain, IDENTITY).trace.columns()) == [
        "time_s",
        "current_a",
        "voltage_v",
    ]


def test_a_recording_that_broke_off_keeps_its_switches(book: Path):
    journal = leave_journal(book, source=pins, seconds=12.0, channels="IVST")
    trace = recover(journal, lambda ref: RigSource(RIG)).trace
    assert trace.left_switch.any()
    assert trace.right_switch.any()
    assert np.isnan(trace.temperature_c).any()


@pytest.mark.parametrize(("kinds", "asked"), [([GOOD], True), ([GOOD, GOOD], False)])
def test_a_look_is_asked_for_after_a_lock_throw_and_not_after_the_unlock_throw_behind_it(
    book: Path, kinds, asked: bool
):
    strokes = record(kinds, rest_s=2.0)
    journal = leave_journal(book, source=source_of(strokes), seconds=float(strokes.time_s[-1]))
    again = recover(journal, lambda ref: RigSource(STROKES_RIG))
    assert (len(again.throws), again.ends_with_lock) == (len(kinds), asked)


def test_a_column_that_nobody_knows_stays_in_the_logbook_and_the_record_stays_the_same_record(book, tmp_path):
    one = recorded_at(tmp_path)
    oil = replace(one.trace, unknown_columns={"oil_bar": np.linspace(1.0, 2.0, len(one.trace))})
    with opened(book) as made:
        assert made.identity(RIG.name, oil) == made.identity(RIG.name, one.trace)
    write_trace(oil, tmp_path / "oil.csv")
    plan = ImportPlan(RIG.name, "spot", [str(tmp_path / "oil.csv")])
    done = import_traces(str(book), plan, BY, NOW + timedelta(hours=1))
    assert "are kept: 'oil_bar'" in done.unknown_columns[str(tmp_path / "oil.csv")]
    again = import_traces(str(book), plan, BY, NOW + timedelta(hours=2))
    assert (again.sheet, len(again.known), dict(again.unknown_columns)) == (
        None,
        1,
        {},
    )  # nothing is stored, so nothing is kept
    [judged] = assess_files([tmp_path / "oil.csv"], RIG).assessments
    assert [note for note in judged.notes if "oil_bar" in note] == [
        "columns that this program does not know are not judged: 'oil_bar'"
    ]
    with opened(book, read_only=True) as made:
        same(oil, made.trace(done.logged[0].id))
    _, found = check(str(book))
    assert not found.problems
