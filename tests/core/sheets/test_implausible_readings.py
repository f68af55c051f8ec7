"""A reading that can't be is asked about before it is written; one that can be, however bad the throw, never is."""

from dataclasses import replace

import pytest

from throwbook.core.rig import Actuator, LockMechanism, Rig
from throwbook.core.sheets.assess_hand import assess_by_hand
from throwbook.core.sheets.hand_readings import (
    HandThrow,
    Reading,
    _beyond_stall,
    implausible_reading,
    parse_line,
)

RIG = Rig(
    "quarry-loader",
    Actuator(12.0, 0.2, 1500.0, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011),
    LockMechanism(0.188),
)


def told(line):
    throw = parse_line(line, "test")
    return implausible_reading(throw, assess_by_hand(throw, RIG), RIG)


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("lock 14.3s 2.9A 2.1A 12.4V", "peak is below"),
        ("lock 14.3s 2900mA 2100mA", "peak is below"),
        ("lock 14.3s 18.5A 19A 12.4V", "stall current"),
        ("lock 14.3s 14.5A 15A 12.0V 10degC", "stall current"),
        ("lock 14.3s 25A", "far above"),
        ("lock 14.3s 0.0A 2.9A", "far below"),
    ],
)
def test_a_reading_that_cannot_be_is_told(line, word):
    assert word in told(line)


@pytest.mark.parametrize(
    "line",
    [
        "lock 14.3s 2.1A 2.9A 12.4V",
        "lock 14.3s 2.1A 2.1A 12.4V",  # a meter of 0.1 A shows both alike
        "lock 14.3s 2.1A 2A 12.4V",  # the peak read on a coarser range
        "lock 14.3s 2.12A 2.1A 12.4V",
        "lock 14.3s - 2.9A 12.4V",
        "lock 31s 3.4A 5.2A 10.9V",  # a heavy throw on a weak battery
        "lock 22s 7.5A 8.0A 14.4V",  # near its stall, engine running
        "lock 22s 11A 12A 12.0V 10degC",  # above the data sheet's stall current, within what the sheet is worth
        "lock 2s 9.5A stalled 12.4V",
        "lock did not start 12.4V",
        "unlock 0.4s 3.0A stopped short",
    ],
)
def test_a_bad_throw_is_no_slip(line):
    assert told(line) == ""


@pytest.mark.parametrize(
    ("rated_m_s", "volts", "most_a"),
    [
        # R = 12 (1 - 11/16) / (3.6 - 11/16 0.9) = 1.258 ohm, known to 13.7 %: 2 u less, at 12 V
        (0.011, 12.0, 13.1),
        (0.011, None, 16.4),  # the highest supply there is stands in: 1.25 times nominal
        # without a full-load speed R is known to 32 %: never less than half of it
        (None, 12.0, 23.4),
    ],
)
def test_no_motor_that_turned_averaged_more_than_it_draws_standing_still(rated_m_s, volts, most_a):
    rig = replace(RIG, actuator=replace(RIG.actuator, full_load_speed_m_s=rated_m_s))
    throw = HandThrow("lock", ambient_c=Reading(20.0, 1.0), voltage_v=volts and Reading(volts, 0.1))
    for share, refused in ((0.985, False), (1.015, True)):
        said = _beyond_stall(replace(throw, run_current_a=Reading(share * most_a, 0.01)), rig)
        assert ("is more than the stall current" in said) == refused, said
