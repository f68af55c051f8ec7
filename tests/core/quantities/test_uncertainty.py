"""Uncertainty and the decision rule against published values. Each test carries the id of its row and its source."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.assessment import Measured
from throwbook.core.machine.limits import decide
from throwbook.core.quantities import statistics
from throwbook.core.sheets.hand_readings import Accuracy, Reading, timed


def test_unc_2_resolution():
    """UNC-2. Source: JCGM 100 4.3.7, F.2.2.1."""
    assert statistics.from_step(1.0) == pytest.approx(0.288675, abs=1e-6)
    assert statistics.from_half_width(1.0) == pytest.approx(1.0 / math.sqrt(3.0))


def test_unc_3_and_4_hand_timing():
    """UNC-3, UNC-4. Source: Am. J. Phys. 87(2) 110 (2019), 4304 timings: sd of one event 0.07 s; start to stop 0.10 s."""
    assert statistics.HAND_EVENT_S == 0.07
    assert statistics.hand_timed(0.0) == pytest.approx(0.0990, abs=5e-5)


def test_unc_5_a_stroke_timed_by_hand():
    """UNC-5. Follows from UNC-2 and UNC-4: 5.0 s, 0.01 s display, 4.0 %; through the reading of a stopwatch."""
    read = timed(Reading(5.0, 0.01))
    assert read.u == pytest.approx(0.198, abs=5e-4)
    assert read.u / read.value == pytest.approx(0.040, abs=5e-4)


def test_the_digits_of_a_stopwatch_count_in_steps_of_its_display():
    """Own example on UNC-2 and UNC-4: three digits of 0.1 s are 0.3 s either way; of 0.001 s they are nothing beside the hand."""
    coarse, fine = (timed(Reading(5.0, step), Accuracy(0.0, 3.0)).u for step in (0.1, 0.001))
    assert coarse == pytest.approx(2.0 * math.hypot(statistics.hand_timed(0.1), 0.3 / math.sqrt(3.0)))
    assert fine == pytest.approx(2.0 * statistics.hand_timed(0.001), rel=1e-3)


def test_mcm_1_four_rectangles():
    """MCM-1. Source: JCGM 101:2008, 9.2.3 (from memory; the printed [-3.88, 3.88] comes out of the closed form).

    Four values of standard deviation 1, all alike within +/- sqrt(3), added: the tail of the sum beyond y is
    ``(4 a - y)^4 / (4! (2 a)^4)`` with a = sqrt(3), so the 95 % interval ends at ``2 a (2 - 0.6^(1/4))``.
    """
    a = math.sqrt(3.0)
    exact = 2.0 * a * (2.0 - 0.6**0.25)
    assert exact == pytest.approx(3.88, abs=5e-3)
    found = statistics.interval_of(0.0, a * statistics.drawn(4).sum(axis=0))
    assert (found.low, found.high) == pytest.approx((-exact, exact), rel=0.01)


def test_mcm_2_an_interval_of_what_bends_is_wider_above():
    """MCM-2. Own example: 1/x with x all alike in 0.5 to 1.5: its 95 % interval is 1/1.475 to 1/0.525."""
    found = statistics.interval_of(1.0, 1.0 / (1.0 + 0.5 * statistics.drawn(1)[0]))
    assert (found.low, found.high) == pytest.approx((1.0 / 1.475, 1.0 / 0.525), rel=0.01)
    assert found.u == found.high - 1.0 > 1.0 - found.low


def test_one_in_forty_lies_beyond_each_end():
    """95 %, equal shares beyond each end (JCGM 101:2008, 7.7)."""
    found = statistics.interval_of(0.5, np.linspace(0.0, 1.0, 4001))
    assert (found.low, found.high) == (pytest.approx(0.025), pytest.approx(0.975))


def test_what_may_never_be_reached_has_no_upper_end():
    found = statistics.interval_of(1.0, np.where(statistics.drawn(1)[0] > 0.9, math.inf, 1.0))
    assert (found.low, found.high) == (1.0, math.inf)


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
    assert statistics.false_accept_risk(0.0, 1.0) == pytest.approx(0.5)
    assert statistics.false_accept_risk(2.0, 1.0) == pytest.approx(0.0228, abs=5e-5)
    assert statistics.false_accept_risk(1.645, 1.0) == pytest.approx(0.050, abs=5e-5)


def test_an_expanded_uncertainty_has_a_factor_of_two():
    """JCGM 100, 6.2: k = 2 for about 95 %."""
    assert statistics.expanded(0.3) == 0.6


def test_type_a_is_the_spread_over_the_root_of_n():
    """JCGM 100, 4.2.3; worked by hand."""
    assert statistics.type_a([2.0, 4.0, 6.0]) == pytest.approx((4.0, 2.0 / math.sqrt(3.0)))
    assert statistics.type_a([2.0]) == (2.0, math.inf)
    with pytest.raises(ValueError, match="no readings"):
        statistics.type_a([])


@given(st.lists(st.floats(0.0, 1e6), min_size=1, max_size=8))
def test_combining_never_makes_it_smaller_than_the_largest_part(parts):
    assert statistics.combined(*parts) >= max(parts) * (1.0 - 1e-12)
    assert statistics.combined(*parts) <= sum(parts) * (1.0 + 1e-12)


@given(st.floats(-10, 10), st.floats(0.001, 5), st.floats(-10, 10), st.sampled_from(["max", "min"]))
def test_a_decision_is_never_sure_within_the_guard_band(value, u, limit, side):
    decision = decide(Measured(value, u), limit, side)
    room = limit - value if side == "max" else value - limit
    assert (decision == "undecided") == (-u <= room < u)
    assert decision != "pass" or room > 0.0
    assert decision != "fail" or room < 0.0


def test_draws_are_as_many_as_are_said_and_fill_each_value_evenly():
    draws = statistics.drawn(3)
    assert draws.shape == (3, statistics.DRAWS)
    for one in draws:
        counts, _ = np.histogram(one, bins=64, range=(-1.0, 1.0))
        # Chance would leave a standard deviation of the root of what is expected, in every one of them.
        assert np.abs(counts - statistics.DRAWS / 64).max() < np.sqrt(statistics.DRAWS / 64)
