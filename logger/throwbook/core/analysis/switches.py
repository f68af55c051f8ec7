"""What the switch at each pin did over one movement: what it read before and after, when it changed, and where.

A switch can only speak against a pin. Nothing here, and nothing that is reckoned from it, takes the place of a person's look.
"""

from dataclasses import dataclass

import numpy as np

from throwbook.core.analysis.residual_current import PAUSE_S
from throwbook.core.analysis.segmentation import Segments
from throwbook.core.analysis.travel import Travel
from throwbook.core.assessment import Measured
from throwbook.core.quantities.statistics import K, from_half_width
from throwbook.core.rig import SIDES
from throwbook.core.trace import BoolArray, FloatArray, Trace

DEBOUNCE_S = 0.05
"""A board believes a contact that has rested for up to so long (*assumed*): the change was at some moment in that time before
the row that shows it. Both sides wait alike, so it drops out of the difference between them."""
BOUNCES_S = 0.1
"""Changes nearer to each other than this are one change that bounced (*practice*)."""
SPEED_U, SPEED_U_UNREAD = 0.02, 0.15
"""Relative standard uncertainty of how fast the rod moves at one place against its mean, with the voltage read and without
(*assumed*: from no load to full load a rod loses 15 to 40 % of its speed)."""


@dataclass(frozen=True)
class SwitchChange:
    """The one change of a switch in a movement."""

    at_s: Measured
    """From the start of the movement [s]."""
    row_s: Measured
    """In the record's own time, as its rows show it [s]: the board's wait is still in it."""
    at_fraction: Measured
    """Share of the stroke that the rod had moved."""


@dataclass(frozen=True)
class PinSwitch:
    """The switch at one pin over one movement; where the movement's start or end isn't in the record: None.

    Where no current flowed, every row counts as one before a movement, and the last one as the last.
    """

    side: str
    closed_before: bool | None
    """In any row before the movement."""
    open_before: bool | None
    """The same, open."""
    closed_at_start: bool | None
    """In the last row before the movement."""
    closed_after: bool | None
    """In every row after it, up to the next movement."""
    open_from_s: float | None
    """First row after the movement that shows it open [s, in the record's own time]."""
    closed_at_last: bool | None
    """In the last row after the movement."""
    changes: int
    """How often it changed in all rows; a change that bounced counts once."""
    flickers: int
    """How often it changed and changed back at once."""
    change: SwitchChange | None
    """None: it didn't change, or more than once."""


def switches_of(
    trace: Trace, segments: Segments, moved: Travel, ended: bool, share: float, place_u: float
) -> tuple[PinSwitch, ...]:
    """Every fitted switch, left first.

    Parameters
    ----------
    trace
        n rows, of which ``segments`` is the movement.
    ended
        Whether the record holds the movement's end.
    share
        Share of the stroke that was moved.
    place_u
        Standard uncertainty of a place on the way, share of the stroke.
    """
    return tuple(
        _switch(side, closed, trace, segments, moved, ended, share, place_u)
        for side, closed in _fitted(trace)
    )


def switches_at_rest(trace: Trace) -> tuple[PinSwitch, ...]:
    """Every fitted switch over all n rows of a record in which no current flowed, left first."""
    return tuple(
        PinSwitch(
            side=side,
            closed_before=bool(closed.any()),
            open_before=not closed.all(),
            closed_at_start=bool(closed[-1]),
            closed_after=None,
            open_from_s=None if closed.all() else float(trace.time_s[closed.argmin()]),
            closed_at_last=bool(closed[-1]),
            changes=len(_edges(closed, trace.time_s)),
            flickers=0,
            change=None,
        )
        for side, closed in _fitted(trace)
    )


def _fitted(trace: Trace) -> list[tuple[str, BoolArray]]:
    channels = ((side, getattr(trace, f"{side}_switch")) for side in SIDES)
    return [(side, closed) for side, closed in channels if closed is not None]


