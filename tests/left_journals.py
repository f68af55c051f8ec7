"""What a recording leaves that was killed: a journal with its head and the board's bytes, no end, the last record torn."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from tests.ports.bench import throw_source
from throwbook.files.journal import Journal
from throwbook.jobs.find import journal_folder
from throwbook.protocol.session import Session
from throwbook.protocol.simulated_board import IDENTITY, SimulatedBoard, Source

BEGUN = datetime(2026, 3, 14, 8, 12, tzinfo=UTC)
STEP_S = 0.05
STALLED_A = 9.3
"""About the supply's voltage over the winding's resistance: what the rig's motor draws when it stands."""


def stall_source(*, rest_s: float = 1.5, run_s: float = 6.0, seed: int = 1) -> Source:
    """A throw that comes to a stand after ``run_s`` and goes on drawing current."""
    running = throw_source(rest_s=rest_s, run_s=1e6, seed=seed)

    def source(time_s):
        current_a, voltage_v = running(time_s)
        stands = time_s >= rest_s + run_s
        current_a = np.where(stands, STALLED_A + current_a - 1.6, current_a)
        return current_a, np.where(stands, 12.6 - 0.05 * current_a, voltage_v)

    return source


def leave_journal(
    logbook: Path,
    rig: str = "yard-loader",
    *,
    source: Source | None = None,
    seconds: float = 10.0,
    direction: str = "lock",
    begun: datetime = BEGUN,
    channels: str = IDENTITY.channels,
    **head: object,
) -> Path:
    """The journal of a recording of so many seconds that was killed; ``head`` replaces keys of its header."""
    header = {
        "rig": rig,
        "rig_ref": rig,
        "direction": direction,
        "port": "/dev/ttyUSB0",
        "baud": 115200,
        "rate_hz": 200,
        "keep_all": False,
        "on_bench": False,
        "ambient_c": None,
        "started": begun.isoformat(),
    } | head
    file = journal_folder(logbook) / f"{begun:%Y%m%d-%H%M%S-%f}-{rig}-{direction}.journal"
    journal = Journal(file, header, 0.0)
    identity = replace(IDENTITY, id="shunt-1", channels=channels, version=1 if channels in "IV" else 2)
    board, session = SimulatedBoard(source or throw_source(), identity), Session()
    to_board = session.start(200, None)
    for number in range(int(seconds / STEP_S)):
        sent = board.receive(to_board, number * STEP_S) + board.advance((number + 1) * STEP_S)
        journal.append(sent, number * STEP_S)
        session.receive(sent)
        to_board = session.to_send()
    journal.close()
    file.write_bytes(file.read_bytes()[:-7])
    return file
