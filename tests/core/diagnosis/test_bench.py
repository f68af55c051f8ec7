"""The bench test: judged against the data sheet, and the motor line it refines held against the simulator's truth."""

from dataclasses import replace

import numpy as np
import pytest

from tests.drawn import drawn
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.diagnosis.bench_test import judge_bench, refined, resistance_bracket
from throwbook.core.machine.motor import motor_line, propagated
from throwbook.core.simulator import (
    SensorModel,
    SimulatedFault,
    ThrowConditions,
    random_machine,
    throw,
)


def bench_throws(seed: int, *, faults=(), directions=("lock", "unlock") * 2):
    """A random actuator thrown on the bench, pushing nothing: its rig, its truth, the judged throws."""
    rng = np.random.default_rng(seed)
    rig, machine = random_machine(rng)
    nothing = replace(machine.mechanism, drag_n=0.0, viscous_n_s_m=0.0, hump_n=0.0, hole_n=0.0)
    machine = replace(machine, mechanism=nothing)
    sensor = SensorModel(noise_a=0.01, resolution_a=0.001, full_scale_a=500.0, before_s=1.0, after_s=1.0)
    traces = [
        throw(machine, direction, ThrowConditions(), sensor, list(faults), rng).trace
        for direction in directions
    ]
    return rig, machine, [(trace, assess_trace(trace, rig)) for trace in traces]


def seen_from_the_board(machine) -> float:
    """Winding and the leads between it and the board [ohm]."""
    return machine.motor.resistance_ohm + machine.supply.downstream_ohm


@pytest.fixture(scope="module")
def benches():
    return [bench_throws(seed) for seed in range(drawn(30, 8))]


def test_healthy_actuators_pass_or_stay_undecided_and_none_fails(benches):
    verdicts = [judge_bench(rig, throws).verdict for rig, _, throws in benches]
    assert "fail" not in verdicts
    assert verdicts.count("pass") >= 0.8 * len(verdicts)


def test_the_refined_line_is_nearer_the_truth_than_the_data_sheet(benches):
    before, after = {"r": [], "k_e": []}, {"r": [], "k_e": []}
    for rig, machine, throws in benches:
        line, used = refined(rig, throws)
        assert used >= 2
        true_r = seen_from_the_board(machine)
        true_k_e = machine.motor.constant_v_s * machine.screw.motor_rad_per_m
        for found, errors in ((motor_line(rig.actuator), before), (line, after)):
            errors["r"].append(abs(np.log(found.r_ohm / true_r)))
            errors["k_e"].append(abs(np.log(found.k_e_v_s_per_m / true_k_e)))
    assert np.median(after["k_e"]) < 0.5 * np.median(before["k_e"])
    # The simulator draws its data sheets within a few per cent; real ones, and this prior, are far looser.
    assert np.median(after["r"]) <= 1.5 * np.median(before["r"])
    assert np.median(after["r"]) < 0.05


def test_the_truth_lies_within_the_stated_uncertainty(benches):
    inside = 0
    for rig, machine, throws in benches:
        line, _ = refined(rig, throws)
        true_k_e = machine.motor.constant_v_s * machine.screw.motor_rad_per_m
        inside += abs(line.k_e_v_s_per_m - true_k_e) <= 2 * line.u_k_e * line.k_e_v_s_per_m
        inside += abs(line.r_ohm - seen_from_the_board(machine)) <= 2 * line.u_r * line.r_ohm
        inside += abs(line.i0_a - machine.steady(0.0, machine.nominal_v)[0]) <= 2 * line.u_i0 * line.i0_a
    assert inside >= 0.9 * 3 * len(benches)


def test_the_uncertainty_becomes_smaller_and_carries_over_into_predictions(benches):
    rig, _, throws = benches[0]
    prior, (line, _) = motor_line(rig.actuator), refined(rig, throws)
    for name in ("u_i0", "u_r", "u_k_e"):
        assert getattr(line, name) <= getattr(prior, name)
    assert propagated(line, lambda one: one.k_e_v_s_per_m) / line.k_e_v_s_per_m == pytest.approx(line.u_k_e)
    assert propagated(line, lambda one: one.r_ohm) / line.r_ohm == pytest.approx(line.u_r)


def test_the_start_up_surge_brackets_the_resistance(benches):
    found = [(resistance_bracket(*throws[0]), seen_from_the_board(machine)) for _, machine, throws in benches]
    known = [(bracket, true) for bracket, true in found if bracket is not None]
    assert len(known) >= 0.8 * len(found)
    assert all(true <= high for (_, high), true in known)
    assert all(low <= 1.1 * true for (low, _), true in known)


def test_a_limit_switch_that_does_not_cut_off_fails():
    rig, _, throws = bench_throws(3, faults=(SimulatedFault("limit-welded"),))
    judged = judge_bench(rig, throws)
    assert judged.verdict == "fail"
    assert "the limit switch did not open" in judged.because


def test_a_dry_screw_shows_as_too_much_no_load_current():
    rig, _, throws = bench_throws(4, faults=(SimulatedFault("dry-screw", 1.5),))
    judged = judge_bench(rig, throws)
    failed = [one.name for one in judged.checks if one.decision == "fail"]
    assert failed
    assert all(name.startswith("no_load_current") for name in failed)


def test_one_direction_alone_is_undecided_and_says_which_is_missing():
    rig, _, throws = bench_throws(5, directions=("lock",))
    judged = judge_bench(rig, throws)
    assert judged.verdict == "undecided"
    assert "unlock: no usable throw" in judged.because


def test_without_throws_the_line_is_the_data_sheets():
    rig, _, _ = bench_throws(6, directions=())
    assert refined(rig, []) == (motor_line(rig.actuator), 0)