def _switch(
    side: str,
    closed: BoolArray,
    trace: Trace,
    segments: Segments,
    moved: Travel,
    ended: bool,
    share: float,
    place_u: float,
) -> PinSwitch:
    time_s = trace.time_s
    before = closed[time_s < segments.start_s - segments.start_u_s]
    seen_before = len(before) > 0 and not segments.starts_running
    after = rows_after(time_s, segments.end_s) if ended else np.zeros(len(time_s), np.bool_)
    opened = np.flatnonzero(after & ~closed)
    edges = _edges(closed, time_s)
    lasting = [edge for edge in edges if closed[edge[0] - 1] != closed[edge[1]]]
    change = None
    if len(edges) == len(lasting) == 1 and not segments.starts_running:
        change = _change(lasting[0], time_s, segments, moved, share, place_u)
    return PinSwitch(
        side=side,
        closed_before=bool(before.any()) if seen_before else None,
        open_before=not before.all() if seen_before else None,
        closed_at_start=bool(before[-1]) if seen_before else None,
        closed_after=bool(closed[after].all()) if after.any() else None,
        open_from_s=float(time_s[opened[0]]) if len(opened) else None,
        closed_at_last=bool(closed[after][-1]) if after.any() else None,
        changes=len(edges),
        flickers=len(edges) - len(lasting),
        change=change,
    )


def rows_after(time_s: FloatArray, end_s: float) -> BoolArray:
    """Rows behind the end of a movement and its settling; the last one alone where the record ends before; shape (n,)."""
    after = time_s > end_s + PAUSE_S
    if not after.any():
        after[-1] = bool(time_s[-1] > end_s)
    return np.asarray(after)


def _edges(closed: BoolArray, time_s: FloatArray) -> list[tuple[int, int]]:
    """First and last row of each change; rows show what is new."""
    rows = np.flatnonzero(closed[1:] != closed[:-1]) + 1
    if not len(rows):
        return []
    apart = np.flatnonzero(np.diff(time_s[rows]) > BOUNCES_S) + 1
    return [(int(each[0]), int(each[-1])) for each in np.split(rows, apart)]


def _change(
    edge: tuple[int, int], time_s: FloatArray, segments: Segments, moved: Travel, share: float, place_u: float
) -> SwitchChange | None:
    first, last = edge
    rows = slice(segments.first, segments.last + 1)
    if moved.total_vs <= 0.0 or segments.last <= segments.first:
        return None
    earliest_s, latest_s = float(time_s[first - 1]), float(time_s[last])
    row_s, row_u_s = 0.5 * (earliest_s + latest_s), from_half_width(0.5 * (latest_s - earliest_s))
    wait_u_s = from_half_width(0.5 * DEBOUNCE_S)
    since_s = row_s - 0.5 * DEBOUNCE_S - segments.start_s
    if since_s <= 0.0 or row_s > segments.end_s + PAUSE_S:
        return None  # not in this movement
    u_s = float(np.sqrt(row_u_s**2 + wait_u_s**2 + segments.start_u_s**2))
    moved_vs = float(np.interp(row_s - 0.5 * DEBOUNCE_S, time_s[rows], moved.volt_seconds))
    passed_u = float(np.hypot(row_u_s, wait_u_s)) * speed(segments, share)
    done = moved_vs / moved.total_vs
    # Both ends are known: an uneven speed shifts a place by the way to the nearer one.
    uneven_u = speed_u(moved.from_voltage) * share * min(done, 1.0 - done)
    fraction = Measured(done * share, K * float(np.sqrt(passed_u**2 + place_u**2 + uneven_u**2)))
    return SwitchChange(Measured(since_s, K * u_s), Measured(row_s, K * row_u_s), fraction)


def speed(segments: Segments, share: float) -> float:
    """Share of the stroke that is moved in a second, on average."""
    return share / max(segments.end_s - segments.start_s, 1e-9)


def lag_of(
    switches: tuple[PinSwitch, ...], segments: Segments, share: float, from_voltage: bool
) -> Measured | None:
    """How much further the rod had moved when the right switch changed than when the left one did, share of the stroke.

    Below zero: the left one changed later. None without two switches that changed once each. What both sides share (the start,
    the board's wait, how well the stroke is known) isn't in its uncertainty.
    """
    changed = {each.side: each.change for each in switches if each.change is not None}
    if len(changed) < 2:
        return None
    left, right = (changed[side] for side in SIDES)
    lag = right.at_fraction.value - left.at_fraction.value
    rows_u = speed(segments, share) * float(np.hypot(left.row_s.u, right.row_s.u))
    return Measured(lag, float(np.hypot(rows_u, K * speed_u(from_voltage) * lag)))


def speed_u(from_voltage: bool) -> float:
    """How well the speed at one place is known against its mean, relative."""
    return SPEED_U if from_voltage else SPEED_U_UNREAD
