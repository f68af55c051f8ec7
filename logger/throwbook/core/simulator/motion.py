"""The throw itself: motor, screw and load stepped through time.

Two equations, at the motor's shaft:

    L di/dt = V - R i - k w            (winding, with everything the current flows through in R)
    J dw/dt = k i - T_drag - T_load    (rotor; the load comes through the screw and the gear)

The winding's time constant is about a millisecond, the rotor's some tens; the load changes over millimetres. So the
step is 0.1 ms while the winding charges, 0.2 ms while the rotor gains or loses speed (current more than 2 % off the
one that would hold it), and at most 4 ms in steady running. Both are stepped implicitly, each for itself. In steady
running a step lands on the exact balance of the two equations, so its length doesn't shift the running current.
"""

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from throwbook.core.assessment import CUT_OFF, NO_RUN, STALL, STILL_RUNNING
from throwbook.core.simulator.plan import REACH, STOP_GIVES_M, ThrowPlan, grease_factor
from throwbook.core.trace import FloatArray

CHARGES_S = 0.012
"""The winding charges for so long."""


@dataclass(frozen=True, eq=False)
class Motion:
    """What happened, at the steps of the reckoning. Times are seconds since switch-on; arrays have shape (k,)."""

    time_s: FloatArray
    current_a: FloatArray
    balance_a: FloatArray
    """The current that would just hold the speed: friction and load at this place."""
    speed_rad_s: FloatArray
    """Of the motor."""
    turned_rad: FloatArray
    """By the motor."""
    share: FloatArray
    """Of the stroke that the rod has moved."""
    relax_v: FloatArray
    """Battery's slow voltage loss."""
    upstream_ohm: FloatArray
    other_v: FloatArray
    """What other loads take from the supply, below zero."""
    winding_c: float
    """At the end."""
    contact_s: float
    """When the relay's contacts have stopped bouncing."""
    parted_s: float | None
    """When a contact opened under way; None: none did."""
    end: str
    moved_until_s: float
    """End of the movement: cut-off, or the moment the rod came to rest."""
    current_until_s: float
    """When the current stopped; the end of the reckoning if it never did."""


def run_throw(plan: ThrowPlan, rng: np.random.Generator) -> Motion:
    """Step one throw from switch-on until the current stops or patience ends."""
    if plan.never_starts:
        return _no_run(plan)
    drive = _Drive(plan, rng)
    motor, supply = plan.machine.motor, plan.machine.supply
    # What every step asks for stands in names of its own: a throw has thousands of steps.
    k, inertia, inductance = drive.k, motor.inertia_kg_m2, motor.inductance_h
    open_circuit_v, wiring_ohm, upstream_ohm = plan.open_circuit_v, drive.wiring_ohm, plan.upstream_ohm
    relax_ohm, relax_s = supply.relax_ohm, supply.relax_s
    air_c, to_air_k_w, heat_j_k = drive.air_c, motor.thermal_resistance_k_w, motor.heat_capacity_j_k
    resistance_at, torques, coarse_s = motor.resistance_at, drive.torques, drive.coarse_s
    slow_rad_s = 0.3 * drive.no_load_rad_s
    rad_per_stroke, opens_share, still_rad_s = drive.rad_per_stroke, drive.opens_share, drive.still_rad_s
    contact_s, parts_share = drive.on_s[-1], drive.parts_share
    t = i = w = turned = share = relax = balance = 0.0
    winding, extra_ohm, other_v, supply_until_s = plan.winding_c, 0.0, 0.0, 0.0
    rows: list[tuple[float, ...]] = [(0.0,) * 7 + (upstream_ohm, 0.0)]
    end, still_since, release_s = STILL_RUNNING, -1.0, drive.longest_s
    while t < release_s:
        if t < CHARGES_S:
            h = 0.0001
        elif end != STALL and (w < slow_rad_s or abs(i - balance) > 0.02 * i):
            h = 0.0002
        else:
            h = coarse_s
        # Winding. While the relay bounces open the current dies at once.
        if t >= supply_until_s:
            extra_ohm, other_v, supply_until_s = drive.supply_at(t)
        winding_ohm = resistance_at(winding)
        ohm = wiring_ohm + extra_ohm + winding_ohm
        volts = open_circuit_v + other_v - relax - k * w
        closed = (t >= contact_s and share < parts_share) or drive.closed(t, share)
        i = (i + h / inductance * volts) / (1 + h / inductance * ohm) if closed else 0.2 * i
        # Rotor. Friction can hold it but never turn it back.
        dry, viscous, slips = torques(share, w, turned)
        balance = (dry + viscous * w) / k
        w = (w + h / inertia * (k * i - dry)) / (1 + h / inertia * viscous)
        if w < 0.0:
            w = 0.0
        # Rod, battery, heat.
        before = share
        turned += h * w
        share += 0.0 if slips else h * w / rad_per_stroke
        relax += h * (relax_ohm * i - relax) / relax_s
        cooling_w = (winding - air_c) / to_air_k_w
        winding += h * (i * i * winding_ohm - cooling_w) / heat_j_k
        t += h
        if share >= opens_share:  # cut off within this step
            t -= h * (share - opens_share) / (share - before)
            share, end = opens_share, CUT_OFF
        rows.append((t, i, balance, w, turned, share, relax, upstream_ohm + extra_ohm, other_v))
        if end == CUT_OFF:
            break
        if w > still_rad_s:
            still_since = -1.0
        elif still_since < 0 or drive.parted(t):
            still_since = t
        elif end != STALL and t - still_since > 0.1:
            end, release_s = STALL, t + plan.hold_s
    columns = np.asarray(rows).T
    return Motion(
        time_s=columns[0],
        current_a=columns[1],
        balance_a=columns[2],
        speed_rad_s=columns[3],
        turned_rad=columns[4],
        share=columns[5],
        relax_v=columns[6],
        upstream_ohm=columns[7],
        other_v=columns[8],
        winding_c=winding,
        contact_s=contact_s,
        parted_s=drive.parted_s,
        end=end,
        moved_until_s=still_since if end == STALL else t,
        current_until_s=t,
    )


