"""A contact that opens in mid-throw, on records drawn by hand; and what only looks like one."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.core.drawn_strokes import ACTUATOR, RIG, Drawn, cut_by_hand, healthy, usual_baseline
from tests.drawn import drawn
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.analysis.breaks import Break, find_breaks
from throwbook.core.analysis.movements import movements_of
from throwbook.core.analysis.residual_current import JOG, PAUSE_S, FullStroke
from throwbook.core.analysis.segmentation import segment
from throwbook.core.analysis.travel import travel
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.machine.motor import motor_line
from throwbook.core.trace import Trace

OF_LOAD = {"binding-spot", "over-rated", "drag", "light-run", "free-play", "uneven-sides", "noisy"}
BASELINE = usual_baseline()

STROKE = FullStroke(volt_seconds=140.0, u=0.05, r_ohm=0.9, nominal_v=12.0, no_load_a=0.9, full_load_a=3.6)


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


def cut(trace):
    return segment(movements_of(trace, RIG, STROKE)[0], ACTUATOR.no_load_current_a)


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


@settings(max_examples=drawn(60, 20), deadline=None)
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
    if at < JOG and lasted_s > PAUSE_S - 2.0 / rate_hz and not with_voltage and found.movements == 2:
        # The stroke is known too badly: a jog before a whole throw looks the same.
        assert (found.verdict, above_info(found)) in (
            ("watch", {"stopped-short"}),
            ("undecided", {"stopped-short"}),
        )
        return
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
    if name == "one row at 10 Hz":
        slow = drawn.but(rate_hz=10.0).trace()
        slow.current_a[60] = 0.02
        return slow
    if name == "healthy at 10 Hz":
        return drawn.but(rate_hz=10.0).trace()
    if name == "so noisy that zero is reached":
        return broken(drawn.but(noise_a=0.25), (0.4, 0.2))
    if name == "so rough that zero is reached":
        rough = trace.current_a * np.random.default_rng(9).choice([0.0, 1.0, 2.0], len(trace))
        return replace(trace, current_a=rough)
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
        "one row at 10 Hz",
        "healthy at 10 Hz",
        "so noisy that zero is reached",
        "so rough that zero is reached",
        "stopped for good",
        "light",
    ],
)
def test_what_only_looks_like_a_break_is_none(name):
    assert "interruption" not in told(assess_trace(unbroken(name), RIG, BASELINE))


def test_a_long_break_without_a_surge_is_not_passed_over():
    long = broken(Drawn(seed=6), (0.4, 0.8), surge=False)
    judged = assess_trace(long, RIG, BASELINE)
    assert "interruption" in told(judged)
    assert judged.verdict != "pass"


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


def test_a_break_is_told_in_readings_too_noisy_for_the_no_load_current():
    found = assess_trace(broken(Drawn(seed=11, noise_a=0.1), (0.4, 0.2)), RIG, BASELINE)
    assert told(found)["interruption"].value == pytest.approx(0.2, abs=0.011)
    assert not above_info(found) & OF_LOAD


def test_a_wild_reading_in_its_midst_does_not_end_a_break():
    trace = broken(Drawn(seed=12), (0.4, 0.3))
    opened = 0.6 + 0.4 * 13.2
    trace.current_a[int((opened + 0.1) * 200)] = 1.5
    sign = told(assess_trace(trace, RIG, BASELINE))["interruption"]
    assert sign.value == pytest.approx(0.3, abs=0.011)
    assert "once" in sign.because


def test_as_many_zeros_as_there_was_current_before_are_a_break_of_the_roughest_run():
    drawn = Drawn(seed=13, ripple=0.4, ripple_hz=83.0)
    base = make_baseline([assess_trace(trace, RIG) for trace in healthy(8, drawn)], reason="drawn")
    assert "interruption" in told(assess_trace(broken(drawn, (0.4, 0.2)), RIG, base))
    assert "interruption" not in told(assess_trace(drawn.trace(), RIG, base))


def test_a_break_just_before_the_end_belongs_to_the_throw():
    found = assess_trace(broken(Drawn(seed=14), (0.985, 0.5)), RIG, BASELINE)
    assert above_info(found) == {"interruption"}
    assert found.figures.travel_fraction.value == pytest.approx(1.0, abs=0.02)


def test_a_break_half_way_through_a_slow_throw_belongs_to_the_throw():
    r_ohm = motor_line(ACTUATOR).r_ohm
    slow = Drawn(seed=15, run_s=16.0)
    emf_v = Drawn().rest_v - Drawn().source_ohm * 1.8 - 1.8 * r_ohm
    slow = slow.but(rest_v=slow.rest_v - emf_v * (1.0 - Drawn().run_s / slow.run_s))
    found = assess_trace(broken(slow, (0.53, 0.6)), RIG, BASELINE)
    assert "interruption" in told(found)
    assert "stopped-short" not in told(found)


@pytest.mark.parametrize(
    ("there_s", "back_s", "says"),
    [(13.2, 0.25, {"stopped-short"}), (13.2, 13.2, set()), (9.0, 9.0, {"stopped-short"})],
)
def test_what_is_sent_back_at_once_is_no_part_of_the_throw(there_s, back_s, says):
    """The board reads the current without its sign: only what both parts would make together tells them apart."""
    first = Drawn(seed=16, run_s=there_s, after_s=0.25).trace()
    second = Drawn(seed=17, run_s=back_s, rest_s=0.25).trace()
    both = replace(
        first,
        time_s=np.arange(len(first) + len(second)) / 200.0,
        current_a=np.concatenate((first.current_a, second.current_a)),
        voltage_v=np.concatenate((first.voltage_v, second.voltage_v)),
    )
    assert above_info(assess_trace(both, RIG, BASELINE)) == says


@pytest.mark.parametrize(("lasted_s", "coasts_s"), [(0.1, 0.0727), (0.25, 0.0917), (0.6, 0.0917)])
def test_how_far_a_motor_coasts_follows_from_the_charge_of_its_start(lasted_s, coasts_s):
    """7.2 A over the run, dying away with 0.05 s: 0.36 A s speed the rotor up. At 40 % of the run 1.8 A (1 + 0.1 sin 2) =
    1.964 A brake it: 0.183 s to a stand, and half of that at full speed. Reckoned by hand."""
    drawn = Drawn(seed=22, rate_hz=1000.0, ripple=0.0)
    found = cut(broken(drawn, (0.4, lasted_s)))
    assert len(found.breaks) == 1
    assert found.breaks[0].coasted_s == pytest.approx(coasts_s, rel=0.05)
    assert found.breaks[0].coasted_u_s == pytest.approx(0.3 * found.breaks[0].coasted_s)


def test_without_a_start_to_learn_from_the_motor_may_have_coasted_all_the_time():
    trace = broken(Drawn(seed=23), (0.4, 0.3))
    late = replace(
        trace, time_s=trace.time_s[300:], current_a=trace.current_a[300:], voltage_v=trace.voltage_v[300:]
    )
    found = cut(late)
    assert found.starts_running
    assert found.breaks[0].coasted_s == pytest.approx(0.15, abs=0.01)
    assert found.breaks[0].coasted_u_s == pytest.approx(0.3 / np.sqrt(12.0), abs=0.01)


def slowly(drawn: Drawn, at: float, lasted_s: float, averages: bool) -> Trace:
    """A broken stroke as a slow board reads it: a point, or the mean over each period."""
    quick = drawn.but(rate_hz=2000.0, noise_a=0.0)
    fine = broken(quick, (at, lasted_s)) if lasted_s else quick.trace()
    rows = int(2000.0 / drawn.rate_hz)
    rng = np.random.default_rng(drawn.seed)
    skipped = int(rng.integers(0, rows))
    n = (len(fine) - skipped) // rows

    def read(values):
        each = values[skipped : skipped + n * rows].reshape(n, rows)
        return each.mean(axis=1) if averages else each[:, -1]

    return replace(
        fine,
        time_s=np.arange(n) / drawn.rate_hz,
        current_a=read(fine.current_a) + rng.normal(0.0, drawn.noise_a, n),
        voltage_v=read(fine.voltage_v),
    )


SLOW_BASELINES = {
    (rate_hz, averages): make_baseline(
        [
            assess_trace(
                slowly(
                    Drawn(rate_hz=rate_hz, seed=100 + k, level_a=1.8 + 0.01 * (k % 4 - 1.5)), 0, 0, averages
                ),
                RIG,
            )
            for k in range(8)
        ],
        reason="drawn",
    )
    for rate_hz in (10.0, 20.0)
    for averages in (False, True)
}


@settings(max_examples=drawn(60, 20), deadline=None)
@given(
    rate_hz=st.sampled_from([10.0, 20.0]),
    averages=st.booleans(),
    at=st.floats(0.12, 0.88),
    periods=st.floats(2.05, 8.0),
    decay_s=st.floats(0.03, 0.1),
    seed=st.integers(1, 1000),
)
@example(rate_hz=10.0, averages=False, at=0.6636460364648472, periods=2.0625, decay_s=0.03, seed=308)
@example(rate_hz=10.0, averages=True, at=0.88, periods=3.0, decay_s=0.09375, seed=1)
def test_at_a_rate_too_low_to_tell_it_is_said_so_and_no_load_is_named(
    rate_hz, averages, at, periods, decay_s, seed
):
    drawn = Drawn(rate_hz=rate_hz, decay_s=decay_s, seed=seed)
    trace = slowly(drawn, at, periods / rate_hz, averages)
    found = assess_trace(trace, RIG, SLOW_BASELINES[rate_hz, averages])
    assert above_info(found) == {"interruption"}
    sign = told(found)["interruption"]
    assert f"At {rate_hz:.0f} samples per second nobody can tell" in sign.because
    assert "surge" not in sign.because
    assert next(d for d in found.diagnoses if d.signs == ("interruption",)).cause.startswith(
        "a contact that opened briefly"
    )


def test_a_surge_after_one_zero_at_25_hz_is_not_a_load_for_certain():
    drawn = Drawn(rate_hz=25.0, seed=21)
    trace = drawn.trace()
    trace.current_a[150] = 0.02
    trace.current_a[151:154] = [5.0, 3.0, 2.2]
    found = assess_trace(trace, RIG, BASELINE)
    assert "At 25 samples per second nobody can tell" in told(found)["interruption"].because
    assert not above_info(found) & OF_LOAD


@pytest.mark.parametrize(("open_s", "breaks"), [(0.029, 0), (0.031, 1), (1.0, 1), (1.04, 0)])
def test_a_break_lasts_longer_than_a_relay_bounces_and_shorter_than_a_switch_let_go(open_s, breaks):
    """30 ms is practice and a second our own: held from both sides."""
    time_s = np.arange(6000) / 1000.0
    current = np.full(6000, 2.0)
    closes = 3000 + round(open_s * 1000)
    current[3000:closes] = 0.0
    current[closes:] += 5.0 * np.exp(-(time_s[closes:] - time_s[closes]) / 0.04)
    assert len(find_breaks(current, time_s, 0, 5999, rest_a=0.3, period_s=0.001)) == breaks


def test_a_break_moves_the_rod_as_far_as_the_motor_coasts():
    """12 V less 2 A x 1 ohm over 10 s are 100 V s; of 0.4 s without current it coasts 0.3 s' worth: 1 V s less."""
    time_s = np.arange(1200) / 100.0
    current_a = np.where((time_s >= 1.0) & (time_s < 11.0), 2.0, 0.0)
    trace = Trace(time_s, current_a, None, "lock")
    whole = cut_by_hand(time_s, current_a, 100, 110, 1099)
    opened = current_a.copy()
    opened[500:540] = 0.0
    gap = cut_by_hand(time_s, opened, 100, 110, 1099, breaks=(Break(500, 540, 545, coasted_s=0.3),))
    volts = np.full(1200, 12.0)
    moved = [travel(trace, one, volts, True, 1.0, None).total_vs for one in (whole, gap)]
    # From row to row a straight line: half of 0.01 s and of what the emf differs by at both sides of the break falls out.
    assert moved == pytest.approx([100.0, 99.0], abs=1e-6)
