"""Words in everything that was written, from the first screen."""

from datetime import date

from tests.tui.bench import NOW, RIG, app_on, keys, said, settle, write
from throwbook.core.status.maintenance import Moment, ServiceEntry
from throwbook.jobs.maintenance import add as add_service


def test_words_are_found_and_enter_opens_their_rig(commissioned_logbook, walk):
    entry = ServiceEntry("", RIG, "greased", date(2026, 3, 14), seen=Moment("squealed at the gate"))
    add_service(commissioned_logbook, entry, NOW)
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot, look):
        await keys(pilot, "f")
        await write(pilot, "unheard")
        await keys(pilot, "enter")
        assert "No text in the logbook has these words" in said(app)
        app.screen.form.field("words").set("gate SQUEAL")
        await keys(pilot, "ctrl+s")
        await settle(pilot)
        assert "1 text, newest first" in said(app)
        await look("search")
        await keys(pilot, "enter")
        assert type(app.screen).__name__ == "RigScreen"
        await keys(pilot, "escape", "escape")
        assert type(app.screen).__name__ == "RigsScreen"

    walk(app, journey)
