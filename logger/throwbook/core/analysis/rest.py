"""The rest around a movement: its level, its noise, and what the zero of a movement is known from.

Rest is a calm stretch against the step that follows it, at whatever level: a sensor's offset, a standing draw and the
current that a drive holds its place with are no movement. Noise is what rest rows alone show.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from throwbook.core.quantities.statistics import (
    MAD_TO_SD,
    from_half_width,
    from_step,
    median_of,
    medians_of_rows,
    resolution_step,
    robust_sd,
    runs_of,
)
from throwbook.core.trace import FloatArray

REST_SHARE = 0.3
"""Share of the no-load current within which a level is the same rest: it leaves room for a rating three times too
high."""
NO_OFFSET = 0.5
"""A level further from nothing than this share of the no-load current is rest only where it looks like it."""
EITHER_WAY = 0.25
"""Of two levels on either side of nothing the smaller one is at least this share of the other where a drive holds both ways: a
sensor's offset moves both (*assumed*)."""
OFFSET_AT_MOST = 0.1
"""A level within this share of the no-load current of nothing is a sensor's (*practice*)."""
FEWEST_REST_ROWS = 3
"""A rest of fewer rows at an end of the record isn't told from chance."""
FEWEST_NOISE_ROWS = 10
END_S = 0.15
"""The record is looked at in stretches of this length for its rest [s]."""
CALM = 0.5
"""Rest scatters from row to row by no more than this share of what the rest of the record does (*assumed*: a motor that
turns brings its brushes and its load along)."""
CALMER, ABOUT_AS_CALM = 0.8, 1.5
"""So many times the scatter of another stretch: surely calmer than it, and no rougher (*assumed*)."""
FLAT = 0.05
"""A current that stands scatters by no more than this share of the no-load current beyond the noise at rest (*assumed*)."""
FEW_OF = 50
"""One in so many steps may be a movement's start or end."""
STEP_S = 0.05
"""A switch or a drive changes the current by half of its step within this time [s] (*practice*)."""
BRAKED_S = 0.3
"""A motor braked by its own switch stands within this time (*practice*)."""
GONE_SHARE = 0.05
"""A voltage of less than this share of the highest drives nothing (*assumed*: a drive holds its place with a current
times the winding's resistance)."""
SAME_LEVEL = 0.15
"""Two rests that differ by less than this share of the no-load current are one zero that drifted; by more, some current
flows in one of them."""


NOISE_SIGMAS = 5.0
"""A sample this many standard deviations off zero isn't noise (one in millions for a normal scatter)."""
MOST_SMOOTHED = 1e6
"""Rows; where more would have to be averaged nothing is left to be seen."""


@dataclass(frozen=True)
class Rest:
    """The rest of a record."""

    level_a: float
    """Reading at rest [A]; 0 where none was seen."""
    noise_a: float
    """Standard deviation of one reading at rest [A]; 0 where none was seen."""
    seen: bool
    holding_a: float = 0.0
    """A drive holds its place with so much, whichever way it moved last [A]; 0: it doesn't, or not both ways."""


NO_REST = Rest(0.0, 0.0, False)


@dataclass(frozen=True)
class _Blocks:
    """The record in stretches of some rows."""

    rows: int
    level_a: FloatArray
    """shape (blocks,) median of each [A]"""


def smoothing_width(noise_a: float, no_load_current_a: float) -> int:
    """Rows to average so that noise stays below the rest band; 1 for any decent record."""
    needed = (NOISE_SIGMAS * noise_a / (2.0 * REST_SHARE * no_load_current_a)) ** 2
    return max(1, int(np.ceil(min(needed, MOST_SMOOTHED))))


