"""What the board itself said of a record, in the record's head: what it spoils, and what a person is told of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from throwbook.core.quantities.clock import (
    CLOCK_FROM_KEY,
    CLOCK_KEY,
    CLOCK_UNTIL_KEY,
    clock_u_s,
)

ENDED_KEY = "recording_ended"
"""Why it ended, where neither the current nor a person ended it."""
SPOILING = ("sensor-absent", "sensor-reset")
"""Faults after which a reading isn't the current."""
LASTING = "sensor-absent"
"""No board says when its sensor is back: from here on nothing is believed."""
LATE_S = 0.25
"""A board tells a fault so much later at most than it happened: its buffer comes first (*practice*)."""
UNTIMED_SHARE = 0.5
"""A time that may be off by more than half of itself settles nothing (*practice*)."""
RATE_SHARE = 0.01
"""A rate this far from the one asked for is told (*practice*)."""


@dataclass(frozen=True)
class RecordedFault:
    """One fault as the board told it."""

    code: str
    text: str
    at_s: float
    """From the record's first row; before 0: before the record."""


def faults_in(head: Mapping[str, Any]) -> tuple[RecordedFault, ...]:
    """Every fault that the head tells, those from before its first row first."""
    before = head.get("board_faults_before")
    earlier = (
        [RecordedFault(str(code), "", float("-inf")) for code in before]
        if isinstance(before, Mapping)
        else []
    )
    told = head.get("board_faults")
    inside = []
    for one in told if isinstance(told, list) else []:
        if isinstance(one, Mapping) and isinstance(one.get("at_s"), int | float):
            inside.append(RecordedFault(str(one.get("code")), str(one.get("text", "")), float(one["at_s"])))
    return (*earlier, *inside)


def head_from(head: Mapping[str, Any], before_s: float) -> dict[str, Any]:
    """The head of a record that begins so much later [s]: faults and clock are told from its own first row."""
    own = dict(head)
    if not before_s:
        return own
    for key in (CLOCK_FROM_KEY, CLOCK_UNTIL_KEY):
        if isinstance(own.get(key), int | float):
            own[key] = round(own[key] - before_s, 6)
    told = own.get("board_faults")
    if isinstance(told, list):
        own["board_faults"] = [
            {**one, "at_s": round(one["at_s"] - before_s, 6)}
            for one in told
            if isinstance(one, Mapping) and isinstance(one.get("at_s"), int | float)
        ]
    return own


def spoilt_by(head: Mapping[str, Any], start_s: float, end_s: float) -> str:
    """Why readings between these times [s from the first row] can't be believed; empty: the board reported nothing."""
    for fault in faults_in(head):
        lasts = fault.code == LASTING
        if fault.code in SPOILING and (lasts or fault.at_s >= start_s) and fault.at_s <= end_s + LATE_S:
            return f"the board reported that its current sensor did not answer: {_said(fault)}"
    return ""


def untimed_by(head: Mapping[str, Any], start_s: float, end_s: float) -> str:
    """Why no time can be told of a movement between these times [s from the first row]; empty: it can."""
    if clock_u_s(head, start_s, end_s) <= UNTIMED_SHARE * (end_s - start_s):
        return ""
    return f"its times are not known: {head.get(CLOCK_KEY, 'something was wrong with the clock')}"


def lost_by_numbers(head: Mapping[str, Any], otherwise: float) -> float:
    """Samples that a numbering board lost in this record; ``otherwise`` where nothing numbered them."""
    return _number(head.get("lost_samples")) if "rate_asked_hz" in head else otherwise


def notes_of(head: Mapping[str, Any]) -> list[str]:
    """What a person is told of this record."""
    notes = [f"the board reported {_said(fault)}" for fault in faults_in(head)[:5]]
    left = len(faults_in(head)) - len(notes)
    if left > 0:
        notes.append(f"the board reported {left} more faults")
    asked_hz, came_hz = (_number(head.get(key)) for key in ("rate_asked_hz", "rate_hz"))
    if asked_hz and came_hz and abs(came_hz / asked_hz - 1.0) > RATE_SHARE:
        notes.append(f"{asked_hz:g} samples per second were set, {came_hz:.4g} reached")
    if ENDED_KEY in head:
        notes.append(f"the recording was ended because {head[ENDED_KEY]}")
    clock = head.get(CLOCK_KEY)
    if isinstance(clock, str):
        notes.append(clock)
    return notes


def _number(said: object) -> float:
    return float(said) if isinstance(said, int | float) else 0.0


def _said(fault: RecordedFault) -> str:
    when = "before the record began" if fault.at_s < 0.0 else f"at {fault.at_s:.2f} s"
    return f"{fault.code}{f' ({fault.text})' if fault.text else ''} {when}"
