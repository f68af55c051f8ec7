"""A current that flows at rest and may stop while the motor runs: what two readings of a record disagree on isn't given.

Drawn by hand; the currents and times are invented.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.core.analysis.test_residual_current import NO_LOAD_A, drawn, flat, judged, rows, start
from tests.core.drawn_strokes import RIG, Drawn, healthy
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.analysis.rest import NO_REST, zero_of
from throwbook.core.diagnosis.assess import assess_record, assess_trace
from throwbook.core.quantities.clock import CLOCK_U_KEY
from throwbook.core.rig import Board
from throwbook.errors import InputError

RATE_HZ = 200.0
NAMES = ("travel_time_s", "run_current_a", "peak_run_current_a")


def climbs(lasts_s: float, from_a: float, to_a: float) -> np.ndarray:
    """A drive's ramp."""
    return np.linspace(from_a, to_a, rows(lasts_s, RATE_HZ))


def loud(found) -> set[str]:
    return {sign.sign for sign in found.signs if sign.level != "info"}


def test_a_run_that_falls_to_the_holding_current_in_mid_throw_is_one_movement():
    """A drive ramps up, runs light for a moment a little below what it held its place with, then takes up its load."""
    hold_a = 0.8 * NO_LOAD_A
    (found,) = judged(
        flat(1.5, hold_a, RATE_HZ),
        climbs(0.4, 0.2 * NO_LOAD_A, 2.5 * NO_LOAD_A),
        flat(1.0, 0.65 * NO_LOAD_A, RATE_HZ),
        climbs(0.3, 0.65 * NO_LOAD_A, 2.4 * NO_LOAD_A),
        flat(10.3, 2.4 * NO_LOAD_A, RATE_HZ),
        flat(1.5, hold_a, RATE_HZ),
        rate_hz=RATE_HZ,
    )
    lasted = found.figures.travel_time_s
    assert abs(lasted.value - 12.0) <= lasted.u
    assert "stopped-short" not in loud(found)


@pytest.mark.parametrize("light", [0.97, 1.1])
def test_a_light_run_near_the_holding_current_is_no_jog(light):
    """Nobody can tell a start that runs on light from a jog behind which the drive holds its place with more."""
    hold_a, light_a = 0.84 * NO_LOAD_A, light * NO_LOAD_A
    (found,) = judged(
        flat(1.5, hold_a, RATE_HZ),
        climbs(0.5, light_a, 2.2 * NO_LOAD_A),
        flat(12.0, light_a, RATE_HZ),
        flat(1.5, hold_a, RATE_HZ),
        rate_hz=RATE_HZ,
    )
    lasted = found.figures.travel_time_s
    assert lasted is None or abs(lasted.value - 12.5) <= lasted.u
    assert "stopped-short" not in loud(found)
    assert found.verdict != "pass"


def test_a_start_that_glides_out_of_what_held_before_begins_between_the_two():
    hold_a = 0.14 * NO_LOAD_A
    (found,) = judged(
        flat(1.5, hold_a, RATE_HZ),
        climbs(0.4, hold_a, 2.0 * NO_LOAD_A),
        flat(12.0, 2.0 * NO_LOAD_A, RATE_HZ),
        flat(1.5, hold_a, RATE_HZ),
        rate_hz=RATE_HZ,
    )
    begins = found.figures.start_s
    assert abs(begins.value - 1.5) <= begins.u


def test_a_run_that_is_quieter_than_its_stall_is_no_current_from_before():
    stands = 12.0 + 0.3 * np.sin(1.9 * np.arange(rows(5.0)))
    (found,) = judged(flat(1.0, 0.0), start(0.5, 2.0), flat(3.0, 2.0), stands, flat(1.0, 0.0))
    assert abs(found.figures.start_s.value - 1.0) < 0.05
    (stall,) = [sign for sign in found.signs if sign.sign == "stall"]
    assert stall.at_fraction > 0.1


def test_a_light_run_and_a_loaded_one_with_a_holding_current_between_are_two():
    hold_a = 0.4 * NO_LOAD_A
    light = np.concatenate((start(0.5, 1.1 * NO_LOAD_A), flat(11.0, 1.1 * NO_LOAD_A)))
    loaded = np.concatenate((start(0.5, 2.6), flat(12.0, 2.6)))
    assert len(judged(flat(1.0, 0.0), light, flat(1.0, hold_a), loaded, flat(1.0, hold_a))) == 2


