"""The end of a profile: what flows on when nothing drives the motor any more is no load."""

from dataclasses import replace

import numpy as np
import pytest

from tests.core.drawn_strokes import RIG, Drawn
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.diagnosis.assess import assess_trace

AT_MOTOR = replace(RIG, board=replace(RIG.board, placed_in="motor"))


def dying_away(tail_s: float, seed: int):
    """A stroke seen at the motor: its voltage is gone at once, its current dies away over ``tail_s``."""
    drawn = Drawn(seed=seed, run_s=13.187)
    trace = drawn.trace()
    after = trace.time_s - drawn.end_s
    tail_a = np.where(after >= 0.0, drawn.level_a * np.exp(-np.maximum(after, 0.0) / tail_s), 0.0)
    driven = (trace.time_s >= drawn.start_s) & (after < 0.0)
    return replace(
        trace,
        current_a=trace.current_a + tail_a,
        voltage_v=np.where(driven, trace.voltage_v, 0.0),
        rig=AT_MOTOR.name,
    )


@pytest.mark.parametrize("tail_s", [0.01, 0.06, 0.1])
def test_a_current_that_dies_away_without_a_voltage_is_no_load(tail_s):
    baseline = make_baseline([assess_trace(dying_away(0.0005, seed), AT_MOTOR) for seed in range(2, 7)])
    judged = assess_trace(dying_away(tail_s, 1), AT_MOTOR, baseline)
    assert "binding-spot" not in {sign.sign for sign in judged.signs if sign.level != "info"}
    profile = judged.profile
    assert profile is not None
    known = profile.current_a[np.isfinite(profile.current_a)]
    assert known[-1] == pytest.approx(known[-4], rel=0.15)
