"""Check finds every change; backup gives a whole copy."""

import random

import pytest

from tests.drawn import drawn
from tests.logbook.conftest import NOW, RIG, TOML, fill
from throwbook.core.records import Order, PinAnswers
from throwbook.errors import InputError, ThrowbookError
from throwbook.logbook import open_logbook
from throwbook.logbook.integrity import backup, check
from throwbook.logbook.schema import TABLES


@pytest.fixture
def sealed(book):
    """A book with one decided and sealed sheet (quarry-loader-1) and an open one."""
    first = fill(book, trials=2)
    for logged in book.trials(sheet=first.id):
        book.sight(logged.id, PinAnswers("yes", "no", "by eye"), "M. K.", NOW)
    book.add_order(Order(RIG, "do not use", "pin not seen", "right pin", NOW, "M. K."))
    decision = book.decide(first.id, "rejected", "M. K.", {"right_pin": "no"}, "M. K.", NOW)
    book.seal_sheet(first.id, decision.id, NOW)
    fill(book, trials=1, first_seed=90)
    return book


def tamper(book, table, sql):
    for trigger in ("no_update", "no_delete"):
        book.db.execute(f"DROP TRIGGER {table}_{trigger}")
    book.db.execute("PRAGMA foreign_keys = OFF")
    book.db.execute(sql)


def test_a_whole_logbook_has_no_problems(sealed):
    found = check(sealed)
    assert found.problems == ()
    assert (found.rigs, found.sheets, found.trials, found.seals) == (1, 2, 3, 1)


CHANGES = (
    ("sighting", "UPDATE sighting SET right_pin = 'yes'", "sheet quarry-loader-1", "sighting"),
    (
        "judgement",
        "UPDATE judgement SET verdict = 'fail' WHERE rowid = 1",
        "sheet quarry-loader-1",
        "judgement",
    ),
    (
        "judgement",
        "UPDATE judgement SET verdict = 'fail' WHERE rowid = 3",
        "sheet quarry-loader-2",
        "judgement",
    ),
    ("decision", "UPDATE decision SET outcome = 'accepted'", "sheet quarry-loader-1", "decision"),
    ("decision", "DELETE FROM decision", "sheet quarry-loader-1", "gone"),
    ("latch_order", "DELETE FROM latch_order", "sheet quarry-loader-1", "gone"),
    ("latch_order", "UPDATE latch_order SET level = 'watch'", RIG, "latch_order"),
    ("trace", "UPDATE trace SET data = x'00' WHERE rowid = 1", "sheet quarry-loader-1", "samples"),
    (
        "trace",
        "UPDATE trace SET data = (SELECT data FROM trace WHERE rowid = 2) WHERE rowid = 1",
        "sheet quarry-loader-1",
        "samples",
    ),
    ("sheet", "UPDATE sheet SET kind = 'spot' WHERE number = 1", "sheet quarry-loader-1", "sheet"),
    ("sighting", "DELETE FROM sighting WHERE rowid = 1", "sheet quarry-loader-1", "seal"),
    ("trial", "DELETE FROM trial WHERE rowid = 3", "placement", "points to"),
    ("seal", "UPDATE seal SET digest = 'a'", "sheet quarry-loader-1", "seal"),
)


@pytest.mark.parametrize(
    ("table", "sql", "where", "what"), CHANGES, ids=[change[1][:50] for change in CHANGES]
)
def test_a_change_behind_the_programs_back_is_found_and_its_sheet_is_named(sealed, table, sql, where, what):
    tamper(sealed, table, sql)
    told = [f"{problem.where}: {problem.what}" for problem in check(sealed).problems]
    assert any(each.startswith(where) and what in each for each in told), told


@pytest.mark.parametrize(
    "assessment", ["{", '{"signs": ["stall"]}', '{"signs": 1}', "[]", "[" * 3000], ids=range(5)
)
def test_a_damaged_judgement_leaves_the_status_of_every_rig_readable(sealed, assessment):
    from throwbook.jobs.latch import status

    tamper(sealed, "judgement", "SELECT 1")
    sealed.db.execute("UPDATE judgement SET verdict = 'fail', assessment = ?, replaces = '{'", [assessment])
    assert status(sealed, RIG).level == "do not use"
    assert any("judgement" in problem.what for problem in check(sealed).problems)


def test_a_row_forged_with_a_fitting_id_still_breaks_the_seal(sealed):
    [before] = {each.id for each in sealed.stored("decision", "", [])}
    tamper(sealed, "decision", "UPDATE decision SET outcome = 'accepted'")
    [forged] = sealed.altered("decision")
    from throwbook.logbook.schema import BY_NAME, fact

    row = dict(sealed.read("SELECT * FROM decision")[0])
    sealed.db.execute("UPDATE decision SET id = ?", [fact(BY_NAME["decision"], row).id])
    assert sealed.altered("decision") == []
    assert forged.id == before
    assert any(problem.where == "sheet quarry-loader-1" for problem in check(sealed).problems)


def test_a_flipped_byte_anywhere_is_found_or_changes_nothing(tmp_path, sealed):
    """Random places: either check says so, or every row and every trace still reads the same."""
    path = sealed.path
    fill(sealed, trials=40, first_seed=200, samples=3000)
    whole = everything(sealed)
    sealed.close()
    original = path.read_bytes()
    picks = random.Random(20260314)
    silent = 0
    flips = drawn(100, 20)
    for _ in range(flips):
        place, bit = picks.randrange(len(original)), 1 << picks.randrange(8)
        damaged = bytearray(original)
        damaged[place] ^= bit
        target = tmp_path / "damaged"
        target.write_bytes(damaged)
        try:
            with open_logbook(target, read_only=True) as book:
                problems = check(book).problems
                if not problems:
                    silent += 1
                    assert everything(book) == whole, place
        except ThrowbookError:
            pass  # one line that says so
        for ending in ("", "-wal", "-shm"):
            (tmp_path / f"damaged{ending}").unlink(missing_ok=True)
    assert silent < 0.5 * flips  # most of the file is filled: most flips must be noticed


@pytest.mark.parametrize(
    "table", ["trial", "placement", "judgement", "sighting", "decision", "latch_order", "seal"]
)
def test_a_table_that_lost_the_name_of_a_column_is_a_damaged_logbook_in_one_line(sealed, table):
    last = next(list(each.columns)[-1] for each in TABLES if each.name == table)
    tamper(sealed, table, f"ALTER TABLE {table} RENAME COLUMN {last} TO odd")
    with pytest.raises(ThrowbookError) as told:
        check(sealed)
    assert "\n" not in str(told.value)


def everything(book):
    return {
        name: [tuple(row) for row in book.read(f"SELECT * FROM {name} ORDER BY 1")]
        for name in ["rig", "trace", "picture", *(table.name for table in TABLES)]
    }


def test_a_backup_made_while_a_step_is_under_way_is_whole_and_without_that_step(sealed, tmp_path):
    target = tmp_path / "copy of the logbook é.db"
    with open_logbook(sealed.path) as other, other.transaction():
        other.add_rig("yard-loader", TOML, "M. K.", NOW)
        with open_logbook(sealed.path, read_only=True) as reader:
            assert backup(reader, target) == target.stat().st_size
    with open_logbook(target, read_only=True) as copy:
        assert check(copy).problems == ()
        assert copy.rig_names() == [RIG]


def test_a_backup_never_writes_over_a_file(sealed, tmp_path):
    target = tmp_path / "there"
    target.write_text("already")
    with pytest.raises(InputError, match="already"):
        backup(sealed, target)
    assert target.read_text() == "already"
