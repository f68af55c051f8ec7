"""What a report is made from: everything the logbook holds of one rig, gathered by ``jobs.reporting``."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from throwbook.core.analysis.baseline import Baseline
from throwbook.core.assessment import METHOD_VERSION
from throwbook.core.listing import ListedThrow, state_said
from throwbook.core.records import (
    ACCEPTED,
    Answers,
    BaselineRecord,
    Calibration,
    LoggedTrial,
    Meter,
    Order,
    Photograph,
    PinAnswers,
    RigRevision,
    SheetState,
    Sighting,
)
from throwbook.core.rig import Rig
from throwbook.core.sheets.conditions import Conditions, conditions_from, with_air
from throwbook.core.sheets.sheet import Plan, SheetTrial, as_found
from throwbook.core.sizing.sizing import Gap
from throwbook.core.status.latch import Status
from throwbook.core.status.maintenance import NextCheck, ServiceEntry
from throwbook.core.trace import Trace

if TYPE_CHECKING:
    from throwbook.core.sheets.acceptance import Acceptance
    from throwbook.core.trend.profile_trend import SpotHeights
    from throwbook.core.trend.trend_result import TrendResult


@dataclass(frozen=True, eq=False)
class SheetPart:
    """One sheet with everything on it."""

    state: SheetState
    plan: Plan
    rig: Rig
    """As it was when the throws were judged."""
    trials: tuple[SheetTrial, ...]
    logged: Mapping[str, LoggedTrial]
    """By trial."""
    seen: Mapping[str, PinAnswers]
    """By trial."""
    acceptance: "Acceptance"
    sightings: tuple[Sighting, ...]
    """Every revision."""
    answers: tuple[Answers, ...]
    """Every revision."""
    no_since: bool = False
    """A "no" came after it was decided."""
    meters: tuple[Meter, ...] = ()
    """That its throws by hand were read with."""
    rejudged: tuple[tuple[int, str, str, str], ...] = ()
    """Throw, when, by whom and why of every judgement that another one replaced."""
    photographs: Mapping[str, Mapping[str, Photograph]] = field(default_factory=dict)
    """By trial and pin: those that count."""
    prints: Mapping[str, tuple[bytes, int, int]] = field(default_factory=dict)
    """Of the sheets that are drawn, by ``Photograph.picture``: a small JPEG, its width and height."""

    @property
    def name(self) -> str:
        """``yard-loader-3``."""
        return self.state.name

    @property
    def state_said(self) -> str:
        """``accepted``, and a "no" that came since."""
        return state_said(self.state.state, self.no_since)

    @property
    def signed(self) -> str:
        """Who signed the acceptance; empty: it isn't accepted."""
        decided = self.state.decision
        return decided.signed if decided is not None and self.state.state == ACCEPTED else ""

    @property
    def conditions(self) -> Conditions:
        """What was asked and told, or came with the records."""
        return with_air(conditions_from(self.state.answers), (one.air_c for one in self.trials))

    @property
    def day(self) -> date:
        """The day of its throws."""
        return self.state.day

    @property
    def apart(self) -> frozenset[str]:
        """Ids of the throws kept apart as found."""
        return as_found(self.conditions, self.trials)

    @property
    def throws(self) -> list[ListedThrow]:
        """Its throws as a list shows them."""
        apart = self.apart
        return [ListedThrow(one, self.seen[one.id], one.id in apart) for one in self.trials]

    def counting(self, direction: str) -> list[SheetTrial]:
        """Throws of one direction that count: not left out, not as found."""
        apart = self.apart
        return [
            one
            for one in self.trials
            if one.direction == direction and not one.left_out and one.id not in apart
        ]


@dataclass(frozen=True, eq=False)
class Material:
    """Everything that a report of one rig rests on."""

    rig: Rig
    revisions: tuple[RigRevision, ...]
    status: Status
    commissioned: bool
    next_check: NextCheck
    sheets: tuple[SheetPart, ...]
    """Oldest first."""
    services: tuple[ServiceEntry, ...]
    """Oldest first."""
    orders: tuple[Order, ...]
    baselines: Mapping[str, Baseline]
    """By direction."""
    baseline_records: tuple[BaselineRecord, ...]
    calibrations: tuple[Calibration, ...]
    trends: "Sequence[TrendResult]"
    broken_seals: tuple[str, ...]
    traces: Mapping[str, Trace]
    """By trial: those that are drawn."""
    issued: date
    software: str
    place: str = ""
    owner: str = ""
    method: str = METHOD_VERSION
    steps: tuple[str, ...] = ()
    """Of the way down, in words."""
    spot_heights: "tuple[SpotHeights, ...]" = ()
    """Of the places that bind, or did before a service, over all checks."""
    spots: tuple[str, ...] = ()
    season_notes: tuple[str, ...] = ()
    """What the order of a day's check and work leaves open."""
    """Sentences about places where binding has grown."""
    happened: tuple[str, ...] = ()
    """Since the last accepted sheet, a sentence for each event."""
    gaps: tuple[Gap, ...] = ()
    """What the status doesn't cover."""
    next_action: str = ""
    practice: bool = False
    """From a practice logbook."""

    @property
    def commissioning(self) -> SheetPart | None:
        """The newest accepted commissioning sheet, or else the newest commissioning sheet with throws on it."""
        mine = [one for one in self.sheets if one.state.sheet.kind == "commissioning" and one.trials]
        accepted = [one for one in mine if one.state.state == "accepted"]
        return (accepted or mine or [None])[-1]  # type: ignore[list-item]

    def sheet_of(self, name: str) -> SheetPart:
        """A sheet by its name; it is there."""
        return next(one for one in self.sheets if one.name == name)
