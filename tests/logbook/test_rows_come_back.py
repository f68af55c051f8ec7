"""What is put into a logbook comes out as it was."""

import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.drawn import drawn
from tests.logbook.conftest import NOW, RIG, fill, make_assessment, make_trace
from throwbook.core.records import Order, PinAnswers, Service
from throwbook.errors import InputError
from throwbook.logbook import hand_trial, open_logbook, serialization
from throwbook.logbook.trials import FAILED, SAID_NO

decimals = st.lists(st.integers(-(10**9), 10**9), min_size=1, max_size=60)


@given(decimals, st.integers(0, 9), st.integers(1, 500))
def test_decimal_values_come_back_to_the_last_bit(whole, places, step):
    values = np.array([float(f"{n * step}e-{places}") for n in whole]) + 0.0
    assert np.array_equal(
        serialization.decode(serialization.encode({"current_a": values}))["current_a"], values
    )


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=60))
def test_any_float_comes_back_to_the_last_bit(numbers):
    values = np.array(numbers) + 0.0
    assert np.array_equal(
        serialization.decode(serialization.encode({"current_a": values}))["current_a"], values
    )


def test_a_15_s_trace_at_200_hz_with_two_channels_stays_under_12_kb():
    assert len(serialization.encode(serialization.columns(make_trace()))) < 12_000


def test_a_trial_comes_back_with_its_samples_figures_checks_and_profile(book):
    trace, judged = make_trace(), make_assessment()
    sheet = book.plan_sheet(RIG, "seasonal", {}, "M. K.", NOW)
    added = book.add_trial(
        sheet.id,
        trace,
        judged,
        "M. K.",
        NOW,
        software_version="0.1.0",
        as_found=True,
    )
    book.sight(added.id, PinAnswers("yes", "no", "by eye"), "M. K.", NOW)
    [logged] = book.trials(sheet=sheet.id)
    assert logged.id == added.id
    back = book.trace(logged.id)
    for column in ("time_s", "current_a", "voltage_v"):
        assert np.array_equal(getattr(back, column), getattr(trace, column))
    assert (back.started, back.ambient_c, back.head) == (trace.started, 4.0, trace.head)
    assessment = logged.judgement.assessment
    assert (assessment.figures, assessment.checks, assessment.signs, assessment.diagnoses) == (
        judged.figures,
        judged.checks,
        judged.signs,
        judged.diagnoses,
    )
    assert (logged.sighting.left_pin, logged.sighting.right_pin, logged.placement.as_found) == (
        "yes",
        "no",
        True,
    )
    profile = book.profile(logged.judgement)
    assert np.allclose(profile.current_a, judged.profile.current_a, atol=1e-5)
    assert profile.place_u == judged.profile.place_u


def test_the_same_trial_twice_is_one_and_two_hand_trials_alike_are_two(book):
    sheet = book.plan_sheet(RIG, "spot", {}, "M. K.", NOW)
    for _ in range(2):
        book.add_trial(sheet.id, make_trace(), make_assessment(), "M. K.", NOW, software_version="0.1.0")
    assert len(book.trials(rig=RIG)) == 1
    assert book.has_trial(book.identity(RIG, make_trace()))
    assert book.sheets_of(book.identity(RIG, make_trace())) == ["quarry-loader-1"]
    assert not book.has_trial(book.identity(RIG, make_trace(seed=2)))
    assert not book.has_trial(book.identity("yard-loader", make_trace()))
    for _ in range(2):
        by_hand = hand_trial(RIG, "lock", NOW, {"time_s": 14.3})
        book.add_trial(sheet.id, by_hand, make_assessment(), "M. K.", NOW, software_version="0.1.0")
    assert len(book.trials(rig=RIG)) == 3
    assert sorted(logged.placement.position for logged in book.trials(sheet=sheet.id)) == [1, 2, 3]


def test_a_later_judgement_and_sighting_stand_for_the_earlier_ones_which_stay(book):
    sheet = fill(book, trials=1)
    [logged] = book.trials(sheet=sheet.id)
    book.judge(logged.id, make_assessment("fail"), "M. K.", NOW, "0.2.0", reason="new calibration")
    book.sight(logged.id, PinAnswers("yes", "yes", "by eye"), "M. K.", NOW)
    book.sight(logged.id, PinAnswers("yes", "no", "with a mirror"), "M. K.", NOW, reason="looked again")
    [now] = book.trials(rig=RIG)
    assert now.judgement.assessment.verdict == "fail"
    assert now.sighting.right_pin == "no"
    _, sightings, judgements = book.revisions(logged.id)
    assert (len(sightings), len(judgements)) == (2, 2)


