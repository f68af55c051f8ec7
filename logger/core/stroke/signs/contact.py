"""The sign of a contact that opens in mid-throw."""

import numpy as np

from logger.core.assessment import CUT_OFF, WATCH, Sign
from logger.core.quantities.numerics import runs_of
from logger.core.stroke.evidence import Evidence
from logger.core.stroke.stretches import PAUSE_S

MOST_TOLD = 3
"""More places than this don't make the sentence clearer."""


def interruption(evidence: Evidence) -> Sign | None:
    """The current fell to nothing in mid-throw and came back, or the rate is too low to tell."""
    segments, time_s = evidence.segments, evidence.trace.time_s
    if evidence.moved.total_vs <= 0.0:
        return None
    if not segments.breaks:
        return _went_on(evidence) if segments.pauses else None
    # Between two rows, half a period either way: the middle of both edges.
    lasted_s = [float(time_s[each.closed] - time_s[each.opened]) for each in segments.breaks]
    places = [_place(evidence, each.opened) for each in segments.breaks]
    longest = int(np.argmax(lasted_s))
    times = "once" if len(places) == 1 else f"{len(places)} times"
    told = ", ".join(
        f"{lasted:.2g} s at {time_s[each.opened]:.2f} s ({100 * place:.0f} % of the stroke)"
        for lasted, each, place in list(zip(lasted_s, segments.breaks, places, strict=True))[:MOST_TOLD]
    )
    more = f" and {len(places) - MOST_TOLD} more" if len(places) > MOST_TOLD else ""
    return Sign(
        "interruption",
        WATCH,
        _broke_off(times, told + more)
        if any(each.certain for each in segments.breaks)
        else _can_not_tell(times, told + more, segments.period_s),
        value=lasted_s[longest],
        unit="s",
        at_fraction=places[longest],
        at_fraction_u=2.0 * float(np.hypot(evidence.travel_share_u * places[longest], 0.005)),
        from_s=float(time_s[segments.breaks[longest].opened]),
    )


def _went_on(evidence: Evidence) -> Sign | None:
    """Joined over a break without a surge: a drive that ramps up again, or readings that dropped out. A short one is
    taken for the readings, a long one isn't passed over."""
    segments = evidence.segments
    rows = slice(segments.first, segments.last + 1)
    time_s = evidence.trace.time_s[rows]
    gone = runs_of(segments.current_a[rows] < 0.5 * evidence.idle_a)
    opened, closed = max(gone, key=lambda run: run[1] - run[0], default=(0, 0))
    lasted_s = float(time_s[min(closed, len(time_s) - 1)] - time_s[opened])
    if lasted_s <= PAUSE_S:
        return None
    place = _place(evidence, segments.first + opened)
    return Sign(
        "interruption",
        WATCH,
        f"nothing flowed for {lasted_s:.2g} s in mid-throw, at {100 * place:.0f} % of the stroke, and it went on without a "
        "surge: what moved meanwhile isn't known",
        value=lasted_s,
        unit="s",
        at_fraction=place,
        from_s=float(time_s[opened]),
    )


def _broke_off(times: str, where: str) -> str:
    return (
        f"the current broke off {times} in mid-throw and came back with a surge: {where}; "
        "what the motor coasted meanwhile is reckoned from its start"
    )


def _can_not_tell(times: str, where: str, period_s: float) -> str:
    return (
        f"the current read nothing {times} in mid-throw: {where}; {1.0 / period_s:.0f} samples a second can't tell "
        "whether a contact opened, so what the current did then is judged as no load"
    )


def _place(evidence: Evidence, row: int) -> float:
    """Share of the stroke at a row; a throw that was cut off within the travel's uncertainty ran the whole stroke."""
    moved = evidence.moved
    whole = evidence.end == CUT_OFF and abs(evidence.travel_share - 1.0) < max(
        0.03, 2.0 * evidence.travel_share_u
    )
    share = 1.0 if whole else min(evidence.travel_share, 1.0)
    return float(moved.volt_seconds[row - evidence.segments.first]) / moved.total_vs * share
