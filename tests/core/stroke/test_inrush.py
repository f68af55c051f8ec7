"""The inrush is given where the rows show it, with the sampling in its ±, and is "at least" elsewhere.

The peak of the drawn records is known: it stands at the very moment of switching and decays from there.
"""

import numpy as np
import pytest

from logger.core.stroke.assess import assess_trace
from tests.core.drawn_strokes import RIG, Drawn

PEAK_A = 15.3


def starts(rate_hz, decay_s, n=40):
    """The same start seen at other moments between two rows."""
    rng = np.random.default_rng(8)
    for seed in range(n):
        rest_s = 0.6 + float(rng.uniform(0.0, 1.0 / rate_hz))
        yield Drawn(
            rate_hz=rate_hz, rest_s=rest_s, run_s=6.0, peak_a=PEAK_A, decay_s=decay_s, seed=seed
        ).trace()


@pytest.mark.parametrize("rate_hz", [100, 200, 400, 1000])
@pytest.mark.parametrize("decay_s", [0.03, 0.06, 0.12])
def test_an_inrush_that_is_given_holds_the_true_peak(rate_hz, decay_s):
    told = [assess_trace(trace, RIG).figures.inrush_a for trace in starts(rate_hz, decay_s)]
    off = [abs(one.value - PEAK_A) / one.u for one in told if one is not None]
    assert all(share < 3.0 for share in off)
    assert not off or np.mean(np.array(off) <= 1.0) >= 0.93


@pytest.mark.parametrize("rate_hz", [12, 20, 25, 50])
def test_at_a_low_rate_the_inrush_is_at_least_the_highest_reading(rate_hz):
    for trace in starts(rate_hz, 0.05, 5):
        found = assess_trace(trace, RIG)
        assert found.figures.inrush_a is None
        note = next(note for note in found.notes if "inrush current is at least" in note)
        told_a = float(note.split("at least ")[1].removesuffix(" A"))
        assert told_a == pytest.approx(float(np.max(trace.current_a)), abs=0.05)


def test_at_a_high_rate_the_inrush_is_known_well():
    for trace in starts(1000, 0.06, 5):
        inrush = assess_trace(trace, RIG).figures.inrush_a
        assert inrush is not None
        assert inrush.u < 0.06 * PEAK_A


def test_a_start_without_a_peak_is_at_least_its_highest_reading():
    found = assess_trace(Drawn(peak_a=1.8).trace(), RIG)
    assert found.figures.inrush_a is None
    assert any("inrush current is at least 1." in note for note in found.notes)
