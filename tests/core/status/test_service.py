"""Maintenance entries: their dates, their stretches, and when the next check is due."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.status.maintenance import (
    ACTIONS,
    SEASON,
    Moment,
    NextCheck,
    ServiceEntry,
    entry_from,
    next_check,
    order_complaints,
    row_from,
)

SPRING, SUMMER, AUTUMN = date(2026, 3, 14), date(2026, 7, 1), date(2026, 10, 1)


def entry(on: date = SPRING, **more: object) -> ServiceEntry:
    return ServiceEntry("v1", "yard-loader", more.pop("action", "greased"), on, **more)


def test_nothing_set_is_said_so():
    assert next_check([entry()], [], AUTUMN).sentence == "no next check set"


def test_a_date_in_the_past_is_overdue_with_the_days_and_one_today_is_not():
    found = next_check([entry(due_on=SUMMER)], [], date(2026, 7, 4))
    assert found.overdue
    assert found.sentence == "overdue: check was due 2026-07-01, 3 days ago"
    assert not next_check([entry(due_on=SUMMER)], [], SUMMER).overdue


def test_hours_and_cycles_are_due_when_reached_and_unknown_hours_are_not_guessed():
    by_hours = [entry(due_hours_h=500.0)]
    assert next_check(by_hours, [], SUMMER, machine_hours_h=500.0).overdue
    unknown = next_check(by_hours, [], SUMMER)
    assert not unknown.overdue
    assert "now: not recorded" in unknown.sentence
    by_cycles = [entry(due_cycles=200)]
    assert not next_check(by_cycles, [], SUMMER, throws_since=199).overdue
    assert next_check(by_cycles, [], SUMMER, throws_since=200).overdue


def test_a_check_done_starts_the_same_interval_again():
    found = next_check([entry(due_on=SUMMER)], [date(2026, 6, 20)], date(2026, 7, 4))
    assert not found.overdue
    assert found.on == date(2026, 6, 20) + (SUMMER - SPRING)


def test_a_check_before_the_entry_or_in_the_future_answers_nothing():
    for day in (date(2026, 3, 1), date(2027, 1, 1)):
        assert next_check([entry(due_on=SUMMER)], [day], date(2026, 7, 4)).overdue


def test_a_stretch_starts_where_the_action_or_the_entry_says():
    entries = [
        entry(),
        entry(SUMMER, action="inspected"),
        entry(AUTUMN, action="inspected", new_stretch=True),
        entry(date(2027, 1, 1), new_stretch=False),
    ]
    assert [one.on for one in entries if one.starts_stage] == [SPRING, AUTUMN]
    assert set(ACTIONS.values()) == {True, False}


def test_an_entry_comes_back_from_the_logbook_as_it_went_in():
    now = datetime(2026, 3, 15, 8, 0, tzinfo=UTC)
    full = entry(
        seen=Moment("binds at the end", SPRING),
        found=Moment("bent pin", SPRING),
        fixed=Moment("new pin"),
        parts="1 pin",
        machine_hours_h=1210.5,
        cost="45.00 EUR",
        new_stretch=True,
        due_on=SUMMER,
        due_hours_h=1500.0,
        due_cycles=500,
        answers=("r1", "r2"),
        by="M. K.",
    )
    for made in (full, entry(by="M. K.")):
        row = row_from(made, now)
        assert entry_from(replace(row, id="v1")) == replace(made, written=now)
        json.dumps(dict(row.details))


@given(st.lists(st.one_of(st.none(), st.dates(date(2020, 1, 1), date(2030, 1, 1))), min_size=4, max_size=4))
def test_dates_that_run_backwards_are_named(days: list[date | None]):
    moments = [Moment("x", day) for day in days]
    made = entry(seen=moments[0], found=moments[1], fixed=moments[2], verified=moments[3])
    given_days = [day for day in days if day is not None]
    backwards = sum(late < early for early, late in pairwise(given_days))
    assert len(order_complaints(made)) == backwards


def test_an_accepted_check_sets_the_next_one_a_season_later_unless_an_entry_says_otherwise():
    done = date(2026, 6, 20)
    assert next_check([], [], SUMMER) == NextCheck()
    found = next_check([], [done], SUMMER)
    assert (found.on, found.overdue) == (done + SEASON, False)
    assert next_check([], [done], done + SEASON + timedelta(days=1)).overdue
    by_hours = next_check([entry(due_hours_h=500.0)], [done], SUMMER)
    assert (by_hours.on, by_hours.hours_h) == (done + SEASON, None)
