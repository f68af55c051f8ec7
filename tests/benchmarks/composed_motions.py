"""Movements to put into one record: of the project's own simulator and of machines that it knows nothing of.

A ``Motion`` gives current and voltage at the board at any instant and, beside them, what is true of it by the physics:
when the current came on and went off, the mean and the highest ripple-free current of its run, the peak of its start,
how far the rod went. Where a figure's definition leaves an interval (a drive slows down to its end) the truth is one.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.benchmarks import foreign_machines as foreign
from throwbook.core.rig import DIRECTIONS, UNLOCK, Rig
from throwbook.core.simulator import (
    MachineModel,
    SensorModel,
    SimulatedFault,
    ThrowConditions,
    make_waveform,
    random_machine,
)
from throwbook.core.simulator.throw import Waveform, run_truth
from throwbook.core.trace import FloatArray

Rng = np.random.Generator
Signals = Callable[[FloatArray, Rng], tuple[FloatArray, FloatArray]]
Interval = tuple[float, float]

HEALTHY, STALL, STALL_AT_START, SHORT, LIGHT, JOG, REMAINDER = (
    "healthy",
    "stall",
    "stall at the start",
    "stopped short",
    "light run",
    "jog",
    "rest of the stroke",
)
KINDS = (HEALTHY, STALL, STALL_AT_START, SHORT, LIGHT, JOG, REMAINDER)
SIMULATOR, SCREW, DRIVE = "simulator", "foreign screw", "foreign drive"
SOURCES = (SIMULATOR, SCREW, DRIVE)
BASELINE_THROWS = 4
GONE_SHARE = 0.3
"""Less than this share of the running current is next to nothing."""
POOL = ((HEALTHY, BASELINE_THROWS + 3), *((kind, 1) for kind in KINDS[1:]))
"""How many motions of each kind a machine makes in each direction; the first healthy ones are its baseline."""


@dataclass(frozen=True, eq=False)
class Motion:
    """One movement from the moment that its current comes on. Currents in ampere, the sign that of the board."""

    kind: str
    direction: str
    signals: Signals
    """(seconds since the current came on, generator) to current [A] and voltage [V]; before 0 and after the end too."""
    lasts_s: float
    """Until the current is cut off."""
    gone_s: float
    """From here on next to nothing flows: with a drive that slows down earlier than it is cut off."""
    end_s: Interval
    """End of the movement: cut off, or come to stand."""
    run_a: Interval | None
    peak_a: Interval | None
    inrush_a: Interval | None
    level_a: float
    """Typical running current, to scale what is laid on it."""
    share: float
    """Of the stroke, from this movement's own start."""
    sign: float
    """Of the current at the board."""


@dataclass(frozen=True, eq=False)
class Machine:
    """A rig, and the motions that it makes."""

    source: str
    rig: Rig
    pool: dict[tuple[str, str], list[Motion]]
    """By kind and direction; of the healthy ones the first ``BASELINE_THROWS`` are the baseline's."""
    run_a: float
    no_load_a: float
    """True."""
    ambient_c: tuple[float | None, float | None]
    """Of the baseline and of the day of the records [degC]."""
    sensor: SensorModel
    """For the simulator's waveforms: only its aperture matters."""

    def healthy(self, rng: Rng, direction: str) -> Motion:
        return self.pool[HEALTHY, direction][int(rng.integers(BASELINE_THROWS, BASELINE_THROWS + 3))]

    def one(self, rng: Rng, kind: str, direction: str) -> Motion:
        group = self.pool[kind, direction]
        return self.healthy(rng, direction) if kind == HEALTHY else group[int(rng.integers(len(group)))]


# ---- the project's own simulator ----


def simulated(rng: Rng, rate_hz: float) -> Machine:
    """A machine of the simulator whose healthy throws are well inside its rating and last a few seconds."""
    while True:
        rig, model = random_machine(rng, placed_in=str(rng.choice(["supply", "supply", "motor"])))
        act = rig.actuator
        if not 1.2 < act.stroke_m / act.no_load_speed_m_s < 8.0:
            continue
        aperture_s = float(rng.choice((0.0, 0.3, 0.9)) / rate_hz)
        sensor = SensorModel(rate_hz=rate_hz, aperture_s=aperture_s)
        days = [_day(rng), _day(rng)]
        pool: dict[tuple[str, str], list[Motion]] = {}
        for direction in DIRECTIONS:
            for kind, count in POOL:
                made = pool.setdefault((kind, direction), [])
                for k in range(count):
                    day = days[0] if kind == HEALTHY and k < BASELINE_THROWS else days[1]
                    made.append(_simulated_motion(rng, model, kind, direction, day, sensor))
        if _inside_its_rating(rig, pool):
            ambient = (round(days[0].temperature_c, 1), round(days[1].temperature_c, 1))
            run_a = model.healthy_run_current_a("lock")
            idle = model.steady(0.0, model.nominal_v)[0]
            return Machine(SIMULATOR, rig, pool, run_a, idle, ambient, sensor)


