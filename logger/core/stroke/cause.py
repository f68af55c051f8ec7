"""One row of the table of causes, and the questions that decide whether a row fits a sign."""

from collections.abc import Callable
from dataclasses import dataclass

from logger.core.assessment import STILL_RUNNING, WATCH, Sign
from logger.core.quantities.numerics import median_of
from logger.core.stroke.evidence import Evidence

LIKELY = "likely"
POSSIBLE = "possible"


@dataclass(frozen=True)
class Cause:
    """One row: a sign, when the row fits, and what to say."""

    sign: str
    cause: str
    sure: str
    rivals: tuple[str, ...]
    action: str
    fits: Callable[[Evidence, Sign], bool] = lambda evidence, sign: True


def colder(evidence: Evidence, sign: Sign) -> bool:
    """The cold may have made it heavier, or nobody wrote down how warm it was."""
    return not evidence.ambient_known() or evidence.cold_share()[0] > 0.02


def never_moved(evidence: Evidence, sign: Sign) -> bool:
    """It stood from the first moment."""
    return sign.at_fraction == 0.0


def rising(evidence: Evidence, sign: Sign) -> bool:
    """The extra load grows along the travel by more than half of its own level."""
    fit = evidence.fit
    return fit is not None and fit.slope_a > max(0.5 * fit.level_a, 0.0)


def easing(evidence: Evidence, sign: Sign) -> bool:
    """The extra load eases along the travel by more than half of its own level."""
    fit = evidence.fit
    return fit is not None and -fit.slope_a > max(0.5 * fit.level_a, 0.0)


def near_end(evidence: Evidence, sign: Sign) -> bool:
    """The place lies in the last 15 % of the stroke."""
    return sign.at_fraction is not None and sign.at_fraction > 0.85


def near_start(evidence: Evidence, sign: Sign) -> bool:
    """The place lies in the first tenth of the stroke."""
    return sign.at_fraction is not None and sign.at_fraction < 0.1


def at_watch(evidence: Evidence, sign: Sign) -> bool:
    """The sign is only at watch."""
    return sign.level == WATCH


def interrupted(evidence: Evidence, sign: Sign) -> bool:
    """The current broke off and came back within the movement."""
    return evidence.segments.pauses > 0


def still_running(evidence: Evidence, sign: Sign) -> bool:
    """The motor still ran when the record ended."""
    return evidence.end == STILL_RUNNING


def held_at_a_limit(evidence: Evidence, sign: Sign) -> bool:
    """The current stood at a level of its own, below what a standing motor draws on this voltage."""
    return evidence.moved.limited


def too_few_readings(evidence: Evidence, sign: Sign) -> bool:
    """No break of the current is certain: the rate is too low to show one."""
    breaks = evidence.segments.breaks
    return bool(breaks) and not any(each.certain for each in breaks)


def voltage_kept(evidence: Evidence, sign: Sign) -> bool:
    """The board still read the running voltage while no current flowed."""
    share = _voltage_in_breaks(evidence)
    return share is not None and share > 0.98


def voltage_lost(evidence: Evidence, sign: Sign) -> bool:
    """The board read less than half of the running voltage while no current flowed."""
    share = _voltage_in_breaks(evidence)
    return share is not None and share < 0.5


def _voltage_in_breaks(evidence: Evidence) -> float | None:
    """Voltage late in the longest break as a share of that before it; None: not read.

    Late, because a motor that coasts is a generator.
    """
    volts, breaks = evidence.trace.voltage_v, evidence.segments.breaks
    if volts is None or not breaks:
        return None
    longest = max(breaks, key=lambda each: each.closed - each.opened)
    before = abs(median_of(volts[max(0, longest.opened - 10) : max(1, longest.opened - 1)]))
    late = volts[(longest.opened + longest.closed) // 2 : longest.closed]
    return abs(median_of(late)) / before if before > 0 else None
