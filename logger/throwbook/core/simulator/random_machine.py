"""Machines drawn at random, and the machine behind a given rig: like its data sheet, but not quite."""

import math
from dataclasses import replace

import numpy as np

from throwbook.core.rig import Actuator, Board, LockMechanism, Rig
from throwbook.core.simulator.machine import MachineModel, Mechanism, Motor, Screw, Supply, raising_torque_nm
from throwbook.core.simulator.pins import draw_pins

Rng = np.random.Generator

SHEET_TOLERANCE = 0.04
"""Standard deviation of a real actuator from its sheet, each figure by itself (about 5-10 % in extremes)."""


def random_machine(rng: Rng, placed_in: str = "supply") -> tuple[Rig, MachineModel]:
    """A rig as its owner would describe it, and the machine it really is.

    12 or 24 V, strokes of 50-400 mm, 5-60 mm/s, a load that takes 30-75 % of the rated current.
    """
    nominal_v = float(rng.choice((12.0, 24.0)))
    stroke_m = round(float(rng.uniform(0.05, 0.4)) / 0.005) * 0.005
    speed = float(np.exp(rng.uniform(math.log(0.005), math.log(0.06))))
    rated_a = float(np.exp(rng.uniform(math.log(2.5), math.log(12.0)))) * 12 / nominal_v
    no_load_a = rated_a * float(rng.uniform(0.10, 0.22))
    droop = float(rng.uniform(0.60, 0.85))
    screw = _draw_screw(rng, speed, nominal_v)
    turning_nm = raising_torque_nm(1.0, screw.mean_diameter_m, screw.lead_m, screw.friction)
    efficiency = screw.lead_m / (2 * math.pi * turning_nm) * screw.gear_efficiency
    resistance = nominal_v * (1 - droop) / (rated_a - droop * no_load_a)
    volt_s_m = (nominal_v - no_load_a * resistance) / speed
    force = efficiency * volt_s_m * (rated_a - no_load_a)
    needed = stroke_m * float(rng.uniform(0.92, 0.97))
    actuator = Actuator(
        voltage_v=nominal_v,
        stroke_m=stroke_m,
        rated_force_n=_two_digits(force),
        no_load_speed_m_s=_two_digits(speed),
        full_load_speed_m_s=_two_digits(speed * droop) if rng.random() < 0.85 else None,
        no_load_current_a=_two_digits(no_load_a),
        full_load_current_a=_two_digits(rated_a),
        duty_cycle=float(rng.choice((0.1, 0.2, 0.25))),
        protection=str(rng.choice(("IP54", "IP65", "IP66"))),
        extend_locks=bool(rng.random() < 0.8),
    )
    rig = Rig(
        name=f"rig-{rng.integers(10_000):04d}",
        actuator=actuator,
        lock=LockMechanism(needed_travel_m=round(needed, 4)),
        board=Board(placed_in=placed_in),
    )
    return rig, _build(rig, screw, float(rng.uniform(0.30, 0.75)), rng)


def machine_for(rig: Rig, seed: int, load_share: float | None = None) -> MachineModel:
    """A machine that the rig's data sheet could belong to; the same one for the same seed.

    ``load_share``: healthy running current as a share of the rated; None: drawn from 0.4 to 0.65.
    """
    rng = np.random.default_rng(seed)
    screw = _draw_screw(rng, rig.actuator.no_load_speed_m_s, rig.actuator.voltage_v)
    share = float(rng.uniform(0.40, 0.65)) if load_share is None else load_share
    return replace(_build(rig, screw, share, rng), seed=seed)


def _build(rig: Rig, screw: Screw, load_share: float, rng: Rng) -> MachineModel:
    """The true machine: every figure a little off the sheet, and all that the sheet doesn't say."""
    sheet = rig.actuator
    droop = 0.75
    if sheet.full_load_speed_m_s is not None:
        droop = sheet.full_load_speed_m_s / sheet.no_load_speed_m_s
    resistance = sheet.voltage_v * (1 - droop) / (sheet.full_load_current_a - droop * sheet.no_load_current_a)
    resistance *= _off(rng)
    volt_s_m = (sheet.voltage_v - sheet.no_load_current_a * resistance) / sheet.no_load_speed_m_s * _off(rng)
    no_load_a = sheet.no_load_current_a * _off(rng, 0.08)
    force_per_a = sheet.rated_force_n / (sheet.full_load_current_a - sheet.no_load_current_a) * _off(rng)
    constant = volt_s_m / screw.motor_rad_per_m
    # The gear's efficiency is whatever makes the screw give that force.
    screw = replace(
        screw,
        gear_efficiency=screw.gear_efficiency * force_per_a * screw.motor_torque_nm(1.0) / constant,
    )
    dry_share = float(rng.uniform(0.6, 0.85))
    no_load_rad_s = (sheet.voltage_v - no_load_a * resistance) / constant
    motor = Motor(
        resistance_ohm=resistance,
        inductance_h=resistance * float(rng.uniform(0.0005, 0.0015)),
        constant_v_s=constant,
        inertia_kg_m2=float(rng.uniform(0.015, 0.045)) * constant**2 / resistance,
        drag_nm=dry_share * no_load_a * constant,
        drag_nm_s=(1 - dry_share) * no_load_a * constant / no_load_rad_s,
        ripples_per_turn=2 * int(rng.choice((3, 5, 7, 9, 11))),
        ripple=float(rng.uniform(0.02, 0.09)),
        heat_capacity_j_k=float(rng.uniform(40, 150)) * sheet.full_load_current_a * sheet.voltage_v / 60,
        thermal_resistance_k_w=float(rng.uniform(3, 8)) * 60 / (sheet.full_load_current_a * sheet.voltage_v),
    )
    push = force_per_a * max(load_share * sheet.full_load_current_a - no_load_a, 0.5 * no_load_a)
    return MachineModel(
        seed=0,
        nominal_v=sheet.voltage_v,
        stroke_m=sheet.stroke_m + float(rng.normal(0, 0.0003)),
        rated_a=sheet.full_load_current_a,
        motor=motor,
        screw=screw,
        mechanism=_draw_mechanism(rig, push, sheet.no_load_speed_m_s, rng),
        supply=_draw_supply(sheet, rng),
        extend_locks=sheet.extend_locks,
        placed_in=rig.board.placed_in,
        bounce_s=float(rng.uniform(0.0005, 0.004)),
        cut_s=float(np.exp(rng.uniform(np.log(0.0003), np.log(0.004)))),
        undershoot=float(rng.choice((0.0, 0.0, 0.1, 0.3))),
        pins=draw_pins(rng.spawn(1)[0]),  # of its own: the machines of before stay as they were drawn
    )


