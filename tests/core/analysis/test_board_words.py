"""What a board said of a record, against where the movement lies; heads as any file may hold them."""

import pytest

from throwbook.core.analysis.record_conditions import (
    faults_in,
    head_from,
    lost_by_numbers,
    notes_of,
    spoilt_by,
    untimed_by,
)


def head(*faults: tuple[str, float], **more: object) -> dict[str, object]:
    return {
        "board_faults": [{"code": code, "text": "", "sample": 0, "at_s": at_s} for code, at_s in faults],
        **more,
    }


@pytest.mark.parametrize(
    ("code", "at_s", "spoils"),
    [
        ("sensor-absent", 1.0, True),  # nobody said that it came back
        ("sensor-absent", 6.0, True),
        ("sensor-absent", 12.2, True),  # told late, from the buffer
        ("sensor-absent", 13.0, False),
        ("sensor-reset", 1.0, False),
        ("sensor-reset", 6.0, True),
        ("sensor-reset", 13.0, False),
        ("over-range", 6.0, False),
        ("overrun", 6.0, False),
    ],
)
def test_a_sensor_that_did_not_answer_in_the_movement_spoils_it(code: str, at_s: float, spoils: bool):
    assert bool(spoilt_by(head((code, at_s)), 2.0, 12.0)) == spoils
    assert notes_of(head((code, at_s))) == [f"the board reported {code} at {at_s:.2f} s"]


def test_a_sensor_absent_before_the_first_row_spoils_the_movement_too():
    told = {"board_faults_before": {"sensor-absent": 3}}
    assert "before the record began" in spoilt_by(told, 2.0, 12.0)


def test_a_movement_kept_by_itself_tells_the_faults_from_its_own_first_row():
    own = head_from(head(("sensor-reset", 6.0)), 5.5)
    assert own["board_faults"][0]["at_s"] == 0.5
    assert spoilt_by(own, 0.2, 3.0)
    assert head_from({"rig": "x"}, 5.5) == {"rig": "x"}
    assert head_from({"clock_from_s": 6.0, "clock_until_s": 7.0}, 5.5) == {
        "clock_from_s": 0.5,
        "clock_until_s": 1.5,
    }


@pytest.mark.parametrize(("u_s", "untimed"), [(0.9, False), (5.9, False), (6.1, True), (21.0, True)])
def test_a_clock_that_may_be_off_by_half_the_movement_tells_no_time(u_s: float, untimed: bool):
    assert bool(untimed_by({"clock_u_s": u_s, "clock": "it stood still"}, 2.0, 14.0)) == untimed


@pytest.mark.parametrize(
    "told",
    [
        None,
        "all well",
        7,
        [],
        [1, "x", None],
        [{}],
        [{"code": "sensor-absent"}],
        [{"at_s": "now"}],
        {"at_s": 1.0},
    ],
)
def test_a_head_that_holds_something_else_there_says_nothing(told):
    assert faults_in({"board_faults": told, "board_faults_before": told}) in (
        (),
        faults_in({"board_faults_before": told}),
    )
    assert notes_of({"rate_asked_hz": told, "rate_hz": told, "clock": None}) == []


def test_only_a_board_that_numbers_its_samples_says_how_many_are_missing():
    assert lost_by_numbers({"lost_samples": 3}, 180.0) == 180.0
    assert lost_by_numbers({"lost_samples": 3, "rate_asked_hz": 200}, 180.0) == 3.0
