"""Everything that is decided about one throw before it runs (the day, the load); faults change it, the motion obeys it."""

from dataclasses import dataclass, field

import numpy as np

from throwbook.core.rig import LOCK
from throwbook.core.simulator.machine import MachineModel, bell
from throwbook.core.simulator.pins import Beside, plan_pins
from throwbook.core.simulator.sensor import SensorModel
from throwbook.core.trace import FloatArray


@dataclass(frozen=True)
class ThrowConditions:
    """Weather, battery, engine, and what went before."""

    temperature_c: float = 20.0
    engine_running: bool = False
    battery_charge: float = 0.9
    """State of charge, 0..1."""
    hours_at_rest: float = 0.0
    """Since the machine's last movement before this set."""
    throw_number: int = 3
    """Counted within the set, from 1; the first after a rest is heavier."""
    winding_c: float | None = None
    """Winding temperature at the start [degC]; None: as the air."""


POINTS = 1601
REACH = 1.04
"""The table goes a little beyond the stroke, for machines whose limit switch doesn't cut off."""


@dataclass
class Load:
    """Load over a movement, from its own start; faults add to it before the throw runs."""

    share: FloatArray
    """shape (m,) share of the stroke from the movement's own start, 0..REACH"""
    dry_n: FloatArray
    """shape (m,) load that doesn't depend on speed [N]; below zero: it helps"""
    viscous_n_s_m: FloatArray
    """shape (m,)"""
    taken_up: FloatArray
    """shape (m,) share of the load that has been taken up, 0..1"""
    take_up_share: float
    """Where the first side begins to take up load."""
    healthy_n: FloatArray
    """shape (m,) ``dry_n`` before any fault"""

    def place(self, direction: str) -> FloatArray:
        """The same points as places on the mechanism, shape (m,)."""
        return self.share if direction == LOCK else 1 - self.share


def grease_factor(machine: MachineModel, temperature_c: float) -> float:
    """How much stiffer the grease is than at 20 degC, 1."""
    return float(np.exp((20 - temperature_c) / machine.mechanism.grease_scale_c))


def make_load(
    machine: MachineModel,
    direction: str,
    conditions: ThrowConditions,
    rng: np.random.Generator,
    more_play_m: float = 0.0,
    more_delay_m: float = 0.0,
) -> Load:
    """The healthy (but perhaps worn) machine's load for one movement."""
    m, wear, stroke = machine.mechanism, machine.wear, machine.stroke_m
    share = np.linspace(0.0, REACH, POINTS)
    place = share if direction == LOCK else 1 - share
    play = (m.play_m + wear.play_m + more_play_m) / stroke
    delay = (m.side_delay_m + more_delay_m) / stroke
    ramp = m.ramp_m / stroke
    first = smooth_step((share - play) / ramp)
    second = smooth_step((share - play - delay) / ramp)
    taken_up = m.side_share * first + (1 - m.side_share) * second
    factor, own = (m.lock_factor, m.lock_waves) if direction == LOCK else (m.unlock_factor, m.unlock_waves)
    field = 1 + wave_sum(place, m.waves) + wave_sum(place, own)
    height, phase = m.screw_wave
    field = field + wave_sum(place, ((stroke / machine.screw.lead_m, height, phase),))
    scatter = m.scatter + wear.scatter
    field = field * (1 + scatter * rng.standard_normal())
    field = field + scatter * wave_sum(place, throw_waves(rng))
    field = field * (1 + as_found_share(machine, conditions))
    drag = m.drag_n * (factor * field * taken_up + m.idle_share * (1 - taken_up))
    holes = m.hole_n * smooth_step((place - m.hole_place) / 0.03) * taken_up
    wear_n = wear.lock_drag_n if direction == LOCK else wear.unlock_drag_n
    spot = wear.spot_n * bell(place, wear.spot_place, wear.spot_width)
    dry = drag + holes + hump(machine, place, direction) + wear_n + spot
    viscous = m.viscous_n_s_m * grease_factor(machine, conditions.temperature_c) * taken_up
    return Load(share, dry, viscous, taken_up, play, dry.copy())


def hump(machine: MachineModel, place: FloatArray, direction: str) -> FloatArray:
    """Push of the over-centre springs [N]: the slope of one store of energy, so it mirrors by itself."""
    m = machine.mechanism
    z = (place - m.hump_place) / m.hump_width
    uphill = -z * np.exp(0.5 * (1 - z * z))
    return np.asarray(m.hump_n * (uphill if direction == LOCK else -uphill))


def as_found_share(machine: MachineModel, conditions: ThrowConditions) -> float:
    """Extra friction after a rest; it goes with the first movements."""
    rested = 1 - np.exp(-conditions.hours_at_rest / 48)
    return float(machine.mechanism.as_found * rested * np.exp(-(conditions.throw_number - 1) / 0.7))


def wave_sum(place: FloatArray, waves: tuple[tuple[float, float, float], ...]) -> FloatArray:
    """A smooth field over the travel, shape as ``place``."""
    total = np.zeros_like(place)
    for count, height, phase in waves:
        total += height * np.sin(2 * np.pi * count * place + phase)
    return total


def throw_waves(rng: np.random.Generator) -> tuple[tuple[float, float, float], ...]:
    """What differs along the travel from throw to throw, unit size."""
    return tuple((rng.uniform(1, 12), 0.5, rng.uniform(0, 2 * np.pi)) for _ in range(4))


