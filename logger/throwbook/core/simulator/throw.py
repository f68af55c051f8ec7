"""One simulated throw: the record as a board would give it and the truth beside it; or its readings one by one, without end."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np

from throwbook.core.assessment import NO_RUN, STALL, STILL_RUNNING
from throwbook.core.rig import LOCK, SIDES
from throwbook.core.simulator.faults import SimulatedFault, expected_signs, lay_on
from throwbook.core.simulator.machine import MachineModel
from throwbook.core.simulator.motion import Motion, run_throw
from throwbook.core.simulator.pins import SwitchTruth, read_switch, switch_truth
from throwbook.core.simulator.plan import ThrowConditions, ThrowPlan, make_plan
from throwbook.core.simulator.sensor import SensorModel, aperture_factor, sense_current, sense_voltage
from throwbook.core.trace import BoolArray, FloatArray, Trace


@dataclass(frozen=True, eq=False)
class Waveform:
    """One throw as the board could see it, before the sensor's own errors."""

    plan: ThrowPlan
    motion: Motion
    phase: FloatArray
    """shape (3,) random phases of commutation, rotor and alternator [rad]"""

    def clean(self, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Current [A] and voltage [V] at the board without ripple, shape (n,). Times in seconds since switch-on."""
        m, plan = self.motion, self.plan
        current = np.interp(time_s, m.time_s, m.current_a, left=0.0)
        late = np.clip(time_s - m.current_until_s, 0, None)
        cut_s, back = plan.machine.cut_s, plan.machine.undershoot
        tail = np.exp(-late / cut_s) - back * (late / cut_s) * np.exp(1 - late / cut_s) * (late > cut_s)
        current = np.where(late > 0, m.current_a[-1] * tail + plan.break_leak_a, current)
        return current, self._board_voltage(time_s, current)

    def at(
        self, time_s: FloatArray, sensor: SensorModel, rng: np.random.Generator
    ) -> tuple[FloatArray, FloatArray]:
        """Current [A] and voltage [V] at the board with all ripple, shape (n,)."""
        current, _ = self.clean(time_s)
        m, plan = self.motion, self.plan
        motor = plan.machine.motor
        running = (time_s > 0) & (time_s <= m.current_until_s)
        turned = np.interp(time_s, m.time_s, m.turned_rad)
        turns_per_s = np.interp(time_s, m.time_s, m.speed_rad_s) / (2 * np.pi)
        angle = motor.ripples_per_turn * turned + self.phase[0]
        comb = np.sin(angle) * aperture_factor(sensor, motor.ripples_per_turn * turns_per_s)
        comb = comb + 0.3 * np.sin(2 * angle) * aperture_factor(
            sensor, 2 * motor.ripples_per_turn * turns_per_s
        )
        once = 0.3 * np.sin(turned + self.phase[1]) * aperture_factor(sensor, turns_per_s)
        turning = np.clip(turns_per_s, 0, 1)  # no ripple from a rotor that stands
        current = current * (1 + running * turning * motor.ripple * (comb + once))
        if plan.brush_noise:
            jumps = rng.normal(0, plan.brush_noise, len(time_s))
            missing = rng.random(len(time_s)) < 0.15 * plan.brush_noise
            current = current * np.clip(1 + running * jumps, 0.05, None) * np.where(missing & running, 0.1, 1)
        # The regulator hunts slowly: the rotor follows and the current stays what the load asks for.
        wave_v, hunting_v = self._alternator_v(time_s, sensor)
        reactance = 2 * np.pi * plan.machine.supply.alternator_hz * motor.inductance_h
        current = current + running * wave_v / np.hypot(plan.machine.total_ohm, reactance)
        voltage = self._board_voltage(time_s, current) + wave_v + hunting_v
        if plan.machine.placed_in == "motor":
            return self._seen_at_motor(time_s, current, voltage)
        return current, voltage

    def switch(self, side: str, time_s: FloatArray, debounce_s: float) -> BoolArray:
        """What the board says of one pin's switch at these instants [s since switch-on], true: closed; shape (n,)."""
        m, plan, seen_s = self.motion, self.plan, time_s - debounce_s
        share = np.interp(seen_s, m.time_s, m.share)
        return read_switch(plan.beside.pins[side], share, plan.direction, seen_s)

    def probe_c(self, rows: int, rng: np.random.Generator) -> FloatArray:
        """What the probe beside the board reads, row by row [degC]; NaN where it doesn't answer; shape (rows,)."""
        return self.plan.beside.probe.reads(self.plan.conditions.temperature_c, rows, rng)

    def _board_voltage(self, time_s: FloatArray, current: FloatArray) -> FloatArray:
        """Open-circuit voltage less the battery's slow loss less what the harness drops; recovers after the end."""
        m, plan = self.motion, self.plan
        relax = np.interp(time_s, m.time_s, m.relax_v, left=0.0)
        late = np.clip(time_s - m.current_until_s, 0, None)
        relax = relax * np.exp(-late / plan.machine.supply.relax_s)
        ohm = plan.battery_ohm + np.interp(time_s, m.time_s, m.upstream_ohm)
        other = np.interp(time_s, m.time_s, m.other_v)
        return np.asarray(plan.open_circuit_v + other - relax - ohm * current)

    def _alternator_v(self, time_s: FloatArray, sensor: SensorModel) -> tuple[FloatArray, FloatArray]:
        """Ripple of the alternator and slow hunting of its regulator [V]; nothing with the engine off."""
        if not self.plan.conditions.engine_running:
            return np.zeros_like(time_s), np.zeros_like(time_s)
        s = self.plan.machine.supply
        share = float(aperture_factor(sensor, np.array([s.alternator_hz]))[0])
        fast = s.alternator_v * share * np.sin(2 * np.pi * s.alternator_hz * time_s + self.phase[2])
        slow = 0.3 * s.alternator_v * np.sin(2 * np.pi * 1.3 * time_s + self.phase[1])
        return fast, slow

    def _seen_at_motor(
        self, time_s: FloatArray, current: FloatArray, voltage: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """After the reversing switch: nothing at rest, signs turned with the direction, a brake pulse at the end."""
        m, plan = self.motion, self.plan
        on = (time_s >= 0) & (time_s <= m.current_until_s)
        motor = plan.machine.motor
        late = time_s - m.current_until_s
        brake = 0.5 * motor.constant_v_s * m.speed_rad_s[-1] / motor.resistance_ohm
        pulse = np.where(
            late > plan.machine.cut_s,
            -brake * np.exp(-np.clip(late, 0, None) / plan.machine.mechanical_time_s),
            0.0,
        )
        sign = 1.0 if plan.direction == LOCK else -1.0
        return sign * (current + pulse), sign * np.where(on, voltage, 0.0)


BLOCK = 64
"""Readings worked out at a time; the caller sees them singly."""


class BoardReading(NamedTuple):
    """One sample as the board's converter gives it."""

    time_s: float
    """Since the stream began."""
    current_counts: int
    voltage_counts: int | None


def stream(
    throws: Sequence[tuple[float, Waveform]],
    sensor: SensorModel,
    rng: np.random.Generator,
    amp_lsb_a: float,
    volt_lsb_v: float,
) -> Iterator[BoardReading]:
    """Readings at ``sensor.rate_hz``, endless. ``throws``: (switch-on in stream time [s], its waveform), in order.

    Each reading is worked out from its own instant alone, so a consumer may skip some (lost rows) as it likes.
    Counts are whole steps of ``amp_lsb_a`` [A] and ``volt_lsb_v`` [V]. Sensor faults (noise, offset, full scale)
    are those of each waveform's plan where a throw has begun, of ``sensor`` before.
    """
    fine = replace(sensor, resolution_a=0.0, voltage_resolution_v=0.0)
    first = 0
    while True:
        times = (first + np.arange(BLOCK)) / sensor.rate_hz
        current, voltage = _block(throws, fine, times, rng)
        amps = np.round(current / amp_lsb_a).astype(int).tolist()
        volts = np.round(voltage / volt_lsb_v).astype(int).tolist()
        for k in range(BLOCK):
            yield BoardReading(float(times[k]), amps[k], volts[k] if sensor.has_voltage else None)
        first += BLOCK


def _block(
    throws: Sequence[tuple[float, Waveform]], sensor: SensorModel, times: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Sensed current [A] and voltage [V] at these instants, each from the throw that began last; shape (n,)."""
    starts = [start for start, _ in throws]
    which = np.clip(np.searchsorted(starts, times, side="right") - 1, 0, None)
    current, voltage = np.empty_like(times), np.empty_like(times)
    for index in np.unique(which):
        start, waveform = throws[index]
        mine = which == index
        plan = waveform.plan.sensor if times[mine][-1] >= start else sensor
        own = replace(plan, resolution_a=0.0, voltage_resolution_v=0.0)
        true_a, true_v = waveform.at(times[mine] - start, own, rng)
        current[mine] = sense_current(own, true_a, times[mine], rng)
        voltage[mine] = sense_voltage(own, true_v, rng)
    return current, voltage


SETTLED = 0.02
"""The start-up transient is over when this share of the excess current is left."""
START_UP_AT_MOST_S = 0.3
"""The peak of the start-up transient comes before this [s since switch-on]."""


@dataclass(frozen=True, eq=False)
class Truth:
    """What really happened. Times are seconds in the record's own time (its first row is near 0)."""

    start_s: float | None
    """Switch-on; None: nothing flowed."""
    inrush_end_s: float | None
    """The start-up transient is over: 2 % is left of the current that ran up the rotor."""
    end_s: float | None
    """End of the movement: cut-off, or the moment it came to rest against something; None: it never ended."""
    current_end_s: float | None
    """When the current stopped; None: not in this record."""
    end: str
    """One of ``cut-off``, ``stall``, ``still-running``, ``no-run``."""
    time_s: FloatArray
    """shape (k,) times of ``fraction``"""
    fraction: FloatArray
    """shape (k,) share of the stroke that the rod has moved"""
    travel_fraction: float
    travel_time_s: float | None
    run_current_a: float | None
    """Time-average at the motor, no ripple, from the end of the start-up transient to the end of the movement."""
    peak_run_current_a: float | None
    """Highest in that time, no ripple."""
    peak_load_a: float | None
    """Highest that load and friction alone asked for in that time: what is left of the start-up transient isn't in it."""
    inrush_a: float | None
    """Highest current of the start-up transient at the motor, no ripple."""
    stall_current_a: float | None
    mean_voltage_v: float | None
    """At the board, over the movement."""
    source_resistance_ohm: float
    take_up_fraction: float | None
    bump_fraction: float | None
    """Centre of a fault's bump, share of the stroke from this movement's own start."""
    bump_width: float | None
    signs: frozenset[str]
    """Signs that a good detector must give above ``info`` (``uneven-sides``: at info)."""
    may_also: frozenset[str]
    """Signs that would be no mistake beside them."""
    switches: Mapping[str, SwitchTruth]
    """By side, whether the board has switches or not."""
    winding_c: float
    """At the end; hand it to the next throw's ``Conditions``."""


@dataclass(frozen=True)
class RunTruth:
    """What is true of a throw whoever records it; None: it had no such part. Currents without ripple [A]."""

    settled_s: float | None
    """The start-up transient is over [s since switch-on]."""
    run_current_a: float | None
    peak_run_current_a: float | None
    peak_load_a: float | None
    inrush_a: float | None


@dataclass(frozen=True, eq=False)
class SimulatedThrow:
    """A record and its truth."""

    trace: Trace
    truth: Truth
    waveform: Waveform


def throw(
    machine: MachineModel,
    direction: str,
    conditions: ThrowConditions,
    sensor: SensorModel,
    faults: Sequence[SimulatedFault],
    rng: np.random.Generator,
    started: datetime | None = None,
    rig_name: str = "",
) -> SimulatedThrow:
    """Run one throw and record it. The same generator state gives the same record."""
    waveform = make_waveform(machine, direction, conditions, sensor, faults, rng)
    plan, motion = waveform.plan, waveform.motion
    before = float(rng.uniform(0.2, 2.0)) if plan.sensor.before_s is None else plan.sensor.before_s
    after = float(rng.uniform(0.2, 2.0)) if plan.sensor.after_s is None else plan.sensor.after_s
    true_s = _instants(plan, motion, before, after, rng)
    current, voltage = waveform.at(true_s - before, plan.sensor, rng)
    stamped = _stamps(plan.sensor, true_s, rng)
    if plan.jump_at is not None:
        jumped = true_s - before > plan.jump_at * motion.moved_until_s
        stamped = np.where(jumped, np.round(stamped + plan.jump_share * motion.moved_until_s, 4), stamped)
    trace = Trace(
        time_s=stamped,
        current_a=sense_current(plan.sensor, current, true_s, rng, rng.uniform(0, 2 * np.pi)),
        voltage_v=sense_voltage(plan.sensor, voltage, rng) if plan.sensor.has_voltage else None,
        direction=direction,
        rig=rig_name,
        started=started,
        ambient_c=round(conditions.temperature_c, 1),
        **_beside(waveform, true_s - before, rng),
    )
    shift = before - float(true_s[0] - stamped[0])
    return SimulatedThrow(trace, _truth(waveform, shift, trace, faults), waveform)


def _beside(waveform: Waveform, time_s: FloatArray, rng: np.random.Generator) -> dict[str, Any]:
    """The channels beside current and voltage that this board has."""
    sensor, channels = waveform.plan.sensor, dict[str, Any]()
    if sensor.has_switches:
        channels = {f"{side}_switch": waveform.switch(side, time_s, sensor.debounce_s) for side in SIDES}
    if sensor.has_probe:
        channels["temperature_c"] = waveform.probe_c(len(time_s), rng.spawn(1)[0])
    return channels


def make_waveform(
    machine: MachineModel,
    direction: str,
    conditions: ThrowConditions,
    sensor: SensorModel,
    faults: Sequence[SimulatedFault],
    rng: np.random.Generator,
) -> Waveform:
    """The throw at any instant, before it is sampled."""
    plan = make_plan(machine, direction, conditions, sensor, rng)
    for fault in faults:
        lay_on(plan, fault, rng)
    return Waveform(plan, run_throw(plan, rng), rng.uniform(0, 2 * np.pi, 3))


def _instants(
    plan: ThrowPlan, motion: Motion, before_s: float, after_s: float, rng: np.random.Generator
) -> FloatArray:
    """True times of the rows that reach the record [s], 0 = its beginning; shape (n,)."""
    sensor = plan.sensor
    length = before_s + motion.time_s[-1] + after_s
    if motion.end == STILL_RUNNING:
        length = before_s + motion.time_s[-1]
    if plan.record_to is not None:
        length = before_s + plan.record_to * motion.moved_until_s
    first = before_s + plan.record_from * motion.moved_until_s if plan.record_from else 0.0
    count = int((length - first) * sensor.rate_hz)
    times = first + (np.arange(count) + rng.random()) / sensor.rate_hz
    keep = rng.random(count) >= sensor.lost_share
    if plan.gap_share:
        holes = int(rng.integers(1, 4))
        each = plan.gap_share * motion.moved_until_s / holes
        room = motion.moved_until_s / holes
        for k in range(holes):
            begin = before_s + k * room + rng.uniform(0.1, 0.9) * (room - each)
            keep &= (times < begin) | (times > begin + each)
    keep[:1] = True
    return np.asarray(times[keep], dtype=np.float64)


def _stamps(sensor: SensorModel, true_s: FloatArray, rng: np.random.Generator) -> FloatArray:
    """The times written beside the samples: from the first row, the board's clock, jitter, whole 0.1 ms."""
    stamped = (true_s - true_s[0]) * (1 + 1e-6 * sensor.clock_ppm)
    if sensor.jitter_s:
        limit = 0.4 / sensor.rate_hz
        stamped = stamped + np.clip(sensor.jitter_s * rng.standard_normal(len(true_s)), -limit, limit)
        stamped = stamped - stamped[0]
    digits = 4 if sensor.rate_hz <= 2000 else 6
    return np.asarray(np.round(stamped, digits))


def _truth(waveform: Waveform, shift_s: float, trace: Trace, faults: Sequence[SimulatedFault]) -> Truth:
    plan, m = waveform.plan, waveform.motion
    must, also = expected_signs(faults, plan.direction)
    clock = 1 + 1e-6 * plan.sensor.clock_ppm
    last = float(trace.time_s[-1])

    def stamp(t: float) -> float:
        return (t + shift_s) * clock

    ran = m.end != NO_RUN
    end = m.end
    seen_end = ran and end != STILL_RUNNING and stamp(m.moved_until_s) <= last
    if ran and not seen_end:
        end = STILL_RUNNING
    run = run_truth(m)
    settled = run.settled_s
    moving = np.linspace(0, m.moved_until_s, 400)
    return Truth(
        start_s=stamp(0.0) if ran else None,
        inrush_end_s=stamp(settled) if settled is not None else None,
        end_s=stamp(m.moved_until_s) if seen_end else None,
        current_end_s=stamp(m.current_until_s) if seen_end and stamp(m.current_until_s) <= last else None,
        end=end,
        time_s=(m.time_s + shift_s) * clock,
        fraction=m.share,
        travel_fraction=float(m.share[-1]),
        travel_time_s=m.moved_until_s * clock if seen_end else None,
        run_current_a=run.run_current_a,
        peak_run_current_a=run.peak_run_current_a,
        peak_load_a=run.peak_load_a,
        inrush_a=run.inrush_a,
        stall_current_a=float(m.current_a[-1]) if m.end == STALL else None,
        mean_voltage_v=float(waveform.clean(moving)[1].mean()) if ran and m.moved_until_s > 0 else None,
        source_resistance_ohm=plan.battery_ohm + float(np.mean(m.upstream_ohm)),
        take_up_fraction=plan.load.take_up_share if plan.on_mechanism and ran else None,
        bump_fraction=plan.bump_place,
        bump_width=plan.bump_width,
        signs=must,
        may_also=also,
        winding_c=m.winding_c,
        switches={
            side: switch_truth(pin, m.time_s, m.share, plan.direction)
            for side, pin in plan.beside.pins.items()
        },
    )


def run_truth(m: Motion) -> RunTruth:
    """Start-up transient and run of one throw, at the steps of its reckoning."""
    if m.end == NO_RUN:
        return RunTruth(None, None, None, None, None)
    settled = _settled_s(m)
    starting = m.time_s <= (START_UP_AT_MOST_S if settled is None else settled)
    inrush_a = float(m.current_a[starting].max())
    if settled is None or m.moved_until_s <= settled:
        return RunTruth(settled, None, None, None, inrush_a)
    run = (m.time_s >= settled) & (m.time_s <= m.moved_until_s)
    if m.parted_s is not None:
        run &= ~_broken(m, m.parted_s)
    return RunTruth(
        settled_s=settled,
        run_current_a=time_average(m.time_s[run], m.current_a[run]),
        peak_run_current_a=float(m.current_a[run].max()),
        peak_load_a=float(m.balance_a[run].max()),
        inrush_a=inrush_a,
    )


def _broken(m: Motion, parted_s: float) -> np.ndarray:
    """Rows from a contact's opening until the surge after it is over, as at the start; shape (k,) bool."""
    excess = np.where(m.time_s >= parted_s, m.current_a - m.balance_a, 0.0)
    peak = int(np.argmax(excess))
    over = (m.time_s > m.time_s[peak]) & (excess <= SETTLED * excess[peak])
    until_s = float(m.time_s[np.argmax(over)]) if over.any() else float(m.time_s[-1])
    return (m.time_s >= parted_s) & (m.time_s < until_s)


def time_average(time_s: FloatArray, values: FloatArray) -> float:
    """Mean over time of values between which the course is straight; both of shape (n,), n > 1."""
    steps = np.diff(time_s)
    return float(np.sum(0.5 * (values[1:] + values[:-1]) * steps) / np.sum(steps))


def _settled_s(m: Motion) -> float | None:
    """When the start-up transient is over [s since switch-on]; None: the rotor never got going.

    The current starts far above what the load asks for; the transient is over when what is left of that excess has
    fallen to ``SETTLED`` of its greatest.
    """
    excess = m.current_a - m.balance_a
    starting = (m.time_s > m.contact_s) & (m.time_s < START_UP_AT_MOST_S)
    peak = int(np.argmax(excess * starting))
    inside = (m.time_s > m.time_s[peak]) & (m.time_s < m.moved_until_s) & (excess <= SETTLED * excess[peak])
    return float(m.time_s[np.argmax(inside)]) if inside.any() else None
