"""Everything that a sign function may look at, gathered once for one trial."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from throwbook.core.analysis.baseline import Baseline, Fit
from throwbook.core.analysis.clipping import at_the_ceiling
from throwbook.core.analysis.edges import PlaceU
from throwbook.core.analysis.figures import MOST_LOST
from throwbook.core.analysis.residual_current import JOG
from throwbook.core.analysis.rest import SAME_LEVEL
from throwbook.core.analysis.segmentation import Segments
from throwbook.core.analysis.switches import PinSwitch
from throwbook.core.analysis.travel import LateLoad, Travel
from throwbook.core.assessment import CUT_OFF, Figures, Profile
from throwbook.core.machine.motor import MotorLine
from throwbook.core.rig import Rig
from throwbook.core.trace import Trace

NO_LOAD_U = 0.10
"""Relative standard uncertainty of a data-sheet no-load current (*practice*)."""
COLD_SHARE_PER_K = 0.004
"""Running current rises by about this share per kelvin of cold, from stiffer grease (*assumed*; wide on purpose)."""
COLD_SHARE_PER_K_U = 0.003
"""Its standard uncertainty (*assumed*)."""


COLDER_K = 5.0
"""So much below the baseline's air temperature grease may be what makes it heavier [K]. Common practice, no source."""


def is_colder(there_c: float | None, here_c: float | None) -> bool | None:
    """Whether it is colder here than there, at the baseline, so that grease may be what drags; None: not recorded."""
    return None if there_c is None or here_c is None else there_c - here_c >= COLDER_K


def unknown_air(there_c: float | None, here_c: float | None) -> str:
    """What an air temperature that wasn't recorded leaves open of a heavier run; empty: both were."""
    if here_c is None:
        return "; the air temperature was not recorded, so cold cannot be ruled out"
    if there_c is None:
        return "; no air temperature was recorded with the baseline, so cold cannot be ruled out"
    return ""


SETTLE_AT_REST = "Record again with nothing else on the board's wire, or check whether the drive holds its place with a current."


class RivalReading(NamedTuple):
    """What would explain a sign as well: it is then no verdict's."""

    says: str
    settle: str
    """What would settle it."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """One trial, cut up and measured, beside what it is compared with."""

    trace: Trace
    rig: Rig
    line: MotorLine
    baseline: Baseline | None
    segments: Segments
    moved: Travel
    figures: Figures
    clip_a: float | None
    end: str
    travel_share: float
    """Share of the full stroke by back-EMF, not yet held to 1."""
    travel_share_u: float
    """Standard uncertainty of the full stroke behind it, relative."""
    profile: Profile | None
    fit: Fit | None
    """Difference to the baseline, split; None without a baseline or a profile."""
    late: LateLoad | None
    """A beginning that lacks load which the baseline has; None: none."""
    place: PlaceU
    """What makes a place less well known than the full stroke is."""
    clip_open: bool = False
    """Nothing tells whether the run was cut off at ``clip_a`` or something else looks like it."""
    hidden_share: float = 0.0
    """Share of the stroke that may lie beside the rows of the movement: a current at rest hides where it began or ended."""
    by_the_clock: float = 0.0
    """Share of the movement's time that the board's clock and its sample numbers part by."""
    switches: tuple[PinSwitch, ...] = ()
    """Of the pins that have one."""
    own_level: bool = False
    """The motor may have turned on at the very current that flows at rest."""

    @property
    def needed_share(self) -> float:
        """Travel the mechanism needs as a share of the stroke."""
        return min(1.0, self.rig.lock.needed_travel_m / self.rig.actuator.stroke_m)

    @property
    def idle_a(self) -> float:
        """Current of the motor with no load [A], from the rating."""
        return self.line.i0_a

    @property
    def baseline_run_a(self) -> float | None:
        """Mean running current of the baseline [A]."""
        spread = self.baseline.figures.get("run_current_a") if self.baseline else None
        return spread.mean if spread else None

    @property
    def flowed_at_rest_a(self) -> float:
        """What was taken off as zero, and is more than a sensor's drift [A]: it may not flow in the run."""
        flowed_a = self.segments.polarity * self.segments.zero_a
        return flowed_a if flowed_a > SAME_LEVEL * self.idle_a else 0.0

    @property
    def place_is_a_bound(self) -> bool:
        """Whether the board's range cut its running current off: a motor that drew more went less far."""
        if self.clip_a is None:
            return False
        beyond = at_the_ceiling(self.segments.current_a[self.segments.run], self.clip_a)
        return bool(beyond.size) and float(np.mean(beyond)) > MOST_LOST

    @property
    def jog_before_a_throw(self) -> bool:
        """Whether somebody only touched the switch, and a whole throw the same way followed in the same record."""
        return self.end == CUT_OFF and self.travel_share < JOG and self.trace.whole_throw_follows

    def cold_share(self) -> tuple[float, float]:
        """How much heavier the weather alone makes this trial than the baseline: share, and standard uncertainty.

        (0, 0) where either temperature wasn't recorded: the sign then names the cold as a rival instead.
        """
        there = self.baseline.ambient_c if self.baseline else None
        here = self.trace.ambient_c
        if there is None or here is None:
            return 0.0, 0.0
        colder_k = there - here
        return COLD_SHARE_PER_K * colder_k, COLD_SHARE_PER_K_U * abs(colder_k)
