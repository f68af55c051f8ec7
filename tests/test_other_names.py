"""Other people's files and packages: started in a folder full of their names, the program runs its own, and they run theirs."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.strange_folder import RAN, fill

TOP = Path(__file__).parents[1]
SAMPLES = TOP / "sample-runs"
ASSESS = ("assess", "--rig", str(SAMPLES / "yard-loader.toml"), str(SAMPLES / "baseline" / "lock-1.csv"))
SCRIPT = "import sys\nfrom throwbook.cli.main import main\nsys.exit(main())\n"
"""What pip and its kin write for the command."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return fill(tmp_path_factory.mktemp("strange"))


@pytest.fixture(scope="module")
def layouts(tmp_path_factory) -> dict[str, tuple[Path, str]]:
    """How the packages lie: the command, and what stands on the path besides. A wheel lays out just the two packages."""
    place = tmp_path_factory.mktemp("layouts")
    (place / "bin").mkdir()
    command = place / "bin" / "throwbook"
    command.write_text(SCRIPT, "utf-8")
    for package in (TOP / "logger" / "throwbook", TOP / "tui" / "throwbook_tui"):
        shutil.copytree(package, place / "site" / package.name)
    editable = os.pathsep.join(str(TOP / room) for room in ("logger", "tui"))
    return {"installed": (command, str(place / "site")), "editable": (command, editable)}


def run(layout: tuple[Path, str], folder: Path, *line: object) -> subprocess.CompletedProcess[str]:
    env = {name: value for name, value in os.environ.items() if name != "PYTHONSAFEPATH"}
    env |= {"PYTHONPATH": layout[1], "PYTHONDONTWRITEBYTECODE": ""}
    words = [sys.executable, *map(str, line)]
    return subprocess.run(
        words, cwd=folder, env=env, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize(
    ("layout", "words"), [("installed", ASSESS), ("editable", ("--version",))], ids=["installed", "editable"]
)
def test_the_command_runs_in_a_folder_full_of_other_peoples_modules(layout, words, layouts, folder):
    done = run(layouts[layout], folder, layouts[layout][0], *words)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout


def test_started_by_its_module_it_leaves_them_alone_too(layouts, folder):
    done = run(layouts["installed"], folder, "-m", "throwbook", "--version")
    assert (done.returncode, done.stderr) == (0, "")


def test_what_the_program_starts_leaves_them_alone(layouts, folder):
    """As ``serve`` starts a page and several processes work out trends: with the environment that the command has."""
    child = (
        "import subprocess, sys; print(subprocess.run([sys.executable, '-c', 'import pickle']).returncode)"
    )
    begun = f"import sys, click\nfrom throwbook.cli import main\nmain.diagnostics.run = lambda _: 0\ntry:\n    main.main()\nexcept SystemExit:\n    {child}"
    done = run(layouts["installed"], folder, "-P", "-c", begun)
    assert done.stdout.split() == ["0"], done.stderr


def test_an_import_leaves_their_names_to_them(layouts, tmp_path):
    """A notebook has a logger, a tui and a serial of its own, and the lines of the guide run."""
    for name in ("logger", "tui", "serial", "throwbook_tui", "textual", "click"):
        (tmp_path / f"{name}.py").write_text(f"mine = {name!r}\n", "utf-8")
    lines = f"""
import logger, tui, serial, textual, throwbook, sys
rig = throwbook.read_rig({str(SAMPLES / "yard-loader.toml")!r})
found = throwbook.assess_trace(throwbook.read_trace({str(SAMPLES / "baseline" / "lock-1.csv")!r}), rig)
print(found.verdict, logger.mine, tui.mine, serial.mine, textual.mine, 'click' in sys.modules)
"""
    done = run(layouts["installed"], tmp_path, "-c", lines)
    assert done.stdout.split() == ["pass", "logger", "tui", "serial", "textual", "False"], done.stderr


@pytest.mark.parametrize("name", ["numpy", "pandas"])
def test_a_file_in_the_way_of_a_library_is_named(name, layouts, tmp_path):
    """Whoever calls a file numpy.py has no numpy in that folder, with or without this program."""
    (tmp_path / f"{name}.py").write_text("mine = True\n", "utf-8")
    trace = str(SAMPLES / "baseline" / "lock-1.csv")
    code = f"import throwbook\nthrowbook.to_frame(throwbook.read_trace({trace!r}))"
    done = run(layouts["installed"], tmp_path, "-c", code)
    last = done.stderr.strip().splitlines()[-1]
    assert last.startswith("ImportError")
    assert str(tmp_path / f"{name}.py") in last
    assert RAN not in last
