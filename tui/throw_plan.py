"""What a recording is asked for, from what the desk and the rig say. Nothing of Textual."""

from typing import TYPE_CHECKING

from logger.core.records.records import BENCH

if TYPE_CHECKING:
    from logger.jobs.record import RecordPlan
    from logger.jobs.rigsource import RigSource
    from tui.desk import Desk


def throw_plan(
    desk: "Desk", source: "RigSource", rig_ref: str, direction: str, kind: str, ambient_c: float | None
) -> "RecordPlan":
    """One throw on the board that is chosen; its journal beside the logbook that is open."""
    from logger.jobs.calibrate import calibration_finder
    from logger.jobs.logbooks import journal_folder
    from logger.jobs.record import RecordPlan

    return RecordPlan(
        port=desk.port,
        baud=desk.baud,
        rate_hz=desk.rate_hz,
        rig=source.rig,
        baselines=source.baselines,
        on_bench=kind == BENCH,
        ambient_c=ambient_c,
        rig_ref=rig_ref,
        direction=direction,
        folder=journal_folder(desk.logbook),
        calibration_of=calibration_finder(desk.logbook),
    )
