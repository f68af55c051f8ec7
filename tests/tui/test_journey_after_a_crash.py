"""Journey 10: a recording that broke off is found at the start and offered."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from logger.files.journal import Journal, unfinished
from logger.jobs.logbooks import journal_folder
from logger.jobs.rehearse import Rehearsal, make_board
from logger.jobs.rigsource import find_rig
from logger.jobs.sheet_view import view
from logger.protocol.session import Session
from tests.tui.bench import NOW, RIG, app_on, keys, said

STEP_S = 0.05


def journal_of_a_crash(logbook: Path, seconds: float) -> None:
    """Just what a recording leaves that was killed: head and bytes, no end, the last record torn."""
    header = {
        "rig": RIG,
        "rig_ref": RIG,
        "direction": "lock",
        "port": "/dev/ttyUSB0",
        "baud": 115200,
        "rate_hz": 200,
        "keep_all": False,
        "on_bench": False,
        "ambient_c": None,
        "started": (NOW - timedelta(hours=1)).isoformat(),
    }
    file = journal_folder(str(logbook)) / "20260314-081200-yard-loader-lock.journal"
    journal = Journal(file, header, 0.0)
    board, session = make_board(Rehearsal(find_rig(RIG, str(logbook)).rig, rest_s=1.0)), Session()
    board.identity = replace(
        board.identity, id="shunt-1"
    )  # a board on a machine, or it would stay out of the logbook
    to_board = session.start(200, None)
    for number in range(int(seconds / STEP_S)):
        sent = board.receive(to_board, number * STEP_S) + board.advance((number + 1) * STEP_S)
        journal.append(sent, number * STEP_S)
        session.receive(sent)
        to_board = session.to_send()
    journal.close()
    file.write_bytes(file.read_bytes()[:-7])


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
        assert "broke off before it was kept" in said(pilot.app)
        await keys(pilot, "escape")
        assert "rigs of fellside.throwbook" in said(pilot.app)

    walk(app_on(commissioned_logbook.parent), journey)
    walk(app_on(commissioned_logbook.parent), journey)
    assert len(unfinished(journal_folder(str(commissioned_logbook)))) == 1
