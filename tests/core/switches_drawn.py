"""Records drawn by hand with a switch at each pin."""

from dataclasses import replace

import numpy as np

from tests.core.drawn_strokes import RIG, Drawn, healthy
from throwbook.core.analysis.baseline import Baseline, make_baseline
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.trace import Trace

AT = {"lock": (0.93, 0.95), "unlock": (0.07, 0.05)}
"""Share of the travel time at which the left and the right switch change."""


def row_at(drawn: Drawn, share: float) -> int:
    """Row of the record at this share of the travel time."""
    return round((drawn.rest_s + share * drawn.run_s) * drawn.rate_hz)


def course(drawn: Drawn, trace: Trace, share: float) -> np.ndarray:
    """A switch that changes once, there; shape (rows,)."""
    before = np.arange(len(trace)) < row_at(drawn, share)
    return before if drawn.direction == "unlock" else ~before


def switched(drawn: Drawn, left: float | None = None, right: float | None = None) -> Trace:
    """The record with both switches; each changes where it usually does, or where it is told to."""
    trace = drawn.trace()
    usual_left, usual_right = AT[drawn.direction]
    return replace(
        trace,
        left_switch=course(drawn, trace, usual_left if left is None else left),
        right_switch=course(drawn, trace, usual_right if right is None else right),
    )


def baseline(direction: str, n: int = 8, scatter: float = 0.001) -> Baseline:
    """n throws with switches that differ a little among each other."""
    rng = np.random.default_rng(5)
    left, right = AT[direction]
    base = Drawn(direction=direction)
    traces = []
    for trace in healthy(n, base):
        at = (left + rng.normal(0.0, scatter), right + rng.normal(0.0, scatter))
        traces.append(
            replace(trace, left_switch=course(base, trace, at[0]), right_switch=course(base, trace, at[1]))
        )
    return make_baseline([assess_trace(trace, RIG) for trace in traces], "drawn")
