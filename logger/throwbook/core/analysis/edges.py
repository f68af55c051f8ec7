"""When a movement began and ended, and how well a place on the stroke is known.

Each moment is a bracket, taken as a rectangle (JCGM 100, 4.3.7). It holds the time between two rows, a row that is itself
part on and part off (a board that averages), what a filter drags out, and on top of it the jitter of the time stamps.

A place: each reason beyond how well the full stroke is known is a component of its own. On a drive's supply side V - iR
isn't the motor's speed: its ramps don't show there. A filter, a slow board and a current that winds up to its limit show an
end later than it was. All are taken as rectangles (JCGM 100, 4.3.7).
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from throwbook.core.analysis.baseline import Baseline
from throwbook.core.analysis.residual_current import ROWS_OF_A_STEP
from throwbook.core.analysis.rest import NOISE_SIGMAS
from throwbook.core.analysis.segmentation import LONGEST_BOUNCE_S, Segments, level_before
from throwbook.core.analysis.travel import Travel
from throwbook.core.assessment import Figures
from throwbook.core.quantities.statistics import from_half_width, from_step, median_of, robust_sd, runs_of
from throwbook.core.trace import FloatArray

ROWS_BESIDE = 12
"""Rows that show the level beside an edge."""
CLEARLY_SIGMAS = 4.0
CLEARLY_SHARE = 0.05
"""A row lower than the level by this share, and by four times its scatter, is clearly below it (*practice*)."""
CLEARLY_AT_MOST = 0.35
"""However rough the run, a row this share below its level isn't part of it any more (*practice*)."""
SKIPPED, FEWEST_SKIPS = 0.15, 4
"""Brushes that leave less than this share of the run so many times jump all the way (*practice*)."""
BOUNCE_U_S = 0.0025
"""Standard uncertainty of a start whose rows are too far apart to show how the contact bounces (*assumed*): a relay bounces
for some milliseconds, and a row may fall into one of the openings."""
JUMP_SHARE, FURTHER_THAN_BEFORE = 0.1, 2.0
"""From row to row a current jumps twice as far as the run's own steps ever do, and by a tenth: no load does that."""
BLURRED_ROWS = 100.0
"""Rows to which a step as high as the noise can be placed (*assumed*: one in white noise about a sharp step; neither is
the step sharp nor the noise white)."""
EARLIEST_OF_FALL = 1.0
"""A fall reaches its half after so many times what it takes from three quarters to a quarter: a straight one (a board that
averages) 1.0, a first-order one (a filter, a diode) ln 2 / ln 3 = 0.63. The earliest begin counts."""


class Edge(NamedTuple):
    """A moment and its standard uncertainty, both [s]."""

    at_s: float
    u_s: float


def start_of(time_s: FloatArray, segments: Segments, jitter_s: float) -> Edge:
    """When the current was switched on [s]; ``jitter_s`` as ``jitter_of`` gives it."""
    first = segments.first
    if first == 0 or _is_blurred(time_s, first - 1, first, segments.start_u_s):
        return Edge(segments.start_s, _in_noise(segments, segments.start_u_s))
    seen_a = max(NOISE_SIGMAS * segments.noise_a, 2.0 * segments.step_a)
    held_a = level_before(segments.current_a, first, ROWS_BESIDE)
    dragged_s = _time_to_four_times(time_s[first - 1 :], segments.current_a[first - 1 :] - held_a, seen_a)
    earliest_s, latest_s = float(time_s[first - 1]), float(time_s[first])
    if segments.earliest < first:
        earliest_s = min(earliest_s, float(time_s[max(0, segments.earliest - 1)]))
    bounce_s = BOUNCE_U_S if latest_s - earliest_s > BOUNCE_U_S else 0.0
    return _within(earliest_s - dragged_s, latest_s, float(np.hypot(jitter_s, bounce_s)))


