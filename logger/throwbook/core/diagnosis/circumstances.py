"""Circumstances of a sign, each yes or no, by which the table of causes tells its rows apart."""

from throwbook.core.analysis.baseline import PRACTICE_SPREAD
from throwbook.core.analysis.switches import PinSwitch
from throwbook.core.assessment import CLOSED, STILL_RUNNING, WATCH, Sign
from throwbook.core.diagnosis.evidence import Evidence, is_colder
from throwbook.core.diagnosis.signs.pins import FEWEST_CHANGES
from throwbook.core.quantities.statistics import median_of
from throwbook.core.rig import LOCK


def colder(evidence: Evidence, sign: Sign) -> bool:
    """The cold may explain it, or the air temperature was not recorded."""
    there = evidence.baseline.ambient_c if evidence.baseline else None
    return is_colder(there, evidence.trace.ambient_c) is not False


def never_moved(evidence: Evidence, sign: Sign) -> bool:
    """The motor was stalled from the first moment."""
    return sign.at_fraction == 0.0


def rising(evidence: Evidence, sign: Sign) -> bool:
    """The extra load grows along the travel by more than half."""
    fit = evidence.fit
    return fit is not None and fit.slope_a > max(0.5 * fit.level_a, 0.0)


def easing(evidence: Evidence, sign: Sign) -> bool:
    """The extra load falls along the travel by more than half."""
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
    """The current dropped out and came back within the movement."""
    return evidence.segments.pauses > 0


def still_running(evidence: Evidence, sign: Sign) -> bool:
    """The motor still ran when the record ended."""
    return evidence.end == STILL_RUNNING


def limited_below_stall(evidence: Evidence, sign: Sign) -> bool:
    """The current stayed at one level, below the stall current at this voltage."""
    return evidence.moved.limited


def lighter(evidence: Evidence, sign: Sign) -> bool:
    """The running current is clearly below the baseline's."""
    fit, usual = evidence.fit, evidence.baseline_run_a
    return fit is not None and usual is not None and fit.level_a < -PRACTICE_SPREAD * usual


def chattering(evidence: Evidence, sign: Sign) -> bool:
    """A switch changed several times."""
    return any(each.changes >= FEWEST_CHANGES or each.flickers for each in _spoken_of(evidence, sign))


def at_unlock(evidence: Evidence, sign: Sign) -> bool:
    """After an unlock throw a switch is still closed, and none was open too early."""
    return sign.value == CLOSED


def from_the_start(evidence: Evidence, sign: Sign) -> bool:
    """A switch read closed before the lock throw began."""
    return evidence.trace.direction == LOCK and any(each.closed_before for each in _spoken_of(evidence, sign))


def _spoken_of(evidence: Evidence, sign: Sign) -> list[PinSwitch]:
    """The switches that the sign speaks of: that of its side, or both."""
    return [each for each in evidence.switches if sign.side in ("", each.side)]


def too_few_readings(evidence: Evidence, sign: Sign) -> bool:
    """The sampling rate is too low to show whether the current was off."""
    breaks = evidence.segments.breaks
    return bool(breaks) and not any(each.certain for each in breaks)


def voltage_kept(evidence: Evidence, sign: Sign) -> bool:
    """The board still read the voltage under load while no current flowed."""
    share = _voltage_in_breaks(evidence)
    return share is not None and share > 0.98


def voltage_lost(evidence: Evidence, sign: Sign) -> bool:
    """The board read less than half of the voltage under load while no current flowed."""
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
