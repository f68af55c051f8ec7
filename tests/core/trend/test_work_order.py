"""On the day of a service: which checks came after the work, and when that can't be known."""

from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.trend.history import CheckTimes, WorkTimes, after_work

DAY = date(2026, 3, 14)


def at(hour: int, minute: int = 0, day: date = DAY) -> datetime:
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=UTC)


def check(planned: int, *throws: int, kind: str = "seasonal", answer: str = "") -> CheckTimes:
    return CheckTimes(DAY, kind, at(planned), tuple(at(hour) for hour in throws), answer)


def greased(*hours: int) -> WorkTimes:
    return WorkTimes(DAY, "greased", tuple(at(hour) for hour in hours))


@pytest.mark.parametrize(
    ("one", "works", "after"),
    [
        (check(10, 11, 12), [greased(10)], True),  # thrown when the work was written down already
        (check(9, 11, 12), [greased(10)], True),  # planned before, thrown after
        (check(10, 11, answer="no"), [greased(10)], True),  # the clock is surer than the answer
        (check(9, 9, 10), [greased(16)], None),  # written down in the evening: no time tells
        (check(9, 9, 11), [greased(10)], None),  # partly before, partly after
        (check(9, 9, 10, answer="no"), [greased(16)], False),
        (check(9, 9, 10, answer="Greased this morning"), [greased(16)], True),
        (check(9, 9, 10, answer="moved a few times"), [greased(16)], None),
        (check(17), [greased(16)], True),  # no throw has a time: by the plan
        (check(17, answer="no"), [greased(16)], None),  # a paper sheet typed in late?
        (check(9, answer="no"), [greased(16)], False),
        (check(9), [greased(16)], None),
        (check(9, kind="after-service"), [greased(16)], True),
        (check(17, kind="commissioning", answer="no"), [greased(16)], True),
        (check(11, 12), [greased(10), greased(15)], None),  # between two works of one day
        (check(11, 12), [], False),
    ],
)
def test_after_the_work_is_what_times_plan_or_answer_show(one, works, after):
    assert after_work([one], works) == [after]


def test_a_correction_of_the_entry_moves_nothing():
    assert after_work([check(11, 12)], [greased(10, 18)]) == [True]


def test_an_entry_written_before_the_day_of_the_work_tells_nothing():
    early = WorkTimes(DAY, "greased", (at(18, day=DAY - timedelta(days=1)),))
    assert after_work([check(11, 12)], [early]) == [None]


def test_another_day_of_work_tells_nothing_of_this_one():
    other = WorkTimes(DAY - timedelta(days=1), "greased", (at(8),))
    assert after_work([check(11, 12)], [other]) == [False]


def test_what_follows_a_check_after_the_work_is_after_it_too():
    checks = [check(8, 8, answer="no"), check(9, kind="after-service"), check(10, 10, answer="no")]
    assert after_work(checks, [greased(16)]) == [False, True, True]


@given(hours=st.integers(-11, 11), minutes=st.integers(1, 600))
def test_the_offset_of_a_clock_changes_nothing(hours, minutes):
    logged = at(8)
    zone = timezone(timedelta(hours=hours))
    thrown = (logged + timedelta(minutes=minutes)).astimezone(zone)
    one = CheckTimes(DAY, "seasonal", at(7), (thrown,))
    assert after_work([one], [WorkTimes(DAY, "greased", (logged,))]) == [True]
