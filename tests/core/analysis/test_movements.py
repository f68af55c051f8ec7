"""A record of several movements: every one of them is found and judged, the worst stands for the record."""

import time
from dataclasses import replace

import numpy as np
import pytest

from tests.core.drawn_strokes import RIG, Drawn, healthy, usual_baseline
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.diagnosis.assess import assess_record, assess_trace, cut, judge_throw
from throwbook.core.rig import Board
from throwbook.core.trace import Trace
from throwbook.errors import InputError

LOCK_BASELINE = usual_baseline()
UNLOCK_BASELINE = make_baseline(
    [assess_trace(trace, RIG) for trace in healthy(8, Drawn(direction="unlock"))], "drawn"
)
BASELINES = {"lock": LOCK_BASELINE, "unlock": UNLOCK_BASELINE}
BLIND = {
    direction: make_baseline(
        [assess_trace(trace, RIG) for trace in healthy(8, Drawn(direction=direction, with_voltage=False))],
        "drawn",
    )
    for direction in ("lock", "unlock")
}
"""Without a voltage channel."""
GOOD = Drawn()
STALL = Drawn(stall_from=0.4, run_s=7.0, seed=2)
SHORT = Drawn(run_s=7.0, seed=3)
LIGHT = Drawn(level_a=0.9, run_s=11.8, seed=4)
JOG = Drawn(run_s=0.6, seed=5)
STOOD = Drawn(stall_from=-1.0, run_s=2.0, seed=6)
"""It never moved, and somebody let go after two seconds."""


def joined(*drawn: Drawn, rest_s: float = 1.0, rate_hz: float = 200.0, noise_a: float = 0.01) -> Trace:
    """One record of all of them, one after the other with ``rest_s`` between."""
    parts = []
    for number, each in enumerate(drawn):
        before = each.rest_s if number == 0 else 0.5 * rest_s
        after = each.after_s if number == len(drawn) - 1 else 0.5 * rest_s
        parts.append(each.but(rest_s=before, after_s=after, rate_hz=rate_hz, noise_a=noise_a).trace())
    rows = sum(map(len, parts))
    return replace(
        parts[0],
        time_s=np.arange(rows) / rate_hz,
        current_a=np.concatenate([part.current_a for part in parts]),
        voltage_v=np.concatenate([part.voltage_v for part in parts]),
    )


def loud(assessment):
    return {sign.sign for sign in assessment.signs if sign.level != "info"}


@pytest.mark.parametrize("rest_s", [0.5, 1.0, 5.0])
@pytest.mark.parametrize("rate_hz", [50.0, 200.0, 1000.0])
@pytest.mark.parametrize(
    ("second", "says"), [(STALL, "stall"), (SHORT, "stopped-short"), (LIGHT, "light-run"), (STOOD, "stall")]
)
def test_what_follows_a_good_throw_is_judged_too(second, says, rate_hz, rest_s):
    record = joined(GOOD, second, rest_s=rest_s, rate_hz=rate_hz)
    first, then = assess_record(record, RIG, BASELINES)
    assert (first.movement, first.movements, then.movement, then.movements) == (1, 2, 2, 2)
    assert first.verdict == "pass"
    assert (loud(then), then.verdict) == ({says}, "fail")


def test_the_worst_movement_stands_for_the_record():
    whole = assess_trace(joined(GOOD, STALL, GOOD.but(seed=8)), RIG, LOCK_BASELINE)
    assert (whole.verdict, whole.movement, loud(whole)) == ("fail", 2, {"stall"})
    assert "3 movements" in whole.notes[0]


def test_a_record_of_one_movement_has_one_and_one():
    (only,) = assess_record(GOOD.trace(), RIG, BASELINES)
    assert (only.movement, only.movements, only.verdict) == (1, 1, "pass")


def test_times_count_from_the_first_row_of_the_record():
    found = assess_record(joined(GOOD, STALL, rest_s=2.0), RIG, BASELINES)
    assert found[1].figures.start_s.value == pytest.approx(0.6 + 13.2 + 2.0, abs=0.01)


