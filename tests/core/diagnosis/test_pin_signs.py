"""What the switch at each pin shows: open after the throw, late, wrong in itself; and what a closed one never does."""

from dataclasses import replace

import numpy as np
import pytest

from tests.core.drawn_strokes import RIG, Drawn, healthy
from tests.core.switches_drawn import AT, baseline, course, row_at, switched
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.diagnosis.assess import assess_record, assess_trace
from throwbook.core.records import SEASONAL
from throwbook.core.status.raising import orders_of_record
from throwbook.core.wording import SWITCHES_CLOSED

BASELINES = {direction: baseline(direction) for direction in ("lock", "unlock")}
UNFITTED = {
    direction: make_baseline(
        [assess_trace(trace, RIG) for trace in healthy(8, Drawn(direction=direction))], "drawn"
    )
    for direction in ("lock", "unlock")
}
BOTH = ("left", "right")
LOCK, UNLOCK = Drawn(), Drawn(direction="unlock")


def judged(trace, baselines=BASELINES, **more):
    return assess_trace(trace, RIG, baselines and baselines[trace.direction], **more)


def loud(assessment):
    return {sign.sign: sign for sign in assessment.signs if sign.level != "info"}


def with_switch(trace, side, closed):
    return replace(trace, **{f"{side}_switch": np.broadcast_to(closed, len(trace)).copy()})


@pytest.mark.parametrize("drawn", [LOCK, UNLOCK])
@pytest.mark.parametrize("baselines", [BASELINES, UNFITTED, None])
def test_switches_that_follow_give_no_sign_and_change_no_verdict(drawn, baselines):
    with_them, without = judged(switched(drawn), baselines), judged(drawn.trace(), baselines)
    assert loud(with_them).keys() == loud(without).keys()
    assert with_them.verdict == without.verdict


@pytest.mark.parametrize("drawn", [LOCK, UNLOCK])
def test_when_and_where_each_changed(drawn):
    figures = judged(switched(drawn)).figures
    for side, share in zip(BOTH, AT[drawn.direction], strict=True):
        at_s = getattr(figures, f"{side}_switch_at_s")
        at = getattr(figures, f"{side}_switch_at_fraction")
        assert abs(at_s.value - share * drawn.run_s) < at_s.u < 0.1
        assert abs(at.value - share) < max(at.u, 0.012)  # the drawn rod's speed isn't quite even
    assert figures.switch_lag_fraction.value == pytest.approx(0.02 if drawn is LOCK else -0.02, abs=0.003)


def test_without_switches_there_is_no_figure_of_them():
    figures = dict(judged(LOCK.trace()).figures.items())
    assert {name for name in figures if "switch" in name and figures[name] is not None} == set()


@pytest.mark.parametrize("side", BOTH)
@pytest.mark.parametrize("baselines", [BASELINES, None])
def test_a_switch_open_after_a_lock_throw_fails_it_and_names_the_side(side, baselines):
    assessment = judged(with_switch(switched(LOCK), side, False), baselines)
    sign = loud(assessment)["switch-open"]
    assert (assessment.verdict, sign.level, sign.side) == ("fail", "fail", side)
    assert f"{side.upper()} SWITCH open" in sign.because
    assert [each for each in assessment.diagnoses if each.signs == ("switch-open",)]


def test_both_open_name_both_and_no_side():
    trace = with_switch(with_switch(switched(LOCK), "left", False), "right", False)
    sign = loud(judged(trace))["switch-open"]
    assert sign.side == ""
    assert all(f"{side.upper()} SWITCH open" in sign.because for side in BOTH)


@pytest.mark.parametrize("late_s", [0.45, 0.55])
def test_one_row_open_after_the_end_is_enough(late_s):
    drawn = LOCK.but(after_s=1.0)
    trace = switched(drawn)
    closed = trace.right_switch.copy()
    closed[round((drawn.end_s + late_s) * drawn.rate_hz)] = False
    sign = loud(judged(with_switch(trace, "right", closed)))["switch-open"]
    assert "closed again" in sign.because


def test_a_record_that_ends_at_once_is_judged_by_its_last_row():
    drawn = LOCK.but(after_s=0.1)
    assert "switch-open" not in loud(judged(switched(drawn)))
    assert "switch-open" in loud(judged(with_switch(switched(drawn), "left", False)))


