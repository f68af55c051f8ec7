"""For each rig one line: what to do next, why, how sure that is, and by when. A table, the most pressing row first."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from throwbook.core.quantities.statistics import K
from throwbook.core.quantities.units import at_reference
from throwbook.core.status.latch import DO_NOT_USE, IN_SERVICE, RESTRICTED, WATCH
from throwbook.core.status.maintenance import SEASON
from throwbook.core.status.urgency import Reached, Worsening
from throwbook.core.trend.control_chart import PLAIN_CHANCE, Forecast
from throwbook.core.trend.history import (
    ENERGY,
    OF_STROKE,
    PEAK_RUN_CURRENT,
    RUN_CURRENT,
    SOURCE_RESISTANCE,
    SWITCH_LAG,
    TAKE_UP,
    TRAVEL_TIME,
    RigHistory,
)
from throwbook.core.trend.series import stage_of, stage_starts
from throwbook.core.trend.signals import LOW, OUT, SUSPECT
from throwbook.core.trend.trend_result import TrendResult, drift_text, figure_name, limit_text, size_text
from throwbook.core.wording import DETACH_STEPS

SOON = timedelta(days=14)
"""A rise is looked into within this (common practice, no source)."""

ISOLATED = "attachment on the ground, power isolated"
LOOK_THERE = f"{ISOLATED}: look at that place for a burr, a bent pin or packed mud, and look at the nut"
SPOT_IN_SHORT = ("binding spot grows", "power isolated: look at the place that binds")
LOOSE = "power isolated: look for a loose plug"
COMPARE_SWITCHES = "look at both pins, one at a time. Attachment on the ground, hands out: throw both ways. Then, power isolated: compare the place of the two switches"
# figure: the first step of it in a line, for lists
STEPS: dict[str, str] = {
    RUN_CURRENT: "power isolated: clean and grease it",
    PEAK_RUN_CURRENT: "power isolated: look where the current peaks",
    SOURCE_RESISTANCE: "power isolated: clean plug and ground",
    TRAVEL_TIME: "power isolated: clip a meter to the plug",
    TAKE_UP: "power isolated: feel for free play",
    SWITCH_LAG: "look at both pins, one at a time",
    ENERGY: "power isolated: clean and grease it",
}
# figure: (what to do, what to bring)
REMEDIES: dict[str, tuple[str, str]] = {
    RUN_CURRENT: (
        f"{ISOLATED}: clean and grease screw and pins. Then "
        + DETACH_STEPS
        + "repeat the throw, to see which of the two drags",
        "grease, brush, board or clamp meter",
    ),
    PEAK_RUN_CURRENT: (
        f"{ISOLATED}: look for a burr, a bent pin or packed mud at the place where the current peaks",
        "lamp, file, board",
    ),
    SOURCE_RESISTANCE: (
        f"{ISOLATED}: clean plug and ground, clip the meter to one end of the cable. Hands out, power on: read it during a throw. Do the same at the other end",
        "voltmeter, contact cleaner, spare plug",
    ),
    TRAVEL_TIME: (
        f"{ISOLATED}: clip the meter to the actuator's plug. Hands out, power on: read it during a throw. Then look for drag",
        "voltmeter, stopwatch",
    ),
    TAKE_UP: (
        f"{ISOLATED}: feel for free play at clevis pins, nut and linkage",
        "feeler gauge, spare clips",
    ),
    SWITCH_LAG: (
        f"look at both pins, one at a time. Then {ISOLATED}: feel for play by hand at that side's link and pin, then clean and grease that side",
        "feeler gauge, grease, brush, spare clips",
    ),
    ENERGY: (f"{ISOLATED}: clean and grease screw and pins", "grease, brush, board or clamp meter"),
}
ORDER = (RUN_CURRENT, PEAK_RUN_CURRENT, SWITCH_LAG, TAKE_UP, SOURCE_RESISTANCE, TRAVEL_TIME, ENERGY)


@dataclass(frozen=True)
class NextAction:
    """One line for one rig."""

    rig: str
    urgency: int
    """0 nothing but the next check ... 5 stop; the fleet view is sorted by it, worst first."""
    what: str
    why: str
    how_sure: str
    by: date | None
    bring: str
    ahead: str = ""
    """A sentence on the limit that is forecast; empty: none is."""
    cause: str = ""
    """``why`` in six words at most; empty: nothing gets worse."""
    step: str = ""
    """The first step of ``what`` in a line."""

    @property
    def why_and_ahead(self) -> str:
        """Sentences: why, what is ahead."""
        return f"{self.why}. {self.ahead}".strip()

    @property
    def reason(self) -> str:
        """The same with how sure it is."""
        return f"{self.why} ({self.how_sure}). {self.ahead}".strip()


@dataclass(frozen=True)
class AdvisoryCase:
    """What the rules look at."""

    history: RigHistory
    trends: Sequence[TrendResult]
    today: date
    status: str
    spots: Sequence[str]
    """Sentences about places where binding grows."""

    def out(self) -> list[TrendResult]:
        """Lines whose newest point is out of control, most telling figure first."""
        found = [one for one in self.trends if one.points[-1].state == OUT]
        return sorted(found, key=lambda one: (ORDER.index(one.figure), one.change_chance))

    def limits(self) -> list[tuple[TrendResult, Forecast]]:
        """Those with a forecast of a limit beyond which it must not go out. That of the switch lag is none: there a sign
        only begins to show.
        """
        return [
            (one, one.forecast) for one in self.out() if one.forecast is not None and one.figure != SWITCH_LAG
        ]


def next_action(
    history: RigHistory,
    trends: Sequence[TrendResult],
    today: date,
    status: str = IN_SERVICE,
    spots: Sequence[str] = (),
) -> NextAction:
    """The most pressing row of ``RULES`` that applies; the last one always does."""
    case = AdvisoryCase(history, trends, today, status, spots)
    return next(found for found in (rule(case) for rule in RULES) if found is not None)


def _stopped(case: AdvisoryCase) -> NextAction | None:
    if case.status != DO_NOT_USE:
        return None
    why = "its status is 'do not use'"
    what = "do not use it: find the cause, repair, log both, commission again"
    return _act(case, 5, what, why, "certain", case.today, "test sheet, tools, board")


def _over_limit(case: AdvisoryCase) -> NextAction | None:
    for one, when in case.limits():
        if when.crosses <= case.today:
            remedy, bring = REMEDIES[one.figure]
            why = f"{_name(one)}, corrected to {at_reference(case.history.rig.units)}, has reached its limit ({limit_text(one, when)})"
            return _act(case, 4, f"before the next job: {remedy}", why, _sure(one), case.today, bring)
    return None


def worsening_of(
    history: RigHistory, trends: Sequence[TrendResult], spots: Sequence[str] = ()
) -> Worsening | None:
    """What the lists of all rigs say of the trend, by the same rules; None: nothing gets worse."""
    any_day = history.checks[-1].on if history.checks else date.min
    case = AdvisoryCase(history, trends, any_day, IN_SERVICE, spots)
    limits = tuple(
        Reached(when.crosses, f"{figure_name(one.figure)} at its limit", STEPS[one.figure])
        for one, when in case.limits()
    )
    found = next(((rule, act) for rule in OF_TREND if (act := rule(case)) is not None), None)
    if found is None:
        return Worsening("", 0, "", "", limits=limits) if limits else None
    rule, act = found
    earliest = min((one.forecast.low for one in case.out() if one.forecast is not None), default=None)
    return Worsening(rule.__name__.strip("_"), act.urgency, act.cause, act.step, earliest, limits)


def _risen(case: AdvisoryCase) -> NextAction | None:
    out = case.out()
    if not out:
        return None
    one = out[0]
    remedy, bring = REMEDIES[one.figure]
    where = _where(one, [o for o in case.trends if o.figure == one.figure and o is not one])
    why = f"{figure_name(one.figure)} has risen {size_text(one).removeprefix('+')} since the chart's start, {where}"
    if _disagree(one):
        remedy = COMPARE_SWITCHES
    if case.spots:
        why, remedy = f"{why}; {case.spots[0]}", LOOK_THERE
    by, ahead = case.today + SOON, ""
    if one.forecast is not None:
        which, when = one.direction, one.forecast
        reaches = "is forecast to reach" if when.crosses > case.today else "reached"
        ahead = f"{which.capitalize()} {reaches} its limit about {when.crosses} ({when.low} to {when.high})."
        by = min(by, max(case.today, one.forecast.low))
    cause, step = SPOT_IN_SHORT if case.spots else (_risen_in_short(one), STEPS[one.figure])
    return replace(_act(case, 3, remedy, why, _sure(one), by, bring, cause, step), ahead=ahead)


def _risen_in_short(one: TrendResult) -> str:
    far = "later" if one.figure in OF_STROKE else f"{100 * one.change:+.0f} %"
    return f"{figure_name(one.figure)} {far} ({one.direction})"


def _where(one: TrendResult, others: Sequence[TrendResult]) -> str:
    """Both directions compared: a mechanism drags both ways, a side load or one edge of a hole mostly one way."""
    if _disagree(one):
        return "but the two directions disagree: a switch out of place is early one way and late the other"
    if not others or others[0].change_chance > PLAIN_CHANCE or others[0].change < 0.0:
        return f"{one.direction} throws only: a side load, or a pin touching the edge of its hole"
    apart = one.change - others[0].change
    if abs(apart) > K * (one.change_u**2 + others[0].change_u ** 2) ** 0.5:
        return f"both directions, more in {one.direction if apart > 0 else others[0].direction}"
    return "both directions equally"


def _disagree(one: TrendResult) -> bool:
    """Of the switch lag that is out of control: no side came later both ways."""
    return one.figure == SWITCH_LAG and not one.side


def _jumpy(case: AdvisoryCase) -> NextAction | None:
    for one in case.trends:
        if one.dispersion is not None and one.dispersion.grown:
            why = (
                f"{_name(one)} varies {100 * one.dispersion.now:.0f} % from throw to throw, "
                f"{100 * one.dispersion.before:.0f} % before"
            )
            what = f"{ISOLATED}: look for a loose plug or ground, worn brushes, a slack mounting"
            cause = f"{figure_name(one.figure)} varies ({one.direction})"
            bring = "voltmeter, contact cleaner, spanners"
            return _act(case, 2, what, why, "likely", case.today + SOON, bring, cause, LOOSE)
    return None


def _restricted(case: AdvisoryCase) -> NextAction | None:
    if case.status != RESTRICTED:
        return None
    return _act(
        case,
        3,
        "find and put right what restricts it, then sign the clearance",
        "its status is 'restricted'",
        "certain",
        case.today,
        "test sheet",
    )


def _spot(case: AdvisoryCase) -> NextAction | None:
    if not case.spots:
        return None
    bring = "lamp, file, board"
    return _act(case, 3, LOOK_THERE, case.spots[0], "likely", case.today + SOON, bring, *SPOT_IN_SHORT)


def _drifted(case: AdvisoryCase) -> NextAction | None:
    drifted = sorted(
        (one for one in case.trends if one.drift is not None), key=lambda one: ORDER.index(one.figure)
    )
    if not drifted:
        return None
    remedy, bring = REMEDIES[drifted[0].figure]
    sure = "almost certain: the first check lies outside today's normal variation"
    cause = f"{figure_name(drifted[0].figure)} above first check"
    why, step = drift_text(drifted[0]), STEPS[drifted[0].figure]
    return _act(case, 3, remedy, why, sure, case.today + SOON, bring, cause, step)


def _suspect(case: AdvisoryCase) -> NextAction | None:
    odd = [one for one in case.trends if one.points[-1].state == SUSPECT]
    if not odd:
        return None
    why = f"the newest check of {_name(odd[0])} stands out, in this direction only"
    what = "repeat this check: three throws each way, with another attachment if you have one"
    cause, step = f"newest check stands out ({odd[0].direction})", "repeat this check: three throws each way"
    sure, bring = "one check alone proves little", "board or clamp meter"
    return _act(case, 2, what, why, sure, case.today + SOON, bring, cause, step)


def _unverified(case: AdvisoryCase) -> NextAction | None:
    starts = stage_starts(case.history.services)
    checks = case.history.checks
    if not starts or (checks and stage_of(checks[-1], starts) == len(starts)):
        return None
    why = f"nothing has been measured since the service on {starts[-1]}"
    what, bring = "check it: five throws each way", "board or clamp meter, stopwatch"
    cause = "nothing measured since the last service"
    return _act(case, 2, what, why, "certain", case.today, bring, cause, what)


def _lower(case: AdvisoryCase) -> NextAction | None:
    low = [one for one in case.trends if one.figure == RUN_CURRENT and one.points[-1].state == LOW]
    if not low:
        return None
    why = f"{_name(low[0])} is below the level at the start of the chart period. Either it was greased without a service entry, or the drive is disconnected from the mechanism"
    what = f"{ISOLATED}: look at the linkage and at both pins, one at a time. Log any greasing"
    cause = f"{_name(low[0])} below chart's start"
    step = "power isolated: look at linkage and both pins"
    return _act(case, 2, what, why, "likely", case.today + SOON, "lamp", cause, step)


def _heavy_at_first(case: AdvisoryCase) -> NextAction | None:
    for one in case.trends:
        found = one.as_found
        heavy = one.figure == RUN_CURRENT and found is not None and found.points[-1].state == OUT
        if heavy and found is not None and not _worked_on_since(case, found.points[-1].sheet):
            why = f"the as-found throw ({one.direction}) has a higher running current than in earlier checks"
            what = f"{ISOLATED}: look for old grease, water or rust and free it up. Check again after it has stood for some hours"
            cause, step = f"as-found current higher ({one.direction})", "power isolated: look for old grease"
            return _act(case, 2, what, why, "likely", case.today + SOON, "grease, rag", cause, step)
    return None


def _worked_on_since(case: AdvisoryCase, sheet: str) -> bool:
    """Whether a service came after the check on this sheet."""
    starts = stage_starts(case.history.services)
    return any(one.sheet == sheet and stage_of(one, starts) < len(starts) for one in case.history.checks)


def _overdue(case: AdvisoryCase) -> NextAction | None:
    due = due_on(case.history)
    if due is None or due >= case.today:
        return None
    why = f"the check was due on {due}"
    return _act(
        case, 1, "seasonal check: three throws each way", why, "certain", case.today, "board or clamp meter"
    )


def _not_commissioned(case: AdvisoryCase) -> NextAction | None:
    if not case.history.provisional:
        return None
    what = "commission it: five throws each way, both pins looked at after every lock throw, the manufacturer's load check, a signature"
    return _act(
        case,
        1,
        what,
        "no commissioning sheet is accepted yet, so the baseline is provisional",
        "certain",
        None,
        "test sheet",
    )


def _watched(case: AdvisoryCase) -> NextAction | None:
    if case.status != WATCH:
        return None
    what = "find what caused the sign, then sign the clearance"
    return _act(case, 1, what, "its status is 'watch'", "certain", case.today + SOON, "test sheet")


def _nothing(case: AdvisoryCase) -> NextAction | None:
    due = due_on(case.history)
    why = "no figure has changed more than weather, supply voltage and normal variation explain"
    if len(case.history.checks) < 2:
        why = "there is only one check yet, so no change can be shown"
    return _act(
        case, 0, "seasonal check", why, "more checks make this more certain", due, "board or clamp meter"
    )


RULES: tuple[Callable[[AdvisoryCase], NextAction | None], ...] = (
    _stopped,
    _over_limit,
    _risen,
    _restricted,
    _spot,
    _drifted,
    _suspect,
    _unverified,
    _lower,
    _jumpy,
    _heavy_at_first,
    _overdue,
    _not_commissioned,
    _watched,
    _nothing,
)


OF_TREND = (_risen, _spot, _drifted, _suspect, _unverified, _lower, _jumpy, _heavy_at_first)
"""Those that the checks alone tell, whatever the day and the status, in the same order."""


def _act(
    case: AdvisoryCase,
    urgency: int,
    what: str,
    why: str,
    how_sure: str,
    by: date | None,
    bring: str,
    cause: str = "",
    step: str = "",
) -> NextAction:
    return NextAction(case.history.rig.name, urgency, what, why, how_sure, by, bring, cause=cause, step=step)


def due_on(history: RigHistory) -> date | None:
    """As the status says it; a history without one (an export) has a season after its newest check."""
    if history.due_on is not None:
        return history.due_on
    last = history.checks[-1].on if history.checks else None
    return None if last is None or history.provisional else last + SEASON


def _name(one: TrendResult) -> str:
    return f"{figure_name(one.figure)} ({one.direction})"


def _sure(one: TrendResult) -> str:
    if one.change_chance < 1e-4:
        return "almost certain: by chance in under 1 check of 10,000"
    return f"likely: by chance in 1 check of {1 / one.change_chance:.0f}"
