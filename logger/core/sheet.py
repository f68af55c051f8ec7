"""A test sheet as data: its plan, what was asked, the throws on it and what a person saw.

Whether a sheet may be accepted is ``acceptance``'s business. Here stands what the sheet holds, which throw is "as
found", and what an unanswered question costs.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields

from logger.core.assessment import PASS, WATCH, Assessment
from logger.core.rig import Rig
from logger.core.trace import LOCK

BENCH = "bench"
COMMISSIONING = "commissioning"
SEASONAL = "seasonal"
AFTER_SERVICE = "after-service"
SPOT = "spot"

OPEN = "open"
ACCEPTED = "accepted"
REJECTED = "rejected"
STATES = (OPEN, ACCEPTED, REJECTED)

YES = "yes"
NO = "no"
NOT_LOOKED = "not looked"
ANSWERS = (YES, NO, NOT_LOOKED)

# kind: (throws each way when the plan doesn't say, the fewest a plan may ask for). Common practice, no source.
KINDS: dict[str, tuple[int, int]] = {
    BENCH: (5, 1),
    COMMISSIONING: (5, 5),
    SEASONAL: (3, 1),
    AFTER_SERVICE: (5, 1),
    SPOT: (1, 1),
}

ASSUMED_DUTY = 0.25
"""Duty cycle when the data sheet gives none (assumed)."""
AS_FOUND_AFTER_H = 2.0
"""Rest [h] after which the first movement is kept apart as found (common practice, no source)."""

LOOK_AT_ALWAYS = (
    "both pins and both holes: dirt, burrs, bent or short pins",
    "linkage, clevis pins and clips on both sides",
    "cable, plugs and fuse: chafed, hot, green",
)
LOOK_AT: dict[str, tuple[str, ...]] = {
    BENCH: ("the rod runs its whole stroke both ways and stops by itself",),
    COMMISSIONING: (
        "each pin in its hole at every lock throw, left and right each by itself",
        "the maker's load check after the lock throws",
        "the pins stay put with the power off",
    ),
    SEASONAL: ("each pin in its hole at every lock throw, left and right each by itself", "play by hand"),
    AFTER_SERVICE: (
        "what was worked on, before and after",
        "each pin in its hole at every lock throw, left and right each by itself",
    ),
    SPOT: ("each pin in its hole, left and right each by itself",),
}


@dataclass(frozen=True)
class Plan:
    """How a sheet is to be filled."""

    throws_each_way: int
    rest_s: float
    """Rest between throws that keeps the duty cycle [s]."""
    rest_from: str
    """Where the duty cycle comes from."""
    look_at: tuple[str, ...]


def plan_for(kind: str, rig: Rig, throws_each_way: int | None = None) -> Plan:
    """Plan a sheet of ``kind``: never fewer throws than the kind's floor, rest from the duty cycle.

    The rest follows the longest run the data sheet knows (full load; with no full-load speed 0.75 of no-load speed,
    *assumed*): rest = run * (1 - duty) / duty.
    """
    usual, fewest = KINDS[kind]
    actuator = rig.actuator
    slowest_m_s = actuator.full_load_speed_m_s or 0.75 * actuator.no_load_speed_m_s
    run_s = rig.lock.needed_travel_m / slowest_m_s
    duty = actuator.duty_cycle or ASSUMED_DUTY
    source = "data sheet" if actuator.duty_cycle else f"assumed {ASSUMED_DUTY:.0%}: the data sheet gives none"
    return Plan(
        throws_each_way=max(fewest, usual if throws_each_way is None else throws_each_way),
        rest_s=run_s * (1.0 - duty) / duty,
        rest_from=source,
        look_at=LOOK_AT_ALWAYS + LOOK_AT[kind],
    )


@dataclass(frozen=True)
class Conditions:
    """What every sheet asks. None is "not recorded", never "no"."""

    hours_since_movement: float | None = None
    worked_before: str | None = None
    """``no``, or what was done: greased, worked a few times, ..."""
    ambient_c: float | None = None
    supply: str | None = None
    """What fed it: machine battery, bench supply, ..."""
    engine_running: bool | None = None
    attachment: str | None = None
    operator: str | None = None
    instruments: str | None = None


@dataclass(frozen=True)
class Question:
    """One question and what leaving it blank costs."""

    key: str
    """Field of ``Conditions``."""
    asked: str
    option: str
    """The option that answers it."""
    caps_at: str | None
    """Best verdict the sheet may have while it is blank; None: no cap."""
    claim_lost: str
    """What the sheet can't claim while it is blank."""


QUESTIONS: tuple[Question, ...] = (
    Question(
        "hours_since_movement",
        "Hours since the last movement?",
        "--hours-since",
        WATCH,
        "how it runs after standing: the first throw may or may not be as found",
    ),
    Question(
        "worked_before",
        "Greased or worked before the test?",
        "--worked-before",
        WATCH,
        "its state as it stood: it may have been eased first",
    ),
    Question(
        "ambient_c", "Ambient temperature?", "--ambient", None, "comparison with checks in other weather"
    ),
    Question("supply", "What fed it?", "--supply", None, "how the supply does on the machine"),
    Question(
        "engine_running", "Engine running?", "--engine", None, "how the supply does with the engine off"
    ),
    Question("attachment", "Which attachment?", "--attachment", None, "that it holds for a given attachment"),
    Question("operator", "Who did it?", "--operator", None, "whom to ask"),
    Question("instruments", "Instruments used?", "--instruments", None, "traceable uncertainty"),
)


