"""A rig in a logbook, a board on a cable, and what must hold when the session of a recording is over, however it ended."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from tests.command import TOP, throwbook_said
from tests.ports.bench import board_on_a_cable, throw_source
from throwbook.files.trace_file import read_trace
from throwbook.jobs.find import opened
from throwbook.jobs.logbook_care import check
from throwbook.jobs.rigs import add_rig
from throwbook.ports.serial_port import PseudoPort
from throwbook.protocol.simulated_board import IDENTITY, SimulatedBoard

RIG = "yard-loader"
BOARD = replace(IDENTITY, id="bench-1")
"""What a simulated board records isn't kept."""
SPEED = 4.0
REST_S, RUN_S = 2.0, 6.0
"""Of board time: a throw of two seconds altogether."""


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


HEAD_BYTES = 2_000


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

    def samples_came(self) -> bool:
        """Whether more stands in a journal than its head and what a board says of itself."""
        return self.journal_bytes() > HEAD_BYTES

    def kept(self) -> list[int]:
        """Samples of each throw in the logbook, or in a file where no current had flowed yet."""
        files = [len(read_trace(path)) for path in self.folder.glob("*.csv")]
        with opened(self.book, read_only=True) as held:
            return files + [len(held.trace(logged.trial.id)) for logged in held.trials(rig=RIG)]

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
            done = throwbook_said(self.book, "record", "--recover", cwd=self.folder)
            assert done.returncode in (0, 1), done.stderr
            assert "Traceback" not in done.stderr, done.stderr
        assert done.stdout.strip() == "There are no interrupted recordings.", done.stdout
        assert self.journals == []
        kept = self.kept()
        assert len(kept) == bool(had or at_once), f"{had} samples came, {len(kept)} throws are kept"
        assert check(str(self.book))[1].problems == ()
        self._whole()
        behind_s = max(sent - had, 0) / BOARD.rate_hz if had and phase == "recording" else 0.0
        return Struck(how, after_s, phase, behind_s, sum(kept))

    def _whole(self) -> None:
        with opened(self.book, read_only=True) as held:
            for logged in held.trials(rig=RIG):
                time_s = held.trace(logged.trial.id).time_s
                assert len(time_s) < 2 or np.diff(time_s).max() < 0.0075, "a gap in the record"


@contextmanager
def board_for_a_throw() -> Iterator[tuple[PseudoPort, SimulatedBoard]]:
    """One that throws by itself after it was asked."""
    source = throw_source(rest_s=REST_S, run_s=RUN_S)
    with board_on_a_cable(source, speed=SPEED, identity=BOARD) as both:
        yield both
