"""A disk that fills up, made for real."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

GIVEN = "THROWBOOK_SMALL_DISK"
"""A disk of some megabytes that was made for the tests, where they can't make one themselves (Windows)."""


@contextmanager
def small_disk(folder: Path, kib: int) -> Iterator[Path]:
    """A file system of ``kib`` KiB in ``folder``; where this account may not mount one, the test is skipped."""
    if GIVEN in os.environ:
        with tempfile.TemporaryDirectory(dir=os.environ[GIVEN]) as given:
            filler = Path(given, "filler")
            filler.write_bytes(bytes(shutil.disk_usage(given).free - kib * 1024))
            Path(given, "disk").mkdir()
            yield Path(given, "disk")
        return
    place = folder / "disk"
    place.mkdir()
    if shutil.which("mount") is None:
        pytest.skip("this system has no mount for a small disk")
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={kib}k", "tmpfs", str(place)], capture_output=True, check=False
    )
    if done.returncode:
        pytest.skip("this account may not mount a small disk")
    try:
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)
