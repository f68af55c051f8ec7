"""Which rig comes first, why, and the one next step: one order for every list of all rigs.

First what must not go out, then what is due, then what gets worse, then what nobody commissioned. The first row of
``RULES`` that applies to a rig counts; the last one always does. A cause has six words at most. The trend is worked out
elsewhere (``core.trend.advisory.worsening_of``): it takes time, so it is kept; nothing else here is.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from throwbook.core.quantities.text import counted
from throwbook.core.status.latch import (
    DO_NOT_USE,
    IN_SERVICE,
    RESTRICTED,
    WATCH,
    OpenRaise,
    Status,
)
from throwbook.core.status.maintenance import NO_CHECK, NextCheck
from throwbook.core.status.status_text import judging_first, step_in_words
from throwbook.core.wording import CAUSES_IN_SHORT, SIGNS

MUST_NOT_GO_OUT, DUE, GETS_WORSE, NOT_COMMISSIONED, NOTHING = NEEDS = (
    "must not go out",
    "due",
    "gets worse",
    "not commissioned",
    "nothing this week",
)
"""What a rig needs a person for, most pressing first."""
SOON = timedelta(days=7)
"""A check due within this is on the list of the week. Common practice, no source."""
UNVERIFIED = "unverified"
"""The rule of the trend that nothing was measured since a service: a check is due."""


@dataclass(frozen=True)
class Reached:
    """A limit that a figure out of control is forecast to reach."""

    on: date
    cause: str
    step: str


@dataclass(frozen=True)
class Worsening:
    """What the checks of a rig show beyond weather, supply voltage and normal variation; true of any day they are looked at."""

    rule: str
    """The rule of the trend that told it; empty: only limits are ahead."""
    urgency: int
    """As ``NextAction`` has it."""
    cause: str
    step: str
    earliest: date | None = None
    """The first day on which the forecast puts the limit; None: no forecast."""
    limits: tuple[Reached, ...] = ()
    """Most telling figure first."""


@dataclass(frozen=True)
class Need:
    """Why a rig needs somebody."""

    need: str
    """One of ``NEEDS``."""
    rank: int
    """Row of ``RULES``: the lower, the sooner."""
    cause: str
    """Six words at most."""
    step: str
    """The one next step; empty: none."""
    by: date | None = None
    """The day that it is due; None: none is set, or at once."""

    @property
    def stops(self) -> bool:
        """Out of use, or a limit is reached: the exit code of a list of trends is 1."""
        return self.rank < STOPS


@dataclass(frozen=True)
class RigFacts:
    """What the rules look at."""

    status: Status | None
    """None: the orders are not known, as in an export."""
    commissioned: bool
    next_check: NextCheck
    worsening: Worsening | None
    today: date
    to_clear: str = ""
    """The first step of clearing the rig that isn't done; empty: as the level has it."""


def need_of(facts: RigFacts) -> Need:
    """The most pressing need of one rig."""
    for rank, (need, rule) in enumerate(RULES):
        found = rule(facts)
        if found is not None:
            return Need(need, rank, *found)
    raise AssertionError("the last rule always applies")


def order_key(need: Need, rig: str) -> tuple[int, date, str]:
    """Sorts rigs: rank, then the day it is due, then the name; no two rigs have the same key."""
    return need.rank, need.by or date.max, rig


Found = tuple[str, str, date | None]
"""Cause, next step, day."""


def cause_in_short(one: OpenRaise) -> str:
    """What holds a rig, in six words at most."""
    if one.cause == "pin not seen":
        sides = [side for side in ("LEFT", "RIGHT") if side in one.sentence]
        return f"{sides[0]} pin NOT in its hole" if len(sides) == 1 else CAUSES_IN_SHORT[one.cause]
    if one.sign in SIGNS:
        return f"{SIGNS[one.sign].column}: to watch" if one.level == WATCH else SIGNS[one.sign].column
    return CAUSES_IN_SHORT.get(one.cause, "an order that is not known")


def _latched(level: str, step: str) -> Callable[[RigFacts], Found | None]:
    def rule(facts: RigFacts) -> Found | None:
        status = facts.status
        if status is None or status.level != level:
            return None
        first = next((one for one in status.open if one.level == level), None)
        judging = judging_first(status)
        if judging and (first is None or level != DO_NOT_USE):
            return "not judged yet", step_in_words(judging[0]), None
        return cause_in_short(first) if first else level, facts.to_clear or step, None

    return rule


def _limit_reached(facts: RigFacts) -> Found | None:
    limits: Sequence[Reached] = facts.worsening.limits if facts.worsening else ()
    return next(((one.cause, one.step, None) for one in limits if one.on <= facts.today), None)


def _overdue(facts: RigFacts) -> Found | None:
    check = facts.next_check
    if not check.overdue:
        return None
    days = (facts.today - check.on).days if check.on is not None else 0
    cause = f"check overdue by {counted(days, 'day')}" if days > 0 else "check overdue by hours or throws"
    return cause, CHECK_IT, check.on


def _unverified(facts: RigFacts) -> Found | None:
    worse = facts.worsening
    return (worse.cause, worse.step, None) if worse is not None and worse.rule == UNVERIFIED else None


def _due_soon(facts: RigFacts) -> Found | None:
    on = facts.next_check.on
    if on is None or on > facts.today + SOON:
        return None
    days = (on - facts.today).days
    return f"check due in {counted(days, 'day')}" if days else "check due today", CHECK_IT, on


def _worse(urgency: int) -> Callable[[RigFacts], Found | None]:
    def rule(facts: RigFacts) -> Found | None:
        worse = facts.worsening
        if worse is None or not worse.rule or worse.urgency < urgency:
            return None
        return worse.cause, worse.step, worse.earliest

    return rule


def _not_commissioned(facts: RigFacts) -> Found | None:
    if facts.commissioned or (facts.status is not None and facts.status.level != IN_SERVICE):
        return None
    return "no accepted commissioning sheet", "commission it: five throws each way", None


def _nothing(facts: RigFacts) -> Found | None:
    check = facts.next_check
    cause = NO_STATUS if facts.status is None else "nothing open"
    if check.on is not None:
        return cause, f"seasonal check on {check.on}", check.on
    if check.sentence != NO_CHECK:
        return cause, "seasonal check by hours or throws", None
    return "no next check is set", "set the day of the next check", None


NO_STATUS = "status not in this list"
CHECK_IT = "seasonal check: three throws each way"
RULES: tuple[tuple[str, Callable[[RigFacts], Found | None]], ...] = (
    (MUST_NOT_GO_OUT, _latched(DO_NOT_USE, "find the cause and write it down")),
    (MUST_NOT_GO_OUT, _limit_reached),
    (MUST_NOT_GO_OUT, _latched(RESTRICTED, "find and put right what restricts it")),
    (DUE, _overdue),
    (DUE, _unverified),
    (DUE, _due_soon),
    (GETS_WORSE, _worse(3)),
    (GETS_WORSE, _latched(WATCH, "find what caused the sign")),
    (GETS_WORSE, _worse(1)),
    (NOT_COMMISSIONED, _not_commissioned),
    (NOTHING, _nothing),
)
STOPS = 2
"""The first two of them."""
