"""A recording on the screen that holds more than one movement: all are shown, the worst first, and all are kept."""

from dataclasses import replace

import pytest

from tests.records_of_several import GOOD, SHORT, STANDING, record
from tests.tui.bench import RIG, Clock, PlayedBoard, app_on, keys, said
from tests.tui.test_at_the_board import walked
from tests.tui.test_stumbles import level
from throwbook.jobs.sheets import view

pytestmark = pytest.mark.long

TO_THE_THROW = ["enter", "t", *"123456", "ctrl+s", "enter", "enter"]


def played(clock, kinds, signs=()):
    board = PlayedBoard(clock)
    board.record = lambda plan, number, fault, started: replace(
        record(kinds, signs=signs), rig=plan.rig.name, direction=plan.direction, started=started
    )
    return board


def verdicts(path):
    return [(one.direction, one.assessment.verdict) for one in view(path, f"{RIG}-2").trials]


def test_a_stall_before_a_good_throw_is_shown_first_and_both_are_on_the_sheet(commissioned_logbook):
    clock, path = Clock(), commissioned_logbook
    app = app_on(path.parent, clock, played(clock, [STANDING, GOOD], signs=[-1, 1]))

    async def journey(pilot):
        await keys(pilot, *TO_THE_THROW)
        shown = said(app)
        assert "NOW LOOK AT BOTH PINS, one at a time." in shown
        assert "Lock throw, movement 1 of 2: FAIL. The motor never turned" in shown
        assert shown.index("movement 1 of 2: FAIL") < shown.index("Unlock throw, movement 2 of 2: watch")

    walked(app, journey)
    assert verdicts(path) == [("lock", "fail"), ("unlock", "watch")]
    assert level(path) == "do not use"


def test_a_direction_that_the_current_does_not_tell_is_asked_for(commissioned_logbook):
    clock, path = Clock(), commissioned_logbook
    app = app_on(path.parent, clock, played(clock, [GOOD, SHORT]))

    async def journey(pilot):
        await keys(pilot, *TO_THE_THROW)
        assert "Movement 2 of 2: was it an unlock throw?" in said(app)
        assert view(path, f"{RIG}-2").trials == ()
        await keys(pilot, "y")
        assert "Unlock throw, movement 2 of 2: FAIL" in said(app)

    walked(app, journey)
    assert [direction for direction, _ in verdicts(path)] == ["lock", "unlock"]
    assert level(path) == "restricted"
