"""Keys that come before a form knows all, and keys that come twice."""

import asyncio
import threading

import pytest

from tests.tui.bench import NOW, RIG, Clock, app_on, keys, said, settle, write
from tests.tui.test_stumbles import walked
from throwbook.jobs.find import opened
from throwbook.jobs.latch import raise_by_hand
from throwbook.jobs.rigs import rig_history
from throwbook_tui import context
from throwbook_tui.screens.rig import RigScreen
from throwbook_tui.screens.sighting import SightingScreen
from throwbook_tui.screens.status import StepsToClearScreen

TO_THE_PLAN = ("enter", "t", *"123456")


async def at_once(pilot, *pressed):
    """As from a hand that doesn't wait for the screen."""
    for one in pressed:
        pilot.app.simulate_key(one)
    await settle(pilot)


def sheets(book):
    with opened(book, read_only=True) as held:
        return [one.name for one in held.sheets(RIG)]


def test_a_plan_entered_before_its_form_knows_how_the_rig_is_measured_is_made_once(tmp_path):
    app = app_on(tmp_path)

    async def journey(pilot):
        await keys(pilot, "enter", "t", *"12345")
        await at_once(pilot, "6", "ctrl+s")
        assert "NEXT: lock throw 1 of 1" in said(app)

    walked(app, journey)


@pytest.mark.parametrize("held", ["enter", "space", "1"])
def test_a_key_that_is_held_down_confirms_no_more_than_the_caution_that_it_answers(tmp_path, held):
    app = app_on(tmp_path)

    async def journey(pilot):
        await keys(pilot, "enter", "t")
        await at_once(pilot, *[held] * 20)
        assert said(app).count("[x]") == (held == "1")
        if held != "1":
            assert "Read line 1, then press 1." in said(app)
            await keys(pilot, "1")
        await keys(pilot, "3", "1")
        assert said(app).count("[x]") == 1
        assert "2 confirm" in said(app)
        await keys(pilot, "2")
        assert said(app).count("[x]") == 2

    walked(app, journey)


def test_w_pressed_before_the_rig_is_read_opens_the_steps_all_the_same(tmp_path):
    app = app_on(tmp_path)
    raise_by_hand(app.desk.logbook, RIG, "damage", "left pin bent", "M. K.", NOW)

    async def journey(pilot):
        busy = threading.Event()
        for _ in range(64):  # more than there are threads: reading waits
            asyncio.get_running_loop().run_in_executor(None, busy.wait)
        app.simulate_key("enter")
        while not isinstance(app.screen, RigScreen):
            await pilot.pause()
        app.simulate_key("w")
        await pilot.pause()
        assert app.screen._found is None
        busy.set()
        await settle(pilot)
        assert isinstance(app.screen, StepsToClearScreen)

    walked(app, journey)


def test_what_is_entered_twice_in_one_piece_is_written_once(tmp_path):
    app = app_on(tmp_path)
    book = tmp_path / "fellside.throwbook"

    async def journey(pilot):
        await keys(pilot, *TO_THE_PLAN)
        await at_once(pilot, "ctrl+s", "ctrl+s")

    walked(app, journey)
    assert len(sheets(book)) == 1
    app = app_on(tmp_path)

    async def service(pilot):
        await keys(pilot, "enter", "v", "2")
        await at_once(pilot, "ctrl+s", "ctrl+s")

    walked(app, service)
    assert len(rig_history(book, RIG, NOW.date()).services) == 1


def test_a_key_on_its_way_while_a_form_opens_waits_for_it(tmp_path):
    app = app_on(tmp_path)

    async def journey(pilot):
        await keys(pilot, "enter")
        app.simulate_key("enter")
        app.push_screen(context.screen("service", RIG))
        assert not app.screen.is_mounted
        await settle(pilot)
        assert app.screen.form.fields[0].has_focus_within
        assert app.return_code is None, "it hasn't come to an end"

    walked(app, journey)


@pytest.mark.parametrize(
    "typed", ["14.5", *(pytest.param(one, marks=pytest.mark.long) for one in ("12.4", "1,9", "14.2"))]
)
def test_a_number_typed_where_a_pin_is_asked_for_answers_nothing(tmp_path, typed):
    clock = Clock()
    app = app_on(tmp_path, clock)

    async def journey(pilot):
        await keys(pilot, "enter", "h", *"123456", "5", "ctrl+s", "enter")
        for reading in ("14.6", "2.1", "2.9", "12.4"):
            await write(pilot, reading)
            await keys(pilot, "enter")
        await keys(pilot, "ctrl+s")
        assert isinstance(app.screen, SightingScreen)
        await write(pilot, typed)
        answers = app.screen.form.values()
        assert not any(answers[name] for name in ("left_pin", "right_pin", "load_check"))
        clock.go_on(1.0)
        await keys(pilot, "1", "2")
        answers = app.screen.form.values()
        assert (answers["left_pin"], answers["right_pin"]) == ("yes", "no")

    walked(app, journey)


def test_a_long_name_of_a_rig_leaves_the_page_readable(tmp_path):
    app = app_on(tmp_path)

    async def journey(pilot):
        app.screen.head(f"{'Hofladerschnellwechsler-' * 5}1-2 | throw 4: both pins")
        await settle(pilot)
        assert "Hofl" in said(app).splitlines()[0]
        assert ".. | throw 4: both pins" in said(app).splitlines()[0]

    walked(app, journey)


@pytest.mark.parametrize("before", [(), ("9",), ("enter",)])
def test_what_is_typed_after_ctrl_s_changes_no_reading(tmp_path, before):
    app = app_on(tmp_path, Clock())

    async def journey(pilot):
        await keys(pilot, "enter", "h", *"123456", "5", "ctrl+s", "enter")
        for reading in ("14.6", "2.1"):
            await write(pilot, reading)
            await keys(pilot, "enter")
        await write(pilot, "2.9")
        await at_once(pilot, *before, "ctrl+s", "1")
        assert isinstance(app.screen, SightingScreen)

    walked(app, journey)
    with opened(tmp_path / "fellside.throwbook", read_only=True) as held:
        hand = held.trials(rig=RIG)[-1].trial.hand
    assert hand["peak_current_a"]["value"] == (2.99 if before == ("9",) else 2.9)
    assert "voltage_v" not in hand


def test_a_no_is_not_left_unrecorded_without_a_word(tmp_path):
    app = app_on(tmp_path, Clock())

    async def journey(pilot):
        await keys(pilot, "enter", "h", *"123456", "5", "ctrl+s", "enter")
        for reading in ("14.6", "2.1", "2.9", "12.4"):
            await write(pilot, reading)
            await keys(pilot, "enter")
        await keys(pilot, "ctrl+s", "1", "2", "ctrl+q")
        assert "not recorded. Ctrl-S records it" in said(app)
        await keys(pilot, "escape")
        assert "Leave without recording it?" in said(app)
        assert "RIGHT pin is NOT in its hole." in said(app)
        await keys(pilot, "n")
        assert isinstance(app.screen, SightingScreen)
        await keys(pilot, "escape", "y")
        assert not isinstance(app.screen, SightingScreen)

    walked(app, journey)
