"""Two years of paper typed in one evening: what is ordered goes by the day of the throws, whenever they were typed."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from throwbook.core.records import OPEN
from throwbook.core.sheets.hand_readings import HandThrow, Reading
from throwbook.core.sheets.sheet import plan_from
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs.enter import HandEntry, enter
from throwbook.jobs.find import baseline_for
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.jobs.papers import material_in
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.sheets import listed, measured_last, plan
from throwbook.logbook import open_logbook

SAMPLES = Path(__file__).parents[2] / "sample-runs"
RIG = "yard-loader"
BY = "M. K."
NOW = datetime(2026, 11, 30, 20, 0, tzinfo=UTC)
DAYS = ("2026-03-10", "2024-03-01", "2025-09-05", "2025-03-03")
"""In the order in which the papers lay in the box."""


def throws(more_a):
    """Three throws each way [A above those of the first season]."""
    for number in range(3):
        for way, figures in (("lock", (11.3, 1.6, 2.2, 12.4)), ("unlock", (11.1, 1.5, 2.0, 12.5))):
            time_s, run_a, peak_a, volts = figures
            read = (time_s + number / 10, run_a + more_a, peak_a + more_a, volts)
            yield HandThrow(way, *(Reading(round(value, 1), 0.1) for value in read))


@pytest.fixture(params=["day of the sheet", "time of the throws"])
def book(request, tmp_path):
    """Typed in the order of ``DAYS``: either way of saying the day."""
    path = tmp_path / "logbook"
    add_rig(path, SAMPLES / "yard-loader.toml", BY, NOW)
    for number, day in enumerate(DAYS):
        typed = NOW + timedelta(minutes=10 * number)
        if request.param == "day of the sheet":
            sheet = plan(path, RIG, "commissioning", BY, typed, day=day)[0].name
            entry = HandEntry(list(throws(number / 10)), "", sheet)
        else:
            at = datetime.fromisoformat(f"{day}T09:00+00:00")
            entry = HandEntry(list(throws(number / 10)), "commissioning", thrown_at=at)
        enter(path, RIG, entry, BY, typed)
    return path


def test_sheets_stand_in_the_order_of_their_days(book):
    found = listed(book, RIG)
    assert [one.state.day for one in found] == sorted(map(date.fromisoformat, DAYS))
    assert [one.state.sheet.number for one in found] == [2, 4, 3, 1]
    assert [one.state.day for one in listed(book, None)] == [one.state.day for one in found]
    with open_logbook(book, read_only=True) as opened:
        parts = material_in(opened, RIG, NOW.date()).sheets
        assert [one.day for one in parts] == sorted(map(date.fromisoformat, DAYS))


def test_a_provisional_baseline_is_of_the_first_season_not_of_what_was_typed_first(book):
    with open_logbook(book, read_only=True) as opened:
        first = next(one for one in opened.sheets(RIG) if one.state == OPEN)
        made = baseline_for(opened, RIG, "unlock")
        assert (first.sheet.number, first.day) == (2, date(2024, 3, 1))
        assert "yard-loader-2" in made.baseline.reason


def test_an_imported_sheet_is_of_the_day_of_its_throws(book):
    file = SAMPLES / "baseline" / "lock-1.csv"
    done = import_traces(book, ImportPlan(RIG, "bench", [file]), BY, NOW, settle=lambda doubt: None)
    assert done.sheet.day == read_trace(file).started.date() != NOW.date()


def test_a_sheet_without_a_day_is_of_the_day_of_its_planning(book):
    state, _ = plan(book, RIG, "seasonal", BY, NOW)
    assert (state.day, state.thrown) == (NOW.date(), "")
    with open_logbook(book, read_only=True) as opened:
        assert opened.sheets(RIG)[-1].name == state.name
        assert measured_last(opened, RIG) == "hand"


@pytest.mark.parametrize("way", ["day of the sheet", "time of the throws", "files"])
def test_a_sheet_of_before_an_order_is_not_to_clear_it(tmp_path, way):
    path = tmp_path / "logbook"
    add_rig(path, SAMPLES / "yard-loader.toml", BY, NOW)
    slow = replace(next(throws(0)), time_s=Reading(15.1, 0.1))
    newest = datetime(2026, 10, 3, 9, tzinfo=UTC)
    raised = enter(path, RIG, HandEntry([slow], "seasonal", thrown_at=newest), BY, NOW).status.open_ids
    assert raised
    for days_later, answered in ((-200, ()), (0, raised), (20, raised)):
        typed, at = NOW + timedelta(minutes=days_later + 300), newest + timedelta(days=days_later)
        if way == "day of the sheet":
            state = plan(path, RIG, "seasonal", BY, typed, day=at.date().isoformat())[0]
        elif way == "files":
            trace = replace(read_trace(SAMPLES / "baseline" / "lock-1.csv"), started=at)
            trace = replace(trace, current_a=trace.current_a + 0.0001 * days_later)
            file = tmp_path / f"{typed:%H%M}.csv"
            write_trace(trace, file)
            plan_ = ImportPlan(RIG, "seasonal", [file])
            state = import_traces(path, plan_, BY, typed, settle=lambda doubt: None).sheet
        else:
            entry = HandEntry(list(throws(days_later / 1000)), "seasonal", thrown_at=at, again=True)
            state = enter(path, RIG, entry, BY, typed).state
        assert set(plan_from(state.sheet.plan).answers) & set(raised) == set(answered), at
