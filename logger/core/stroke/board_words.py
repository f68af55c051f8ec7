"""What the board itself said of a record, in the record's head: what it spoils, and what a person is told of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from logger.core.clock import CLOCK_KEY, clock_u_s

SPOILING = ("sensor-absent", "sensor-reset")
"""Faults after which a reading isn't the current."""
LASTING = "sensor-absent"
"""No board says when its sensor is back: from here on nothing is believed."""
LATE_S = 0.25
"""A board tells a fault so much later at most than it happened: its buffer comes first (*practice*)."""
RATE_SHARE = 0.01
"""A rate this far from the one asked for is told (*practice*)."""


@dataclass(frozen=True)
class BoardFault:
    """One fault as the board told it."""

    code: str
    text: str
    at_s: float
    """From the record's first row; before 0: before the record."""


def faults_in(head: Mapping[str, Any]) -> tuple[BoardFault, ...]:
    """Every fault that the head tells, those from before its first row first."""
    before = head.get("board_faults_before")
    earlier = [BoardFault(str(code), "", float("-inf")) for code in before] if isinstance(before, Mapping) else []
    told = head.get("board_faults")
    inside = []
    for one in told if isinstance(told, list) else []:
        if isinstance(one, Mapping) and isinstance(one.get("at_s"), int | float):
            inside.append(BoardFault(str(one.get("code")), str(one.get("text", "")), float(one["at_s"])))
    return (*earlier, *inside)


def spoilt_by(head: Mapping[str, Any], start_s: float, end_s: float) -> str:
    """Why readings between these times [s from the first row] can't be believed; empty: the board said nothing."""
    for fault in faults_in(head):
        since_s = fault.at_s if fault.code == LASTING else max(fault.at_s, start_s)
        if fault.code in SPOILING and since_s <= end_s + LATE_S and (
            fault.code == LASTING or fault.at_s >= start_s
        ):
            return f"the board said that its current sensor did not answer: {_said(fault)}"
    return ""


def untimed_by(head: Mapping[str, Any], lasted_s: float) -> str:
    """Why no time can be told of a movement that lasted so long; empty: it can."""
    if clock_u_s(head) < lasted_s or not clock_u_s(head):
        return ""
    return f"its times can't be told: {head.get(CLOCK_KEY, 'something was wrong with the clock')}"


def notes_of(head: Mapping[str, Any]) -> list[str]:
    """What a person is told of this record."""
    notes = [f"the board said {_said(fault)}" for fault in faults_in(head)[:5]]
    left = len(faults_in(head)) - len(notes)
    if left > 0:
        notes.append(f"the board said {left} more faults")
    asked_hz, came_hz = head.get("rate_asked_hz"), head.get("rate_hz")
    if isinstance(asked_hz, int | float) and isinstance(came_hz, int | float) and asked_hz > 0.0:
        if abs(came_hz / asked_hz - 1.0) > RATE_SHARE:
            notes.append(f"{asked_hz:g} samples a second were asked for, {came_hz:.4g} came")
    clock = head.get(CLOCK_KEY)
    if isinstance(clock, str):
        notes.append(clock)
    return notes


def _said(fault: BoardFault) -> str:
    when = "before the record began" if fault.at_s < 0.0 else f"at {fault.at_s:.2f} s"
    return f"{fault.code}{f' ({fault.text})' if fault.text else ''} {when}"
