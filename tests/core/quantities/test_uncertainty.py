"""Uncertainty and the decision rule against published values. Each test carries the id of its row and its source."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.core.assessment import Measured
from logger.core.quantities import uncertainty
from logger.core.stroke.verdict import decide


def test_unc_1_correlated_inputs():
    """UNC-1. Source: JCGM 100 H.2 as run by a metrology institute's library: impedance from voltage, current, phase."""
    volts, amps, phase = 4.9990, 19.661e-3, 1.04446
    u = np.array([0.0032, 0.0095e-3, 0.00075])
    r = np.array([[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]])
    z = volts / amps
    resistance, reactance = z * math.cos(phase), z * math.sin(phase)
    sensitivity = np.array(
        [
            [resistance / volts, -resistance / amps, -reactance],
            [reactance / volts, -reactance / amps, resistance],
            [z / volts, -z / amps, 0.0],
        ]
    )
    covariance = uncertainty.propagated(sensitivity, u, r)
    found = np.sqrt(np.diag(covariance))
    assert [resistance, reactance, z] == pytest.approx([127.732, 219.847, 254.260], abs=5e-4)
    assert found == pytest.approx([0.070, 0.296, 0.237], abs=1e-3)
    assert covariance[0, 1] / (found[0] * found[1]) == pytest.approx(-0.59, abs=0.005)


def test_unc_2_resolution():
    """UNC-2. Source: JCGM 100 4.3.7, F.2.2.1."""
    assert uncertainty.from_step(1.0) == pytest.approx(0.288675, abs=1e-6)
    assert uncertainty.from_half_width(1.0) == pytest.approx(1.0 / math.sqrt(3.0))


def test_unc_3_and_4_hand_timing():
    """UNC-3, UNC-4. Source: Am. J. Phys. 87(2) 110 (2019): one event 0.11 s late, sd 0.07 s; start to stop sd 0.10 s."""
    assert uncertainty.HAND_EVENT_LATE_S == 0.11
    assert uncertainty.HAND_EVENT_S == 0.07
    assert uncertainty.hand_timed(0.0) == pytest.approx(0.0990, abs=5e-5)


def test_unc_5_a_stroke_timed_by_hand():
    """UNC-5. Follows from UNC-2 and UNC-4: 5.0 s, 0.01 s display."""
    once, five = uncertainty.hand_timed(0.01), uncertainty.hand_timed(0.01, times=5)
    assert once == pytest.approx(0.0990, abs=1e-4)
    assert uncertainty.expanded(once) == pytest.approx(0.198, abs=5e-4)
    assert uncertainty.expanded(once) / 5.0 == pytest.approx(0.040, abs=5e-4)
    assert uncertainty.expanded(five) == pytest.approx(0.089, abs=5e-4)
    assert uncertainty.expanded(five) / 5.0 == pytest.approx(0.018, abs=5e-4)


@pytest.mark.parametrize(
    ("deviation", "decision"), [(0.0017, "pass"), (0.0020, "pass"), (0.0025, "undecided"), (0.0045, "fail")]
)
def test_dec_1_guard_band(deviation, decision):
    """DEC-1. Source: ILAC-G8:09/2019, ISO 14253-1 example: limit +/-0.003, U 0.0010, acceptance +/-0.002."""
    # 0.0020 is the acceptance limit itself; floats put 0.003 - 0.002 a hair above 0.001.
    assert decide(Measured(deviation, 0.0010), 0.003, "max") == decision
    assert decide(Measured(-deviation, 0.0010), -0.003, "min") == decision


def test_dec_2_false_accept_risk():
    """DEC-2. Source: ILAC-G8, JCGM 106. At the acceptance limit."""
    assert uncertainty.false_accept_risk(0.0, 1.0) == pytest.approx(0.5)
    assert uncertainty.false_accept_risk(2.0, 1.0) == pytest.approx(0.0228, abs=5e-5)
    assert uncertainty.false_accept_risk(1.645, 1.0) == pytest.approx(0.050, abs=5e-5)


def test_type_a_is_the_spread_over_the_root_of_n():
    """JCGM 100, 4.2.3; worked by hand."""
    assert uncertainty.type_a([2.0, 4.0, 6.0]) == pytest.approx((4.0, 2.0 / math.sqrt(3.0)))
    assert uncertainty.type_a([2.0]) == (2.0, math.inf)
    with pytest.raises(ValueError, match="no readings"):
        uncertainty.type_a([])


@given(st.lists(st.floats(0.0, 1e6), min_size=1, max_size=8))
def test_combining_never_makes_it_smaller_than_the_largest_part(parts):
    assert uncertainty.combined(*parts) >= max(parts) * (1.0 - 1e-12)
    assert uncertainty.combined(*parts) <= sum(parts) * (1.0 + 1e-12)


@given(st.floats(-10, 10), st.floats(0.001, 5), st.floats(-10, 10), st.sampled_from(["max", "min"]))
def test_a_decision_is_never_sure_within_the_guard_band(value, u, limit, side):
    decision = decide(Measured(value, u), limit, side)
    room = limit - value if side == "max" else value - limit
    assert (decision == "undecided") == (-u <= room < u)
    assert decision != "pass" or room > 0.0
    assert decision != "fail" or room < 0.0
