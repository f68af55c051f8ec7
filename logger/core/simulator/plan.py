"""Everything that is decided about one throw before it runs; faults change it, the motion then obeys it."""

from dataclasses import dataclass, field

import numpy as np

from logger.core.simulator.conditions import Conditions
from logger.core.simulator.load import Load, make_load
from logger.core.simulator.machine import MachineModel
from logger.core.simulator.sensor import SensorModel

STOP_GIVES_M = 0.0006
"""How far frame and linkage give when the motor stalls against something solid."""


@dataclass(frozen=True)
class SetFault:
    """A fault with its knobs set."""

    severity: float
    place: float


@dataclass
class Plan:
    """One throw as it is going to be. Faults write into it, each through its function in ``effects``."""

    machine: MachineModel
    direction: str
    conditions: Conditions
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


def make_plan(
    machine: MachineModel,
    direction: str,
    conditions: Conditions,
    sensor: SensorModel,
    rng: np.random.Generator,
    more_play_m: float = 0.0,
    more_delay_m: float = 0.0,
) -> Plan:
    """The throw of a machine without faults."""
    cold = max(0.0, 20 - conditions.temperature_c)
    return Plan(
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
    )


def open_circuit_v(machine: MachineModel, conditions: Conditions, rng: np.random.Generator) -> float:
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
