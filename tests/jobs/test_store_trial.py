"""From the end of a recording to its place: kept once, whoever looks meanwhile and wherever it breaks off."""

import shutil
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.ports.bench import RIG, board_on_a_cable
from tests.ports.stream_board import lines_of, stream_board, throw_rows
from throwbook.errors import InputError
from throwbook.files.journal import Journal, unfinished
from throwbook.jobs.find import RigSource, journal_folder, opened
from throwbook.jobs.record import Recording, RecordPlan
from throwbook.jobs.recording import Recorded, recover
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.store_trial import Place, judge_left_over, keep, left_over
from throwbook.protocol.framing import frame
from throwbook.protocol.simulated_board import IDENTITY

NOW = datetime(2026, 3, 14, 9, 12, 33, tzinfo=UTC)
BY = "M. K."
TOP = Path(__file__).parents[2]
HEADER = {
    "rig": RIG.name,
    "rig_ref": RIG.name,
    "direction": "lock",
    "rate_hz": 200,
    "keep_all": False,
    "ambient_c": None,
    "started": NOW.isoformat(),
}


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "log.throwbook"
    add_rig(path, TOP / "sample-runs" / "yard-loader.toml", BY, NOW)
    return path


def recorded(book: Path) -> Recorded:
    """A throw that has ended and isn't kept yet."""
    with board_on_a_cable(speed=16.0, identity=replace(IDENTITY, id="bench-1")) as (port, _):
        folder = journal_folder(str(book))
        given = RecordPlan(
            port.name, RIG, "lock", folder, rig_ref=RIG.name, silent_s=10.0, answer_within_s=30.0
        )
        return Recording(given, now=lambda: NOW).run()


def journals(book: Path) -> list[Path]:
    return [one.journal for one in left_over(str(book))]


def throws(book: Path) -> list[str]:
    with opened(book, read_only=True) as held:
        return [sheet for logged in held.trials(rig=RIG.name) for sheet in held.sheets_of(logged.trial.id)]


def test_what_has_ended_is_offered_to_nobody_until_it_is_kept(book: Path):
    one = recorded(book)
    assert one.journal.exists()
    assert journals(book) == []  # another program looks while this one judges
    kept = keep(one, Place(logbook=str(book), in_logbook=True, by=BY), NOW)
    assert throws(book) == [kept.sheet]
    assert not one.journal.exists()


def test_what_could_not_be_kept_is_offered_at_once(book: Path):
    one = recorded(book)
    with pytest.raises(InputError):
        keep(one, Place(logbook=str(book), in_logbook=True, sheet="no-such-sheet", by=BY), NOW)
    assert journals(book) == [one.journal]


def test_a_throw_that_was_kept_just_before_the_program_died_is_recovered_onto_its_own_sheet(book: Path):
    one = recorded(book)
    copy = shutil.copy(one.journal, book.parent)
    kept = keep(one, Place(logbook=str(book), in_logbook=True, by=BY), NOW)
    shutil.move(copy, one.journal)  # as it lies there when the program dies before it lets go of it
    (done,) = judge_left_over(left_over(str(book)), str(book), BY, NOW)
    assert done.recorded.samples == one.samples
    assert done.kept.sheet == kept.sheet
    assert throws(book) == [kept.sheet]
    assert list(journal_folder(str(book)).iterdir()) == []


def test_the_same_goes_for_a_trace_file_but_no_other_file_is_taken_for_it(book: Path):
    one, file = recorded(book), book.parent / "t.csv"
    copy = shutil.copy(one.journal, book.parent)
    keep(one, Place(out=file), NOW)
    shutil.move(copy, one.journal)
    again = recover(one.journal, lambda ref: RigSource(RIG))
    before = file.read_bytes()
    file.write_bytes(before + b"99.9,0.0,12.6\n")
    with pytest.raises(InputError, match="such a file already"):
        keep(again, Place(out=file), NOW)
    file.write_bytes(before)
    assert keep(again, Place(out=file), NOW).file == file
    assert file.read_bytes() == before
    assert journals(book) == []


def test_journals_in_which_nothing_came_are_dropped_and_stand_in_nobodys_way(book: Path):
    folder = journal_folder(str(book))
    Journal(folder / "a armed.journal", HEADER, 0.0).close()
    (folder / "b begun.journal").touch()
    strange = folder / "c strange.journal"
    strange.write_bytes(b"Greased the left pin.")
    one = recorded(book)
    one.let_go()
    alive = Journal(folder / "e alive.journal", HEADER, 0.0)
    assert journals(book) == [strange, one.journal]
    bad, good = judge_left_over(left_over(str(book)), str(book), BY, NOW)
    assert "no journal" in str(bad.error)
    assert good.kept.sheet == f"{RIG.name}-1"
    assert len(throws(book)) == 1
    assert sorted(path.name[0] for path in folder.iterdir()) == ["b", "c", "e"]
    alive.close()
    assert len(unfinished(folder)) == 3


def test_what_the_board_said_is_still_in_the_head_from_the_logbook(book: Path):
    rows = throw_rows()
    lines = lines_of(rows)
    lines.insert(1500, frame(b"F,over-range,current beyond the range"))
    lines.insert(1000, lines[999])
    with stream_board(lines) as port:
        given = RecordPlan(
            port.name,
            RIG,
            "lock",
            journal_folder(str(book)),
            rig_ref=RIG.name,
            silent_s=10.0,
            answer_within_s=30.0,
        )
        one = Recording(given, now=lambda: NOW).run()
    head = dict(one.trace.head)
    assert head["board_faults"][0]["code"] == "over-range"
    keep(one, Place(logbook=str(book), in_logbook=True, by=BY), NOW)
    with opened(book, read_only=True) as held:
        (logged,) = held.trials(rig=RIG.name)
        again = held.trace(logged.trial.id)
    assert {key: value for key, value in again.head.items() if key in head} == {
        key: again.head[key] if key == "started" else value for key, value in head.items()
    }


def test_lines_that_nobody_could_read_stay_beside_a_journal_that_came_to_nothing(book: Path):
    folder = journal_folder(str(book))
    noise = bytes(range(1, 256)) * 40
    for number in range(8):
        journal = Journal(folder / f"2026031{number}.journal", HEADER, 0.0)
        journal.append(noise, 1.0)
        journal.close()
    quiet = Journal(folder / "20260320.journal", HEADER, 0.0)
    quiet.append(frame(b"K,halt"), 1.0)
    quiet.close()
    assert journals(book) == []
    left = sorted(folder.iterdir())
    assert [path.name for path in left] == [f"2026031{number}.unread" for number in range(3, 8)]
    assert {path.read_bytes() for path in left} == {noise}
