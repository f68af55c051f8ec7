"""A recording's session ends at any moment: hung up, told to end, killed, its terminal gone. Nothing recorded is lost.

    python -m tests.faults.broken_off [--times 12] [--seed 1] [--only line|screen|browser] [--how "kill -9"]

``line`` is ``throwbook record`` on a terminal of its own, ``screen`` the terminal UI in tmux, ``browser`` the same through
``serve``. The moments are swept evenly over the whole of a recording, from the start of the program (or the arming) to its
end. After each: what stood in the journal before is there, or in the logbook; ``record --recover`` keeps it, once; nobody
saw a traceback. Exit code 1 when one wasn't survived.
"""

import argparse
import asyncio
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from aiohttp import ClientSession

from tests.command import TOP, command, environment
from tests.faults.browser import Browser, is_gone, listening, programs_of, served
from tests.faults.session_bench import RIG, SPEED, Bench, Struck, board_for_a_throw
from tests.faults.terminal import KEYS_TO_ARM, Terminal, terminal
from tests.faults.until import LIMIT_S, until
from tests.report.page_words import need

HOWS: dict[str, signal.Signals | None] = {
    "hung up": getattr(signal, "SIGHUP", None),
    "told to end": signal.SIGTERM,
    "kill -9": getattr(signal, "SIGKILL", None),
    "terminal gone": None,
    "terminal gone, unsaid": None,
}
"""Unsaid: no hang-up reaches the program, as when it was started with ``nohup``."""
UNSAID = "terminal gone, unsaid"


@contextmanager
def on_a_terminal(
    line: list[str], how: str
) -> Iterator[tuple[subprocess.Popen[bytes], Callable[[], None], list[bytes]]]:
    """The program on a terminal that is its own: the process, what makes the terminal vanish, what it showed."""
    import fcntl
    import termios

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
    """End ``throwbook record``; ``after_s`` counts from its first samples on, less than zero from the start of the program."""
    bench = Bench(folder)
    with board_for_a_throw() as (
        port,
        board,
    ):
        line = command(bench.book, "record", "--rig", RIG, "--direction", "lock", "--port", port.name)
        with on_a_terminal(line, how) as (process, vanish, shown):
            if after_s >= 0:
                until(lambda: bench.samples_came() or process.poll() is not None)
            with suppress(subprocess.TimeoutExpired):
                process.wait(abs(after_s))
            before, sent = bench.journal_bytes(), board.injected.sent
            _strike(HOWS[how], process.pid, vanish)
            process.wait(LIMIT_S)
    return bench.verify(how, after_s, before, sent, b"".join(shown).decode("utf-8", "replace"))


def strike_screen(how: str, after_s: float, folder: Path) -> Struck:
    """End the terminal UI; ``after_s`` counts from the first samples on, less than zero from arming."""
    bench = Bench(folder)
    env = {"THROWBOOK_BY": "M. K.", "PYTHONPATH": str(TOP), "LC_ALL": "C.UTF-8"}
    with board_for_a_throw() as (
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
            if after_s >= 0:
                until(bench.samples_came)
            until(lambda: False, abs(after_s))
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


def strike_browser(how: str, after_s: float, folder: Path) -> Struck:
    """Close the browser, or kill its server; moments as with the screen."""
    bench, marks = Bench(folder), {"Enter": "\r", "C-s": "\x13"}

    async def visit(server: int, url: str) -> tuple[int, int, int]:
        async with ClientSession() as client:
            await listening(client, url)
            async with client.ws_connect(f"{url}/ws?width=80&height=24") as opened:
                browser = Browser(opened)
                for text, keys in KEYS_TO_ARM:
                    await browser.until(text)
                    await browser.press("".join(marks.get(key, key) for key in keys))
                while after_s >= 0 and not bench.samples_came():
                    await asyncio.sleep(0.02)
                await asyncio.sleep(abs(after_s))
                struck = programs_of(server)[0], bench.journal_bytes(), board.injected.sent
                if how == "server killed":
                    os.kill(server, signal.SIGKILL)
                return struck

    with (
        board_for_a_throw() as (
            port,
            board,
        ),
        served(bench.book, variables={"THROWBOOK_PORT": port.name}) as (server, url),
    ):
        program, before, sent = asyncio.run(visit(server.pid, url))
        assert until(lambda: is_gone(program)), "the program of a browser that is gone lives on"
    return bench.verify(how, after_s, before, sent, "")


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
    first_s: float = -1.0
    last_s: float = 4.0
    """The moments that are swept."""
    hows: tuple[str, ...] = tuple(HOWS)


STRIKES = {
    "line": Place("record", strike_line, -1.5, 4.0),
    "screen": Place("screen, recording", strike_screen),
    "browser": Place("browser, recording", strike_browser, hows=("browser closed", "server killed")),
}


def sweep(place: str, how: str, times: int, seed: int) -> Iterator[Struck]:
    """Moments spread evenly over the whole, each a little by chance."""
    given = STRIKES[place]
    random_ = random.Random(f"{place} {how} {seed}")
    for number in range(times):
        after_s = given.first_s + (given.last_s - given.first_s) * (number + random_.random()) / times
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
    parser.add_argument("--how", choices=[*HOWS, *STRIKES["browser"].hows])
    asked = parser.parse_args()
    bad = 0
    for place in [asked.only] if asked.only else STRIKES:
        for how in [asked.how] if asked.how else STRIKES[place].hows:
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
