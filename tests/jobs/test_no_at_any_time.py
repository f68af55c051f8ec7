"""A "no" takes the rig out of use whenever it comes and wherever it is typed; a refused acceptance stores nothing else."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.cli.sheet_steps import GOOD, PAIR, RIG, UNSEEN
from tests.jobs.test_latch_in_logbooks import NOON, YES, clear, commission, level, new_logbook, repair, throw
from throwbook.core.records import PinAnswers, Sighting
from throwbook.core.sheets.hand_readings import parse_lines
from throwbook.core.status.latch import DO_NOT_USE, IN_SERVICE
from throwbook.errors import InputError
from throwbook.jobs import (
    latch,
    logbook_care,
    sheets,
    sign_off,
)
from throwbook.jobs import (
    sheets as sheet_view,
)
from throwbook.jobs.enter import HandEntry, enter
from throwbook.logbook import open_logbook

LATER = NOON + timedelta(days=1)
NOT_SEEN = [
    replace(PinAnswers(), **{name: "no"})
    for name in ("left_pin", "right_pin", "load_check", "retained_power_off")
]
BY = "M. K."


@pytest.fixture
def path(tmp_path):
    return new_logbook(tmp_path / "a.throwbook")


def sightings(path, name: str) -> list[Sighting]:
    with open_logbook(path, read_only=True) as book:
        return book.sightings(book.sheet(name).sheet.id)


@pytest.mark.parametrize("looked", NOT_SEEN)
@pytest.mark.parametrize("decided", ["accepted", "rejected", "open"])
def test_a_no_is_taken_on_any_sheet_and_its_seal_still_holds(path, looked, decided):
    name = throw(path, GOOD, NOON).state.name
    if decided == "accepted":
        sign_off.accept(path, name, YES, BY, NOON)
    elif decided == "rejected":
        sign_off.reject(path, name, "the other attachment", BY, NOON)
    assert level(path) == IN_SERVICE
    sheets.see(path, name, [3], looked, BY, LATER)
    assert level(path) == DO_NOT_USE
    view = sheet_view.view(path, name)
    assert view.state.state == decided
    assert ["throw 3 (lock)" in one for one in view.said_since] == ([True] if decided != "open" else [])
    assert logbook_care.check(str(path))[1].problems == ()


def test_only_a_no_is_taken_on_a_decided_sheet(path):
    name = commission(path, NOON)
    with pytest.raises(InputError, match="accepted already"):
        sheets.see(path, name, [3], YES, BY, LATER)


@pytest.mark.parametrize("first", ["accept", "see"])
def test_where_acceptance_and_no_race_the_rig_is_out_of_use_whichever_comes_first(path, first):
    name = throw(path, UNSEEN, NOON).state.name
    steps = {
        "accept": lambda: sign_off.accept(path, name, YES, BY, NOON),
        "see": lambda: sheets.see(path, name, [5], NOT_SEEN[0], "A. B.", NOON),
    }
    steps.pop(first)()
    (last,) = steps.values()
    if first == "see":
        with pytest.raises(InputError, match="left pin was looked at and NOT seen"):
            last()
    else:
        last()
    assert level(path) == DO_NOT_USE


@pytest.mark.parametrize("looked", NOT_SEEN)
def test_a_no_typed_when_signing_counts_though_every_throw_was_looked_at_before(path, looked):
    name = throw(path, GOOD, NOON).state.name
    with pytest.raises(InputError, match="The NO is recorded"):
        sign_off.accept(path, name, looked, BY, NOON)
    assert level(path) == DO_NOT_USE
    assert sheet_view.view(path, name).state.state == "open"


def test_a_no_typed_when_signing_a_decided_or_an_empty_sheet_counts(path):
    name = commission(path, NOON)
    with pytest.raises(InputError, match=r"accepted already.*The NO is recorded"):
        sign_off.accept(path, name, NOT_SEEN[0], BY, LATER)
    assert level(path) == DO_NOT_USE


def test_a_no_typed_when_signing_a_sheet_without_throws_counts(path):
    state, _ = sheets.plan(path, RIG, "spot", BY, NOON)
    with pytest.raises(InputError, match="The NO is recorded"):
        sign_off.accept(path, state.name, NOT_SEEN[0], BY, NOON)
    assert level(path) == DO_NOT_USE


def test_a_no_at_a_throw_entered_on_a_decided_sheet_counts(path):
    name = commission(path, NOON)
    late = HandEntry(parse_lines("lock 15.20s 2.10A 2.90A 12.40V left pin no"), "", name)
    with pytest.raises(InputError, match=r"accepted already.*The NO is recorded"):
        enter(path, RIG, late, BY, LATER)
    assert level(path) == DO_NOT_USE


def test_a_no_after_the_first_one_was_cleared_takes_the_rig_out_of_use_again(path):
    name = throw(path, GOOD, NOON).state.name
    sheets.see(path, name, [1], NOT_SEEN[0], BY, NOON)
    clear(path, repair(path, NOON), commission(path, LATER), LATER)
    assert level(path) == IN_SERVICE
    sheets.see(path, name, [1], NOT_SEEN[0], BY, LATER)
    assert level(path) == DO_NOT_USE
    with open_logbook(path, read_only=True) as book:
        assert len(latch.status(book, RIG).open) == 1


def test_a_refused_acceptance_stores_nothing(path):
    name = throw(path, UNSEEN, NOON).state.name
    for lacking in (replace(YES, load_check="not looked"), replace(YES, retained_power_off="not looked")):
        with pytest.raises(InputError, match="nothing was recorded"):
            sign_off.accept(path, name, lacking, BY, NOON)
    assert sightings(path, name) == []


def test_what_was_seen_is_not_written_down_at_throws_that_were_left_out(path):
    name = throw(path, "\n".join([UNSEEN, *UNSEEN.split("\n")[:2]]), NOON).state.name
    sheets.leave_out(path, name, 3, "the other attachment", BY, NOON)
    sign_off.accept(path, name, YES, BY, NOON)
    view = sheet_view.view(path, name)
    left_out = next(one.id for one in view.trials if one.left_out)
    assert view.state.state == "accepted"
    assert left_out not in {one.trial for one in sightings(path, name)}


def test_a_no_needs_no_word_on_how_it_was_seen(path):
    name = throw(path, PAIR[0], NOON, "spot").state.name
    sheets.see(path, name, [1], PinAnswers("no", "yes"), BY, NOON)
    assert level(path) == DO_NOT_USE
    with pytest.raises(InputError, match="how the pins were seen"):
        sheets.see(path, name, [1], PinAnswers("yes", "yes"), BY, NOON)
