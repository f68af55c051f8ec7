"""The bench test of an actuator: from trace files, or from a bench sheet of the logbook. Never prints."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from logger.core.machine.rating import speed_at
from logger.core.rig import Rig
from logger.core.stroke.bench import BenchTest, judge_bench
from logger.errors import InputError
from logger.jobs.movements import throws_of

if TYPE_CHECKING:
    from logger.core.machine.rating import MotorLine
    from logger.core.trace import Trace


@dataclass(frozen=True)
class BenchResult:
    """A judged bench test and what it is about."""

    rig: Rig
    test: BenchTest
    rating: dict[str, str]
    """Lines for the ``[actuator]`` table of the rig file that give this actuator's own line."""


def bench_of_files(rig: Rig, files: Sequence[str | Path]) -> BenchResult:
    """Judge every throw in trace files, both directions. Raises InputError."""
    from logger.jobs.assess import Reading, trace_paths

    reading = Reading()
    return _judged(rig, [reading.read(path) for path in trace_paths(files)])


def bench_of_sheet(logbook: str | None, sheet: str) -> BenchResult:
    """Judge the recorded throws of a bench sheet, each under its board's calibration. Raises InputError."""
    from logger.core.records.records import BENCH, BY_HAND
    from logger.jobs.logbooks import opened
    from logger.jobs.rig_of import rig_of
    from logger.jobs.stored_trial import trace_of

    with opened(logbook, read_only=True) as book:
        state = book.sheet(sheet)
        if state.sheet.kind != BENCH:
            raise InputError(f"this is a {state.sheet.kind} sheet", sheet, "Name a bench sheet")
        rig = rig_of(book, state.sheet.rig)
        recorded = [one for one in book.trials(sheet=state.sheet.id) if one.trial.source != BY_HAND]
        return _judged(rig, [trace_of(book, one) for one in recorded])


def _judged(rig: Rig, traces: "Sequence[Trace]") -> BenchResult:
    """Each movement by itself, then as a bench test."""
    if not traces:
        raise InputError(
            "there are no recorded throws", rig.name, "Record the full stroke both ways, without load"
        )
    throws = [
        (one.trace, one.assessment) for trace in traces for one in throws_of(trace, rig, {}, on_bench=True)
    ]
    test = judge_bench(rig, throws)
    return BenchResult(rig, test, own_rating(rig, test.line) if test.throws_used else {})


def own_rating(rig: Rig, line: "MotorLine") -> dict[str, str]:
    """The refined line as data-sheet values at the nominal voltage.

    Full-load current and force stay the maker's: no bench throw without load can tell them.
    """
    actuator = rig.actuator
    free = float(speed_at(line, line.i0_a, actuator.voltage_v))
    loaded = float(speed_at(line, actuator.full_load_current_a, actuator.voltage_v))
    return {
        "no_load_current": f"{line.i0_a:.3f} A",
        "no_load_speed": f"{1000 * free:.2f} mm/s",
        "full_load_speed": f"{1000 * loaded:.2f} mm/s",
    }
