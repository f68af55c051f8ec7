"""Signs of how the movement ended, or that it never began, and of a contact that opens in mid-throw."""

import numpy as np

from throwbook.core.analysis.record_conditions import spoilt_by
from throwbook.core.analysis.residual_current import PAUSE_S, SWITCHED_S, TURNS
from throwbook.core.analysis.rest import NO_OFFSET
from throwbook.core.assessment import (
    CUT_OFF,
    FAIL,
    INFO,
    NO_RUN,
    NO_START,
    STALL,
    STILL_RUNNING,
    WATCH,
    Sign,
)
from throwbook.core.diagnosis.evidence import SETTLE_AT_REST, Evidence, RivalReading
from throwbook.core.diagnosis.measure import SUPPLIES_APART, UNREAD_SUPPLY_U
from throwbook.core.quantities.statistics import median_of, runs_of
from throwbook.core.trace import FloatArray

MOST_TOLD = 3
"""More places than this don't make the sentence clearer."""


def interruption(evidence: Evidence) -> Sign | None:
    """The current fell to nothing in mid-throw and came back, or the rate is too low to tell."""
    segments, time_s = evidence.segments, evidence.trace.time_s
    if evidence.moved.total_vs <= 0.0 or evidence.own_level:
        return None
    if not segments.breaks:
        known = evidence.baseline is not None and evidence.baseline.has_profile
        return _went_on(evidence) if segments.pauses or known else None
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


def _gone(most_a: FloatArray, evidence: Evidence) -> list[tuple[int, int]]:
    """First and one-past-last row of every stretch in which less flowed than a motor turns with; what settles in its midst
    counts with it. A baseline that runs as light says that the rating's no-load current is too high."""
    turns_a = TURNS * evidence.idle_a
    if evidence.baseline is not None and evidence.baseline.has_profile:
        turns_a = min(turns_a, max(float(np.nanmin(evidence.baseline.median_a)), NO_OFFSET * evidence.idle_a))
    switched = SWITCHED_S / evidence.segments.period_s
    gone: list[tuple[int, int]] = []
    ran_a, ran_until = 0.0, 0
    for a, b in runs_of(most_a < turns_a):
        opened, closed = gone[-1] if gone else (0, 0)
        settles = opened > 0 and (a - closed) * evidence.segments.period_s <= PAUSE_S
        if settles and ran_until != opened:  # what settles may come in many pieces
            ran_a, ran_until = median_of(most_a[:opened]), opened
        if settles and float(most_a[closed:a].max()) < ran_a:
            gone[-1] = opened, b
            continue
        # A contact that bounces before it stays open lets lone bursts through.
        while gone and gone[-1][0] > 0 and b - a >= switched and a - gone[-1][1] <= switched:
            a = gone.pop()[0]
        gone.append((a, b))
    return gone


def _went_on(evidence: Evidence) -> Sign | None:
    """One movement over a break without a surge: a drive that ramps up again, behind nothing or behind what it holds with, or
    readings that dropped out. A short one is taken for the readings, a long one isn't passed over."""
    segments = evidence.segments
    rows = slice(segments.first, segments.last + 1)
    time_s = evidence.trace.time_s[rows]
    # What flowed at rest may flow no more: then all that is read is the motor's.
    most_a = segments.current_a[rows] + max(0.0, segments.polarity * segments.zero_a)
    opened, closed = max(_gone(most_a, evidence), key=lambda run: run[1] - run[0], default=(0, 0))
    lasted_s = float(time_s[min(closed, len(time_s) - 1)] - time_s[opened])
    if lasted_s <= PAUSE_S:
        return None
    place = _place(evidence, segments.first + opened)
    flowed = median_of(most_a[opened:closed]) > NO_OFFSET * evidence.idle_a
    less = "less current than the motor turns with" if flowed else "no current"
    return Sign(
        "interruption",
        WATCH,
        f"{less} flowed for {lasted_s:.2g} s during the throw, at {100 * place:.0f} % of the stroke. The movement in between is not known",
        value=lasted_s,
        unit="s",
        at_fraction=place,
        from_s=float(time_s[opened]),
    )


def _broke_off(times: str, where: str) -> str:
    return f"the current dropped out {times} during the throw and came back with an inrush: {where}. Travel while coasting is estimated from the start of the throw"


def _can_not_tell(times: str, where: str, period_s: float) -> str:
    return f"the current read zero {times} during the throw: {where}. At {1.0 / period_s:.0f} samples per second nobody can tell whether a contact opened, so the current is judged as no load there"


def _place(evidence: Evidence, row: int) -> float:
    """Share of the stroke at a row; a throw that was cut off within the travel's uncertainty ran the whole stroke."""
    moved = evidence.moved
    whole = evidence.end == CUT_OFF and abs(evidence.travel_share - 1.0) < max(
        0.03, 2.0 * evidence.travel_share_u
    )
    share = 1.0 if whole else min(evidence.travel_share, 1.0)
    return max(0.0, float(moved.volt_seconds[row - evidence.segments.first]) / moved.total_vs * share)


