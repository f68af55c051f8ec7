"""The machine's closed forms, drawing and wear."""

from dataclasses import replace

import numpy as np
import pytest

from throwbook.core.machine.motor import motor_line
from throwbook.core.simulator import (
    SensorModel,
    ThrowConditions,
    machine_for,
    random_machine,
    throw,
)
from throwbook.core.simulator.machine import Motor, lowering_torque_nm

MACHINES = [random_machine(np.random.default_rng(seed)) for seed in range(40)]


@pytest.mark.parametrize("seed", range(3))
def test_the_same_seed_gives_the_same_machine(seed):
    assert random_machine(np.random.default_rng(seed)) == random_machine(np.random.default_rng(seed))
    rig = MACHINES[seed][0]
    assert machine_for(rig, seed) == machine_for(rig, seed)
    assert machine_for(rig, seed) != machine_for(rig, seed + 1)


def test_mot_2_steady_running_of_a_published_motor():
    """MOT-2: V 10 V, R 1.5 ohm, Kt 0.12 N·m/A; at 0.6 N·m it takes 5.0 A, stalls at 6.667 A (course exercise).

    Its no-load speed there follows from the other constant, 12 V/krpm; in SI the two constants of a motor are one,
    so the speed here is that of 0.12 V·s/rad.
    """
    _, machine = MACHINES[0]
    screw = replace(machine.screw, gear_ratio=1.0, gear_efficiency=1.0)
    motor = Motor(1.5, 0.001, 0.12, 1e-4, 0.0, 0.0)
    bench = replace(machine, motor=motor, screw=screw)
    load_n = 0.6 / screw.motor_torque_nm(1.0)
    current, speed = bench.steady(load_n, 10.0)
    assert current == pytest.approx(5.0, abs=1e-9)
    assert speed * screw.motor_rad_per_m == pytest.approx((10 - 5.0 * 1.5) / 0.12, abs=1e-9)
    stalled, still = bench.steady(2 * load_n, 10.0)
    assert stalled == pytest.approx(6.667, abs=5e-4)
    assert still == 0


def test_true_machine_differs_from_its_data_sheet_but_not_wildly():
    off = []
    for rig, machine in MACHINES:
        line = motor_line(rig.actuator)
        off.append(machine.force_per_ampere / line.k_f_n_per_a - 1)
        if rig.actuator.full_load_speed_m_s is not None:
            assert machine.motor.resistance_ohm == pytest.approx(line.r_ohm, rel=0.12)
    assert 0.02 < np.std(off) < 0.08
    assert np.max(np.abs(off)) < 0.12


def test_random_machines_cover_what_they_promise():
    rigs = [rig.actuator for rig, _ in MACHINES]
    assert {a.voltage_v for a in rigs} == {12.0, 24.0}
    assert all(0.05 <= a.stroke_m <= 0.4 for a in rigs)
    assert all(0.0049 <= a.no_load_speed_m_s <= 0.061 for a in rigs)
    shares = [machine.healthy_run_current_a("lock") / machine.rated_a for _, machine in MACHINES]
    assert 0.25 < min(shares) < 0.4 < 0.6 < max(shares) < 0.82


def test_no_load_current_is_near_the_data_sheet():
    for rig, machine in MACHINES:
        current, speed = machine.steady(0.0, machine.nominal_v)
        assert current == pytest.approx(rig.actuator.no_load_current_a, rel=0.3)
        assert speed == pytest.approx(rig.actuator.no_load_speed_m_s, rel=0.16)


def test_every_screw_holds_with_power_off():
    for _, machine in MACHINES:
        screw = machine.screw
        assert lowering_torque_nm(1.0, screw.mean_diameter_m, screw.lead_m, screw.friction) > 0.0


def test_wear_adds_up():
    machine = MACHINES[0][1]
    once = machine.aged(lock_run=0.1, play_m=0.001, source_ohm=0.01)
    twice = once.aged(lock_run=0.1, spot_run=0.2, spot_place=0.7)
    assert twice.wear.lock_drag_n == pytest.approx(2 * once.wear.lock_drag_n)
    assert twice.wear.unlock_drag_n == 0
    assert twice.wear.spot_place == 0.7
    assert twice.wear.play_m == 0.001
    assert twice.source_ohm == pytest.approx(machine.source_ohm + 0.01)
    assert machine.wear.lock_drag_n == 0


def test_wear_shows_in_the_running_current_by_the_share_asked_for():
    machine = MACHINES[3][1]
    runs = []
    for worn in (machine, machine.aged(lock_run=0.15)):
        rng = np.random.default_rng(9)
        runs.append(throw(worn, "lock", ThrowConditions(), SensorModel(), [], rng).truth.run_current_a)
    assert runs[1] / runs[0] == pytest.approx(1.15, abs=0.02)
