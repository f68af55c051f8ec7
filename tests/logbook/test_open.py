"""Opening: old files, newer files, wrong files, read-only media, two programs, journals left behind."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.drawn import drawn
from tests.logbook.conftest import NOW, RIG, TOML, fill
from tests.raw_file import raw
from throwbook.errors import InputError, OutsideError
from throwbook.logbook import migrations, open_logbook
from throwbook.logbook.integrity import check
from throwbook.logbook.opening import APPLICATION_ID

PAST = sorted((Path(__file__).parent / "past").glob("v*.sql"))
AS_ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


def old_logbook(script, path):
    """The file that a past version left."""
    with raw(path) as db:
        db.executescript(script.read_text("utf-8"))
    return path


def test_there_is_a_file_of_every_past_version():
    assert [path.stem for path in PAST] == [f"v{number}" for number in range(1, migrations.NEWEST)]


@pytest.mark.parametrize("script", PAST, ids=lambda path: path.stem)
def test_a_logbook_of_a_past_version_opens_whole_with_a_safe_copy_beside_it(script, tmp_path):
    path = old_logbook(script, tmp_path / "old")
    before = path.read_bytes()
    with open_logbook(path) as book:
        assert book.read("PRAGMA user_version")[0][0] == migrations.NEWEST
        assert check(book).problems == ()
        [first, second] = book.trials(rig=RIG)
        assert len(book.trace(second.id)) == 24
        assert len(book.profile(second.judgement).fraction) == 101
        assert (first.sighting.right_pin, first.judgement.assessment.verdict) == ("no", "watch")
        assert book.sheet("quarry-loader-1").state == "rejected"
        assert book.sheet("quarry-loader-1").sealed
        fill(book)
    copy = tmp_path / f"old.{script.stem}-copy"
    with raw(copy) as db:
        assert db.execute("PRAGMA user_version").fetchone()[0] == int(script.stem[1:])
        assert db.execute("SELECT count(*) FROM trial").fetchone()[0] == 2
    assert len(before) == copy.stat().st_size


def test_a_logbook_newer_than_the_program_is_refused_untouched(tmp_path):
    path = tmp_path / "newer"
    with open_logbook(path) as book:
        book.db.execute(f"PRAGMA user_version = {migrations.NEWEST + 1}")
    before = path.read_bytes()
    for read_only in (True, False):
        with pytest.raises(InputError, match="made by a newer program"):
            open_logbook(path, read_only=read_only)
    assert path.read_bytes() == before
    assert [each.name for each in tmp_path.iterdir()] == ["newer"]


def wrong_files(folder):
    """Files that aren't logbooks, and what is said of them."""
    (folder / "text").write_text("Greased the left pin, play about 2 mm.\n" * 10)
    (folder / "short").write_bytes(b"SQLite format 3\0")
    (folder / "zip").write_bytes(b"PK\x03\x04" + bytes(300))
    (folder / "folder").mkdir()
    for name, number in (("foreign", 0), ("named", 0x12345678)):
        with raw(folder / name) as db:
            db.execute(f"PRAGMA application_id = {number}")
            db.execute("CREATE TABLE song (title TEXT)")
    return {
        "text": "not a logbook",
        "short": "not a logbook",
        "zip": "not a logbook",
        "folder": "a folder",
        "foreign": "another program's database",
        "named": "another program's database",
    }


def test_a_wrong_file_is_refused_and_left_as_it_was(tmp_path):
    for name, said in wrong_files(tmp_path).items():
        path = tmp_path / name
        before = path.read_bytes() if path.is_file() else None
        for read_only in (True, False):
            with pytest.raises(InputError, match=said):
                open_logbook(path, read_only=read_only)
        if before is not None:
            assert path.read_bytes() == before, name


def test_a_missing_folder_is_said_to_be_missing(tmp_path):
    with pytest.raises(InputError, match="no such folder"):
        open_logbook(tmp_path / "nowhere" / "logbook")


def test_a_truncated_logbook_is_refused_or_reported_at_every_length(tmp_path, book):
    fill(book, trials=5, samples=3000)
    book.close()
    whole = book.path.read_bytes()
    for share in (0.0005, 0.01, 0.3, 0.6, 0.9, 0.999):
        path = tmp_path / "torn"
        path.write_bytes(whole[: int(len(whole) * share)])
        try:
            with open_logbook(path, read_only=True) as torn:
                problems = check(torn).problems
        except (InputError, OutsideError) as error:
            problems = [error]
        assert problems, share
        for ending in ("", "-wal", "-shm"):
            (tmp_path / f"torn{ending}").unlink(missing_ok=True)