class _Drive:
    """What the steps look up: ``torques`` over the travel, supply over time, how long a step may be."""

    def __init__(self, plan: ThrowPlan, rng: np.random.Generator) -> None:
        machine, motor, screw = plan.machine, plan.machine.motor, plan.machine.screw
        self.plan = plan
        self.air_c = plan.conditions.temperature_c
        self.k = motor.constant_at(self.air_c)
        self.rad_per_stroke = screw.motor_rad_per_m * machine.stroke_m
        self.wiring_ohm = plan.battery_ohm + plan.upstream_ohm + plan.downstream_ohm
        self.torques = _torques(plan, self.k)
        self.opens_share = min(x for x in (plan.limit_share, plan.break_share, np.inf) if x is not None)
        self.parts_share = np.inf if plan.contact_parts is None else plan.contact_parts
        self.parted_s: float | None = None
        self.off_s, self.on_s = _bounces(machine.bounce_s, rng)
        self.upstream_times = [t for t, _ in plan.upstream_steps]
        self.supply_times = [t for t, _ in plan.supply_steps]
        self.no_load_rad_s = plan.open_circuit_v / self.k
        self.still_rad_s = 0.01 * self.no_load_rad_s
        self.coarse_s = min(0.004, machine.mechanical_time_s / 6)
        self.longest_s = _longest_s(plan)

    def supply_at(self, t: float) -> tuple[float, float, float]:
        """Further resistance upstream [ohm], what other loads add to the supply [V], and until when both stay so [s]."""
        plan = self.plan
        later = (each for each in (*self.upstream_times, *self.supply_times) if each > t)
        return (
            _in_force(plan.upstream_steps, self.upstream_times, t),
            _in_force(plan.supply_steps, self.supply_times, t),
            min(later, default=np.inf),
        )

    def closed(self, t: float, share: float) -> bool:
        """Whether the contacts touch: the relay bounces at first, and a loose one may part under way."""
        if share >= self.parts_share and self.parted_s is None:
            self.parted_s = t
        if self.parted(t):
            return False
        if t >= self.on_s[-1]:
            return True
        return not any(off <= t < on for off, on in zip(self.off_s, self.on_s, strict=True))

    def parted(self, t: float) -> bool:
        """Whether the loose contact stands open; a rod that rests meanwhile isn't stalled."""
        return self.parted_s is not None and t < self.parted_s + self.plan.contact_open_s


