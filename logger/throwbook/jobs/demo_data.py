"""The story that the demo plays, day by day, and its throws: an invented rig at an invented yard, simulated."""

import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from throwbook.core.rig import Rig
from throwbook.files.trace_file import write_trace
from throwbook.jobs.import_traces import Imported, ImportPlan, import_traces
from throwbook.jobs.record import Recording, RecordPlan
from throwbook.jobs.simulated_board import Rehearsal, rehearse

if TYPE_CHECKING:
    from throwbook.core.simulator import MachineModel, SimulatedFault, ThrowConditions


SPEED = 8.0
"""Times real time: a stroke of twelve seconds passes in one and a half."""
READY_WITHIN_S = 10.0


def record_from_rehearsal(
    rig: Rig, direction: str, faults: "Sequence[SimulatedFault]", at: datetime, file: Path, seed: int
) -> Path:
    """Record one throw of a simulated board into ``file``. Raises what a recording from a real board would."""
    plan = Rehearsal(
        rig=rig,
        faults=tuple(faults),
        rest_s=1.0,
        settle_s=60.0,  # a busy computer takes the end of this throw late: the next must not have begun
        first=direction,
        seed=seed,
        speed=SPEED,
        number=0,
    )
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


PLACE = "Fellside Yard"
OPERATOR = "M. K."
ATTACHMENT = "stone bucket"
SPOT_PLACE = 0.62
"""Where the burr grows, share of the lock movement."""
COMMISSIONED = datetime(2023, 4, 15, 9, 0, tzinfo=UTC)


@dataclass(frozen=True)
class CheckDay:
    """One seasonal check: weather, and how far the machine has aged since it was commissioned."""

    at: datetime
    temperature_c: float
    engine_running: bool
    spot_run: float
    """Height of the binding spot as a share of the healthy running current."""
    drag_run: float = 0.0
    """Even friction as a share of the healthy running current."""
    kind: str = "seasonal"
    right_late: float = 0.0
    """How much further the rod moves before the right pin follows, share of the stroke."""


def _day(
    months: int, temperature_c: float, engine: bool, spot: float, late: float = 0.0, kind: str = "seasonal"
) -> CheckDay:
    at = COMMISSIONED + timedelta(days=30.4 * months)
    return CheckDay(at, temperature_c, engine, spot, kind=kind, right_late=late)


CHECKS: tuple[CheckDay, ...] = (
    _day(3, 19.0, True, 0.0),
    _day(6, 9.0, False, 0.0),
    _day(9, -4.0, False, 0.0),  # first winter: stiff, and no fault
    _day(12, 11.0, True, 0.0),
    _day(15, 22.0, True, 0.02),
    _day(18, 10.0, False, 0.05),
    _day(21, -6.0, True, 0.10, 0.016),  # second winter: the right pin begins to lag
    _day(24, 12.0, True, 0.17, 0.021),
    _day(27, 21.0, False, 0.26, 0.028),
    _day(30, 8.0, True, 0.38, 0.036),
)
SERVICE_AT = COMMISSIONED + timedelta(days=30.4 * 30 + 4)
SERVICE = {
    "seen": "binding spot at the same place in both directions, RIGHT SWITCH later than it was",
    "found": "burr on the right pin, dry grease",
    "fixed": "burr dressed off, both pins cleaned and greased",
    "verified": "moved by hand, power isolated: free over the whole travel",
}
AFTER: tuple[CheckDay, ...] = (
    _day(31, 7.0, True, 0.0, kind="after-service"),
    _day(33, -5.0, False, 0.0),  # third winter
    _day(36, 13.0, True, 0.0),
)
BETWEEN_THROWS = timedelta(seconds=60)


class Throws:
    """Every throw of one rig into one logbook; the same each time the demo runs."""

    def __init__(self, folder: Path, logbook: Path, rig: str) -> None:
        import numpy as np

        self.folder, self.logbook, self.rig = folder, logbook, rig
        self.has_switches = False
        """Whether a switch at each pin is fitted by now."""
        self._rng = np.random.default_rng(2023)

    def sheet(
        self,
        kind: str,
        at: datetime,
        machine: "MachineModel",
        conditions: "ThrowConditions",
        each_way: int,
        faults: "Sequence[SimulatedFault]" = (),
    ) -> Imported:
        """Lock and unlock in turn, one a minute from ``at`` on; the records stay as files under the folder."""
        place = self.folder / "records" / f"{at:%Y-%m-%d-%H%M}-{kind}"
        place.mkdir(parents=True)
        files = []
        for number, direction in enumerate(("lock", "unlock") * each_way, 1):
            files.append(place / f"{number:02d}-{direction}.csv")
            started = at + number * BETWEEN_THROWS
            worked = replace(conditions, throw_number=(number + 1) // 2)
            self._throw(files[-1], direction, started, machine, worked, faults)
        order = ImportPlan(self.rig, kind, files, _answers(conditions))
        return import_traces(self.logbook, order, OPERATOR, at + timedelta(minutes=45))

    def _throw(
        self,
        file: Path,
        direction: str,
        started: datetime,
        machine: "MachineModel",
        conditions: "ThrowConditions",
        faults: "Sequence[SimulatedFault]",
    ) -> None:
        import numpy as np

        from throwbook.core.simulator import SensorModel, throw
        from throwbook.jobs.sample_runs import USUAL_SENSOR

        sensor = SensorModel(**USUAL_SENSOR, has_switches=self.has_switches)  # type: ignore[arg-type]
        trace = throw(machine, direction, conditions, sensor, faults, self._rng, started, self.rig).trace
        voltage_v = None if trace.voltage_v is None else np.round(trace.voltage_v, 3)
        write_trace(replace(trace, current_a=np.round(trace.current_a, 4), voltage_v=voltage_v), file)


def _answers(conditions: "ThrowConditions") -> dict[str, Any]:
    """What every sheet asks, answered as the throws are made."""
    return {
        "hours_since_movement": conditions.hours_at_rest,
        "worked_before": "no" if conditions.hours_at_rest else "moved a few times",
        "ambient_c": conditions.temperature_c,
        "supply": "machine battery",
        "engine_running": conditions.engine_running,
        "attachment": ATTACHMENT,
        "operator": OPERATOR,
        "instruments": "current-sense board, uncalibrated",
    }


def draw_pin(file: Path, pin: str, at: datetime) -> Path:
    """A picture of a pin in its hole, drawn and saying so, with the date that a camera would write."""
    from PIL import Image, ImageDraw

    from throwbook.files.pictures import EXIF_PART, TAKEN, TAKEN_OFFSET

    image = Image.new("RGB", (800, 600), "#8d8f8a")
    pen = ImageDraw.Draw(image)
    pen.rectangle((120, 0, 680, 600), fill="#5c6166")  # the carriage's plate, the attachment's ear behind it
    pen.rectangle((200, 60, 600, 540), fill="#c9a227")
    pen.ellipse((300, 200, 500, 400), fill="#1d1f21")
    pen.ellipse((312, 212, 488, 388), fill="#b9bec4", outline="#e6e9ec", width=6)
    pen.text((20, 20), f"{pin.upper()} PIN: DRAWN FOR THE DEMO, NO MACHINE", fill="white", font_size=28)
    exif = Image.Exif()
    offset = f"{at:%z}"
    exif[EXIF_PART] = {TAKEN: f"{at:%Y:%m:%d %H:%M:%S}", TAKEN_OFFSET: f"{offset[:3]}:{offset[3:]}"}
    file.parent.mkdir(exist_ok=True)
    image.save(file, "JPEG", quality=80, exif=exif.tobytes())
    return file
