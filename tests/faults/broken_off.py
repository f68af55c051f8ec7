"""A recording's session ends at any moment: hung up, told to end, killed, its terminal gone. Nothing recorded is lost.

    python -m tests.faults.broken_off [--times 12] [--seed 1] [--only line|screen] [--how "kill -9"]

``line`` is ``throwbook record`` on a terminal of its own, ``screen`` the terminal UI in tmux. The moments are swept evenly
over the whole of a recording, from the start of the program to its end. After each: what stood in the journal before is
there, or in the logbook; ``record --recover`` keeps it, once; nobody saw a traceback. Exit code 1 when one wasn't survived.
"""

import argparse
import fcntl
import os
import random
import signal
import subprocess
import sys
import tempfile
import termios
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from logger.jobs.logbooks import opened
from logger.jobs.rig_list import add_rig
from logger.jobs.upkeep import check
from logger.protocol.rehearsal import IDENTITY
from tests.command import TOP, command, environment, throwbook
from tests.faults.terminal import Terminal, terminal
from tests.ports.bench import board_on_a_cable, throw_source
from tests.report.page_words import need

RIG = "yard-loader"
BOARD = replace(IDENTITY, id="bench-1")
"""What a rehearsal board records isn't kept."""
HOWS: dict[str, signal.Signals | None] = {
    "hung up": signal.SIGHUP,
    "told to end": signal.SIGTERM,
    "kill -9": signal.SIGKILL,
    "terminal gone": None,
    "terminal gone, unsaid": None,
}
"""Unsaid: no hang-up reaches the program, as when it was started with ``nohup``."""
UNSAID = "terminal gone, unsaid"
SPEED = 4.0
REST_S, RUN_S = 2.0, 6.0
"""Of board time: a throw of two seconds altogether."""
LONGEST_S = 60.0
KEYS_TO_ARM = (
    ("not commissioned", ["Enter"]),
    ("T one throw", ["t"]),
    ("before anything moves", ["Enter"] * 6),
    ("Ctrl-S keep", ["C-s"]),
    ("NEXT: lock throw 1 of 1", ["Enter"]),
    ("Enter arm", ["Enter"]),
)
"""What the screen shows, and what is pressed then."""


@dataclass(frozen=True)
class Struck:
    """One session that ended."""

    how: str
    after_s: float
    phase: str
    """Where that was: nothing yet, recording, ended but not kept, kept."""
    behind_s: float
    """What the board had sent and the journal had not, by the board's own time [s]."""
    recovered: int
    """Samples kept in the end."""


