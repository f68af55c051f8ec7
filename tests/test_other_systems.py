"""What Windows and macOS lack or do otherwise, made here: missing modules, missing calls, files that are held open."""

import json
import re
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from tests import command
from tests.ports.bench import board_on_a_cable, throw_source
from tests.strange_folder import fill
from throwbook.core.quantities.text import file_name
from throwbook.protocol.simulated_board import IDENTITY

pytestmark = pytest.mark.long

TOP = Path(__file__).parents[1]
SAMPLES = TOP / "sample-runs"
BOARD = replace(IDENTITY, id="bench-1")
"""A simulated board's throw would go into a file where the tests run, not into the logbook."""
RIG = SAMPLES / "yard-loader.toml"
SOURCES = sorted([*(TOP / "logger").rglob("*.py"), *(TOP / "tui").rglob("*.py")])
UNIX_ONLY = {
    "curses",
    "fcntl",
    "grp",
    "posix",
    "pty",
    "pwd",
    "readline",
    "resource",
    "syslog",
    "termios",
    "tty",
}
"""Modules that Python for Windows doesn't have (its documentation names each "Availability: Unix")."""

EVERY_MODULE = f"""
import builtins, importlib, pathlib
missing, real = {UNIX_ONLY!r}, builtins.__import__
def without(name, globals=None, *more):
    asked_by = (globals or {{}}).get("__name__", "").partition(".")[0]
    if asked_by in ("throwbook", "throwbook_tui") and name in missing:
        raise ModuleNotFoundError(name)
    return real(name, globals, *more)
builtins.__import__ = without
files = [path.relative_to(top) for top in ("logger", "tui") for path in pathlib.Path(top).rglob("*.py")]
for path in files:
    name = ".".join(path.with_suffix("").parts).removesuffix(".__init__")
    if not name.endswith("__main__"):
        importlib.import_module(name)
print(len(files))
"""
"""Imports all of ours while ours, and only ours, are refused the modules: other libraries ask which system it is."""


def test_every_module_of_ours_is_imported_without_the_modules_that_windows_lacks():
    done = command.run([sys.executable, "-c", EVERY_MODULE])
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) == len(SOURCES)


def test_the_refusal_is_felt_by_a_module_of_ours(tmp_path: Path):
    package = tmp_path / "logger" / "throwbook"
    package.mkdir(parents=True)
    (package / "__init__.py").write_text("import fcntl", "utf-8")
    (tmp_path / "tui").mkdir()
    done = command.run(
        [sys.executable, "-c", EVERY_MODULE], cwd=tmp_path, env={"PYTHONPATH": str(tmp_path / "logger")}
    )
    assert "ModuleNotFoundError: fcntl" in done.stderr


HELD_OPEN = """
import os, sys
def hook(event, args):
    if event not in ("os.remove", "os.rename"):
        return
    for number in os.listdir("/proc/self/fd"):
        try:
            held = os.readlink(f"/proc/self/fd/{number}")
        except OSError:
            continue
        named = [one for one in args[:2] if isinstance(one, (str, bytes, os.PathLike))]
        if held in [os.path.realpath(os.fsdecode(one)) for one in named]:
            os.write(2, f"HELD OPEN: {event} {held}\\n".encode())
sys.addaudithook(hook)
"""
"""Windows refuses to remove, rename or replace a file that is open: say when it is tried."""

RUN = f"""{HELD_OPEN}
import json
from throwbook.cli import diagnostics
from throwbook.cli.main import throwbook
for line in json.loads(sys.argv[1]):
    code = diagnostics.run(throwbook, line)
    os.write(2, f"EXIT {{code}} of {{line[2:]}}\\n".encode())
"""
"""One process for several command lines: starting one takes longer than most commands."""


def run_watched(book: Path, *lines: tuple[object, ...]) -> None:
    """Run the command lines; none may end badly or touch a file that it holds open."""
    words = [["--logbook", str(book), *map(str, line)] for line in lines]
    done = command.run([sys.executable, "-c", RUN, json.dumps(words)])
    ends = re.findall(r"^EXIT (.*?) of ", done.stderr, re.MULTILINE)
    assert len(ends) == len(lines), done.stderr
    assert set(ends) <= {"0", "1"}, done.stderr
    assert "HELD OPEN" not in done.stderr, done.stderr


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="only Linux shows which files are open")
def test_no_command_removes_or_replaces_a_file_that_it_holds_open(tmp_path: Path):
    book = tmp_path / "a.throwbook"
    old = tmp_path / "old.throwbook"
    _old_logbook(old)
    throws = sorted((SAMPLES / "baseline").glob("*.csv"))[::4]
    run_watched(
        book,
        ("rig", "add", RIG),
        ("import", "--rig", "yard-loader", "--kind", "seasonal", *throws),
        ("report", "yard-loader", "--folder", tmp_path / "papers"),
        ("export", "--format", "csv", tmp_path / "csv"),
        ("export", "--format", "parquet", "--traces", tmp_path / "parquet"),
        ("backup", tmp_path / "copy.throwbook"),
        ("merge", old),
        ("check",),
        ("trend", "yard-loader", "--plot", tmp_path / "trend.svg"),
    )
    with board_on_a_cable(throw_source(), identity=BOARD, speed=8.0) as (port, _):
        run_watched(book, ("record", "--rig", "yard-loader", "--direction", "lock", "--port", port.name))
    run_watched(old, ("rig", "add", RIG))  # an older file is brought up to date


