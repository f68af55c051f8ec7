"""A mechanic greases and checks on one day: the trend says whether the greasing helped, or that nothing tells the order."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.sheet_steps import RIG, RIG_FILE
from throwbook.core.sheets.hand_readings import HandThrow, Reading
from throwbook.core.status.maintenance import ServiceEntry
from throwbook.jobs.enter import HandEntry, enter
from throwbook.jobs.logbook_care import export
from throwbook.jobs.maintenance import add
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.sheets import plan, view
from throwbook.jobs.trend import effects_measured_by, rig_from_export, rig_trend, trend_of
from throwbook.logbook import open_logbook

BY = "M. K."
DAY = datetime(2026, 3, 14, 8, 0, tzinfo=UTC)
ASKED = {"hours_since_movement": 16.0, "ambient_c": 10.0, "operator": BY}


def checked(
    book: Path, when: datetime, run_a: float, kind: str = "seasonal", worked: str | None = None
) -> None:
    throws = [
        HandThrow(way, time_s=Reading(14.6 + i / 50, 0.01), run_current_a=Reading(run_a + i / 100, 0.01))
        for i in range(4)
        for way in ("lock", "unlock")
    ]
    answers = ASKED | ({"worked_before": worked} if worked else {})
    enter(
        book,
        RIG,
        HandEntry(throws, kind, answers=answers, thrown_at=when, again=True),
        BY,
        when + timedelta(minutes=20),
    )


def greased(book: Path, when: datetime) -> str:
    return add(book, ServiceEntry("", RIG, "greased", when.date(), by=BY), when).entry.id


@pytest.fixture
def book(tmp_path) -> Path:
    path = tmp_path / "book"
    add_rig(path, RIG_FILE, BY, DAY - timedelta(days=800))
    checked(path, DAY - timedelta(days=700), 2.0, "commissioning")
    checked(path, DAY - timedelta(days=350), 2.6, worked="no")
    checked(path, DAY, 2.6, worked="no")
    return path


def answers(found) -> list[str]:
    return [
        effect.answer
        for one in found.trends
        if (one.figure, one.direction) == ("run_current", "lock")
        for effect in one.service_effects
    ]


def test_greased_written_down_then_checked_by_a_seasonal_sheet(book):
    greased(book, DAY + timedelta(hours=1))
    checked(book, DAY + timedelta(hours=2), 2.0, worked="no")
    found = rig_trend(book, RIG, DAY.date())
    assert answers(found) == ["helped"]
    assert not found.history.notes


def test_greased_and_checked_but_written_down_in_the_evening_isnt_known(book):
    checked(book, DAY + timedelta(hours=2), 2.0)
    greased(book, DAY + timedelta(hours=9))
    found = rig_trend(book, RIG, DAY.date())
    assert answers(found) == []
    assert found.history.notes == (
        f"It is not known whether {RIG}-4 was thrown before or after the work of the same day, 2026-03-14 (greased): it counts "
        "as before. Log the work before you throw, or plan an after-service sheet.",
    )


def test_the_answer_greased_tells_it_though_the_entry_is_of_the_evening(book):
    checked(book, DAY + timedelta(hours=2), 2.0, worked="greased")
    greased(book, DAY + timedelta(hours=9))
    assert answers(rig_trend(book, RIG, DAY.date())) == ["helped"]


def test_a_corrected_entry_keeps_the_time_of_the_first(book):
    entry = greased(book, DAY + timedelta(hours=1))
    checked(book, DAY + timedelta(hours=2), 2.0)
    put_right = ServiceEntry("", RIG, "greased", DAY.date(), parts="grease", by=BY)
    add(book, put_right, DAY + timedelta(hours=9), corrects=entry, reason="the parts were missing")
    assert answers(rig_trend(book, RIG, DAY.date())) == ["helped"]


def test_an_export_says_the_same(book, tmp_path):
    pytest.importorskip("pyarrow")
    entry = greased(book, DAY + timedelta(hours=1))
    checked(book, DAY + timedelta(hours=2), 2.0)
    put_right = ServiceEntry("", RIG, "greased", DAY.date(), parts="grease", by=BY)
    add(book, put_right, DAY + timedelta(hours=9), corrects=entry, reason="the parts were missing")
    export(book, tmp_path / "out", "parquet")
    assert answers(rig_from_export(tmp_path / "out", RIG, DAY.date())) == ["helped"]


def test_a_day_of_check_greasing_and_check_again_compares_these_two(tmp_path):
    path = tmp_path / "book"
    add_rig(path, RIG_FILE, BY, DAY)
    checked(path, DAY, 1.71, "commissioning")
    checked(path, DAY + timedelta(hours=1), 2.15)
    greased(path, DAY + timedelta(hours=2))
    checked(path, DAY + timedelta(hours=3), 1.69, "after-service")
    found = rig_trend(path, RIG, DAY.date())
    assert found.history.notes == ()
    (effect,) = next(one for one in found.trends if one.direction == "lock").service_effects
    assert (effect.before_sheet, effect.after_sheet) == (f"{RIG}-2", f"{RIG}-3")
    assert effect.answer == "helped"
    assert "may be chance" in effect.said
    with open_logbook(path, read_only=True) as opened:
        said = effects_measured_by(opened, RIG, f"{RIG}-3", DAY.date())
    assert said.startswith(
        "Did the service help (corrected to 20 degC and nominal voltage)? running current, lock: "
    )
    assert said.count(": helped") == 2


def test_one_check_shows_no_change_and_a_watched_rig_is_not_called_unchanged(tmp_path):
    alone = tmp_path / "alone"
    add_rig(alone, RIG_FILE, BY, DAY)
    checked(alone, DAY, 1.71, "commissioning")
    history = replace(rig_trend(alone, RIG, DAY.date()).history, provisional=False)
    assert (
        trend_of(history, DAY.date()).action.why == "there is only one check yet, so no change can be shown"
    )
    watched = trend_of(history, DAY.date(), "watch").action
    assert (watched.why, watched.urgency) == ("its status is 'watch'", 1)


def test_a_throw_entered_faster_than_it_can_run_keeps_no_time_of_its_own(tmp_path):
    path = tmp_path / "book"
    add_rig(path, RIG_FILE, BY, DAY)
    state, _ = plan(path, RIG, "seasonal", BY, DAY)
    known = []
    for i, after_s in enumerate((0, 7, 21, 60)):
        throw = HandThrow("lock", time_s=Reading(15.0 + i / 100, 0.01), run_current_a=Reading(2.0, 0.01))
        when = DAY + timedelta(seconds=after_s)
        done = enter(path, RIG, HandEntry([throw], "", state.name, thrown_at=when, by_entry=True), BY, when)
        known.append((done.at_once, done.trials[0].trial.started))
    assert known == [(False, DAY), (True, DAY), (True, DAY), (False, DAY + timedelta(seconds=60))]


def test_a_commissioning_entered_faster_than_it_can_run_takes_a_reason(tmp_path):
    path = tmp_path / "book"
    add_rig(path, RIG_FILE, BY, DAY)
    state, _ = plan(path, RIG, "commissioning", BY, DAY)
    for i in range(10):
        throw = HandThrow(("lock", "unlock")[i % 2], time_s=Reading(11.2 + i / 100, 0.01))
        when = DAY + timedelta(seconds=5 * i)
        enter(path, RIG, HandEntry([throw], "", state.name, thrown_at=when, by_entry=True), BY, when)
    found = view(path, state.name).acceptance
    said = ("9 throws have no time of their own: nobody knows whether the rests were kept",)
    assert (found.doubts, found.impossible) == (said, said)
