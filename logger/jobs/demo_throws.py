"""Simulated throws of the demo's machine, written as record files and imported as one sheet."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.jobs import demo_story as story
from logger.jobs.importing import Imported, Order, import_traces

if TYPE_CHECKING:
    import numpy as np

    from logger.core.simulator import Conditions, MachineModel

BETWEEN_THROWS = timedelta(seconds=60)


def throw_and_import(
    folder: Path,
    logbook: Path,
    rig: str,
    kind: str,
    at: datetime,
    machine: "MachineModel",
    conditions: "Conditions",
    directions: Sequence[str],
    answers: Mapping[str, Any],
    rng: "np.random.Generator",
) -> Imported:
    """Throw in these directions, one a minute from ``at`` on; the records stay as files under ``folder``."""
    import numpy as np

    from logger.core.simulator import SensorModel, throw
    from logger.files.tracefile import write_trace
    from logger.jobs.samples import USUAL_SENSOR

    place = folder / "records" / f"{at:%Y-%m-%d-%H%M}-{kind}"
    place.mkdir(parents=True)
    files = []
    for number, direction in enumerate(directions, 1):
        thrown = throw(
            machine,
            direction,
            replace(conditions, throw_number=(number + 1) // 2),
            SensorModel(**USUAL_SENSOR),  # type: ignore[arg-type]
            (),
            rng,
            started=at + number * BETWEEN_THROWS,
            rig_name=rig,
        )
        trace = replace(
            thrown.trace,
            current_a=np.round(thrown.trace.current_a, 4),
            voltage_v=None if thrown.trace.voltage_v is None else np.round(thrown.trace.voltage_v, 3),
        )
        files.append(place / f"{number:02d}-{direction}.csv")
        write_trace(trace, files[-1])
    order = Order(rig, kind, files, answers)
    return import_traces(logbook, order, story.OPERATOR, at + timedelta(minutes=45))