def _old_logbook(path: Path) -> None:
    from tests.raw_file import raw

    with raw(path) as db:
        db.executescript((TOP / "tests" / "logbook" / "past" / "v1.sql").read_text("utf-8"))


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="only Linux shows which files are open")
def test_the_search_finds_a_file_that_is_removed_while_it_is_open(tmp_path: Path):
    code = f"{HELD_OPEN}\nfile = open({str(tmp_path / 'held')!r}, 'w')\nos.remove(file.name)"
    assert "HELD OPEN: os.remove" in command.run([sys.executable, "-c", code]).stderr


SPAWNED = """
import multiprocessing, sys
from throwbook.cli.main import main
if __name__ == "__main__":
    multiprocessing.set_start_method(sys.argv.pop(1))
    main()
"""


# A job that only a forked process could do fails from nothing (spawn) too.
@pytest.mark.parametrize("start", ["spawn", pytest.param("forkserver", marks=pytest.mark.long)])
def test_a_fleet_on_several_processes_needs_no_fork(start: str, tmp_path: Path):
    """Windows and macOS begin such a process from nothing, Python 3.14 on Linux from a server."""
    book = _fleet_of(12, tmp_path)
    program = tmp_path / "started.py"
    program.write_text(SPAWNED, "utf-8")
    trend = ("--logbook", str(book), "trend", "--json", "--workers")
    alone = command.run([sys.executable, str(program), start, *trend, "1"])
    strange = fill(tmp_path / "strange")  # nor does it run what lies where it is started
    several = command.run([sys.executable, str(program), start, *trend, "2"], cwd=strange)
    assert (alone.returncode, several.returncode) == (0, 0), several.stderr
    assert several.stdout == alone.stdout
    assert several.stdout.count("loader-") >= 12


def _fleet_of(rigs: int, folder: Path) -> Path:
    import numpy as np

    from tests.benchmarks.season_histories import PLAIN, make_history, quarterly
    from tests.jobs.season_logbook import logbook_of

    made = {
        f"loader-{i:02d}": make_history(np.random.default_rng(i), PLAIN, quarterly(5)).history
        for i in range(rigs)
    }
    return logbook_of(folder / "fleet", made)


ODD_NAMES = ["CON", "nul", "COM¹", "rig: name?", "..", "aux.txt", "日" * 70, "ж" * 100, "x" * 120]


def test_a_rig_of_any_name_has_papers_with_names_that_every_system_takes(tmp_path: Path):
    for number, name in enumerate(ODD_NAMES):
        folder = tmp_path / str(number)
        folder.mkdir()
        rig = folder / "rig.toml"
        rig.write_text(RIG.read_text("utf-8").replace('"yard-loader"', f'"{name}"', 1), "utf-8")
        book = folder / "log.throwbook"
        added = command.throwbook_here(book, "rig", "add", rig)
        assert added.returncode == 0, added.stderr
        assert command.throwbook_here(book, "cab-card", name, "--folder", folder / "papers").returncode == 0
        made = [path.name for path in (folder / "papers").iterdir()]
        assert len(made) == 2
        assert all(len(one.encode()) < 200 and not set(one) & set('<>:"/\\|?*') for one in made)


def test_two_long_names_with_the_same_beginning_stay_two():
    first, second = (file_name("Lader " * 30 + end) for end in ("links", "rechts"))
    assert first != second
    assert len(first.encode()) <= 120
    assert file_name("日" * 200) != file_name("日" * 201)


@pytest.mark.parametrize(
    "name",
    [
        "$(touch /tmp/x)",
        "a'b",
        "`id`",
        "two words",
        "C:\\rigs\\a b",
        "x\\",
        "a\\\\b",
        "-x",
        'say "so"',
        "日本",
    ],
)
def test_a_name_in_a_suggested_command_is_one_word_that_does_nothing(name: str):
    import shlex

    from throwbook.core.quantities.text import for_shell

    assert shlex.split(f"throwbook status {for_shell(name)}")[2:] == [name]
    assert for_shell(name)[:1] == "'" or not set(name) & set("$`'\"")