def test_a_throw_kept_by_itself_is_judged_again_as_in_its_record():
    record = joined(GOOD, JOG, GOOD.but(seed=8), STALL, rest_s=1.5)
    throws = [judge_throw(one, RIG, BASELINES) for one in cut(record, RIG, BASELINES)]
    assert [trace.movement for trace, _ in throws] == [1, 2, 3, 4]
    for trace, assessment in throws:
        baseline = BASELINES.get(trace.direction)
        again = assess_trace(trace, RIG, baseline)
        assert trace.time_s[0] == 0.0
        assert (again.verdict, loud(again)) == (assessment.verdict, loud(assessment))
        for (name, figure), (_, before) in zip(
            again.figures.items(), assessment.figures.items(), strict=True
        ):
            assert figure == (None if before is None else pytest.approx(before)), name
        assert (again.movement, again.movements) == (assessment.movement, 4)


@pytest.mark.parametrize("fitted", [("left_switch", "right_switch"), ("right_switch",), ()])
def test_a_movement_keeps_the_switches_and_the_probe_of_its_own_rows(fitted):
    record = joined(GOOD, GOOD.but(seed=8))
    rows = np.arange(len(record))
    channels = {"left_switch": rows > 400, "right_switch": rows % 7 == 0, "temperature_c": 0.1 * rows}
    record = replace(record, **{name: channels[name] for name in (*fitted, "temperature_c")})
    for each in cut(record, RIG, BASELINES):
        first = round(each.trace.temperature_c[0] / 0.1)
        own = slice(first, first + len(each.trace))
        np.testing.assert_array_equal(each.trace.current_a, record.current_a[own])
        for name in channels:
            kept = getattr(each.trace, name)
            if name not in (*fitted, "temperature_c"):
                assert kept is None
            else:
                np.testing.assert_array_equal(kept, channels[name][own])


def test_a_board_with_signs_tells_the_direction():
    signed = replace(RIG, board=Board(placed_in="motor"))
    back = GOOD.but(sign=-1, seed=7)
    found = assess_record(joined(GOOD, back, GOOD.but(seed=9)), signed, BASELINES)
    assert [each.direction for each in found] == ["lock", "unlock", "lock"]


def test_after_a_whole_throw_a_whole_one_can_only_go_back():
    found = assess_record(joined(GOOD, GOOD.but(seed=7)), RIG, BASELINES)
    assert [each.direction for each in found] == ["lock", "unlock"]


def test_where_the_direction_is_not_known_it_is_judged_both_ways():
    found = assess_record(joined(SHORT, SHORT.but(seed=7)), RIG, BASELINES)
    assert found[1].direction == "lock"
    assert any("judged both ways" in note for note in found[1].notes)


def test_a_jog_before_a_whole_throw_is_watched_and_alone_it_fails():
    before = assess_record(joined(JOG, GOOD), RIG, BASELINES)
    assert [(loud(each), each.verdict) for each in before] == [({"stopped-short"}, "watch"), (set(), "pass")]
    alone = assess_record(JOG.trace(), RIG, BASELINES)
    assert [(loud(each), each.verdict) for each in alone] == [({"stopped-short"}, "fail")]
    after = assess_record(joined(GOOD, JOG), RIG, BASELINES)
    assert [each.verdict for each in after] == ["pass", "fail"]


def test_a_baseline_of_the_other_direction_is_refused():
    with pytest.raises(InputError, match="baseline is of lock throws"):
        assess_trace(Drawn(direction="unlock").trace(), RIG, LOCK_BASELINE)


@pytest.mark.parametrize("rest_s", [0.4, 0.6, 0.9])
@pytest.mark.parametrize("slower", [1.0, 0.97])
def test_a_jog_right_before_a_whole_throw_is_no_break_of_it(slower, rest_s):
    """Without a voltage the stroke is known to a tenth: a whole throw may read as less, and lacks nothing for that."""
    jog, whole = (each.but(with_voltage=True, run_s=slower * each.run_s) for each in (JOG, GOOD.but(seed=8)))
    record = replace(joined(jog, whole, rest_s=rest_s), voltage_v=None)
    found = assess_record(record, RIG, BLIND)
    assert [loud(each) for each in found] == [{"stopped-short"}, set()]
    assert [each.verdict for each in found] == ["watch", "pass"]


@pytest.mark.parametrize("rest_s", [0.4, 0.9])
def test_a_jog_before_a_throw_that_the_record_cuts_off_is_told(rest_s):
    """How much of the stroke the second one made isn't known, so nothing says that both are one."""
    record = joined(JOG, GOOD.but(seed=8), rest_s=rest_s)
    rows = record.time_s < 0.6 + JOG.run_s + rest_s + 0.8 * GOOD.run_s
    cut_off = replace(
        record,
        time_s=record.time_s[rows],
        current_a=record.current_a[rows],
        voltage_v=record.voltage_v[rows],
    )
    found = assess_record(cut_off, RIG, BASELINES)
    assert [loud(each) for each in found] == [{"stopped-short"}, {"cut-record"}]


