"""Wheel and source package built, installed where the project has never been, and used.

    python -m tests.install

Takes some minutes and the network (or an index set for pip). Ends at the first thing that fails.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

TOP = Path(__file__).parents[1]
TRIES: tuple[tuple[str, ...], ...] = (
    ("--version",),
    ("--help",),
    ("rig", "example"),
    ("man",),
    ("samples", "runs"),
    ("assess", "--json", "--rig", "runs/yard-loader.toml", "--baseline", "runs/baseline", "runs/healthy"),
    ("demo", "--folder", "demo"),
    ("--logbook", "new.throwbook", "rig", "add", "runs/yard-loader.toml"),
    ("--logbook", "new.throwbook", "cab-card", "yard-loader", "--folder", "papers"),
)


def run(*line: object, **given: Any) -> None:
    """Run and say what; raises CalledProcessError."""
    words = [str(word) for word in line]
    print("$", Path(words[0]).name, *words[1:], flush=True)
    subprocess.run(words, check=True, **given)


def main() -> None:
    """Build from a clean copy of what git tracks, install each package and use it."""
    folder = Path(tempfile.mkdtemp(prefix="throwbook-install-"))
    try:
        source = folder / "source"
        source.mkdir()
        packed = subprocess.run(["git", "archive", "HEAD"], cwd=TOP, check=True, capture_output=True).stdout
        subprocess.run(["tar", "x", "-C", str(source)], input=packed, check=True)
        builder = _fresh(folder / "builder")
        run(builder, "-m", "pip", "install", "-q", "build")
        run(builder, "-m", "build", "--outdir", folder / "dist", source, stdout=subprocess.DEVNULL)
        for package in sorted((folder / "dist").iterdir()):
            _use(package, folder / f"use{package.suffix}")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    print("all of it works")


def _fresh(place: Path) -> Path:
    run(sys.executable, "-m", "venv", place)
    return place / ("Scripts" if os.name == "nt" else "bin") / "python"


def _use(package: Path, place: Path) -> None:
    python = _fresh(place / "venv")
    print(f"-- {package.name}, {package.stat().st_size / 1024:.0f} kB")
    run(python, "-m", "pip", "install", "-q", package)
    for words in TRIES:
        run(
            python.with_name("throwbook"),
            *words,
            cwd=place,
            stdout=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
        )


if __name__ == "__main__":
    main()
