"""A record of several movements: every one of them is found and judged, the worst stands for the record."""

from dataclasses import replace

import numpy as np
import pytest

from logger.core.rig import Board
from logger.core.stroke.assess import assess_record, assess_throws, assess_trace
from logger.core.stroke.baseline import make_baseline
from logger.core.trace import Trace
from logger.errors import InputError
from tests.core.drawn_strokes import RIG, Drawn, healthy

LOCK_BASELINE = make_baseline([assess_trace(trace, RIG) for trace in healthy(8)], "drawn")
UNLOCK_BASELINE = make_baseline(
    [assess_trace(trace, RIG) for trace in healthy(8, Drawn(direction="unlock"))], "drawn"
)
BASELINES = {"lock": LOCK_BASELINE, "unlock": UNLOCK_BASELINE}
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
    throws = assess_throws(record, RIG, BASELINES)
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
    assert any("which way" in note for note in found[1].notes)


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