def test_a_drive_that_slows_down_before_a_current_flows_on_ends_with_its_run():
    throw = np.concatenate((start(0.5, 2.6), flat(11.4, 2.6), flat(0.6, 1.2)))
    (found,) = judged(flat(1.0, 0.0), throw, flat(0.8, 0.4 * NO_LOAD_A), flat(1.0, 0.0))
    lasted = found.figures.travel_time_s
    assert 11.9 - lasted.u <= lasted.value <= 12.5 + lasted.u


def test_the_zero_between_two_holding_currents_lies_between_them_whatever_the_offset():
    """±0.08 A held either way, read by a sensor that is 0.04 A off."""
    current_a = np.concatenate((flat(1.0, 0.12), flat(5.0, 2.0), flat(1.0, -0.04)))
    zero = zero_of(current_a, 100, 599, NO_REST, 0.5, 0.001)
    assert abs(zero.level_a - 0.04) <= zero.u_a


def at_the_ranges_end(*parts: np.ndarray):
    """A throw at 25 samples a second on a board that ends at 3 A, and says so."""
    rests = flat(1.0, 0.0, 25.0)
    trace = drawn(rests, *parts, rests, rate_hz=25.0, top_a=3.0)
    (found,) = assess_record(replace(trace, head={"full_scale_a": 3.0}), RIG)
    return found


def test_two_rows_at_the_end_of_the_range_are_the_start_and_leave_the_run_its_figures():
    found = at_the_ranges_end(np.full(2, 5.0), flat(12.5, 2.0, 25.0))
    run = found.figures.run_current_a
    assert abs(run.value - 2.0) <= run.u
    assert found.figures.peak_run_current_a is not None
    assert "clipped" not in loud(found)


def test_a_long_start_at_the_end_of_the_range_may_be_the_load_as_well():
    eased = np.linspace(1.0, 2.2, 60)
    found = at_the_ranges_end(np.full(7, 5.0), eased, flat(10.0, 2.2, 25.0))
    assert "clipped" not in loud(found)
    assert found.figures.peak_run_current_a is None
    assert found.verdict == "undecided"


def test_a_movement_of_one_reading_is_at_least_that_and_never_passes():
    """All of it at one step of a coarse converter, its start too: a steady run that no row shows the start of, or cut off."""
    trace = drawn(flat(1.0, 0.0, 25.0), flat(12.5, 2.07, 25.0), flat(1.0, 0.0, 25.0), rate_hz=25.0)
    step_a = 0.09
    coarse = replace(trace, current_a=step_a * np.round(trace.current_a / step_a))
    (found,) = assess_record(coarse, RIG)
    assert [getattr(found.figures, name) for name in NAMES[1:]] == [None, None]
    assert found.verdict != "pass"


def test_a_throw_that_an_unread_supply_explains_is_undecided():
    """As if the baseline's day had a running engine and this one an empty battery: 18 % more time."""
    first = healthy(4, Drawn(with_voltage=False), spread=0.001)
    base = make_baseline([assess_trace(trace, RIG) for trace in first])
    found = assess_trace(Drawn(with_voltage=False, run_s=13.2 * 0.83, seed=9).trace(), RIG, base)
    assert [sign.level for sign in found.signs if sign.sign == "stopped-short"] == ["info"]
    assert found.verdict == "undecided"
    assert "Measure the voltage too" in found.because
    short = assess_trace(Drawn(with_voltage=False, run_s=13.2 * 0.7, seed=9).trace(), RIG, base)
    assert "stopped-short" in loud(short)


def test_a_baseline_refuses_a_throw_of_another_stroke():
    trials = [assess_trace(trace, RIG) for trace in healthy(4)]
    jog = assess_trace(Drawn(run_s=0.6, seed=3).trace(), RIG)
    assert jog.figures.back_emf_vs is not None
    with pytest.raises(InputError, match="of what the others did"):
        make_baseline([*trials, jog])


def test_a_throw_that_its_clock_alone_makes_whole_is_undecided():
    """The board's clock jumped by a tenth of the throw, and its sample numbers say so."""
    base = make_baseline([assess_trace(trace, RIG) for trace in healthy(4, spread=0.001)])
    short = Drawn(run_s=13.2 * 0.88, seed=9).trace()
    jump_s = 1.3
    later = np.where(short.time_s > 6.0, jump_s, 0.0)
    head = {"clock": "parts from its numbers", CLOCK_U_KEY: jump_s, "rate_asked_hz": 200.0, "lost_samples": 0}
    found = assess_trace(replace(short, time_s=short.time_s + later, head=head), RIG, base)
    assert found.verdict == "undecided"
    assert "if the board's clock is off" in found.because


