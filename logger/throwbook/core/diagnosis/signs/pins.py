"""Signs of each pin by itself, from the switch at it: open where it should be closed, late, or wrong in itself.

They speak against a pin or a switch. No sign, and no lack of one, says where a pin is.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from throwbook.core.analysis.record_conditions import spoilt_by
from throwbook.core.analysis.switches import PinSwitch
from throwbook.core.assessment import CLOSED, CUT_OFF, FAIL, NO_RUN, OPEN, STALL, SWITCH_OPEN, WATCH, Sign
from throwbook.core.diagnosis.evidence import Evidence
from throwbook.core.quantities.statistics import K, prediction_factor
from throwbook.core.quantities.text import counted
from throwbook.core.rig import LOCK, SIDES
from throwbook.core.wording import switch_name

SMALLEST_LAG = 0.01
"""A side later by less than this share of the stroke isn't called late (*practice*)."""
LAG_PROBABILITY = 0.9975
"""Each side by itself: one healthy throw in 200 lies beyond, either way."""
ONE_THROW_U = 0.01
"""Standard uncertainty of what a single baseline throw says of how far apart the two change, share of the stroke (*assumed*)."""
HALF_WAY = 0.5
"""No pin is in its hole in the first half of a lock throw, or still in it in the second half of an unlock throw (*practice*)."""
FEWEST_CHANGES = 3
"""One change is the throw's own, a second one may be the pin's: from here on the switch chatters."""
WHOLE_WITHIN = 0.03
"""A travel this near to the full stroke is the whole of it (*practice*)."""


def switch_open(evidence: Evidence) -> Sign | None:
    """The movement ended, and a fitted switch isn't where it should be; or no current flowed, and the switches are apart."""
    if evidence.end == NO_RUN:
        return _apart_at_rest(evidence)
    locking = evidence.trace.direction == LOCK
    looks = (_open_after_lock,) if locking else (_open_before_unlock, _still_closed)
    said = [
        (each, because, look)
        for look in looks
        for each in evidence.switches
        if (because := look(evidence, each))
    ]
    if not said:
        return None
    first = said[0][0]
    was_open = any(look is not _still_closed for _, _, look in said)
    return Sign(
        SWITCH_OPEN,
        FAIL,
        "; ".join(because for _, because, _ in said),
        value=OPEN if was_open else CLOSED,
        limit=CLOSED if was_open else OPEN,
        from_s=first.open_from_s if locking else evidence.segments.end_s,
        side=_side_of(each for each, _, _ in said),
    )


def _side_of(switches: Iterable[PinSwitch]) -> str:
    """The side that all of them are on; empty: they are on both."""
    sides = {each.side for each in switches}
    return sides.pop() if len(sides) == 1 else ""


def _apart_at_rest(evidence: Evidence) -> Sign | None:
    """No pin moves without current: both are at the same end, and neither switch changes.

    Where the board's sensor didn't answer, or what flowed is no rest, a throw may hide: then a change says nothing.
    """
    trace, fitted = evidence.trace, evidence.switches
    spoilt = spoilt_by(trace.head, float(trace.time_s[0]), float(trace.time_s[-1]))
    changed = [each for each in fitted if each.changes]
    if changed:
        wrong = changed if evidence.segments.quiet and not spoilt else []
        said = [f"{switch_name(each.side)} changed {counted(each.changes, 'time')}" for each in wrong]
    else:
        wrong = [each for each in fitted if each.open_before and any(one.closed_before for one in fitted)]
        said = [f"{switch_name(each.side)} open, the other closed" for each in wrong]
    if not wrong:
        return None
    because = f"{'; '.join(said)} in a record without current"
    from_s = min(each.open_from_s for each in wrong if each.open_from_s is not None)
    side = _side_of(wrong)
    return Sign(SWITCH_OPEN, FAIL, because, value=OPEN, limit=CLOSED, from_s=from_s, side=side)


