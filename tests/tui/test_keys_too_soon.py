"""Keys that come before a form knows all, and keys that come twice."""

from tests.tui.bench import NOW, RIG, app_on, keys, said, settle
from tests.tui.test_stumbles import walked
from throwbook.jobs.find import opened
from throwbook.jobs.rigs import rig_history

TO_THE_PLAN = ("enter", "t", *["enter"] * 6)


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
        await keys(pilot, "enter", "t", *["enter"] * 5)
        await at_once(pilot, "enter", "ctrl+s")
        assert "NEXT: lock throw 1 of 1" in said(app)

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
