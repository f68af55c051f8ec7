"""Current and voltage at the board at any instant: the slow motion plus everything fast that rides on it."""

from dataclasses import dataclass

import numpy as np

from logger.core.simulator.motion import Motion
from logger.core.simulator.plan import Plan
from logger.core.simulator.sensor import SensorModel, aperture_factor
from logger.core.trace import LOCK, FloatArray


@dataclass(frozen=True, eq=False)
class Waveform:
    """One throw as the board could see it, before the sensor's own errors."""

    plan: Plan
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
