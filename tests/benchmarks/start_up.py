"""How much work the start is: ``--help``, ``rig list``, ``status`` and the first screen, beside an earlier tree in the same run.

    python -m tests.benchmarks.start_up [--before FOLDER] [--times 9]

``FOLDER``: a work tree of an earlier version (``git worktree add``). Both are compiled first and take turns; counted is
the processor time of a fresh process, the least of all turns, which other programs on the machine hardly change.
"""

import argparse
import compileall
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.screen import Terminal
from tests.benchmarks.table import Row, all_met, print_table

TOP = Path(__file__).parents[2]
RIG_FILE = TOP / "sample-runs" / "yard-loader.toml"
COMMANDS = {
    "`--help`": ("--help",),
    "`rig list`": ("rig", "list"),
    "`status`": ("status", "yard-loader"),
}
FIRST_SCREEN = "first screen"
NOISE = 1.05
"""Two turns of the same tree differ by about so much."""


class Tree:
    """A work tree, compiled, with a logbook of its own that holds one rig."""

    def __init__(self, top: Path, folder: Path) -> None:
        parts = [top / "logger", top / "tui"]
        joined = (parts[0] / "throwbook").is_dir()
        self._paths = os.pathsep.join(map(str, parts)) if joined else str(top)
        self._module = "throwbook" if joined else "logger"
        self._logbook = folder / "rigs.throwbook"
        folder.mkdir()
        for part in parts:
            compileall.compile_dir(part, quiet=2)
        self._run("rig", "add", str(RIG_FILE))

    def processor_ms(self, command: tuple[str, ...]) -> float:
        """Processor time of one command in a process of its own [ms]."""
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        self._run(*command)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return 1000 * (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)

    def first_screen_ms(self) -> float:
        """The same until the list of rigs stands on the screen, to the clock tick of the system [ms]."""
        variables = " ".join(f"{name}={value}" for name, value in self._variables().items())
        terminal = Terminal(["/usr/bin/env", *variables.split(), *self._command()])
        terminal.until("yard-loader")
        spent_ms = 1000 * terminal.cpu_s()
        terminal.end()
        return spent_ms

    def _command(self, *words: str) -> list[str]:
        return [sys.executable, "-m", self._module, "--logbook", str(self._logbook), *words]

    def _variables(self) -> dict[str, str]:
        return {"PYTHONPATH": self._paths, "PYTHONDONTWRITEBYTECODE": "", "THROWBOOK_BY": "fitter"}

    def _run(self, *words: str) -> None:
        there = os.environ | self._variables()
        subprocess.run(
            self._command(*words), env=there, cwd=self._logbook.parent, capture_output=True, check=True
        )


def measured(trees: list[Tree], times: int) -> dict[str, list[float]]:
    """Command: the least processor time of each tree [ms]."""
    turns: dict[str, list[list[float]]] = {}
    for _ in range(times):
        for name, command in COMMANDS.items():
            turns.setdefault(name, []).append([tree.processor_ms(command) for tree in trees])
        turns.setdefault(FIRST_SCREEN, []).append([tree.first_screen_ms() for tree in trees])
    return {name: [min(column) for column in zip(*rows, strict=True)] for name, rows in turns.items()}


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--before", type=Path, help="A work tree of an earlier version.")
    parser.add_argument("--times", type=int, default=9)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        tops = [TOP, *([asked.before] if asked.before else [])]
        trees = [Tree(top, Path(folder) / str(number)) for number, top in enumerate(tops)]
        rows = []
        for name, (now_ms, *before_ms) in measured(trees, asked.times).items():
            most_ms = NOISE * before_ms[0] if before_ms else now_ms
            floor = f"<= {most_ms:.0f} ms (before: {before_ms[0]:.0f})" if before_ms else ""
            rows.append(Row(name, floor, f"{now_ms:.0f} ms", now_ms <= most_ms))
    print_table(f"Start, processor time, least of {asked.times} turns", rows)
    return all_met(rows)


if __name__ == "__main__":
    sys.exit(main())
