"""Journey 11: the right pin stays behind. A switch speaks against a pin at once, and for one never."""

from pathlib import Path

import pytest

from tests.tui.bench import (
    NOW,
    RIG,
    Clock,
    PlayedBoard,
    app_on,
    keys,
    said,
    settle,
    switched_trace,
    until_held,
    write,
)
from tests.tui.logbooks import SEEN, commissioned, thrown
from throwbook.core.records import PinAnswers
from throwbook.core.simulator import SimulatedFault
from throwbook.errors import InputError
from throwbook.jobs.find import opened
from throwbook.jobs.rig_list import overview
from throwbook.jobs.sheets import see, view
from throwbook.jobs.sign_off import accept

pytestmark = pytest.mark.long

BY = "M. K."


def level(path: Path) -> str:
    return overview(str(path), NOW.date()).rigs[0].rig_status.status.level


def test_a_right_pin_that_stays_behind_is_named_and_no_closed_switch_helps_on_the_way_back(tmp_path, walk):
    path = commissioned(tmp_path, switched_trace)
    clock = Clock()
    board = PlayedBoard(clock, [SimulatedFault("pin-behind", side="right")], hold_at=0.95)
    board.record = switched_trace
    app = app_on(path.parent, clock, board)

    sheet = f"{RIG}-3"
    both_seen = ("1", "enter") * 4

    async def journey(pilot, look):
        assert level(path) == "in service"
        await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter")
        app.simulate_key("enter")
        await until_held(pilot, board)
        await look("running", workers_run=True)
        board.go.set()
        await settle(pilot)
        await look("judged")
        assert level(path) == "do not use"
        judged = app.screen._result[0].assessment
        assert [(one.sign, one.side) for one in judged.signs if one.level == "fail"] == [
            ("switch-open", "right")
        ]
        decisions = {one.name: one.decision for one in judged.checks}
        asked = ("travel_time_high", "run_current", "peak_run_current")
        assert [decisions[one] for one in asked] == ["pass"] * 3, "current and time are as ever"
        assert "NOW LOOK AT BOTH PINS" in said(app)
        await keys(pilot, "enter", "1", "enter", "2", "enter", "3", "enter", "3", "enter")
        await write(pilot, "lamp")
        await keys(pilot, "ctrl+s")
        assert "RIGHT pin is NOT in its hole." in said(app)
        assert "LEFT pin is NOT" not in said(app)
        await keys(pilot, "enter")
        await look("way-back")
        await keys(pilot, "enter")
        await keys(pilot, "ctrl+s")
        await write(pilot, "unknown")
        await keys(pilot, "enter", "enter")
        await write(pilot, "nothing")
        await keys(pilot, "ctrl+s")
        assert "This completes no step: 'found' ('unknown') only repeats" in said(app)
        await keys(pilot, "ctrl+u")
        await write(pilot, "link of the right pin sheared")
        await keys(pilot, "enter", "enter", "ctrl+u")
        await write(pilot, "new link fitted, both pins worked by hand")
        await keys(pilot, "ctrl+s")
        await look("repair-logged")
        assert level(path) == "do not use"
        clock.go_on(3600)
        await keys(pilot, "enter", *"123456", "ctrl+s", "enter", "enter")
        await look("passed-while-out-of-use")
        await keys(pilot, "enter", *both_seen)
        await write(pilot, "lamp")
        await keys(pilot, "ctrl+s", "escape")
        clock.go_on(60)
        thrown(path, sheet, ["unlock", "lock"] * 4 + ["unlock"], clock, None, 3, 2, switched_trace, seen=None)
        with opened(path, read_only=True) as book:
            locks = [one for one in view(path, sheet).trials if one.direction == "lock"]
            assert [book.trace(one.id).switches_at_end for one in locks] == [(True, True)] * 5
        with pytest.raises(InputError, match=r"throws 3, 5, 7 and 9: right pin was not looked at"):
            accept(path, sheet, PinAnswers(), BY, clock.now())
        await keys(pilot, "enter")
        await look("closed-switches-are-no-sighting")
        see(path, sheet, [5, 7, 9], SEEN, BY, clock.now())
        with pytest.raises(InputError, match=r"throw 3 \(lock\): right pin was not looked at"):
            accept(path, sheet, PinAnswers(), BY, clock.now())
        await keys(pilot, "enter", *both_seen, "ctrl+s")
        await keys(pilot, "enter")
        await write(pilot, BY)
        await keys(pilot, "ctrl+s", "y", "escape", "escape")
        assert level(path) == "do not use"
        await look("commissioned-again")
        await keys(pilot, "enter")
        await write(pilot, "link renewed, both pins seen, commissioned anew")
        await keys(pilot, "enter", "enter")
        await write(pilot, BY)
        await keys(pilot, "ctrl+s", "y")
        await look("cleared")

    walk(app, journey)
    assert level(path) == "in service"
    with opened(path, read_only=True) as book:
        assert {"switch open", "pin not seen"} <= {one.cause for one in book.orders(RIG)}
