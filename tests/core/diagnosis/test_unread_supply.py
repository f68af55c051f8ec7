"""Without a voltage nobody knows the supply: another one than the baseline's makes no throw short."""

from dataclasses import replace

import pytest

from tests.core.drawn_strokes import RIG, Drawn
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.diagnosis.assess import assess_trace

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