def test_sheets_are_found_by_their_short_name_and_count_up_within_the_rig(book):
    first, second = fill(book), fill(book, first_seed=50)
    assert [state.name for state in book.sheets(RIG)] == ["quarry-loader-1", "quarry-loader-2"]
    assert book.sheet("quarry-loader-2").sheet.id == second.id
    assert book.sheet(first.id[:8]).sheet.id == first.id
    with pytest.raises(InputError, match="no sheet 'quarry-loader-9'"):
        book.sheet("quarry-loader-9")


def test_orders_are_linked_to_the_ones_before(book):
    first = book.add_order(Order(RIG, "do not use", "stall", "it stood still", NOW, "M. K."))
    second = book.add_order(Order(RIG, "watch", "drag", "heavier", NOW, "M. K."))
    assert second.previous == (first.id,)


def test_a_corrected_service_entry_replaces_the_first_and_both_stay(book):
    first = book.add_service(Service(RIG, "greased", NOW, "M. K.", fixed=NOW, details={"cost": 12.5}))
    book.add_service(Service(RIG, "greased both pins", NOW, "M. K.", reason="wording", replaces=(first.id,)))
    assert [entry.action for entry in book.services(RIG)] == ["greased both pins"]
    assert len(book.services(RIG, every_revision=True)) == 2


def test_throws_that_ask_for_an_order_are_found_without_reading_the_others(book):
    sheet = fill(book, trials=4)
    failed, unseen, mended, _ = book.trials(sheet=sheet.id)
    book.judge(failed.id, make_assessment("fail"), "M. K.", NOW, "0.1.0")
    book.sight(unseen.id, PinAnswers("yes", "no", "by eye"), "M. K.", NOW)
    book.judge(mended.id, make_assessment("fail"), "M. K.", NOW, "0.1.0")
    book.judge(mended.id, make_assessment("pass"), "M. K.", NOW, "0.1.0", reason="misread")
    asking = {one.trial: one for one in book.asking(RIG)}
    assert set(asking) == {failed.id, unseen.id, mended.id}
    assert asking[failed.id].kinds == ("seasonal",)
    assert asking[unseen.id].sightings[0].right_pin == "no"
    # judged again it passes, and what the failed one raised is still asked for
    assert asking[mended.id].failed_signs == asking[failed.id].failed_signs
    assert {way for way, _ in asking[failed.id].failed_signs} <= {"lock"}
    assert (len(book.asking()), book.asking("yard-loader")) == (3, [])
    for question, index in ((FAILED, "judgement_failed"), (SAID_NO, "sighting_said_no")):
        [plan] = [row[3] for row in book.read(f"EXPLAIN QUERY PLAN {question}")]
        assert f"COVERING INDEX {index}" in plan


def test_nothing_can_be_changed_or_removed(book):
    import sqlite3

    fill(book)
    tables = [row[0] for row in book.read("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    filled = [table for table in tables if book.read(f"SELECT count(*) FROM {table}")[0][0]]
    assert "trace" in filled
    assert "judgement" in filled
    for table in filled:
        column = book.read(f"PRAGMA table_info({table})")[0][1]
        for change in (f"DELETE FROM {table}", f"UPDATE {table} SET {column} = {column}"):
            with pytest.raises(sqlite3.IntegrityError, match="append only"):
                book.db.execute(change)


def test_a_step_that_fails_in_the_middle_leaves_nothing(book):
    with pytest.raises(InputError, match="no rig 'other'"), book.transaction():  # noqa: PT012 (the first line counts)
        fill(book)
        book.rig("other")
    assert book.trials(rig=RIG) == []
    assert book.sheets(RIG) == []


@settings(max_examples=drawn(20, 8), deadline=None)
@given(st.dictionaries(st.text(max_size=8), st.none() | st.floats(allow_nan=False) | st.text(max_size=8)))
def test_answers_of_any_kind_come_back(tmp_path_factory, answers):
    finite = {key: value for key, value in answers.items() if value not in (float("inf"), float("-inf"))}
    with open_logbook(tmp_path_factory.mktemp("a") / "l.db") as book:
        book.add_rig(RIG, "", "M. K.", NOW)
        sheet = book.plan_sheet(RIG, "spot", {}, "M. K.", NOW)
        book.answer(sheet.id, finite, "M. K.", NOW)
        assert book.sheet("quarry-loader-1").answers == finite


@pytest.mark.parametrize("top", [b"[" * 5000, b'{"codec":1,"samples":' + b"9" * 5000, b"\xff", b"{}"])
def test_a_record_with_a_damaged_head_is_no_whole_record(top):
    assert not serialization.whole("", zlib.compress(top + b"\n"))
