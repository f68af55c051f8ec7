"""How well a place on the stroke is known, beyond how well the full stroke is: each reason a component of its own.

On a drive's supply side V - iR isn't the motor's speed: its ramps don't show there. A filter, a slow board and a current
that winds up to its limit show an end later than it was. All are taken as rectangles (JCGM 100, 4.3.7).
"""

from dataclasses import dataclass

import numpy as np

from logger.core.assessment import Figures
from logger.core.quantities.numerics import median_of, robust_sd
from logger.core.stroke.baseline import Baseline
from logger.core.stroke.segmentation import Segments
from logger.core.stroke.travel import Travel
from logger.core.trace import FloatArray

RECTANGLE = float(np.sqrt(3.0))
LEAST_RAMP = 1.0 / 3.0
"""A speed that rises as the square of time leaves a third of its ramp's travel, an even one a half, a jerk-limited one a
half too (*assumed*): between a third and two thirds is taken off for certain."""
UNLIKE = 2.0
"""Starts that usually take off more than so many times what this one did are a drive's ramps, and this one's wasn't
recognised (*assumed*)."""
FLAT_SIGMAS = 4.0
SHORTEST_ROWS = 4
SOFT = 1.5
"""A switch closed on a standing motor gives a peak of more than so many times the run (*practice*)."""


@dataclass(frozen=True)
class PlaceU:
    """Standard uncertainty of a place: what grows with it, and what doesn't."""

    slowing: float = 0.0
    """What a drive slows down over before its end, and whether the record shows it: share of the place."""
    ramp: float = 0.0
    """Travel by time alone against travel by back-EMF, in the start: what this one's lacks against what the baseline's do,
    and how even a ramp is. Share of the stroke."""
    edges: float = 0.0
    """Between which moments it began and ended, a filter's lag among them: share of the stroke."""
    stand: float = 0.0
    """How long the current took to rise to that of a standing motor: share of the stroke."""
    own_speed: float = 0.0
    """A drive holds its speed whatever the load: travel by time alone against travel by back-EMF at the end, share of the
    stroke."""
    own_speed_between: float = 0.0
    """The same where the two differ most on the way."""

    def of(self, place: float, full_u: float) -> float:
        """Standard uncertainty of a place at which the movement ended, share of the stroke.

        ``full_u``: relative standard uncertainty of the full stroke.
        """
        grows = float(np.hypot(full_u, self.slowing)) * place
        fixed = (self.ramp, self.edges, self.stand, self.own_speed)
        return float(np.sqrt(grows**2 + sum(u * u for u in fixed)))

    def between(self, place: float, known_u: float) -> float:
        """The same of a place that the rod passed on its way; ``known_u``: all else, share of the stroke."""
        parts = (known_u, self.slowing * place, self.ramp, self.edges, self.own_speed_between)
        return float(np.sqrt(sum(u * u for u in parts)))


def place_u(
    time_s: FloatArray,
    segments: Segments,
    moved: Travel,
    figures: Figures,
    baseline: Baseline | None,
    hides_ramp: bool,
    r_ohm: float,
    full_vs: float,
) -> PlaceU:
    """Every component for one movement.

    Parameters
    ----------
    time_s
        shape (n,) of the record [s].
    hides_ramp
        The voltage isn't the motor's: a drive's ramp doesn't show in it.
    r_ohm, full_vs
        Winding resistance [ohm], and volt-seconds of the full stroke [V s].
    """
    slowing = ramp = at_end = between = 0.0
    if segments.starts_running:
        return PlaceU()
    if moved.by_drive or (segments.ramped and not hides_ramp):
        slowing = _driven_up_vs(segments, moved) / full_vs / RECTANGLE
    elif hides_ramp:
        own_vs = _missing_here(time_s, segments, moved, figures, r_ohm)
        usual_vs = _usually_missing(baseline, moved, r_ohm, own_vs)
        ramp_vs = abs(own_vs - usual_vs)
        if segments.ramped or starts_softly(segments) or usual_vs > UNLIKE * own_vs:
            most_vs = max(own_vs, usual_vs)
            # A trapezoid slows down over the same time again; the record may show that or not.
            slowing = most_vs / full_vs / RECTANGLE
            ramp_vs = float(np.hypot(ramp_vs, most_vs * (1.0 - 2.0 * LEAST_RAMP)))
        ramp = ramp_vs / full_vs / RECTANGLE
        if segments.ramped:
            at_end, between = _against_time(time_s, segments, moved, baseline, full_vs)
    # A rod that never moved is known to stand to what a row of full speed would have moved it.
    edges = segments.period_s * moved.supply_v / full_vs / float(np.sqrt(12.0))
    if figures.travel_time_s is not None:
        edges = 0.5 * figures.travel_time_s.u * _last_speed_v(moved) / full_vs
    stand = _wound_up_vs(segments, moved) / full_vs / RECTANGLE
    return PlaceU(slowing, ramp, edges, stand, at_end / RECTANGLE, between / RECTANGLE)


