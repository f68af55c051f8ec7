"""A disk that fills up in the middle of real work: one clear line, exit code 3, the logbook as it was.

The disk is a small tmpfs where we may mount one (as root); it is filled to the last few kilobytes and the command is run
as a person runs it.
"""

import contextlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.command import throwbook
from tests.faults.work import BY, PER_ROUND, PLACES, RIG, logbook
from tests.small_disk import GIVEN
from throwbook.logbook import open_logbook
from throwbook.logbook.integrity import check

SIZE_MB = 64
LEFT_KB = (0, 4, 16, 64, 200)
"""Room that is left when the command starts."""


@dataclass(frozen=True)
class Full:
    """One command on a full disk."""

    place: str
    left_kb: int
    code: int
    line: str


def can_mount() -> bool:
    """Whether a small disk can be made here."""
    as_root = hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("mount") is not None
    return as_root or GIVEN in os.environ


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """A disk of ``SIZE_MB`` at ``folder``, or a folder on the one that was given. Raises OSError where it can't be mounted."""
    if GIVEN in os.environ:
        with tempfile.TemporaryDirectory(dir=os.environ[GIVEN]) as given:
            yield Path(given)
        return
    folder.mkdir()
    line = ["mount", "-t", "tmpfs", "-o", f"size={SIZE_MB}m", "tmpfs", str(folder)]
    if subprocess.run(line, capture_output=True, check=False).returncode:
        raise OSError("can't mount a tmpfs here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def fill(folder: Path, left_kb: int) -> Path:
    """Fill the disk but for some room; the file that fills it."""
    filler = folder / "filler"
    with contextlib.suppress(OSError), filler.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(1 << 16))
    if left_kb:
        with filler.open("r+b") as file:
            file.truncate(max(filler.stat().st_size - left_kb * 1024, 0))
    return filler


def command(folder: Path, *arguments: object) -> subprocess.CompletedProcess[str]:
    """A throwbook command, as a person runs it."""
    return throwbook(logbook(folder), *arguments)


ACCEPT = ("--left-pin", "yes", "--right-pin", "yes", "--seen-how", "torch", "--load-check", "done")
COMMANDS: dict[str, Callable[[Path], tuple[object, ...]]] = {
    "import": lambda folder: (
        *("import", "--rig", RIG, "--kind", "seasonal", "--allow", "clock-reversed"),
        *(folder / f"throw 0-{number}.csv" for number in range(PER_ROUND)),
    ),
    "entry": lambda folder: (
        *(
            "enter",
            "--rig",
            RIG,
            "--kind",
            "spot",
            "--direction",
            "lock",
            "--time",
            "14.3s",
            "--run",
            "2.1A",
            "--peak",
            "2.9A",
        ),
    ),
    "acceptance": lambda folder: (
        *("sheet", "accept", f"{RIG}-1", *ACCEPT, "--retained-power-off", "yes", "--signed", BY),
    ),
    "migration": lambda folder: ("rig", "list"),
    "backup": lambda folder: ("backup", folder / "copy"),
    "merge": lambda folder: ("merge", folder / "other"),
    "export": lambda folder: ("export", folder / "out", "--traces"),
    "photographs": lambda folder: (
        *("sheet", "see", f"{RIG}-1", "--throw", 1, *ACCEPT, "--retained-power-off", "yes", "--by", BY),
        *("--left-photo", folder / "pin 0.jpg"),
    ),
}
MAY_STAY = {"acceptance": {"sighting"}}
"""What a person saw is written down before the sheet is judged, and stays whatever becomes of the sheet."""
PREPARED_AS = {"export": "backup"}


def strike(place: str, left_kb: int, folder: Path) -> Full:
    """One command on a disk with so much room; asserts what must be true afterwards."""
    with small_disk(folder) as folder:
        PLACES[PREPARED_AS.get(place, place)].prepare(folder)
        before = _rows(folder) if place != "migration" else None
        names = {path.name for path in folder.iterdir()}
        filler = fill(folder, left_kb)
        done = command(folder, *COMMANDS[place](folder))
        filler.unlink()
        line = done.stderr.strip()
        assert "Traceback" not in line, line
        assert done.returncode in (0, 1, 3), line
        if done.returncode == 3:
            assert len(line.splitlines()) == 1, line
            assert line.startswith("throwbook: "), line
            assert before is None or _changed(before, _rows(folder)) <= MAY_STAY.get(place, set())
            left = {path.name for path in folder.iterdir()} - names
            assert not {name for name in left if not name.endswith(("-wal", "-shm"))}, left
        with open_logbook(logbook(folder)) as book:
            assert check(book).problems == ()
        again = command(folder, *COMMANDS[place](folder))  # with room again it goes through
        assert again.returncode in (0, 1) or done.returncode != 3, again.stderr
    return Full(place, left_kb, done.returncode, line)


def _rows(folder: Path) -> dict[str, int]:
    with open_logbook(logbook(folder)) as book:
        tables = [row[0] for row in book.read("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        return {name: book.read(f"SELECT count(*) FROM {name}")[0][0] for name in tables}


def _changed(before: dict[str, int], after: dict[str, int]) -> set[str]:
    return {name for name in before if before[name] != after[name]}