def _day(rng: Rng) -> ThrowConditions:
    return ThrowConditions(
        temperature_c=float(rng.uniform(4.0, 30.0)),
        engine_running=bool(rng.random() < 0.5),
        battery_charge=float(rng.uniform(0.6, 1.0)),
    )


def _simulated_motion(
    rng: Rng, model: MachineModel, kind: str, direction: str, day: ThrowConditions, sensor: SensorModel
) -> Motion:
    place = float(rng.uniform(0.1, 0.88))
    faults = {
        HEALTHY: [],
        STALL: [SimulatedFault("obstruction", place=place)],
        STALL_AT_START: [SimulatedFault("never-moved")],
        SHORT: [SimulatedFault("limit-early", 1.0 - min(place, 0.82))],
        LIGHT: [SimulatedFault("linkage-off")],
        JOG: [SimulatedFault("limit-early", 1.0 - float(rng.uniform(0.03, 0.09)))],
        REMAINDER: [SimulatedFault("limit-early", float(rng.uniform(0.15, 0.8)))],
    }[kind]
    wave = make_waveform(model, direction, day, sensor, faults, rng)
    moved = wave.motion
    truth = run_truth(moved)
    at_motor = model.placed_in == "motor"
    run, peak, load = truth.run_current_a, truth.peak_run_current_a, truth.peak_load_a
    return Motion(
        kind=kind,
        direction=direction,
        signals=_Simulated(wave, sensor),
        lasts_s=moved.current_until_s,
        gone_s=moved.current_until_s,
        end_s=(moved.moved_until_s, moved.moved_until_s),
        run_a=None if run is None else (run, run),
        peak_a=None if peak is None or load is None else (min(load, peak), peak),
        inrush_a=None if truth.inrush_a is None else (truth.inrush_a, truth.inrush_a),
        level_a=run or float(moved.current_a[-1]),
        share=float(moved.share[-1]),
        sign=-1.0 if at_motor and direction == UNLOCK else 1.0,
    )


@dataclass(frozen=True, eq=False)
class _Simulated:
    wave: Waveform
    sensor: SensorModel

    def __call__(self, since_s: FloatArray, rng: Rng) -> tuple[FloatArray, FloatArray]:
        return self.wave.at(since_s, self.sensor, rng)


def _inside_its_rating(rig: Rig, pool: dict[tuple[str, str], list[Motion]]) -> bool:
    """Whether every healthy throw is truly inside the limits: nothing is then right to be flagged."""
    full_a = rig.actuator.full_load_current_a
    healthy = [motion for (kind, _), group in pool.items() if kind == HEALTHY for motion in group]
    return all(
        one.run_a is not None
        and one.peak_a is not None
        and one.run_a[1] < 0.72 * full_a
        and one.peak_a[1] < 0.93 * full_a
        for one in healthy
    )


# ---- machines of other equations ----


def foreign_machines(rngs: list[Rng]) -> list[Machine]:
    """One machine for each generator. They are stepped together, which changes nothing for any of them."""
    drawn, asked, ripples = [], [], {}
    for rng in rngs:
        kind = foreign.DRIVE if rng.random() < 0.35 else foreign.SCREW
        machine = foreign.draw_machine(rng, kind, (0.5, 20.0), (1.5, 8.0))
        drawn.append(machine)
        share = float(rng.choice([0.0, 0.02, 0.05, 0.1]))
        ripples[id(machine)] = (share * machine.run_a, float(rng.uniform(600, 9000)))
        for direction in DIRECTIONS:
            for name, count in POOL:
                asked += [
                    (machine, name, direction, _foreign_throw(rng, machine, name)) for _ in range(count)
                ]
    moved = foreign.run([one[0] for one in asked], [one[3] for one in asked])
    pools: dict[int, dict[tuple[str, str], list[Motion]]] = {id(one): {} for one in drawn}
    for (machine, name, direction, thrown), motion in zip(asked, moved, strict=True):
        made = _foreign_motion(machine, name, direction, thrown, motion, ripples[id(machine)])
        pools[id(machine)].setdefault((name, direction), []).append(made)
    return [
        Machine(
            SCREW if one.kind == foreign.SCREW else DRIVE,
            one.rig,
            pools[id(one)],
            one.run_a,
            one.i0_a,
            (15.0, 15.0) if rng.random() < 0.6 else (None, None),
            SensorModel(),
        )
        for one, rng in zip(drawn, rngs, strict=True)
    ]


