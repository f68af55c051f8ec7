"""A ± that isn't known is null, never 0: every figure of records of many kinds; and an end that may be one of two."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest

from tests.core.drawn_strokes import RIG, Drawn, usual_baseline
from throwbook.core.assessment import Measured
from throwbook.core.diagnosis.assess import assess_trace

USUAL = Drawn()
STILL = replace(USUAL, noise_a=0.0, ripple=0.0)


def with_current(drawn, change):
    trace = drawn.trace()
    return replace(trace, current_a=change(trace.current_a))


def part(first, stop):
    trace, rows = USUAL.trace(), slice(first, stop)
    return replace(
        trace, time_s=trace.time_s[rows], current_a=trace.current_a[rows], voltage_v=trace.voltage_v[rows]
    )


def even(trace):
    """Neither noise nor shape: rest, one level, rest, and one voltage."""
    return replace(
        trace,
        current_a=np.where(trace.current_a > 0.5, 1.8, 0.0),
        voltage_v=np.full(len(trace), 12.0),
    )


RECORDS = {
    "usual": USUAL.trace(),
    "without a voltage": replace(USUAL, with_voltage=False).trace(),
    "without noise": STILL.trace(),
    "one level": even(USUAL.trace()),
    "one level of a slow board": even(replace(USUAL, rate_hz=10.0).trace()),
    "two rows a second": replace(USUAL, rate_hz=2.0).trace(),
    "stall": replace(USUAL, stall_from=0.5).trace(),
    "stall at the start": replace(USUAL, stall_from=0.0).trace(),
    "stall without noise": replace(STILL, stall_from=0.0).trace(),
    "starts in a run": part(300, None),
    "ends in a run": part(0, 2000),
    "all of it a run": part(300, 2000),
    "one row of rest": part(119, 2762),
    "start cut off flat": with_current(USUAL, lambda amps: np.minimum(amps, 3.0)),
    "run cut off flat": with_current(USUAL, lambda amps: np.minimum(amps, 1.7)),
    "coarse steps": with_current(STILL, lambda amps: np.round(amps / 0.1) * 0.1),
    "noisy": replace(USUAL, noise_a=0.6).trace(),
    "short": replace(USUAL, run_s=0.3).trace(),
    "jog": replace(USUAL, run_s=0.08).trace(),
}


def measured(value: object, name: str) -> Iterator[tuple[str, Measured]]:
    """Every figure in it, however deep, with its name."""
    if isinstance(value, Measured):
        yield name, value
    elif is_dataclass(value):
        for each in fields(value):
            yield from measured(getattr(value, each.name), f"{name}.{each.name}")
    elif isinstance(value, tuple | list):
        for k, item in enumerate(value):
            yield from measured(item, f"{name}[{k}]")


@pytest.fixture(scope="module")
def baseline():
    return usual_baseline(6)


@pytest.mark.parametrize("kind", RECORDS)
@pytest.mark.parametrize("compared", [False, True])
def test_no_figure_is_known_to_nothing(kind, compared, baseline):
    told = assess_trace(RECORDS[kind], RIG, baseline if compared else None)
    figures = dict(measured(told, "told"))
    assert figures or not told.usable or told.end == "no-run"
    assert not {name: each for name, each in figures.items() if not 0.0 < each.u < np.inf}
    placed = {each.sign: each.at_fraction_u for each in told.signs if each.at_fraction_u is not None}
    assert all(u > 0.0 for u in placed.values()), placed


def dropped(*at_s):
    """A throw with single readings that fall to nothing."""
    trace = USUAL.trace()
    rows = [int(np.searchsorted(trace.time_s, USUAL.start_s + each)) for each in at_s]
    current_a = trace.current_a.copy()
    current_a[rows] = USUAL.offset_a
    return replace(trace, current_a=current_a)


def test_a_reading_that_drops_out_near_the_end_is_no_end_where_others_did_before():
    told = assess_trace(dropped(5.0, USUAL.run_s - 0.05), RIG)
    assert abs(told.figures.travel_time_s.value - USUAL.run_s) <= told.figures.travel_time_s.u


def test_a_lone_row_off_near_the_end_leaves_two_ends_and_both_are_held():
    """A contact's first opening or a reading that dropped out: this record can't tell."""
    opened_s = USUAL.run_s - 0.05
    time_s = assess_trace(dropped(opened_s), RIG).figures.travel_time_s
    assert abs(time_s.value - USUAL.run_s) <= time_s.u
    assert abs(time_s.value - opened_s) <= time_s.u


def test_two_openings_are_a_contact_that_bounces_and_its_first_is_the_end():
    trace = dropped(USUAL.run_s - 0.05, USUAL.run_s - 0.03, USUAL.run_s - 0.02)
    time_s = assess_trace(trace, RIG).figures.travel_time_s
    assert abs(time_s.value - (USUAL.run_s - 0.05)) <= time_s.u < 0.01


@pytest.mark.parametrize("seed", range(8))
def test_in_noise_as_high_as_the_run_a_time_holds_the_ends_it_may_have_had(seed):
    """No row of rest is told beside the movement: its noise is that of the record's rest, not nothing."""
    drawn = replace(USUAL, rate_hz=125.0, noise_a=2.6, level_a=3.0, run_s=5.0, seed=seed)
    time_s = assess_trace(drawn.trace(), RIG).figures.travel_time_s
    assert time_s is None or abs(time_s.value - drawn.run_s) <= time_s.u


@pytest.mark.parametrize("off_s", [0.005, 0.015, 0.025])
def test_brushes_that_were_off_when_the_switch_opened_leave_the_end_open(off_s):
    """They jump for up to 30 ms all the way, and did so right before the end."""
    trace = USUAL.trace()
    since = trace.time_s - USUAL.start_s
    jumps = (since % 0.7 > 0.5) & (since % 0.7 < 0.53) & (since > 0.5)
    jumps |= (since >= USUAL.run_s - off_s) & (since < USUAL.run_s)
    trace = replace(trace, current_a=np.where(jumps & (since < USUAL.run_s), USUAL.offset_a, trace.current_a))
    time_s = assess_trace(trace, RIG).figures.travel_time_s
    assert abs(time_s.value - USUAL.run_s) <= time_s.u
    assert time_s.u < 0.05