@pytest.mark.parametrize("rate_hz", [100.0, 400.0])
def test_what_settles_after_a_stop_does_not_shorten_the_rest_before_the_next_throw(rate_hz):
    record = joined(Drawn(run_s=1.9, seed=5), GOOD.but(seed=8), rest_s=0.4, rate_hz=rate_hz)
    since = record.time_s - 0.6 - 1.9 - 0.05
    bump = np.where((since >= 0) & (since < 0.1), 0.9 * np.sin(np.pi * since / 0.1), 0.0)
    found = assess_record(replace(record, current_a=record.current_a + bump, voltage_v=None), RIG, BLIND)
    assert [loud(each) for each in found] == [{"stopped-short"}, set()]


@pytest.mark.parametrize("rate_hz", [50.0, 200.0])
def test_what_settles_in_a_pause_does_not_shorten_it(rate_hz):
    """A drive stopped for half a second and ramped up again is one throw broken off; its own settling is no current of a run."""
    first = Drawn(run_s=7.4, peak_a=1.8, seed=5)
    record = joined(first, Drawn(run_s=6.0, peak_a=1.8, seed=8), rest_s=0.5, rate_hz=rate_hz)
    since = record.time_s - 0.6 - first.run_s - 0.12
    bump = np.where((since >= 0) & (since < 0.12), 0.9 * np.sin(np.pi * since / 0.12), 0.0)
    (found,) = assess_record(replace(record, current_a=record.current_a + bump), RIG, BASELINES)
    assert "interruption" in loud(found)


@pytest.mark.parametrize("rate_hz", [100.0, 400.0])
def test_a_drive_still_settling_when_the_next_throw_begins_joins_nothing(rate_hz):
    record = joined(GOOD, GOOD.but(seed=8), rest_s=0.32, rate_hz=rate_hz)
    since = record.time_s - 0.6 - GOOD.run_s - 0.1
    bump = np.where((since >= 0) & (since < 0.16), 0.9 * np.sin(np.pi * since / 0.16), 0.0)
    found = assess_record(replace(record, current_a=record.current_a + bump), RIG, BASELINES)
    assert [each.end for each in found] == ["cut-off", "cut-off"]
    for each in found:
        assert each.figures.travel_time_s.value == pytest.approx(GOOD.run_s, abs=2.0 / rate_hz)


@pytest.mark.parametrize("rate_hz", [200.0, 1000.0])
@pytest.mark.parametrize("flows_a", [0.24, 0.27, 0.3])
def test_a_weak_current_after_a_jog_is_no_movement(flows_a, rate_hz):
    """It flickers about what counts as a movement at all; no motor turns at it."""
    drawn = JOG.but(rate_hz=rate_hz, noise_a=0.03, after_s=4.0)
    trace = drawn.trace()
    on = (trace.time_s >= drawn.end_s) & (trace.time_s < drawn.end_s + 2.5)
    found = assess_record(
        replace(trace, current_a=trace.current_a + np.where(on, flows_a, 0.0)), RIG, BASELINES
    )
    assert [loud(each) - {"noisy"} for each in found] == [{"stopped-short"}]
    assert found[0].figures.end_s.value == pytest.approx(drawn.end_s, abs=1.5 / rate_hz)


@pytest.mark.parametrize("gone_s", [0.5, 3.0])
@pytest.mark.parametrize("drawn", [GOOD, STALL])
def test_a_sensor_that_does_not_answer_ends_no_movement(drawn, gone_s):
    trace = drawn.trace()
    gone = (trace.time_s > 4.0) & (trace.time_s < 4.0 + gone_s)
    told = {"board_faults": [{"code": "sensor-absent", "text": "no answer", "at_s": 4.05}]}
    found = assess_record(
        replace(trace, current_a=np.where(gone, 0.0, trace.current_a), head=told), RIG, BASELINES
    )
    assert len(found) == 1
    assert "did not answer" in found[0].because


