"""What is on a test sheet: its plan, the throws and what a person saw; which throw is "as found"."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

from throwbook.core.assessment import Assessment
from throwbook.core.machine.electrical import ASSUMED_DUTY, longest_throw_s, rest_for
from throwbook.core.quantities.text import written
from throwbook.core.records import (
    AFTER_SERVICE,
    BENCH,
    BY_HAND,
    COMMISSIONING,
    NO,
    NOT_LOOKED,
    SEASONAL,
    SEEN,
    SPOT,
    YES,
    LoggedTrial,
    PinAnswers,
    SheetState,
    Sighting,
    people,
)
from throwbook.core.rig import LOCK, Rig
from throwbook.core.sheets.conditions import Conditions, conditions_from, simulated_by

# kind: (throws each way when the plan doesn't say, the fewest a plan may ask for). Common practice, no source.
KINDS: dict[str, tuple[int, int]] = {
    BENCH: (5, 1),
    COMMISSIONING: (5, 5),
    SEASONAL: (3, 1),
    AFTER_SERVICE: (5, 1),
    SPOT: (1, 1),
}
AS_FOUND_AFTER_H = 2.0
"""Rest [h] after which the first movement is kept apart as found (common practice, no source)."""
LOOK_AT_ALWAYS = (
    "both pins and both holes: dirt, burrs, bent or short pins",
    "linkage, clevis pins and clips on both sides",
    "cable, plugs and fuse: chafing, heat, green corrosion",
)
LOOK_AT: dict[str, tuple[str, ...]] = {
    BENCH: ("the rod runs the full stroke both ways and stops by itself",),
    COMMISSIONING: (
        "after every lock throw, each pin in its hole: left and right looked at separately",
        "the manufacturer's load check, after every lock throw",
        "the pins stay put with the power off",
    ),
    SEASONAL: (
        "after every lock throw, each pin in its hole: left and right looked at separately",
        "the manufacturer's load check, after every lock throw",
        "the pins stay put with the power off",
        "attachment on the ground, power isolated: feel for play by hand",
    ),
    AFTER_SERVICE: (
        "the parts that were worked on, before and after",
        "after every lock throw, each pin in its hole: left and right looked at separately",
        "the manufacturer's load check, after every lock throw",
        "the pins stay put with the power off",
    ),
    SPOT: (
        "each pin in its hole: left and right looked at separately",
        "the manufacturer's load check, after the lock throw",
        "the pins stay put with the power off",
    ),
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
    answers: tuple[str, ...] = ()
    """Ids of the orders that held the rig when the sheet was planned (``Status.open_ids``)."""
    services: tuple[str, ...] = ()
    """Ids of the service entries that were logged when it was planned."""
    imported: bool = False
    """An import made it: the throws that came in with it are from files."""
    throws_after: str = ""
    """Date and time (ISO 8601) of what it answers: throws dated earlier prove nothing of the repair. Empty: nothing."""
    measured_by: str = ""
    """``board`` or ``hand`` (stopwatch and meter); empty: nobody said."""
    day: str = ""
    """Day of its throws (ISO 8601) where they are typed in from paper later. Empty: as each throw says."""


def plan_from(details: Mapping[str, Any]) -> Plan:
    """A plan as the logbook keeps it; what an older program didn't write is empty."""
    return Plan(
        throws_each_way=int(details.get("throws_each_way", 0)),
        rest_s=float(details.get("rest_s", 0.0)),
        rest_from=str(details.get("rest_from", "")),
        look_at=tuple(details.get("look_at", ())),
        answers=tuple(details.get("answers", ())),
        services=tuple(details.get("services", ())),
        imported=bool(details.get("imported", False)),
        throws_after=str(details.get("throws_after", "")),
        measured_by=str(details.get("measured_by", "")),
        day=str(details.get("day", "")),
    )


MAY_LACK = ("imported", "measured_by", "day")
"""Isn't written where it says nothing: such a plan stays as an older program wrote it."""


def plan_details(plan: Plan) -> dict[str, Any]:
    """The other way round: what ``Logbook.plan_sheet`` takes."""
    kept = {name: value for name, value in asdict(plan).items() if name not in MAY_LACK or value}
    return {name: list(value) if isinstance(value, tuple) else value for name, value in kept.items()}


