"""Journey 5: a stall. The rig goes out of use before the eyes, and comes back only the whole way."""

from pathlib import Path

import pytest

from tests.tui.bench import NOW, RIG, Clock, PlayedBoard, app_on, keys, said, write
from throwbook.core.sheets.hand_readings import parse_line
from throwbook.core.simulator import SimulatedFault
from throwbook.jobs.enter import HandEntry
from throwbook.jobs.enter import enter as write_down
from throwbook.jobs.rig_list import overview

pytestmark = pytest.mark.long

LOCK = parse_line("lock 15.20s 2.10A 2.90A 12.40V both seen, load check done, stayed put", "test")
UNLOCK = parse_line("unlock 14.60s 1.80A 2.40A 12.50V", "test")


def level(path: Path) -> str:
    return overview(str(path), NOW.date()).rigs[0].rig_status.status.level


def test_a_stall_takes_the_rig_out_of_use_and_only_the_whole_way_brings_it_back(commissioned_logbook, walk):
    path = commissioned_logbook
    clock = Clock()
    app = app_on(path.parent, clock, PlayedBoard(clock, [SimulatedFault("obstruction", place=0.55)]))

    async def journey(pilot, look):
        await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter", "enter")
        await look("stalled", picture=True)
        assert level(path) == "do not use"
        await keys(pilot, "enter", "3", "enter", "3", "enter", "3", "enter", "3", "enter", "ctrl+s")
        await look("way-back")
        # No step can be skipped: whatever is pressed, Enter leads to the repair, and the form wants both words.
        await keys(pilot, "enter")
        await write(pilot, "")
        await keys(pilot, "ctrl+s")
        assert "fill in both 'found' and 'fixed'" in said(app)
        await write(pilot, "packed mud")
        await keys(pilot, "enter", "enter")
        await write(pilot, "dug out, greased")
        await look("repair")
        await keys(pilot, "ctrl+s")
        assert "[x] 2. log the repair" in said(app)
        assert level(path) == "do not use"
        clock.go_on(3600)
        await keys(pilot, "enter", *"123456", "ctrl+s")
        assert "yard-loader-3 | commissioning, open" in said(app)
        entry = HandEntry(
            [LOCK, UNLOCK] * 5, "", f"{RIG}-3", seen_how="lamp", thrown_at=clock.now(), again=True
        )
        write_down(path, RIG, entry, "M. K.", clock.now())
        await keys(pilot, "escape", "enter", "enter")
        await write(pilot, "M. K.")
        await keys(pilot, "ctrl+s", "y", "escape", "escape")
        assert level(path) == "do not use"
        await look("recommissioned")
        await keys(pilot, "enter")
        await write(pilot, "mud cleared, commissioned anew")
        await keys(pilot, "enter", "enter")
        await write(pilot, "M. K.")
        await keys(pilot, "ctrl+s", "y")
        await look("cleared")

    walk(app, journey)
    assert level(path) == "in service"


def test_a_pin_that_was_not_seen_is_asked_twice_and_takes_the_rig_out_of_use(commissioned_logbook, walk):
    path = commissioned_logbook
    clock = Clock()
    app = app_on(path.parent, clock, PlayedBoard(clock))

    async def journey(pilot, look):
        await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter", "enter", "enter")
        await keys(pilot, "enter", "1", "enter", "2", "enter", "3", "enter", "3", "enter")
        await write(pilot, "lamp")
        await keys(pilot, "ctrl+s")
        assert "RIGHT pin is NOT in its hole." in said(app)
        await keys(pilot, "n", "y")  # no letter is taken for the answer itself
        assert "RIGHT pin is NOT in its hole." in said(app)
        assert level(path) == "in service"
        await keys(pilot, "enter")
        assert "RIGHT pin NOT in its hole" in said(app)

    walk(app, journey)
    assert level(path) == "do not use"
