"""The latch, row by row of its tables. The random histories are in ``test_status_histories``."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import permutations

import pytest

from throwbook.core.records import Order
from throwbook.core.status.latch import (
    CAUSES,
    DO_NOT_USE,
    IN_SERVICE,
    LEVELS,
    MOVED_TO,
    NEEDS_TO_CLEAR,
    RESTRICTED,
    WATCH,
    Proofs,
    RepairProof,
    SheetProof,
    latest,
    raise_order,
    status_of,
    worst,
)

NOON = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
RIG = "yard-loader"
REPAIR = RepairProof("v1", RIG, "clevis pin sheared", "new clevis pin", frozenset({"r1"}))
SHEET = SheetProof("s1", RIG, "commissioning", True, "M. K.", frozenset({"r1"}), frozenset({"v1"}))
FULL = Proofs({"s1": SHEET}, {"v1": REPAIR})


def raised(cause: str, name: str = "r1", **more: str) -> Order:
    return replace(raise_order(RIG, cause, "", NOON, "M. K.", **more), id=name)


def clearing(*names: str, **changed: object) -> Order:
    made = Order(
        RIG,
        IN_SERVICE,
        "cleared",
        "repaired and proved",
        NOON,
        "M. K.",
        clears=names,
        signed="M. K.",
        sheet="s1",
        service="v1",
        details={"cause_found": "clevis pin sheared"},
        id="c1",
    )
    return replace(made, **changed)


def level(*orders: Order, evidence: Proofs = FULL, altered: frozenset[str] = frozenset()) -> str:
    return status_of(RIG, orders, evidence, altered).level


def test_a_rig_without_orders_is_in_service():
    assert level() == IN_SERVICE


@pytest.mark.parametrize(("cause", "row"), CAUSES.items())
def test_each_cause_takes_the_rig_to_its_level_at_once(cause: str, row: tuple[str, str]):
    assert level(raised(cause)) == row[0]


@pytest.mark.parametrize(
    "cause", ["pin not seen", "stall", "stopped short", "light run", "let go", "load check failed", "damage"]
)
def test_these_causes_take_it_out_of_use(cause: str):
    assert CAUSES[cause][0] == DO_NOT_USE


def test_the_highest_level_holds_and_levels_go_one_way():
    for levels in permutations(LEVELS):
        assert worst(levels) == DO_NOT_USE
    assert worst(["a level from a newer program"]) == DO_NOT_USE
    assert level(raised("watch sign", "r1"), raised("failed limit", "r2")) == RESTRICTED


def test_watch_and_restricted_come_down_by_reason_and_signature_alone():
    for cause in ("watch sign", "failed limit"):
        assert level(raised(cause), clearing("r1", sheet=None, service=None, details={})) == IN_SERVICE
        assert level(raised(cause), clearing("r1", signed=" ")) == CAUSES[cause][0]
        assert level(raised(cause), clearing("r1", because="")) == CAUSES[cause][0]


def test_out_of_use_comes_down_with_everything_that_is_asked_for():
    assert level(raised("stall"), clearing("r1")) == IN_SERVICE


def test_a_throw_of_another_rig_is_cleared_by_reason_and_signature_once_the_order_stands_there():
    """The one exception to repair and full commissioning: the record shows another rig."""
    there = Proofs(moved=frozenset({("r1", "t9")}))
    bare = {"sheet": None, "service": None, "details": {MOVED_TO: ["t9"]}}
    assert level(raised("stall"), clearing("r1", **bare), evidence=there) == IN_SERVICE
    assert level(raised("stall"), clearing("r1", **bare), evidence=Proofs()) == DO_NOT_USE
    assert level(raised("stall"), clearing("r1", **bare, signed=" "), evidence=there) == DO_NOT_USE
    assert level(raised("stall"), clearing("r1", **bare, because=""), evidence=there) == DO_NOT_USE
    other = {**bare, "details": {MOVED_TO: ["t8"]}}
    assert level(raised("stall"), clearing("r1", **other), evidence=there) == DO_NOT_USE


CLEARS_THAT_LACK = {
    "no signature": {"signed": ""},
    "no cause found": {"details": {}},
    "a blank cause": {"details": {"cause_found": "  "}},
    "a signature without width": {"signed": "\u200b"},
    "a signature of blank letters": {"signed": "\u3164\u115f"},
    "a dash for a signature": {"signed": "-"},
    "a cause without width": {"details": {"cause_found": "\u2060\u00ad"}},
    "no repair": {"service": None},
    "another repair": {"service": "v9"},
    "no sheet": {"sheet": None},
    "another sheet": {"sheet": "s9"},
}
EVIDENCE_THAT_LACKS = {
    "repair of another rig": (SHEET, replace(REPAIR, rig="quarry-loader")),
    "repair for something else": (SHEET, replace(REPAIR, answers=frozenset({"r7"}))),
    "nothing found": (SHEET, replace(REPAIR, found="")),
    "nothing fixed": (SHEET, replace(REPAIR, fixed=" ")),
    "found without width": (SHEET, replace(REPAIR, found="\u200b")),
    "a dash for what was fixed": (SHEET, replace(REPAIR, fixed="--")),
    "an inspection": (SHEET, replace(REPAIR, action="inspected")),
    "a sheet signed without width": (replace(SHEET, signed="\ufeff"), REPAIR),
    "sheet of another rig": (replace(SHEET, rig="quarry-loader"), REPAIR),
    "a seasonal sheet": (replace(SHEET, kind="seasonal"), REPAIR),
    "a sheet that is not accepted": (replace(SHEET, accepted=False), REPAIR),
    "an unsigned sheet": (replace(SHEET, signed=""), REPAIR),
    "a sheet planned before the stall": (replace(SHEET, answers=frozenset()), REPAIR),
    "a sheet planned before the repair": (replace(SHEET, services=frozenset()), REPAIR),
}


@pytest.mark.parametrize("name", CLEARS_THAT_LACK)
def test_a_clearing_order_that_lacks_something_leaves_it_out_of_use(name: str):
    found = status_of(RIG, [raised("stall"), clearing("r1", **CLEARS_THAT_LACK[name])], FULL)
    assert found.level == DO_NOT_USE
    assert found.refused[0].because


@pytest.mark.parametrize("name", EVIDENCE_THAT_LACKS)
def test_evidence_that_lacks_something_leaves_it_out_of_use(name: str):
    sheet, repair = EVIDENCE_THAT_LACKS[name]
    assert (
        level(raised("stall"), clearing("r1"), evidence=Proofs({"s1": sheet}, {"v1": repair})) == DO_NOT_USE
    )


def test_each_need_of_the_table_is_made_to_bite_above():
    assert set(NEEDS_TO_CLEAR) == set(LEVELS) - {IN_SERVICE}
    assert len(NEEDS_TO_CLEAR[DO_NOT_USE]) == 4


def test_a_clear_counts_for_the_raises_it_names_and_no_others():
    assert level(raised("stall", "r1"), raised("stall", "r2"), clearing("r1")) == DO_NOT_USE
    assert level(raised("stall", "r1"), raised("watch sign", "r2"), clearing("r1")) == WATCH


def test_naming_a_second_raise_needs_proof_for_that_one_too():
    found = status_of(RIG, [raised("stall", "r1"), raised("damage", "r2"), clearing("r1", "r2")], FULL)
    assert found.level == DO_NOT_USE
    assert [one.ids for one in found.open] == [("r2",)]


def test_the_same_cause_in_the_same_trial_is_one_raise_in_two_copies():
    one, two = raised("stall", "r1", trial="t1"), raised("stall", "r2", trial="t1")
    assert status_of(RIG, [one, two], FULL).open[0].ids == ("r1", "r2")
    assert level(one, two, clearing("r1")) == IN_SERVICE
    assert level(one, raised("stall", "r2", trial="t2"), clearing("r1")) == DO_NOT_USE
    assert level(one, raised("light run", "r2", trial="t1"), clearing("r1")) == DO_NOT_USE


def test_an_order_that_is_named_but_missing_holds_like_the_worst():
    later = replace(raised("watch sign", "r2"), previous=("r1",))
    found = status_of(RIG, [later], Proofs())
    assert found.level == DO_NOT_USE
    assert found.open[0].cause == "lost order"
    assert level(raised("watch sign", "r1"), later) == WATCH
    assert level(later, clearing("r1", "r2")) == IN_SERVICE


def test_a_throw_that_took_the_rig_out_of_use_holds_it_there_without_its_order():
    due = {("t1", "stall"), ("t2", "stall")}
    found = status_of(RIG, [raised("stall", trial="t2")], Proofs(), due=due)
    assert sorted(one.cause for one in found.open) == ["lost order", "stall"]
    [gone] = [one.ids[0] for one in found.open if one.cause == "lost order"]
    assert status_of(RIG, [], Proofs(), due={("t1", "stall")}).open_ids == (gone,)
    there = [raised("stall", trial="t2"), raised("stall", "r2", trial="t1")]
    assert [one.cause for one in status_of(RIG, there, Proofs(), due=due).open] == ["stall", "stall"]


def test_a_missing_order_comes_down_only_like_one_that_took_the_rig_out_of_use():
    due = {("t1", "stall")}
    [gone] = status_of(RIG, [], Proofs(), due=due).open_ids
    answers = frozenset({gone})
    proved = Proofs({"s1": replace(SHEET, answers=answers)}, {"v1": replace(REPAIR, answers=answers)})
    assert status_of(RIG, [clearing(gone)], FULL, due=due).level == DO_NOT_USE
    assert status_of(RIG, [clearing(gone)], proved, due=due).level == IN_SERVICE


def test_an_altered_order_clears_nothing_and_holds_like_the_worst():
    assert level(raised("stall"), clearing("r1"), altered=frozenset({"c1"})) == DO_NOT_USE
    assert level(raised("watch sign"), altered=frozenset({"r1"})) == DO_NOT_USE
    turned = clearing("r9", id="r1")
    assert level(turned, altered=frozenset({"r1"})) == DO_NOT_USE


def test_a_level_written_down_lower_than_its_cause_does_not_count():
    assert level(replace(raised("stall"), level=WATCH)) == DO_NOT_USE
    assert level(replace(raised("watch sign"), level=RESTRICTED)) == RESTRICTED


def test_another_rigs_orders_are_passed_over():
    assert level(replace(raised("stall"), rig="quarry-loader")) == IN_SERVICE
    assert level(raised("stall"), clearing("r1", rig="quarry-loader")) == DO_NOT_USE


def test_a_new_order_names_the_latest_ones():
    orders = [raised("stall", "r1"), replace(raised("stall", "r2"), previous=("r1",)), raised("stall", "r3")]
    assert latest(orders) == ("r2", "r3")
    assert latest([]) == ()