def smooth_step(z: FloatArray) -> FloatArray:
    """From 0 to 1 while ``z`` goes from 0 to 1, without a corner; shape as ``z``."""
    z = np.clip(z, 0.0, 1.0)
    return np.asarray(z * z * (3 - 2 * z))


STOP_GIVES_M = 0.0006
"""How far frame and linkage give when the motor stalls against something solid."""


@dataclass(frozen=True)
class SetFault:
    """A fault with its knobs set."""

    severity: float
    place: float
    side: str = "right"


@dataclass
class ThrowPlan:
    """One throw as it is going to be. Faults write into it, each through its function in ``effects``."""

    machine: MachineModel
    direction: str
    conditions: ThrowConditions
    sensor: SensorModel
    load: Load
    winding_c: float
    open_circuit_v: float
    battery_ohm: float
    upstream_ohm: float
    """Harness between battery and board."""
    downstream_ohm: float
    upstream_steps: list[tuple[float, float]] = field(default_factory=list)
    """(time since switch-on [s], further ohm upstream) in order: contacts that come and go."""
    supply_steps: list[tuple[float, float]] = field(default_factory=list)
    """(time since switch-on [s], volts added) in order: other loads switched on and off."""
    never_starts: bool = False
    limit_share: float | None = 1.0
    """Where the limit switch cuts off; None: it never does."""
    stop_share: float = 1.015
    """Where the rod meets something solid."""
    break_share: float | None = None
    """Where the circuit opens by itself (fuse, breaker)."""
    break_leak_a: float = 0.0
    """What a self-resetting cut-out still lets through."""
    slip_share: float | None = None
    """Where the drive begins to slip whatever the load; None: only at ``slip_n``."""
    slip_n: float = np.inf
    """Push at which the drive slips."""
    slip_teeth: float = 0.0
    """Height of the saw-tooth while it slips, as a share of ``slip_n``."""
    brush_noise: float = 0.0
    """Jumps of the current from bad brushes, as a share of it."""
    contact_parts: float | None = None
    """Share of the stroke at which a contact opens; None: it doesn't."""
    contact_open_s: float = 0.0
    """How long it stays open."""
    hold_s: float = 2.0
    """How long the operator holds the switch against a stall."""
    patience: float = 1.7
    """The record of a throw that never ends is this many times the normal travel time long."""
    bump_place: float | None = None
    bump_width: float | None = None
    record_from: float = 0.0
    record_to: float | None = None
    """Share of the movement's time at which the record begins, ends."""
    jump_at: float | None = None
    """Share of the movement's time at which the board's clock jumps ahead; None: it doesn't."""
    jump_share: float = 0.0
    """How far it jumps, as a share of the movement's time."""
    gap_share: float = 0.0
    """Share of the movement's time that the record lacks, in holes."""
    on_mechanism: bool = True
    """False: the drive is off the mechanism, there is no take-up."""
    beside: Beside = field(default_factory=lambda: Beside({}))
    """Pins, switches and probe."""


def make_plan(
    machine: MachineModel,
    direction: str,
    conditions: ThrowConditions,
    sensor: SensorModel,
    rng: np.random.Generator,
    more_play_m: float = 0.0,
    more_delay_m: float = 0.0,
) -> ThrowPlan:
    """The throw of a machine without faults."""
    cold = max(0.0, 20 - conditions.temperature_c)
    return ThrowPlan(
        machine=machine,
        direction=direction,
        conditions=conditions,
        sensor=sensor,
        load=make_load(machine, direction, conditions, rng, more_play_m, more_delay_m),
        winding_c=conditions.temperature_c if conditions.winding_c is None else conditions.winding_c,
        open_circuit_v=open_circuit_v(machine, conditions, rng),
        battery_ohm=machine.supply.battery_ohm * (1 + 0.015 * cold),
        upstream_ohm=machine.supply.harness_ohm + machine.wear.source_ohm,
        downstream_ohm=machine.supply.downstream_ohm,
        supply_steps=other_loads(machine, rng),
        hold_s=rng.uniform(1.0, 3.5),
        patience=rng.uniform(1.4, 2.0),
        beside=Beside(
            plan_pins(machine.pins, grease_factor(machine, conditions.temperature_c), rng.spawn(1)[0])
        ),
    )


def open_circuit_v(machine: MachineModel, conditions: ThrowConditions, rng: np.random.Generator) -> float:
    """Supply at rest [V]: a lead-acid battery by its charge, or the regulator by the weather.

    11.8 V empty to 12.75 V full, 14.1 V charging less 10 mV/K (common practice, no source).
    """
    if conditions.engine_running:
        at_12 = machine.supply.charging_v - 0.010 * (conditions.temperature_c - 20) + rng.normal(0, 0.05)
    else:
        at_12 = 11.8 + 0.95 * conditions.battery_charge + rng.normal(0, 0.03)
    return float(at_12 * machine.nominal_v / 12)


def other_loads(machine: MachineModel, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Now and then a lamp or a valve is switched while the throw runs: a step of up to 1.5 % of nominal."""
    if rng.random() > 0.15:
        return []
    begin = float(rng.uniform(0, 15))
    volts = -float(rng.uniform(0.003, 0.015)) * machine.nominal_v
    return [(-np.inf, 0.0), (begin, volts), (begin + float(rng.uniform(0.5, 6)), 0.0)]
