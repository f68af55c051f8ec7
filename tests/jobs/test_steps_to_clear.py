"""How far a rig has come on its way down, told step by step."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from throwbook.core.records import PinAnswers
from throwbook.core.sheets.hand_readings import parse_line
from throwbook.core.status.maintenance import Moment, ServiceEntry
from throwbook.errors import InputError
from throwbook.jobs.enter import HandEntry, enter
from throwbook.jobs.latch import Clearing, clear, raise_by_hand
from throwbook.jobs.maintenance import WORK_BEFORE, Logged
from throwbook.jobs.maintenance import add as add_service
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.sheets import plan, see
from throwbook.jobs.sign_off import accept
from throwbook.jobs.steps_to_clear import steps_to_clear

RIG, BY = "quarry-loader", "M. K."
NOW = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
LATER = NOW + timedelta(days=1)
PAIR = [
    parse_line("lock 15.20s 2.10A 2.90A 12.40V both seen, load check done, stayed put", "test"),
    parse_line("unlock 14.60s 1.80A 2.40A 12.50V", "test"),
]


@pytest.fixture
def logbook(tmp_path) -> Path:
    path = tmp_path / "fellside.throwbook"
    add_rig(path, Path(__file__).parent.parent / "cli" / "quarry-loader.toml", BY, NOW)
    raise_by_hand(path, RIG, "damage", "bent pin", BY, NOW)
    return path


def done(path: Path) -> list[bool]:
    return [step.done for step in steps_to_clear(path, RIG).steps]


def repaired(
    path: Path, found: str = "bent pin", fixed: str = "new pin", on: date = date(2026, 3, 14)
) -> Logged:
    return add_service(
        path, ServiceEntry("", RIG, "repaired", on, found=Moment(found), fixed=Moment(fixed), by=BY), NOW
    )


def commissioned(path: Path) -> str:
    state, _ = plan(path, RIG, "commissioning", BY, LATER)
    enter(
        path,
        RIG,
        HandEntry(PAIR * 5, "", state.name, seen_how="torch", thrown_at=LATER, again=True),
        BY,
        LATER,
    )
    accept(path, state.name, PinAnswers(), BY, LATER)
    return state.name


def test_a_rig_in_service_has_no_way_to_go(tmp_path):
    path = tmp_path / "l.throwbook"
    add_rig(path, Path(__file__).parent.parent / "cli" / "quarry-loader.toml", BY, NOW)
    assert steps_to_clear(path, RIG).steps == ()


def test_the_steps_are_done_one_after_the_other(logbook):
    assert done(logbook) == [False] * 4
    repaired(logbook)
    assert done(logbook) == [True, True, False, False]
    sheet = commissioned(logbook)
    found = steps_to_clear(logbook, RIG)
    assert [step.done for step in found.steps] == [True, True, True, False]
    assert found.sheet.name == sheet
    brought = Clearing(found.orders, BY, "new pin", "bent pin", found.repair.id, sheet)
    clear(logbook, RIG, brought, BY, LATER)
    assert steps_to_clear(logbook, RIG).steps == ()


def test_a_sheet_planned_before_the_repair_is_no_step(logbook):
    commissioned(logbook)
    repaired(logbook)
    assert done(logbook) == [True, True, False, False]


def test_half_a_repair_is_no_step(logbook):
    repaired(logbook, fixed="")
    assert done(logbook) == [False] * 4


SAYS_NOTHING = (
    "unknown",
    "none found",
    "nothing",
    "not repaired",
    "the cause was not found",
    "n/a",
    "-",
    ".",
)


@pytest.mark.parametrize("words", SAYS_NOTHING)
def test_words_that_say_nothing_are_kept_and_do_no_step(words, logbook):
    for found, fixed in ((words, "new pin"), ("bent pin", words)):
        logged = repaired(logbook, found, fixed)
        assert (logged.entry.found.what, logged.entry.fixed.what) == (found, fixed)
        assert [words in text for text in logged.lacks] == [True]
        assert done(logbook) == [False] * 4


def test_a_repair_corrected_to_one_that_says_nothing_is_a_step_no_more(logbook):
    entry = repaired(logbook).entry
    assert done(logbook) == [True, True, False, False]
    entry = replace(entry, found=Moment("unknown"))
    add_service(logbook, entry, LATER, corrects=entry.id, reason="only guessed")
    assert done(logbook) == [False] * 4


def test_a_repair_that_a_clearance_rests_on_is_not_corrected_to_one_that_says_nothing(logbook):
    entry = repaired(logbook).entry
    found = steps_to_clear(logbook, RIG)
    sheet = commissioned(logbook)
    brought = Clearing(found.orders, BY, "new pin", "bent pin", entry.id, sheet)
    order, _ = clear(logbook, RIG, brought, BY, LATER)
    better = replace(entry, found=Moment("bent left pin"))
    better = add_service(logbook, better, LATER, corrects=entry.id, reason="which pin").entry
    empty = replace(better, found=Moment("unknown"), fixed=Moment("n/a"))
    with pytest.raises(InputError, match=f"clearance {order.id[:8]} of 2026-03-15 rests on this repair"):
        add_service(logbook, empty, LATER, corrects=better.id, reason="only guessed")
    taken_back = replace(better, action="inspected")
    back = add_service(logbook, taken_back, LATER, corrects=better.id, reason="never done")
    assert back.rig_status.status.level == "do not use"


def test_work_of_a_day_before_the_order_is_no_step(logbook):
    assert repaired(logbook, on=date(2026, 3, 13)).lacks == (WORK_BEFORE,)
    assert done(logbook) == [False] * 4
    assert repaired(logbook).lacks == ()
    assert done(logbook) == [True, True, False, False]


def thrown_on_13_march(path: Path, *, pin_with_throw: bool) -> None:
    """One lock throw; its left pin was seen out of its hole, then or a day later."""
    state, _ = plan(path, RIG, "spot", BY, NOW)
    throw, day = parse_line("lock 15.20s 2.10A 2.90A 12.40V", "test"), NOW - timedelta(days=1)
    if pin_with_throw:
        throw = replace(throw, left_pin="no")
    entry = HandEntry([throw], "", state.name, seen_how="torch", thrown_at=day)
    enter(path, RIG, entry, BY, NOW if pin_with_throw else day)
    if not pin_with_throw:
        see(path, state.name, [1], PinAnswers("no", "yes", "torch"), BY, NOW)


@pytest.mark.parametrize("with_throw", [True, False])
def test_a_repair_counts_by_the_day_a_pin_was_seen_not_by_the_day_of_its_throw(with_throw, tmp_path):
    path = tmp_path / "l.throwbook"
    add_rig(path, Path(__file__).parent.parent / "cli" / "quarry-loader.toml", BY, NOW)
    thrown_on_13_march(path, pin_with_throw=with_throw)
    assert repaired(path, on=date(2026, 3, 13)).lacks == (() if with_throw else (WORK_BEFORE,))
    assert done(path)[:2] == [with_throw] * 2
    assert repaired(path).lacks == ()
    assert done(path)[:2] == [True, True]


def test_an_order_that_a_wrong_clock_dated_ahead_can_be_repaired_today(logbook):
    raise_by_hand(logbook, RIG, "damage", "burr", BY, NOW + timedelta(days=900))
    assert repaired(logbook).lacks == ()
    assert done(logbook) == [True, True, False, False]


def test_what_only_has_to_be_watched_later_does_not_undo_a_repair(logbook):
    repaired(logbook)
    sheet = commissioned(logbook)
    raise_by_hand(logbook, RIG, "person: watch", "a noise", BY, LATER)
    found = steps_to_clear(logbook, RIG)
    by_need = {step.need: step.done for step in found.steps}
    assert by_need == {
        "cause found": True,
        "repair": True,
        "recommissioned": True,
        "reason": False,
        "signed": False,
    }
    clear(
        logbook,
        RIG,
        Clearing(found.orders, BY, "heard nothing", "bent pin", found.repair.id, sheet),
        BY,
        LATER,
    )
    assert steps_to_clear(logbook, RIG).steps == ()
