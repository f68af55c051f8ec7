"""Without a voltage nobody knows the supply: another one than the baseline's makes no throw short."""

from dataclasses import replace

import pytest

from tests.core.drawn_strokes import RIG, Drawn
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.diagnosis.measure import full_stroke
from throwbook.core.machine.motor import motor_line

UNREAD = Drawn(with_voltage=False)
APART = [(12.15, 14.1), (14.1, 12.15), (11.8, 13.7), (12.4, 14.1)]
"""Of two days anywhere between a battery nearly empty (11.8 V) and an engine running (14.1 V; common practice, no
source) nineteen pairs in twenty are less than 14 % apart."""


def loud(judged):
    return {sign.sign for sign in judged.signs if sign.level != "info"}


@pytest.mark.parametrize(("then_v", "now_v"), APART)
def test_a_whole_throw_on_another_days_supply_is_not_short(then_v, now_v):
    # An unloaded motor's speed goes with its voltage, so its time goes against it.
    usual = UNREAD.but(run_s=13.2 * 12.6 / then_v)
    baseline = make_baseline([assess_trace(usual.but(seed=seed).trace(), RIG) for seed in range(2, 7)])
    judged = assess_trace(UNREAD.but(run_s=13.2 * 12.6 / now_v).trace(), RIG, baseline)
    assert "stopped-short" not in loud(judged)


def test_a_throw_that_stops_half_way_is_still_short():
    baseline = make_baseline([assess_trace(UNREAD.but(seed=seed).trace(), RIG) for seed in range(2, 7)])
    for share in (0.3, 0.6):
        judged = assess_trace(UNREAD.but(run_s=share * 13.2).trace(), RIG, baseline)
        assert [sign.level for sign in judged.signs if sign.sign == "stopped-short"] == ["fail"]


def test_a_voltage_that_is_read_keeps_it_as_sharp_as_before():
    read = replace(UNREAD, with_voltage=True)
    baseline = make_baseline([assess_trace(read.but(seed=seed).trace(), RIG) for seed in range(2, 7)])
    judged = assess_trace(read.but(run_s=0.9 * 13.2).trace(), RIG, baseline)
    assert "stopped-short" in loud(judged)


@pytest.mark.parametrize(("with_voltage", "adds"), [(False, 0.10), (True, 0.02)])
def test_a_time_over_its_expected_one_is_known_to_ten_percent_without_a_voltage_and_to_two_with_one(
    with_voltage, adds
):
    """11.8 to 14.1 V as a rectangle: 0.18 / 2 / sqrt(3) x 2 = 10 %. The 2 % are common practice, no source."""
    judged = assess_trace(replace(UNREAD, with_voltage=with_voltage).trace(), RIG)
    time_s = judged.figures.travel_time_s
    (ratio,) = (one.measured for one in judged.checks if one.name == "travel_time_high")
    assert ratio.u / ratio.value - time_s.u / time_s.value == pytest.approx(adds, rel=1e-6)


def test_a_travel_without_a_voltage_is_known_to_eight_percent_more_in_squares():
    """Two days differ by 0.18 / sqrt(6) = 7 %, and the load on the supply differs too (common practice, no source)."""
    line = motor_line(RIG.actuator)
    baseline = make_baseline([assess_trace(UNREAD.but(seed=seed).trace(), RIG) for seed in range(2, 7)])
    for usual in (None, baseline):
        (_, unread_u), (_, read_u) = (
            full_stroke(line, RIG, one and replace(one, from_voltage=is_read), is_read, 15.0)
            for one, is_read in ((usual, False), (usual, True))
        )
        assert unread_u**2 - read_u**2 == pytest.approx(0.08**2)
