"""Whatever a readable record holds, judging it gives a verdict and a valid JSON line, never a crash."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.made_strokes import RIG, stroke
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.assessment import ENDS, LEVELS, VERDICTS
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.trace import Trace
from throwbook.files.tables import assessment_record, dumps

BASELINE = make_baseline([assess_trace(stroke(seed), RIG) for seed in range(4)])

levels_a = st.sampled_from([0.0, 1e-9, 0.3, 0.9, 2.0, 3.6, 15.0, 1e5, -2.0, -1e5])
levels_v = st.sampled_from([0.0, 6.0, 12.0, 24.0, -12.0, 1e5])


def steps(draw, n, levels):
    """A few levels one after the other, with or without noise."""
    seed, noise = draw(st.integers(0, 999)), draw(st.sampled_from([0.0, 0.01, 0.5, 5.0]))
    edges = sorted(draw(st.lists(st.integers(0, n), max_size=4)))
    values = np.full(n, draw(levels))
    for edge in edges:
        values[edge:] = draw(levels)
    return values + noise * np.random.default_rng(seed).normal(size=n)


@st.composite
def odd_records(draw):
    n = draw(st.integers(1, 300))
    periods = st.sampled_from([1e-4, 0.005, 0.1, 1.0, 60.0])
    time_s = np.cumsum(np.full(n, draw(periods)))
    if draw(st.booleans()):
        time_s[n // 2 :] += 30.0
    voltage_v = steps(draw, n, levels_v) if draw(st.booleans()) else None
    direction = draw(st.sampled_from(["lock", "unlock"]))
    return Trace(time_s, steps(draw, n, levels_a), voltage_v, direction)


@st.composite
def pieces(draw):
    """A part of a throw, thinned out."""
    whole = stroke(draw(st.integers(0, 50)), stalls_at_s=draw(st.sampled_from([None, 10.0])))
    start = draw(st.integers(0, len(whole) - 1))
    part = slice(start, draw(st.integers(start + 1, len(whole))), draw(st.sampled_from([1, 2, 7, 40, 300])))
    return Trace(whole.time_s[part], whole.current_a[part], whole.voltage_v[part], "lock")


@settings(deadline=None)
@pytest.mark.parametrize("baseline", [None, BASELINE], ids=["alone", "with a baseline"])
@given(trace=odd_records() | pieces())
def test_any_record_is_judged(baseline, trace):
    same_way = baseline is not None and baseline.direction == trace.direction
    assessment = assess_trace(trace, RIG, baseline if same_way else None)
    record = json.loads(dumps(assessment_record(assessment)))
    assert record["verdict"] in VERDICTS
    assert record["end"] in ENDS
    assert {sign["level"] for sign in record["signs"]} <= set(LEVELS)
    assert record["because"]
    for name, figure in assessment.figures.items():
        assert figure is None or not figure.u < 0, name


def test_times_count_from_the_first_row_whatever_clock_the_file_has():
    trace = stroke(7)
    late = assess_trace(replace(trace, time_s=trace.time_s + 1.7e9), RIG, BASELINE)
    plain = assess_trace(trace, RIG, BASELINE)
    assert late.figures.start_s.value == pytest.approx(plain.figures.start_s.value, abs=1e-5)
    assert late.figures.end_s.value == pytest.approx(plain.figures.end_s.value, abs=1e-5)
    assert late.inrush_end_s == pytest.approx(plain.inrush_end_s, abs=1e-5)
    assert late.verdict == plain.verdict
