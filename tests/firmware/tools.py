"""Builds what the firmware tests run, once for all test processes; what is missing is a skip with its reason."""

import os
import shutil
import subprocess
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SKETCHES = ROOT / "firmware-sketches"
HERE = Path(__file__).parent
ARDUINO_CORE = Path("/usr/share/arduino/hardware/arduino/avr/cores/arduino/Arduino.h")
SIMAVR_HEADER = Path("/usr/include/simavr/sim_avr.h")
ELF_HEADER = Path("/usr/include/gelf.h")

NO_SKIP = "THROWBOOK_NO_SKIP"
"""Set to 1 (as .ci/run does), a test whose tools are missing fails instead of being skipped."""

INSTALL = "apt-get install gcc-avr avr-libc arduino-core-avr libsimavr-dev libelf-dev g++ make"


def need(programs: Iterable[str], files: Iterable[Path] = ()) -> None:
    """Skip, or fail where a skip isn't wanted, unless all of it is here."""
    missing = [name for name in programs if not shutil.which(name)] + [
        str(f) for f in files if not f.exists()
    ]
    if not missing:
        return
    reason = f"not installed: {', '.join(missing)} ({INSTALL})"
    if os.environ.get(NO_SKIP) == "1":
        pytest.fail(reason)
    pytest.skip(reason)


def built_once(shared: Path, name: str, build: Callable[[Path], None]) -> Path:
    """The folder ``name`` under ``shared`` (common to all test processes), made by ``build`` by whoever comes first."""
    import fcntl  # here: Windows has none, and nothing that is built

    folder = shared / name
    with (shared / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (folder / "ready").exists():
            folder.mkdir(exist_ok=True)
            build(folder)
            (folder / "ready").touch()
    return folder


def run(command: Sequence[str | Path]) -> str:
    """Standard output of a build command; its whole output in the failure if it fails."""
    done = subprocess.run([str(word) for word in command], capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def answers_of(program: Path, lines: Iterable[str]) -> str:
    """What a program built from the headers says to these lines."""
    done = subprocess.run(
        [program],
        input="\n".join(lines) + "\n",
        capture_output=True,
        text=True,
        check=False,
        timeout=20,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def build_sketches(folder: Path, sources: Path = SKETCHES) -> None:
    (folder / "sizes.txt").write_text(run(["make", "-s", "-C", sources, f"OUT={folder}"]))


def build_sketches_with_pins(folder: Path, probe: str = "thermistor") -> None:
    """As somebody builds them who has fitted both switches and a thermistor, or a ``one-wire`` probe."""
    sources = folder / "sources"
    shutil.copytree(SKETCHES, sources, ignore=shutil.ignore_patterns("build"))
    for settings in sources.glob("*/settings.h"):
        text = settings.read_text("utf-8")
        assert text.count("Fitted = false") == 3, settings
        text = text.replace("Fitted = false", "Fitted = true")
        if probe == "one-wire":
            assert text.count("IsOneWire = false") == 1, settings
            text = text.replace("IsOneWire = false", "IsOneWire = true")
        settings.write_text(text, "utf-8")
    build_sketches(folder, sources)


def build_host(folder: Path) -> None:
    run(["make", "-s", "-C", HERE / "emulator", f"OUT={folder}"])


def build_header_programs(folder: Path) -> None:
    flags = [
        "-std=c++11",
        "-O1",
        "-Wall",
        "-Wextra",
        "-Werror",
        "-fsanitize=undefined",
        "-fno-sanitize-recover=undefined",
    ]
    for source in (HERE / "host").glob("*.cpp"):
        run(["g++", *flags, f"-I{SKETCHES / 'common'}", source, "-o", folder / source.stem])