@pytest.mark.parametrize("holds_a", [0.3, 0.5])
def test_a_holding_current_on_both_sides_is_not_the_zero_where_the_record_shows_one(holds_a):
    """A drive holds its place from its first throw on: from there the rest of the record is no rest of the sensor."""
    record = joined(GOOD, GOOD.but(seed=7), GOOD.but(seed=8), rest_s=2.0)
    starts = [0.6 + number * (GOOD.run_s + 2.0) for number in range(3)]
    moving = np.any([(record.time_s >= at) & (record.time_s < at + GOOD.run_s) for at in starts], axis=0)
    holds = ~moving & (record.time_s > starts[0])
    record = replace(record, current_a=record.current_a + np.where(holds, holds_a, 0.0))
    throws = [judge_throw(one, RIG, BASELINES) for one in cut(record, RIG, BASELINES)]
    assert [loud(each) for _, each in throws] == [set()] * 3
    usual = throws[0][1].figures.run_current_a
    for trace, each in throws[1:]:
        run = each.figures.run_current_a
        assert abs(run.value - usual.value) < run.u
        assert run.u > holds_a  # it may as well flow on beside the run
        again = assess_trace(trace, RIG, BASELINES[trace.direction])
        assert (again.verdict, again.figures.run_current_a) == (each.verdict, pytest.approx(run, rel=0.01))


@pytest.mark.parametrize("rate_hz", [100.0, 400.0])
@pytest.mark.parametrize("lasts_s", [0.2, 0.35, 0.6])
def test_a_drive_that_brakes_down_a_ramp_makes_no_movement_the_other_way(lasts_s, rate_hz):
    """A board at the motor reads what brakes it with the other sign, right behind the run."""
    drawn = GOOD.but(rate_hz=rate_hz, after_s=2.0)
    trace = drawn.trace()
    since = trace.time_s - drawn.end_s - 0.02
    brakes_a = np.where((since >= 0) & (since < lasts_s), -1.2 * (1.0 - since / lasts_s), 0.0)
    signed = replace(RIG, board=Board(placed_in="motor"))
    found = assess_record(replace(trace, current_a=trace.current_a + brakes_a), signed, BASELINES)
    assert [each.verdict for each in found] == ["pass"]
    assert found[0].figures.end_s.value == pytest.approx(drawn.end_s, abs=1.5 / rate_hz)


@pytest.mark.parametrize("rate_hz", [50.0, 200.0, 1000.0])
@pytest.mark.parametrize("rest_s", [0.35, 0.6])
def test_a_motor_braked_by_its_own_switch_does_not_begin_the_next_throw(rest_s, rate_hz):
    """A board at the motor reads the pulse with the sign of the throw back, which begins soon after."""
    signed = replace(RIG, board=Board(placed_in="motor"))
    record = joined(GOOD, GOOD.but(seed=8, sign=-1), rest_s=rest_s, rate_hz=rate_hz)
    since = record.time_s - 0.6 - GOOD.run_s
    pulse_a = np.where(since >= 0.0, -5.0 * np.exp(-np.maximum(since, 0.0) / 0.04), 0.0)
    found = assess_record(replace(record, current_a=record.current_a + pulse_a), signed, BASELINES)
    assert [each.end for each in found] == ["cut-off", "cut-off"]
    for each in found:
        assert each.figures.travel_time_s.value == pytest.approx(GOOD.run_s, abs=2.0 / rate_hz)
        assert "interruption" not in loud(each)


@pytest.mark.parametrize("offset_a", [0.02, 0.2, -0.2])
@pytest.mark.parametrize("rate_hz", [100.0, 400.0])
def test_what_settles_behind_a_braking_pulse_is_no_movement_and_lengthens_none(rate_hz, offset_a):
    """A sensor that reads something at rest makes no difference: what flows the other way isn't that."""
    drawn = GOOD.but(rate_hz=rate_hz, after_s=2.0, offset_a=offset_a)
    trace = drawn.trace()
    since = trace.time_s - drawn.end_s
    pulse_a = np.where((since >= 0.0) & (since < 0.08), -4.0, 0.0)
    bump_a = np.where((since >= 0.1) & (since < 0.25), 0.9 * np.sin(np.pi * (since - 0.1) / 0.15), 0.0)
    signed = replace(RIG, board=Board(placed_in="motor"))
    record = replace(trace, current_a=trace.current_a + pulse_a + bump_a)
    (found,) = assess_record(record, signed, BASELINES)
    assert found.verdict == "pass"
    assert found.figures.travel_time_s.value == pytest.approx(GOOD.run_s, abs=2.0 / rate_hz)