def end_of_movement(time_s: FloatArray, segments: Segments, jitter_s: float) -> Edge:
    """When the current was cut off [s]; for a record that shows it. ``jitter_s`` as ``jitter_of`` gives it."""
    last, current_a = segments.last, segments.current_a - segments.residual_a
    if last + 1 >= len(time_s) or _is_blurred(time_s, last, last + 1, segments.end_u_s):
        return Edge(segments.end_s, _in_noise(segments, segments.end_u_s))
    begin = max(segments.settled, last - ROWS_BESIDE - 1)
    beside_a = current_a[begin : max(begin + 1, last - 1)]
    level_a = min(median_of(beside_a), _level_at_last(segments, current_a))
    clearly_a = max(CLEARLY_SIGMAS * robust_sd(beside_a), CLEARLY_SHARE * level_a, segments.step_a)
    lowest_a = level_a - min(clearly_a, CLEARLY_AT_MOST * level_a)
    low = current_a[last - 1 :] < lowest_a
    if not low.any() or level_a <= 0.0:
        return Edge(segments.end_s, segments.end_u_s)
    # A lone low row before the last is the run's own ripple.
    off = last - 1 + (int(np.argmax(low)) if low[1] or not low[0] else 1 + int(np.argmax(low[1:])))
    after_s, after_a = time_s[off - 1 :], current_a[off - 1 :]
    half_s, width_s = _fall_of(after_s, after_a, level_a)
    gap_s = float(time_s[off] - time_s[off - 1])
    hidden = min(clearly_a / level_a, CLEARLY_AT_MOST)
    earliest_s = float(time_s[off - 1]) - hidden * gap_s  # so much of a row that is part off doesn't show
    if width_s > gap_s:
        # A filter behind an average falls as the square of time at first: so long it hides in the scatter.
        slow_s = np.sqrt(2.0 * hidden * gap_s * width_s)
        earliest_s = min(earliest_s - slow_s, half_s - EARLIEST_OF_FALL * width_s)
    earliest_s = min(earliest_s, _may_have_bounced_since(time_s, segments))
    unsure_s = _may_have_ended_later(time_s, segments, current_a, lowest_a)
    latest_s = float(time_s[off])
    skipped_s = _longest_skip(time_s, segments, level_a)
    if skipped_s:
        latest_s = float(time_s[last + 1]) + skipped_s
    if segments.latest > last:
        latest_s = max(latest_s, float(time_s[min(segments.latest + 1, len(time_s) - 1)]))
    return _within(earliest_s, latest_s, float(np.hypot(jitter_s, from_half_width(unsure_s))))


def _level_at_last(segments: Segments, current_a: FloatArray) -> float:
    """What a start that is still dying away leaves for the last row [A]; infinite for a movement that outlasts its start."""
    first, last = segments.first, segments.last
    if last - first < 2 or last - first > 2 * ROWS_BESIDE:
        return float("inf")
    before_a, at_a = current_a[last - 2 : last]
    return float(at_a * min(1.0, at_a / max(before_a, 1e-9)))


def _may_have_bounced_since(time_s: FloatArray, segments: Segments) -> float:
    """The last moment before which surely no limit contact bounced [s], where the rows don't show its openings: a current
    that a contact lets through again comes at another level. Infinite where nothing of the kind is seen."""
    last, current_a = segments.last, segments.current_a
    begin = max(
        segments.settled_latest,
        int(np.searchsorted(time_s, time_s[last] - LONGEST_BOUNCE_S - 0.5 * segments.period_s)),
    )
    before_a = np.abs(np.diff(current_a[segments.settled_latest : begin + 1]))
    if len(before_a) < ROWS_BESIDE:
        return float("inf")
    level_a = median_of(current_a[begin - ROWS_BESIDE : begin])
    usual_a = float(
        np.partition(before_a, -ROWS_OF_A_STEP - 1)[-ROWS_OF_A_STEP - 1]
    )  # a drive slows down by a step
    jump_a = max(JUMP_SHARE * level_a, FURTHER_THAN_BEFORE * usual_a)
    steps_a = np.diff(current_a[begin : last + 1])
    steps_a[-1:] = np.maximum(steps_a[-1:], 0.0)  # the last row may be part on and part off
    jumps = np.flatnonzero(np.abs(steps_a) > jump_a)
    return float(time_s[begin + int(jumps[0])]) if len(jumps) else float("inf")


def _may_have_ended_later(
    time_s: FloatArray, segments: Segments, current_a: FloatArray, lowest_a: float
) -> float:
    """How much later the end may have been [s]: one row off, and on again to the very last, is a contact's first opening
    or a reading that dropped out. 0 where it is plain."""
    last, over = segments.last, segments.over
    # The last row of all may be part on and part off.
    on_again = current_a[last + 2 : over]
    if not len(on_again) or bool(np.any(on_again < lowest_a)):
        return 0.0
    return float(time_s[over] - time_s[last])


def _longest_skip(time_s: FloatArray, segments: Segments, level_a: float) -> float:
    """How long brushes that jump leave nothing flowing at most [s]: they may have been off when the switch opened. 0
    where they don't jump, or where a contact broke."""
    if segments.breaks:
        return 0.0
    rows = segments.run
    gone = [
        (a, b) for a, b in runs_of(segments.current_a[rows] < SKIPPED * level_a) if b < rows.stop - rows.start
    ]
    if len(gone) < FEWEST_SKIPS:
        return 0.0
    ran_s = time_s[rows]
    return max(float(ran_s[b] - ran_s[a]) for a, b in gone)