TURNED_TOO_FAR = 1.1
"""No stroke is a tenth longer than itself: beyond that the motor turns without the rod (*practice*)."""
END_ZONE = 0.9
"""A standstill beyond this share of the stroke is at the end of travel even where less travel is needed
(*practice*)."""
SMALLEST_SHORTFALL = 0.03
"""A limit switch moved by less than this share of the stroke isn't told from play in the linkage (*practice*)."""


def no_start(evidence: Evidence) -> Sign | None:
    """No current when there should be some."""
    if evidence.end != NO_RUN:
        return None
    volts = evidence.trace.voltage_v
    seen = "" if volts is None else f" with {abs(float(volts.mean())):.1f} V at the board"
    return Sign(NO_START, FAIL, f"no current flowed in the whole record{seen}", value=0.0, unit="A")


def stall(evidence: Evidence) -> Sign | None:
    """The motor stood still under voltage before the end of travel."""
    if evidence.end != STALL or _at_end(evidence):
        return None
    return _standstill(evidence, "stall", "before the end of travel")


def end_stop(evidence: Evidence) -> Sign | None:
    """It stalled at the end of travel: the limit switch did not cut off."""
    if evidence.end != STALL or not _at_end(evidence):
        return None
    return _standstill(
        evidence, "end-stop", "at the end of travel, where the limit switch should have opened"
    )


def _at_end(evidence: Evidence) -> bool:
    slack = evidence.travel_share_u if evidence.baseline is not None else 2.0 * evidence.travel_share_u
    return evidence.travel_share >= max(evidence.needed_share, END_ZONE) - slack


def _standstill(evidence: Evidence, sign: str, where: str) -> Sign:
    figure = evidence.figures.stall_current_a
    still_from = evidence.moved.still_from or 0
    never = still_from <= evidence.segments.settled
    unread = not never and bool(
        spoilt_by(evidence.trace.head, evidence.segments.start_s, evidence.segments.end_s)
    )
    at = 0.0 if never else None if unread else min(evidence.travel_share, 1.0)
    level = f"{figure.value:.1f} A" if figure is not None else "full current"
    if never:
        because = f"the motor never turned and drew {level} to the end"
    elif at is None:
        because = f"the motor stalled, drawing {level}; where on the stroke cannot be told"
    else:
        most = "at most " if evidence.place_is_a_bound else ""
        because = f"the motor stalled {where} ({most}{100 * at:.0f} % of the stroke), drawing {level}"
    if evidence.moved.limited:
        volts = evidence.figures.mean_voltage_v
        full_a = (volts.value if volts is not None else evidence.line.v_ref) / evidence.line.r_ohm
        because += f": flat, above the full-load current and below the {full_a:.0f} A of a stalled motor, so something limits the current. This record alone cannot show that the rod did not move"
    return Sign(
        sign,
        FAIL,
        because,
        value=figure.value if figure is not None else None,
        limit=evidence.rig.actuator.full_load_current_a,
        unit="A",
        at_fraction=at,
        at_fraction_u=None if never or at is None else _place_u(evidence, at),
        from_s=float(evidence.trace.time_s[still_from]),
    )


def _place_u(evidence: Evidence, place: float) -> float | None:
    """Expanded uncertainty of the place at which it ended; None where the place is only a bound."""
    unknown = evidence.place_is_a_bound or evidence.own_level
    return None if unknown else 2.0 * evidence.place.of(place, evidence.travel_share_u)


def turned_too_far(evidence: Evidence) -> bool:
    """Whether the motor turned for more than the whole stroke and nothing ended it."""
    turned = evidence.travel_share * (1.0 - 2.0 * evidence.travel_share_u)
    return evidence.end == STILL_RUNNING and turned > TURNED_TOO_FAR


def no_end(evidence: Evidence) -> Sign | None:
    """Under load, and the motor turned on for more than the stroke: nothing ended it."""
    run = evidence.figures.run_current_a
    if not turned_too_far(evidence) or run is None:
        return None
    return Sign(
        "no-end",
        FAIL,
        f"the motor turned for {evidence.travel_share:.1f} strokes at {run.value:.2f} A and did not stop",
        value=evidence.travel_share,
        limit=TURNED_TOO_FAR,
        unit="1",
    )


