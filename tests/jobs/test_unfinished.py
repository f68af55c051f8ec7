"""Unfinished recordings: told of wherever a rig is shown, and nothing brings the rig down until they are judged."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tests.command import BY, TOP
from tests.left_journals import BEGUN, leave_journal, stall_source, throw_source
from throwbook.core.records import PinAnswers
from throwbook.core.sheets.hand_readings import parse_lines
from throwbook.core.status.latch import DO_NOT_USE, IN_SERVICE, RESTRICTED
from throwbook.core.status.status_text import judging_first, reasons
from throwbook.core.trace import FloatArray
from throwbook.errors import InputError
from throwbook.files.journal import Journal
from throwbook.jobs import latch, sign_off
from throwbook.jobs.enter import HandEntry, enter
from throwbook.jobs.find import journal_folder, opened
from throwbook.jobs.rig_list import list_rigs, overview
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.store_trial import DISCARDED, judge_left_over, left_over
from throwbook.jobs.unfinished import JUDGE, unfinished_recordings
from throwbook.protocol.simulated_board import Readings

NOW = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
RIG = "yard-loader"
PAIR = (
    "lock 11.6s 1.60A 2.10A 12.40V both seen, load check done, stayed put\nunlock 11.3s 1.40A 1.90A 12.40V\n"
)
YES = PinAnswers("yes", "yes", "lamp, both sides", "yes", "yes")


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "log.throwbook"
    add_rig(path, TOP / "sample-runs" / "yard-loader.toml", BY, NOW)
    return path


def status(book: Path, rig: str = RIG):
    with opened(book, read_only=True) as held:
        return latch.status(held, rig)


def sheet_to_accept(book: Path) -> str:
    told = {"hours_since_movement": 16.0, "worked_before": "no"}
    entry = HandEntry(parse_lines(PAIR * 5), "commissioning", answers=told, seen_how="lamp")
    return enter(book, RIG, entry, BY, NOW).state.name


def judged(book: Path, *, discard: bool = False):
    return list(judge_left_over(left_over(str(book)), str(book), BY, NOW, discard=discard))


def test_it_holds_the_rig_and_says_why_and_what_judges_it(book: Path):
    assert status(book).level == IN_SERVICE
    journal = leave_journal(book)
    held = status(book)
    assert held.level == RESTRICTED
    assert reasons(held) == [
        f"restricted: a recording of a lock throw, begun {BEGUN:%Y-%m-%d %H:%M}, was never judged"
    ]
    assert judging_first(held) == [JUDGE]
    assert held.open_ids == ()  # no order: nothing that a sheet or a repair could answer
    [listed] = list_rigs(book, NOW.date())
    assert listed.rig_status.status == held
    [first] = overview(str(book), NOW.date()).unfinished
    assert (first.journal, first.rig) == (journal, RIG)


def test_another_rig_is_not_held_by_it(book: Path):
    other = book.parent / "other.toml"
    other.write_text((TOP / "sample-runs" / "yard-loader.toml").read_text().replace(RIG, "other"))
    add_rig(book, other, BY, NOW)
    leave_journal(book)
    assert status(book, "other").level == IN_SERVICE


def test_one_that_runs_is_being_recorded_and_not_unfinished(book: Path):
    path = leave_journal(book)
    alive = path.with_name("20260314-091200-000000-yard-loader-lock.journal")
    path.rename(alive.with_suffix(".bytes"))
    journal = Journal(
        alive, {"rig": RIG, "rig_ref": RIG, "direction": "lock", "started": NOW.isoformat()}, 0.0
    )
    journal.append(b"x" * 9000, 0.1)
    assert unfinished_recordings(book) == []
    assert status(book).level == IN_SERVICE
    journal.close()
    assert status(book).level == RESTRICTED


def test_no_sheet_is_accepted_and_no_order_cleared_until_it_is_judged(book: Path):
    name = sheet_to_accept(book)
    latch.raise_by_hand(book, RIG, "person: watch", "it squeaks", BY, NOW)
    orders = status(book).open_ids
    leave_journal(book, seconds=6.0)
    clearing = latch.Clearing(orders, BY, "greased")
    with pytest.raises(InputError, match=r"not accepted: a recording of a lock throw.*Judge first"):
        sign_off.accept(book, name, YES, BY, NOW)
    with pytest.raises(InputError, match=r"not cleared: a recording of a lock throw.*Judge first"):
        latch.clear(book, RIG, clearing, BY, NOW)
    [done] = judged(book)
    assert done.error is None
    latch.clear(book, RIG, clearing, BY, NOW)
    assert sign_off.accept(book, name, YES, BY, NOW).state.state == "accepted"


@pytest.mark.parametrize("discard", [False, True])
def test_a_stall_in_it_takes_the_rig_out_of_use_kept_or_discarded(book: Path, discard: bool):
    leave_journal(book, source=stall_source())
    [done] = judged(book, discard=discard)
    assert done.kept.took_out
    held = status(book)
    assert (held.level, held.pending, [one.cause for one in held.open]) == (DO_NOT_USE, (), ["stall"])
    with opened(book, read_only=True) as read:
        [logged] = read.trials(rig=RIG)
    assert logged.placement.left_out == (DISCARDED if discard else "")
    assert unfinished_recordings(book) == []


def test_where_nothing_flowed_a_discarded_one_goes(book: Path):
    leave_journal(book, seconds=1.2)  # before the current comes
    assert status(book).level == RESTRICTED
    [done] = judged(book, discard=True)
    assert done.kept is None
    assert status(book).level == IN_SERVICE
    assert list(journal_folder(book).iterdir()) == []


@pytest.mark.parametrize("discard", [False, True])
def test_where_nothing_flowed_a_pin_switch_that_speaks_reaches_the_rig_kept_or_discarded(
    book: Path, discard: bool
):
    plain = throw_source()

    def apart(time_s: FloatArray) -> Readings:
        return Readings(*plain(time_s), np.ones(len(time_s), np.bool_), np.zeros(len(time_s), np.bool_))

    leave_journal(book, source=apart, seconds=1.2, channels="IVS")
    [done] = judged(book, discard=discard)
    assert not done.recorded.no_current
    assert done.kept.took_out
    assert status(book).level == DO_NOT_USE


def test_one_that_cannot_be_judged_stands_in_no_others_way_and_set_aside_it_holds_the_rig(book: Path):
    torn = journal_folder(book) / f"20260314-070000-000000-{RIG}-lock.journal"
    torn.parent.mkdir()
    torn.write_bytes(b"H\xff torn in its head" * 20)
    leave_journal(book, source=stall_source())
    assert len(status(book).pending) == 2
    bad, good = judged(book)
    assert "no journal of a recording" in str(bad.error)
    assert good.kept.took_out
    assert [one.journal for one in unfinished_recordings(book)] == [torn]
    [aside] = judged(book, discard=True)
    assert aside.set_aside.read_bytes() == b"H\xff torn in its head" * 20  # its bytes stay
    held = status(book)
    assert held.pending == ()
    assert [(one.cause, one.level) for one in held.open] == [
        ("stall", DO_NOT_USE),
        ("unread recording", RESTRICTED),
    ]


def test_a_damaged_head_stands_in_no_others_way(book: Path):
    leave_journal(book, begun=BEGUN, rate_hz=200, started="no date at all")  # its head is damaged
    leave_journal(book, begun=BEGUN + timedelta(minutes=1), source=stall_source())
    done = judged(book)
    assert [one.error is None for one in done] == [False, True]
    assert status(book).level == DO_NOT_USE


def test_what_was_recorded_by_a_rig_file_reaches_the_status_of_the_rig_in_the_logbook(book: Path):
    leave_journal(book, source=stall_source(), rig_ref=str(TOP / "sample-runs" / "yard-loader.toml"))
    assert status(book).level == RESTRICTED
    [done] = judged(book)
    assert done.kept.took_out
    assert status(book).level == DO_NOT_USE


def test_it_is_judged_once_although_two_want_to(book: Path):
    leave_journal(book, source=stall_source())
    [one] = left_over(str(book))
    from throwbook.jobs.store_trial import recover_unfinished

    first, _ = recover_unfinished(one, str(book))
    assert left_over(str(book)) == []
    [second] = judge_left_over([one], str(book), BY, NOW)
    assert "still runs" in str(second.error)
    first.let_go()
    assert left_over(str(book)) == [one]
