"""A folder with files of many rigs is taken whole: told apart by head or name; what can't be told is left and named."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from throwbook.errors import InputError
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs.assess import TraceReading
from throwbook.jobs.import_folder import FillingFolder, FolderPlan, import_folder, rigs_named
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.logbook import open_logbook
from throwbook.logbook.integrity import check

SAMPLES = Path(__file__).parents[2] / "sample-runs"
THROWS = [read_trace(SAMPLES / "baseline" / f"{way}-{n}.csv") for n in (1, 2) for way in ("lock", "unlock")]
NOW = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)
BY = "M. K."
RIGS = ("north-loader", "south-loader", "south-loader-2")


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "logbook"
    text = (SAMPLES / "yard-loader.toml").read_text("utf-8")
    with open_logbook(path) as opened:
        for rig in RIGS:
            opened.add_rig(rig, text.replace("yard-loader", rig), BY, NOW)
    return path


@pytest.fixture
def folder(tmp_path):
    path = tmp_path / "season"
    path.mkdir()
    return path


def put(folder, name, throw, rig="", *, days=0, level_a=0.0):
    """Throw number ``throw`` of a rig as a file; ``level_a`` [A] sets the samples of two rigs apart."""
    trace = THROWS[throw]
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    changed = replace(
        trace,
        rig=rig,
        head={},
        started=trace.started + timedelta(days=days),
        current_a=trace.current_a + level_a,
    )
    write_trace(changed, path)
    return path


def take(book, *files, **how):
    return import_folder(book, FolderPlan("seasonal", files), BY, NOW, **how)


def sheets(done):
    return [(each.sheet.name, [one.placement.file for one in each.logged]) for each in done.sheets]


def left(done):
    return {Path(each.file).name: str(each.error) for each in done.left}


def test_each_rig_and_day_gets_its_sheet_by_the_heads_alone(book, folder):
    for number, rig in enumerate(RIGS[:2]):
        for throw in range(4):
            put(folder, f"day-1/{number}{throw}.csv", throw, rig, level_a=0.001 * number)
    put(folder, "day-2/later.csv", 0, RIGS[0], days=1, level_a=0.002)
    done = take(book, folder)
    assert sheets(done) == [
        ("north-loader-1", ["00.csv", "01.csv", "02.csv", "03.csv"]),
        ("north-loader-2", ["later.csv"]),
        ("south-loader-1", ["10.csv", "11.csv", "12.csv", "13.csv"]),
    ]
    assert (done.left, done.known) == ((), ())
    with open_logbook(book, read_only=True) as opened:
        assert check(opened).problems == ()


def test_again_tomorrow_stores_nothing_and_reads_no_file_twice(book, folder):
    for throw in range(3):
        put(folder, f"{throw}.csv", throw, RIGS[0])
    take(book, folder)
    late = put(folder, "late.csv", 3, RIGS[0])
    (folder / "copy.csv").write_bytes(late.read_bytes())
    read = []

    class Reading:
        def read(self, path):
            read.append(path.name)
            return read_trace(path)

    done = take(book, folder, reading=Reading())
    assert set(read) == {"copy.csv"}  # of two files with the same bytes the first by name
    assert len(done.known) == 4
    assert sheets(done) == [("north-loader-1", ["copy.csv"])], "an open sheet of the day is added to"
    assert take(book, folder).sheets == ()


def test_a_throw_that_came_with_other_line_ends_is_known_by_its_samples(book, folder):
    path = put(folder, "a.csv", 0, RIGS[0])
    take(book, folder)
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    done = take(book, folder)
    assert (done.sheets, done.left, len(done.known)) == ((), (), 1)


def test_what_cannot_be_told_is_left_and_the_rest_is_taken(book, folder):
    put(folder, "good.csv", 0, RIGS[0])
    put(folder, "whose.csv", 1)
    put(folder, "unknown.csv", 2, "west-loader")
    put(folder, "north-loader or south-loader/both.csv", 3)
    (folder / "text.csv").write_text("time_s,current_a\n0.0,abc\n")
    (folder / "notes.txt").write_text("by the gate")
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    done = take(book, folder)
    assert sheets(done) == [("north-loader-1", ["good.csv"])]
    told = left(done)
    assert sorted(told) == ["both.csv", "text.csv", "unknown.csv", "whose.csv"]
    assert "neither its head nor its name" in told["whose.csv"]
    assert "'west-loader', which is not in this logbook" in told["unknown.csv"]
    assert "north-loader, south-loader" in told["both.csv"]
    assert done.others == 1
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_a_rig_that_only_a_name_tells_is_confirmed_once_for_each_rig(book, folder):
    put(folder, "North Loader/1.csv", 0)
    put(folder, "North Loader/2.csv", 1)
    put(folder, "south_loader_2 lock.csv", 2)
    asked = []

    def by_name(rig, files):
        asked.append((rig, [path.name for path in files]))
        return rig == "north-loader"

    assert set(left(take(book, folder))) == {"1.csv", "2.csv", "south_loader_2 lock.csv"}, "nobody confirms"
    done = take(book, folder, by_name=by_name)
    assert asked == [("north-loader", ["1.csv", "2.csv"]), ("south-loader-2", ["south_loader_2 lock.csv"])]
    assert sheets(done) == [("north-loader-1", ["1.csv", "2.csv"])]
    assert "--by-name" in left(done)["south_loader_2 lock.csv"]


def test_a_head_that_a_folder_contradicts_is_left_until_somebody_allows_it(book, folder):
    put(folder, "south-loader/1.csv", 0, "north-loader")
    assert (
        "its head names rig 'north-loader', its folder or name 'south-loader'"
        in left(take(book, folder))["1.csv"]
    )
    done = take(book, folder, settle=lambda doubt: None)
    assert sheets(done) == [("north-loader-1", ["1.csv"])]


def test_one_doubtful_file_leaves_the_others_of_its_rig(book, folder):
    put(folder, "a.csv", 0, RIGS[0])
    put(folder, "future.csv", 1, RIGS[0], days=60)
    put(folder, "overlaps.csv", 2, RIGS[0])
    trace = read_trace(folder / "overlaps.csv")
    start = read_trace(folder / "a.csv").started + timedelta(seconds=1)
    write_trace(replace(trace, started=start), folder / "overlaps.csv")
    done = take(book, folder)
    assert sheets(done) == [("north-loader-1", ["a.csv"])]
    told = left(done)
    assert "future" in told["future.csv"]
    assert "before a.csv has ended" in told["overlaps.csv"]


def test_samples_of_another_rig_are_left_and_named(book, folder):
    put(folder, "a.csv", 0, RIGS[0])
    take(book, folder)
    put(folder, "b.csv", 0, RIGS[1])
    done = take(book, folder)
    assert done.sheets == ()
    assert "already on rig 'north-loader'" in left(done)["b.csv"]


def test_a_file_that_was_logged_before_it_was_whole_is_no_second_throw(book, folder):
    path = put(folder, "a.csv", 0, RIGS[0])
    whole = path.read_bytes()
    path.write_bytes(b"\n".join(whole.split(b"\n")[:900]) + b"\n")
    assert len(take(book, folder).sheets) == 1
    path.write_bytes(whole)
    done = take(book, folder)
    assert done.sheets == ()
    assert "on sheet north-loader-1 already, with other samples" in left(done)["a.csv"]


def test_a_throw_logged_on_the_bench_is_taken_as_one_of_the_machine(book, folder):
    path = put(folder, "a.csv", 0, RIGS[0])
    import_traces(book, ImportPlan(RIGS[0], "bench", [path]), BY, NOW)
    done = take(book, folder)
    assert sheets(done) == [("north-loader-2", ["a.csv"])]


class Meanwhile(TraceReading):
    """Something happens to a file just after it was read to be logged: the second time, the first tells its rig."""

    def happens(self, name, what):
        object.__setattr__(self, "_due", (name, what, []))
        return self

    def read(self, path):
        trace = super().read(path)
        name, what, times = self._due
        if path.name == name:
            times.append(path)
            if len(times) == 2:
                what(path)
        return trace


def test_a_file_that_grew_after_it_was_read_is_left_and_taken_whole_later(book, folder):
    path = put(folder, "a.csv", 1, RIGS[0])
    put(folder, "b.csv", 0, RIGS[0])
    whole = path.read_bytes()
    path.write_bytes(b"".join(whole.splitlines(keepends=True)[:-400]))
    done = take(book, folder, reading=Meanwhile().happens("a.csv", lambda one: one.write_bytes(whole)))
    assert "changed while it was read" in left(done)["a.csv"]
    assert sheets(done) == [("north-loader-1", ["b.csv"])]
    assert sheets(take(book, folder)) == [("north-loader-1", ["a.csv"])]


def test_a_copy_of_a_file_that_was_left_is_taken_where_its_folder_tells_the_rig_and_else_left_too(
    book, folder
):
    first = put(folder, "a/1.csv", 0)
    for place in ("north-loader", "z"):
        (folder / place).mkdir()
        (folder / place / "copy.csv").write_bytes(first.read_bytes())
    for number in range(3):
        (folder / f"empty-{number}.csv").touch()
    done = take(book, folder, by_name=lambda rig, files: True)
    assert sheets(done) == [("north-loader-1", ["copy.csv"])]
    assert sorted(left(done)) == ["1.csv", *(f"empty-{number}.csv" for number in range(3))]
    assert [Path(each.file).parent.name for each in done.known] == ["z"]
    for name in ("south-loader/1.csv", "south-loader/2.csv"):
        put(folder, name, 1)
    done = take(book, folder, by_name=lambda rig, files: False)
    assert {"1.csv", "2.csv"} <= set(left(done))
    assert not [each for each in done.known if "south" in each.file]


@pytest.mark.skipif(os.name == "nt", reason="links need a right there")
def test_a_file_that_the_disk_refuses_is_left_and_the_rest_is_taken(book, folder):
    for throw in range(3):
        put(folder, f"north-loader/{throw}.csv", throw)
    put(folder, "whole.csv", 0, RIGS[1], level_a=0.001)
    loop(folder / "from-the-start.csv")

    def by_name(rig, files):
        loop(files[1])  # the drive goes while a person is asked
        return True

    done = take(book, folder, by_name=by_name)
    assert sheets(done) == [("north-loader-1", ["0.csv", "2.csv"]), ("south-loader-1", ["whole.csv"])]
    assert sorted(left(done)) == ["1.csv", "from-the-start.csv"]
    assert all("reading failed" in why for why in left(done).values())


def loop(path):
    """A link to itself: every system call that follows it fails, as on a drive that is gone."""
    path.unlink(missing_ok=True)
    path.symlink_to(path.name)


def test_a_file_that_went_after_it_was_read_is_left_and_the_rest_is_told(book, folder):
    put(folder, "a.csv", 0, RIGS[0])
    put(folder, "b.csv", 1, RIGS[1])
    done = take(book, folder, reading=Meanwhile().happens("b.csv", Path.unlink))
    assert sheets(done) == [("north-loader-1", ["a.csv"])]
    assert list(left(done)) == ["b.csv"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_or_a_device_is_left_and_never_waited_for(book, folder):
    os.mkfifo(folder / "a.csv")
    (folder / "b.csv").symlink_to("/dev/zero")
    put(folder, "c.csv", 0, RIGS[0])
    done = take(book, folder)
    assert sheets(done) == [("north-loader-1", ["c.csv"])]
    assert all("a pipe or a device" in left(done)[name] for name in ("a.csv", "b.csv"))


def test_a_folder_without_traces_is_refused(book, folder):
    with pytest.raises(InputError, match=r"no \.csv file"):
        take(book, folder)
    with pytest.raises(InputError, match="no such file or folder"):
        take(book, folder / "nowhere")


@pytest.mark.parametrize(
    ("name", "rigs"),
    [
        ("north-loader 03", set()),
        ("north-loader-2026-03-14", {"north-loader"}),
        ("north-loader-20260314T0900", {"north-loader"}),
        ("north-loader-lock-2026-03-14", {"north-loader"}),
        ("north-loader-east", set()),
        ("2026 NORTH_LOADER lock", {"north-loader"}),
        ("south-loader-2", {"south-loader-2"}),
        ("south-loader-21", set()),
        ("northloader", set()),
        ("loader", set()),
    ],
)
def test_a_name_tells_a_rig_by_whole_words(name, rigs):
    assert rigs_named([name], RIGS) == rigs


@contextmanager
def out_of_reach(path: Path) -> Iterator[None]:
    """Windows: another program keeps the file to itself. Elsewhere it may not be read, by somebody who is not root."""
    if sys.platform == "win32":
        import _winapi

        kept = _winapi.CreateFile(str(path), _winapi.GENERIC_READ, 0, 0, _winapi.OPEN_EXISTING, 0, 0)
        yield
        _winapi.CloseHandle(kept)
        return
    me, nobody = os.geteuid(), 65534
    path.chmod(0)
    try:
        if me == 0:
            os.seteuid(nobody)
        yield
    finally:
        os.seteuid(me)
        path.chmod(0o644)


class TestAFolderThatFills:
    """Looked at by a clock of the test's own: a file is handed out when it has stopped growing."""

    @pytest.fixture
    def filling(self, folder):
        return FillingFolder([folder], still_s=5.0)

    def test_a_file_is_handed_out_once_when_it_has_stopped_growing(self, filling, folder):
        path = folder / "a.csv"
        path.write_text("1")
        assert filling.look(0.0) == []
        assert filling.look(4.9) == []
        path.write_text("12")
        assert filling.look(6.0) == []
        assert filling.look(10.9) == []
        assert filling.look(11.0) == [path]
        assert filling.look(60.0) == []
        path.write_text("123")
        assert filling.look(61.0) == []
        assert filling.look(66.0) == [path], "another state of the file is another look"

    def test_none_is_handed_out_while_new_ones_come(self, filling, folder):
        (folder / "a.csv").write_text("1")
        filling.look(0.0)
        (folder / "inner").mkdir()
        (folder / "inner" / "B.CSV").write_text("1")
        assert filling.look(4.0) == []
        assert filling.look(8.0) == []
        assert filling.look(9.0) == [folder / "a.csv", folder / "inner" / "B.CSV"]

    def test_one_that_grows_holds_up_no_other(self, filling, folder):
        (folder / "a.csv").write_text("1")
        (folder / "grows.csv").write_text("1")
        for second in range(5):
            assert filling.look(float(second)) == []
            (folder / "grows.csv").write_text("1" * (2 + second))
        assert filling.look(5.0) == [folder / "a.csv"]

    def test_one_that_does_not_open_is_told_and_taken_when_it_opens(self, folder, monkeypatch):
        monkeypatch.chdir(folder)  # a stranger may not walk there
        filling, shut = FillingFolder([Path()], still_s=5.0), Path("a.csv")
        shut.write_text("1")
        with out_of_reach(shut):
            filling.look(0.0)
            assert filling.look(5.0) == [shut]
            assert filling.look(6.0) == filling.look(60.0) == []
        assert filling.look(61.0) == [shut]
        assert filling.look(62.0) == []

    def test_what_is_gone_again_and_what_is_no_trace_is_passed_over(self, filling, folder):
        (folder / "a.csv").write_text("1")
        (folder / "a.part").write_text("1")
        filling.look(0.0)
        (folder / "a.csv").unlink()
        assert filling.look(9.0) == []
        folder.rmdir() if not any(folder.iterdir()) else (folder / "a.part").unlink()
        assert filling.look(20.0) == []


def test_a_folder_of_a_longer_name_is_of_no_rig_that_is_known_whatever_its_files_are_called(book, folder):
    put(folder, "north-loader-3/north-loader lock.csv", 0)
    assert set(left(take(book, folder, by_name=lambda rig, files: True))) == {"north-loader lock.csv"}