def leave_a_journal(path):
    """A process that logs a trial and is killed before it can tidy up: the journal stays beside the file."""
    code = (
        "import os, sys; sys.path.insert(0, '.')\n"
        "from throwbook.logbook import open_logbook\n"
        "from tests.logbook.conftest import fill\n"
        f"book = open_logbook({str(path)!r})\n"
        "fill(book, trials=2, first_seed=500)\n"
        "print('done', flush=True)\n"
        "os.kill(os.getpid(), 9)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "done", done.stderr
    journal = path.with_name(path.name + "-wal")
    assert journal.stat().st_size > 0
    return journal


def test_what_stands_in_a_journal_left_behind_is_not_lost(book):
    book.close()
    leave_a_journal(book.path)
    with open_logbook(book.path, read_only=True) as again:
        assert len(again.trials(rig=RIG)) == 2
    with open_logbook(book.path) as again:
        assert check(again).problems == ()


def test_a_torn_journal_costs_only_the_step_that_was_torn(book):
    fill(book, trials=1)
    book.close()
    journal = leave_a_journal(book.path)
    journal.write_bytes(journal.read_bytes()[:-1000])
    with open_logbook(book.path) as again:
        assert len(again.trials(rig=RIG)) == 1
        assert check(again).problems == ()


@pytest.fixture
def on_read_only_media(tmp_path):
    """Copies a file into a folder that can't be written: a mount where we are root, permissions where we are not."""
    folder = tmp_path / "read only media"
    folder.mkdir()
    if AS_ROOT:
        mounted = subprocess.run(
            ["mount", "-t", "tmpfs", "tmpfs", str(folder)], capture_output=True, check=False
        )
        if mounted.returncode:
            pytest.skip("can't mount a tmpfs here")

    def burn(path):
        for part in path.parent.glob(path.name + "*"):
            shutil.copy(part, folder / part.name)
        if AS_ROOT:
            subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        else:
            folder.chmod(0o500)
        return folder / path.name

    yield burn
    if AS_ROOT:
        subprocess.run(["umount", str(folder)], check=True)
    else:
        folder.chmod(0o700)


def test_read_only_media_are_read_in_place_and_writing_is_refused(on_read_only_media, book):
    book.close()
    path = on_read_only_media(book.path)
    with open_logbook(path, read_only=True) as burnt:
        assert burnt.rig_names() == [RIG]
        with pytest.raises(OutsideError, match="reading only"):
            burnt.add_rig("yard-loader", TOML, "M. K.", NOW)
    with pytest.raises(OutsideError, match="can't be opened for writing"):
        open_logbook(path)
    assert [each.name for each in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize("script", PAST, ids=lambda path: path.stem)
def test_an_old_logbook_on_read_only_media_is_read_from_a_private_copy(script, tmp_path, on_read_only_media):
    path = on_read_only_media(old_logbook(script, tmp_path / "old"))
    with open_logbook(path, read_only=True) as book:
        assert len(book.trials(rig=RIG)) == 2
    assert [each.name for each in path.parent.iterdir()] == ["old"]


def test_a_journal_left_behind_on_read_only_media_is_read_too(on_read_only_media, book):
    book.close()
    leave_a_journal(book.path)
    path = on_read_only_media(book.path)
    with open_logbook(path, read_only=True) as burnt:
        assert len(burnt.trials(rig=RIG)) == 2


def test_two_programs_write_at_once_and_nothing_is_lost(book):
    """Four processes log 10 trials each into one logbook (two 5 each in make test), each in a transaction of its own."""
    book.close()
    programs, trials = drawn(4, 2), drawn(10, 5)
    code = (
        "import sys; sys.path.insert(0, '.')\n"
        "from throwbook.logbook import open_logbook\n"
        "from tests.logbook.conftest import fill\n"
        f"for n in range({trials}):\n"
        f"    with open_logbook({str(book.path)!r}) as book:\n"
        "        fill(book, trials=1, first_seed=1000 * int(sys.argv[1]) + n)\n"
    )
    running = [
        subprocess.Popen([sys.executable, "-c", code, str(n)], stderr=subprocess.PIPE)
        for n in range(programs)
    ]
    said = [each.communicate()[1] for each in running]
    assert [each.returncode for each in running] == [0] * programs, said
    with open_logbook(book.path) as again:
        assert len(again.trials(rig=RIG)) == programs * trials
        assert sorted(state.sheet.number for state in again.sheets(RIG)) == list(
            range(1, programs * trials + 1)
        )
        assert check(again).problems == ()


def test_waiting_for_another_program_is_said_once_and_then_goes_on(book):
    said = []

    def let_go():
        said.append("waiting")
        book.db.execute("ROLLBACK")

    with open_logbook(book.path, waiting=let_go) as other:
        book.db.execute("BEGIN IMMEDIATE")
        other.add_rig("yard-loader", TOML, "M. K.", NOW)
    assert said == ["waiting"]
    assert book.rig_names() == [RIG, "yard-loader"]


def test_a_program_that_never_lets_go_is_one_clear_line(book):
    with open_logbook(book.path, longest_wait_s=0.1) as other:
        book.db.execute("BEGIN IMMEDIATE")
        with pytest.raises(OutsideError, match="another program is writing"):
            other.add_rig("yard-loader", TOML, "M. K.", NOW)
    book.db.execute("ROLLBACK")


def test_the_file_has_its_marks_and_full_sync(book):
    marks = {
        name: book.read(f"PRAGMA {name}")[0][0] for name in ("application_id", "user_version", "journal_mode")
    }
    assert marks == {
        "application_id": APPLICATION_ID,
        "user_version": migrations.NEWEST,
        "journal_mode": "wal",
    }
    assert book.read("PRAGMA synchronous")[0][0] == 2
    assert book.read("PRAGMA foreign_keys")[0][0] == 1
    tables = book.read(
        "SELECT name, strict FROM pragma_table_list WHERE schema = 'main' AND name NOT LIKE 'sqlite%'"
    )
    assert all(row[1] == 1 for row in tables)
