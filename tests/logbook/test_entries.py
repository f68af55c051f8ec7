"""What is taken out of the file is missed, by kind, rig and number; a merge, a copy and an upgrade miss nothing."""

import hashlib
import random

import pytest

from tests.drawn import drawn
from tests.logbook.conftest import NOW, RIG, TOML, fill, make_assessment, make_trace
from throwbook.core.records import Order, PinAnswers, Service
from throwbook.core.status.latch import LEVELS
from throwbook.errors import InputError
from throwbook.jobs.latch import Clearing, clear, status
from throwbook.jobs.logbook_care import check as job_check
from throwbook.logbook import migrations, open_logbook, store
from throwbook.logbook.integrity import check
from throwbook.logbook.merge import merge
from throwbook.logbook.schema import TABLES, to_json

OTHER = "yard-loader"


@pytest.fixture
def full(book):
    """Two rigs; three sheets of the first, a stall on the second of them with its order, and everything else once."""
    fill(book, trials=2)
    sheet = book.plan_sheet(RIG, "seasonal", {}, "M. K.", NOW)
    trace = make_trace(20, samples=60)
    stalled = book.add_trial(sheet.id, trace, make_assessment("fail"), "M. K.", NOW, software_version="0.1.0")
    book.sight(stalled.id, PinAnswers("yes", "no", "by eye"), "M. K.", NOW)
    for cause in ("stall", "pin not seen"):
        raised = Order(RIG, "do not use", cause, "seen", NOW, "M. K.", trial=stalled.id, sheet=sheet.id)
        book.add_order(raised)
    fill(book, trials=1, first_seed=40)
    book.add_service(Service(RIG, "greased", NOW, "M. K.", fixed=NOW))
    book.add_rig(OTHER, TOML.replace(RIG, OTHER), "M. K.", NOW)
    return book


