"""The sample runs: a table of what happened and what the record shows, and their files, the same bytes each time. Invented."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zlib import crc32

from throwbook.core.rig import LOCK, UNLOCK, Actuator, LockMechanism, Rig, Wiring
from throwbook.core.simulator import SensorModel, SimulatedFault, ThrowConditions, machine_for, throw
from throwbook.errors import OutsideError

if TYPE_CHECKING:
    from throwbook.core.trace import Trace


RIG = Rig(
    name="yard-loader",
    actuator=Actuator(
        voltage_v=12.0,
        stroke_m=0.150,
        rated_force_n=1100.0,
        no_load_speed_m_s=0.014,
        full_load_speed_m_s=0.010,
        no_load_current_a=0.8,
        full_load_current_a=5.0,
        duty_cycle=0.25,
        protection="IP66",
        extend_locks=True,
    ),
    lock=LockMechanism(needed_travel_m=0.142),
    wiring=Wiring(conductor="2.5 mm2", area_m2=2.5e-6, length_one_way_m=3.5, fuse_a=15.0),
)

RIG_TOML = """\
# The rig of the sample runs. An invented machine: a loader's attachment carriage at Fellside Yard.
name = "yard-loader"
units = "metric"

[lock]
needed_travel = "142 mm"

[actuator]
voltage = "12 V"
stroke = "150 mm"
rated_force = "1100 N"
no_load_speed = "14 mm/s"
full_load_speed = "10 mm/s"
no_load_current = "0.8 A"
full_load_current = "5.0 A"
duty_cycle = 0.25
protection = "IP66"
extend_locks = true

[wiring]
conductor = "2.5 mm2"
length_one_way = "3.5 m"
fuse = "15 A"

[board]
placed_in = "supply"
"""

MACHINE_SEED = 12
LOAD_SHARE = 0.55


@dataclass(frozen=True)
class SampleRun:
    """One file."""

    folder: str
    name: str
    direction: str
    shows: str
    sign: str = ""
    """Sign that it stands for; empty: no fault, or one record can't show it."""
    faults: tuple[SimulatedFault, ...] = ()
    conditions: ThrowConditions = field(default_factory=ThrowConditions)
    sensor: dict[str, Any] = field(default_factory=dict)
    """What differs from the usual sensor."""
    minutes: float = 0.0
    """After the first sample run."""

    @property
    def path(self) -> str:
        """Where it goes, from the samples' folder."""
        return f"{self.folder}/{self.name}.csv"


def _baseline() -> list[SampleRun]:
    """Eight throws each way on one mild morning, two minutes apart, after some throws to work it in."""
    runs = []
    for k in range(16):
        direction = LOCK if k % 2 == 0 else UNLOCK
        runs.append(
            SampleRun(
                "baseline",
                f"{direction}-{k // 2 + 1}",
                direction,
                f"baseline throw {k // 2 + 1} of 8 of the commissioning set ({direction})",
                conditions=ThrowConditions(temperature_c=14.0, throw_number=4 + k),
                minutes=2.0 * k,
            )
        )
    return runs


MILD = ThrowConditions(temperature_c=12.0, throw_number=4)
FIRST = ThrowConditions(temperature_c=12.0, throw_number=1)


def _fault(
    sign: str,
    name: str,
    shows: str,
    fault: SimulatedFault,
    direction: str = LOCK,
    conditions: ThrowConditions = MILD,
    **sensor: Any,
) -> SampleRun:
    return SampleRun("signs", name, direction, shows, sign, (fault,), conditions, sensor)


# fmt: off
HEALTHY = [
    SampleRun("healthy", "lock-mild", LOCK, "no signs, like the baseline", conditions=MILD),
    SampleRun("healthy", "unlock-mild", UNLOCK, "no signs, like the baseline", conditions=MILD),
    SampleRun("healthy", "lock-cold", LOCK, "no signs at 2 degC: stiffer grease, not wear", conditions=ThrowConditions(temperature_c=2.0, throw_number=4)),
    SampleRun("healthy", "unlock-hot", UNLOCK, "no signs at 30 degC", conditions=ThrowConditions(temperature_c=30.0, throw_number=4)),
    SampleRun("healthy", "lock-engine-running", LOCK, "no signs with the engine running: higher voltage, alternator ripple", conditions=ThrowConditions(temperature_c=12.0, throw_number=4, engine_running=True)),
    SampleRun("healthy", "unlock-battery-half", UNLOCK, "no signs on a half-charged battery", conditions=ThrowConditions(temperature_c=12.0, throw_number=4, battery_charge=0.5)),
    SampleRun("healthy", "lock-no-voltage-channel", LOCK, "no signs, recorded without a voltage channel", conditions=MILD, sensor={"has_voltage": False}),
    SampleRun("healthy", "unlock-sensor-turned-round", UNLOCK, "no signs, sensor turned round: currents below zero", conditions=MILD, sensor={"polarity": -1}),
    SampleRun("healthy", "lock-slow-logger", LOCK, "no signs, at 20 samples per second", conditions=MILD, sensor={"rate_hz": 20.0}),
    SampleRun("healthy", "unlock-fast-logger", UNLOCK, "no signs, at 400 samples per second", conditions=MILD, sensor={"rate_hz": 400.0}),
    SampleRun("healthy", "lock-as-found", LOCK, "no signs, as found after a weekend: slightly higher current", conditions=ThrowConditions(temperature_c=12.0, throw_number=1, hours_at_rest=60)),
]


