"""A logbook put back from a backup: nothing is lost, no status is eased, whatever the present file looks like and whenever it breaks off."""

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.command import KILLED, TOP, environment
from tests.drawn import drawn
from tests.made_pictures import photo
from tests.raw_file import raw
from throwbook.core.records import PinAnswers
from throwbook.core.sheets.hand_readings import HandThrow, Reading
from throwbook.core.status.latch import LEVELS
from throwbook.errors import InputError, OutsideError
from throwbook.jobs import latch
from throwbook.jobs.enter import HandEntry, enter
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.jobs.logbook_care import back_up, check
from throwbook.jobs.restore import CAUSE, restore
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.sheets import see
from throwbook.logbook import open_logbook
from throwbook.logbook.schema import TABLES

pytestmark = pytest.mark.long

RIGS = ("yard-loader", "quarry-loader")
FILE = TOP / "sample-runs" / "yard-loader.toml"
NOW = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)
LATER = NOW + timedelta(days=30)


def thrown(book, rig=RIGS[0], ended="cut-off", minute=0, left="yes"):
    throw = HandThrow(
        "lock", Reading(14.3, 0.1), Reading(2.0, 0.1), Reading(2.6, 0.1), Reading(12.4, 0.1),
        ended=ended, left_pin=left, right_pin="yes",
    )  # fmt: skip
    at = NOW + timedelta(minutes=minute)
    if ended != "cut-off":
        throw = replace(throw, time_s=None)
    return enter(
        book, rig, HandEntry([throw], "spot", seen_how="lamp", thrown_at=at, again=True), "M. K.", at
    )


@pytest.fixture
def paths(tmp_path):
    return started(tmp_path)


def started(folder, at=NOW):
    """A logbook with two rigs and a throw, and a backup of it."""
    book = folder / "logbook.throwbook"
    for rig in RIGS:
        file = folder / f"{rig}.toml"
        file.write_text(FILE.read_text("utf-8").replace(RIGS[0], rig), "utf-8")
        add_rig(book, file, "M. K.", at)
    thrown(book)
    return book, back_up(book, folder / "backup.throwbook", NOW).target


def levels(book):
    with open_logbook(book, read_only=True) as opened:
        return {rig: latch.status(opened, rig).level for rig in opened.rig_names()}


def ids(book):
    with open_logbook(book, read_only=True) as opened:
        return {
            (table.name, row[0]) for table in TABLES for row in opened.read(f"SELECT id FROM {table.name}")
        }


def stands(book, rig, least):
    return LEVELS.index(levels(book)[rig]) >= LEVELS.index(least)


def left_over(folder):
    return sorted(path.name for path in folder.iterdir() if "restored" in path.name)


def test_all_that_came_after_the_backup_is_carried_over_and_the_file_is_kept(paths):
    book, backup = paths
    thrown(book, minute=10, left="no")
    thrown(book, RIGS[1], ended="stall", minute=20)
    before, stood = ids(book), levels(book)
    assert stood == dict.fromkeys(RIGS, "do not use")
    done = restore(book, backup, "M. K.", LATER)
    assert ids(book) == before
    assert levels(book) == stood
    assert done.kept.name == "logbook-before-restore-20260501-090000.throwbook"
    assert ids(done.kept) == before
    assert {"trial", "sighting", "latch_order"} <= done.added.keys()
    assert (done.unread, done.held) == ("", [])
    assert check(str(book))[1].problems == ()
    assert left_over(book.parent) == []


