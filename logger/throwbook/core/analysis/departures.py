"""A second reading of a record in which a current flows at rest: a movement is all that isn't that calm level.

The first reading takes the level at rest off. Where that current stops while the motor runs, as one does that holds a drive's
place, the motor's own may fall to that level in mid-throw, or below it: a movement then seems to end there, to come in pieces or
to begin late. Nobody can tell from the record whether it stops. So a movement that is one by the second reading is one, and its
start and its end lie between those of both.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from throwbook.core.analysis.residual_current import FLAT, JOG, SUSTAINED_SAMPLES, CurrentRun, RunRecord
from throwbook.core.analysis.rest import (
    ABOUT_AS_CALM,
    CALM,
    END_S,
    FEWEST_NOISE_ROWS,
    FEWEST_REST_ROWS,
    NOISE_SIGMAS,
    SAME_LEVEL,
    Rest,
    smoothing_width,
)
from throwbook.core.quantities.statistics import resolution_step, robust_sd, runs_of
from throwbook.core.trace import FloatArray


def flows_at_rest(rest: Rest, no_load_a: float) -> bool:
    """Whether more flows at rest than a sensor drifts by, and single rows show it."""
    return abs(rest.level_a) > SAME_LEVEL * no_load_a and smoothing_width(rest.noise_a, no_load_a) == 1


def departures(current_a: FloatArray, rest: Rest, period_s: float, no_load_a: float) -> list[tuple[int, int]]:
    """First and last row of every stretch that isn't the calm level at rest; shape of ``current_a``: (n,) as read [A].

    A drive may hold its place with the sign of its last movement: as much the other way is rest too, where a start leaves it.
    """
    band_a = NOISE_SIGMAS * rest.noise_a + FLAT * no_load_a
    at_rest = np.abs(current_a - rest.level_a) <= band_a
    fewest = max(FEWEST_REST_ROWS, int(END_S / period_s))
    away = np.ones(len(current_a), dtype=np.bool_)
    for a, b in runs_of(at_rest):
        if b - a >= fewest or a == 0 or b == len(away):
            away[a:b] = False
    other_way = np.abs(current_a + rest.level_a) <= band_a + SAME_LEVEL * no_load_a
    for a, b in runs_of(other_way):
        calm = b - a >= fewest and robust_sd(np.diff(current_a[a:b])) <= np.sqrt(2.0) * (
            ABOUT_AS_CALM * rest.noise_a + resolution_step(current_a[:500])
        )
        behind = at_rest[b + 1 : b + 1 + fewest]
        if calm and not (len(behind) and behind.all()):
            away[a:b] = False
    return [(a, b - 1) for a, b in runs_of(away) if b - a >= SUSTAINED_SAMPLES]


def joined_by_departures(
    pieces: Sequence[CurrentRun],
    stretches: Sequence[tuple[int, int]],
    current_a: FloatArray,
    records: Mapping[int, RunRecord],
) -> list[CurrentRun]:
    """The pieces of the first reading, those of one departure as one movement.

    ``current_a``: shape (n,), the level at rest taken off [A]; ``records``: by the way of the current.
    """
    joined: list[CurrentRun] = []
    for a, b in stretches:
        here = [each for each in pieces if each.first <= b and each.last >= a]
        if not here:
            continue
        charges = {
            way: sum(float(way * current_a[p.first : p.last + 1].sum()) for p in here if p.way == way)
            for way in (1, -1)
        }
        way = max(charges, key=lambda each: charges[each])
        same = sorted((each for each in here if each.way == way), key=lambda each: each.first)
        first, last = max(a, same[0].first), min(b, same[-1].last)
        over = max(last, min(b, same[-1].over))
        drove = records[way].share(first, last) >= JOG
        # What is driven back after an end belongs to it, and doesn't lengthen it.
        drawn = np.flatnonzero(way * current_a[last : b + 1] > 0.0)
        back = last + int(drawn[-1]) if len(drawn) else last
        if drove and _is_rest_too(current_a, first, last, back):
            back = last
        joined.append(replace(same[-1], first=first, last=last, over=over, left=min(a, first), back=back))
    return joined


def _is_rest_too(current_a: FloatArray, first: int, last: int, back: int) -> bool:
    """Whether what flows on after ``last`` is another level at rest: calmer than the motor that ran before."""
    after_a = current_a[last + 1 + (back - last) // 4 : back + 1]
    if len(after_a) < FEWEST_NOISE_ROWS:
        return False
    ran_a = current_a[first + (last - first) // 3 : last + 1]
    return robust_sd(after_a) <= CALM * robust_sd(np.diff(ran_a))
