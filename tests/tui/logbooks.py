"""Logbooks to open the screen on, built by the same jobs that the screen calls."""

from datetime import date, datetime, timedelta
from pathlib import Path

from tests.tui.bench import RIG, RIG_FILE, Clock, Played, PlayedBoard, PlayedRecording, played_trace
from throwbook.core.records import PinAnswers
from throwbook.core.simulator import SimulatedFault
from throwbook.core.status.maintenance import Moment, ServiceEntry
from throwbook.jobs.find import find_rig
from throwbook.jobs.maintenance import add as add_service
from throwbook.jobs.record import RecordPlan
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.sheets import plan, see
from throwbook.jobs.sign_off import accept
from throwbook.jobs.store_trial import Place, keep

BY = "M. K."
ASKED = {"hours_since_movement": 16.0, "worked_before": "no", "ambient_c": 12.0, "operator": BY}
SEEN = PinAnswers("yes", "yes", "lamp, both sides", "yes", "yes")


def thrown(
    path: Path,
    sheet: str,
    directions: list[str],
    clock: Clock,
    fault: SimulatedFault | None,
    first: int,
    start: int = 1,
    record: Played = played_trace,
    seen: PinAnswers | None = SEEN,
) -> None:
    """Throws onto a sheet from position ``start`` on, each a minute after the one before; ``seen`` None: nobody looked."""
    board = PlayedBoard(clock, [fault] * len(directions))
    board.record = record
    board.count = first
    for position, direction in enumerate(directions, start):
        source = find_rig(RIG, str(path))
        plan_ = RecordPlan("played", source.rig, direction, path.parent, RIG, baselines=source.baselines)
        recording = PlayedRecording(board, plan_, clock.now, lambda figures: None)
        keep(recording.run(), Place(logbook=str(path), in_logbook=True, sheet=sheet, by=BY), clock.now())
        clock.go_on(60)
        if direction == "lock" and seen is not None:
            see(path, sheet, [position], seen, BY, clock.now())


def sheet_of(
    path: Path,
    kind: str,
    clock: Clock,
    each: int,
    fault: SimulatedFault | None = None,
    first: int = 0,
    record: Played = played_trace,
) -> str:
    """A sheet with its throws, accepted where it may be."""
    state, _ = plan(path, RIG, kind, BY, clock.now(), each, ASKED)
    thrown(path, state.name, ["lock", "unlock"] * each, clock, fault, first, record=record)
    if fault is None:
        accept(path, state.name, PinAnswers(), BY, clock.now())
    return state.name


def commissioned(folder: Path, record: Played = played_trace) -> Path:
    """A rig with an accepted commissioning sheet of three years ago."""
    path = folder / "fellside.throwbook"
    clock = Clock(datetime(2023, 3, 14, 9, 0, tzinfo=Clock().moment.tzinfo))
    add_rig(path, RIG_FILE, BY, clock.now())
    sheet_of(path, "commissioning", clock, 5, record=record)
    return path


def with_seasons(folder: Path) -> Path:
    """The same with checks every half year, of which the later ones grow heavier, and a greasing that nobody wrote down yet."""
    path = commissioned(folder)
    start = datetime(2023, 9, 14, 9, 0, tzinfo=Clock().moment.tzinfo)
    for number, heavier in enumerate((0.0, 0.0, 0.04, 0.12, 0.2)):
        clock = Clock(start + timedelta(days=182 * number))
        fault = SimulatedFault("even-friction", heavier) if heavier else None
        sheet_of(path, "seasonal", clock, 3, fault, first=20 * (number + 1))
    entry = ServiceEntry(
        "",
        RIG,
        "inspected",
        date(2024, 9, 20),
        seen=Moment("dirt at the left pin"),
        due_on=date(2026, 4, 1),
        by=BY,
    )
    add_service(path, entry, Clock().now())
    return path


def copied(path: Path, folder: Path) -> Path:
    """A copy of a logbook that was built once."""
    target = folder / path.name
    target.write_bytes(path.read_bytes())
    return target