@pytest.mark.parametrize("side", BOTH)
def test_a_switch_still_closed_after_an_unlock_throw_fails_it(side):
    found = judged(with_switch(switched(UNLOCK), side, True))
    sign = loud(found)["switch-open"]
    assert (sign.level, sign.side) == ("fail", side)
    assert "still closed" in sign.because
    assert [one.cause for one in orders_of_record(SEASONAL, found)] == ["switch at unlock"]


@pytest.mark.parametrize("side", BOTH)
def test_a_switch_open_before_a_whole_unlock_throw_fails_it(side):
    """It was open since the lock throw: the rig goes out of use as if the lock throw had shown it."""
    found = judged(with_switch(switched(UNLOCK), side, False))
    sign = loud(found)["switch-open"]
    assert (sign.level, sign.side) == ("fail", side)
    assert "before the unlock throw" in sign.because
    assert [one.cause for one in orders_of_record(SEASONAL, found)] == ["switch open"]


def test_an_unlock_that_began_half_way_may_begin_with_open_switches():
    trace = UNLOCK.but(run_s=7.0).trace()
    off = np.zeros(len(trace), np.bool_)
    assert "switch-open" not in loud(judged(replace(trace, left_switch=off, right_switch=off)))


@pytest.mark.parametrize("side", BOTH)
def test_a_switch_that_was_open_for_a_while_before_an_unlock_throw_takes_the_rig_out_of_use(side):
    trace = switched(UNLOCK)
    closed = getattr(trace, f"{side}_switch").copy()
    closed[: round(0.6 * UNLOCK.rest_s * UNLOCK.rate_hz)] = False
    found = judged(with_switch(trace, side, closed))
    sign = loud(found)["switch-open"]
    assert (found.verdict, sign.side) == ("fail", side)
    assert "before the unlock throw" in sign.because
    assert [one.cause for one in orders_of_record(SEASONAL, found)] == ["switch open"]


@pytest.mark.parametrize("run_s", [0.6, 7.0])
def test_closed_and_open_before_any_unlock_movement_is_enough(run_s):
    drawn = UNLOCK.but(run_s=run_s)
    closed = np.ones(len(drawn.trace()), np.bool_)
    closed[40:50] = False
    found = judged(with_switch(drawn.trace(), "right", closed))
    assert loud(found)["switch-open"].side == "right"
    assert "switch open" in [one.cause for one in orders_of_record(SEASONAL, found)]


def test_an_unlock_throw_that_still_runs_at_the_last_row_had_an_open_switch_before_it():
    drawn = UNLOCK.but(after_s=0.0)
    trace = switched(drawn)
    closed = trace.right_switch.copy()
    closed[40:50] = False
    assert "switch-open" not in loud(judged(trace))
    assert "switch-open" in loud(judged(with_switch(trace, "right", closed)))


@pytest.mark.parametrize("share", [0.965, 0.955, 0.95, 0.7])
def test_a_switch_still_closed_is_told_where_the_unlock_throw_went_past_half_way(share):
    drawn = UNLOCK.but(run_s=share * UNLOCK.run_s)
    closed = np.ones(len(drawn.trace()), np.bool_)
    found = judged(replace(drawn.trace(), left_switch=closed, right_switch=closed))
    assert "switch at unlock" in [one.cause for one in orders_of_record(SEASONAL, found)]


def test_a_jog_or_less_than_half_the_way_may_end_with_closed_switches():
    for run_s in (0.6, 5.0):
        drawn = UNLOCK.but(run_s=run_s)
        closed = np.ones(len(drawn.trace()), np.bool_)
        assert "switch-open" not in loud(judged(replace(drawn.trace(), left_switch=closed)))


def test_a_switch_still_closed_is_told_where_the_record_starts_late():
    trace = switched(UNLOCK).rows(slice(400, None))
    assert set(loud(judged(trace))) == {"cut-record"}
    found = judged(with_switch(trace, "left", True))
    assert loud(found)["switch-open"].side == "left"


def test_of_another_rating_a_switch_that_opens_in_an_unlock_throw_is_no_open_switch():
    for share in (0.15, 0.25):
        trace = replace(switched(UNLOCK), current_a=share * UNLOCK.trace().current_a)
        found = judged(trace, None)
        assert (found.verdict, set(loud(found))) == ("unusable", set())