def _torques(plan: ThrowPlan, k: float) -> Callable[[float, float, float], tuple[float, float, bool]]:
    """Dry [N·m] and viscous [N·m·s/rad] torque at the motor, and whether the drive slips: by the share of the stroke, the
    motor's speed [rad/s] and how far it has turned [rad]."""
    machine, motor, screw = plan.machine, plan.machine.motor, plan.machine.screw
    dry_nm, viscous_nm_s = _torque_tables(plan)
    dry_steps, viscous_steps = np.diff(dry_nm).tolist(), np.diff(viscous_nm_s).tolist()
    last_cell = len(dry_nm) - 2
    cells_per_share = (len(dry_nm) - 1) / REACH
    drag_nm = motor.drag_nm
    drag_nm_s = motor.drag_nm_s * (0.5 + 0.5 * grease_factor(machine, plan.conditions.temperature_c))
    slip_nm = screw.motor_torque_nm(plan.slip_n) if np.isfinite(plan.slip_n) else np.inf
    slip_share = np.inf if plan.slip_share is None else plan.slip_share
    stop_share, slip_teeth = plan.stop_share, plan.slip_teeth
    stop_nm_per_share = k * plan.open_circuit_v / machine.total_ohm * machine.stroke_m / STOP_GIVES_M

    def torques(share: float, w: float, turned: float) -> tuple[float, float, bool]:
        at = (share if share < REACH else REACH) * cells_per_share
        cell = int(at)
        if cell > last_cell:
            cell = last_cell
        part = at - cell
        dry = dry_nm[cell] + part * dry_steps[cell]
        viscous = viscous_nm_s[cell] + part * viscous_steps[cell]
        if share > stop_share:
            dry += stop_nm_per_share * (share - stop_share)
        if dry + viscous * w > slip_nm or share >= slip_share:
            tooth = slip_teeth * ((turned / 60) % 1.0 - 0.5)
            return drag_nm + slip_nm * (1 + tooth), drag_nm_s, True
        return drag_nm + dry, drag_nm_s + viscous, False

    return torques


def _torque_tables(plan: ThrowPlan) -> tuple[list[float], list[float]]:
    """Load at the motor's shaft over the travel: dry [N·m] and viscous [N·m·s/rad], as plain lists for the loop."""
    screw = plan.machine.screw
    raising, lowering = screw.motor_torque_nm(1.0), screw.motor_torque_nm(-1.0)
    dry = np.where(plan.load.dry_n >= 0, raising * plan.load.dry_n, -lowering * plan.load.dry_n)
    viscous = raising * plan.load.viscous_n_s_m / screw.motor_rad_per_m
    return dry.tolist(), viscous.tolist()


def _in_force(steps: list[tuple[float, float]], times: list[float], t: float) -> float:
    """The value of the last step begun; 0 where there are none. ``times`` are those of ``steps``."""
    return steps[bisect_right(times, t) - 1][1] if steps else 0.0


def _bounces(bounce_s: float, rng: np.random.Generator) -> tuple[list[float], list[float]]:
    """When the relay contacts part again just after closing, and when they close again [s]."""
    edges = np.sort(rng.uniform(0.0003, max(bounce_s, 0.0004), 2 * rng.integers(1, 4)))
    return edges[0::2].tolist(), edges[1::2].tolist()


def _longest_s(plan: ThrowPlan) -> float:
    """When a throw that never ends is given up [s]: some times the normal travel time."""
    machine = plan.machine
    push = max(0.0, float(np.mean(machine.mechanism.drag_n)))
    speed = machine.steady(push, 0.9 * machine.nominal_v, machine.mechanism.viscous_n_s_m)[1]
    normal = machine.stroke_m / max(speed, 0.1 * machine.nominal_v / machine.volt_s_per_m)
    return plan.patience * normal if _never_ends(plan) else 12 * normal


def _never_ends(plan: ThrowPlan) -> bool:
    return plan.slip_share is not None or np.isfinite(plan.slip_n)


def _no_run(plan: ThrowPlan) -> Motion:
    """The switch is held for a while and nothing flows."""
    time = np.array([0.0, plan.hold_s])
    zero = np.zeros(2)
    ohm = np.full(2, plan.upstream_ohm)
    return Motion(
        time, zero, zero, zero, zero, zero, zero, ohm, zero, plan.winding_c, 0.0, None, NO_RUN, 0.0, 0.0
    )