SIGNS = [
    _fault("no-start", "no-start", "limit switch contact open in this direction: no current", SimulatedFault("limit-open")),
    _fault("stall", "stall-mid-way", "an obstruction stops the rod half-way", SimulatedFault("obstruction", place=0.5)),
    _fault("stall", "stall-never-moved", "seized pin: stall current from the first moment", SimulatedFault("never-moved"), UNLOCK),
    _fault("end-stop", "end-stop-limit-welded", "limit switch welded: the motor stalls at the end of travel", SimulatedFault("limit-welded")),
    _fault("end-stop", "end-stop-mechanism-bottoms", "the mechanism reaches its stop just before the limit switch opens", SimulatedFault("stop-before-limit", 0.008), UNLOCK),
    _fault("stopped-short", "stopped-short-limit-slipped", "limit switch slipped: stopped with 12 % of the travel missing", SimulatedFault("limit-early", 0.12)),
    _fault("stopped-short", "stopped-short-fuse", "the circuit opens during the throw; the voltage recovers", SimulatedFault("fuse-blown", place=0.6), UNLOCK),
    _fault("stopped-short", "stopped-short-cut-out", "a self-resetting cut-out trips; a small current still flows", SimulatedFault("cut-out-tripped", place=0.4)),
    _fault("light-run", "light-run-linkage-off", "linkage off: full travel, fast, near no-load current", SimulatedFault("linkage-off")),
    _fault("light-run", "light-run-stripped-nut", "stripped nut: the motor keeps running, the rod does not move", SimulatedFault("stripped-nut"), UNLOCK),
    _fault("slow-travel", "slow-travel-loss-downstream", "a bad joint between board and motor: slow at full voltage", SimulatedFault("loss-downstream", 0.3)),
    _fault("low-supply", "low-supply-weak-battery", "a weak battery: voltage low at rest and under load", SimulatedFault("weak-battery", 0.05)),
    _fault("supply-drop", "supply-drop-long-cable", "a long thin cable: voltage fine at rest, low under load", SimulatedFault("long-cable", 0.09)),
    _fault("supply-drop", "supply-drop-corroded-plug", "a corroded plug: the voltage under load jumps", SimulatedFault("corroded-plug", 0.15), UNLOCK),
    _fault("drag", "drag-dirt-lock", "dirt in pins and guides: 30 % more friction over the whole travel (see the unlock throw too)", SimulatedFault("even-friction", 0.3)),
    _fault("drag", "drag-dirt-unlock", "dirt in pins and guides: 30 % more friction over the whole travel (see the lock throw too)", SimulatedFault("even-friction", 0.3), UNLOCK),
    _fault("drag", "drag-dry-screw", "the actuator's own screw runs dry: more current in the free play too", SimulatedFault("dry-screw", 0.3)),
    _fault("drag", "drag-cold-grease", "cold-stiff grease at -8 degC: most friction at the start, then less", SimulatedFault("cold-grease", 0.35), conditions=ThrowConditions(temperature_c=-8.0, throw_number=1, hours_at_rest=14)),
    _fault("drag", "drag-side-load", "crooked mount: the further out, the more friction", SimulatedFault("side-load", 0.3)),
    _fault("drag", "drag-ice-first-throw", "water or ice inside: the first throw is rough", SimulatedFault("water-or-ice", 0.4), conditions=FIRST),
    _fault("binding-spot", "binding-spot-lock", "a burr at 62 % of the lock throw (see the unlock throw too)", SimulatedFault("local-bind", 0.4, 0.62)),
    _fault("binding-spot", "binding-spot-unlock", "the same burr in the unlock throw, at 38 %", SimulatedFault("local-bind", 0.4, 0.62), UNLOCK),
    _fault("binding-spot", "binding-spot-hole-edge", "a pin touches the edge of its hole", SimulatedFault("hole-edge", 0.6)),
    _fault("binding-spot", "binding-spot-weight-on-pins", "the attachment's weight is on the pins: a peak at the start", SimulatedFault("weight-on-pins", 0.7), UNLOCK),
    _fault("over-rated", "over-rated", "running current 15 % above the full-load current", SimulatedFault("over-rated", 0.15)),
    _fault("uneven-sides", "uneven-sides", "the load of the second side comes on late", SimulatedFault("uneven-sides", 0.12)),
    _fault("free-play", "free-play", "worn joints: take-up point 6 % of the stroke later", SimulatedFault("free-play", 0.06)),
    _fault("clipped", "clipped", "the sensor's range is too small for the motor", SimulatedFault("clipped", 0.85)),
    _fault("gaps", "gaps", "a fifth of the movement is missing", SimulatedFault("gaps", 0.2), UNLOCK),
    _fault("cut-record", "cut-record-end-missing", "the record ends while the motor is running", SimulatedFault("cut-record", place=0.6)),
    _fault("cut-record", "cut-record-start-missing", "the record starts while the motor is running", SimulatedFault("late-record", place=0.3), UNLOCK),
    _fault("noisy", "noisy-sense-wire", "a loose sense wire", SimulatedFault("noisy", 0.6)),
    _fault("noisy", "noisy-worn-brushes", "worn brushes: the current is noisy", SimulatedFault("worn-brushes", 0.4), UNLOCK),
    _fault("", "completes-pins-clamp", "the pins clamp beside their holes: a rise at the end, yet the throw completes; look at both pins", SimulatedFault("pins-clamp", 0.3)),
    _fault("", "completes-one-pin-off", "one side's link is off: less current, yet the throw completes; look at both pins", SimulatedFault("one-pin-off")),
    _fault("no-end", "never-ends-slipping-clutch", "an overload clutch slips: a flat current that never ends", SimulatedFault("slipping-clutch", 0.9)),
    _fault("", "sensor-gain", "the sensor reads 20 % too much: current and voltage disagree", SimulatedFault("sensor-gain", 0.2)),
    _fault("interruption", "interruption-loose-contact", "a loose contact opens for 0.2 s during the throw", SimulatedFault("loose-contact", 0.2, 0.26)),
    _fault("switch-open", "switch-open-right-pin-behind", "the right pin stays behind: time and current as ever, its switch stays open", SimulatedFault("pin-behind"), has_switches=True),
    _fault("switch-fault", "switch-fault-left-stuck-closed", "the left pin's switch is stuck closed", SimulatedFault("switch-stuck-closed", side="left"), has_switches=True),
]

