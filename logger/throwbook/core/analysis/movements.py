"""A record split into its movements: each with its own rest before and after, and the direction it went in.

A movement is any run of current that isn't rest. Every one is judged; none is passed over.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from types import MappingProxyType

import numpy as np

from throwbook.core.analysis.current_runs import current_runs_of, rows_smoothed
from throwbook.core.analysis.record_conditions import LASTING, LATE_S, faults_in, head_from
from throwbook.core.analysis.residual_current import (
    ABOUT,
    ABOVE_RATED,
    JOG,
    PAUSE_S,
    TURNS,
    WHOLE,
    CurrentRun,
    FullStroke,
    earliest_of,
    moved_up,
)
from throwbook.core.analysis.rest import NO_REST, Rest, find_rest
from throwbook.core.quantities.statistics import median_of
from throwbook.core.rig import LOCK, UNLOCK, Rig
from throwbook.core.trace import (
    LOCK_THROW_BEFORE,
    MOVEMENT,
    MOVEMENTS,
    UNLOCK_BEFORE,
    WHOLE_THROW_FOLLOWS,
    FloatArray,
    Trace,
)

SIGNED_BOARD = "motor"
"""Behind the reversing switch a board reads the current with its sign."""
REST_LEVEL = "rest_level_a"
"""Head key of a movement that was cut out of a record: the reading at rest in the whole of it [A]."""
FEWEST_READ = 20
"""Rows that may hold a rest and the begin of a movement (*practice*)."""
HALF_WAY = 0.5
"""Where less than this share of the stroke was moved since a whole throw, the rod is still nearer to that end."""


@dataclass(frozen=True, eq=False)
class Movement:
    """One movement, cut out of its record."""

    trace: Trace
    """Its rows with the rest before and after; times still those of the record."""
    direction: str | None
    """None: the current doesn't tell which way it went."""
    rest: Rest = NO_REST
    period_s: float = 0.0
    """Median time between rows [s]."""
    run: CurrentRun | None = None
    """Where in ``trace`` it is; None: nothing moved."""
    own_level: bool = False
    """Somewhere in its record the motor may have turned at the very current that flows at rest."""


def movements_of(trace: Trace, rig: Rig, stroke: FullStroke) -> tuple[Movement, ...]:
    """The movements of a record in order; one that never moved where the record holds none.

    Parameters
    ----------
    trace
        n rows, n >= 3.
    stroke
        What the full stroke takes, and the currents of the rating.
    """
    period_s = median_of(np.diff(trace.time_s))
    read = slice(0, _first_unread(trace))
    volts = None if trace.voltage_v is None else trace.voltage_v[read]
    rest = find_rest(trace.current_a[read], period_s, stroke.no_load_a, stroke.full_load_a, volts)
    told = trace.head.get(REST_LEVEL)
    if isinstance(told, float) and rest.seen:
        rest = replace(rest, level_a=told)  # the record that it was cut from showed more
    runs = _over_unread_rows(current_runs_of(trace, rest, period_s, stroke), trace)
    if not runs:
        return (Movement(trace, trace.direction, rest, period_s, None),)
    shares = [_share(trace, rest, run, stroke) for run in runs]
    own_level = _may_turn_at_rest_level(trace, rest, runs, shares, stroke)
    if len(runs) == 1:
        return (Movement(trace, trace.direction, rest, period_s, runs[0], own_level),)
    directions = _directions(runs, shares, trace.direction, rig)
    margin = rows_smoothed(rest, stroke.no_load_a) + 1
    found = []
    for number, (run, direction) in enumerate(zip(runs, directions, strict=True)):
        later = range(number + 1, len(runs))
        start = _rest_begins(trace.time_s, runs[number - 1], earliest_of(run)) if number else 0
        stop = max(run.over + 2, earliest_of(runs[number + 1]) - margin) if later else len(trace)
        follows = any(shares[each] > WHOLE and runs[each].way == run.way for each in later)
        head: dict[str, object] = {MOVEMENT: number + 1, MOVEMENTS: len(runs)}
        if follows:
            head[WHOLE_THROW_FOLLOWS] = True
        whole = [each for each in range(number) if shares[each] > WHOLE]
        if whole and directions[whole[-1]] != UNLOCK:
            head[LOCK_THROW_BEFORE] = True
        if number and directions[number - 1] != LOCK:
            head[UNLOCK_BEFORE] = True
        if rest.seen:
            head[REST_LEVEL] = round(rest.level_a, 9)
        cut = _cut(trace, slice(start, stop), head, direction)
        moved = moved_up(run, start)
        found.append(Movement(cut, direction, rest, period_s, moved, own_level))
    return tuple(found)