def joined(*drawn):
    """Movements in one record, behind a signed board; a jog moves no switch."""
    parts, closed = [], False
    for one in drawn:
        part = switched(one)
        if one.run_s < 1.0:
            part = with_switch(with_switch(part, "left", closed), "right", closed)
        parts.append(part)
        closed = bool(part.left_switch[-1])
    columns = ("current_a", "voltage_v", "left_switch", "right_switch")
    whole = {name: np.concatenate([getattr(part, name) for part in parts]) for name in columns}
    return replace(parts[0], time_s=np.arange(sum(map(len, parts))) / LOCK.rate_hz, **whole)


LOCK_JOG, UNLOCK_JOG = LOCK.but(run_s=0.6, seed=5), UNLOCK.but(run_s=0.6, seed=6, sign=-1)
BACK, AGAIN = UNLOCK.but(seed=7, sign=-1), LOCK.but(seed=8)


def each_loud(record):
    return [set(loud(each)) for each in assess_record(record, RIG, BASELINES)]


def test_a_jog_before_a_whole_lock_throw_may_end_with_open_switches():
    record = joined(LOCK_JOG, AGAIN)
    assert each_loud(record) == [{"stopped-short"}, set()]
    assert each_loud(with_switch(record, "left", False)) == [{"stopped-short"}, {"switch-open"}]
    after_unlock = joined(LOCK, BACK, LOCK_JOG, AGAIN)
    assert each_loud(after_unlock) == [set(), set(), {"stopped-short"}, set()]


@pytest.mark.parametrize(
    ("drawn", "signs"),
    [
        (
            (LOCK, LOCK_JOG, BACK, AGAIN),
            [set(), {"stopped-short", "switch-open"}, {"switch-open"}, set()],
        ),
        ((LOCK, UNLOCK_JOG, BACK), [set(), {"stopped-short"}, {"switch-open"}]),
    ],
    ids=["lock jog", "unlock jog"],
)
def test_a_switch_that_opens_and_closes_behind_a_jog_after_a_lock_throw_is_told(drawn, signs):
    record = joined(*drawn)
    follows = [each - {"switch-open"} for each in signs]
    assert each_loud(record) == follows
    closed = record.right_switch.copy()
    behind = len(drawn[0].trace()) + round((drawn[1].end_s + 0.45) * LOCK.rate_hz)
    closed[behind : behind + 60] = False
    found = each_loud(with_switch(record, "right", closed))
    assert [each - {"switch-fault"} for each in found] == signs


def test_behind_an_unlock_jog_that_opened_it_a_switch_may_be_open_before_the_throw():
    record = joined(LOCK, UNLOCK_JOG, BACK)
    closed = record.right_switch.copy()
    closed[len(LOCK.trace()) + round((UNLOCK_JOG.end_s - 0.1) * LOCK.rate_hz) :] = False
    assert "switch-open" not in set().union(*each_loud(with_switch(record, "right", closed)))


def at_rest(direction, left, right):
    """A record in which no current flowed; each switch one bool for all rows, or one a row."""
    trace = Drawn(direction=direction).trace().rows(slice(0, 115))
    return with_switch(with_switch(trace, "left", left), "right", right)


ALTERNATING = np.arange(115) % 2 == 0
MOMENT = np.arange(115) != 50


@pytest.mark.parametrize("direction", ["lock", "unlock"])
@pytest.mark.parametrize(
    ("left", "right", "side"),
    [
        (True, False, "right"),
        (False, True, "left"),
        (True, ALTERNATING, "right"),
        (False, ALTERNATING, "right"),
        (MOMENT, True, "left"),
        (ALTERNATING, ALTERNATING, ""),
    ],
)
def test_without_current_switches_that_are_apart_or_change_take_the_rig_out_of_use(
    direction, left, right, side
):
    found = judged(at_rest(direction, left, right))
    assert set(loud(found)) == {"no-start", "switch-open"}
    assert loud(found)["switch-open"].side == side
    assert {one.cause for one in orders_of_record(SEASONAL, found)} == {"no start", "switch open"}


@pytest.mark.parametrize("direction", ["lock", "unlock"])
def test_without_current_switches_at_the_same_end_say_nothing(direction):
    for closed in (True, False):
        assert set(loud(judged(at_rest(direction, closed, closed)))) == {"no-start"}
        one = with_switch(at_rest(direction, True, True), "right", closed)
        assert set(loud(judged(replace(one, left_switch=None)))) == {"no-start"}
    assert loud(judged(at_rest(direction, True, False), on_bench=True)).keys() == {"no-start"}


