"""Journey 10: a recording that broke off is found at the start and offered."""

from datetime import timedelta
from pathlib import Path

from tests.left_journals import leave_journal, stall_source
from tests.tui.bench import NOW, RIG, app_on, keys, said
from throwbook.files.journal import unfinished
from throwbook.jobs.find import journal_folder
from throwbook.jobs.sheets import view


def journal_of_a_crash(logbook: Path, seconds: float) -> None:
    """Just what a recording leaves that was killed."""
    leave_journal(logbook, RIG, seconds=seconds, begun=NOW - timedelta(hours=1))


def test_a_recording_that_broke_off_is_offered_and_kept(commissioned_logbook, walk):
    path = commissioned_logbook
    journal_of_a_crash(path, 9.0)
    app = app_on(path.parent)

    async def journey(pilot, look):
        await look("offered")
        await keys(pilot, "enter")
        await look("kept")
        await keys(pilot, "escape")
        assert "rigs of fellside.throwbook" in said(app)

    walk(app, journey)
    assert unfinished(journal_folder(str(path))) == []
    trial = view(path, f"{RIG}-2").trials[0]
    assert "cut-record" in {sign.sign for sign in trial.assessment.signs}


def test_it_can_be_left_for_later_and_is_offered_again(commissioned_logbook, walk):
    journal_of_a_crash(commissioned_logbook, 5.0)

    async def journey(pilot, look):
        assert "1 recording interrupted and not judged yet" in said(pilot.app)
        await keys(pilot, "escape")
        assert "rigs of fellside.throwbook" in said(pilot.app)

    walk(app_on(commissioned_logbook.parent), journey)
    walk(app_on(commissioned_logbook.parent), journey)
    assert len(unfinished(journal_folder(str(commissioned_logbook)))) == 1


def test_left_for_later_it_stands_on_the_first_screen_and_the_rigs_and_can_be_discarded(
    commissioned_logbook, walk
):
    path = commissioned_logbook
    leave_journal(path, RIG, source=stall_source(), begun=NOW - timedelta(hours=1))
    app = app_on(path.parent)

    async def journey(pilot, look):
        await keys(pilot, "escape")
        assert "1 recording never judged (yard-loader): press J." in said(app)
        assert "restricted" in said(app)
        await keys(pilot, "enter")
        assert "A recording is not judged yet. Press J." in said(app)
        assert "restricted: a recording of a lock throw, begun 2026-03-14 08:12, was never judged" in said(
            app
        )
        await keys(pilot, "j", "d")
        assert "fail" in said(app)
        await keys(pilot, "enter")
        assert "DO NOT USE" in said(app)
        assert "never judged" not in said(app)

    walk(app, journey)
    assert unfinished(journal_folder(str(path))) == []
