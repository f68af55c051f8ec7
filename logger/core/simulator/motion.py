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
from dataclasses import dataclass

import numpy as np

from logger.core.assessment import CUT_OFF, NO_RUN, STALL, STILL_RUNNING
from logger.core.simulator.load import REACH, grease_factor
from logger.core.simulator.plan import STOP_GIVES_M, Plan
from logger.core.trace import FloatArray


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
    end: str
    moved_until_s: float
    """End of the movement: cut-off, or the moment the rod came to rest."""
    current_until_s: float
    """When the current stopped; the end of the reckoning if it never did."""


def run_throw(plan: Plan, rng: np.random.Generator) -> Motion:
    """Step one throw from switch-on until the current stops or patience ends."""
    machine, motor, screw = plan.machine, plan.machine.motor, plan.machine.screw
    if plan.never_starts:
        return _no_run(plan)
    temperature = plan.conditions.temperature_c
    k = motor.constant_at(temperature)
    per_m = screw.motor_rad_per_m * machine.stroke_m  # motor angle for the whole stroke
    inertia, inductance = motor.inertia_kg_m2, motor.inductance_h
    dry, viscous = _torque_tables(plan)
    scale = (len(dry) - 1) / REACH
    gear_grease = 0.5 + 0.5 * grease_factor(machine, temperature)
    drag, drag_viscous = motor.drag_nm, motor.drag_nm_s * gear_grease
    slip_nm = screw.motor_torque_nm(plan.slip_n) if np.isfinite(plan.slip_n) else np.inf
    tau = machine.mechanical_time_s
    coarse = min(0.004, tau / 6)
    stall_nm = k * plan.open_circuit_v / machine.total_ohm
    stop_nm_per_share = stall_nm * machine.stroke_m / STOP_GIVES_M
    off_s, on_s = _bounces(machine.bounce_s, rng)
    step_times = [t for t, _ in plan.upstream_steps]
    other_times = [t for t, _ in plan.supply_steps]
    longest_s = _longest_s(plan)
    base_ohm = plan.battery_ohm + plan.upstream_ohm + plan.downstream_ohm
    no_load_speed = plan.open_circuit_v / k

    t = i = balance = w = turned = share = relax = 0.0
    winding = plan.winding_c
    rows: list[tuple[float, ...]] = [(0.0,) * 7 + (plan.upstream_ohm, 0.0)]
    end, slow_since, release_s = STILL_RUNNING, -1.0, longest_s
    while t < release_s:
        if t < 0.012:
            h = 0.0001
        elif abs(i - balance) > 0.02 * i or w < 0.3 * no_load_speed:
            h = 0.0002
        else:
            h = coarse
        extra = _in_force(plan.upstream_steps, step_times, t)
        other = _in_force(plan.supply_steps, other_times, t)
        ohm = base_ohm + extra + motor.resistance_at(winding)
        closed = t >= on_s[-1] or not any(a <= t < b for a, b in zip(off_s, on_s, strict=True))
        # Winding.
        volts = plan.open_circuit_v + other - relax - k * w
        i = (i + h / inductance * volts) / (1 + h * ohm / inductance) if closed else i * 0.2
        # Load at this place, from the tables.
        at = min(share, REACH) * scale
        cell = min(int(at), len(dry) - 2)
        part = at - cell
        load_dry = dry[cell] + part * (dry[cell + 1] - dry[cell])
        load_viscous = viscous[cell] + part * (viscous[cell + 1] - viscous[cell])
        if share > plan.stop_share:
            load_dry += stop_nm_per_share * (share - plan.stop_share)
        slips = load_dry + load_viscous * w > slip_nm or (
            plan.slip_share is not None and share >= plan.slip_share
        )
        if slips:
            load_dry = slip_nm * (1 + plan.slip_teeth * ((turned / 60) % 1.0 - 0.5))
            load_viscous = 0.0
        # Rotor. Friction can hold it but never turn it back.
        push = k * i - drag - load_dry
        balance = (drag + load_dry + (drag_viscous + load_viscous) * w) / k
        w = max(0.0, (w + h / inertia * push) / (1 + h * (drag_viscous + load_viscous) / inertia))
        before = share
        turned += w * h
        if not slips:
            share += w * h / per_m
        relax += h * (machine.supply.relax_ohm * i - relax) / machine.supply.relax_s
        loss_w = i * i * motor.resistance_at(winding)
        cooling_w = (winding - temperature) / motor.thermal_resistance_k_w
        winding += h * (loss_w - cooling_w) / motor.heat_capacity_j_k
        t += h
        # Does something end it?
        opens = min(x for x in (plan.limit_share, plan.break_share, np.inf) if x is not None)
        if share >= opens:
            back = (share - opens) / max(share - before, 1e-12)
            t -= h * back
            share = opens
            end = CUT_OFF
            rows.append((t, i, balance, w, turned, share, relax, plan.upstream_ohm + extra, other))
            break
        if w > 0.01 * no_load_speed:
            slow_since = -1.0
        elif slow_since < 0:
            slow_since = t
        elif t - slow_since > 0.1 and release_s == longest_s:
            end, release_s = STALL, min(t + plan.hold_s, longest_s + plan.hold_s)
        rows.append((t, i, balance, w, turned, share, relax, plan.upstream_ohm + extra, other))
    columns = np.asarray(rows).T
    moved_until = slow_since if end == STALL else t
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
        contact_s=on_s[-1],
        end=end,
        moved_until_s=moved_until,
        current_until_s=t,
    )


def _torque_tables(plan: Plan) -> tuple[list[float], list[float]]:
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


def _longest_s(plan: Plan) -> float:
    """When a throw that never ends is given up [s]: some times the normal travel time."""
    machine = plan.machine
    push = max(0.0, float(np.mean(machine.mechanism.drag_n)))
    speed = machine.steady(push, 0.9 * machine.nominal_v, machine.mechanism.viscous_n_s_m)[1]
    normal = machine.stroke_m / max(speed, 0.1 * machine.nominal_v / machine.volt_s_per_m)
    return plan.patience * normal if _never_ends(plan) else 12 * normal


def _never_ends(plan: Plan) -> bool:
    return plan.slip_share is not None or np.isfinite(plan.slip_n)


def _no_run(plan: Plan) -> Motion:
    """The switch is held for a while and nothing flows."""
    time = np.array([0.0, plan.hold_s])
    zero = np.zeros(2)
    ohm = np.full(2, plan.upstream_ohm)
    return Motion(time, zero, zero, zero, zero, zero, zero, ohm, zero, plan.winding_c, 0.0, NO_RUN, 0.0, 0.0)