def find_rest(
    current_a: FloatArray,
    period_s: float,
    no_load_current_a: float,
    full_load_current_a: float,
    voltage_v: FloatArray | None = None,
) -> Rest:
    """The rest of a record; currents as read, either polarity [A], ``voltage_v`` None where none was read."""
    rows = max(3, min(int(END_S / period_s), len(current_a) // 10))
    gone = None
    if voltage_v is not None and not _near_nothing_at_an_end(current_a, rows, no_load_current_a):
        gone = undriven_rows(voltage_v)
    rest = _rest_by_blocks(current_a, rows, period_s, no_load_current_a, full_load_current_a, gone)
    longer = min(smoothing_width(rest.noise_a, no_load_current_a), len(current_a) // 20)
    if longer <= rows:
        return rest
    # In such noise a few rows tell little of a level.
    return _rest_by_blocks(current_a, longer, period_s, no_load_current_a, full_load_current_a, gone)


def undriven_rows(voltage_v: FloatArray) -> NDArray[np.bool_]:
    """Where the voltage is next to nothing; shape of ``voltage_v``: (n,) [V]. A board at the supply sees it nowhere."""
    volts = np.abs(voltage_v)
    return np.asarray(volts < GONE_SHARE * float(np.percentile(volts, 95.0)))


def _near_nothing_at_an_end(current_a: FloatArray, rows: int, no_load_current_a: float) -> bool:
    ends_a = (median_of(current_a[:rows]), median_of(current_a[-rows:]))
    return min(map(abs, ends_a)) <= REST_SHARE * no_load_current_a


def _level_undriven(
    current_a: FloatArray, gone: NDArray[np.bool_], rows: int, full_load_current_a: float
) -> float | None:
    """What flows where the motor's voltage is next to nothing: a board behind the switch sees so what is no movement.
    None where the voltage never goes. ``rows``: those of a stretch that shows a level."""
    levels_a = []
    for a, b in runs_of(gone):
        # What a braked motor drives back dies away in the first two stretches.
        since = a + min(2 * rows, (2 * (b - a)) // 3) if a else 0
        if b - since >= max(FEWEST_REST_ROWS, rows // 3):
            levels_a.append(median_of(current_a[since:b]))
    level = min(levels_a, key=abs, default=None)
    return level if level is not None and abs(level) <= full_load_current_a else None


def _rest_by_blocks(
    current_a: FloatArray,
    rows: int,
    period_s: float,
    no_load_current_a: float,
    full_load_current_a: float,
    gone: NDArray[np.bool_] | None,
) -> Rest:
    """``gone``: rows at which the motor's voltage is next to nothing; None where that wasn't looked at."""
    count = len(current_a) // rows
    blocks = _Blocks(rows, medians_of_rows(current_a[: count * rows].reshape(count, rows)))
    level = None if gone is None else _level_undriven(current_a, gone, rows, full_load_current_a)
    if level is None:
        gone = None
        level = _level_by_its_calm(current_a, blocks, period_s, no_load_current_a, full_load_current_a)
    if level is None:
        return NO_REST
    calm_a = _calmest(current_a, blocks, level, no_load_current_a)
    if len(calm_a) < FEWEST_REST_ROWS:
        return Rest(level, 0.0, True)
    level, noise_a = median_of(calm_a), _noise_of(calm_a, resolution_step(current_a[:500]))
    other = _held_the_other_way(current_a, gone, blocks, level, calm_a, period_s, no_load_current_a)
    if other is None:
        return Rest(level, noise_a, True)
    return Rest(0.5 * (level + other), noise_a, True, holding_a=0.5 * abs(level - other))


def _noise_of(calm_a: FloatArray, step_a: float) -> float:
    """Standard deviation of one reading at rest [A]. Where more than half of the rows read the same, noise puts the others a few
    of the converter's steps off: what lies further off belongs to a movement beside."""
    off_a = np.abs(calm_a - median_of(calm_a))
    if 2 * np.count_nonzero(off_a == 0.0) <= len(calm_a):
        return robust_sd(calm_a)
    return float(np.std(calm_a[off_a <= NOISE_SIGMAS * step_a]))


def _level_by_its_calm(
    current_a: FloatArray,
    blocks: _Blocks,
    period_s: float,
    no_load_current_a: float,
    full_load_current_a: float,
) -> float | None:
    """The level of a rest by the currents alone; None where there is none."""
    ends_a = sorted((median_of(current_a[: blocks.rows]), median_of(current_a[-blocks.rows :])), key=abs)
    level = _nearer_in_the_middle(current_a, blocks, ends_a[0], period_s, no_load_current_a)
    if level is not None and _stands_at_the_ends(blocks, level, ends_a, no_load_current_a):
        level = ends_a[0]
    paused = _calmer_in_the_middle(current_a, blocks, CALMER)
    if level is None and abs(ends_a[0]) <= NO_OFFSET * no_load_current_a:
        level = ends_a[0]
    if level is None:
        level = _few_rows(current_a, no_load_current_a)
    if level is None:
        between_a = _far_below_the_ends(blocks, ends_a[0], no_load_current_a) if paused else ()
        level = next(
            (
                end
                for end in (*between_a, *ends_a)
                if abs(end) <= full_load_current_a
                and _looks_like_rest(current_a, end, period_s, no_load_current_a, paused)
            ),
            None,
        )
    return level


def _held_the_other_way(
    current_a: FloatArray,
    gone: NDArray[np.bool_] | None,
    blocks: _Blocks,
    level_a: float,
    calm_a: FloatArray,
    period_s: float,
    no_load_current_a: float,
) -> float | None:
    """A rest as calm as this one and as far on the other side of nothing: a drive holds its place with the sign of its
    last movement. What brakes a motor is over sooner."""
    same_a = SAME_LEVEL * no_load_current_a
    if abs(level_a) <= same_a:
        return None
    step_a = resolution_step(current_a[:500])
    scatter_a = max(robust_sd(np.diff(calm_a)), step_a)
    for a, b in runs_of(np.abs(blocks.level_a + level_a) <= same_a):
        here = slice(a * blocks.rows, b * blocks.rows)
        rows = current_a[here] if gone is None else current_a[here][gone[here]]
        # The stretches at its edges may hold some movement.
        rows = rows[np.abs(rows + level_a) <= 2.0 * same_a]
        lasts = len(rows) >= FEWEST_NOISE_ROWS and (len(rows) - 1) * period_s > BRAKED_S
        # From a place held the other way a motor starts; a run falls back to what stands there all the time.
        behind_a = blocks.level_a[b : b + 3]
        falls_back = len(behind_a) > 1 and bool(np.all(np.abs(behind_a[1:] - level_a) <= same_a))
        rows = rows[len(rows) // 3 :]  # what settles behind an end isn't calm yet
        steps_a = np.diff(rows)
        # Of few rows a median of steps may come out high by chance.
        from_row_to_row_a = min(robust_sd(steps_a), float(np.std(steps_a))) if len(steps_a) else 0.0
        # A run that happens to draw as much is calm from row to row at best.
        stands = robust_sd(rows) <= ABOUT_AS_CALM * max(from_row_to_row_a / np.sqrt(2.0), step_a)
        if lasts and stands and not falls_back and from_row_to_row_a <= ABOUT_AS_CALM * scatter_a:
            return median_of(rows)
    return None


def _nearer_in_the_middle(
    current_a: FloatArray, blocks: _Blocks, end_a: float, period_s: float, no_load_current_a: float
) -> float | None:
    """A rest between two runs that the record starts and ends in: nearer to nothing than its ends, and no rougher."""
    if len(blocks.level_a) < 4 or abs(end_a) <= REST_SHARE * no_load_current_a:
        return None
    at = _nearest_pair(blocks)
    level = 0.5 * float(blocks.level_a[at] + blocks.level_a[at + 1])
    furthest_a = float(np.abs(blocks.level_a[at : at + 2]).max())
    if (
        abs(level) > NO_OFFSET * no_load_current_a
        or abs(end_a) - furthest_a <= REST_SHARE * no_load_current_a
    ):
        return None
    calm = _calmer_in_the_middle(current_a, blocks, ABOUT_AS_CALM)
    return (
        level if calm and _stands_still(current_a, blocks, at, level, period_s, no_load_current_a) else None
    )


def _stands_still(
    current_a: FloatArray,
    blocks: _Blocks,
    at: int,
    level_a: float,
    period_s: float,
    no_load_current_a: float,
) -> bool:
    """Whether a level in the stretches ``at`` and ``at + 1`` and beside them lasts as long as a pause does. What a start on a
    standing current passes through on its way may be calm for a moment, too."""
    about = current_a[max(0, (at - 1) * blocks.rows) : (at + 3) * blocks.rows]
    steps = np.diff(current_a[at * blocks.rows : (at + 2) * blocks.rows])
    noise_a = robust_sd(steps[np.argsort(np.abs(steps))[:-2]]) / np.sqrt(2.0)
    noise_a = max(noise_a, resolution_step(current_a[:500]))
    same_a = NOISE_SIGMAS * noise_a + FLAT * no_load_current_a
    longest = max((b - a for a, b in runs_of(np.abs(about - level_a) <= same_a)), default=0)
    return (longest + 1) * period_s >= 2.0 * END_S


def _stands_at_the_ends(
    blocks: _Blocks, middle_a: float, ends_a: list[float], no_load_current_a: float
) -> bool:
    """Whether the level at both ends is the rest, and one nearer to nothing a motor that drives the other way on it: the
    record comes back to the ends' level more often, and the other one isn't near nothing."""
    same_a = SAME_LEVEL * no_load_current_a
    if abs(ends_a[1] - ends_a[0]) > same_a or abs(middle_a) <= OFFSET_AT_MOST * no_load_current_a:
        return False
    often, middle = (
        len(runs_of(np.abs(blocks.level_a - level_a) <= same_a)) for level_a in (ends_a[0], middle_a)
    )
    return often > max(middle, 2)


def _far_below_the_ends(blocks: _Blocks, end_a: float, no_load_current_a: float) -> tuple[float, ...]:
    """The level in the middle of a record that starts and ends in a run on a standing current, if there is one."""
    if len(blocks.level_a) < 4:
        return ()
    at = _nearest_pair(blocks)
    level = 0.5 * float(blocks.level_a[at] + blocks.level_a[at + 1])
    return (level,) if abs(end_a) - abs(level) > NO_OFFSET * no_load_current_a else ()


def _calmer_in_the_middle(current_a: FloatArray, blocks: _Blocks, most: float) -> bool:
    """Whether the stretch nearest to nothing scatters from row to row by at most a share of what the ends do."""
    if len(blocks.level_a) < 4:
        return False
    at = _nearest_pair(blocks)
    middle = current_a[at * blocks.rows : (at + 2) * blocks.rows]
    ends = np.concatenate((np.diff(current_a[: blocks.rows]), np.diff(current_a[-blocks.rows :])))
    # Steady currents on a coarse converter may not scatter at all.
    step_a = resolution_step(current_a[:500]) if most > 1.0 else 0.0
    steps = np.diff(middle)
    inner = steps[np.argsort(np.abs(steps))[:-2]]  # a movement may end or begin within it
    return robust_sd(inner) <= most * max(robust_sd(ends), step_a)


def _nearest_pair(blocks: _Blocks) -> int:
    """First of the two neighbouring stretches that lie nearest to nothing."""
    return int(np.argmin(np.maximum(np.abs(blocks.level_a[:-1]), np.abs(blocks.level_a[1:]))))


def _looks_like_rest(
    current_a: FloatArray, level_a: float, period_s: float, no_load_current_a: float, paused: bool
) -> bool:
    """Whether rows at a level far from nothing are rest: calmer than the others, or left by a step.

    ``paused``: the stretch nearest to nothing is calmer than the ends of the record.
    """
    near = np.abs(current_a - level_a) <= REST_SHARE * no_load_current_a
    away = [(a, b) for a, b in runs_of(~near) if b - a >= FEWEST_REST_ROWS]
    if not away or np.count_nonzero(near) < FEWEST_REST_ROWS:
        return False
    both = near[1:] & near[:-1]
    steps = np.diff(current_a)
    rest_a, other_a = (_usual_step(part) for part in (steps[both], steps[~(near[1:] | near[:-1])]))
    away_a = median_of(np.abs(current_a[~near]))  # movements may go both ways
    nearer = away_a <= abs(level_a)
    if nearer and paused:
        return False  # a run that a pause breaks
    if other_a > 0.0 and rest_a <= CALM * other_a:
        return True
    first, last = away[0][0], away[-1][1]
    reach = max(2, int(STEP_S / period_s))
    if _lowest_at_both_ends(current_a, near, level_a, period_s, no_load_current_a) and not nearer:
        return True
    edge = current_a[first : first + reach] if first > 0 else current_a[max(0, last - reach) : last]
    stepped_a = float(np.abs(edge - level_a).max())
    return not nearer and stepped_a >= 0.5 * (away_a - abs(level_a))


def _lowest_at_both_ends(
    current_a: FloatArray, near: NDArray[np.bool_], level_a: float, period_s: float, no_load_current_a: float
) -> bool:
    """Whether a record begins and ends at a level that no motor turns with, and nothing in it lies lower for longer than a
    motor is braked."""
    away = runs_of(~near)
    ends = away[0][0] >= FEWEST_NOISE_ROWS and away[-1][1] <= len(near) - FEWEST_NOISE_ROWS
    lower = np.abs(current_a) < abs(level_a) - REST_SHARE * no_load_current_a
    longest_s = period_s * max((b - a for a, b in runs_of(lower)), default=0)
    return ends and abs(level_a) < no_load_current_a and longest_s <= BRAKED_S


def _usual_step(steps: FloatArray) -> float:
    """Standard deviation of the steps from row to row without the widest few: on a coarse converter most of them are nothing,
    and a start or an end among them would stand for all."""
    return robust_sd(steps[np.argsort(np.abs(steps))[: len(steps) - len(steps) // FEW_OF]])


def _few_rows(current_a: FloatArray, no_load_current_a: float) -> float | None:
    """A recorder that was switched on with the motor leaves only a few rows of rest, but they agree."""
    for few in (current_a[:FEWEST_REST_ROWS], current_a[-FEWEST_REST_ROWS:]):
        level = median_of(few)
        if abs(level) <= NO_OFFSET * no_load_current_a and float(np.ptp(few)) < 0.2 * no_load_current_a:
            return level
    return None


def _calmest(current_a: FloatArray, blocks: _Blocks, level_a: float, no_load_current_a: float) -> FloatArray:
    """Rows of the calmest unbroken rest about a level: where the record begins, where it ends, or else between."""
    off_a = np.abs(blocks.level_a - level_a)
    nearest = int(np.argmin(off_a))
    about = current_a[max(0, nearest * blocks.rows - FEWEST_NOISE_ROWS) :][
        : blocks.rows + 2 * FEWEST_NOISE_ROWS
    ]
    by_chance_a = NOISE_SIGMAS * robust_sd(np.diff(about)) / np.sqrt(2.0 * blocks.rows)
    same_a = min(max(SAME_LEVEL * no_load_current_a, by_chance_a), NO_OFFSET * no_load_current_a)
    rests = []
    for a, b in runs_of(off_a <= same_a):
        if not (a == 0 or b == len(off_a) or a <= nearest < b):
            continue
        # The stretches at the edge of a movement may hold some of it.
        inner = (a + (a > 0 and b - a > 2), b - (b < len(off_a) and b - a > 2))
        rests.append(current_a[inner[0] * blocks.rows : inner[1] * blocks.rows])
    rests.sort(key=len, reverse=True)
    calmest = rests[0] if rests else current_a[:0]
    for rest in rests[1:]:
        if len(rest) >= FEWEST_NOISE_ROWS and robust_sd(rest) < 0.5 * robust_sd(calmest):
            calmest = rest
    return calmest


def one_quiet_level(current_a: FloatArray, period_s: float, no_load_current_a: float) -> bool:
    """Whether nothing but noise about one level stands in the record."""
    rows = max(3, min(int(END_S / period_s), len(current_a) // 10))
    count = len(current_a) // rows
    if count < 2:
        return True
    levels_a = medians_of_rows(current_a[: count * rows].reshape(count, rows))
    by_chance_a = 6.0 * MAD_TO_SD * median_of(np.abs(np.diff(levels_a)))
    step_a = resolution_step(current_a[:500])
    return float(np.ptp(levels_a)) <= max(0.1 * no_load_current_a, by_chance_a, 2.0 * step_a)


@dataclass(frozen=True)
class Zero:
    """The zero of one movement, from the rest beside it."""

    level_a: float
    """Reading [A]."""
    u_a: float
    """Standard uncertainty [A]."""
    noise_a: float
    """Standard deviation of one reading at rest [A]."""


def zero_of(
    current_a: FloatArray, first: int, over: int, rest: Rest, no_load_current_a: float, step_a: float
) -> Zero:
    """Zero and noise from all the rest on both sides of a movement; where the two differ, from the one nearer to nothing.

    Parameters
    ----------
    current_a
        shape (n,) as read [A].
    first, over
        First row of the movement, and last row of all that belongs to it.
    step_a
        Resolution of the channel [A].
    """
    behind = current_a[over + 1 :]
    # A motor braked by its own switch drives a decaying current back: only the last third of the rest after counts.
    sides = (current_a[: max(0, first - 1)], behind[(2 * len(behind)) // 3 :])
    known = [side for side in map(_trimmed, sides) if len(side) >= FEWEST_REST_ROWS]
    level = [side for side in known if _is_one_level(side, step_a)]
    two_levels = [np.percentile(side, (10, 90)) for side in known if not _is_one_level(side, step_a)]
    if not level and rest.noise_a:
        # On both sides a current went on or off: rest are the rows at the level that the whole record rests at.
        same_a = NOISE_SIGMAS * rest.noise_a + FLAT * no_load_current_a
        quiet = [side[np.abs(side - rest.level_a) <= same_a] for side in known]
        level = [side for side in quiet if len(side) >= FEWEST_NOISE_ROWS and _is_one_level(side, step_a)]
    known = level or known
    if not known:
        # Nothing is seen beside it, so the record's own rest stands in: of so noisy a record its few rows tell little.
        few_u_a = rest.noise_a / np.sqrt(FEWEST_NOISE_ROWS)
        return Zero(rest.level_a, float(np.hypot(from_step(step_a), few_u_a)), rest.noise_a)
    levels_a = [float(np.mean(side)) for side in known]
    by_chance_a = 5.0 * max(map(robust_sd, known)) / np.sqrt(min(map(len, known)))
    if abs(levels_a[-1] - levels_a[0]) > max(SAME_LEVEL * no_load_current_a, by_chance_a):
        nearer = int(abs(levels_a[1]) < abs(levels_a[0]))
        either = min(map(abs, levels_a)) > EITHER_WAY * max(map(abs, levels_a))
        if levels_a[0] * levels_a[1] < 0.0 and either:
            # A drive holds its place with the sign of its last movement: nothing lies between the two.
            between_a = 0.5 * (levels_a[0] + levels_a[1])
            noise_a = robust_sd(known[nearer])
            return Zero(between_a, from_step(abs(levels_a[1] - levels_a[0])), noise_a)
        known, levels_a = [known[nearer]], [levels_a[nearer]]
    scatter = np.concatenate([side - level for side, level in zip(known, levels_a, strict=True)])
    spread_a = max(robust_sd(scatter), float(np.std(scatter)))
    # A few rows right beside a movement may hold what still settles, and two levels there are no noise: the record's own rest
    # shows that.
    by_the_record = rest.noise_a and (len(scatter) < FEWEST_NOISE_ROWS or not level)
    noise_a = rest.noise_a if by_the_record else spread_a
    flows_a = min(levels_a, key=abs)
    if abs(flows_a) - abs(rest.level_a) > SAME_LEVEL * no_load_current_a:
        # Elsewhere in the record nothing flows. Here something does: in the motor's place, or beside it all the time.
        return Zero(rest.level_a, from_half_width(abs(flows_a - rest.level_a)), noise_a)
    # A zero that sits still inside one step of the converter is known no better than that step (JCGM 100 F.2.2.1).
    stuck = from_step(step_a) if spread_a < 0.5 * step_a else 0.0
    drift = from_step(abs(levels_a[0] - levels_a[-1]))
    # A level that is more than drift may as well be a current that stops flowing when the motor runs.
    held = from_half_width(abs(levels_a[0])) if abs(levels_a[0]) > SAME_LEVEL * no_load_current_a else 0.0
    # A side that holds two levels says that something flows in one of them; in which, nobody knows.
    beside_a = [abs(each - levels_a[0]) for both in two_levels for each in both.tolist()]
    flowed = from_half_width(
        max((each for each in beside_a if each <= SAME_LEVEL * no_load_current_a), default=0.0)
    )
    u_a = float(np.sqrt(spread_a**2 / len(known[0]) + stuck**2 + drift**2 + held**2 + flowed**2))
    return Zero(levels_a[0], u_a, noise_a)


def _is_one_level(side: FloatArray, step_a: float) -> bool:
    """Whether a rest scatters as a whole no more than from row to row: else a current went on or off in it."""
    from_row_to_row_a = robust_sd(np.diff(side)) / np.sqrt(2.0)
    return bool(np.std(side) <= ABOUT_AS_CALM * max(from_row_to_row_a, step_a))


def _trimmed(part: FloatArray) -> FloatArray:
    """Rest rows without spikes and without the tails of a pulse."""
    if len(part) < 5:
        return part
    middle, sd = median_of(part), robust_sd(part)
    kept: FloatArray = part[np.abs(part - middle) <= 4.0 * sd] if sd > 0 else part
    return kept
