"""Demo and tests from a fresh clone, on every system: python tests/run.py demo | test [words for pytest]

``.venv`` in the project's folder is made and filled first: by uv where it is installed, else by Python's own venv and pip.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).resolve().parents[1]
PLACE = TOP / ".venv"
PYTHON = PLACE / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")


def run(*line: object) -> None:
    """Run it in the project's folder; raises CalledProcessError."""
    subprocess.run([str(word) for word in line], cwd=TOP, check=True)


def set_up(extra: str) -> None:
    """Install the project and what it needs, unless that was done since ``pyproject.toml`` changed (``make`` marks it too)."""
    mark = PLACE / (".ready-dev" if extra else ".ready-run")
    if mark.exists() and mark.stat().st_mtime >= (TOP / "pyproject.toml").stat().st_mtime:
        return
    what, uv = f".[{extra}]" if extra else ".", shutil.which("uv")
    if not PYTHON.exists():
        run(uv, "venv", PLACE) if uv else run(sys.executable, "-m", "venv", PLACE)
    if uv:
        run(uv, "pip", "install", "--quiet", "--python", PYTHON, "-e", what)
    else:
        run(PYTHON, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-e", what)
    mark.touch()


def main() -> int:
    """Set up, then run what was asked for; its exit code."""
    asked, words = sys.argv[1:2], sys.argv[2:]
    if asked not in (["demo"], ["test"]):
        print(__doc__.splitlines()[0], file=sys.stderr)
        return 2
    try:
        set_up("dev" if asked == ["test"] else "")
    except subprocess.CalledProcessError as error:
        print(f"Setting up failed: {' '.join(error.cmd)}", file=sys.stderr)
        return 3
    os.environ["PYTHONDONTWRITEBYTECODE"] = ""  # kept compiled, a command starts much faster
    line = (
        ["throwbook", "demo"] if asked == ["demo"] else ["pytest", "-q", "-n", "auto", "--dist", "worksteal"]
    )
    return subprocess.run([str(PYTHON), "-m", *line, *words], cwd=TOP, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