def test_a_drive_that_holds_with_the_sign_of_its_last_movement_has_its_zero_between():
    drawn = GOOD.but(rest_s=2.0, after_s=2.0)
    trace = drawn.trace()
    holds_a = np.where(trace.time_s < drawn.start_s, -0.3, 0.0) + np.where(
        trace.time_s >= drawn.end_s, 0.3, 0.0
    )
    plain = assess_record(trace, RIG, BASELINES)[0].figures.run_current_a
    (found,) = assess_record(replace(trace, current_a=trace.current_a + holds_a), RIG, BASELINES)
    assert (found.verdict, loud(found)) == ("pass", set())
    assert abs(found.figures.run_current_a.value - plain.value) < 0.02


@pytest.mark.parametrize("before", [1, -1])
@pytest.mark.parametrize("holds_a", [0.3, 0.5, 0.8])
@pytest.mark.parametrize(("second", "says"), [(JOG, "stopped-short"), (STALL, "stall"), (GOOD, None)])
def test_between_two_ways_a_drive_that_holds_its_place_is_at_rest(second, says, holds_a, before):
    """It holds with the sign of its last movement, so the record has two rests, far from each other."""
    back = second.but(sign=-1, after_s=2.0)
    trace = joined(GOOD, back, rest_s=2.0)
    since, middle_s = trace.time_s, GOOD.end_s + 2.0
    signs = np.where(since < GOOD.start_s, before, 0) + np.where(
        (since >= GOOD.end_s) & (since < middle_s), 1, 0
    )
    signs = signs - np.where(since >= middle_s + back.run_s, 1, 0)
    record = replace(trace, current_a=trace.current_a + holds_a * signs)
    signed = replace(RIG, board=Board(placed_in="motor"))
    found = assess_record(record, signed, BASELINES)
    assert [each.direction for each in found] == ["lock", "unlock"]
    assert found[0].figures.travel_time_s.value == pytest.approx(GOOD.run_s, abs=0.02)
    assert loud(found[1]) == ({says} if says else set())


def test_a_lone_reading_of_nothing_does_not_make_two_throws_of_an_endless_run():
    """Light, for two strokes and more: both parts are whole throws, and nobody lets go for one row."""
    trace = Drawn(level_a=0.92, run_s=26.0, after_s=0.0, peak_a=3.0).trace()
    dropped_a = trace.current_a.copy()
    dropped_a[int(14.0 * 200)] = 0.02
    (found,) = assess_record(replace(trace, current_a=dropped_a), RIG)
    assert found.end == "still-running"


def test_what_flowed_at_rest_may_explain_a_lighter_run():
    """It holds its place with 0.4 A between its throws, and nobody knows whether they flow in the throw as well."""
    drawn = GOOD.but(rest_s=2.0, after_s=2.0)
    trace = drawn.trace()
    rests = (trace.time_s < drawn.start_s) | (trace.time_s >= drawn.end_s)
    (found,) = assess_record(
        replace(trace, current_a=trace.current_a + np.where(rests, 0.4, 0.0)), RIG, BASELINES
    )
    assert (found.verdict, loud(found)) == ("pass", set())
    assert found.figures.run_current_a.u > 0.4


def test_an_idle_run_beside_a_standing_current_is_told_although_it_may_be_a_loaded_one():
    (found,) = assess_record(LIGHT.but(offset_a=0.8, rest_s=2.0, after_s=2.0).trace(), RIG, BASELINES)
    assert [sign.level for sign in found.signs if sign.sign == "light-run"] == ["watch"]


@pytest.mark.parametrize("rate_hz", [50.0, 200.0, 1000.0])
@pytest.mark.parametrize("holds_a", [0.35, 0.5])
def test_a_jog_and_a_throw_with_a_weak_current_between_are_two(holds_a, rate_hz):
    """The jog was cut off at once; the start of a run lighter than its rating dies away down to it."""
    trace = joined(JOG, GOOD, rest_s=1.5, rate_hz=rate_hz)
    begins_s = JOG.end_s + 1.5
    between = (trace.time_s >= JOG.end_s) & (trace.time_s < begins_s)
    record = replace(trace, current_a=trace.current_a + np.where(between, holds_a, 0.0))
    jog, throw = assess_record(record, RIG, BASELINES)
    assert (loud(jog), loud(throw), throw.verdict) == ({"stopped-short"}, set(), "pass")
    assert throw.figures.start_s.value == pytest.approx(begins_s, abs=1.01 / rate_hz)