def standing(evidence: Evidence) -> tuple[PinSwitch, ...]:
    """The switches that are where they shouldn't be wherever in the record the movement lies: open at the end of a lock
    throw, open through all of an unlock throw; all of them where no current flowed."""
    if evidence.end == NO_RUN:
        return evidence.switches
    locking = evidence.trace.direction == LOCK
    return tuple(
        each for each in evidence.switches if each.closed_at_last is False and (locking or not each.changes)
    )


def _open_after_lock(evidence: Evidence, switch: PinSwitch) -> str:
    jog = evidence.jog_before_a_throw and not evidence.trace.lock_throw_before
    if switch.open_from_s is None or jog:
        return ""
    late_s = switch.open_from_s - evidence.segments.end_s
    again = " (closed again later)" if switch.closed_at_last else ""
    return f"{switch_name(switch.side)} open {late_s:.1f} s after the end of the lock throw{again}"


def _open_before_unlock(evidence: Evidence, switch: PinSwitch) -> str:
    """It was open while the rod was still at the end of its lock throw: it was closed there too, or the whole travel followed.

    Behind an unlock jog a switch may be open; one that closes again there, while nothing moves, was no pin's doing.
    """
    jogged = evidence.trace.unlock_before
    still = switch.closed_at_start if jogged else switch.closed_before
    at_the_end = not jogged and not switch.closed_at_last and _whole(evidence)
    if not switch.open_before or not (still or at_the_end):
        return ""
    some = "for a time " if still else ""
    return f"{switch_name(switch.side)} open {some}before the unlock throw began, where it should have been closed"


def _still_closed(evidence: Evidence, switch: PinSwitch) -> str:
    ended = evidence.end in (CUT_OFF, STALL)
    if not (
        ended and switch.closed_at_last and (evidence.segments.starts_running or _past_half_way(evidence))
    ):
        return ""
    return f"{switch_name(switch.side)} still closed after the unlock throw"


def _past_half_way(evidence: Evidence) -> bool:
    return evidence.travel_share * (1.0 - K * evidence.travel_share_u) > HALF_WAY


def _whole(evidence: Evidence) -> bool:
    """Whether the movement began at the other end of its travel."""
    return evidence.travel_share > 1.0 - max(WHOLE_WITHIN, K * evidence.travel_share_u)


class LagChange(NamedTuple):
    """How much later, against the other, one side changes than in the baseline; shares of the stroke."""

    by: float
    side: str
    """The side that is the later one against the other."""
    u: float
    """What the baseline's scatter and the rows leave open."""
    early: str
    """The side that changed earlier on the stroke than it ever did, if that is the reason; empty: it isn't."""
    other: str


def lag_change(evidence: Evidence) -> LagChange | None:
    """None without two switches here and in the baseline, each of which changed once."""
    here, baseline = evidence.figures.switch_lag_fraction, evidence.baseline
    usual = None if baseline is None else baseline.figures.get("switch_lag_fraction")
    if here is None or usual is None or baseline is None or not _whole(evidence):
        return None
    by = here.value - usual.mean
    side, other = ("right", "left") if by > 0 else ("left", "right")
    shifts = {}
    for each in SIDES:
        at = getattr(evidence.figures, f"{each}_switch_at_fraction")
        known = baseline.figures.get(f"{each}_switch_at_fraction")
        shifts[each] = 0.0 if at is None or known is None else at.value - known.mean
    early = other if -shifts[other] > shifts[side] else ""
    return LagChange(abs(by), side, lag_u(usual.n, usual.sd, here.u), early, other)


def lag_u(n: int, sd: float, u: float) -> float:
    """What ``n`` throws that scatter by ``sd``, and one more known to ``u``, leave open of a lag; shares of the stroke."""
    scatter = prediction_factor(n, LAG_PROBABILITY) * sd if n > 1 else K * ONE_THROW_U
    return float(np.hypot(scatter, u))