# fmt: on


def _duty() -> list[SampleRun]:
    """Ten throws with hardly a rest between them: the motor warms and the rated duty cycle is broken."""
    runs = []
    for k in range(10):
        direction = LOCK if k % 2 == 0 else UNLOCK
        runs.append(
            SampleRun(
                "duty",
                f"throw-{k + 1:02d}-{direction}",
                direction,
                f"throw {k + 1} of 10 with hardly a rest between them; duty cycle 25 %",
                "duty-exceeded" if k > 1 else "",
                conditions=ThrowConditions(temperature_c=12.0, throw_number=4 + k),
                minutes=20 * 24 * 60 + 0.3 * k,
            )
        )
    return runs


SAMPLE_RUNS: tuple[SampleRun, ...] = (*_baseline(), *HEALTHY, *SIGNS, *_duty())
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
    from throwbook.files.trace_file import write_trace

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

    lines = [
        "# Sample runs",
        "",
        f"Simulated throws of one invented machine, `{RIG.name}` (rig file: `{RIG.name}.toml`), to try the commands on",
        "and to see what each sign looks like. No file here is a measurement. `throwbook samples sample-runs` or `make samples`",
        "writes them again, byte for byte.",
        "",
        "    throwbook assess --rig sample-runs/yard-loader.toml --baseline sample-runs/baseline sample-runs/signs",
        "",
        "A throw can complete with a pin beside its hole or a side unlinked: see `signs/completes-*.csv`. No record shows",
        "where a pin is. Look at both pins, one at a time.",
        "",
        "A `-` under `signs/` means: this fault has no sign of its own. The program then shows the sign that fits best.",
    ]
    titles = {
        "baseline": "Baseline set",
        "healthy": "Throws without signs in other conditions",
        "signs": "Throws with faults, and what they show",
        "duty": "A set with rests shorter than the duty cycle calls for",
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