@pytest.mark.parametrize("rate_hz", [50.0, 200.0])
@pytest.mark.parametrize("flows_a", [0.6, 0.8])
def test_what_flows_calmly_between_two_throws_parts_them_although_a_motor_might_turn_at_it(flows_a, rate_hz):
    trace = joined(GOOD, GOOD.but(seed=8), rest_s=1.5, rate_hz=rate_hz)
    between = (trace.time_s >= GOOD.end_s) & (trace.time_s < GOOD.end_s + 1.5)
    record = replace(trace, current_a=trace.current_a + np.where(between, flows_a, 0.0))
    first, then = assess_record(record, RIG, BASELINES)
    assert (first.verdict, then.verdict) == ("pass", "pass")
    assert first.figures.end_s.value == pytest.approx(GOOD.end_s, abs=1.01 / rate_hz)
    assert then.figures.start_s.value == pytest.approx(GOOD.end_s + 1.5, abs=1.01 / rate_hz)


@pytest.mark.parametrize(("rest_s", "is_its_own_s"), [(0.4, 0.2), (0.5, 0.25), (1.5, 1.2)])
def test_a_throw_kept_by_itself_has_the_rest_before_it_but_for_what_settles_after_the_one_before(
    rest_s, is_its_own_s
):
    """Up to 0.3 s belong to the end before it (contract, section 7), of a shorter rest the first half."""
    _, then = cut(joined(GOOD, GOOD.but(seed=8), rest_s=rest_s), RIG, BASELINES)
    _, judged = judge_throw(then, RIG, BASELINES)
    assert judged.figures.start_s.value == pytest.approx(is_its_own_s, abs=0.011)


SHORT_JOG = JOG.but(run_s=0.25)


@pytest.mark.parametrize(("begins_s", "lasts_s", "height"), [(0.04, 0.1, 1.0), (0.05, 0.15, 0.5)])
def test_what_bounces_or_settles_after_a_jog_does_not_lengthen_it(begins_s, lasts_s, height):
    trace = joined(SHORT_JOG, GOOD)
    since = trace.time_s - SHORT_JOG.end_s - begins_s
    again = np.where((since >= 0.0) & (since < lasts_s), height * JOG.level_a, 0.0)
    jog, _ = assess_record(replace(trace, current_a=trace.current_a + again), RIG, BASELINES)
    assert jog.figures.travel_time_s.value == pytest.approx(SHORT_JOG.run_s, abs=0.02)


def test_a_motor_braked_after_a_jog_does_not_begin_the_throw_back():
    trace = joined(SHORT_JOG, GOOD.but(sign=-1), rest_s=0.4)
    since = trace.time_s - SHORT_JOG.end_s
    pulse_a = np.where(since >= 0.0, -4.0 * np.exp(-np.maximum(since, 0.0) / 0.03), 0.0)
    signed = replace(RIG, board=Board(placed_in="motor"))
    _, throw = assess_record(replace(trace, current_a=trace.current_a + pulse_a), signed, BASELINES)
    assert (throw.verdict, loud(throw)) == ("pass", set())
    assert throw.figures.start_s.value == pytest.approx(SHORT_JOG.end_s + 0.4, abs=0.01)


def test_brushes_that_jump_from_the_start_on_end_no_throw():
    """Nothing for a few rows again and again, from 0.1 s after the start."""
    trace = GOOD.trace()
    since = trace.time_s - GOOD.start_s
    off = (since > 0.1) & (np.mod(since, 0.14) > 0.11)
    found = assess_record(replace(trace, current_a=np.where(off, 0.02, trace.current_a)), RIG, BASELINES)
    assert len(found) == 1
    assert found[0].figures.travel_time_s.value == pytest.approx(GOOD.run_s, abs=0.05)


def braked(trace: Trace, end_s: float, lasts_s: float, level_a: float) -> np.ndarray:
    """Its current with what a drive drives back down its ramp [A]."""
    back = (trace.time_s >= end_s) & (trace.time_s < end_s + lasts_s)
    return np.where(back, trace.current_a - level_a, trace.current_a)