class Bench:
    """A rig in a logbook and a board on a cable; what must hold when the session is over."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.book = folder / "log.throwbook"
        add_rig(self.book, TOP / "sample-runs" / f"{RIG}.toml", "M. K.", datetime(2026, 3, 14, tzinfo=UTC))

    @property
    def journals(self) -> list[Path]:
        """Those in which something stands."""
        found = (self.folder / "log.throwbook.unfinished").glob("*.journal")
        return [path for path in found if path.stat().st_size]

    def journal_bytes(self) -> int:
        """How much is in them now."""
        with suppress(FileNotFoundError):  # it was let go just now
            return sum(path.stat().st_size for path in self.journals)
        return 0

    def kept(self) -> list[int]:
        """Samples of each throw in the logbook."""
        with opened(self.book, read_only=True) as held:
            return [len(held.trace(logged.trial.id)) for logged in held.trials(rig=RIG)]

    def verify(self, how: str, after_s: float, before: int, sent: int, shown: str) -> Struck:
        """Raises AssertionError where something was lost, doubled or ugly."""
        assert "Traceback" not in shown, shown
        at_once = self.kept()
        assert at_once or self.journal_bytes() >= before, f"{before} bytes stood in the journal"
        phase = "kept" if at_once else "recording" if self.journals else "nothing yet"
        ended = any(b"the current is off again" in path.read_bytes()[-60:] for path in self.journals)
        phase = "ended, not kept" if ended and not at_once else phase
        had = sum(path.read_bytes().count(b"\nD,") for path in self.journals)
        for _ in range(2):
            done = throwbook(self.book, "record", "--recover", env={"LD_PRELOAD": ""})
            assert done.returncode in (0, 1), done.stderr
            assert "Traceback" not in done.stderr, done.stderr
        assert done.stdout.strip() == "No recording is left over.", done.stdout
        assert self.journals == []
        kept = self.kept()
        assert len(kept) == bool(had or at_once), f"{had} samples came, {len(kept)} throws are kept"
        assert check(str(self.book))[1].problems == ()
        self._whole()
        behind_s = (sent - had) / BOARD.rate_hz if had and phase == "recording" else 0.0
        return Struck(how, after_s, phase, behind_s, sum(kept))

    def _whole(self) -> None:
        with opened(self.book, read_only=True) as held:
            for logged in held.trials(rig=RIG):
                time_s = held.trace(logged.trial.id).time_s
                assert len(time_s) < 2 or np.diff(time_s).max() < 0.0075, "a gap in the record"


def until(true: Callable[[], object], longest_s: float = LONGEST_S) -> bool:
    """Wait for something to become true."""
    pause = threading.Event()
    for _ in range(int(longest_s / 0.02)):
        if true():
            return True
        pause.wait(0.02)
    return False


@contextmanager
def on_a_terminal(
    line: list[str], how: str
) -> Iterator[tuple[subprocess.Popen[bytes], Callable[[], None], list[bytes]]]:
    """The program on a terminal that is its own: the process, what makes the terminal vanish, what it showed."""
    far, near = os.openpty()
    shown: list[bytes] = []
    gone = threading.Event()

    def own() -> None:
        fcntl.ioctl(near, termios.TIOCSCTTY, 0)
        if how == UNSAID:
            signal.signal(signal.SIGHUP, signal.SIG_IGN)

    def look() -> None:
        os.set_blocking(far, False)
        while not gone.wait(0.01):
            with suppress(BlockingIOError, OSError):
                shown.append(os.read(far, 65536))
        os.close(far)

    ends = {"stdin": near, "stdout": near, "stderr": near}
    process = subprocess.Popen(
        line, cwd=TOP, env=environment(), start_new_session=True, preexec_fn=own, **ends
    )
    os.close(near)
    looking = threading.Thread(target=look)
    looking.start()

    def vanish() -> None:
        gone.set()
        looking.join()

    try:
        yield process, vanish, shown
    finally:
        vanish()
        process.kill()
        process.wait()


def strike_line(how: str, after_s: float, folder: Path) -> Struck:
    """End ``throwbook record`` so many seconds after its start."""
    bench = Bench(folder)
    with board_on_a_cable(throw_source(rest_s=REST_S, run_s=RUN_S), speed=SPEED, identity=BOARD) as (
        port,
        board,
    ):
        line = command(bench.book, "record", "--rig", RIG, "--direction", "lock", "--port", port.name)
        with on_a_terminal(line, how) as (process, vanish, shown):
            with suppress(subprocess.TimeoutExpired):
                process.wait(after_s)
            before, sent = bench.journal_bytes(), board.injected.sent
            _strike(HOWS[how], process.pid, vanish)
            process.wait(LONGEST_S)
    return bench.verify(how, after_s, before, sent, b"".join(shown).decode("utf-8", "replace"))


def strike_screen(how: str, after_s: float, folder: Path) -> Struck:
    """End the terminal UI so many seconds after the throw was armed."""
    bench = Bench(folder)
    env = {"THROWBOOK_BY": "M. K.", "PYTHONPATH": str(TOP), "LC_ALL": "C.UTF-8"}
    with board_on_a_cable(throw_source(rest_s=REST_S, run_s=RUN_S), speed=SPEED, identity=BOARD) as (
        port,
        board,
    ):
        line = command(bench.book)
        if how == UNSAID:
            line = ["sh", "-c", 'trap "" HUP; exec "$@"', "sh", *line]
        with terminal(need("tmux", "tmux"), folder, line, env | {"THROWBOOK_PORT": port.name}) as shown:
            for text, keys in KEYS_TO_ARM:
                shown.until(text)
                shown.press(*keys)
            until(lambda: False, after_s)
            before, sent = bench.journal_bytes(), board.injected.sent
            process = _program_in(shown)
            _strike(HOWS[how], process, lambda: shown.vanish())
            ended = until(lambda: not Path(f"/proc/{process}").exists())
            if not ended:
                os.kill(process, signal.SIGKILL)
            assert ended, "it lives on without a terminal"
            left = shown.screen if HOWS[how] else ""
            if how == "told to end":
                assert shown("display-message", "-p", "#{alternate_on}").strip() == "0", (
                    "the terminal is left as it was"
                )
    return bench.verify(how, after_s, before, sent, left)


def _program_in(shown: Terminal) -> int:
    """Number of the process that the shell in the terminal waits for."""
    shell = shown("display-message", "-p", "#{pane_pid}").strip()
    return int(Path(f"/proc/{shell}/task/{shell}/children").read_text().split()[0])


def _strike(number: signal.Signals | None, process: int, vanish: Callable[[], None]) -> None:
    if number is None:
        vanish()
    else:
        with suppress(ProcessLookupError):  # it had ended already
            os.kill(process, number)


@dataclass(frozen=True)
class Place:
    """Where a session can end."""

    title: str
    strike: Callable[[str, float, Path], Struck]
    span_s: float
    """How long a whole one takes at least."""


STRIKES = {
    "line": Place("record", strike_line, 6.0),
    "screen": Place("screen, recording", strike_screen, 4.5),
}


def sweep(place: str, how: str, times: int, seed: int) -> Iterator[Struck]:
    """Moments spread evenly over the whole, each a little by chance."""
    given = STRIKES[place]
    random_ = random.Random(f"{place} {how} {seed}")
    for number in range(times):
        after_s = given.span_s * (number + random_.random()) / times
        with tempfile.TemporaryDirectory(prefix="throwbook-broken-off-") as folder:
            try:
                yield given.strike(how, after_s, Path(folder))
            except AssertionError as error:
                raise AssertionError(f"{how} after {after_s:.2f} s: {error}") from error


def _told(struck: list[Struck]) -> str:
    """Where they fell, and how much was on the way."""
    phases = {
        phase: sum(one.phase == phase for one in struck) for phase in sorted({one.phase for one in struck})
    }
    behind_s = max((one.behind_s for one in struck), default=0.0) / SPEED
    return f"{', '.join(f'{count} {phase}' for phase, count in phases.items())}; at most {behind_s:.2f} s not yet on disk"


def outcome(place: str, how: str, times: int, seed: int) -> str:
    """One sweep in words."""
    struck: list[Struck] = []
    try:
        for one in sweep(place, how, times, seed):
            struck.append(one)
    except AssertionError as error:
        return f"NOT SURVIVED: {error}"
    return f"survived ({_told(struck)})"


def main() -> int:
    """Print a line for each place and each way to end."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--times", type=int, default=12)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=list(STRIKES))
    parser.add_argument("--how", choices=list(HOWS))
    asked = parser.parse_args()
    bad = 0
    for place in [asked.only] if asked.only else STRIKES:
        for how in [asked.how] if asked.how else HOWS:
            begun_s = time.perf_counter()
            said = outcome(place, how, asked.times, asked.seed)
            bad += said.startswith("NOT")
            print(
                f"{place:8} {how:24} {asked.times:4}  {said}  [{time.perf_counter() - begun_s:.0f} s]",
                flush=True,
            )
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
