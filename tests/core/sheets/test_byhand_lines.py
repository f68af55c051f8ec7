"""Throws typed in as lines: what is read, and what is refused with its line."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.sheets.hand_readings import (
    EXAMPLE,
    PHRASES,
    HandThrow,
    Reading,
    parse_line,
    parse_lines,
)
from throwbook.errors import InputError

FULL = HandThrow(
    "lock",
    Reading(14.3, 0.1),
    Reading(2.1, 0.1),
    Reading(2.9, 0.1),
    Reading(12.4, 0.1),
    left_pin="yes",
    right_pin="yes",
)


@pytest.mark.parametrize(
    "line",
    [
        EXAMPLE,
        "LOCK 14.3 s 2.1 A 2.9 A 12.4 V both seen",
        "lock, 14.3s, 2.1A, 2.9A, 12.4V, both pins seen",
        "3) lock 14,3s; 2,1A; 2,9A; 12,4V; left seen; right seen",
        "12. lock peak 2.9A run 2.1A 14.3s 12.4V under load both seen",
        "lock run=2.1A peak=2.9A load=12.4V 14.3sec left seen right seen",
        "lock\t14.3s\t2.1A\t2.9A\t12.4V\tboth seen",
    ],
)
def test_the_same_throw_written_in_many_ways_is_the_same(line: str):
    assert parse_line(line) == FULL


def test_milliamperes_fahrenheit_rest_voltage_and_note_are_read():
    found = parse_line("unlock 13.95s 1850mA 12.61V at rest 12.4V 41degF # wet, windy")
    assert found.run_current_a == Reading(1.85, 0.001)
    assert found.time_s == Reading(13.95, 0.01)
    assert found.rest_voltage_v == Reading(12.61, 0.01)
    assert found.voltage_v is not None
    assert found.ambient_c is not None
    assert found.ambient_c.value == pytest.approx(5.0)
    assert found.note == "wet, windy"


def test_what_was_seen_is_kept_apart_for_each_side():
    found = parse_line("lock 14.3s left seen right not seen load check failed let go stalled")
    assert (found.left_pin, found.right_pin) == ("yes", "no")
    assert (found.load_check, found.retained_power_off, found.ended) == ("no", "no", "stall")
    assert parse_line("lock 14s").left_pin == "not looked"


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("14.3s lock", "starts with 'lock' or 'unlock'"),
        ("lock 14.3", "14.3 has no unit"),
        ("lock 14.3s 2.1", "2.1 has no unit"),
        ("lock 14.3kg", "a unit that isn't known"),
        ("lock 14.3s 15s", "is given twice"),
        ("lock 1A 2A 3A", "is given twice"),
        ("lock 14.3s seen", "'seen' isn't understood"),
        ("lock 14.3s both", "'both' isn't understood"),
        ("lock 14.3s left seen left not seen", "is given twice"),
        ("lock run 14.3s", "can't be the run value"),
        ("lock -14.3s", "below zero"),
        ("lock nan s", "'nan' isn't understood"),
        ("lock 1e3s", "isn't known"),
    ],
)
def test_what_is_not_understood_is_refused_with_its_line(line: str, complaint: str):
    with pytest.raises(InputError, match="pasted lines, line 2") as caught:
        parse_lines(f"{EXAMPLE}\n{line}")
    assert complaint in str(caught.value)


def test_blank_lines_and_notes_are_skipped_and_nothing_at_all_is_refused():
    assert parse_lines(f"\n# Fellside Yard\n  {EXAMPLE}\n\n") == [FULL]
    with pytest.raises(InputError, match="no throw in it"):
        parse_lines("# nothing\n")


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_and_never_crashes(text: str):
    with suppress(InputError):
        assert parse_line(text).direction in ("lock", "unlock")


@given(
    st.floats(0.1, 99.0),
    st.floats(0.1, 20.0),
    st.sampled_from(sorted(PHRASES)),
    st.sampled_from(["lock", "unlock"]),
)
def test_what_is_written_is_what_is_read(time_s: float, current_a: float, phrase: str, direction: str):
    found = parse_line(f"{direction} {time_s:.2f}s {current_a:.3f}A {phrase}")
    assert found.time_s == Reading(float(f"{time_s:.2f}"), 0.01)
    assert found.run_current_a == Reading(float(f"{current_a:.3f}"), 0.001)
    for name, answer in PHRASES[phrase].items():
        assert getattr(found, name) == answer


@pytest.mark.parametrize(
    ("line", "same"),
    [
        ("lock 8.7s 2.2A - 12.3V both seen", "lock 8.7s 2.2A 12.3V both seen"),
        ("lock 8.7s - 3.1A 12.3V", "lock 8.7s peak 3.1A 12.3V"),
        ("lock - 2.2A 3.1A", "lock 2.2A 3.1A"),
        ("lock 8.7s 2.2A 3.1A \N{EN DASH} left seen - -", "lock 8.7s 2.2A 3.1A left seen"),
        ("unlock 8.7s 2.2A 3.1A 12.3 V DC - - - -", "unlock 8.7s 2.2A 3.1A 12.3V"),
    ],
)
def test_a_dash_of_the_paper_sheet_is_a_reading_that_was_not_taken(line: str, same: str):
    assert parse_line(line) == parse_line(same)


def test_a_reading_where_a_dash_stood_is_refused():
    with pytest.raises(InputError, match="is given twice"):
        parse_line("lock - 2.2A 8.7s")
