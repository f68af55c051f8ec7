"""Accepting a reading nearer to its limit than its ±: what it risks, and what a meter can prove before the first throw.

Simple acceptance, shared risk (ILAC-G8:09/2019; JCGM 106, 8.2): by somebody's explicit choice, with the chance that the true
value lies over the limit printed beside it. The verdicts of the throws stay ``undecided``.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import floor

from throwbook.core.assessment import PASS, UNDECIDED, Check, Measured
from throwbook.core.machine.limits import MAX, Limit, decide, guarded_run_current, limits_for
from throwbook.core.quantities.rounding import limit_text, measured_text, rounded_up
from throwbook.core.quantities.statistics import K, chance_beyond
from throwbook.core.rig import Rig
from throwbook.core.sheets.hand_readings import READ_BY_EYE, Accuracy, Reading, metered
from throwbook.core.sheets.sheet import SheetTrial
from throwbook.core.wording import limited

MOST = 0.10
"""No chance greater than this may be taken."""
READ_BY_METER = ("peak_run_current", "run_current", "supply_under_load")
"""Limits of the rating that a meter is held against; travel that may not be done is no reading of a meter."""


@dataclass(frozen=True)
class Risk:
    """One reading too near to its limit."""

    throw: str
    """``throw 1 (lock)``."""
    check: Check
    chance: float
    """That the true value lies over the limit, 0..1."""

    @property
    def says(self) -> str:
        """``throw 1 (lock): peak running current 2.6 ± 0.5 A, limit 3.0 A: a chance of up to 5.5 % ...``."""
        one = self.check
        assert one.measured is not None
        side = "over" if one.side == MAX else "under"
        return (
            f"{limited(one.name)} {measured_text(one.measured, one.unit)}, limit {limit_text(one.limit, one.side, one.unit)}: a chance of up to "
            f"{rounded_up(100 * self.chance, 1)} % that it really is {side} the limit"
        )


def chance_over(read: Measured, limit: float, side: str) -> float:
    """That the true value lies beyond a limit that the reading keeps, 0..1.

    A truth over an upper limit would have been read with the greater ± of there: a meter's ± grows with what it reads.
    """
    if side == MAX and read.value <= 0.0:
        return 0.5  # nothing grows from nothing
    if side == MAX:
        return chance_beyond(limit - read.value, read.u / K * max(limit / read.value, 1.0))
    return chance_beyond(read.value - limit, read.u / K)


def risk_of(throw: SheetTrial, check: Check) -> Risk | None:
    """What accepting this undecided reading would risk; None where that can't be chosen: over the limit as read, or no meter's."""
    if check.decision != UNDECIDED or check.name not in READ_BY_METER or check.measured is None:
        return None
    value, u = check.measured
    inside = value <= check.limit if check.side == MAX else value >= check.limit
    if not inside or u <= 0.0:
        return None
    chance = chance_over(check.measured, check.limit, check.side)
    return Risk(throw.name, check, chance) if chance <= MOST else None


def risks(trials: Iterable[SheetTrial]) -> tuple[Risk, ...]:
    """Every reading on these throws that could only be accepted by shared risk, in order."""
    found = (risk_of(one, check) for one in trials for check in one.assessment.checks)
    return tuple(one for one in found if one is not None)


def worst_of_each(taken: Iterable[Risk]) -> tuple[Risk, ...]:
    """For each limit the reading with the greatest chance."""
    worst: dict[str, Risk] = {}
    for one in taken:
        if one.check.name not in worst or one.chance > worst[one.check.name].chance:
            worst[one.check.name] = one
    return tuple(worst.values())


USUAL_STEP_A = 0.1
"""Last digit of a cheap clamp meter [A], where no throw has shown another (common practice, no source)."""
FINER = 10.0
STEPS = 3000
"""So many steps below a limit are looked at; a finer meter than that can prove any reading of use."""


@dataclass(frozen=True)
class Reach:
    """The highest readings that may still be accepted against one limit; None: not even the smallest."""

    limit: Limit
    guarded: float | None
    """By more than its ±."""
    shared: float | None
    """By shared risk."""


def reach(limit: Limit, accuracy: Accuracy, step: float, by_eye: float = READ_BY_EYE) -> Reach:
    """Of a meter that shows steps of ``step``, against an upper limit (both in the limit's unit)."""
    top = floor(limit.value / step + 1e-9)
    shown = [round(n * step, 9) for n in range(top, max(top - STEPS, 0), -1)]
    read = [metered(Reading(value, step), accuracy, by_eye) for value in shown]
    guarded = next((one.value for one in read if decide(one, limit.value, limit.side) == PASS), None)
    shared = next((one.value for one in read if chance_over(one, limit.value, limit.side) <= MOST), None)
    return Reach(limit, guarded, shared)


def reach_said(rig: Rig, clamp: Accuracy, step_a: float) -> tuple[str, ...]:
    """For a person about to throw: what this clamp meter can accept by hand, and which would do more."""
    peak, run = limits_for(rig)["peak_run_current"], guarded_run_current(rig)
    said = [
        "By hand, every throw needs its running current: read the clamp meter in mid-stroke. "
        f"With a meter of {clamp.text} in steps of {step_a:g} A these readings can be accepted:",
        f"{limited('peak_run_current')} {_reaches(reach(peak, clamp, step_a))}",
        f"without a peak (no hold): {limited('run_current')} {_reaches(reach(run, clamp, step_a))}",
    ]
    finer, coarse = reach(peak, clamp, step_a / FINER), reach(peak, clamp, step_a)
    if finer.guarded is not None and finer.guarded - (coarse.guarded or 0.0) >= step_a:
        said.append(f"the same meter with steps of {step_a / FINER:g} A: up to {finer.guarded:g} A")
    return tuple(said)


def _reaches(found: Reach) -> str:
    limit = f"limit {limit_text(found.limit.value, found.limit.side, 'A')}"
    if found.guarded is None and found.shared is None:
        return f"cannot be accepted at all ({limit})"
    parts = [] if found.guarded is None else [f"up to {found.guarded:g} A"]
    if found.shared is not None and (found.guarded is None or found.shared > found.guarded):
        parts.append(f"up to {found.shared:g} A only by shared risk")
    return f"{'; '.join(parts)} ({limit})"
