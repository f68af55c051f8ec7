"""A contact that opens in mid-throw, on records drawn by hand; and what only looks like one."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.stroke.assess import assess_trace
from logger.core.stroke.baseline import make_baseline
from logger.core.trace import Trace
from tests.core.drawn_strokes import RIG, Drawn, healthy

OF_LOAD = {"binding-spot", "over-rated", "drag", "light-run", "free-play", "uneven-sides", "noisy"}
BASELINE = make_baseline([assess_trace(trace, RIG) for trace in healthy(8)], reason="drawn")


def broken(
    drawn: Drawn, *breaks: tuple[float, float], surge: bool = True, board_before: bool = False
) -> Trace:
    """A drawn stroke whose current breaks off at shares of the run for some seconds: the rod stands, then the motor
    starts anew, with the same start as at the beginning. ``board_before``: the board loses its voltage too."""
    open_s = sum(lasted for _, lasted in breaks)
    whole = drawn.but(after_s=drawn.after_s + open_s).trace()
    time_s = whole.time_s
    moved_s = time_s.copy()  # time without the breaks
    amps = np.zeros(len(time_s), dtype=bool)
    since_s = np.full(len(time_s), np.inf)
    passed_s = 0.0
    for share, lasted in breaks:
        at_s = drawn.start_s + share * drawn.run_s + passed_s
        is_open = (time_s >= at_s) & (time_s < at_s + lasted)
        amps |= is_open
        after = time_s >= at_s + lasted
        since_s[after] = time_s[after] - at_s - lasted
        passed_s += lasted
        moved_s = np.where(is_open, at_s - (passed_s - lasted), np.where(after, time_s - passed_s, moved_s))
    noise = np.random.default_rng(drawn.seed + 1).normal(0.0, drawn.noise_a, len(time_s))
    plain = drawn.but(noise_a=0.0, rate_hz=4000.0).trace()
    rows = np.minimum((moved_s * 4000.0 + 1e-6).astype(int), len(plain) - 1)
    current = plain.current_a[rows].copy()
    running = (moved_s >= drawn.start_s) & (moved_s < drawn.end_s) & ~amps
    if surge:
        current += np.where(running, (drawn.peak_a - drawn.level_a) * np.exp(-since_s / drawn.decay_s), 0.0)
    current = np.where(amps, drawn.offset_a, current) + noise
    volts = drawn.rest_v - drawn.source_ohm * (current - drawn.offset_a)
    if board_before:
        volts = np.where(amps, 0.0, volts)
    return replace(whole, current_a=current, voltage_v=volts if drawn.with_voltage else None)


def told(assessment):
    return {sign.sign: sign for sign in assessment.signs}


def above_info(assessment):
    return {sign.sign for sign in assessment.signs if sign.level != "info"}


def test_a_contact_open_for_a_fifth_of_a_second_is_an_interruption_and_no_load():
    whole = assess_trace(Drawn(seed=3).trace(), RIG, BASELINE)
    found = assess_trace(broken(Drawn(seed=3), (0.26, 0.2)), RIG, BASELINE)
    assert above_info(found) == {"interruption"}
    sign = told(found)["interruption"]
    assert sign.value == pytest.approx(0.2, abs=0.006)
    assert sign.from_s == pytest.approx(0.6 + 0.26 * 13.2, abs=0.006)
    assert sign.at_fraction == pytest.approx(0.26, abs=0.01)
    assert found.verdict == "watch"
    for name in ("run_current_a", "peak_run_current_a"):
        assert getattr(found.figures, name).value == pytest.approx(
            getattr(whole.figures, name).value, rel=0.02
        )


@settings(max_examples=60, deadline=None)
@given(
    lasted_s=st.floats(0.05, 1.0),
    rate_hz=st.sampled_from([50.0, 100.0, 200.0, 400.0, 1000.0]),
    at=st.floats(0.05, 0.95),
    with_voltage=st.booleans(),
    seed=st.integers(1, 1000),
)
def test_wherever_and_however_long_it_is_told_with_its_place_and_no_load(
    lasted_s, rate_hz, at, with_voltage, seed
):
    drawn = Drawn(rate_hz=rate_hz, with_voltage=with_voltage, seed=seed)
    found = assess_trace(broken(drawn, (at, lasted_s)), RIG, BASELINE)
    sign = told(found)["interruption"]
    assert sign.at_fraction == pytest.approx(at, abs=0.02)
    assert sign.value == pytest.approx(lasted_s, abs=2.1 / rate_hz)
    assert not above_info(found) & OF_LOAD
    assert found.end == "cut-off"
    assert "stopped-short" not in told(found)


def test_several_breaks_are_counted():
    found = assess_trace(broken(Drawn(seed=4), (0.2, 0.1), (0.5, 0.4), (0.8, 0.05)), RIG, BASELINE)
    assert above_info(found) == {"interruption"}
    assert "3 times" in told(found)["interruption"].because
    assert told(found)["interruption"].at_fraction == pytest.approx(0.5, abs=0.02)


def test_a_bind_beside_a_break_is_still_told():
    found = assess_trace(broken(Drawn(seed=5, bump_a=0.6, bump_at=0.6), (0.3, 0.2)), RIG, BASELINE)
    assert above_info(found) == {"interruption", "binding-spot"}
    assert told(found)["binding-spot"].at_fraction == pytest.approx(0.6, abs=0.02)


@pytest.mark.parametrize(
    ("drawn", "board_before", "word"),
    [
        (Drawn(), False, "between the board and the motor"),
        (Drawn(), True, "before the board"),
        (Drawn(with_voltage=False), False, "for a moment"),
    ],
)
def test_the_voltage_in_the_break_says_on_which_side_of_the_board(drawn, board_before, word):
    found = assess_trace(broken(drawn, (0.4, 0.2), board_before=board_before), RIG, BASELINE)
    assert [d for d in found.diagnoses if d.signs == ("interruption",) and word in d.cause]


def unbroken(name: str) -> Trace:
    """Records without a contact's break that come near to one."""
    drawn = Drawn(seed=6)
    trace = drawn.trace()
    if name == "lost readings":
        keep = (trace.time_s < 5.0) | (trace.time_s > 5.2)
        return replace(
            trace,
            time_s=trace.time_s[keep],
            current_a=trace.current_a[keep],
            voltage_v=trace.voltage_v[keep],
        )
    if name == "zeros without a surge":
        return broken(drawn, (0.4, 0.2), surge=False)
    if name == "pulses of a drive":
        pulse = (trace.time_s % 0.05 < 0.03) | (trace.current_a < 0.5)
        return replace(trace, current_a=np.where(pulse, trace.current_a * 1.6, 0.02))
    if name == "one row":
        current = trace.current_a.copy()
        current[1000] = 0.0
        return replace(trace, current_a=current)
    if name == "stopped by hand":
        return broken(drawn, (0.4, 2.0))
    if name == "two rows at 10 Hz":
        return broken(drawn.but(rate_hz=10.0), (0.4, 0.2))
    if name == "stopped for good":
        return drawn.but(run_s=6.0).trace()
    return drawn.but(level_a=0.95, run_s=11.8).trace()


@pytest.mark.parametrize(
    "name",
    [
        "lost readings",
        "zeros without a surge",
        "pulses of a drive",
        "one row",
        "stopped by hand",
        "two rows at 10 Hz",
        "stopped for good",
        "light",
    ],
)
def test_what_only_looks_like_a_break_is_none(name):
    assert "interruption" not in told(assess_trace(unbroken(name), RIG, BASELINE))


def test_a_return_stroke_read_without_its_sign_is_not_joined():
    first, second = Drawn(seed=7, after_s=0.4).trace(), Drawn(seed=8, rest_s=0.4).trace()
    both = replace(
        first,
        time_s=np.arange(len(first) + len(second)) / 200.0,
        current_a=np.concatenate((first.current_a, second.current_a)),
        voltage_v=np.concatenate((first.voltage_v, second.voltage_v)),
    )
    found = assess_trace(both, RIG, BASELINE)
    assert above_info(found) == set()
