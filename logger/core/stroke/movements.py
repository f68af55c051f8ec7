"""A record split into its movements: each with its own rest before and after, and the direction it went in.

A movement is any stretch of current that isn't rest. Every one is judged; none is passed over.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from types import MappingProxyType

import numpy as np

from logger.core.quantities.numerics import median_of
from logger.core.rig import Rig
from logger.core.stroke.board_words import told_from
from logger.core.stroke.movement import PAUSE_S, FullStroke, movement_of, regions_of
from logger.core.stroke.rest import first_guess_of_zero, noise_of, polarity_of
from logger.core.stroke.segmentation import movement_threshold
from logger.core.trace import LOCK, MOVEMENT, MOVEMENTS, UNLOCK, WHOLE_THROW_FOLLOWS, FloatArray, Trace

SIGNED_BOARD = "motor"
"""Behind the reversing switch a board reads the current with its sign."""
WHOLE = 0.85
"""A movement over more than this share of the stroke is a whole throw (*assumed*: the stroke is known to 5 to 10 %
before anything is measured)."""

HALF_WAY = 0.5
"""Where less than this share of the stroke was moved since a whole throw, the rod is still nearer to that end."""


@dataclass(frozen=True, eq=False)
class Movement:
    """One movement, cut out of its record."""

    trace: Trace
    """Its rows with the rest before and after; times still those of the record."""
    direction: str | None
    """None: the current doesn't tell which way it went."""


@dataclass(frozen=True)
class _Stretch:
    first: int
    last: int
    way: int
    """Sign of its current."""
    share: float
    """Share of the stroke that it drove, roughly."""


def movements_of(
    trace: Trace, rig: Rig, no_load_current_a: float, stroke: FullStroke
) -> tuple[Movement, ...]:
    """The movements of a record in order; the whole record where it holds one or none.

    Parameters
    ----------
    trace
        n rows, n >= 3.
    no_load_current_a
        From the rating [A].
    stroke
        What the full stroke takes.
    """
    stretches = _stretches(trace, no_load_current_a, stroke)
    if len(stretches) < 2:
        return (Movement(trace, trace.direction),)
    directions = _directions(stretches, trace.direction, rig)
    found = []
    for number, (stretch, direction) in enumerate(zip(stretches, directions, strict=True)):
        start = _rest_begins(trace, stretches[number - 1].last, stretch.first) if number else 0
        stop = stretches[number + 1].first if number + 1 < len(stretches) else len(trace)
        follows = any(later.share > WHOLE and later.way == stretch.way for later in stretches[number + 1 :])
        head = {MOVEMENT: number + 1, MOVEMENTS: len(stretches)} | (
            {WHOLE_THROW_FOLLOWS: True} if follows else {}
        )
        found.append(Movement(_cut(trace, slice(start, stop), head, direction), direction))
    return tuple(found)


def _stretches(trace: Trace, no_load_current_a: float, stroke: FullStroke) -> list[_Stretch]:
    """Every movement of a record, in order."""
    time_s = trace.time_s
    period_s = median_of(np.diff(time_s))
    zero_a, rest_seen = first_guess_of_zero(trace.current_a, period_s, no_load_current_a)
    raw = trace.current_a - zero_a
    noise_a = noise_of(raw, period_s, no_load_current_a) if rest_seen else 0.0
    smooth, threshold_a = movement_threshold(raw, noise_a, no_load_current_a)
    polarity = polarity_of(raw, no_load_current_a)
    found = []
    for way in (polarity, -polarity):
        regions = regions_of(way * smooth > threshold_a, time_s)
        while regions:
            (first, last), pauses = movement_of(regions, time_s, way * raw, trace.voltage_v, period_s, stroke)
            share = stroke.share_done(time_s, way * raw, trace.voltage_v, slice(first, last + 1))
            found.append(_Stretch(first, last, way, share))
            regions = regions[pauses + 1 :]
    return _without_echoes(sorted(found, key=lambda each: each.first), time_s)


def _without_echoes(stretches: list[_Stretch], time_s: FloatArray) -> list[_Stretch]:
    """A motor braked by its own switch drives a current back: what is over within 0.3 s of an end belongs to it."""
    kept: list[_Stretch] = []
    for each in stretches:
        if kept and time_s[each.last] - time_s[kept[-1].last] <= PAUSE_S:
            continue
        kept.append(each)
    return kept


def _rest_begins(trace: Trace, last: int, first: int) -> int:
    """Row from which the rest between two movements counts as the later one's: behind the earlier one's settling."""
    after_s = min(PAUSE_S, 0.5 * float(trace.time_s[first] - trace.time_s[last]))
    return int(np.searchsorted(trace.time_s, trace.time_s[last] + after_s))


def _directions(stretches: Sequence[_Stretch], direction: str, rig: Rig) -> list[str | None]:
    """Which way each movement went; None where the current doesn't tell.

    The record's own direction is that of its first movement. A board that reads the current with its sign tells which of
    the others went the same way: one behind the reversing switch, or any that shows both signs. Without signs the first
    whole throw went the record's way too, and after a whole throw the next one can only go back: the limit switch that
    ended the first leaves no other.
    """
    if rig.board.placed_in == SIGNED_BOARD or len({each.way for each in stretches}) > 1:
        return [direction if each.way == stretches[0].way else _other(direction) for each in stretches]
    found: list[str | None] = []
    before: str | None = None
    since = 0.0
    for each in stretches:
        if each.share <= WHOLE:
            found.append(None if found else direction)
            since += each.share
            continue
        went = direction if before is None else _other(before) if since < HALF_WAY else None
        found.append(went)
        before, since = went or before, 0.0
    return found


def _other(direction: str) -> str:
    return UNLOCK if direction == LOCK else LOCK


def _cut(trace: Trace, rows: slice, head: Mapping[str, object], direction: str | None) -> Trace:
    return replace(
        trace,
        time_s=trace.time_s[rows],
        current_a=trace.current_a[rows],
        voltage_v=None if trace.voltage_v is None else trace.voltage_v[rows],
        direction=direction or trace.direction,
        head=MappingProxyType({**trace.head, **head}),
    )


def on_its_own(trace: Trace) -> Trace:
    """A movement as a record of its own: times from its first row, ``started`` when that was."""
    before_s = float(trace.time_s[0])
    started = None if trace.started is None else trace.started + timedelta(seconds=before_s)
    head = MappingProxyType(told_from(trace.head, before_s))
    # A difference leaves digits that mean nothing; a nanosecond is far below any board's step.
    return replace(trace, time_s=np.round(trace.time_s - before_s, 9), started=started, head=head)
