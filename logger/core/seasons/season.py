"""A rig's checks over the years, as data: what was measured on which day, in which weather, on which supply."""

from dataclasses import dataclass
from datetime import date

from logger.core.assessment import Figures, Profile
from logger.core.rig import Rig

RUN_CURRENT = "run_current"
PEAK_RUN_CURRENT = "peak_run_current"
TRAVEL_TIME = "travel_time"
SOURCE_RESISTANCE = "source_resistance"
TAKE_UP = "take_up"
ENERGY = "energy"

# figure: (field of ``Figures``, SI unit)
FIGURES: dict[str, tuple[str, str]] = {
    RUN_CURRENT: ("run_current_a", "A"),
    PEAK_RUN_CURRENT: ("peak_run_current_a", "A"),
    TRAVEL_TIME: ("travel_time_s", "s"),
    SOURCE_RESISTANCE: ("source_resistance_ohm", "ohm"),
    TAKE_UP: ("take_up_fraction", "1"),
    ENERGY: ("energy_j", "J"),
}


@dataclass(frozen=True, eq=False)
class SeasonThrow:
    """One throw of a check."""

    direction: str
    figures: Figures
    as_found: bool = False
    """First movement after a rest of hours: kept apart."""
    by_hand: bool = False
    profile: Profile | None = None


@dataclass(frozen=True, eq=False)
class SeasonCheck:
    """One sheet: throws of both directions on one day."""

    on: date
    sheet: str
    kind: str
    throws: tuple[SeasonThrow, ...]
    ambient_c: float | None = None
    """[degC]; None: not recorded"""
    attachment: str = ""
    """Empty: not recorded."""
    alarm: bool = False
    """It raised the alarm that a service answered: left out of before-and-after."""
    after_work: bool | None = None
    """On the day of a service: whether it counts as after it; None: its kind says."""


@dataclass(frozen=True)
class SeasonService:
    """A maintenance entry, as far as trends need it."""

    on: date
    action: str
    new_stretch: bool
    """What is measured afterwards is another machine: charts restart."""
    id: str = ""


@dataclass(frozen=True, eq=False)
class RigHistory:
    """Everything measured on one rig that can be compared, in time order."""

    rig: Rig
    checks: tuple[SeasonCheck, ...]
    """The first one is the baseline."""
    services: tuple[SeasonService, ...] = ()
    provisional: bool = False
    """The baseline rests on no accepted commissioning sheet."""
    due_on: date | None = None
    """Next check, if one is set."""
    notes: tuple[str, ...] = ()
    """What the order of a day's check and work leaves open, in sentences."""