def _may_turn_at_rest_level(
    trace: Trace, rest: Rest, runs: Sequence[CurrentRun], shares: Sequence[float], stroke: FullStroke
) -> bool:
    """Whether a motor may have turned on, light, at the very current that flows at rest: that current is one it turns at, and
    what stands out of it is in pieces, or no more than a start."""
    if abs(rest.level_a) * ABOUT < TURNS * stroke.no_load_a:
        return False
    for run, share in zip(runs, shares, strict=True):
        drew_a = abs(median_of(trace.current_a[run.first : run.last + 1] - rest.level_a))
        if run.pauses or (share < JOG and drew_a < ABOVE_RATED * stroke.full_load_a):
            return True
    return False


def _first_unread(trace: Trace) -> int:
    """Row from which nothing tells what a rest is: the board's sensor didn't answer, and its readings aren't the current."""
    lost_s = [fault.at_s for fault in faults_in(trace.head) if fault.code == LASTING]
    row = int(np.searchsorted(trace.time_s, min(lost_s, default=np.inf) - LATE_S))
    return row if row >= FEWEST_READ else len(trace)


def _over_unread_rows(runs: list[CurrentRun], trace: Trace) -> list[CurrentRun]:
    """The runs without the ends that nobody saw: the current was gone because the board's sensor didn't answer."""
    lost_s = [fault.at_s for fault in faults_in(trace.head) if fault.code == LASTING]
    joined: list[CurrentRun] = []
    for each in runs:
        before = joined[-1] if joined else None
        if before is not None and before.way == each.way:
            gone_s = float(trace.time_s[before.last])
            if any(abs(at_s - gone_s) <= LATE_S for at_s in lost_s):
                joined[-1] = replace(each, first=before.first, pauses=before.pauses + each.pauses)
                continue
        joined.append(each)
    return joined


def _share(trace: Trace, rest: Rest, run: CurrentRun, stroke: FullStroke) -> float:
    """Share of the stroke that a run drove, roughly."""
    current_a = run.way * (trace.current_a - rest.level_a)
    return stroke.share_done(trace.time_s, current_a, trace.voltage_v, slice(run.first, run.last + 1))


def _rest_begins(time_s: FloatArray, before: CurrentRun, first: int) -> int:
    """Row from which the rest between two movements counts as the later one's: behind the earlier one's settling.

    A current that flows on up to the later one is all the rest there is.
    """
    settled = before.over if time_s[first] - time_s[before.over] >= PAUSE_S else before.last
    after_s = min(PAUSE_S, 0.5 * float(time_s[first] - time_s[settled]))
    return min(int(np.searchsorted(time_s, time_s[settled] + after_s)), first - 1)


def _directions(
    runs: Sequence[CurrentRun], shares: Sequence[float], direction: str, rig: Rig
) -> list[str | None]:
    """Which way each movement went; None where the current doesn't tell.

    The record's own direction is that of its first movement. A board that reads the current with its sign tells which of
    the others went the same way: one behind the reversing switch, or any that shows both signs. Without signs the first
    whole throw went the record's way too, and after a whole throw the next one can only go back: the limit switch that
    ended the first leaves no other.
    """
    if rig.board.placed_in == SIGNED_BOARD or len({each.way for each in runs}) > 1:
        return [direction if each.way == runs[0].way else _other(direction) for each in runs]
    found: list[str | None] = []
    before: str | None = None
    since = 0.0
    for share in shares:
        if share <= WHOLE:
            found.append(None if found else direction)
            since += share
            continue
        went = direction if before is None else _other(before) if since < HALF_WAY else None
        found.append(went)
        before, since = went or before, 0.0
    return found


def _other(direction: str) -> str:
    return UNLOCK if direction == LOCK else LOCK


def _cut(trace: Trace, rows: slice, head: Mapping[str, object], direction: str | None) -> Trace:
    return replace(
        trace.rows(rows),
        direction=direction or trace.direction,
        head=MappingProxyType({**trace.head, **head}),
    )


def on_its_own(trace: Trace) -> Trace:
    """A movement as a record of its own: times from its first row, ``started`` when that was."""
    before_s = float(trace.time_s[0])
    started = None if trace.started is None else trace.started + timedelta(seconds=before_s)
    head = MappingProxyType(head_from(trace.head, before_s))
    # A difference leaves digits that mean nothing; a nanosecond is far below any board's step.
    return replace(trace, time_s=np.round(trace.time_s - before_s, 9), started=started, head=head)
