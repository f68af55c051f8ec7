"""What a user does on Windows, by commands, one line each: python -m tests.windows.by_hand [STEP ...] [--kills 8]

Demo; a commissioning by hand, accepted; a throw recorded from a simulated board on the network of this computer; backup and
restore; logbooks of every past version brought up to date; kills in mid-write, so many at each place. They end a program as
``taskkill /F`` does, at a moment by chance. Exit code 1 when one didn't go as it should.
"""

import argparse
import json
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

from tests.cli.sheet_steps import GOOD, RIG, RIG_FILE, SEEN, TOLD
from tests.command import TOP, command, environment, throwbook
from tests.faults.kills import kills
from tests.faults.session_bench import REST_S, RUN_S, SPEED, Bench, board_for_a_throw
from tests.faults.session_bench import RIG as BENCH_RIG
from tests.faults.until import until
from tests.faults.work import PLACES
from tests.raw_file import raw

KILLED = "killed: "
THROW_S = (REST_S + RUN_S) / SPEED
SILENT: dict[str, Any] = {
    "stdout": subprocess.DEVNULL,
    "stderr": subprocess.DEVNULL,
    "stdin": subprocess.DEVNULL,
}
PAST = sorted((TOP / "tests" / "logbook" / "past").glob("v*.sql"))


def said(book: Path | None, *words: object, code: int = 0, **given: object) -> str:
    """What a command says; raises AssertionError where it ends otherwise."""
    done = throwbook(book, *words, **given)
    assert done.returncode == code, f"{words[:2]}: exit code {done.returncode}, {done.stderr.strip()}"
    return done.stdout


def demo(folder: Path) -> str:
    shown = said(None, "demo", "--folder", folder / "demo Füße")
    assert list(folder.rglob("*.pdf")), shown
    return f"{len(list(folder.rglob('*.*')))} files"


def commissioning(folder: Path) -> str:
    book = folder / "Werkstatt é.throwbook"
    said(book, "rig", "add", RIG_FILE)
    said(
        book,
        *(
            "enter",
            "--rig",
            RIG,
            "--kind",
            "commissioning",
            "--paste",
            "--seen-how",
            "torch",
            "--again",
            *TOLD,
        ),
        input=GOOD,
    )
    said(book, "sheet", "accept", f"{RIG}-1", *(word for pair in SEEN.items() for word in pair))
    status = json.loads(said(book, "status", RIG, "--json"))
    assert status["status"] == "in service", status
    return "10 throws, accepted, in service"


def recording(folder: Path) -> str:
    board = subprocess.Popen(
        command(None, "board", "rehearse", "--rig", RIG_FILE, "--speed", 10, "--number", 0),
        env=environment(), stdout=subprocess.PIPE, encoding="utf-8",
    )  # fmt: skip
    try:
        assert board.stdout is not None
        port = board.stdout.readline().split(" is on ")[1].split(";")[0]
        judged = json.loads(
            said(
                folder / "a.throwbook",
                *("record", "--rig", RIG_FILE, "--port", port, "--direction", "lock", "--json"),
                *("--out", folder / "lock.csv"),
            )
        )
    finally:
        board.kill()
        board.wait()
    assert judged["end"] == "cut-off", judged
    return f"{port}: {judged['travel_time_s']} s, {judged['verdict']}"


def backup(folder: Path) -> str:
    book, copy = folder / "Werkstatt é.throwbook", folder / "copy of it.throwbook"
    if not book.exists():  # asked for alone
        commissioning(folder)
    said(book, "backup", copy)
    said(book, "order", "raise", RIG, "--cause", "damage", "--because", "left pin bent")
    said(book, "backup", "--restore", copy)
    status = json.loads(said(book, "status", RIG, "--json"))
    assert status["status"] == "do not use", "what came after the backup is lost"
    said(book, "check")
    return "put back with the order that came after the backup, checked"


def upgrades(folder: Path) -> str:
    for script in PAST:
        book = folder / f"{script.stem}.throwbook"
        with raw(book) as db:
            db.executescript(script.read_text("utf-8"))
        assert RIG in said(book, "rig", "list")
        said(book, "check")
        assert book.with_name(f"{book.name}.{script.stem}-copy").exists()
    return ", ".join(script.stem for script in PAST)


def struck(folder: Path, place: str, times: int) -> str:
    """Kills of what writes to the logbook."""
    inside = said = 0
    for one in kills(place, times, folder, seed=8):
        inside, said = inside + one.in_the_work, said + one.said
    return f"{times} kills, {inside} in the midst, {said} times reported done: all there, nothing by half"


def struck_recordings(folder: Path, times: int) -> str:
    """Kills of ``throwbook record`` in mid-throw; what stood in its journal is recovered, once."""
    moments, recovered = random.Random(8), []
    for number in range(times):
        (folder / str(number)).mkdir()
        bench = Bench(folder / str(number))
        with board_for_a_throw() as (port, board):
            words = ("record", "--rig", BENCH_RIG, "--direction", "lock", "--port", port.name)
            process = subprocess.Popen(command(bench.book, *words), env=environment(), **SILENT)
            assert until(lambda bench=bench: bench.samples_came()), "no samples came"
            after_s = moments.uniform(0, THROW_S)
            with suppress(subprocess.TimeoutExpired):
                process.wait(after_s)
            before, sent = bench.journal_bytes(), board.injected.sent
            process.kill()
            process.wait()
        recovered.append(bench.verify("killed", after_s, before, sent, ""))
    midst = [one for one in recovered if one.phase == "recording"]
    samples = sum(one.recovered for one in recovered)
    return f"{times} kills, {len(midst)} in the midst; {samples} samples recovered, each throw once, no gap"


STEPS: dict[str, Callable[..., str]] = {
    "demo": demo,
    "commissioning by hand": commissioning,
    "recording": recording,
    "backup and restore": backup,
    "past logbooks": upgrades,
    **{f"{KILLED}{place}": partial(struck, place=place) for place in PLACES},
    f"{KILLED}recording": struck_recordings,
}


def main() -> int:
    """Print a line for each."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("steps", nargs="*", metavar="STEP", help="Those whose names begin so.")
    parser.add_argument("--kills", type=int, default=8, help="At each place.")
    asked = parser.parse_args()
    bad = 0
    with tempfile.TemporaryDirectory(prefix="throwbook by hand é ", ignore_cleanup_errors=True) as name:
        for title, step in STEPS.items():
            if asked.steps and not title.startswith(tuple(asked.steps)):
                continue
            begun_s, folder = time.monotonic(), Path(name)
            if place := title.partition(KILLED)[2]:
                folder /= place
                folder.mkdir()
            try:
                outcome = step(folder, times=asked.kills) if place else step(folder)
            except Exception as error:  # told as an outcome
                outcome = f"NOT AS IT SHOULD: {' '.join(str(error).split())}"
                bad += 1
            print(f"{title:24} {outcome}  [{time.monotonic() - begun_s:.0f} s]", flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
