"""What holds for every throw, whatever machine, day, sensor and fault."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.drawn import drawn
from throwbook.core.simulator import (
    FAULTS,
    SimulatedFault,
    ThrowConditions,
    random_machine,
    random_sensor,
    throw,
)


@settings(max_examples=drawn(40, 10), deadline=None)
@given(
    seed=st.integers(0, 10_000),
    direction=st.sampled_from(["lock", "unlock"]),
    kind=st.sampled_from(["", *FAULTS]),
    rate_hz=st.sampled_from([10.0, 37.0, 100.0, 400.0, 2000.0]),
    temperature_c=st.floats(-20, 40),
    engine_running=st.booleans(),
    placed_in=st.sampled_from(["supply", "motor"]),
)
def test_a_throw_is_a_record_with_a_truth_that_fits_it(
    seed, direction, kind, rate_hz, temperature_c, engine_running, placed_in
):
    rng = np.random.default_rng(seed)
    _, machine = random_machine(rng, placed_in)
    day = ThrowConditions(temperature_c=temperature_c, engine_running=engine_running)
    sensor = random_sensor(rng, machine, rate_hz)
    faults = [SimulatedFault(kind)] if kind else []
    result = throw(machine, direction, day, sensor, faults, rng)
    trace, truth = result.trace, result.truth
    assert len(trace) == len(trace.current_a) == len(trace.voltage_v)
    assert np.all(np.diff(trace.time_s) > 0)
    assert np.all(np.isfinite(trace.current_a))
    assert np.all(np.isfinite(trace.voltage_v))
    assert np.all(np.diff(truth.fraction) >= 0)
    assert 0 <= truth.travel_fraction <= 1.02
    moments = [truth.start_s, truth.inrush_end_s, truth.end_s, truth.current_end_s]
    known = [moment for moment in moments if moment is not None]
    assert known == sorted(known)
    if truth.run_current_a is not None:
        assert 0 < truth.run_current_a <= truth.peak_run_current_a
    if truth.end == "cut-off":
        assert truth.travel_time_s > 0
        assert truth.peak_run_current_a < truth.inrush_a
    assert truth.winding_c >= temperature_c - 1e-9