def test_where_the_sensor_did_not_answer_a_throw_may_have_changed_the_switches():
    silent = replace(at_rest("lock", np.arange(115) > 60, np.arange(115) > 65), head=ABSENT_AT_ONCE)
    assert set(loud(judged(silent))) == set()
    apart = replace(at_rest("lock", True, False), head=ABSENT_AT_ONCE)
    assert (judged(apart).verdict, set(loud(judged(apart)))) == ("fail", {"switch-open"})


ABSENT_AT_ONCE = {"board_faults": [{"code": "sensor-absent", "text": "", "sample": 0, "at_s": 0.1}]}
ABSENT = {"board_faults": [{"code": "sensor-absent", "text": "", "sample": 0, "at_s": 6.0}]}


@pytest.mark.parametrize(
    ("spoil", "baselines"),
    [
        ({"current_a": 0.15 * LOCK.trace().current_a}, None),
        ({"current_a": 0.25 * LOCK.trace().current_a}, None),
        ({"head": ABSENT}, BASELINES),
    ],
    ids=["of another rating, cut at the inrush", "of another rating", "sensor absent"],
)
def test_whatever_spoils_the_current_an_open_switch_fails_the_record(spoil, baselines):
    trace = replace(switched(LOCK), **spoil)
    assert judged(trace, baselines).verdict == "unusable"
    spoilt = judged(with_switch(trace, "right", False), baselines)
    assert set(loud(spoilt)) == {"switch-open"}
    assert (spoilt.verdict, spoilt.usable) == ("fail", False)


def test_on_a_bench_there_is_no_pin():
    assert loud(judged(with_switch(switched(LOCK), "right", False), on_bench=True)) == {}


@pytest.mark.parametrize("direction", ["lock", "unlock"])
@pytest.mark.parametrize("side", BOTH)
def test_a_side_later_than_in_the_baseline_is_told_with_its_side(direction, side):
    drawn = Drawn(direction=direction)
    at = dict(zip(BOTH, AT[direction], strict=True))
    late = loud(judged(switched(drawn, **{side: at[side] + 0.03})))
    assert set(late) == {"switch-lag"}
    sign = late["switch-lag"]
    assert (sign.level, sign.side) == ("watch", side)
    assert sign.value == pytest.approx(0.03, abs=0.004)
    assert side.upper() in sign.because
    little = loud(judged(switched(drawn, **{side: at[side] + 0.005})))
    assert little == {}


def test_both_sides_later_alike_are_no_lag():
    left, right = AT["lock"]
    assert loud(judged(switched(LOCK, left + 0.03, right + 0.03))) == {}


@pytest.mark.parametrize("direction", ["lock", "unlock"])
@pytest.mark.parametrize("side", BOTH)
def test_a_switch_that_changes_earlier_than_in_the_baseline_is_the_one_at_fault(direction, side):
    drawn = Drawn(direction=direction)
    at = dict(zip(BOTH, AT[direction], strict=True))
    early = loud(judged(switched(drawn, **{side: at[side] - 0.03})))
    assert set(early) == {"switch-fault"}
    assert (early["switch-fault"].level, early["switch-fault"].side) == ("watch", side)


def test_without_a_baseline_of_switches_nothing_is_late():
    left, right = AT["lock"]
    for baselines in (UNFITTED, None):
        assert loud(judged(switched(LOCK, left, right + 0.04), baselines)) == {}


@pytest.mark.parametrize("side", BOTH)
def test_a_switch_that_chatters_is_told_as_the_switch(side):
    signs = loud(judged(chattering(switched(LOCK), side)))
    assert set(signs) == {"switch-fault"}
    assert signs["switch-fault"].side == side
    assert "chatters" in signs["switch-fault"].because


def chattering(trace, side):
    closed = getattr(trace, f"{side}_switch").copy()
    for share in (0.96, 0.97, 0.98):
        row = row_at(LOCK, share)
        closed[row : row + 8] = False
    return with_switch(trace, side, closed)


@pytest.mark.parametrize(("side", "other"), [BOTH, BOTH[::-1]])
def test_the_cause_of_an_open_switch_is_not_taken_from_the_other_side(side, other):
    found = judged(with_switch(chattering(switched(LOCK), other), side, False))
    assert loud(found)["switch-open"].side == side
    causes = {each.signs: each.cause for each in found.diagnoses}
    assert "loose contact" not in causes["switch-open",]
    assert "loose contact" in causes["switch-fault",]


