"""The terminal UI as a person has it: opening, frames, keys while a throw is recorded, processor time, samples lost.

    python -m tests.benchmarks.screen [--trials 100000] [--keep FOLDER]

The program runs in a process of its own on a pseudo-terminal of 120 by 40; a simulated board at 1,000 samples a second
hangs on another one and is a process of its own, not counted. A key counts as answered when what it asked for has
come out of the terminal. Prints a table: what, limit, measured.
"""

import argparse
import contextlib
import fcntl
import multiprocessing
import os
import pty
import re
import select
import shutil
import statistics
import struct
import sys
import tempfile
import termios
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Event
from pathlib import Path

from tests.benchmarks import logbook_speed
from tests.benchmarks.table import Row, all_met, print_table
from throwbook.jobs.find import find_rig
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.sheets import plan
from throwbook.jobs.simulated_board import Rehearsal, make_board
from throwbook.ports.serial_port import PseudoPort, serve

WIDTH, HEIGHT = 120, 40
RATE_HZ, BAUD = 1000, 460_800
KEYS = 60
PRESSED = (
    ("F1", "\x1bOP", "Enter arms\\. Then"),
    ("Esc", "\x1b", "end it by hand"),
    ("F8", "\x1b[19~", "48;2;0;0;0m"),
    ("F8", "\x1b[19~", "48;2;255;255;255m"),
    ("Ctrl-Q", "\x11", "Press Enter to end it first"),
)
"""Key, its bytes, and what it must bring to the screen. In Esc are the 20 ms after which it counts as one that came alone."""
OPENINGS = 7
SLOW_RIG = """name = "slow-loader"
units = "metric"
[lock]
needed_travel = "188 mm"
[actuator]
voltage = "12 V"
stroke = "200 mm"
rated_force = "1500 N"
no_load_speed = "4 mm/s"
full_load_speed = "3 mm/s"
no_load_current = "0.9 A"
full_load_current = "3.6 A"
"""
"""A throw of about a minute, so that there is time for the keys."""


class Terminal:
    """A program on a pseudo-terminal, and everything it has written."""

    def __init__(self, command: Sequence[str]) -> None:
        self.begun_s = time.perf_counter()
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.environ.update(TERM="xterm-256color", COLORTERM="truecolor", THROWBOOK_BY="M. K.")
            os.execvp(command[0], list(command))
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", HEIGHT, WIDTH, 0, 0))
        self.written = b""

    def read(self, within_s: float) -> bool:
        """Take what has come; False when nothing came in that time."""
        if not select.select([self.fd], [], [], within_s)[0]:
            return False
        with contextlib.suppress(OSError):
            self.written += os.read(self.fd, 1 << 16)
        return True

    def until(self, what: str, within_s: float = 30.0) -> float:
        """Time [s] from now until ``what`` has been written; raises TimeoutError."""
        begun_s, pattern = time.perf_counter(), re.compile(what.encode())
        while not pattern.search(self.written):
            if time.perf_counter() - begun_s > within_s:
                raise TimeoutError(f"{what!r} didn't come; the last was {self.written[-2000:]!r}")
            self.read(0.05)
        return time.perf_counter() - begun_s

    def press(self, keys: str) -> None:
        """Send keys; what was written before is forgotten."""
        self.written = b""
        os.write(self.fd, keys.encode())

    def cpu_s(self) -> float:
        """Processor time of the program so far [s]."""
        fields = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def end(self) -> None:
        """Leave by its own key."""
        with contextlib.suppress(OSError):
            os.write(self.fd, b"\x11")
            deadline_s = time.perf_counter() + 5
            while time.perf_counter() < deadline_s and os.waitpid(self.pid, os.WNOHANG) == (0, 0):
                self.read(0.05)
        os.close(self.fd)


def opening_s(logbook: Path) -> float:
    """Median time from the command to the list of rigs on the screen [s]."""
    spans = []
    for _ in range(OPENINGS):
        terminal = Terminal([sys.executable, "-m", "throwbook", "--logbook", str(logbook)])
        terminal.until("loader-000")
        spans.append(time.perf_counter() - terminal.begun_s)
        terminal.end()
    return statistics.median(spans)


def be_board(logbook: Path, name: Connection, stop: Event) -> None:
    """A simulated board in a process of its own, so that it can't keep the stopwatch waiting; tells its port."""
    made = make_board(Rehearsal(find_rig("slow-loader", str(logbook)).rig, rest_s=2.0, rate_hz=RATE_HZ))
    port = PseudoPort()
    name.send(port.name)
    serve(made, port, stop)  # type: ignore[arg-type]  # an event between processes has the same ``is_set``
    port.close()


@contextmanager
def board(logbook: Path) -> Iterator[str]:
    """A simulated board; gives its port."""
    apart = multiprocessing.get_context("spawn")
    stop, (heard, name) = apart.Event(), apart.Pipe(duplex=False)
    process = apart.Process(target=be_board, args=(logbook, name, stop))
    process.start()
    try:
        yield heard.recv()
    finally:
        stop.set()
        process.join()


