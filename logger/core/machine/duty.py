"""Run and rest: what a duty cycle on a data sheet allows and asks for.

Source: the duty types of IEC 60034-1, as public summaries give them (DUT-1 to DUT-3). S1: runs until it is as warm as it
gets. S2: a short run, then a rest until cold. S3: runs and rests in turn, never reaching a steady heat; the heat of
starting is left out of account. An actuator's duty cycle is meant as S3.
"""

from logger.core.rig import ASSUMED_RATIO_HALF_WIDTH, ASSUMED_SPEED_RATIO, DATA_SHEET_HALF_WIDTH, Rig

ASSUMED_DUTY = 0.25
"""Duty cycle where the data sheet gives none. Assumed."""

DEFAULT_PERIOD_S = 600.0
"""Cycle over which an S3 duty is reckoned where none is given: 10 min (makers' notes, DUT-3)."""


def running_share(run_s: float, rest_s: float) -> float:
    """Cyclic duration factor: share of the time spent running, 0..1.

    >>> round(running_share(5.0, 55.0), 4)
    0.0833
    """
    return run_s / (run_s + rest_s)


def rest_for(run_s: float, duty: float) -> float:
    """Rest [s] that a run of ``run_s`` [s] asks for at a duty of ``duty`` (0..1, above 0).

    >>> rest_for(600.0, 0.25)
    1800.0
    """
    return run_s * (1.0 - duty) / duty


def longest_throw_s(rig: Rig) -> float:
    """Longest run [s] of a throw by the data sheet: the whole stroke at full load, as slow as the sheet may be off.

    Without a full-load speed the least of the assumed ratio to the no-load speed stands in.
    """
    actuator = rig.actuator
    least_ratio = ASSUMED_SPEED_RATIO - ASSUMED_RATIO_HALF_WIDTH
    full_m_s = actuator.full_load_speed_m_s or least_ratio * actuator.no_load_speed_m_s
    return actuator.stroke_m / (full_m_s * (1.0 - DATA_SHEET_HALF_WIDTH))


def longest_run(duty: float, period_s: float = DEFAULT_PERIOD_S) -> float:
    """Longest run [s] in one go: the running part of one cycle."""
    return duty * period_s


def throws_in_a_row(run_s: float, duty: float, period_s: float = DEFAULT_PERIOD_S) -> int:
    """Whole throws that fit into the running part of one cycle without a rest between."""
    return int(longest_run(duty, period_s) / run_s + 1e-9)
