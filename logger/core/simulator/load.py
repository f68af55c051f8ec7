"""The push that the mechanism asks for at each place of a movement."""

from dataclasses import dataclass

import numpy as np

from logger.core.simulator.conditions import Conditions
from logger.core.simulator.machine import MachineModel, bell
from logger.core.trace import LOCK, FloatArray

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
    conditions: Conditions,
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


def as_found_share(machine: MachineModel, conditions: Conditions) -> float:
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
