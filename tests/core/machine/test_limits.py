"""Limits: defaults from practice, overrides with their reason."""

import pytest

from throwbook.core.machine.limits import (
    LIMITS,
    Opening,
    guarded_run_current,
    limits_for,
    looser_limits,
    rated_time,
    widened,
)
from throwbook.core.rig import Actuator, LimitOverride, LockMechanism, Rig


def rig(speed=0.016, **limits):
    actuator = Actuator(12.0, 0.2, 1500.0, speed, 0.9, 3.6, full_load_speed_m_s=0.7 * speed)
    return Rig("yard-loader", actuator, LockMechanism(0.188), limits=limits)


def test_defaults_follow_the_rating():
    """Common practice, no source (method: 80 % and 100 % of rated, 90 % of nominal, 10 % spread, 30 % margin)."""
    limits = limits_for(rig())
    assert limits["run_current"].value == pytest.approx(0.8 * 3.6)
    assert limits["peak_run_current"].value == pytest.approx(3.6)
    assert limits["supply_under_load"].value == pytest.approx(0.9 * 12.0)
    assert limits["spread_run_current"].value == 0.10
    assert limits["force_margin"].value == 0.30
    assert set(limits) == set(LIMITS)


def test_short_strokes_get_the_wider_time_band():
    slow, quick = rig(0.016), rig(0.040)
    assert rated_time(slow) > 10.0 > rated_time(quick)
    assert limits_for(slow)["travel_time_high"].value == pytest.approx(1.15)
    assert limits_for(slow)["travel_time_low"].value == pytest.approx(0.85)
    assert limits_for(quick)["travel_time_high"].value == pytest.approx(1.25)
    assert limits_for(quick)["travel_time_low"].value == pytest.approx(0.75)
    assert limits_for(slow, expected_time_s=9.9)["travel_time_high"].value == pytest.approx(1.25)
    assert limits_for(quick, expected_time_s=10.1)["travel_time_high"].value == pytest.approx(1.15)


def test_an_override_carries_its_reason():
    limits = limits_for(rig(run_current=LimitOverride(2.8, "cable runs hot above it")))
    assert limits["run_current"].value == 2.8
    assert "cable runs hot above it" in limits["run_current"].limit_from
    assert "common practice" in limits["peak_run_current"].limit_from


def test_without_a_peak_the_rig_s_own_limit_counts_only_where_it_is_the_tighter():
    assert guarded_run_current(rig()).value == pytest.approx(0.8 * 3.6)
    assert guarded_run_current(rig(run_current=LimitOverride(3.4, "it runs hot"))).value == pytest.approx(
        2.88
    )
    assert guarded_run_current(rig(run_current=LimitOverride(2.5, "thin cable"))).value == 2.5


def test_an_expectation_without_an_opening_leaves_each_limit_as_it_is():
    for limit in limits_for(rig()).values():
        assert widened(limit, Opening()) == limit


def test_a_limit_loosened_says_on_which_side_it_lies_of_what_the_rating_allows():
    loose = rig(peak_run_current=LimitOverride(9.0, "no"), supply_under_load=LimitOverride(6.0, "no"))
    said = looser_limits(loose)
    assert " is above " in said["peak_run_current"]
    assert " is below " in said["supply_under_load"]
