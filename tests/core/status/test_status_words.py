"""How a rig's status is said: the same words everywhere."""

from datetime import UTC, datetime

from throwbook.core.status.latch import (
    CAUSES,
    LEVELS,
    NEED_SAID,
    Proofs,
    raise_order,
    status_of,
)
from throwbook.core.status.status_text import (
    NEXT_STEP,
    STYLE,
    caution,
    headline,
    reasons,
)
from throwbook.core.wording import OUT_OF_USE, SHOWN_AT

NOON = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)


def standing(*causes: str):
    orders = []
    for number, cause in enumerate(causes):
        order = raise_order("yard-loader", cause, "seen", NOON, "M. K.")
        orders.append(order.__class__(**{**vars(order), "id": f"r{number}"}))
    return status_of("yard-loader", orders, Proofs())


def test_every_level_has_its_style_and_every_need_its_next_step():
    assert set(STYLE) == set(LEVELS)
    assert set(NEXT_STEP) == set(NEED_SAID)


def test_a_rig_that_was_never_commissioned_is_not_called_in_service():
    assert headline(standing(), False, "no next check set").startswith("not commissioned")
    assert headline(standing(), True, "no next check set") == "in service"


def test_out_of_use_is_said_loud_with_the_caution_and_the_way_back_in_order():
    found = standing("stall", "watch sign")
    assert headline(found, True, "overdue: check was due 2026-01-01, 3 days ago").startswith(
        "DO NOT USE; overdue"
    )
    assert caution(found) == OUT_OF_USE
    steps = [NEXT_STEP[need] for need in found.open[0].needs]
    assert len(steps) == 4
    assert steps[0].startswith("find the cause")
    assert steps[-1].startswith("sign the clearance")


def test_reasons_come_worst_first_and_the_same_reason_once():
    found = reasons(standing("watch sign", "stall", "watch sign", "person: watch"))
    assert found[0].startswith("do not use: stall: seen")
    assert "watch: seen [r0, r2]" in found
    assert "watch: a person set it to watch: seen [r3]" in found


def test_the_cautions_of_each_place_are_sentences():
    for sentences in SHOWN_AT.values():
        assert sentences
        assert all(text.endswith(".") for text in sentences)
    assert all(sentence[0].islower() for _, sentence in CAUSES.values())
