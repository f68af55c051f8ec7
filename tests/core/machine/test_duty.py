"""Duty against published values. Each test carries the id of its row and the row's source."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.machine import electrical
from throwbook.core.rig import Actuator, LockMechanism, Rig
from throwbook.core.sheets.sheet import plan_for


def test_dut_2_cyclic_duration_factor():
    """DUT-2. Source: summary of IEC 60034-1. 25 %, 10 min run: 30 min rest; 5 s in 60 s: 8.33 %."""
    assert electrical.rest_for(600.0, 0.25) == pytest.approx(1800.0)
    assert electrical.running_share(5.0, 55.0) == pytest.approx(0.0833, abs=5e-5)


def test_dut_3_default_cycle():
    """DUT-3. Source: motor and transformer makers' notes (in the standard itself: from memory). 10 min."""
    assert electrical.DEFAULT_PERIOD_S == 600.0
    assert electrical.longest_run(0.25) == 150.0
    assert electrical.throws_in_a_row(15.0, 0.25) == 10


@given(st.floats(0.1, 1e4), st.floats(0.01, 1.0))
def test_run_and_the_rest_it_asks_for_make_up_the_duty(run, share):
    assert electrical.running_share(run, electrical.rest_for(run, share)) == pytest.approx(share)


def actuator(full_load_speed_m_s=0.011):
    return Actuator(12.0, 0.2, 1500.0, 0.016, 0.9, 3.6, full_load_speed_m_s)


@pytest.mark.parametrize(("given_m_s", "full_m_s"), [(0.011, 0.011), (0.015, 0.015), (None, 0.6 * 0.016)])
def test_the_longest_throw_is_the_slowest_the_data_sheet_allows(given_m_s, full_m_s):
    """Full-load speed and rated push each 10 % off (common practice, no source); a speed that isn't given 0.60 of no-load
    (assumed). Speed falls in a straight line with push, down to the full-load speed at the motor's own push."""
    own_push_n = 0.9 * 1500.0
    slowest_m_s = np.interp(
        1500.0, [0.0, own_push_n, 2.0 * own_push_n], [0.016, 0.9 * full_m_s, 1.8 * full_m_s - 0.016]
    )
    rig = Rig("r", actuator(given_m_s), LockMechanism(0.188))
    assert electrical.longest_throw_s(rig) == pytest.approx(0.2 / slowest_m_s)


@given(st.floats(0.0005, 0.0159))
def test_a_slower_motor_never_asks_for_less_and_a_throw_always_ends(full_m_s):
    here, slower = (
        electrical.longest_throw_s(Rig("r", actuator(speed), LockMechanism(0.188)))
        for speed in (full_m_s, 0.95 * full_m_s)
    )
    assert 0.0 < here < slower < np.inf


def test_a_duty_cycle_that_is_not_given_is_a_quarter():
    """Assumed."""
    bare = Rig("r", Actuator(12.0, 0.2, 1500.0, 0.016, 0.9, 3.6, 0.011), LockMechanism(0.188))
    assert plan_for("commissioning", bare).rest_s == pytest.approx(3.0 * electrical.longest_throw_s(bare))