def starts_softly(segments: Segments) -> bool:
    """Whether the start shows no peak worth the name: a switch closed on a standing motor always gives one."""
    start = segments.current_a[segments.first : segments.settled + 1]
    return float(start.max()) < SOFT * median_of(segments.current_a[segments.run])


def _missing_here(
    time_s: FloatArray, segments: Segments, moved: Travel, figures: Figures, r_ohm: float
) -> float:
    """Volt-seconds that this travel lacks against its time at full speed [V s]: what its start took off."""
    if figures.run_current_a is None:
        return moved.ramp_vs
    until_s = segments.end_s if moved.still_from is None else float(time_s[moved.still_from])
    full_v = moved.supply_v - figures.run_current_a.value * r_ohm
    return max(0.0, full_v * (until_s - segments.start_s) - moved.total_vs)


def _usually_missing(baseline: Baseline | None, moved: Travel, r_ohm: float, own_vs: float) -> float:
    """The same of the baseline's throws [V s]; as much as here without a baseline that tells."""
    names = ("travel_time_s", "run_current_a", "back_emf_vs")
    usual = [baseline.figures.get(name) for name in names] if baseline is not None else []
    lasted, run, volt_seconds = usual if usual else (None, None, None)
    if lasted is None or run is None or volt_seconds is None or baseline is None:
        return own_vs
    volts = baseline.figures.get("mean_voltage_v")
    supply_v = volts.mean if volts is not None else moved.supply_v
    return max(0.0, (supply_v - run.mean * r_ohm) * lasted.mean - volt_seconds.mean)


def _driven_up_vs(segments: Segments, moved: Travel) -> float:
    """Travel over a ramp that the motor's own voltage shows [V s]."""
    return float(moved.volt_seconds[min(segments.settled - segments.first, len(moved.volt_seconds) - 1)])


def _against_time(
    time_s: FloatArray, segments: Segments, moved: Travel, baseline: Baseline | None, full_vs: float
) -> tuple[float, float]:
    """How far travel at an even speed after the ramp lies from travel by back-EMF: at the end, and at most on the way.

    Both as shares of the stroke; the full stroke by time alone is the baseline's usual time, or as long as this back-EMF
    would take to it.
    """
    stop = len(moved.emf_v) if moved.still_from is None else moved.still_from - segments.first
    if stop < SHORTEST_ROWS or moved.emf_v[:stop].max() <= 0.0:
        return 0.0, 0.0
    ran_s = time_s[segments.first : segments.first + stop] - segments.start_s
    ramp_s = float(time_s[segments.settled] - segments.start_s)
    missing_s = np.where(ran_s < ramp_s, ran_s - 0.5 * ran_s**2 / max(ramp_s, 1e-9), 0.5 * ramp_s)
    even_s = np.maximum(ran_s - missing_s, 0.0)
    share = moved.volt_seconds[:stop] / full_vs
    usual = baseline.figures.get("travel_time_s") if baseline is not None else None
    whole_s = usual.mean - 0.5 * ramp_s if usual is not None else even_s[-1] / max(float(share[-1]), 1e-9)
    at_end = abs(float(even_s[-1]) / max(whole_s, 1e-9) - float(share[-1]))
    on_the_way = np.abs(even_s / max(float(even_s[-1]), 1e-9) * share[-1] - share)
    return at_end, float(on_the_way.max())


def _last_speed_v(moved: Travel) -> float:
    """Back-EMF while it last turned [V]."""
    turning = moved.emf_v[moved.emf_v > 0.0]
    return median_of(turning[-max(3, len(turning) // 10) :]) if len(turning) else 0.0


def _wound_up_vs(segments: Segments, moved: Travel) -> float:
    """Volt-seconds from where the current left its run to the row from which the motor counts as standing [V s]."""
    still = moved.still_from
    if still is None or still <= segments.settled:
        return 0.0
    run_a = segments.current_a[segments.settled : still]
    level_a = median_of(run_a)
    rising = run_a > level_a + FLAT_SIGMAS * max(robust_sd(run_a), segments.step_a)
    low = np.flatnonzero(~rising)
    begin = segments.settled + (int(low[-1]) if len(low) else 0) - segments.first
    row = min(still - segments.first, len(moved.volt_seconds) - 1)
    return float(moved.volt_seconds[row] - moved.volt_seconds[begin])
