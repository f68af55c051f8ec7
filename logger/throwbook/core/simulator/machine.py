"""The physical truth of one machine: motor, screw, lock mechanism, supply. Numbers only; nothing moves here.

Everything is what the machine *is*, not what its data sheet says: the two differ, as they do in life. Places on the
mechanism are shares of the lock movement, 0 (unlocked) to 1 (locked); an unlock movement meets them mirrored.

Screw: textbook statics of a power screw (Shigley's Mechanical Engineering Design, power screws; check value SCR-1).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from throwbook.core.rig import LOCK
from throwbook.core.simulator.pins import Pin
from throwbook.core.trace import FloatArray


@dataclass(frozen=True)
class Screw:
    """A lead screw behind a reduction gear."""

    mean_diameter_m: float
    lead_m: float
    friction: float
    """Coefficient of friction in the thread, 1."""
    gear_ratio: float
    """Motor turns for one turn of the screw."""
    gear_efficiency: float = 0.85

    @property
    def motor_rad_per_m(self) -> float:
        """Motor angle for each metre of rod travel [rad/m]."""
        return 2 * math.pi * self.gear_ratio / self.lead_m

    def motor_torque_nm(self, load_n: float) -> float:
        """Torque at the motor that a load on the rod asks for [N·m].

        A load against the movement (> 0) is raised; one that helps (< 0) is lowered, which on a self-locking
        screw still costs torque. Never below zero: the gear train takes up what would drive the motor.
        """
        if load_n >= 0:
            torque = raising_torque_nm(load_n, self.mean_diameter_m, self.lead_m, self.friction)
        else:
            torque = max(0.0, lowering_torque_nm(-load_n, self.mean_diameter_m, self.lead_m, self.friction))
        return torque / (self.gear_ratio * self.gear_efficiency)


def raising_torque_nm(load_n: float, mean_diameter_m: float, lead_m: float, friction: float) -> float:
    """Torque at the screw that moves a load against its push [N·m]; square thread, no collar."""
    d, lead, f = mean_diameter_m, lead_m, friction
    return load_n * d / 2 * (lead + math.pi * f * d) / (math.pi * d - f * lead)


def lowering_torque_nm(load_n: float, mean_diameter_m: float, lead_m: float, friction: float) -> float:
    """Torque at the screw that moves a load the way it pushes [N·m]; below zero: the load drives the screw, which then doesn't
    hold by itself (check value SCR-3)."""
    d, lead, f = mean_diameter_m, lead_m, friction
    return load_n * d / 2 * (math.pi * f * d - lead) / (math.pi * d + f * lead)


COPPER_PER_K = 0.00393
"""Temperature coefficient of copper at 20 degC (IEC 60028)."""
MAGNET_PER_K = -0.0018
"""Ferrite magnets lose about 0.2 % of their flux per kelvin (common practice, no source)."""


@dataclass(frozen=True)
class Motor:
    """A brushed permanent-magnet motor at its own shaft, at 20 degC."""

    resistance_ohm: float
    inductance_h: float
    constant_v_s: float
    """k_e in V·s/rad, which is k_t in N·m/A."""
    inertia_kg_m2: float
    drag_nm: float
    """Dry friction of motor and gear [N·m]."""
    drag_nm_s: float
    """Their viscous friction [N·m·s/rad], at 20 degC."""
    ripples_per_turn: int = 10
    """Commutation ripple: twice the (odd) number of commutator bars."""
    ripple: float = 0.05
    """Amplitude of the commutation ripple as a share of the current."""
    heat_capacity_j_k: float = 80.0
    """Of the winding."""
    thermal_resistance_k_w: float = 4.0
    """Winding to surroundings."""

    def resistance_at(self, winding_c: float) -> float:
        """Winding resistance [ohm] at a winding temperature [degC]."""
        return self.resistance_ohm * (1 + COPPER_PER_K * (winding_c - 20))

    def constant_at(self, magnet_c: float) -> float:
        """Motor constant [V·s/rad] at a magnet temperature [degC]."""
        return self.constant_v_s * (1 + MAGNET_PER_K * (magnet_c - 20))


@dataclass(frozen=True)
class Mechanism:
    """What the rod has to push: two pins, their guides and links, all at 20 degC."""

    drag_n: float
    """Dry friction of both sides together [N]."""
    viscous_n_s_m: float
    """Viscous friction of the grease [N·s/m]."""
    play_m: float
    """Travel before the first side takes up load."""
    side_delay_m: float
    """Further travel before the second side does."""
    side_share: float
    """Share of the load on the side that takes up first."""
    ramp_m: float
    """Travel over which a side takes up its load."""
    hump_n: float
    """Greatest push of the over-centre springs [N]: against the movement at first, then with it."""
    hump_place: float
    hump_width: float
    hole_n: float
    """Extra friction while the pins are in their holes [N]."""
    hole_place: float
    waves: tuple[tuple[float, float, float], ...]
    """Friction field over travel: (waves per travel, share of the drag, phase in rad), the same both ways."""
    lock_waves: tuple[tuple[float, float, float], ...]
    unlock_waves: tuple[tuple[float, float, float], ...]
    screw_wave: tuple[float, float] = (0.01, 0.0)
    """Friction that comes and goes once a turn of the screw: (share of the drag, phase in rad)."""
    lock_factor: float = 1.0
    unlock_factor: float = 1.0
    grease_scale_c: float = 28.0
    """Cooling [K] that makes the grease e times stiffer."""
    idle_share: float = 0.06
    """Share of the drag that is there in the play as well (rod guide, seals)."""
    as_found: float = 0.05
    """Share of the drag that a long rest adds to the first movement."""
    scatter: float = 0.008
    """Standard deviation from throw to throw, as a share of the drag."""


@dataclass(frozen=True)
class Supply:
    """Battery, alternator and harness."""

    battery_ohm: float
    relax_ohm: float
    """Slow part of the battery's resistance (polarisation) [ohm]."""
    relax_s: float
    harness_ohm: float
    """Both conductors and the contacts between battery and board [ohm]."""
    downstream_ohm: float
    """Between board and motor [ohm]."""
    charging_v: float
    """Regulated voltage with the engine running, 12 V system [V]."""
    alternator_hz: float
    alternator_v: float
    """Amplitude of the alternator's ripple [V]."""


