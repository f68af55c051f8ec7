"""What must hold for every record and every rig, drawn at random."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from tests.core.drawn_strokes import RIG, Drawn, healthy, usual_baseline
from tests.drawn import drawn
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.analysis.rest import SAME_LEVEL
from throwbook.core.assessment import ENDS, LEVELS, VERDICTS
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.simulator import (
    FAULTS,
    SimulatedFault,
    ThrowConditions,
    random_machine,
    random_sensor,
    throw,
)
from throwbook.core.trace import Trace

SOME = settings(max_examples=drawn(40, 12), deadline=None, suppress_health_check=[HealthCheck.too_slow])


def well_formed(found) -> None:
    """Words of the contract, finite numbers, no negative uncertainty, places within the stroke."""
    assert found.verdict in VERDICTS
    assert found.end in ENDS
    assert found.because
    for _, figure in found.figures.items():
        if figure is not None:
            assert math.isfinite(figure.value)
            assert math.isfinite(figure.u)
            assert figure.u >= 0.0
    for sign in found.signs:
        assert sign.level in LEVELS
        assert sign.because
        if sign.at_fraction is not None:
            assert 0.0 <= sign.at_fraction <= 1.0
    for check in found.checks:
        assert check.limit_from
    assert found.usable == (found.verdict != "unusable")


@SOME
@given(
    current=hnp.arrays(np.float64, st.integers(0, 300), elements=st.floats(-1e6, 1e6)),
    step=st.floats(1e-5, 1.0),
    with_voltage=st.booleans(),
    data=st.data(),
)
def test_any_numbers_at_all_give_a_well_formed_answer(current, step, with_voltage, data):
    n = len(current)
    volts = data.draw(hnp.arrays(np.float64, n, elements=st.floats(-100, 100))) if with_voltage else None
    well_formed(assess_trace(Trace(np.arange(n) * step, current, volts, "lock"), RIG))


A_LEVEL = st.tuples(
    st.sampled_from([-2.0, -0.6, -0.4, -0.2, 0.0, 0.1, 0.3, 0.6, 0.8, 2.0, 8.0]), st.integers(1, 40)
)


@SOME
# By its own zero, nothing flows at the end of the movement: the search for the level it left never came to an end.
@example(levels=[(-0.04, 6), (-0.4, 4), (0.8, 3), (-0.5, 1), (-0.6, 2)], rate_hz=10.0)
@example(levels=[(0.1, 5), (0.3, 11), (-0.6, 198), (0.34, 366), (0.2, 19), (-0.4, 32)], rate_hz=500.0)
# By the line through its logarithms, what should decay doesn't: its half-life was a division by nothing.
@example(levels=[(0.0, 12), (0.3, 4), (0.22, 10), (3.0, 3)], rate_hz=200.0)
# A break behind a rest: what coasts there was held up by no current, and its time to stop was a division by nothing.
@example(levels=[(-2.0, 1), (2.0, 3), (0.6, 12), (-2.0, 1), (-2.0, 2), (2.0, 7)], rate_hz=100.0)
# The level before a low one was sought in rows before the first, and a fall in rows that were all lower.
@example(levels=[(0.6, 1), (0.5, 3), (1.1, 3), (0.7, 1), (3.4, 5)], rate_hz=10.0)
@example(
    levels=[
        *((3.8, 75), (4.2, 14), (3.8, 2), (0.6, 15), (0.518, 14)),
        *((0.6, 15), (0.518, 3), (0.67, 1), (0.74, 2)),
    ],
    rate_hz=10.0,
)
@given(levels=st.lists(A_LEVEL, min_size=3, max_size=9), rate_hz=st.sampled_from([10.0, 20.0, 100.0, 500.0]))
def test_any_levels_one_after_the_other_give_a_well_formed_answer(levels, rate_hz):
    current_a = np.repeat([level_a for level_a, _ in levels], [rows for _, rows in levels])
    well_formed(assess_trace(Trace(np.arange(len(current_a)) / rate_hz, current_a, None, "lock"), RIG))


def test_an_end_that_moves_back_over_a_break_leaves_a_level_to_compare():
    """What the last break was followed by was no run, and the run that it ended with was then sought in no rows."""
    walk_a = np.cumsum(np.random.default_rng(291).normal(0.0, 0.1, 2000))
    well_formed(assess_trace(Trace(np.arange(2000) / 200.0, walk_a, None, "lock"), RIG))


any_machine_with_any_fault = given(
    seed=st.integers(0, 10_000),
    kind=st.sampled_from(sorted(FAULTS)),
    direction=st.sampled_from(["lock", "unlock"]),
)


@settings(SOME, max_examples=drawn(8, 4))
@any_machine_with_any_fault
def test_any_machine_with_any_fault_gives_a_well_formed_answer(seed, kind, direction):
    judged_well(seed, kind, direction)


@pytest.mark.long
@SOME
@any_machine_with_any_fault
def test_more_machines_with_any_fault_give_a_well_formed_answer(seed, kind, direction):
    judged_well(seed, kind, direction)


def judged_well(seed, kind, direction):
    rng = np.random.default_rng(seed)
    rig, machine = random_machine(rng)
    sensor = random_sensor(rng, machine, rate_hz=100.0)
    well = [throw(machine, direction, ThrowConditions(), sensor, [], rng).trace for _ in range(3)]
    judged = [assess_trace(trace, rig) for trace in well]
    # Whether a healthy throw is judged whole is asked elsewhere (benchmarks strokes, composed).
    whole = [one for one in judged if one.verdict == "pass"]
    baseline = make_baseline(whole) if whole else None
    found = assess_trace(
        throw(machine, direction, ThrowConditions(), sensor, [SimulatedFault(kind)], rng).trace, rig, baseline
    )
    well_formed(found)


@pytest.fixture(scope="module")
def baseline():
    return usual_baseline(6)


drawn = st.builds(
    Drawn,
    level_a=st.floats(1.2, 3.0),
    bump_a=st.sampled_from([0.0, 0.6]),
    rest_s=st.floats(0.3, 1.5),
    run_s=st.floats(8.0, 15.0),
    seed=st.integers(0, 99),
)


def same(a, b, rel=1e-9):
    assert (a.verdict, [s.sign for s in a.signs]) == (b.verdict, [s.sign for s in b.signs])
    same_figures(a, b, rel)


def same_figures(a, b, rel):
    assert a.end == b.end
    for (name, x), (_, y) in zip(a.figures.items(), b.figures.items(), strict=True):
        if name in ("start_s", "end_s"):
            continue
        assert (x is None) == (y is None)
        if x is not None:
            assert y.value == pytest.approx(x.value, rel=rel, abs=1e-9)


@SOME
@given(drawn)
def test_a_sensor_turned_round_changes_nothing(baseline, one):
    trace = one.trace()
    turned = replace(trace, current_a=-trace.current_a)
    same(assess_trace(trace, RIG, baseline), assess_trace(turned, RIG, baseline))


@SOME
@given(drawn, st.floats(-1e4, 1e4))
def test_when_the_record_began_changes_nothing(baseline, one, shift_s):
    trace = one.trace()
    later = replace(trace, time_s=trace.time_s + shift_s)
    same(assess_trace(trace, RIG, baseline), assess_trace(later, RIG, baseline), rel=1e-5)


@SOME
@example(one=Drawn(level_a=2.875, bump_a=0.6, rest_s=1.0, run_s=13.0, seed=0), offset_a=0.125)
@example(one=Drawn(level_a=2.0, rest_s=1.0, run_s=14.0, seed=0), offset_a=0.2)
@given(one=drawn, offset_a=st.floats(-0.2, 0.2))
def test_an_offset_of_the_sensor_changes_no_figure(baseline, one, offset_a):
    trace = one.trace()
    moved = replace(trace, current_a=trace.current_a + offset_a)
    plain, offset = assess_trace(trace, RIG, baseline), assess_trace(moved, RIG, baseline)
    rest_a = abs(one.offset_a + offset_a)
    drift_a = SAME_LEVEL * RIG.actuator.no_load_current_a
    assume(abs(rest_a - drift_a) > one.noise_a)
    if rest_a < drift_a:
        same(plain, offset, rel=1e-6)
    else:
        # It may as well be a current that stops flowing when the motor runs: every limit is less surely met or missed.
        same_figures(plain, offset, rel=1e-6)
        assert offset.figures.run_current_a.u > plain.figures.run_current_a.u
        # A sign that is over its limit by less than the zero leaves open may be gone with it.
        run = offset.figures.run_current_a
        gone = {sign.sign for sign in plain.signs} - {sign.sign for sign in offset.signs}
        nearly = all(
            sign.value - sign.limit <= (run.u if sign.unit == "A" else run.u / run.value)
            for sign in plain.signs
            if sign.sign in gone
        )
        assert offset.verdict in (plain.verdict, "watch") or (gone and nearly)


@SOME
@given(one=drawn, extra=st.floats(0.3, 1.0))
def test_more_load_is_never_judged_lighter(baseline, one, extra):
    light = assess_trace(one.trace(), RIG, baseline)
    heavy = assess_trace(one.but(level_a=one.level_a + extra).trace(), RIG, baseline)
    assert heavy.figures.run_current_a.value > light.figures.run_current_a.value


@SOME
@given(one=drawn)
def test_a_wider_uncertainty_never_turns_undecided_into_a_decision(one):
    from throwbook.core.analysis.figures import Gains

    sharp = assess_trace(one.trace(), RIG, gains=Gains(0.001, 0.001))
    blunt = assess_trace(one.trace(), RIG, gains=Gains(0.05, 0.001))
    for a, b in zip(sharp.checks, blunt.checks, strict=True):
        assert b.decision in (a.decision, "undecided")


TOLD = {
    "plain": Drawn(),
    "noisy": Drawn(noise_a=0.22, ripple=0.0),
    "a little noisy": Drawn(noise_a=0.13, ripple=0.0),
    "binding spot": Drawn(bump_a=1.2),
    "stall": Drawn(stall_from=0.6),
    "weak supply": Drawn(source_ohm=0.5),
    "low supply": Drawn(rest_v=10.4),
    "light": Drawn(level_a=0.95),
    "over its rating": Drawn(level_a=3.9),
    "no voltage": Drawn(with_voltage=False),
    "slow": Drawn(run_s=25.0),
    "short": Drawn(run_s=6.0),
    "slow board": Drawn(rate_hz=15.0),
}
IN_UNITS = {"_a": "A", "_as": "A", "_v": "V", "_vs": "V", "_ohm": "V/A", "_j": "AV"}
"""What a figure is measured in besides time, by the end of its name."""


SHEET = RIG.actuator
OTHER = replace(
    RIG,
    actuator=replace(
        SHEET,
        voltage_v=2.0 * SHEET.voltage_v,
        no_load_current_a=0.25 * SHEET.no_load_current_a,
        full_load_current_a=0.25 * SHEET.full_load_current_a,
        stroke_m=3.0 * SHEET.stroke_m,
        no_load_speed_m_s=3.0 * SHEET.no_load_speed_m_s,
        full_load_speed_m_s=3.0 * (SHEET.full_load_speed_m_s or 0.0),
        rated_force_n=0.5 * SHEET.rated_force_n,
    ),
    lock=replace(RIG.lock, needed_travel_m=3.0 * RIG.lock.needed_travel_m),
)


def as_read(trace, amps, volts):
    """The record of a machine that draws ``amps`` times the current at ``volts`` times the voltage."""
    voltage_v = None if trace.voltage_v is None else volts * trace.voltage_v
    return replace(trace, current_a=amps * trace.current_a, voltage_v=voltage_v)


@cache
def usual(amps, volts):
    rig = RIG if amps == 1.0 else OTHER
    return make_baseline([assess_trace(as_read(trace, amps, volts), rig) for trace in healthy(5, Drawn())])


@pytest.mark.parametrize("against", ["rating", "baseline"])
@pytest.mark.parametrize("name", TOLD)
def test_in_other_units_everything_but_the_units_is_the_same(name, against):
    """A machine of a quarter of the current, twice the voltage, three times the length and half the push, and its record:
    whatever compares a current with a voltage, or with a bare number, answers otherwise."""
    larger = {"A": 0.25, "V": 2.0, "V/A": 8.0, "AV": 0.5}

    def judged(rig, *scaled):
        trace = as_read(TOLD[name].trace(), *scaled)
        return assess_trace(trace, rig, usual(*scaled) if against == "baseline" else None)

    here, there = judged(RIG, 1.0, 1.0), judged(OTHER, 0.25, 2.0)
    assert (there.verdict, there.end) == (here.verdict, here.end)
    assert [(one.sign, one.level) for one in there.signs] == [(one.sign, one.level) for one in here.signs]
    assert [(one.name, one.decision) for one in there.checks] == [
        (one.name, one.decision) for one in here.checks
    ]
    for (figure, one), (_, two) in zip(here.figures.items(), there.figures.items(), strict=True):
        assert (one is None) == (two is None), figure
        if one is not None and two is not None:
            unit = IN_UNITS.get(f"_{figure.rpartition('_')[2]}", "")
            assert two == pytest.approx([larger.get(unit, 1.0) * part for part in one], rel=1e-6), figure
    for one, two in zip(here.signs, there.signs, strict=True):
        for part, scaled in ((one.value, two.value), (one.limit, two.limit)):
            if part is not None:
                factor = larger.get({"ohm": "V/A", "J": "AV"}.get(one.unit, one.unit), 1.0)
                assert scaled == pytest.approx(factor * part, rel=1e-6), one.sign
