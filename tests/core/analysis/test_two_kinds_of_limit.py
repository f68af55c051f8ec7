"""A limit of the rating decides with a guard band, an alert is compared as read; of records with samples."""

from dataclasses import replace

import pytest

from tests.core.drawn_strokes import ACTUATOR, RIG, Drawn
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.rig import LimitOverride
from throwbook.core.status.raising import orders_of_record

TRACE = Drawn().trace()
PLAIN = assess_trace(TRACE, RIG)


def held_to(name: str, value: float, rig=RIG, trace=TRACE):
    judged = assess_trace(trace, replace(rig, limits={name: LimitOverride(value, "test")}))
    return judged, {one.name: one.decision for one in judged.checks}[name]


def figure(name: str):
    return next(one.measured for one in PLAIN.checks if one.name == name)


@pytest.mark.parametrize(
    ("name", "side"), [("run_current", 1), ("travel_time_high", 1), ("travel_time_low", -1)]
)
def test_an_alert_is_met_or_a_watch_however_near_and_raises_a_watch_sign(name: str, side: int):
    value, u = figure(name)
    assert held_to(name, value + side * 0.1 * u)[1] == "pass"
    judged, decision = held_to(name, value - side * 0.1 * u)
    assert (decision, judged.verdict) == ("watch", "watch")
    assert [(one.cause, one.sign) for one in orders_of_record("seasonal", judged)] == [("watch sign", name)]
    assert judged.because == orders_of_record("seasonal", judged)[0].because


@pytest.mark.parametrize(
    ("name", "side"), [("peak_run_current", 1), ("supply_under_load", -1), ("travel_done", -1)]
)
def test_a_limit_of_the_rating_is_undecided_within_the_uncertainty_and_raises_nothing(name: str, side: int):
    value, u = figure(name)
    decided = {
        share: held_to(name, value + side * share * u)[1] for share in (1.1, 0.9, 0.1, -0.1, -0.9, -1.1)
    }
    assert list(decided.values()) == ["pass", *["undecided"] * 4, "fail"]
    judged, _ = held_to(name, value + side * 0.1 * u)
    assert judged.verdict == "undecided"
    assert orders_of_record("seasonal", judged) == []


def test_an_alert_fails_only_where_a_throw_is_surely_beyond_twice_its_tolerance():
    """15 % when over 10 s: beyond 30 %, by more than the uncertainty."""
    value, u = figure("travel_time_high")
    slow = {
        ratio: assess_trace(Drawn(run_s=13.2 * ratio / value).trace(), RIG)
        for ratio in (1.2, 1.29, 1.3 + 2 * u)
    }
    found = [
        next(one.decision for one in each.checks if one.name == "travel_time_high") for each in slow.values()
    ]
    assert found == ["watch", "watch", "fail"]


def test_no_more_travel_is_asked_for_than_the_mechanism_needs():
    short = replace(RIG, lock=replace(RIG.lock, needed_travel_m=0.14))  # 70 % of the stroke
    asked = {
        rig.lock.needed_travel_m: next(
            one.limit for one in assess_trace(TRACE, rig).checks if one.name == "travel_done"
        )
        for rig in (RIG, short)
    }
    assert asked == {0.188: pytest.approx(0.85), 0.14: pytest.approx(0.70)}


def test_an_assumed_full_load_speed_widens_what_is_expected_both_ways():
    unsaid = replace(RIG, actuator=replace(ACTUATOR, full_load_speed_m_s=None))
    given, wide = ({one.name: one.limit for one in assess_trace(TRACE, rig).checks} for rig in (RIG, unsaid))
    assert wide["travel_time_high"] > given["travel_time_high"]
    assert wide["travel_time_low"] < given["travel_time_low"]
    assert wide["travel_done"] < given["travel_done"]
    # By the line itself: R = V (1 - r)/(i_fl - r i0), k_e = (V - i0 R)/v_nl; time = k_e/(V - i R), at r = 0.75 and its ends.
    volts, amps = (figure(name).value for name in ("supply_under_load", "run_current"))
    pace = {}
    for ratio in (0.60, 0.75, 0.90):
        ohm = 12.0 * (1.0 - ratio) / (3.6 - ratio * 0.9) * (1.0 + 0.00393 * (15.0 - 20.0))
        k_e = (12.0 - 0.9 * 12.0 * (1.0 - ratio) / (3.6 - ratio * 0.9)) / 0.016
        pace[ratio] = k_e / (volts - amps * ohm)
    assert wide["travel_time_high"] == pytest.approx(1.15 * pace[0.60] / pace[0.75], rel=1e-3)
    assert wide["travel_time_low"] == pytest.approx(0.85 * pace[0.90] / pace[0.75], rel=1e-3)
