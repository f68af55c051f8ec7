"""The stepped motion against physics that doesn't depend on the stepping."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.drawn import drawn
from throwbook.core.simulator import (
    SensorModel,
    SimulatedFault,
    ThrowConditions,
    make_waveform,
    random_machine,
    throw,
)
from throwbook.core.simulator.machine import MAGNET_PER_K
from throwbook.core.simulator.throw import time_average

QUIET = SensorModel(rate_hz=1000, noise_a=0, resolution_a=0, voltage_noise_v=0, voltage_resolution_v=0)
MILD = ThrowConditions()
SEEDS = range(drawn(6, 2))


def waveform(seed, faults=(), direction="lock", conditions=MILD):
    rng = np.random.default_rng(seed)
    _, machine = random_machine(rng)
    return make_waveform(machine, direction, conditions, QUIET, faults, rng)


@pytest.mark.parametrize("seed", [3, *(pytest.param(seed, marks=pytest.mark.long) for seed in (2, 4))])
def test_agrees_with_an_adaptive_solver_of_the_same_equations(seed):
    """The same two equations handed to scipy's stiff solver: travel time within 2 ms, mean current within 0.05 %, any within 1 %."""
    w = waveform(seed)
    plan, m, machine = w.plan, w.motion, w.plan.machine
    motor, screw = machine.motor, machine.screw
    ohm = plan.battery_ohm + plan.upstream_ohm + plan.downstream_ohm
    raising, lowering = screw.motor_torque_nm(1.0), screw.motor_torque_nm(-1.0)
    other = plan.supply_steps or [(-np.inf, 0.0)]
    per_stroke = screw.motor_rad_per_m * machine.stroke_m

    def rates(t, y):
        i, speed, share, relax, winding = y
        load_n = np.interp(share, plan.load.share, plan.load.dry_n)
        viscous = np.interp(share, plan.load.share, plan.load.viscous_n_s_m)
        torque = raising * load_n if load_n >= 0 else -lowering * load_n
        torque += raising * viscous * speed / screw.motor_rad_per_m + motor.drag_nm + motor.drag_nm_s * speed
        drive = motor.constant_v_s * i - torque
        if speed <= 0 and drive < 0:
            drive = 0.0
        extra = [v for start, v in other if start <= t][-1]
        r = motor.resistance_at(winding)
        heat = i * i * r - (winding - 20) / motor.thermal_resistance_k_w
        return [
            (plan.open_circuit_v + extra - relax - (ohm + r) * i - motor.constant_v_s * speed)
            / motor.inductance_h,
            drive / motor.inertia_kg_m2,
            speed / per_stroke,
            (machine.supply.relax_ohm * i - relax) / machine.supply.relax_s,
            heat / motor.heat_capacity_j_k,
        ]

    def done(t, y):
        return y[2] - 1

    done.terminal = True
    # The reference takes over after 20 ms: no contact bounces any more and static friction is overcome.
    k = int(np.searchsorted(m.time_s, 0.02))
    winding = plan.winding_c
    begin = [m.current_a[k], m.speed_rad_s[k], m.share[k], m.relax_v[k], winding]
    end = m.moved_until_s
    exact = solve_ivp(
        rates,
        (m.time_s[k], 1.1 * end),
        begin,
        "Radau",
        events=done,
        rtol=1e-7,
        atol=1e-9,
        max_step=0.02,
        dense_output=True,
    )
    assert end == pytest.approx(exact.t[-1], abs=0.002)
    running = np.linspace(0.03, 0.99 * end, 500)
    error = np.interp(running, m.time_s, m.current_a) / exact.sol(running)[0] - 1
    assert np.quantile(np.abs(error), 0.99) < 0.01
    mean = time_average(m.time_s[m.time_s > 0.3], m.current_a[m.time_s > 0.3])
    assert mean == pytest.approx(time_average(exact.t[exact.t > 0.3], exact.y[0][exact.t > 0.3]), rel=0.0005)


@pytest.mark.parametrize("seed", SEEDS)
def test_steady_running_lies_on_the_motor_line(seed):
    """Off the mechanism the current is the closed form's for the voltage at the motor (IEC 60028 for its copper)."""
    w = waveform(seed, [SimulatedFault("linkage-off")])
    m, machine = w.motion, w.plan.machine
    late = np.searchsorted(m.time_s, 0.8 * m.moved_until_s)
    volts = (
        m.current_a[late] * machine.motor.resistance_ohm + machine.motor.constant_v_s * m.speed_rad_s[late]
    )
    push = float(w.plan.load.dry_n[0])
    current, speed = machine.steady(push, volts)
    assert m.current_a[late] == pytest.approx(current, rel=1e-3)
    assert m.speed_rad_s[late] / machine.screw.motor_rad_per_m == pytest.approx(speed, rel=1e-3)


@pytest.mark.parametrize("seed", SEEDS)
def test_stall_current_is_voltage_over_resistance(seed):
    w = waveform(seed, [SimulatedFault("obstruction", place=0.4)])
    m, plan = w.motion, w.plan
    assert m.end == "stall"
    warm = plan.machine.motor.resistance_at(m.winding_c)
    ohm = warm + plan.battery_ohm + plan.upstream_ohm + plan.downstream_ohm
    expected = (plan.open_circuit_v + m.other_v[-1] - m.relax_v[-1]) / ohm
    assert m.current_a[-1] == pytest.approx(expected, rel=1e-3)
    assert m.winding_c > plan.winding_c


