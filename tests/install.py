"""Wheel and source package built, installed as a person installs them, where the project has never been, and used.

    python -m tests.install [--keep-caches]

Each package is installed with ``pipx`` and with ``uv tool``, in an empty home folder, without a package cache unless told
otherwise. Takes some minutes and the network (or an index set for pip and uv). Ends at the first thing that fails.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.strange_folder import fill

TOP = Path(__file__).parents[1]
PASSED_ON = (
    "PATH",
    "LANG",
    "LC_ALL",
    "SYSTEMROOT",
    "SSL_CERT_FILE",
    "REQUESTS_CA_BUNDLE",
    "HTTPS_PROXY",
    "HTTP_PROXY",
)
"""Of our own environment, and whatever sets the index for pip and uv; nothing else reaches the installed command."""
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
COMPLETION = 'eval "$(_THROWBOOK_COMPLETE=bash_source throwbook)" && complete -p throwbook'


def run(*line: object, **given: Any) -> None:
    """Run, and say what and how long it took; raises CalledProcessError."""
    words = [str(word) for word in line]
    print("$", Path(words[0]).name, *words[1:], end="", flush=True)
    begun_s = time.monotonic()
    try:
        subprocess.run(words, check=True, **given)
    finally:
        print(f"   ({time.monotonic() - begun_s:.1f} s)", flush=True)


def main() -> None:
    """Build from a clean copy of what git tracks, install each package each way and use it."""
    begun_s = time.monotonic()
    caches = "--keep-caches" in sys.argv[1:]
    folder = Path(tempfile.mkdtemp(prefix="throwbook-install-"))
    try:
        source = folder / "source"
        source.mkdir()
        packed = subprocess.run(["git", "archive", "HEAD"], cwd=TOP, check=True, capture_output=True).stdout
        subprocess.run(["tar", "x", "-C", str(source)], input=packed, check=True)
        run(sys.executable, "-m", "venv", folder / "tools")
        tools = folder / "tools" / ("Scripts" if os.name == "nt" else "bin")
        run(tools / "python", "-m", "pip", "install", "-q", "build", "pipx", "uv")
        run(tools / "python", "-m", "build", "--outdir", folder / "dist", source, stdout=subprocess.DEVNULL)
        packages = sorted((folder / "dist").iterdir())
        for package in packages:
            for way, install in WAYS.items():
                print(f"-- {package.name}, {package.stat().st_size / 1024:.0f} kB, with {way}")
                place = folder / f"{way}{package.suffix}"
                place.mkdir()
                env = _environment(place, caches)
                run(*install(tools, package), env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
                _use(place, env)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    print(f"all of it works: {len(packages)} packages, {len(WAYS)} ways, {time.monotonic() - begun_s:.0f} s")


WAYS: dict[str, Callable[[Path, Path], list[object]]] = {
    "pipx": lambda tools, package: [tools / "pipx", "install", "--python", sys.executable, package],
    "uv": lambda tools, package: [tools / "uv", "tool", "install", "--python", sys.executable, package],
}


def _environment(home: Path, caches: bool) -> dict[str, str]:
    """That of somebody who has just logged in for the first time, in ``home``."""
    passed = {
        name: value
        for name, value in os.environ.items()
        if name in PASSED_ON or (name.startswith(("PIP_", "UV_")) and name != "PIP_CONSTRAINT")
    }
    programs = home / ".local" / "bin"
    passed["PATH"] = f"{programs}{os.pathsep}{passed.get('PATH', '')}"
    places = {"HOME": home, "USERPROFILE": home, "PIPX_BIN_DIR": programs, "UV_TOOL_BIN_DIR": programs}
    return (
        passed
        | {name: str(path) for name, path in places.items()}
        | ({} if caches else {"PIP_NO_CACHE_DIR": "1", "UV_NO_CACHE": "1"})
    )


def _use(place: Path, env: dict[str, str]) -> None:
    program = shutil.which("throwbook", path=env["PATH"])
    if program is None or not Path(program).is_relative_to(place):
        raise SystemExit(f"throwbook isn't among the programs of {place}, found: {program}")
    quiet = {"cwd": fill(place), "env": env, "stdout": subprocess.DEVNULL, "stdin": subprocess.DEVNULL}
    for words in TRIES:
        run(program, *words, **quiet)
    if shutil.which("bash"):
        run("bash", "-c", COMPLETION, **quiet)


if __name__ == "__main__":
    main()
