"""The whole suite on every Python found on this machine that the package says it runs on.

    python -m tests.versions [3.12 3.13 ...]

Looks on the path and in pyenv's folder. Each gets a virtual environment in ``build/versions``, with the versions that CI
pins. Goes on after a failure; ends with a line for each, and with 1 if one failed.
"""

import os
import re
import subprocess
import sys
import time
from pathlib import Path

TOP = Path(__file__).parents[1]
KNOWN = re.findall(r"Programming Language :: Python :: (3\.\d+)", (TOP / "pyproject.toml").read_text("utf-8"))


def found() -> dict[str, Path]:
    """One interpreter for each of the versions we name."""
    folders = [Path(folder) for folder in os.environ.get("PATH", "").split(os.pathsep) if folder]
    pyenv = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv"))
    folders += sorted(pyenv.glob("versions/3.*/bin"), reverse=True)
    there: dict[str, Path] = {}
    for version in KNOWN:
        for folder in folders:
            python = folder / f"python{version}"
            if version not in there and python.is_file() and _runs(python):
                there[version] = python
    return there


def _runs(python: Path) -> bool:
    """Whether it is a Python and not a stand-in that says it isn't installed."""
    return (
        subprocess.run([python, "-c", "import venv, sqlite3"], capture_output=True, check=False).returncode
        == 0
    )


def suite(version: str, python: Path) -> tuple[bool, str]:
    """Install and run; gives whether all passed, and pytest's last line."""
    place = TOP / "build" / "versions" / version
    inside = place / ("Scripts" if os.name == "nt" else "bin") / "python"
    if not inside.exists():
        subprocess.run([python, "-m", "venv", place], check=True)
    pip = [inside, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    subprocess.run([*pip, "-c", TOP / ".ci" / "constraints.txt", "-e", ".[dev]"], cwd=TOP, check=True)
    log = place / "suite.log"
    with log.open("w", encoding="utf-8") as out:
        line = [inside, "-m", "pytest", "-q", "-n", "auto", "-p", "no:cacheprovider"]
        done = subprocess.run(line, cwd=TOP, stdout=out, stderr=subprocess.STDOUT, check=False)
    said = log.read_text("utf-8").strip().splitlines()
    return done.returncode == 0, f"{said[-1] if said else 'nothing said'}   {log.relative_to(TOP)}"


def main() -> int:
    """Run them all."""
    there = found()
    asked = sys.argv[1:] or KNOWN
    results = []
    for version in asked:
        begun_s = time.monotonic()
        passed, said = (
            suite(version, there[version])
            if version in there
            else (version not in sys.argv, "not on this machine")
        )
        results.append(passed)
        print(f"Python {version}: {said} ({time.monotonic() - begun_s:.0f} s in all)", flush=True)
    return 0 if all(results) else 1


if __name__ == "__main__":
    raise SystemExit(main())