@pytest.mark.parametrize("seed", SEEDS)
def test_energy_balances(seed):
    """What the supply gives is heat in the copper, work against friction and load, and what the rotor still holds."""
    w = waveform(seed)
    m, plan, motor = w.motion, w.plan, w.plan.machine.motor
    dt = np.diff(m.time_s)
    i, speed = m.current_a[1:], m.speed_rad_s[1:]
    volts = plan.open_circuit_v + m.other_v[1:] - m.relax_v[1:]
    ohm = plan.battery_ohm + plan.upstream_ohm + plan.downstream_ohm + motor.resistance_ohm
    given = np.sum(volts * i * dt)
    heat = np.sum(i * i * ohm * dt)
    work = np.sum(motor.constant_v_s * m.balance_a[1:] * speed * dt)
    held = 0.5 * motor.inertia_kg_m2 * speed[-1] ** 2
    assert given == pytest.approx(heat + work + held, rel=0.02)


def test_more_friction_takes_more_current_and_more_time():
    runs = [waveform(4, [SimulatedFault("even-friction", share)]).motion for share in (0.0, 0.1, 0.2, 0.4)]
    means = [time_average(m.time_s[m.time_s > 0.3], m.current_a[m.time_s > 0.3]) for m in runs]
    assert np.all(np.diff(means) > 0)
    assert np.all(np.diff([m.moved_until_s for m in runs]) > 0)
    assert means[2] / means[0] == pytest.approx(1.2, abs=0.03)


def test_cold_makes_grease_stiff_and_copper_lively():
    cold, warm = (waveform(3, conditions=ThrowConditions(temperature_c=t)) for t in (-10, 30))
    push = [w.plan.load.viscous_n_s_m.max() for w in (cold, warm)]
    scale = cold.plan.machine.mechanism.grease_scale_c
    assert push[0] / push[1] == pytest.approx(np.exp(40 / scale), rel=1e-9)
    motor = cold.plan.machine.motor
    assert motor.resistance_at(120.0) / motor.resistance_at(20.0) == pytest.approx(1 + 0.393)
    assert motor.constant_at(30.0) / motor.constant_at(20.0) == pytest.approx(1 + 10 * MAGNET_PER_K)


def test_a_hot_winding_runs_slower():
    cool = waveform(2).motion
    hot = waveform(2, [SimulatedFault("hot-motor", 60)]).motion
    assert hot.moved_until_s > 1.01 * cool.moved_until_s


@pytest.mark.parametrize("seed", SEEDS)
def test_a_bind_sits_mirrored_in_the_other_direction(seed):
    peaks = {}
    for direction in ("lock", "unlock"):
        healthy = waveform(seed, direction=direction)
        bound = waveform(seed, [SimulatedFault("local-bind", 0.5, 0.7)], direction)
        grid = np.linspace(0.1, 0.98, 2000)
        with_bind = np.interp(grid, bound.motion.share, bound.motion.balance_a)
        without = np.interp(grid, healthy.motion.share, healthy.motion.balance_a)
        peaks[direction] = grid[np.argmax(with_bind - without)]
        assert bound.plan.bump_place == pytest.approx(0.7 if direction == "lock" else 0.3)
    assert peaks["lock"] == pytest.approx(0.7, abs=0.005)
    assert peaks["unlock"] == pytest.approx(0.3, abs=0.005)


def test_over_centre_springs_store_energy_and_give_it_back():
    """The hump's work over a whole movement is nothing, either way: it is the slope of a store."""
    from throwbook.core.simulator.plan import hump

    _, machine = random_machine(np.random.default_rng(8))
    place = np.linspace(-1, 2, 5001)
    for direction in ("lock", "unlock"):
        push = hump(machine, place, direction)
        assert abs(push.sum()) < 1e-6 * np.abs(push).sum()
        assert push.max() == pytest.approx(machine.mechanism.hump_n, rel=1e-3)


@pytest.mark.parametrize("seed", SEEDS)
def test_source_resistance_comes_back_from_the_clean_record(seed):
    """-dV/di over the first 50 ms, before the battery's slow part moves."""
    w = waveform(seed)
    time = np.linspace(0.0005, 0.05, 400)
    current, voltage = w.clean(time)
    slope = np.polyfit(current, voltage, 1)[0]
    truth = w.plan.battery_ohm + w.plan.upstream_ohm
    assert -slope == pytest.approx(truth, rel=0.1)
    assert truth == pytest.approx(w.plan.machine.source_ohm, rel=1e-9)


def test_truth_and_record_tell_the_same_story():
    rng = np.random.default_rng(5)
    _, machine = random_machine(rng)
    thrown = throw(machine, "lock", ThrowConditions(), QUIET, [], rng)
    truth, trace = thrown.truth, thrown.trace
    inside = (trace.time_s > truth.inrush_end_s) & (trace.time_s < truth.end_s)
    assert trace.current_a[inside].mean() == pytest.approx(truth.run_current_a, rel=0.005)
    assert np.all(trace.current_a[trace.time_s < truth.start_s] == 0)
    assert np.all(np.abs(trace.current_a[trace.time_s > truth.end_s + 0.02]) < 1e-6)
    assert truth.travel_fraction == pytest.approx(1.0)
    assert truth.end_s - truth.start_s == pytest.approx(truth.travel_time_s)


@pytest.mark.parametrize("seed", range(30))
def test_the_start_up_transient_ends_after_the_relay_has_stopped_bouncing_and_before_half_a_second(seed):
    """A first-order run-up has 2 % left after 3.9 time constants; the load taken up later must not stretch it much."""
    rng = np.random.default_rng(seed)
    _, machine = random_machine(rng)
    truth = throw(machine, "lock", ThrowConditions(), QUIET, [], rng).truth
    assert 2.5 < (truth.inrush_end_s - truth.start_s) / machine.mechanical_time_s < 5.5