def switch_lag(evidence: Evidence) -> Sign | None:
    """One side reaches its switch later, against the other, than in the baseline."""
    lag = lag_change(evidence)
    if lag is None or lag.early or lag.by <= max(SMALLEST_LAG, lag.u):
        return None
    return _lag_sign(
        "switch-lag",
        evidence,
        lag,
        lag.side,
        f"{switch_name(lag.side)} changed {100 * lag.by:.1f} % of the stroke later than in the baseline, compared with {switch_name(lag.other)}",
    )


def _lag_sign(sign: str, evidence: Evidence, lag: LagChange, side: str, because: str) -> Sign:
    at = getattr(evidence.figures, f"{side}_switch_at_fraction")
    change = next(each.change for each in evidence.switches if each.side == side)
    return Sign(
        sign,
        WATCH,
        because,
        value=lag.by,
        limit=max(SMALLEST_LAG, lag.u),
        unit="1",
        at_fraction=at.value,
        at_fraction_u=at.u,
        from_s=None if change is None else change.row_s.value,
        side=side,
    )


def switch_fault(evidence: Evidence) -> Sign | None:
    """A fitted switch chatters, is closed where no pin can be, or changes at an impossible place."""
    said = [
        (each, because)
        for wrong in (_chatters, _closed_before, _impossible_place)
        for each in evidence.switches
        if (because := wrong(evidence, each))
    ]
    lag = lag_change(evidence)
    if lag is not None and lag.early and lag.by > max(SMALLEST_LAG, lag.u):
        because = f"{switch_name(lag.early)} changed {100 * lag.by:.1f} % of the stroke earlier than in the baseline, compared with {switch_name(lag.side)}; wear makes a pin later, never earlier"
        if not said:
            return _lag_sign("switch-fault", evidence, lag, lag.early, because)
        if lag.early not in {each.side for each, _ in said}:
            said.append((next(each for each in evidence.switches if each.side == lag.early), because))
    if not said:
        return None
    text = "; ".join(because for _, because in said)
    return Sign("switch-fault", WATCH, text, side=_side_of(each for each, _ in said))


def _chatters(evidence: Evidence, switch: PinSwitch) -> str:
    if evidence.end == NO_RUN or (switch.changes < FEWEST_CHANGES and not switch.flickers):
        return ""
    return (
        f"{switch_name(switch.side)} chatters: it changed {counted(switch.changes, 'time')} in one throw"
        + (f", {switch.flickers} of them there and back at once" if switch.flickers else "")
    )


def _closed_before(evidence: Evidence, switch: PinSwitch) -> str:
    if evidence.trace.direction != LOCK or not switch.closed_before or not _past_half_way(evidence):
        return ""
    return f"{switch_name(switch.side)} closed before the lock throw began, where no pin can be in its hole"


def _impossible_place(evidence: Evidence, switch: PinSwitch) -> str:
    if switch.change is None or not _whole(evidence):
        return ""
    at = switch.change.at_fraction
    locking = evidence.trace.direction == LOCK
    if (at.value + at.u >= HALF_WAY) if locking else (at.value - at.u <= HALF_WAY):
        return ""
    where = "no pin can be in its hole yet" if locking else "the pin must have left its hole"
    return f"{switch_name(switch.side)} changed at {100 * at.value:.0f} % of the stroke, where {where}"


def with_side(sign: Sign, evidence: Evidence) -> Sign:
    """The same sign with the side that it is on, where the switches tell; without switches, as it is."""
    if not evidence.switches or sign.level != WATCH:
        return sign
    lag = lag_change(evidence)
    if lag is None or lag.early or lag.by <= lag.u:
        return replace(sign, because=f"{sign.because}; {NO_SIDE}")
    because = f"{sign.because}; {switch_name(lag.side)} is later than in the baseline, which points to the {lag.side.upper()} side"
    return replace(sign, because=because, side=lag.side)


NO_SIDE = "which side it is on can't be told"

OF_THE_PINS: tuple[Callable[[Evidence], Sign | None], ...] = (switch_open, switch_lag, switch_fault)