def child(logbook: str, port: str, told: str) -> None:
    """The program itself, with a count of the frames that its live trace drew."""
    import throwbook_tui.app
    import throwbook_tui.screens.record
    from throwbook_tui.app import ThrowbookApp
    from throwbook_tui.context import Desk
    from throwbook_tui.screens.record import RecordScreen
    from throwbook_tui.terminal import answer_escape_sooner
    from throwbook_tui.widgets.plot import LiveTrace

    drawn_s: list[float] = []

    class CountedTrace(LiveTrace):
        def draw(self, ground):
            if self._drawing is not None:
                drawn_s.append(time.perf_counter())
            return super().draw(ground)

    throwbook_tui.screens.record.LiveTrace = CountedTrace

    class App(ThrowbookApp):
        CSS_PATH = Path(throwbook_tui.app.__file__).with_name("app.tcss")

        def on_ready(self) -> None:
            self.push_screen(RecordScreen("slow-loader", "slow-loader-1", "lock"))

    answer_escape_sooner()
    os.chdir(Path(told).parent)  # a simulated board's throw becomes a file in the folder it is recorded in
    App(Desk(logbook=logbook, by="M. K.", port=port, baud=BAUD, rate_hz=RATE_HZ)).run()
    Path(told).write_text(" ".join(f"{one:.4f}" for one in drawn_s))


def recording(folder: Path) -> list[Row]:
    """One throw with keys pressed all the time."""
    logbook, told = folder / "slow.throwbook", folder / "frames"
    (folder / "slow.toml").write_text(SLOW_RIG)
    now = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
    add_rig(logbook, folder / "slow.toml", "M. K.", now)
    plan(logbook, "slow-loader", "commissioning", "M. K.", now)
    with board(logbook) as port:
        command = [sys.executable, "-m", "tests.benchmarks.screen", "--child", str(logbook), port, str(told)]
        terminal = Terminal(command)
        terminal.until("Enter arms the recording")
        terminal.press("\r")
        terminal.until("running")
        begun_s, begun_cpu_s = time.perf_counter(), terminal.cpu_s()
        watched_s = time.perf_counter() + 15.0
        while time.perf_counter() < watched_s:
            terminal.read(0.05)
        frames_until_s = time.perf_counter()
        cpu_share = (terminal.cpu_s() - begun_cpu_s) / (frames_until_s - begun_s)
        spans: dict[str, list[float]] = {name: [] for name in ("F1", "Esc", "F8", "Ctrl-Q")}
        for _ in range(KEYS // 4):
            for name, keys, sign in PRESSED:
                terminal.press(keys)
                spans[name].append(terminal.until(sign))
                wait_s = time.perf_counter() + 0.15
                while time.perf_counter() < wait_s:
                    terminal.read(0.05)
        terminal.until("samples, ", 120.0)
        lost = int(re.findall(rb"samples, (\d+) lost", terminal.written)[-1])
        terminal.end()
    stamps = [float(one) for one in told.read_text().split()]
    frames = [one for one in stamps if begun_s <= one <= frames_until_s]
    per_s = len(frames) / (frames_until_s - begun_s)
    counted = sorted(span for one in spans.values() for span in one)
    slow_s = counted[min(len(counted) - 1, int(0.95 * len(counted)))]
    names = ", ".join(f"{name} {1000 * statistics.median(one):.0f}" for name, one in spans.items())
    return [
        Row("frames a second of the live trace", ">= 10", f"{per_s:.1f}", per_s >= 10),
        Row("processor while recording, cores", "< 0.5", f"{cpu_share:.2f}", cpu_share < 0.5),
        Row("samples lost", "0", str(lost), lost == 0),
        Row(
            f"key to screen, 95th percentile of {len(counted)}",
            "< 50 ms",
            f"{1000 * slow_s:.0f} ms",
            slow_s < 0.05,
        ),
        Row("key to screen, medians", "", f"{names} ms", True),
    ]


def main() -> int:
    if sys.argv[1:2] == ["--child"]:
        child(*sys.argv[2:5])
        return 0
    parser = argparse.ArgumentParser()
    parser.add_argument("--trials", type=int, default=100_000)
    parser.add_argument("--keep", type=Path, help="Build the logbook there, or use what is there already.")
    asked = parser.parse_args()
    folder = asked.keep or Path(tempfile.mkdtemp(prefix="throwbook-screen-"))
    folder.mkdir(parents=True, exist_ok=True)
    big = folder / f"big-{asked.trials}.throwbook"
    if not big.exists():
        logbook_speed.build(big, 200, asked.trials)
    with tempfile.TemporaryDirectory() as scratch:
        rows = recording(Path(scratch))
    span_s = opening_s(big)
    rows.insert(
        0,
        Row(f"opens on {asked.trials} trials, median of {OPENINGS}", "< 1 s", f"{span_s:.2f} s", span_s < 1),
    )
    load = os.getloadavg()[0]
    print_table(
        f"Terminal UI, {WIDTH}x{HEIGHT}, board at {RATE_HZ} samples/s (load of this machine {load:.1f})", rows
    )
    if not asked.keep:
        shutil.rmtree(folder)
    return all_met(rows)


if __name__ == "__main__":
    sys.exit(main())
