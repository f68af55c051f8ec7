"""Which rig comes first, why, and the next step: one order, total, whatever order the rigs come in."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.status.latch import CAUSES, IN_SERVICE, LEVELS, OpenRaise, Pending, Status
from throwbook.core.status.maintenance import NextCheck
from throwbook.core.status.urgency import (
    DUE,
    GETS_WORSE,
    MUST_NOT_GO_OUT,
    NEEDS,
    NOT_COMMISSIONED,
    NOTHING,
    Reached,
    RigFacts,
    Worsening,
    cause_in_short,
    need_of,
    order_key,
)
from throwbook.core.trend.advisory import STEPS
from throwbook.core.trend.history import FIGURES
from throwbook.core.trend.trend_result import figure_name
from throwbook.core.wording import CAUSES_IN_SHORT, ORDER_CAUSES, SIGNS

TODAY = date(2026, 3, 14)
OK = Status(IN_SERVICE, (), ())
WELL = RigFacts(OK, True, NextCheck(TODAY + timedelta(days=60)), None, TODAY)
RISES = Worsening("risen", 3, "running current +12 % (lock)", "grease it", TODAY + timedelta(days=90))


def held(level: str, cause: str = "stall", sign: str = "", sentence: str = "") -> Status:
    return Status(level, (OpenRaise(("a" * 32,), cause, level, sentence, sign=sign),), ())


days = st.integers(-400, 400).map(lambda n: TODAY + timedelta(days=n))
checks = st.one_of(
    st.just(NextCheck()),
    days.map(lambda on: NextCheck(on, overdue=on < TODAY, sentence="x")),
    st.just(NextCheck(None, 200.0, None, True, "overdue: x")),
)
worsenings = st.one_of(
    st.none(),
    st.builds(
        Worsening,
        st.sampled_from(["risen", "suspect", "unverified", ""]),
        st.integers(0, 3),
        st.just("a cause"),
        st.just("a step"),
        st.none() | days,
        st.lists(st.builds(Reached, days, st.just("at its limit"), st.just("a step")), max_size=2).map(tuple),
    ),
)
statuses = st.one_of(
    st.just(OK), st.builds(held, st.sampled_from(LEVELS[1:]), st.sampled_from(sorted(CAUSES)))
)
facts = st.builds(RigFacts, statuses, st.booleans(), checks, worsenings, st.just(TODAY))


@given(st.lists(facts, max_size=12), st.randoms())
def test_the_order_is_total_and_does_not_hang_on_what_came_first(yard, random):
    keys = [order_key(need_of(one), f"rig-{number}") for number, one in enumerate(yard)]
    assert len(set(keys)) == len(keys)
    shuffled = keys[:]
    random.shuffle(shuffled)
    assert sorted(shuffled) == sorted(keys)


@given(st.lists(facts, min_size=1, max_size=12))
def test_needs_come_in_their_order_and_a_cause_in_six_words(yard):
    needs = sorted(map(need_of, yard), key=lambda one: order_key(one, ""))
    assert [NEEDS.index(one.need) for one in needs] == sorted(NEEDS.index(one.need) for one in needs)
    assert all(one.step and 0 < len(one.cause.split()) <= 6 for one in needs)


@given(facts)
def test_an_order_never_moves_a_rig_down(one):
    """Tightened, a status brings its rig no later in the list than it was."""
    ranks = [
        need_of(replace(one, status=OK if level == IN_SERVICE else held(level))).rank for level in LEVELS
    ]
    assert ranks == sorted(ranks, reverse=True)


@pytest.mark.parametrize(
    ("facts", "need", "cause"),
    [
        (replace(WELL, status=held("do not use")), MUST_NOT_GO_OUT, "the motor stalled"),
        (
            replace(WELL, status=held("restricted", "end stop")),
            MUST_NOT_GO_OUT,
            "motor ran into the end stop",
        ),
        (
            replace(WELL, worsening=replace(RISES, limits=(Reached(TODAY, "at its limit", "x"),))),
            MUST_NOT_GO_OUT,
            "at its limit",
        ),
        (
            replace(WELL, worsening=replace(RISES, limits=(Reached(TODAY + timedelta(1), "y", "x"),))),
            GETS_WORSE,
            "running current +12 % (lock)",
        ),
        (
            replace(WELL, next_check=NextCheck(TODAY - timedelta(days=3), overdue=True, sentence="x")),
            DUE,
            "check overdue by 3 days",
        ),
        (replace(WELL, next_check=NextCheck(TODAY, sentence="x")), DUE, "check due today"),
        (
            replace(WELL, next_check=NextCheck(TODAY + timedelta(days=8), sentence="x")),
            NOTHING,
            "nothing open",
        ),
        (replace(WELL, worsening=RISES), GETS_WORSE, "running current +12 % (lock)"),
        (replace(WELL, status=held("watch", "watch sign", "drag")), GETS_WORSE, "drag: to watch"),
        (replace(WELL, commissioned=False), NOT_COMMISSIONED, "no accepted commissioning sheet"),
        (WELL, NOTHING, "nothing open"),
    ],
)
def test_each_need_has_its_cause(facts, need, cause):
    found = need_of(facts)
    assert (found.need, found.cause) == (need, cause)


@given(facts)
def test_where_no_order_is_known_no_word_is_said_of_any(one):
    found = need_of(replace(one, status=None))
    assert found == need_of(replace(one, status=OK)) or found.cause == "status not in this list"
    assert "nothing open" not in found.cause


def test_what_is_not_judged_yet_is_judged_first_unless_an_order_is_worse():
    waits = Pending("restricted", "a recording was never judged", "judge it: throwbook record --recover")
    found = need_of(replace(WELL, status=Status("restricted", (), (), (waits,))))
    assert (found.cause, found.step) == ("not judged yet", "judge it")
    stalled = replace(held("do not use"), pending=(waits,))
    assert need_of(replace(WELL, status=stalled)).cause == "the motor stalled"


def test_the_side_that_is_not_in_its_hole_is_named():
    one = held("do not use", "pin not seen", sentence="LEFT pin NOT in its hole").open[0]
    assert cause_in_short(one) == "LEFT pin NOT in its hole"
    both = replace(one, sentence="LEFT pin NOT in its hole and RIGHT pin NOT in its hole")
    assert cause_in_short(both) == "a pin NOT in its hole"


def test_every_cause_has_its_six_words():
    assert CAUSES_IN_SHORT.keys() >= ORDER_CAUSES.keys()
    texts = [
        cause_in_short(held(level, "watch sign", sign).open[0]) for sign, level in product(SIGNS, LEVELS)
    ]
    texts += [*CAUSES_IN_SHORT.values(), *(f"{figure_name(one)} +12 % (unlock)" for one in FIGURES)]
    texts += [f"{figure_name(one)} above first check" for one in FIGURES]
    texts += [f"{figure_name(one)} at its limit" for one in FIGURES]
    assert [text for text in texts if len(text.split()) > 6] == []
    assert STEPS.keys() == FIGURES.keys()
