"""Write the sample runs: a rig, a baseline set, healthy throws and one record for each sign. The same bytes each time."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zlib import crc32

from logger.errors import OutsideError

if TYPE_CHECKING:
    from logger.core.trace import Trace
    from logger.jobs.sample_table import SampleRun

BEGUN = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
USUAL_SENSOR = {
    "rate_hz": 100.0,
    "noise_a": 0.015,
    "offset_a": 0.011,
    "gain": 1.001,
    "resolution_a": 0.002,
    "full_scale_a": 25.0,
    "aperture_s": 0.002,
    "voltage_resolution_v": 0.004,
    "jitter_s": 0.0002,
}


@dataclass(frozen=True)
class Written:
    """What was written where."""

    folder: Path
    files: int
    bytes: int


def write_samples(folder: Path, progress: Callable[[int, int], None] = lambda done, of: None) -> Written:
    """(Re)generate the sample runs in ``folder``; files of other names are left alone.

    ``progress`` is called with the number of records done and the number of all. Raises OutsideError when the disk
    refuses.
    """
    from logger.files.tracefile import write_trace
    from logger.jobs.sample_table import RIG, RIG_TOML, SAMPLE_RUNS

    paths = [folder / f"{RIG.name}.toml", folder / "README.md"]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        paths[0].write_text(RIG_TOML, encoding="utf-8", newline="\n")
        paths[1].write_text(index(), encoding="utf-8", newline="\n")
        for name in {run.folder for run in SAMPLE_RUNS}:
            (folder / name).mkdir(exist_ok=True)
    except OSError as error:
        raise OutsideError(
            f"writing failed ({error.strerror})", str(folder), "Name a folder you may write to"
        ) from error
    for done, (run, trace) in enumerate(sample_traces(), 1):
        path = folder / run.path
        write_trace(trace, path)
        paths.append(path)
        progress(done, len(SAMPLE_RUNS))
    return Written(folder, len(paths), sum(path.stat().st_size for path in paths))


def sample_traces() -> "Iterator[tuple[SampleRun, Trace]]":
    """Each sample run and its record, in the order of the table. The winding's heat goes on from throw to throw."""
    import numpy as np

    from logger.core.simulator import SensorModel, machine_for, throw
    from logger.jobs.sample_table import LOAD_SHARE, MACHINE_SEED, RIG, SAMPLE_RUNS

    machine = machine_for(RIG, MACHINE_SEED, LOAD_SHARE)
    winding_c: float | None = None
    for number, run in enumerate(SAMPLE_RUNS):
        conditions = run.conditions
        if run.folder == "duty":
            conditions = replace(conditions, winding_c=winding_c)
        minutes = run.minutes if run.minutes or run.folder == "baseline" else 60.0 * 24 * 7 + 5.0 * number
        thrown = throw(
            machine,
            run.direction,
            conditions,
            SensorModel(**{**USUAL_SENSOR, **run.sensor}),
            run.faults,
            np.random.default_rng(crc32(run.path.encode())),
            started=BEGUN + timedelta(minutes=minutes),
            rig_name=RIG.name,
        )
        winding_c = thrown.truth.winding_c if run.folder == "duty" else None
        trace = thrown.trace
        yield (
            run,
            replace(
                trace,
                current_a=np.round(trace.current_a, 4),
                voltage_v=None if trace.voltage_v is None else np.round(trace.voltage_v, 3),
                head={"shows": run.shows, "made_by": "throwbook samples (simulated)"},
            ),
        )


def index() -> str:
    """The folder's README: every file with what it shows."""
    from logger.jobs.sample_table import RIG, SAMPLE_RUNS

    lines = [
        "# Sample runs",
        "",
        f"Simulated throws of one invented machine, `{RIG.name}` (rig file: `{RIG.name}.toml`), to try the commands on",
        "and to see what each sign looks like. No file here is a measurement. Regenerate them, byte for byte, with",
        "`throwbook samples sample-runs` or `make samples`.",
        "",
        "    throwbook assess --rig sample-runs/yard-loader.toml --baseline sample-runs/baseline sample-runs/signs",
        "",
        "A throw can complete with a pin beside its hole or a side unlinked: see `signs/completes-*.csv`. No record shows",
        "where a pin is: look at both pins, each by itself.",
    ]
    titles = {
        "baseline": "Baseline set",
        "healthy": "Healthy throws in other conditions",
        "signs": "One record or more for each sign",
        "duty": "A set that breaks the duty cycle",
    }
    for folder, title in titles.items():
        lines += [
            "",
            f"## {title} (`{folder}/`)",
            "",
            "| file | direction | sign | shows |",
            "|---|---|---|---|",
        ]
        for run in SAMPLE_RUNS:
            if run.folder == folder:
                sign = f"`{run.sign}`" if run.sign else "-"
                lines.append(f"| `{run.name}.csv` | {run.direction} | {sign} | {run.shows} |")
    return "\n".join(lines) + "\n"
