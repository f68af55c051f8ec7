"""Simulated throws of the demo's machine, written as record files and imported as one sheet."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.jobs import demo_story as story
from logger.jobs.importing import Imported, Order, import_traces

if TYPE_CHECKING:
    from logger.core.simulator import Conditions, MachineModel

BETWEEN_THROWS = timedelta(seconds=60)


class Throws:
    """Every throw of one rig into one logbook; the same each time the demo runs."""

    def __init__(self, folder: Path, logbook: Path, rig: str) -> None:
        import numpy as np

        self.folder, self.logbook, self.rig = folder, logbook, rig
        self._rng = np.random.default_rng(2023)

    def sheet(
        self, kind: str, at: datetime, machine: "MachineModel", conditions: "Conditions", each_way: int
    ) -> Imported:
        """Lock and unlock in turn, one a minute from ``at`` on; the records stay as files under the folder."""
        place = self.folder / "records" / f"{at:%Y-%m-%d-%H%M}-{kind}"
        place.mkdir(parents=True)
        files = []
        for number, direction in enumerate(("lock", "unlock") * each_way, 1):
            files.append(place / f"{number:02d}-{direction}.csv")
            started = at + number * BETWEEN_THROWS
            self._throw(
                files[-1], direction, started, machine, replace(conditions, throw_number=(number + 1) // 2)
            )
        order = Order(self.rig, kind, files, _answers(conditions))
        return import_traces(self.logbook, order, story.OPERATOR, at + timedelta(minutes=45))

    def _throw(
        self, file: Path, direction: str, started: datetime, machine: "MachineModel", conditions: "Conditions"
    ) -> None:
        import numpy as np

        from logger.core.simulator import SensorModel, throw
        from logger.files.tracefile import write_trace
        from logger.jobs.samples import USUAL_SENSOR

        sensor = SensorModel(**USUAL_SENSOR)  # type: ignore[arg-type]
        trace = throw(machine, direction, conditions, sensor, (), self._rng, started, self.rig).trace
        voltage_v = None if trace.voltage_v is None else np.round(trace.voltage_v, 3)
        write_trace(replace(trace, current_a=np.round(trace.current_a, 4), voltage_v=voltage_v), file)


def _answers(conditions: "Conditions") -> dict[str, Any]:
    """What every sheet asks, answered as the throws are made."""
    return {
        "hours_since_movement": conditions.hours_at_rest,
        "worked_before": "no" if conditions.hours_at_rest else "moved a few times",
        "ambient_c": conditions.temperature_c,
        "supply": "machine battery",
        "engine_running": conditions.engine_running,
        "attachment": story.ATTACHMENT,
        "operator": story.OPERATOR,
        "instruments": "current-sense board, uncalibrated",
    }