def without_guards(book):
    """What somebody with a shell does first; put back afterwards, as somebody who covers it up would."""
    guards = book.read("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
    book.db.execute("PRAGMA foreign_keys = OFF")
    for name, _ in guards:
        book.db.execute(f"DROP TRIGGER {name}")
    return [sql for _, sql in guards]


def taken_out(book, *statements):
    guards = without_guards(book)
    for each in statements:
        assert book.db.execute(each).rowcount > 0, each
    for each in guards:
        book.db.execute(each)


def told(book):
    return [f"{one.where}: {one.what}" for one in check(book).problems]


def test_a_whole_logbook_misses_nothing(full):
    assert full.missing() == []
    assert check(full).problems == ()


def test_the_stalls_judgement_and_order_deleted_leave_the_rig_out_of_service_and_named(full):
    taken_out(
        full,
        "DELETE FROM judgement WHERE verdict = 'fail'",
        "DELETE FROM latch_order",
        "DELETE FROM sighting",
    )
    held = status(full, RIG)
    assert held.level == "do not use"
    assert any("a judgement of throw 1 of sheet 2 is missing" in one.sentence for one in held.open)
    assert f"{RIG}: a judgement of throw 1 of sheet 2 is missing from this logbook" in told(full)
    assert f"{RIG}: an order: stall is missing from this logbook" in told(full)
    assert f"{RIG}: a sighting at throw 1 of sheet 2 is missing from this logbook" in told(full)
    assert status(full, OTHER).level == "in service"


WHOLE_SHEET = (
    "DELETE FROM judgement WHERE trial IN (SELECT trial FROM placement WHERE sheet IN (SELECT id FROM sheet WHERE number = {n}))",
    "DELETE FROM trial WHERE id IN (SELECT trial FROM placement WHERE sheet IN (SELECT id FROM sheet WHERE number = {n}))",
    "DELETE FROM placement WHERE sheet IN (SELECT id FROM sheet WHERE number = {n})",
    "DELETE FROM sheet WHERE number = {n}",
)


@pytest.mark.parametrize("number", [1, 3])
def test_a_whole_sheet_deleted_is_seen_by_its_number_the_newest_too(full, number):
    taken_out(full, *(each.format(n=number) for each in WHOLE_SHEET))
    assert f"{RIG}: sheet {number} is missing from this logbook" in told(full)
    assert any(f"sheet {number} is missing" in one.sentence for one in status(full, RIG).open)
    assert status(full, OTHER).level == "in service"


ONE_OF_EACH = {
    "rig_revision": f"DELETE FROM rig_revision WHERE rig = '{RIG}'",
    "judgement": "DELETE FROM judgement WHERE verdict = 'fail'",
    "sighting": "DELETE FROM sighting",
    "service": "DELETE FROM service",
    "latch_order": "DELETE FROM latch_order",
    "placement": "DELETE FROM placement WHERE trial IN (SELECT trial FROM judgement WHERE verdict = 'fail')",
    "trial": "DELETE FROM trial WHERE id IN (SELECT trial FROM judgement WHERE verdict = 'fail')",
    "sheet": "DELETE FROM sheet WHERE number = 2",
}


@pytest.mark.parametrize("kind", ONE_OF_EACH)
def test_one_kind_of_row_deleted_is_missed_by_check_and_by_the_status(full, kind):
    taken_out(full, ONE_OF_EACH[kind])
    gone = {one.id for one in full.missing() if one.kind == kind}
    assert gone
    assert gone <= set(status(full, RIG).open_ids)
    assert any("is missing from this logbook" in each for each in told(full))


def test_entries_deleted_with_their_rows_leave_gaps_and_a_tally_too_high(full):
    for_sighting = "DELETE FROM entry WHERE kind = 'sighting'"
    taken_out(full, "DELETE FROM sighting", for_sighting)
    assert any("of the list of entries is missing" in each for each in told(full))
    assert {status(full, rig).level for rig in (RIG, OTHER)} == {"do not use", "restricted"}


def test_the_newest_rows_deleted_with_their_entries_are_missed(full):
    last = full.read("SELECT kind, row FROM entry ORDER BY number DESC LIMIT 1")[0]
    assert last[0] == "rig_revision"
    taken_out(
        full,
        f"DELETE FROM rig_revision WHERE id = '{last[1]}'",
        "DELETE FROM entry WHERE number = (SELECT max(number) FROM entry)",
    )
    assert any("1 entries of the kind 'a version of its rig file'" in each for each in told(full))
    assert status(full, OTHER).level == "restricted"


def test_entries_numbered_anew_break_the_chain(full):
    taken_out(
        full,
        "DELETE FROM entry WHERE number = 5",
        "UPDATE entry SET number = -(number - 1) WHERE number > 5",
        "UPDATE entry SET number = -number WHERE number < 0",
    )
    assert any("number 5 of the list of entries was changed" in each for each in told(full))


def test_a_row_that_another_program_put_in_is_told(full):
    without_guards(full)
    full.db.execute(
        "INSERT INTO sheet SELECT 'abcdef0123456789', rig, kind, 9, plan, nonce, at, \"by\" FROM sheet LIMIT 1"
    )
    assert any("a row of sheet (abcdef01) was put in by another program" in each for each in told(full))


def test_guards_that_are_gone_or_others_are_named_and_hold_every_rig(full):
    full.db.execute("DROP TRIGGER latch_order_no_delete")
    full.db.execute("DROP TRIGGER sighting_no_update")
    full.db.execute("CREATE TRIGGER sighting_no_update BEFORE UPDATE ON sighting BEGIN SELECT 1; END")
    said = told(full)
    assert any("guard against changes is missing (latch_order_no_delete)" in each for each in said)
    assert any("guard against changes is another (sighting_no_update)" in each for each in said)
    assert status(full, OTHER).level == "restricted"


def test_a_table_that_is_gone_is_named(full):
    full.db.execute("DROP TABLE tally")
    assert any("(table tally)" in each for each in told(full))
    assert status(full, OTHER).level == "restricted"


def test_the_structure_is_the_one_that_the_steps_make():
    text = to_json(sorted(store.released_structure().items()))
    assert hashlib.sha256(text.encode()).hexdigest() == migrations.STRUCTURE


def test_a_signed_clearance_answers_a_missing_row_and_stays_when_the_row_comes_back(full, tmp_path):
    whole = tmp_path / "whole"
    full.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    whole.write_bytes(full.path.read_bytes())
    taken_out(full, "DELETE FROM service")
    [one] = [one for one in status(full, RIG).open if one.cause == "missing row"]
    clear(full.path, RIG, Clearing((one.ids[0][:8],), "M. K.", "a page torn out, written anew"), "M. K.", NOW)
    assert sorted(one.cause for one in status(full, RIG).open) == ["pin not seen", "stall"]
    merge(full, whole)
    assert full.missing() == []
    assert sorted(one.cause for one in status(full, RIG).open) == ["pin not seen", "stall"]


def test_a_merge_heals_what_is_missing_and_carries_over_what_both_miss(full, tmp_path):
    full.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    for name in ("whole", "harmed"):
        (tmp_path / name).write_bytes(full.path.read_bytes())
    with open_logbook(tmp_path / "harmed") as harmed:
        taken_out(harmed, "DELETE FROM service", "DELETE FROM sighting")
        fill(harmed, trials=1, first_seed=90)
        kinds = {one.kind for one in harmed.missing()}
        assert kinds == {"service", "sighting"}
        with open_logbook(tmp_path / "fresh") as fresh:
            merge(fresh, harmed.path)
            assert {one.kind for one in fresh.missing()} == kinds
            merge(fresh, tmp_path / "whole")
            assert fresh.missing() == []
            assert check(fresh).problems == ()
        merge(harmed, tmp_path / "whole")
        assert harmed.missing() == []
        assert check(harmed).problems == ()


@pytest.mark.parametrize("which", ["kind = 'service'", "number = (SELECT max(number) FROM entry)"])
def test_a_logbook_whose_list_was_changed_does_not_come_in(full, tmp_path, which):
    rows = full.read(f"SELECT kind, row FROM entry WHERE {which}")
    taken_out(
        full,
        *(f"DELETE FROM {kind} WHERE id = '{row}'" for kind, row in rows),
        f"DELETE FROM entry WHERE {which}",
    )
    with open_logbook(tmp_path / "fresh") as fresh:
        with pytest.raises(InputError, match="list of entries"):
            merge(fresh, full.path)
        assert fresh.rig_names() == []


def test_two_logbooks_merged_either_way_miss_nothing_and_list_the_same_rows(full, tmp_path):
    with open_logbook(tmp_path / "other") as other:
        other.add_rig(RIG, TOML, "M. K.", NOW)
        for seed in (60, 70, 80):
            fill(other, trials=2, first_seed=seed)
        merge(other, full.path)
        merge(full, other.path)
        listed = [
            {tuple(row) for row in one.read("SELECT kind, row, rig FROM entry")} for one in (full, other)
        ]
        assert listed[0] == listed[1]
        for one in (full, other):
            assert check(one).problems == ()
            assert one.missing() == []
            fill(one, trials=1, first_seed=95)
            assert check(one).problems == ()


def test_every_row_is_on_the_list_once(full):
    for table in TABLES:
        rows = {row[0] for row in full.read(f"SELECT id FROM {table.name}")}
        listed = [row[0] for row in full.read("SELECT row FROM entry WHERE kind = ?", [table.name])]
        assert sorted(listed) == sorted(rows)


def test_an_old_logbook_whose_stall_was_taken_out_before_the_upgrade_is_found_by_its_throw(tmp_path):
    from pathlib import Path

    from tests.raw_file import raw

    path = tmp_path / "old"
    with raw(path) as db:
        db.executescript((Path(__file__).parent / "past" / "v3.sql").read_text("utf-8"))
        trial = db.execute("SELECT trial FROM judgement LIMIT 1").fetchone()[0]
        db.execute("DROP TRIGGER judgement_no_delete")
        db.execute("DELETE FROM judgement WHERE trial = ?", [trial])
        db.commit()
    with open_logbook(path) as book:
        assert any("a judgement of throw" in one.sentence for one in status(book, RIG).open)
    said = [one.what for one in job_check(str(path))[1].problems]
    assert any("a judgement of throw" in each for each in said)
    assert any("judgement_no_delete" in each for each in said)


def test_whatever_rows_are_taken_out_no_rig_looks_better_and_check_tells(full, tmp_path):
    """Many times some rows of some kinds, and in every third case their entries too."""
    full.add_order(Order(OTHER, "restricted", "person: restricted", "it creaks", NOW, "M. K."))
    full.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    whole = full.path.read_bytes()
    before = {rig: LEVELS.index(status(full, rig).level) for rig in (RIG, OTHER)}
    picks, target = random.Random(20260401), tmp_path / "harmed"
    leaks = silent = 0
    for case in range(drawn(120, 45)):
        target.write_bytes(whole)
        with open_logbook(target) as book:
            book.db.execute("PRAGMA synchronous = OFF")
            guards, taken = without_guards(book), 0
            for table in picks.sample(TABLES, picks.randint(1, 4)):
                for (row,) in book.read(f"SELECT id FROM {table.name} ORDER BY id"):
                    if picks.random() < 0.5:
                        taken += book.db.execute(f"DELETE FROM {table.name} WHERE id = ?", [row]).rowcount
                        if case % 3 == 0:
                            book.db.execute("DELETE FROM entry WHERE row = ?", [row])
            for each in guards:
                book.db.execute(each)
            silent += bool(taken) and not check(book).problems
            leaks += any(LEVELS.index(status(book, rig).level) < before[rig] for rig in book.rig_names())
    assert (leaks, silent) == (0, 0)