def stopped_short(evidence: Evidence) -> Sign | None:
    """The current fell to zero before the travel was done."""
    if evidence.end != CUT_OFF or evidence.segments.starts_running:
        return None
    share, lasted = evidence.travel_share, evidence.figures.travel_time_s
    edges_u = (
        0.5 * lasted.u / lasted.value if lasted is not None else 0.0
    )  # rows far apart don't show a little less
    full_u = float(np.hypot(evidence.travel_share_u, edges_u))
    moved = share + 2.0 * full_u * min(share, 1.0)
    usual = 1.0 - max(SMALLEST_SHORTFALL, 2.0 * full_u)
    short_of_needed = moved < evidence.needed_share
    short_of_usual = evidence.baseline is not None and share < usual
    if not (short_of_needed or short_of_usual):
        return _short_by_numbers(evidence) or _short_but_for_scatter(evidence)
    jog = evidence.jog_before_a_throw
    limit = evidence.needed_share if short_of_needed else usual
    digits = next((n for n in range(4) if round(100 * share, n) < round(100 * limit, n)), 4)
    most = "most " if evidence.place_is_a_bound else ""
    what = "travel needed" if short_of_needed else "travel of the baseline"
    by_supply = _by_an_unread_supply(evidence, full_u) if short_of_usual else 0.0
    surely_needed = moved + evidence.hidden_share < evidence.needed_share
    surely = not evidence.own_level and (
        surely_needed or (short_of_usual and share + evidence.hidden_share + by_supply < usual)
    )
    at_rest = evidence.own_level or evidence.hidden_share >= by_supply
    reason = HIDDEN_AT_REST if at_rest else UNREAD_SUPPLY
    level = (FAIL if surely_needed and not jog else WATCH) if surely else INFO
    beside = f"; {reason.says}" if not surely else ""
    if surely and jog:
        beside = "; a complete throw in the same direction followed in this record"
    return Sign(
        "stopped-short",
        level,
        f"the current went off at {most}{100 * share:.{digits}f} % of the stroke; the {what} is {100 * limit:.{digits}f} %{beside}",
        value=share,
        limit=limit,
        unit="1",
        at_fraction=share,
        at_fraction_u=_place_u(evidence, min(share, 1.0)) if surely else None,
        from_s=evidence.segments.end_s,
        settle="" if surely else reason.settle,
    )


def _short_by_numbers(evidence: Evidence) -> Sign | None:
    """A throw that is whole by the board's clock, and short if that is off by as much as it may be."""
    share = evidence.travel_share * (1.0 - evidence.by_the_clock)
    known_u = float(np.sqrt(max(evidence.travel_share_u**2 - (0.5 * evidence.by_the_clock) ** 2, 0.0)))
    usual = 1.0 - max(SMALLEST_SHORTFALL, 2.0 * known_u)
    if not evidence.by_the_clock or evidence.baseline is None or share >= usual:
        return None
    because = f"the current went off at {100 * share:.0f} % of the stroke, {PARTED_CLOCK.says}"
    return Sign(
        "stopped-short", INFO, because, value=share, limit=usual, unit="1", settle=PARTED_CLOCK.settle
    )


def _short_but_for_scatter(evidence: Evidence) -> Sign | None:
    """A throw that only the scatter of the baseline's own throws lets pass as whole, where they differ by much."""
    usual = evidence.baseline.figures.get("back_emf_vs") if evidence.baseline is not None else None
    if usual is None or usual.n < 2:
        return None
    scatter = usual.reach(0.975) / usual.mean
    known_u = float(np.sqrt(max(evidence.travel_share_u**2 - (0.5 * scatter) ** 2, 0.0)))
    limit = 1.0 - max(SMALLEST_SHORTFALL, 2.0 * known_u)
    if scatter <= 2.0 * SMALLEST_SHORTFALL or evidence.travel_share >= limit:
        return None
    because = f"the current went off at {100 * evidence.travel_share:.0f} % of the stroke; {SCATTERS.says}"
    return Sign(
        "stopped-short",
        INFO,
        because,
        value=evidence.travel_share,
        limit=limit,
        unit="1",
        settle=SCATTERS.settle,
    )


HIDDEN_AT_REST = RivalReading("the current at rest hides how much more was moved", SETTLE_AT_REST)
PARTED_CLOCK = RivalReading(
    "if the board's clock is off by as much as it may be", "Record again, and check the board's clock."
)
SCATTERS = RivalReading(
    "the baseline's own throws differ by more than is missing here", "Take a new baseline."
)
UNREAD_SUPPLY = RivalReading(
    "another supply voltage than the baseline's would explain it", "Measure the voltage too."
)


def _by_an_unread_supply(evidence: Evidence, full_u: float) -> float:
    """Share of the stroke by which an unread supply takes the travel of a healthy throw below its ± of the baseline's: it isn't
    anywhere about the usual one, but an empty battery's or a running engine's."""
    if evidence.moved.from_voltage:
        return 0.0
    reach = float(np.sqrt(SUPPLIES_APART**2 + 4.0 * max(full_u**2 - UNREAD_SUPPLY_U**2, 0.0)))
    return max(0.0, reach - 2.0 * full_u)


OF_THE_END = (no_start, stall, end_stop, stopped_short, no_end)
OF_A_CONTACT = (interruption,)