@dataclass(frozen=True)
class Wear:
    """What the seasons have added so far. Forces in newton at 20 degC, places as in the mechanism."""

    lock_drag_n: float = 0.0
    unlock_drag_n: float = 0.0
    spot_n: float = 0.0
    spot_place: float = 0.5
    spot_width: float = 0.03
    play_m: float = 0.0
    source_ohm: float = 0.0
    scatter: float = 0.0
    """Further standard deviation from throw to throw, as a share of the drag."""


@dataclass(frozen=True)
class MachineModel:
    """One machine, whole."""

    seed: int
    nominal_v: float
    stroke_m: float
    rated_a: float
    """The data sheet's rated maximum [A]."""
    motor: Motor
    screw: Screw
    mechanism: Mechanism
    supply: Supply
    extend_locks: bool = True
    placed_in: str = "supply"
    """Where the board sits: ``supply`` (before the reversing switch) or ``motor`` (after it)."""
    bounce_s: float = 0.002
    """How long the relay contacts bounce when they close."""
    cut_s: float = 0.0006
    """Time constant with which the current dies when a contact opens: an arc, or a suppressor across the contact."""
    undershoot: float = 0.0
    """Current that flows back for a moment after that, as a share of the current cut (at most)."""
    wear: Wear = field(default_factory=Wear)
    pins: Mapping[str, Pin] = field(default_factory=dict)
    """By side."""

    @property
    def force_per_ampere(self) -> float:
        """Push of the rod for each ampere above the no-load current [N/A], at 20 degC."""
        return self.motor.constant_v_s / self.screw.motor_torque_nm(1.0)

    @property
    def volt_s_per_m(self) -> float:
        """Back-EMF for each m/s of rod speed [V·s/m], at 20 degC."""
        return self.motor.constant_v_s * self.screw.motor_rad_per_m

    @property
    def source_ohm(self) -> float:
        """True -dV/di at the board, the battery's slow part left out [ohm], at 20 degC."""
        return self.supply.battery_ohm + self.supply.harness_ohm + self.wear.source_ohm

    @property
    def total_ohm(self) -> float:
        """Everything the stall current flows through, at 20 degC [ohm]."""
        return self.source_ohm + self.supply.downstream_ohm + self.motor.resistance_ohm

    @property
    def mechanical_time_s(self) -> float:
        """Time constant of the start-up transient [s]."""
        return self.motor.inertia_kg_m2 * self.motor.resistance_ohm / self.motor.constant_v_s**2

    def steady(self, load_n: float, voltage_v: float, viscous_n_s_m: float = 0.0) -> tuple[float, float]:
        """Current [A] and rod speed [m/s] in steady running at 20 degC, in closed form.

        ``voltage_v`` is the voltage at the motor. Solves the two lines ``V = R i + k w`` and
        ``k i = T_load + T_drag + b w``; a speed below zero means that it stands: ``i = V/R``.
        """
        motor, per_m = self.motor, self.screw.motor_rad_per_m
        k, r = motor.constant_v_s, motor.resistance_ohm
        drag = motor.drag_nm + self.screw.motor_torque_nm(load_n)
        viscous = motor.drag_nm_s + self.screw.motor_torque_nm(1.0) * viscous_n_s_m / per_m
        speed = (k * voltage_v / r - drag) / (viscous + k * k / r)
        if speed <= 0:
            return voltage_v / r, 0.0
        return (drag + viscous * speed) / k, speed / per_m

    def extra_force_n(self, direction: str, share: float) -> float:
        """Even extra push that raises the healthy running current by ``share`` of itself [N]."""
        return share * self.healthy_run_current_a(direction) * self.force_per_ampere

    def healthy_run_current_a(self, direction: str) -> float:
        """Running current of the unworn machine at 20 degC and nominal voltage, mean over the travel [A]."""
        m = self.mechanism
        factor = m.lock_factor if direction == LOCK else m.unlock_factor
        loaded = 1 - (m.play_m + m.side_delay_m * (1 - m.side_share)) / self.stroke_m
        holes = m.hole_n * (1 - m.hole_place)
        idle = m.idle_share * m.drag_n * (1 - loaded)
        return self.steady(factor * m.drag_n * loaded + idle + holes, self.nominal_v, m.viscous_n_s_m)[0]

    def aged(
        self,
        lock_run: float = 0.0,
        unlock_run: float = 0.0,
        spot_run: float = 0.0,
        spot_place: float | None = None,
        spot_width: float | None = None,
        play_m: float = 0.0,
        source_ohm: float = 0.0,
        scatter: float = 0.0,
    ) -> "MachineModel":
        """The same machine after more wear. The amounts add to the wear it has (below zero: they take away).

        ``lock_run``, ``unlock_run``: even friction that raises that direction's healthy running current by this
        share of itself. ``spot_run``: a spot that binds, its height as a share of the healthy running current in
        the lock direction. ``play_m`` [m], ``source_ohm`` [ohm], ``scatter``: from throw to throw, share of the drag.
        """
        w = self.wear
        worn = Wear(
            lock_drag_n=w.lock_drag_n + self.extra_force_n("lock", lock_run),
            unlock_drag_n=w.unlock_drag_n + self.extra_force_n("unlock", unlock_run),
            spot_n=w.spot_n + self.extra_force_n("lock", spot_run),
            spot_place=w.spot_place if spot_place is None else spot_place,
            spot_width=w.spot_width if spot_width is None else spot_width,
            play_m=w.play_m + play_m,
            source_ohm=w.source_ohm + source_ohm,
            scatter=w.scatter + scatter,
        )
        return replace(self, wear=worn)


def bell(place: FloatArray, centre: float, width: float) -> FloatArray:
    """A smooth bump of height 1 and full width ``width`` at half height; shape as ``place``."""
    return np.asarray(np.exp(-4 * np.log(2) * ((place - centre) / width) ** 2))
