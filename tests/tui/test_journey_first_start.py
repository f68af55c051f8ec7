"""Journey 1: an empty logbook, a rig from its data sheet, and no board: a simulated board is offered."""

from pathlib import Path

import pytest

from tests.tui.bench import NOW, app_on, keys, said, settle, write
from throwbook.jobs.rigs import rig_history
from throwbook_tui.drafts import load_draft

pytestmark = pytest.mark.long

SHEET = (
    ("yard-loader", 2),
    ("188 mm", 1),
    ("12", 1),
    ("200 mm", 1),
    ("1500 N", 1),
    ("16 mm/s", 1),
    ("0.9 A", 1),
)
REST = (
    ("", 1),  # the rod extends to lock
    ("11", 1),
    ("25 %", 1),
    ("IP66", 1),
    ("700 N", 1),
    ("slotted link", 2),
    ("11 V", 1),
    ("-10 degC", 1),
)


async def fill(pilot, rows):
    for text, enters in rows:
        await write(pilot, text)
        await keys(pilot, *["enter"] * enters)


def test_a_rig_is_set_up_with_live_checks_and_made_ready_to_record(tmp_path: Path, walk):
    app = app_on(tmp_path, rig=False, port="")
    app.desk.find_boards = lambda names=(): []

    async def journey(pilot, look):
        await look("empty")
        await keys(pilot, "n")
        await fill(pilot, SHEET)
        await write(pilot, "0.6")
        await look("a-slip-of-the-pen")
        await keys(pilot, "backspace", "backspace", "backspace")
        await fill(pilot, (("3.6 A", 1), *REST))
        await fill(pilot, (("2.5 mm2", 1), ("6 m", 1), ("10 A", 1)))
        await look("fit")
        await keys(pilot, "ctrl+s")
        await look("rig")
        await keys(pilot, "t", *"123456", "1", "ctrl+s", "enter")
        await look("no-board")
        await keys(pilot, "x")
        await look("practice-offered")

    walk(app, journey)
    history = rig_history(tmp_path / "fellside.throwbook", "yard-loader", NOW.date())
    assert history.rig.actuator.full_load_current_a == 3.6
    assert history.rig.lock.coldest_c == -10.0


def test_values_that_cannot_be_are_refused_with_the_reason(tmp_path: Path, walk):
    app = app_on(tmp_path, rig=False)

    async def journey(pilot, look):
        await keys(pilot, "n")
        await fill(pilot, SHEET[:1])
        await keys(pilot, "ctrl+s")
        assert "travel needed: required, still empty" in said(app)
        await write(pilot, "188 stone")
        await keys(pilot, "ctrl+s")
        assert "has no unit of length" in said(app)
        await keys(pilot, *["backspace"] * 5)
        await write(pilot, "mm")
        await keys(pilot, "enter")
        await fill(pilot, SHEET[2:])
        await write(pilot, "0.6 A")
        await keys(pilot, "ctrl+s")
        assert "THROWBOOK | new rig" in said(app)
        assert "no-load current" in said(app)
        await keys(pilot, "escape")

    walk(app, journey)


def test_what_was_typed_is_there_again_after_the_program_was_gone(tmp_path: Path, walk):
    logbook = str(tmp_path / "fellside.throwbook")

    async def type_half(pilot, look):
        await keys(pilot, "n")
        await fill(pilot, SHEET[:4])
        await pilot.resize_terminal(100, 30)
        await settle(pilot)
        assert "200 mm" in said(pilot.app)

    async def find_again(pilot, look):
        await keys(pilot, "n")
        assert "Your earlier entries on this form are back" in said(pilot.app)
        assert "200 mm" in said(pilot.app)

    walk(app_on(tmp_path, rig=False), type_half)
    assert load_draft(logbook, "rig-new")["actuator.stroke"] == "200 mm"
    walk(app_on(tmp_path, rig=False), find_again)