@dataclass(frozen=True)
class Cap:
    """A verdict after the blanks have had their say."""

    verdict: str
    because: tuple[str, ...]
    """Why it was lowered; empty: it wasn't."""
    claims_lost: tuple[str, ...]


def unanswered(conditions: Conditions) -> tuple[Question, ...]:
    """The questions left blank."""
    return tuple(
        one
        for one in QUESTIONS
        if getattr(conditions, one.key) is None or not str(getattr(conditions, one.key)).strip()
    )


def cap(verdict: str, conditions: Conditions) -> Cap:
    """Lower a ``pass`` as far as the blanks ask; anything worse stays as it is."""
    blank = unanswered(conditions)
    lowering = [one for one in blank if one.caps_at is not None]
    because = tuple(f"not recorded: {one.asked.rstrip('?').lower()}" for one in lowering)
    claims = tuple(one.claim_lost for one in blank)
    if verdict == PASS and lowering:
        return Cap(WATCH, because, claims)
    return Cap(verdict, (), claims)


@dataclass(frozen=True)
class SheetTrial:
    """One throw on a sheet."""

    id: str
    position: int
    """1, 2, 3 ... in the order they were thrown."""
    assessment: Assessment
    by_hand: bool = False

    @property
    def direction(self) -> str:
        """``lock`` or ``unlock``."""
        return self.assessment.direction

    @property
    def name(self) -> str:
        """How a person calls it."""
        return f"throw {self.position} ({self.direction})"


@dataclass(frozen=True)
class Sighting:
    """What a person saw after one lock throw. Append only; ``id`` is the hash of the rest."""

    trial: str
    left_pin: str = NOT_LOOKED
    right_pin: str = NOT_LOOKED
    seen_how: str = ""
    load_check: str = NOT_LOOKED
    """The maker's load check: ``yes`` done and passed, ``no`` not passed, ``not looked`` not done."""
    retained_power_off: str = NOT_LOOKED
    """``yes`` the pins stayed put with the power off, ``no`` they didn't, ``not looked`` not tried."""
    seen_by: str = ""
    corrects: str = ""
    """Id of the sighting that this one replaces; it takes a reason and a name."""
    reason: str = ""
    id: str = ""


SEEN = ("left_pin", "right_pin", "load_check", "retained_power_off")


def seen_at(trial: str, sightings: Iterable[Sighting]) -> Sighting:
    """All that was seen at one throw, as one sighting.

    A corrected sighting counts no more, if the correction says why and who. Of the rest a ``no`` beats a ``yes`` (two
    people disagree: the throw is done again) and a ``yes`` beats ``not looked``.
    """
    mine = [one for one in sightings if one.trial == trial]
    corrected = {one.corrects for one in mine if one.corrects and one.reason.strip() and one.seen_by.strip()}
    valid = [one for one in mine if one.id not in corrected or not one.id]
    answers = {name: _strongest([getattr(one, name) for one in valid], first=(NO, YES)) for name in SEEN}
    return Sighting(
        trial=trial,
        seen_how="; ".join(sorted({one.seen_how.strip() for one in valid if one.seen_how.strip()})),
        seen_by=", ".join(sorted({one.seen_by.strip() for one in valid if one.seen_by.strip()})),
        **answers,
    )


def _strongest(given: Sequence[str], first: tuple[str, ...]) -> str:
    return next((answer for answer in first if answer in given), NOT_LOOKED)


@dataclass(frozen=True)
class Sheet:
    """One test sheet. The trials and sightings on it are kept beside it."""

    id: str
    rig: str
    kind: str
    plan: Plan
    planned_at: str = ""
    conditions: Conditions = field(default_factory=Conditions)
    state: str = OPEN
    answers: tuple[str, ...] = ()
    """Ids of the orders that held the rig when this sheet was planned; never changed afterwards."""
    services: tuple[str, ...] = ()
    """Ids of the service entries logged when it was planned; never changed afterwards."""
    cautions_seen: bool = False
    """The cautions were shown and acknowledged."""
    signed: str = ""
    signed_at: str = ""
    reason: str = ""
    """Why it was rejected."""


def as_found(sheet: Sheet, trials: Iterable[SheetTrial]) -> frozenset[str]:
    """Ids of the throws kept apart as found: the first movement after a rest of hours.

    Not recorded counts as rested: what may be as found never gets into a baseline.
    """
    told = sheet.conditions
    if told.hours_since_movement is not None and told.hours_since_movement < AS_FOUND_AFTER_H:
        return frozenset()
    first = min(trials, key=lambda one: one.position, default=None)
    return frozenset() if first is None else frozenset({first.id})


def lock_throws(trials: Iterable[SheetTrial]) -> list[SheetTrial]:
    """Those that need a sighting."""
    return [one for one in trials if one.direction == LOCK]


def said(conditions: Conditions) -> dict[str, str]:
    """Every answer as text, blanks as "not recorded"."""
    return {
        f.name: "not recorded" if getattr(conditions, f.name) is None else str(getattr(conditions, f.name))
        for f in fields(conditions)
    }
