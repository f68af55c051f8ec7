"""How long a recorder ran before the throw changes no figure, no ± and no sign."""

from dataclasses import replace

import numpy as np
import pytest

from tests.core.diagnosis.test_contact_breaks import BASELINE, broken
from tests.core.drawn_strokes import RIG, Drawn
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.quantities.clock import CLOCK_KEY, CLOCK_U_KEY
from throwbook.core.trace import Trace

GOOD = Drawn()
MORE_S = 20.0


def without(trace: Trace, *lost_s: tuple[float, float]) -> Trace:
    """The record without the rows between these times."""
    kept = np.all([(trace.time_s < a) | (trace.time_s > b) for a, b in lost_s], axis=0)
    return replace(
        trace, time_s=trace.time_s[kept], current_a=trace.current_a[kept], voltage_v=trace.voltage_v[kept]
    )


def ramped(drawn: Drawn) -> Trace:
    """As a drive starts and ends a throw: half a second up, half a second down."""
    trace = drawn.trace()
    away_s = np.minimum(trace.time_s - drawn.start_s, drawn.end_s - trace.time_s)
    rises = np.where(away_s >= 0.0, 0.4 + 0.6 * np.clip(away_s / 0.5, 0.0, 1.0), 1.0)
    return replace(trace, current_a=trace.current_a * rises)


def flows_on(drawn: Drawn, flows_a: float) -> Trace:
    trace = drawn.trace()
    on = (trace.time_s >= drawn.end_s) & (trace.time_s < drawn.end_s + 2.0)
    return replace(trace, current_a=trace.current_a + np.where(on, flows_a, 0.0))


def with_head(trace: Trace, **head: object) -> Trace:
    return replace(trace, head=head)


RECORDS = {
    "plain": GOOD.trace(),
    "a bind": GOOD.but(bump_a=0.9).trace(),
    "a bind near the end": GOOD.but(bump_a=0.9, bump_at=0.9).trace(),
    "a contact that opens": broken(GOOD, (0.4, 0.2)),
    "a contact that opens twice": broken(GOOD, (0.3, 0.15), (0.7, 0.25)),
    "20 Hz": GOOD.but(rate_hz=20.0).trace(),
    "a stall": GOOD.but(stall_from=0.5, run_s=8.0).trace(),
    "a stall at the end": GOOD.but(stall_from=0.97, run_s=15.0).trace(),
    "stopped short": GOOD.but(run_s=6.0).trace(),
    "gaps": without(GOOD.trace(), (4.0, 4.5), (8.0, 8.2)),
    "rows lost at the end": without(GOOD.trace(), (13.6, 13.9)),
    "no voltage": GOOD.but(with_voltage=False).trace(),
    "a drive's ramps": ramped(GOOD.but(peak_a=1.8)),
    "a current that flows on": flows_on(GOOD.but(after_s=4.0), 0.4),
    "a clock that is off": with_head(
        GOOD.trace(), **{CLOCK_KEY: "its two clocks disagree", CLOCK_U_KEY: 0.3}
    ),
    "a light run": GOOD.but(level_a=0.9, run_s=11.8).trace(),
    "drag": GOOD.but(level_a=2.6).trace(),
}


def with_more_rest(trace: Trace) -> Trace:
    """Its first half second over and over before it."""
    step_s = float(trace.time_s[1] - trace.time_s[0])
    rows = int(0.5 / step_s)
    times = round(MORE_S / step_s / rows)

    def before(values: np.ndarray) -> np.ndarray:
        return np.concatenate([np.tile(values[:rows], times), values])

    more = np.arange(rows * times) * step_s
    return replace(
        trace,
        time_s=np.concatenate([more, trace.time_s + rows * times * step_s]),
        current_a=before(trace.current_a),
        voltage_v=None if trace.voltage_v is None else before(trace.voltage_v),
    )


@pytest.mark.parametrize("name", RECORDS)
def test_more_rest_before_it_changes_nothing(name):
    one, other = (
        assess_trace(trace, RIG, BASELINE) for trace in (RECORDS[name], with_more_rest(RECORDS[name]))
    )
    assert (one.verdict, one.end) == (other.verdict, other.end)
    for (figure, here), (_, there) in zip(one.figures.items(), other.figures.items(), strict=True):
        assert (here is None) == (there is None), figure
        if here is None:
            continue
        later_s = MORE_S if figure in ("start_s", "end_s") else 0.0
        # The zero is known a little better by more rows of it.
        assert there.value - later_s == pytest.approx(here.value, rel=5e-4, abs=0.1 * here.u), figure
        assert there.u == pytest.approx(here.u, rel=0.03), figure
    assert [sign.sign for sign in one.signs] == [sign.sign for sign in other.signs]
    for here, there in zip(one.signs, other.signs, strict=True):
        # Of the lost rows a share of the whole record is told.
        for part in ("at_fraction", "at_fraction_u", "limit", *["value"] * (here.sign != "gaps")):
            before, after = getattr(here, part, None), getattr(there, part, None)
            assert after == (None if before is None else pytest.approx(before, rel=0.01)), part
        if here.from_s is not None:
            assert there.from_s - MORE_S == pytest.approx(here.from_s, abs=0.01)