@pytest.mark.parametrize("rate_hz", [50.0, 200.0])
@pytest.mark.parametrize(("height_a", "lasts_s"), [(2.2, 0.08), (0.9, 0.15), (0.35, 9.0)])
def test_what_bounces_settles_or_flows_on_behind_a_drives_braking_is_no_movement(height_a, lasts_s, rate_hz):
    drawn = GOOD.but(rate_hz=rate_hz, after_s=2.0)
    trace = drawn.trace()
    current_a = braked(trace, drawn.end_s, 0.28, 1.2)
    behind = (trace.time_s > drawn.end_s + 0.32) & (trace.time_s < drawn.end_s + 0.32 + lasts_s)
    (only,) = assess_record(replace(trace, current_a=current_a + height_a * behind), RIG, BASELINES)
    assert only.verdict == "pass"
    assert only.figures.end_s.value == pytest.approx(drawn.end_s, abs=2.0 / rate_hz)


@pytest.mark.parametrize("rest_s", [0.6, 1.5])
def test_a_stall_behind_a_drives_braking_is_judged(rest_s):
    record = joined(GOOD, STOOD, rest_s=rest_s)
    current_a = braked(record, GOOD.end_s, 0.28, 1.2)
    first, then = assess_record(replace(record, current_a=current_a), RIG, BASELINES)
    assert (first.verdict, then.verdict, loud(then)) == ("pass", "fail", {"stall"})


def test_a_lone_reading_below_nothing_in_a_gap_does_not_part_a_throw():
    trace = GOOD.trace()
    current_a = trace.current_a.copy()
    current_a[1200] = -0.3
    (only,) = assess_record(replace(trace, current_a=current_a), RIG, BASELINES)
    assert only.verdict == "pass"


@pytest.mark.parametrize("rest_s", [0.32, 0.5])
def test_a_limit_contact_that_bounces_after_a_jog_is_none_of_the_next_throws(rest_s):
    record = joined(JOG.but(run_s=0.28), GOOD, rest_s=rest_s)
    ended_s = JOG.rest_s + 0.28
    bounce = (record.time_s > ended_s + 0.06) & (record.time_s < ended_s + 0.1)
    jog, whole = assess_record(replace(record, current_a=record.current_a + 1.6 * bounce), RIG, BASELINES)
    assert jog.figures.travel_time_s.value == pytest.approx(0.28, abs=0.015)
    assert whole.verdict == "pass"


@pytest.mark.parametrize("lost_s", [0.6, 0.9])
def test_what_flowed_while_readings_were_lost_is_held_by_the_uncertainty(lost_s):
    drawn = GOOD.but(bump_a=0.3, bump_at=0.5, bump_width=0.02)
    trace = drawn.trace()
    middle_s = drawn.start_s + 0.5 * drawn.run_s
    kept = np.abs(trace.time_s - middle_s) > 0.5 * lost_s
    found = assess_trace(
        replace(
            trace, time_s=trace.time_s[kept], current_a=trace.current_a[kept], voltage_v=trace.voltage_v[kept]
        ),
        RIG,
        LOCK_BASELINE,
    )
    true = assess_trace(trace, RIG, LOCK_BASELINE).figures
    run = found.figures.run_current_a
    assert abs(run.value - true.run_current_a.value) <= run.u
    assert found.figures.peak_run_current_a is None  # the highest may be among what was lost


def test_a_throw_ends_before_the_next_one_begins():
    first, _ = cut(joined(GOOD, GOOD.but(seed=8), rest_s=0.4), RIG, BASELINES)
    assert np.abs(first.trace.current_a[-10:]).max() < 0.1
    assert len(first.trace) == pytest.approx((GOOD.end_s + 0.4) * 200.0, abs=4)


def test_a_contact_that_chatters_takes_about_as_long_as_its_rows():
    """Each piece of it asked anew for all that had run before: the time grew with the square of the rows."""

    def took_s(rows: int) -> float:
        current_a = np.where((np.arange(rows) % 10 < 7) & (np.arange(rows) > rows // 10), 2.0, 0.0)
        chatters = Trace(np.arange(rows) / 1000.0, current_a, None, "lock")
        rounds = []
        for _ in range(3):
            begin = time.process_time()
            assess_record(chatters, RIG)
            rounds.append(time.process_time() - begin)
        return min(rounds)

    assert took_s(40_000) < 10.0 * took_s(10_000)