@pytest.mark.parametrize(("side", "other"), [BOTH, BOTH[::-1]])
def test_faults_of_both_switches_are_told_whatever_their_kind(side, other):
    sign = loud(judged(with_switch(chattering(switched(LOCK), side), other, True)))["switch-fault"]
    assert f"{side.upper()} SWITCH chatters" in sign.because
    assert f"{other.upper()} SWITCH closed before" in sign.because
    assert sign.side == ""


def test_two_faults_of_one_switch_keep_its_side():
    trace = chattering(switched(LOCK), "left")
    closed = trace.left_switch.copy()
    closed[:20] = True
    sign = loud(judged(with_switch(trace, "left", closed)))["switch-fault"]
    assert sign.side == "left"
    assert "chatters" in sign.because
    assert "closed before" in sign.because


def test_a_change_that_bounces_for_a_moment_is_one_change():
    trace = switched(LOCK)
    closed = trace.right_switch.copy()
    row = row_at(LOCK, AT["lock"][1])
    closed[row + 2] = closed[row + 5] = False
    assessment = judged(with_switch(trace, "right", closed))
    assert loud(assessment) == {}
    assert assessment.figures.right_switch_at_s is not None


@pytest.mark.parametrize("side", BOTH)
def test_a_switch_closed_before_a_lock_throw_is_told_as_the_switch(side):
    signs = loud(judged(with_switch(switched(LOCK), side, True)))
    assert set(signs) == {"switch-fault"}
    assert signs["switch-fault"].side == side


@pytest.mark.parametrize(("direction", "share"), [("lock", 0.2), ("unlock", 0.8)])
def test_a_change_where_no_pin_can_be_needs_no_baseline(direction, share):
    drawn = Drawn(direction=direction)
    signs = loud(judged(switched(drawn, right=share), None))
    assert set(signs) == {"switch-fault"}


@pytest.mark.parametrize("side", BOTH)
def test_drag_names_the_side_only_where_its_switch_is_later_by_more_than_the_uncertainty(side):
    heavy = LOCK.but(level_a=1.3 * LOCK.level_a)
    at = dict(zip(BOTH, AT["lock"], strict=True))
    named = loud(judged(switched(heavy, **{side: at[side] + 0.009})))["drag"]
    assert named.side == side
    assert f"points to the {side.upper()} side" in named.because
    open_ = loud(judged(switched(heavy)))["drag"]
    assert open_.side == ""
    assert "can't be told" in open_.because
    bare = loud(judged(heavy.trace()))["drag"]
    assert bare.side == ""
    assert "side" not in bare.because


def test_closed_switches_only_ask_for_a_look():
    assert SWITCHES_CLOSED in judged(switched(LOCK)).notes
    for trace in (switched(UNLOCK), LOCK.trace(), with_switch(switched(LOCK), "right", False)):
        assert SWITCHES_CLOSED not in judged(trace).notes


def test_one_fitted_switch_speaks_for_its_own_pin_alone():
    trace = replace(LOCK.trace(), right_switch=course(LOCK, LOCK.trace(), 0.95))
    notes = judged(trace).notes
    assert SWITCHES_CLOSED not in notes
    assert "LEFT SWITCH not fitted, RIGHT SWITCH closed: now look at both pins" in notes
    assert loud(judged(trace)) == {}
    assert loud(judged(with_switch(trace, "right", False)))["switch-open"].side == "right"


def test_the_drawing_of_current_over_travel_carries_both_moments():
    from throwbook.report import chart_style
    from throwbook.report.charts import Subject, draw_trial

    def words(trace):
        with chart_style.drawing():
            profile = draw_trial(Subject(trace, judged(trace), RIG, BASELINES["lock"])).axes[-1]
        return [text.get_text() for text in profile.texts if "SWITCH" in text.get_text()]

    assert words(switched(LOCK)) == ["LEFT SWITCH", "RIGHT SWITCH"]
    assert words(with_switch(switched(LOCK), "right", False)) == ["LEFT SWITCH"]
    assert words(LOCK.trace()) == []


def test_the_drawing_on_the_screen_carries_them_too():
    from types import SimpleNamespace

    from throwbook_tui.charts import profile_drawing

    assessment = judged(switched(LOCK))
    view = SimpleNamespace(
        profile=assessment.profile,
        baseline=BASELINES["lock"],
        logged=SimpleNamespace(judgement=SimpleNamespace(assessment=assessment)),
    )
    places = {word: place for place, word in profile_drawing(view).uprights}
    assert places == {
        "LEFT SWITCH": assessment.figures.left_switch_at_fraction.value,
        "RIGHT SWITCH": assessment.figures.right_switch_at_fraction.value,
    }
