"""A throw recorded the real way: a rehearsal board on a pseudo-terminal, the recorder, the journal, a trace file."""

import threading
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.core.rig import Rig
from logger.files.tracefile import write_trace
from logger.jobs.record import Recording, RecordPlan
from logger.jobs.rehearse import Rehearsal, rehearse

if TYPE_CHECKING:
    from logger.core.simulator import Fault

SPEED = 8.0
"""Times real time: a stroke of twelve seconds passes in one and a half."""
READY_WITHIN_S = 10.0


def record_from_rehearsal(
    rig: Rig, direction: str, faults: "Sequence[Fault]", at: datetime, file: Path, seed: int
) -> Path:
    """Record one throw of a rehearsal board into ``file``. Raises what a recording from a real board would."""
    plan = Rehearsal(rig=rig, faults=tuple(faults), rest_s=1.0, first=direction, seed=seed, speed=SPEED)
    stop, ready, names = threading.Event(), threading.Event(), []

    def on_ready(name: str) -> None:
        names.append(name)
        ready.set()

    board = threading.Thread(target=rehearse, args=(plan, stop, on_ready), daemon=True)
    board.start()
    try:
        ready.wait(READY_WITHIN_S)
        record = RecordPlan(
            port=names[0], rig=rig, direction=direction, folder=file.parent, rig_ref=rig.name, on_bench=True
        )
        recorded = Recording(record, now=lambda: at).run()
    finally:
        stop.set()
        board.join(READY_WITHIN_S)
    if recorded.trace is None or recorded.problem is not None:
        raise recorded.problem or RuntimeError(recorded.ended)
    write_trace(recorded.trace, file)
    recorded.discard_journal()
    return file