def jitter_of(time_s: FloatArray) -> float:
    """Standard deviation of one time stamp about an even clock [s]."""
    return robust_sd(np.diff(time_s)) / float(np.sqrt(2.0)) if len(time_s) > 2 else 0.0


def _in_noise(segments: Segments, u_s: float) -> float:
    """Standard uncertainty of an edge that was placed by its noise [s]: never less than ``u_s``."""
    level_a = max(median_of(segments.current_a[segments.first : segments.last + 1]), segments.noise_a, 1e-9)
    return max(u_s, BLURRED_ROWS * (segments.noise_a / level_a) ** 2 * segments.period_s)


def _is_blurred(time_s: FloatArray, i: int, j: int, u_s: float) -> bool:
    """Whether an edge was placed by its noise and not between two rows."""
    return bool(u_s > from_step(1.01 * float(time_s[j] - time_s[i])))


def _within(earliest_s: float, latest_s: float, beside_u_s: float) -> Edge:
    """``beside_u_s``: standard uncertainty of what isn't in the bracket [s]."""
    u = float(np.hypot(from_step(latest_s - earliest_s), beside_u_s))
    return Edge(0.5 * (earliest_s + latest_s), u)


def _time_to_four_times(time_s: FloatArray, current_a: FloatArray, seen_a: float) -> float:
    """How long a rise takes from what can be seen to four times that [s]: as long as it was not seen, at most.

    A current that a filter drags up begins as the square of time: the first quarter takes half of the time.
    """
    begin, end = _rises_at(time_s, current_a, seen_a), _rises_at(time_s, current_a, 4.0 * seen_a)
    return max(0.0, end - begin)


def _rises_at(time_s: FloatArray, current_a: FloatArray, level_a: float) -> float:
    above = np.flatnonzero(current_a >= level_a)
    return _crossing(time_s, current_a, int(above[0]) if len(above) else 0, level_a)


def _fall_of(time_s: FloatArray, current_a: FloatArray, level_a: float) -> tuple[float, float]:
    """When a fall from ``level_a`` passes its half, and how long it takes from three quarters to a quarter [s]."""
    at_s = []
    for share in (0.75, 0.5, 0.25):
        below = np.flatnonzero(current_a < share * level_a)
        at_s.append(
            _crossing(time_s, current_a, int(below[0]) if len(below) else len(time_s) - 1, share * level_a)
        )
    return at_s[1], at_s[2] - at_s[0]


def _crossing(time_s: FloatArray, current_a: FloatArray, row: int, level_a: float) -> float:
    """When the straight line from the row before to ``row`` passes a level [s]."""
    if row == 0:
        return float(time_s[0])
    rise_a = float(current_a[row] - current_a[row - 1])
    share = 1.0 if rise_a == 0.0 else min(max((level_a - float(current_a[row - 1])) / rise_a, 0.0), 1.0)
    return float(time_s[row - 1] + share * (time_s[row] - time_s[row - 1]))


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
    if moved.by_drive or (segments.may_be_ramped and not hides_ramp):
        slowing = from_half_width(_driven_up_vs(segments, moved) / full_vs)
    elif hides_ramp:
        own_vs = _missing_here(time_s, segments, moved, figures, r_ohm)
        usual_vs = _usually_missing(baseline, moved, r_ohm, own_vs)
        ramp_vs = abs(own_vs - usual_vs)
        if segments.may_be_ramped or starts_softly(segments) or usual_vs > UNLIKE * own_vs:
            most_vs = max(own_vs, usual_vs)
            # A trapezoid slows down over the same time again; the record may show that or not.
            slowing = from_half_width(most_vs / full_vs)
            ramp_vs = float(np.hypot(ramp_vs, most_vs * (1.0 - 2.0 * LEAST_RAMP)))
        ramp = from_half_width(ramp_vs / full_vs)
        if segments.may_be_ramped:
            at_end, between = _against_time(time_s, segments, moved, baseline, full_vs)
    # A rod that never moved is known to stand to what a row of full speed would have moved it.
    edges = from_step(segments.period_s * moved.supply_v / full_vs)
    if figures.travel_time_s is not None:
        edges = 0.5 * figures.travel_time_s.u * _last_speed_v(moved) / full_vs
    stand = from_half_width(_wound_up_vs(segments, moved) / full_vs)
    return PlaceU(slowing, ramp, edges, stand, from_half_width(at_end), from_half_width(between))


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
    return float(
        moved.volt_seconds[min(segments.settled_latest - segments.first, len(moved.volt_seconds) - 1)]
    )


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
    ramp_s = float(time_s[segments.settled_latest] - segments.start_s)
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