def test_a_short_throw_on_a_baseline_that_scatters_is_undecided():
    """Four throws whose travels differ by a sixth let no throw of seven eighths pass."""
    lasted_s = (12.0, 13.0, 14.0, 12.6)
    trials = [assess_trace(Drawn(run_s=each, seed=k).trace(), RIG) for k, each in enumerate(lasted_s)]
    found = assess_trace(Drawn(run_s=12.9 * 0.87, seed=9).trace(), RIG, make_baseline(trials))
    assert found.verdict == "undecided"
    assert "the baseline's own throws differ by more than is missing" in found.because


def test_a_light_run_against_a_standing_current_is_driven_and_no_rest():
    """Behind a reversing switch the motor's current lowers what stands: at twice that it reads the same, the other way."""
    light_a = 1.1 * NO_LOAD_A
    standing_a = 0.5 * light_a
    throw = np.concatenate(
        (start(0.25, light_a, RATE_HZ), flat(2.0, light_a, RATE_HZ), flat(10.2, 2.4, RATE_HZ))
    )
    rest = flat(1.5, 0.0, RATE_HZ)
    trace = drawn(rest, -throw, rest, rate_hz=RATE_HZ)
    moving = (trace.time_s >= 1.5) & (trace.time_s < 1.5 + len(throw) / RATE_HZ)
    volts = np.where(moving, -12.0, 0.0)
    signed = replace(RIG, board=Board(placed_in="motor"))
    found = assess_record(replace(trace, current_a=trace.current_a + standing_a, voltage_v=volts), signed)
    assert len(found) == 1
    assert "stopped-short" not in loud(found[0])


def test_a_blind_throw_is_not_slow_for_what_flowed_at_rest():
    """Taken off though it stops as the motor runs, it makes a loaded throw read lighter than it is, and so too slow."""
    hold_a = 0.9
    weak = replace(RIG, actuator=replace(RIG.actuator, full_load_speed_m_s=0.004))
    first = healthy(4, Drawn(level_a=2.6, with_voltage=False), spread=0.001)
    base = make_baseline([assess_trace(trace, weak) for trace in first])
    one = Drawn(level_a=2.6, with_voltage=False, rest_s=2.0, after_s=2.0, seed=9)
    trace = one.trace()
    rests = (trace.time_s < one.start_s) | (trace.time_s >= one.end_s)
    found = assess_trace(replace(trace, current_a=trace.current_a + np.where(rests, hold_a, 0.0)), weak, base)
    assert "slow-travel" not in loud(found)


@pytest.mark.parametrize("hold", [0.7, 0.95])
@pytest.mark.parametrize(("above_a", "noise_a"), [(0.05, 0.02), (0.14, 0.05)])
def test_a_light_start_at_the_level_that_held_before_is_no_break(above_a, noise_a, hold):
    """Behind its inrush the motor runs for a tenth of a second near what flowed at rest, and then takes up its load."""
    hold_a = hold * NO_LOAD_A
    light_a = hold_a + above_a
    throw = np.concatenate((start(0.3, light_a), flat(0.1, light_a), start(12.5, 2.9, peak_a=4.5)))
    (found,) = judged(flat(1.5, hold_a), throw, flat(1.5, hold_a), noise_a=noise_a)
    assert "interruption" not in loud(found)


@pytest.mark.parametrize("rate_hz", [10.0, 100.0])
def test_two_throws_with_a_weak_current_between_are_two_whatever_the_sensor_reads_at_rest(rate_hz):
    """No motor turns at what flows between them, nor at all that is read: they don't hang together."""
    offset_a, hold_a = 0.18 * NO_LOAD_A, 0.25 * NO_LOAD_A
    throw = np.concatenate((np.full(1, 6.0), flat(12.5, 2.0, rate_hz)))
    found = judged(
        flat(2.0, offset_a, rate_hz),
        offset_a + throw,
        flat(2.4, offset_a + hold_a, rate_hz),
        offset_a + throw,
        flat(2.0, offset_a + hold_a, rate_hz),
        rate_hz=rate_hz,
    )
    assert len(found) == 2
    for each in found:
        assert abs(each.figures.travel_time_s.value - 12.5) <= each.figures.travel_time_s.u + 1.0 / rate_hz