def plan_for(
    kind: str,
    rig: Rig,
    throws_each_way: int | None = None,
    answers: tuple[str, ...] = (),
    services: tuple[str, ...] = (),
    throws_after: str = "",
) -> Plan:
    """Plan a sheet of ``kind``: never fewer throws than the kind's floor, rest from the duty cycle.

    The rest follows the longest run that the data sheet knows.
    """
    usual, fewest = KINDS[kind]
    actuator = rig.actuator
    duty = actuator.duty_cycle or ASSUMED_DUTY
    source = (
        "data sheet"
        if actuator.duty_cycle
        else f"assumed {100 * ASSUMED_DUTY:.0f} %: the data sheet gives none"
    )
    return Plan(
        throws_each_way=max(fewest, usual if throws_each_way is None else throws_each_way),
        rest_s=rest_for(longest_throw_s(rig), duty),
        rest_from=source,
        look_at=LOOK_AT_ALWAYS + LOOK_AT[kind],
        answers=answers,
        services=services,
        throws_after=throws_after,
    )


@dataclass(frozen=True)
class SheetTrial:
    """One throw on a sheet."""

    id: str
    position: int
    """1, 2, 3 ... in the order they were thrown."""
    assessment: Assessment
    by_hand: bool = False
    left_out: str = ""
    """Why it doesn't count here; empty: it counts."""
    as_found: bool = False
    """It was written down as found when it came in."""
    started: datetime | None = None
    """When it was thrown, by the clock there; None: not known."""
    simulated_by: str = ""
    """What made the record, where no machine did."""
    rig_version: str = ""
    """Id of the version of the rig file it was judged by; empty: not known."""
    air_c: float | None = None
    """Air temperature that came with it [degC]; None: none did."""
    entered: datetime | None = None
    """When it was put on the sheet; None: not known. Throws of one moment came in together, as from paper."""

    @property
    def direction(self) -> str:
        """``lock`` or ``unlock``."""
        return self.assessment.direction

    @property
    def name(self) -> str:
        """How a person calls it."""
        return f"throw {self.position} ({self.direction})"


def sheet_trials(logged: Iterable[LoggedTrial]) -> tuple[SheetTrial, ...]:
    """The throws of one sheet, as ``Logbook.trials(sheet=...)`` gives them, in their order on the sheet."""
    return tuple(
        sorted(
            (
                SheetTrial(
                    one.id,
                    one.placement.position,
                    one.judgement.assessment,
                    one.trial.source == BY_HAND,
                    one.placement.left_out,
                    one.placement.as_found,
                    one.trial.started,
                    simulated_by(one.placement.head),
                    one.judgement.rig_revision or "",
                    one.placement.ambient_c,
                    one.placement.at,
                )
                for one in logged
                if one.placement is not None and one.judgement is not None
            ),
            key=lambda one: one.position,
        )
    )


@dataclass(frozen=True)
class FilledSheet:
    """A sheet as it is judged; its trials and sightings are handed over beside it."""

    rig: str
    kind: str
    plan: Plan
    conditions: Conditions = field(default_factory=Conditions)
    signed: str = ""
    practice: bool = False
    """It stands in a practice logbook."""
    signed_at: datetime | None = None
    """When it is being signed; None: that is not the question."""
    rig_version: str = ""
    """Id of the rig file's version that counts while it is being signed; empty: that is not the question."""
    moved_before: datetime | None = None
    """When the rig's newest throw before the first of this sheet started, as far as the logbook knows."""
    same_readings_on: str = ""
    """Name of an earlier sheet on which all its readings by hand stand, digit for digit; empty: on none."""
    answers_out_of_use: bool = False
    """An order that it answers took the rig out of use."""
    bench: tuple[tuple[SheetTrial, ...], ...] = ()
    """Throws of this actuator by itself, one group for each of its bench sheets."""
    shared_risk: bool = False
    """Whoever signs chose to accept readings that are inside a limit and nearer to it than their ±."""

    @property
    def takes_shared_risk(self) -> bool:
        """False where that can't be chosen: on the way out of ``do not use``."""
        return self.shared_risk and not self.answers_out_of_use


def filled(state: SheetState, signed: str = "") -> FilledSheet:
    """A sheet of the logbook, with the signature that is on it or about to be put on it."""
    decided = state.decision.signed if state.decision else ""
    return FilledSheet(
        state.sheet.rig,
        state.sheet.kind,
        plan_from(state.sheet.plan),
        conditions_from(state.answers),
        signed or decided,
        shared_risk=bool(state.decision and state.decision.statement.get("shared_risk")),
    )