def _foreign_throw(rng: Rng, m: foreign.Machine, kind: str) -> foreign.Throw:
    usual = foreign.healthy(rng, m)
    place = float(rng.uniform(0.1, 0.88))
    stood_s = float(rng.uniform(0.4, 3.0))
    jog, remainder = float(rng.uniform(0.03, 0.09)), float(rng.uniform(0.2, 0.82))
    changes = {
        HEALTHY: {},
        STALL: {"stop_at": place, "held_s": stood_s},
        STALL_AT_START: {"stop_at": 1e-4, "held_s": stood_s},
        SHORT: {"cut_at": min(place, 0.82)},
        LIGHT: {"load_a": 0.03 * usual.load_a},
        JOG: {"cut_at": jog},
        REMAINDER: {"cut_at": remainder},
    }
    return replace(usual, **changes[kind])  # type: ignore[arg-type]


def _foreign_motion(
    m: foreign.Machine,
    kind: str,
    direction: str,
    thrown: foreign.Throw,
    moved: foreign.Motion,
    ripple: tuple[float, float],
) -> Motion:
    at_motor = m.rig.board.placed_in == "motor"
    sign = -1.0 if at_motor and direction == UNLOCK else 1.0
    stood = np.isfinite(moved.stop_s)
    ends = (moved.stop_s, moved.stop_s) if stood else (min(moved.slowing_s, moved.end_s), moved.end_s)
    run, peak = moved.run_truth()
    inrush = moved.inrush_truth()
    share = float(np.interp(moved.end_s, moved.t_s, moved.share))
    return Motion(
        kind=kind,
        direction=direction,
        signals=_Foreign(moved, thrown.battery_v, at_motor, sign, *ripple),
        lasts_s=moved.end_s,
        gone_s=_gone_s(moved, m.run_a),
        end_s=ends,
        run_a=run,
        peak_a=peak,
        inrush_a=None if inrush is None else (inrush, inrush),
        level_a=m.run_a,
        share=min(share, thrown.stop_at),
        sign=sign,
    )


def _gone_s(moved: foreign.Motion, run_a: float) -> float:
    flowing = (moved.t_s < moved.end_s) & (np.abs(moved.current_a) > GONE_SHARE * run_a)
    last_s = float(moved.t_s[np.flatnonzero(flowing)[-1]]) if flowing.any() else moved.end_s
    return last_s if moved.end_s - last_s > 0.02 else moved.end_s


@dataclass(frozen=True, eq=False)
class _Foreign:
    moved: foreign.Motion
    battery_v: float
    at_motor: bool
    sign: float
    ripple_a: float
    ripples_per_stroke: float

    def __call__(self, since_s: FloatArray, rng: Rng) -> tuple[FloatArray, FloatArray]:
        moved = self.moved
        on = (since_s >= 0.0) & (since_s < moved.end_s)
        current = np.interp(since_s, moved.t_s, moved.current_a)
        if self.ripple_a:
            share = np.interp(since_s, moved.t_s, moved.share)
            speed = np.interp(since_s, moved.t_s, np.gradient(moved.share, moved.t_s))
            turning = np.clip(3.0 * speed / max(float(speed.max()), 1e-9), 0.0, 1.0)
            ripple = np.sin(2.0 * np.pi * self.ripples_per_stroke * share)
            current = current + self.ripple_a * turning * ripple
        last_a = float(np.interp(moved.end_s, moved.t_s, moved.current_a))
        decay_s = 0.008 if self.at_motor else 0.0005
        tail_a = last_a * np.exp(-np.maximum(since_s - moved.end_s, 0.0) / decay_s)
        current = np.where(on, current, tail_a)
        current = np.where(since_s < 0.0, 0.0, current)
        rest_v = 0.0 if self.at_motor else self.battery_v
        voltage = np.where(on, np.interp(since_s, moved.t_s, moved.voltage_v), rest_v)
        return self.sign * current, voltage * (self.sign if self.at_motor else 1.0)
