"""What a meter can prove of the limits of the rating, told before the first throw and not after the tenth."""

from dataclasses import dataclass
from math import floor

from logger.core.assessment import PASS, Measured
from logger.core.machine.limits import Limit, guarded_run_current, limits_for
from logger.core.quantities.number_text import limit_text
from logger.core.quantities.uncertainty import K, chance_beyond
from logger.core.rig import Rig
from logger.core.sheets.byhand_lines import Reading
from logger.core.sheets.instruments import READ_BY_EYE, Accuracy, metered
from logger.core.sheets.shared_risk import MOST
from logger.core.stroke.verdict import decide

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
    shared = next((one.value for one in read if _may_be_shared(one, limit)), None)
    return Reach(limit, guarded, shared)


def _may_be_shared(one: Measured, limit: Limit) -> bool:
    return chance_beyond(limit.value - one.value, one.u / K) <= MOST


def reach_said(rig: Rig, clamp: Accuracy, step_a: float) -> tuple[str, ...]:
    """For a person about to throw: what this clamp meter can accept by hand, and which would do more."""
    peak, run = limits_for(rig)["peak_run_current"], guarded_run_current(rig)
    said = [
        f"By hand, with a clamp meter of {clamp.text} that shows steps of {step_a:g} A:",
        f"highest running current {_reaches(reach(peak, clamp, step_a))}",
        f"no highest current read (a meter without hold): running current {_reaches(reach(run, clamp, step_a))}",
    ]
    finer, coarse = reach(peak, clamp, step_a / FINER), reach(peak, clamp, step_a)
    if finer.guarded is not None and finer.guarded - (coarse.guarded or 0.0) >= step_a:
        said.append(f"the same meter with steps of {step_a / FINER:g} A: {finer.guarded:g} A guarded")
    return tuple(said)


def _reaches(found: Reach) -> str:
    limit = f"limit {limit_text(found.limit.value, found.limit.side, 'A')}"
    if found.guarded is None and found.shared is None:
        return f"can't be accepted at all ({limit})"
    guarded = "none guarded" if found.guarded is None else f"up to {found.guarded:g} A"
    more = found.shared is not None and (found.guarded is None or found.shared > found.guarded)
    return f"{guarded}{f', up to {found.shared:g} A only by shared risk' if more else ''} ({limit})"
