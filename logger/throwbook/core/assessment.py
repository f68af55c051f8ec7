"""What a judged trial is: figures with uncertainty, signs, checks against limits, causes, a verdict.

Data only. They are computed by ``figures``, ``signs``, ``verdict`` and ``diagnosis``; put together by ``assess``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

from throwbook.core.rig import SIDES
from throwbook.core.wording import SIGNS, switch_name

if TYPE_CHECKING:  # the words for verdicts are needed where no array is: the screen opens without numpy
    from throwbook.core.trace import FloatArray

METHOD_VERSION = "2"
"""Goes up when the judging of a throw, or a rule of acceptance, changes: what an earlier one judged is then judged again."""
EARLIER_METHODS = ("1",)
"""Each has an index of its own in the logbook: a new method takes a new migration along."""

INFO = "info"
WATCH = "watch"
FAIL = "fail"
LEVELS = (INFO, WATCH, FAIL)

PASS = "pass"
UNDECIDED = "undecided"
UNUSABLE = "unusable"
VERDICTS = (PASS, WATCH, FAIL, UNDECIDED, UNUSABLE)
WORST_FIRST = (FAIL, UNUSABLE, UNDECIDED, WATCH, PASS)
"""Of several movements in a record the one whose verdict comes first here stands for the record."""

CUT_OFF = "cut-off"
STALL = "stall"
STILL_RUNNING = "still-running"
NO_RUN = "no-run"
ENDS = (CUT_OFF, STALL, STILL_RUNNING, NO_RUN)

NOT_ON_BENCH = ("light-run", "switch-open", "switch-lag", "switch-fault")
"""Signs that say nothing on a bench: there is nothing to move, and no pin."""


class Measured(NamedTuple):
    """A figure and its expanded uncertainty (k = 2), both in the figure's SI unit."""

    value: float
    u: float

    @property
    def up(self) -> float:
        """How far above the value it may lie."""
        return self.u

    @property
    def down(self) -> float:
        """How far below."""
        return self.u


class Interval(NamedTuple):
    """A figure and the 95 % interval it lies in, which need not be as wide above as below; all in its SI unit.

    NaN at both ends: how far it may be off isn't known.
    """

    value: float
    low: float
    high: float

    @classmethod
    def about(cls, value: float, u: float) -> Interval:
        """As wide above as below."""
        return cls(value, value - u, value + u)

    def raised_to(self, least: float) -> Interval:
        """The same interval about a value that is at least ``least``."""
        by = max(0.0, least - self.value)
        return Interval(self.value + by, self.low + by, self.high + by)

    @property
    def up(self) -> float:
        """How far above the value it may lie."""
        return self.high - self.value

    @property
    def down(self) -> float:
        """How far below."""
        return self.value - self.low

    @property
    def u(self) -> float:
        """The wider of both sides."""
        return max(self.up, self.down)


@dataclass(frozen=True)
class Figures:
    """Every figure of one trial; None where the record can't give it (never a guess)."""

    start_s: Measured | None = None
    end_s: Measured | None = None
    travel_time_s: Measured | None = None
    inrush_a: Measured | None = None
    run_current_a: Measured | None = None
    """Time-average from the end of the inrush to the end of the movement."""
    peak_run_current_a: Measured | None = None
    stall_current_a: Measured | None = None
    mean_voltage_v: Measured | None = None
    rest_voltage_v: Measured | None = None
    source_resistance_ohm: Measured | None = None
    charge_as: Measured | None = None
    energy_j: Measured | None = None
    travel_fraction: Measured | None = None
    """Share of the full stroke moved."""
    take_up_fraction: Measured | None = None
    """Share of the stroke at which the current first leaves no-load level."""
    left_switch_at_s: Measured | None = None
    """When the switch at the left pin changed, from the start of the movement."""
    right_switch_at_s: Measured | None = None
    left_switch_at_fraction: Measured | None = None
    """Share of the stroke at which it did."""
    right_switch_at_fraction: Measured | None = None
    switch_lag_fraction: Measured | None = None
    """How much later on the stroke the right one changed than the left one; below zero: earlier."""
    run_noise_a: Measured | None = None
    """Scatter of neighbouring samples while running [A]: brush ripple, bad contact and sensor noise together."""
    back_emf_vs: Measured | None = None
    """Integral of the back-EMF over a movement that stopped by itself [V s]: in proportion to its travel."""

    def items(self) -> list[tuple[str, Measured | None]]:
        """Names and values, in the order of the fields."""
        return [(f.name, getattr(self, f.name)) for f in fields(self)]