def seen_at(trial: str, sightings: Iterable[Sighting]) -> PinAnswers:
    """Every sighting of one throw as one; give it all revisions, the replaced ones too.

    A sighting counts no more when a later one replaces it *with a reason and a name*, and what that one had replaced
    counts no more with it. Of the rest a ``no`` beats a
    ``yes`` (two people disagree: the throw is done again) and a ``yes`` beats ``not looked``.
    """
    mine = [one for one in sightings if one.trial == trial]
    corrected = _replaced_by([one for one in mine if written(one.reason) and written(one.by)], mine)
    valid = [one for one in mine if one.id not in corrected]
    answers = {name: _strongest({getattr(one, name) for one in valid}) for name in SEEN}
    hows = sorted({written(one.how) for one in valid if written(one.how)})
    names = people(one.by for one in valid)
    return PinAnswers(**answers, how="; ".join(hows), by=", ".join(names), answered=bool(valid))


def _replaced_by(corrections: Iterable[Sighting], mine: Sequence[Sighting]) -> set[str]:
    by_id = {one.id: one for one in mine}
    waiting = [old for one in corrections for old in one.replaces]
    found: set[str] = set()
    while waiting:
        old = waiting.pop()
        if old not in found:
            found.add(old)
            waiting += by_id[old].replaces if old in by_id else ()
    return found


def _strongest(given: set[str]) -> str:
    return next((answer for answer in (NO, YES) if answer in given), NOT_LOOKED)


def rested(conditions: Conditions) -> bool:
    """Whether the machine had stood for hours before the first throw; not recorded counts as rested."""
    hours = conditions.hours_since_movement
    return hours is None or hours >= AS_FOUND_AFTER_H


def as_found(conditions: Conditions, trials: Iterable[SheetTrial]) -> frozenset[str]:
    """Ids of the throws kept apart as found: the first movement after a rest of hours.

    Not recorded counts as rested: what may be as found never gets into a baseline.
    """
    throws = list(trials)
    first = min(throws, key=lambda one: one.position, default=None)
    apart = {one.id for one in throws if one.as_found}
    return frozenset(apart | {first.id} if first is not None and rested(conditions) else apart)


def lock_throws(trials: Iterable[SheetTrial]) -> list[SheetTrial]:
    """Those that need a sighting."""
    return [one for one in trials if one.direction == LOCK]


ASKED = {
    "left_pin": "left pin",
    "right_pin": "right pin",
    "load_check": "load check",
    "retained_power_off": "staying put",
}


def withdrawn(trials: Iterable[SheetTrial], sightings: Sequence[Sighting]) -> tuple[str, ...]:
    """One sentence for each throw with a "no" that no longer counts: what it was about, who corrected it and why."""
    said = []
    for throw in trials:
        mine = [one for one in sightings if one.trial == throw.id]
        counts = seen_at(throw.id, mine)
        names = [
            name
            for name in SEEN
            if getattr(counts, name) != NO and any(getattr(one, name) == NO for one in mine)
        ]
        if not names:
            continue
        corrections = sorted(
            {
                f"{written(one.by)}: {written(one.reason)}"
                for one in mine
                if one.replaces and written(one.reason)
            }
        )
        what = ", ".join(ASKED[name] for name in names)
        said.append(f"{throw.name}: {what} first recorded as NO, corrected by {'; '.join(corrections)}")
    return tuple(said)


def no_since(since: Iterable[Sighting]) -> bool:
    """Whether one of the sightings ``since`` the sheet was decided says "no"."""
    return any(NO in (getattr(one, name) for name in SEEN) for one in since)


def said_since(trials: Iterable[SheetTrial], since: Iterable[Sighting]) -> tuple[str, ...]:
    """One sentence for each "no" in the sightings ``since`` the sheet was decided."""
    names = {one.id: one.name for one in trials}
    return tuple(
        f"{names.get(one.trial, 'a throw')}: {', '.join(ASKED[name] for name in SEEN if getattr(one, name) == NO)} "
        f"NO, recorded {one.at:%Y-%m-%d %H:%M} by {one.by}, after the sheet was decided"
        for one in since
        if NO in (getattr(one, name) for name in SEEN)
    )
