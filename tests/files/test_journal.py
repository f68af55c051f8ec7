"""The journal: written while it runs, read after every kind of end."""

import random
import subprocess
import sys
from pathlib import Path

import pytest

from tests.small_disk import small_disk
from throwbook.errors import InputError, OutsideError
from throwbook.files.journal import Journal, is_alive, read_journal, unfinished

HEADER = {"rig": "yard-loader", "direction": "lock"}


def written(path: Path, pieces: list[bytes], end: str | None = None) -> Journal:
    journal = Journal(path, HEADER, 10.0)
    for number, piece in enumerate(pieces):
        journal.append(piece, 10.0 + number)
        journal.sync()
    if end is not None:
        journal.end(end, 99.0)
    return journal


def test_what_was_written_is_read_back(tmp_path: Path):
    path = tmp_path / "a.journal"
    written(path, [b"one\n", b"\x00\xff", b""], end="by key")
    text = read_journal(path)
    assert text.header["rig"] == "yard-loader"
    assert text.received == b"one\n\x00\xff"
    assert [came_s for came_s, _ in text.chunks] == [10.0, 11.0, 12.0]
    assert (text.begun_s, text.end, text.torn_bytes) == (10.0, "by key", 0)


def test_a_journal_torn_at_any_byte_gives_every_whole_record_before_it(tmp_path: Path):
    path = tmp_path / "a.journal"
    pieces = [b"first piece\n", b"second piece\n", b"third\n"]
    written(path, pieces).close()
    content = path.read_bytes()
    begins = [content.index(piece) for piece in pieces]
    for size in range(begins[0] - 17, len(content)):
        path.write_bytes(content[:size])
        text = read_journal(path)
        whole = [piece for piece, begin in zip(pieces, begins, strict=True) if begin + len(piece) <= size]
        assert text.received == b"".join(whole)
        assert text.end is None


def test_a_flipped_bit_ends_the_journal_there_and_is_told(tmp_path: Path):
    path = tmp_path / "a.journal"
    written(path, [b"first\n", b"second\n"]).close()
    content = bytearray(path.read_bytes())
    content[content.index(b"second")] ^= 4
    path.write_bytes(content)
    text = read_journal(path)
    assert text.received == b"first\n"
    assert text.torn_bytes == 17 + len(b"second\n")


@pytest.mark.parametrize(
    "content",
    [b"", b"time_s,current_a\n0,1\n", b"H" + bytes(400), random.Random(1).randbytes(500)],
    ids=["empty", "a trace file", "zeros", "noise"],
)
def test_something_else_is_no_journal(tmp_path: Path, content: bytes):
    path = tmp_path / "a.journal"
    path.write_bytes(content)
    with pytest.raises(InputError, match="no journal"):
        read_journal(path)


def test_a_running_recording_is_not_offered_and_a_broken_off_one_is(tmp_path: Path):
    running = written(tmp_path / "running.journal", [b"x"])
    written(tmp_path / "broken-off.journal", [b"x"]).close()
    assert is_alive(running.path)
    assert [path.name for path in unfinished(tmp_path)] == ["broken-off.journal"]
    running.close()
    assert len(unfinished(tmp_path)) == 2


def test_a_killed_recording_leaves_no_lock_behind(tmp_path: Path):
    code = (
        "import sys, pathlib\nfrom throwbook.files.journal import Journal\n"
        "j = Journal(pathlib.Path(sys.argv[1]), {}, 0.0); j.append(b'kept', 1.0); j.sync()\n"
        "print('ready', flush=True); sys.stdin.read()"
    )
    path = tmp_path / "a.journal"
    with subprocess.Popen(
        [sys.executable, "-c", code, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout.readline().strip() == b"ready"
        assert unfinished(tmp_path) == []
        process.kill()
        process.wait()
    assert unfinished(tmp_path) == [path]
    assert read_journal(path).received == b"kept"


def test_the_same_journal_is_never_begun_twice(tmp_path: Path):
    written(tmp_path / "a.journal", []).close()
    with pytest.raises(OutsideError):
        Journal(tmp_path / "a.journal", HEADER, 0.0)


def fill(journal: Journal, lines: list[bytes]) -> None:
    """Append lines until the disk refuses; ``lines`` gets those that were written."""
    for number in range(1000):
        line = b"%0999d\n" % number
        journal.append(line, 1.0)
        journal.sync()
        lines.append(line)


def test_a_full_disk_is_told_and_everything_before_it_stays_readable(tmp_path: Path):
    lines: list[bytes] = []
    with small_disk(tmp_path, kib=64) as disk:
        journal = Journal(disk / "a.journal", HEADER, 0.0)
        with pytest.raises(OutsideError, match="disk is full") as caught:
            fill(journal, lines)
        journal.end("the disk is full", 2.0)
        text = read_journal(disk / "a.journal")
    assert "Make room" in str(caught.value)
    assert text.received == b"".join(lines)
    assert len(lines) > 20
    assert text.torn_bytes == 0
