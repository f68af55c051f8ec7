"""What a throw raises, and which throws a baseline is made from."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from tests.core.sheet_builders import TOLD, sheet, throw, throws
from throwbook.core.assessment import Sign
from throwbook.core.diagnosis import signs
from throwbook.core.records import SEEN, PinAnswers
from throwbook.core.sheets.baseline_selection import ChoiceSheet, choose, may_replace
from throwbook.core.status.latch import CAUSES, DO_NOT_USE
from throwbook.core.status.raising import (
    SEEN_CAUSES,
    SIGN_CAUSES,
    orders_of_record,
    orders_of_sighting,
)


def judged(direction: str, *signs: Sign, verdict: str = "pass"):
    return throw(1, direction, signs=signs, verdict=verdict, because="over the limit").assessment


def in_record(kind: str, assessment):
    return [(one.cause, one.because) for one in orders_of_record(kind, assessment)]


def seen_causes(seen: PinAnswers):
    return [(one.cause, one.because) for one in orders_of_sighting(seen)]


@pytest.mark.parametrize(("key", "cause"), SIGN_CAUSES.items())
def test_each_sign_at_fail_raises_its_cause_in_its_direction(key: tuple[str, str], cause: str):
    sign, direction = key
    found = in_record("seasonal", judged(direction, Sign(sign, "fail", "seen"), verdict="fail"))
    assert found == [(cause, "seen")]
    assert cause in CAUSES


def test_what_takes_a_rig_out_of_use_by_its_record():
    worst = {key for key, cause in SIGN_CAUSES.items() if CAUSES[cause][0] == DO_NOT_USE}
    lock_and_unlock = {(sign, way) for sign in ("stall", "light-run", "no-end") for way in ("lock", "unlock")}
    assert worst == lock_and_unlock | {("stopped-short", "lock"), ("switch-open", "lock")}


def test_on_a_bench_nothing_that_needs_a_latch_raises_anything():
    both = [Sign(sign, "fail", "seen") for sign in ("light-run", "switch-open")]
    for direction in ("lock", "unlock"):
        assert in_record("bench", judged(direction, *both, verdict="fail")) == []
        assert len(in_record("spot", judged(direction, *both, verdict="fail"))) == 2


def test_every_sign_that_can_fail_is_in_the_table_or_known_to_be_a_limit():
    folder = Path(signs.__file__).parent
    named = set()
    for path in folder.glob("*.py"):
        for call in re.findall(r"Sign\((.*?)\n    \)|Sign\((.*)\)", path.read_text("utf-8"), re.DOTALL):
            text = "".join(call)
            name = re.match(r'\s*"([a-z-]+)"', text)
            if name and re.search(r"\bFAIL\b", text):
                named.add(name[1])
    assert named - {sign for sign, _ in SIGN_CAUSES} == {"over-rated"}


def test_a_failed_limit_restricts_and_a_watch_sign_sets_to_watch():
    assert in_record("seasonal", judged("lock", verdict="fail")) == [("failed limit", "over the limit")]
    over = Sign("over-rated", "fail", "4.1 A")
    assert in_record("seasonal", judged("lock", over, verdict="fail")) == [("failed limit", "4.1 A")]
    drag = Sign("drag", "watch", "30 % up")
    assert in_record("seasonal", judged("lock", drag, verdict="watch")) == [("watch sign", "30 % up")]
    assert in_record("seasonal", judged("lock", Sign("uneven-sides", "info", "two steps"))) == []


def test_running_light_on_the_bench_is_no_finding_but_a_stall_there_is():
    light, stall = Sign("light-run", "fail", "1 A"), Sign("stall", "fail", "at 0.4")
    assert in_record("bench", judged("lock", light, verdict="fail")) == []
    assert in_record("bench", judged("lock", stall, verdict="fail")) == [("stall", "at 0.4")]


@pytest.mark.parametrize("name", SEEN)
def test_each_no_takes_the_rig_out_of_use_and_not_looked_raises_nothing(name: str):
    found = seen_causes(PinAnswers(**{name: "no"}))
    assert [cause for cause, _ in found] == [SEEN_CAUSES[name]]
    assert CAUSES[found[0][0]][0] == DO_NOT_USE
    assert seen_causes(PinAnswers()) == []


def test_both_pins_not_seen_is_one_order_that_names_both():
    assert seen_causes(PinAnswers(left_pin="no", right_pin="no")) == [
        ("pin not seen", "LEFT pin NOT in its hole and RIGHT pin NOT in its hole")
    ]


def choice_sheet(name: str, state: str, kind: str = "commissioning", **more: object) -> ChoiceSheet:
    return ChoiceSheet(name, state, sheet(kind), tuple(more.get("trials", throws())))


def test_a_baseline_comes_from_the_newest_accepted_commissioning_sheet_without_the_as_found_throw():
    found = choose(
        [choice_sheet("a", "accepted"), choice_sheet("b", "accepted"), choice_sheet("c", "open")], "lock"
    )
    assert (found.sheet, found.provisional) == ("b", False)
    assert [one.position for one in found.trials] == [3, 5, 7, 9]
    assert found.left_out == (("throw 1 (lock)", "as found"),)
    assert len(choose([choice_sheet("a", "accepted")], "unlock").trials) == 5


def test_without_one_it_is_provisional_from_the_first_bench_or_commissioning_sheet():
    sheets = [
        choice_sheet("r", "rejected"),
        choice_sheet("s", "accepted", "seasonal"),
        choice_sheet("b", "open", "bench"),
        choice_sheet("c", "open"),
    ]
    found = choose(sheets, "lock")
    assert (found.sheet, found.provisional) == ("b", True)
    assert choose(sheets[:2], "lock").trials == ()


def test_throws_that_are_left_out_unusable_incomplete_or_failed_are_not_chosen():
    trials = throws(6)
    trials[2] = replace(trials[2], left_out="wrong file")
    trials[4] = throw(5, "lock", usable=False, verdict="unusable")
    trials[6] = throw(7, "lock", end="stall")
    trials[8] = throw(9, "lock", verdict="fail")
    found = choose([choice_sheet("a", "accepted", trials=trials)], "lock")
    assert [one.position for one in found.trials] == [11]
    assert [why for _, why in found.left_out] == [
        "as found",
        "wrong file",
        "not usable",
        "it ended otherwise: stalled",
        "it failed",
    ]


def test_a_baseline_is_replaced_only_after_a_service_or_with_a_reason():
    assert "a reason" in may_replace(False, " ")
    assert may_replace(True, "") == may_replace(False, "new pins fitted") == ""


def test_the_conditions_used_here_are_all_answered():
    assert None not in vars(TOLD).values()


def test_a_new_baseline_that_starts_worse_takes_a_reason_in_writing_whatever_was_serviced():
    kept = may_replace(True, "", ["drag", "drag", "binding-spot"])
    assert "binding-spot, drag" in kept
    assert "needs a reason" in kept
    assert may_replace(True, "new, stronger springs", ["drag"]) == ""