NO_START, SWITCH_OPEN = "no-start", "switch-open"
"""Signs that are asked for by name beyond their own file."""
OPEN, CLOSED = 0.0, 1.0
"""Value and limit of ``SWITCH_OPEN``: what the switch read, and what it should have read."""


@dataclass(frozen=True)
class Sign:
    """One thing that a record shows; its names stand in ``wording.SIGNS``."""

    sign: str
    level: str
    because: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    at_fraction: float | None = None
    """Share of the stroke from this movement's own start."""
    at_fraction_u: float | None = None
    """Expanded uncertainty (k = 2) of the place."""
    from_s: float | None = None
    settle: str = ""
    """What would settle it where something else explains it too, so that no verdict can pass; empty: it stands."""
    side: str = ""
    """``left`` or ``right`` where it knows of which pin it speaks; empty: it doesn't, or of both."""


@dataclass(frozen=True)
class Check:
    """One figure judged against one limit: of the rating with a guard band equal to its expanded uncertainty, an alert as read."""

    name: str
    measured: Measured | None
    limit: float
    side: str
    """``max`` or ``min``"""
    unit: str
    limit_from: str
    """Source of the limit."""
    decision: str
    """``pass`` · ``watch`` (over an alert limit) · ``fail`` · ``undecided`` · ``not judged``"""
    settle: str = ""
    """What would settle an undecided one."""


@dataclass(frozen=True)
class Diagnosis:
    """A cause that would explain the signs, how sure, what else could, and the action that splits them."""

    cause: str
    sure: str
    """``likely`` or ``possible``"""
    rivals: tuple[str, ...]
    action: str
    signs: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Profile:
    """Current over travel on a fixed grid, from this movement's own start."""

    fraction: FloatArray
    """shape (m,) 0..1"""
    current_a: FloatArray
    """shape (m,) [A]"""
    u_a: FloatArray
    """shape (m,) standard uncertainty of each point [A]"""
    place_u: float
    """Standard uncertainty of any place on it, as a share of the stroke."""


@dataclass(frozen=True, eq=False)
class Assessment:
    """The judged trial."""

    file: str
    direction: str
    usable: bool
    unusable_because: str
    figures: Figures
    end: str
    signs: tuple[Sign, ...]
    checks: tuple[Check, ...]
    diagnoses: tuple[Diagnosis, ...]
    verdict: str
    because: str = ""
    """The verdict's reason in one sentence."""
    provisional: bool = False
    """Judged against a baseline that rests on no accepted commissioning sheet."""
    profile: Profile | None = None
    ambient_c: float | None = None
    method_version: str = METHOD_VERSION
    notes: tuple[str, ...] = field(default=())
    started: datetime | None = None
    """When the record began, with its offset from UTC."""
    inrush_end_s: float | None = None
    """End of the inrush [s]."""
    movement: int = 1
    """Which movement of its record, from 1."""
    movements: int = 1
    """How many movements the record holds."""


def switch_places(figures: Figures) -> list[tuple[float, str]]:
    """Where on the stroke each pin's switch changed, with its name, left first; only what is known."""
    places = {side: getattr(figures, f"{side}_switch_at_fraction") for side in SIDES}
    return [(at.value, switch_name(side)) for side, at in places.items() if at is not None]


def movement_said(judged: Assessment) -> str:
    """Which movement of its record it is, in words; empty where the record holds no other."""
    return f"movement {judged.movement} of {judged.movements}" if judged.movements > 1 else ""


def worst_verdict(verdicts: Iterable[str]) -> str:
    """The one that comes first in ``WORST_FIRST``; ``undecided`` where there is none."""
    return min(verdicts, key=WORST_FIRST.index, default=UNDECIDED)


def sign_text(sign: Sign) -> str:
    """A sign with its place: ``binding spot at 62 % of stroke``."""
    place = "" if sign.at_fraction is None else f" at {100.0 * sign.at_fraction:.0f} % of stroke"
    return f"{SIGNS[sign.sign].column}{place}"


def worst_of(judged: Sequence[Assessment]) -> Assessment:
    """The movement that stands for its record: the worst verdict, of equal ones the first."""
    return min(judged, key=lambda each: WORST_FIRST.index(each.verdict))