def truncated(path):
    os.truncate(path, path.stat().st_size // 2)


def without_its_head(path):
    with path.open("rb+") as file:
        file.write(b"\xa5" * 4096)


def with_a_torn_page(path, which=0.7):
    with path.open("rb+") as file:
        file.seek(int(path.stat().st_size * which) // 4096 * 4096)
        file.write(b"\xa5" * 4096)


DAMAGE = {
    "missing": Path.unlink,
    "empty": lambda path: os.truncate(path, 0),
    "cut in half": truncated,
    "without its first page": without_its_head,
    "with a torn page": with_a_torn_page,
    "a letter": lambda path: path.write_text("Dear all,\n", "utf-8"),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_where_the_present_file_cannot_be_read_every_rig_is_restricted_until_somebody_signs(paths, damage):
    book, backup = paths
    thrown(book, minute=10)
    close_up(book)
    DAMAGE[damage](book)
    broken = book.read_bytes() if book.exists() else None
    done = restore(book, backup, "M. K.", LATER)
    assert done.unread.startswith("the logbook was ")
    assert (done.kept.read_bytes() if done.kept else None) == broken
    assert sorted(done.held) == sorted(RIGS)
    assert ids(backup) <= ids(book)
    for rig in RIGS:
        assert stands(book, rig, "restricted")
        with open_logbook(book, read_only=True) as opened:
            open_now = latch.status(opened, rig).open
        assert [one.cause for one in open_now if one.cause == CAUSE] == [CAUSE]
    assert check(str(book))[1].problems == ()
    rig = RIGS[1]
    if levels(book)[rig] == "restricted":
        with open_logbook(book, read_only=True) as opened:
            names = tuple(one.ids[0] for one in latch.status(opened, rig).open)
        with pytest.raises(InputError):
            latch.clear(book, rig, latch.Clearing(names, "M. K.", ""), "M. K.", LATER)
        latch.clear(book, rig, latch.Clearing(names, "M. K.", "nothing was thrown since"), "M. K.", LATER)
        assert levels(book)[rig] == "in service"


def close_up(book):
    """All of it in the one file, as when the last program has closed it."""
    with sqlite3.connect(book) as db:
        db.execute("PRAGMA journal_mode = DELETE")
    db.close()


@pytest.mark.parametrize("which", [0.3, 0.5, 0.7, 0.9])
def test_of_a_torn_file_what_can_be_read_is_carried_over(paths, which):
    book, backup = paths
    for minute in range(1, 30):
        thrown(book, minute=minute)
    thrown(book, RIGS[1], ended="stall", minute=40)
    before = ids(book)
    close_up(book)
    with_a_torn_page(book, which)
    done = restore(book, backup, "M. K.", LATER)
    assert ids(backup) < ids(book) <= before | {("latch_order", each) for _, each in ids(book)}
    assert sum(done.added.values()) > 50
    assert all(stands(book, rig, "restricted") for rig in RIGS)


def test_an_order_that_lost_its_throw_holds_the_rig_all_the_same(paths):
    book, backup = paths
    thrown(book, ended="stall", minute=10)
    close_up(book)
    with sqlite3.connect(book) as db:
        for (trigger,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {trigger}")
        db.execute("UPDATE trial SET nonce = 'x' || nonce")
    db.close()
    done = restore(book, backup, "M. K.", LATER)
    assert "rows of trial were changed" in done.unread
    assert levels(book)[RIGS[0]] == "do not use"


KILLED_WRITER = """
import os, sys
from datetime import UTC, datetime
from pathlib import Path
from throwbook.core.status.latch import raise_order
from throwbook.logbook import open_logbook
book = open_logbook(Path(sys.argv[1]))
book.add_order(raise_order(sys.argv[2], "damage", "bent pin", datetime(2026, 4, 2, tzinfo=UTC), "M. K."))
os.kill(os.getpid(), 9)
"""


@pytest.mark.parametrize("damage", ["whole", "with a torn page"])
def test_what_a_killed_program_left_beside_the_file_is_carried_over(paths, damage):
    book, backup = paths
    words = [sys.executable, "-c", KILLED_WRITER, str(book), RIGS[1]]
    assert subprocess.run(words, env=environment(), check=False).returncode == KILLED
    assert book.with_name(f"{book.name}-wal").stat().st_size > 0
    if damage != "whole":
        DAMAGE[damage](book)
    assert restore(book, backup, "M. K.", LATER).added["latch_order"] == 1
    assert levels(book)[RIGS[1]] == "do not use"


def unchanged(book, what):
    """Whether a refusal leaves everything as it was."""
    before = {path.name: path.read_bytes() for path in book.parent.iterdir() if path.suffix == ".throwbook"}
    what()
    return before == {
        path.name: path.read_bytes() for path in book.parent.iterdir() if path.suffix == ".throwbook"
    } and not left_over(book.parent)


def refused(book, backup, words, kind=InputError):
    def run():
        with pytest.raises(kind) as told:
            restore(book, backup, "M. K.", LATER)
        assert words in str(told.value)

    return run


def test_a_present_file_of_a_newer_program_or_another_one_is_left_alone(paths):
    book, backup = paths
    close_up(book)
    with sqlite3.connect(book) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    assert unchanged(book, refused(book, backup, "made by a newer program"))
    with sqlite3.connect(book) as db:
        db.execute("PRAGMA application_id = 7")
    db.close()
    assert unchanged(book, refused(book, backup, "another program's database"))


def test_a_backup_that_is_none_is_refused(paths, tmp_path):
    book, backup = paths
    empty, letter = tmp_path / "empty", tmp_path / "letter"
    empty.touch()
    letter.write_text("Dear all,\n" * 30, "utf-8")
    torn = tmp_path / "torn"
    torn.write_bytes(backup.read_bytes())
    with_a_torn_page(torn, 0.5)
    assert unchanged(book, refused(book, empty, "this backup is empty"))
    assert unchanged(book, refused(book, letter, "this is not a logbook"))
    assert unchanged(book, refused(book, torn, "this backup can't be used", OutsideError))
    assert unchanged(book, refused(book, book, "this is the logbook itself"))
    assert unchanged(book, refused(book, tmp_path / "none", "there is no such file"))


def test_a_backup_of_other_machines_or_of_practice_is_refused(paths, tmp_path):
    book, _ = paths
    (tmp_path / "other").mkdir()
    other, _ = started(tmp_path / "other", NOW - timedelta(days=1))
    close_up(book)
    assert unchanged(book, refused(book, other, "there may be another machine under"))
    practice = tmp_path / "practice.throwbook"
    add_rig(practice, FILE, "M. K.", NOW, reason="for practice")
    assert unchanged(book, refused(book, practice, "practice logbook"))


HOLDER = """
import sqlite3, sys
db = sqlite3.connect(sys.argv[1], isolation_level=None)
db.execute("SELECT count(*) FROM rig").fetchone()
if sys.argv[2] == "writing":
    db.execute("BEGIN IMMEDIATE")
print("open", flush=True)
sys.stdin.read()
"""


@pytest.mark.parametrize("how", ["open", "writing"])
def test_while_another_program_has_it_open_nothing_is_done(paths, how):
    book, backup = paths
    thrown(book, minute=10)
    words = [sys.executable, "-c", HOLDER, str(book), how]
    with subprocess.Popen(
        words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment(), text=True
    ) as other:
        assert other.stdout.readline() == "open\n"
        assert unchanged(book, refused(book, backup, "another program has the logbook open", OutsideError))
        other.stdin.close()
        other.wait(30)
    assert restore(book, backup, "M. K.", LATER).unread == ""


EVERY = 4 if hasattr(os, "fork") else 24
"""How many looks at files lie between two kills: a process that isn't forked takes seconds to begin."""
CUTS = ("os.rename", "os.remove", "sqlite3.connect", "shutil.copyfile")
"""Audit events (PEP 578) of steps that change which files there are, or open one as a database."""


@pytest.mark.parametrize("damage", ["whole", "with a torn page"])
def test_killed_at_any_step_it_leaves_the_old_file_or_the_new_one_and_can_be_done_again(tmp_path, damage):
    """The child is killed for good before its n-th step on files; then everything that was known is still there."""
    (tmp_path / "start").mkdir()
    book, backup = started(tmp_path / "start")
    thrown(book, ended="stall", minute=10)
    close_up(book)
    known = ids(backup)
    if damage != "whole":
        DAMAGE[damage](book)
    before = book.read_bytes()
    for step in range(0, 200, EVERY):
        folder = tmp_path / f"{step}"
        shutil.copytree(tmp_path / "start", folder)
        here, from_backup = folder / book.name, folder / backup.name
        code = killed_at(step, here, from_backup)
        if code == 0:
            break
        assert code == 9
        assert here.read_bytes() == before or list(folder.glob("*-before-restore-*.throwbook"))
        restore(here, from_backup, "M. K.", LATER)
        assert known <= ids(here)
        assert stands(here, RIGS[0], "do not use" if damage == "whole" else "restricted")
        assert left_over(folder) == []
    assert 8 < step < 196


RESTORED_ALONE = """
import pathlib, sys
from tests.jobs.test_restore import killed_in_the_midst
killed_in_the_midst(int(sys.argv[1]), pathlib.Path(sys.argv[2]), pathlib.Path(sys.argv[3]))
"""


def killed_in_the_midst(step, book, backup):
    """Restore; this process is killed for good before its step-th look at a file."""
    left = [step]

    def count(event, _):
        if event in CUTS:
            left[0] -= 1
            if left[0] < 0:
                os.kill(os.getpid(), 9)

    sys.addaudithook(count)
    restore(book, backup, "M. K.", LATER)


def killed_at(step, book, backup):
    """The same in a process of its own; its exit code or signal."""
    if not hasattr(os, "fork"):
        words = [sys.executable, "-c", RESTORED_ALONE, str(step), str(book), str(backup)]
        return subprocess.run(words, env=environment(), cwd=TOP, check=False).returncode
    child = os.fork()
    if child == 0:
        try:
            killed_in_the_midst(step, book, backup)
            os._exit(0)
        except BaseException:
            os._exit(1)
    _, status = os.waitpid(child, 0)
    return os.WTERMSIG(status) if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["throw", "stall", "no", "person: watch", "person: restricted", "clear", "backup"]),
        st.sampled_from(RIGS),
    ),
    max_size=7,
)


@settings(max_examples=drawn(12, 6), deadline=None, suppress_health_check=list(HealthCheck))
@given(steps=STEPS, damage=st.sampled_from(["whole", "whole", *DAMAGE]))
def test_no_status_is_ever_eased_by_a_restore(steps, damage):
    with tempfile.TemporaryDirectory() as name:
        book, backup = started(Path(name))
        for minute, (step, rig) in enumerate(steps, start=1):
            act(book, backup, step, rig, minute)
        present, then = levels(book), levels(backup)
        close_up(book)
        if damage != "whole":
            DAMAGE[damage](book)
        restore(book, backup, "M. K.", LATER)
        for rig, level in levels(book).items():
            least = present[rig] if damage == "whole" else "restricted"
            assert LEVELS.index(level) >= LEVELS.index(least)
            if damage != "whole" and then[rig] == "do not use":
                assert level == "do not use"


def act(book, backup, step, rig, minute):
    at = NOW + timedelta(minutes=minute)
    if step == "backup":
        backup.unlink()
        back_up(book, backup, at)
    elif step in ("throw", "stall", "no"):
        thrown(book, rig, "stall" if step == "stall" else "cut-off", minute, "no" if step == "no" else "yes")
    elif step == "clear":
        with open_logbook(book, read_only=True) as opened:
            names = tuple(one.ids[0] for one in latch.status(opened, rig).open if one.level != "do not use")
        if names:
            latch.clear(book, rig, latch.Clearing(names, "M. K.", "looked at"), "M. K.", at)
    else:
        latch.raise_by_hand(book, rig, step, "heard a knock", "M. K.", at)


def test_samples_and_photographs_are_carried_over_from_a_file_with_an_altered_row(paths, tmp_path):
    """There the file isn't merged: each row that still gives its id is taken by itself, with what it points to."""
    book, backup = paths
    record = next((TOP / "sample-runs" / "baseline").glob("lock*.csv"))
    order = ImportPlan(RIGS[0], "spot", [record])
    sheet = import_traces(book, order, "M. K.", NOW, settle=lambda _: None).sheet.name
    place = {"left": photo(tmp_path / "left.jpg")}
    see(book, sheet, [1], PinAnswers("yes", "yes", "lamp"), "M. K.", NOW, photographs=place)
    close_up(book)
    with raw(book) as db:
        db.execute("DROP TRIGGER judgement_no_update")
        db.execute("UPDATE judgement SET verdict = 'unusable' WHERE rowid = 1")
    done = restore(book, backup, "M. K.", LATER)
    assert "damaged" in done.unread
    with open_logbook(book, read_only=True) as opened:
        [logged] = opened.trials(sheet=opened.sheet(sheet).sheet.id)
        assert len(opened.trace(logged.id)) > 1000
        [kept] = opened.photographs(opened.sheet(sheet).sheet.id)
        assert opened.picture(kept.picture).startswith(b"\xff\xd8")
    assert [
        one.what for one in check(str(book))[1].problems if "trace" in one.what or "picture" in one.what
    ] == []