def _draw_screw(rng: Rng, speed_m_s: float, nominal_v: float) -> Screw:
    """A trapezoidal screw (reckoned as a square thread) and the gear that gives the speed."""
    diameter = float(rng.uniform(0.009, 0.018))
    friction = float(rng.uniform(0.10, 0.17))
    lead = diameter * float(rng.uniform(0.6, 0.95)) * math.pi * friction
    motor_turns_per_s = float(rng.uniform(2500, 5500)) / 60
    return Screw(
        diameter, lead, friction, motor_turns_per_s * lead / speed_m_s, float(rng.uniform(0.75, 0.9))
    )


def _draw_mechanism(rig: Rig, push_n: float, speed_m_s: float, rng: Rng) -> Mechanism:
    stroke = rig.actuator.stroke_m
    spare = max(0.0, stroke - rig.lock.needed_travel_m)
    viscous = float(rng.uniform(0.03, 0.10))
    hole = float(rng.uniform(0.02, 0.12))
    return Mechanism(
        drag_n=push_n * (1 - viscous - 0.15 * hole),
        viscous_n_s_m=push_n * viscous / (0.85 * speed_m_s),
        play_m=spare * float(rng.uniform(0.3, 0.8)) + 0.0005,
        side_delay_m=stroke * float(rng.uniform(0.002, 0.02)),
        side_share=float(rng.uniform(0.4, 0.6)),
        ramp_m=stroke * float(rng.uniform(0.01, 0.025)) + 0.0005,
        hump_n=push_n * float(rng.uniform(0.0, 0.22)),
        hump_place=float(rng.uniform(0.35, 0.65)),
        hump_width=float(rng.uniform(0.04, 0.10)),
        hole_n=push_n * hole,
        hole_place=float(rng.uniform(0.78, 0.92)),
        waves=_draw_waves(rng, 6, 0.04),
        lock_waves=_draw_waves(rng, 4, 0.02),
        unlock_waves=_draw_waves(rng, 4, 0.02),
        screw_wave=(float(rng.uniform(0.002, 0.02)), float(rng.uniform(0, 2 * np.pi))),
        lock_factor=1.0,
        unlock_factor=float(rng.uniform(0.85, 1.1)),
        grease_scale_c=float(rng.uniform(22, 38)),
        idle_share=float(rng.uniform(0.02, 0.08)),
        as_found=float(rng.uniform(0.02, 0.08)),
        scatter=float(rng.uniform(0.003, 0.012)),
    )


def _draw_waves(rng: Rng, count: int, height: float) -> tuple[tuple[float, float, float], ...]:
    """A smooth random field: longer waves are higher."""
    turns = np.sort(rng.uniform(0.5, 10, count))
    heights = height * rng.normal(0, 1, count) / np.sqrt(1 + turns)
    phases = rng.uniform(0, 2 * np.pi, count)
    return tuple((float(a), float(b), float(c)) for a, b, c in zip(turns, heights, phases, strict=True))


def _draw_supply(sheet: Actuator, rng: Rng) -> Supply:
    """A harness that loses 1.5-4 % of the nominal voltage at rated current, as a fair one does."""
    lost_ohm = float(rng.uniform(0.015, 0.04)) * sheet.voltage_v / sheet.full_load_current_a
    battery = float(rng.uniform(0.006, 0.012)) * sheet.voltage_v / 12
    return Supply(
        battery_ohm=battery,
        relax_ohm=battery * float(rng.uniform(0.5, 1.2)),
        relax_s=float(rng.uniform(2, 8)),
        harness_ohm=0.75 * lost_ohm,
        downstream_ohm=0.25 * lost_ohm,
        charging_v=float(rng.uniform(13.8, 14.3)),
        alternator_hz=float(rng.uniform(120, 700)),
        alternator_v=float(rng.uniform(0.02, 0.10)) * sheet.voltage_v / 12,
    )


def _off(rng: Rng, tolerance: float = SHEET_TOLERANCE) -> float:
    """A factor near 1, at most 2.5 standard deviations away."""
    return 1 + tolerance * float(np.clip(rng.standard_normal(), -2.5, 2.5))


def _two_digits(value: float) -> float:
    """As printed on a data sheet."""
    return float(f"{value:.2g}")
