"""Which stretches of current in a record are movements: broken ones joined, echoes and residual currents left out.

A movement is any stretch of current that isn't rest. A contact that opens in mid-throw breaks one; somebody who lets go
and starts again makes two. What a limit contact's bounce or a drive's settling adds within 0.3 s of an end belongs to the
movement, but doesn't lengthen it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from throwbook.core.analysis.rest import (
    CALM,
    END_S,
    NO_OFFSET,
    NOISE_SIGMAS,
    REST_SHARE,
    SAME_LEVEL,
    Rest,
    smoothing_width,
)
from throwbook.core.analysis.transient import LONGEST_S, SMALLEST_PEAK
from throwbook.core.quantities.statistics import (
    integrate,
    median_of,
    moving_mean,
    robust_sd,
    runs_of,
)
from throwbook.core.trace import FloatArray, Trace

SUSTAINED_SAMPLES = 3
"""Fewer samples in a row than this are a spike, not a movement."""
SHORTEST_S = 0.03
"""Shorter than this is a burst of interference or a contact's touch: no motor moves anything in it (*practice*)."""
PAUSE_S = 0.3
"""A break in the current shorter than this is a bad contact: the motor coasts through it; and what is over within this time
of an end is the end's own bounce or settling (*practice*; contract, section 7)."""
SETTLED_S = 0.5
"""A drive that settles has found its place within this time (*assumed*)."""
SWITCHED_S = 0.1
"""Nobody lets go of a switch and presses the other one within this time (*practice*)."""
MANY_PAUSES = 3
"""A movement broken off more often than this breaks off by itself: one more opening isn't its limit contact's (*assumed*)."""
DRIVES = 0.1
"""Current below this share of its median drives nothing, whatever voltage is read (*practice*)."""
ABOVE_RATED = 1.2
"""A stall draws more than the rated maximum by a clear margin: data sheets of screw actuators put the stall at three
to five times the rated current (*practice*)."""
TURNS = 0.6
"""No motor of a rating turns at less than this share of its no-load current (*assumed*: data sheets are off by less)."""
ABOUT = 1.1
"""Such a level is known to a tenth (*assumed*)."""
WHOLE = 0.85
"""A movement over more than this share of the stroke is a whole throw (*assumed*: the stroke is known to 5 to 10 %
before anything is measured)."""
JOG = 0.1
"""A movement over less than this share of the stroke is a jog (contract, section 7)."""
FLAT = 0.05
"""A residual current scatters by no more than this share of the no-load current beyond the noise at rest (*assumed*)."""


@dataclass(frozen=True)
class FullStroke:
    """What it takes to do the whole stroke, as far as that is known before the record is cut up."""

    volt_seconds: float
    """Back-EMF over its time [V s], from the baseline or the rating."""
    u: float
    """Relative standard uncertainty of that."""
    r_ohm: float
    """Winding resistance [ohm]."""
    nominal_v: float
    """Nominal voltage, for a record without a voltage channel [V]."""
    no_load_a: float
    """No-load current of the rating [A]."""
    full_load_a: float
    """Full-load current of the rating [A]."""

    def share_done(
        self, time_s: FloatArray, current_a: FloatArray, voltage_v: FloatArray | None, rows: slice
    ) -> float:
        """Share of the stroke that the current of these rows drove."""
        amps = current_a[rows]
        volts = self.nominal_v if voltage_v is None else np.abs(voltage_v[rows])
        driven = amps > DRIVES * median_of(amps)
        emf_v = np.where(driven, np.maximum(volts - amps * self.r_ohm, 0.0), 0.0)
        return integrate(emf_v, time_s[rows]) / self.volt_seconds


@dataclass(frozen=True)
class CurrentRun:
    """One movement's current; indices count the rows of the record."""

    first: int
    last: int
    way: int
    """Sign of the current as it was read."""
    pauses: int = 0
    """Breaks that it was joined over."""
    over: int = 0
    """Last row of what belongs to its end: bounce, settling, residual current."""
    bounced_s: float = 0.0
    """A contact bounced for so long after its first opening [s]; 0: it didn't."""
    residual_a: float = 0.0
    """So much flowed on after its end, flat [A]."""


@dataclass(frozen=True, eq=False)
class _Record:
    """What the rules below look at; currents with the rest taken off, one way positive."""

    time_s: FloatArray
    current_a: FloatArray
    smooth_a: FloatArray
    voltage_v: FloatArray | None
    period_s: float
    rest: Rest
    stroke: FullStroke

    @property
    def still_a(self) -> float:
        """What a level scatters by that no motor turns at [A]."""
        return 3.0 * self.rest.noise_a + FLAT * self.stroke.no_load_a

    def lasted_s(self, first: int, last: int) -> float:
        """Time between two rows [s]."""
        return float(self.time_s[last] - self.time_s[first])

    def highest_a(self, piece: CurrentRun) -> float:
        """The highest that lasts [A]: the touch of a contact that closes is none of what flowed before it."""
        rows = self.smooth_a[piece.first : piece.last + 1]
        spare = SUSTAINED_SAMPLES - 1 if len(rows) >= FEWEST_CALM_ROWS else 0
        return float(np.partition(rows, len(rows) - 1 - spare)[len(rows) - 1 - spare])

    def share(self, first: int, last: int) -> float:
        return self.stroke.share_done(self.time_s, self.current_a, self.voltage_v, slice(first, last + 1))

    def at_stall_level(self, first: int, last: int) -> bool:
        level_a = median_of(self.current_a[first : last + 1])
        return level_a >= ABOVE_RATED * self.stroke.full_load_a

    def stands_at_the_end(self, first: int, last: int) -> bool:
        """Whether the motor stood, for longer than a start does."""
        since = int(np.searchsorted(self.time_s, self.time_s[last] - PAUSE_S))
        return since >= first and last - since >= 2 and self.at_stall_level(since, last)


def movement_threshold(rest: Rest, no_load_current_a: float) -> float:
    """The smoothed current beyond which there is a movement [A]; lower where the rest itself is a current that the motor's
    own may take the place of."""
    noise_a = NOISE_SIGMAS * rest.noise_a / float(np.sqrt(smoothing_width(rest.noise_a, no_load_current_a)))
    held = abs(rest.level_a) > NO_OFFSET * no_load_current_a
    share = SAME_LEVEL if held else REST_SHARE
    return min(max(share * no_load_current_a, noise_a), 0.8 * no_load_current_a)


def current_runs_of(trace: Trace, rest: Rest, period_s: float, stroke: FullStroke) -> list[CurrentRun]:
    """Every movement of a record, in order."""
    current_a = trace.current_a - rest.level_a
    smooth_a = moving_mean(current_a, smoothing_width(rest.noise_a, stroke.no_load_a))
    threshold_a = movement_threshold(rest, stroke.no_load_a)
    found: list[CurrentRun] = []
    for way in (1, -1):
        moving = way * smooth_a > threshold_a
        if not moving.any():
            continue
        record = _Record(
            trace.time_s, way * current_a, way * smooth_a, trace.voltage_v, period_s, rest, stroke
        )
        runs = [(a, b - 1) for a, b in runs_of(moving) if b - a >= SUSTAINED_SAMPLES]
        kicks = [run for run in runs if _kicks_back(record, *run, threshold_a)]
        found += [CurrentRun(a, b, way, over=b) for a, b in kicks]
        runs = [run for run in runs if run not in kicks]
        pieces = [piece for run in runs for piece in _without_residuals(record, way, *run)]
        found += [_with_what_flowed_on(record, each) for each in _joined(record, pieces)]
    found = [each for each in found if _is_no_chance(each, trace.time_s, current_a, rest)]
    in_order = sorted(found, key=lambda each: each.first)
    return _without_kicks(in_order, trace.time_s, smooth_a, rest, stroke, period_s)


def _kicks_back(record: _Record, first: int, last: int, threshold_a: float) -> bool:
    """Whether a short current comes at once after a lasting one the other way: it belongs to that end, and never to what
    follows in its own direction."""
    since, soon = np.searchsorted(record.time_s, record.time_s[first] - np.array([2.0 * PAUSE_S, SWITCHED_S]))
    other_way = record.smooth_a[since:first] < -threshold_a
    lasts_s = record.lasted_s(first, last)
    if lasts_s > PAUSE_S or not other_way[soon - since :].any():
        return False
    moved_s = np.count_nonzero(other_way) * record.period_s
    out_of_rest = not bool((record.smooth_a[since:first] > threshold_a).any())
    return bool(moved_s > PAUSE_S or (out_of_rest and moved_s > lasts_s))  # not a pulse itself


def _is_no_chance(stretch: CurrentRun, time_s: FloatArray, current_a: FloatArray, rest: Rest) -> bool:
    """Whether a stretch lasts longer than a touch, and stands out of the noise as a whole."""
    rows = current_a[stretch.first : stretch.last + 1]
    stands_out = abs(float(rows.mean())) >= NOISE_SIGMAS * rest.noise_a / np.sqrt(len(rows))
    return stands_out and bool(time_s[stretch.last] - time_s[stretch.first] >= SHORTEST_S)


def _without_residuals(record: _Record, way: int, first: int, last: int) -> Iterator[CurrentRun]:
    """A run of current without the flat levels that no turning motor draws: they end a movement, and precede one."""
    begun = first
    for low, high in _low_levels(record, first, last):
        if low == first:
            begun = high  # a current that flowed before the motor was switched on
            continue
        stood = record.stands_at_the_end(begun, low - 1)
        share = record.share(begun, low - 1)
        if high <= last and not (
            stood or share > WHOLE or _surges(record, high, last, _late(record, begun, low))
        ):
            continue
        if not stood and share < JOG and not (_holds(record, low, high) or _breaks_off(record, begun, low)):
            continue  # a start before a run lighter than its rating says
        yield CurrentRun(begun, low - 1, way, over=high - 1, residual_a=median_of(record.current_a[low:high]))
        begun = high
    if begun <= last:
        yield CurrentRun(begun, last, way, over=last)


def _breaks_off(record: _Record, begun: int, low: int) -> bool:
    """Whether the current before a low stretch is a jog that was cut off: it held, and fell at once. That of a start dies
    away: even one that falls in a straight line holds for less than it falls."""
    if low - begun < FEWEST_JOG_ROWS:
        return False
    low_a = median_of(record.current_a[low : low + SUSTAINED_SAMPLES])
    fall_a = median_of(record.current_a[low - (low - begun) // 3 : low]) - low_a
    off_a = record.current_a[begun:low] - (low_a + fall_a)
    held = np.flatnonzero(np.abs(off_a) <= STILL_FALLING * fall_a)
    fell = low - begun - int(held[-1]) if len(held) else low - begun
    at_once = max(ROWS_OF_A_STEP, min(round(STEP_S / record.period_s), (low - begun) // HELD_OVER_FALL))
    return fall_a > 0.0 and fell <= at_once and len(held) >= max(FEWEST_JOG_ROWS, fell)


def _low_levels(record: _Record, first: int, last: int) -> Iterator[tuple[int, int]]:
    """First and one-past-last row of every lasting flat level too low for a motor that turns as it does beside it."""
    current_a = record.smooth_a[first : last + 1]
    holds_a = record.rest.holding_a and record.rest.holding_a + SAME_LEVEL * record.stroke.no_load_a
    turning = current_a[current_a >= max(TURNS * record.stroke.no_load_a, holds_a)]
    if len(turning) < SUSTAINED_SAMPLES:
        return
    run_a = median_of(turning)
    if float(current_a.min()) >= SURELY_LOWER * run_a:
        return
    jumps_a = robust_sd(np.diff(turning))
    none_turns_a = ABOUT * TURNS * min(record.stroke.no_load_a, run_a)
    for a, b in runs_of(current_a < SURELY_LOWER * run_a):
        lasts = record.lasted_s(first + a, first + b - 1) >= END_S and b - a >= SUSTAINED_SAMPLES
        goes_off = b == len(current_a) and b - a >= FEWEST_CALM_ROWS
        if not (lasts or goes_off):
            continue
        # It falls at first, and may rise again at last.
        inner = slice(first + a + (b - a) // 3, first + b - (b - a) // 10)
        flat_a = record.current_a[inner]
        if robust_sd(flat_a) > record.still_a:
            continue
        calm = b - a >= FEWEST_CALM_ROWS and robust_sd(np.diff(flat_a)) <= CALM * CALM * jumps_a
        level_a = median_of(flat_a)
        calm = calm and (
            b == len(current_a) or a == 0 or _steps(record, first + a, first + b, level_a, run_a)
        )
        if level_a < none_turns_a or calm or _holds(record, first + a, first + b):
            falling_a = level_a + STILL_FALLING * (run_a - level_a)
            above = np.flatnonzero(record.current_a[first + a : inner.start] > falling_a)
            yield first + a + (int(above[-1]) + 1 if a and len(above) else 0), first + b


def _steps(record: _Record, begin: int, stop: int, level_a: float, run_a: float) -> bool:
    """Whether a low level is entered or left by a step. A ripple's trough glides, both ways, and its middle is calm too."""
    most = max(ROWS_OF_A_STEP + 1, round(STEP_S / record.period_s))
    full_a, low_a = run_a - STEP_ENDS * (run_a - level_a), level_a + STILL_FALLING * (run_a - level_a)
    sides = (
        record.current_a[max(0, begin - most) : begin + most + 1],
        record.current_a[stop - most - 1 : stop + most],
    )
    for rows, falls in zip(sides, (True, False), strict=True):
        ordered = rows if falls else rows[::-1]
        high = np.flatnonzero(ordered >= full_a)
        arrived = np.flatnonzero(ordered[int(high[-1]) :] <= low_a) if len(high) else high
        if len(arrived) and int(arrived[0]) <= most:
            return True
    return False


def _holds(record: _Record, begin: int, stop: int) -> bool:
    """Whether these rows are the level that a drive holds its place with, as calm as it is at rest."""
    holding_a = record.rest.holding_a
    inner_a = record.current_a[begin + (stop - begin) // 3 : stop - (stop - begin) // 10]
    if not holding_a or len(inner_a) < SUSTAINED_SAMPLES:
        return False
    near = abs(median_of(inner_a) - holding_a) <= SAME_LEVEL * record.stroke.no_load_a
    return near and robust_sd(inner_a) <= record.still_a


SURELY_LOWER, SURELY_HIGHER = 0.8, 1.25
"""A level between these shares of another one is still that one."""
BRAKES_WITH = 0.95
"""The load that a drive works against as it starts helps it to stop: it brakes with less than this of its start (*assumed*)."""
STILL_FALLING = 0.25
"""A current with more than this share of its fall before it hasn't arrived at what flows on."""
STEP_S, STEP_ENDS = 0.05, 0.1
"""A current that is switched off, or on, goes from this near the one level to the other within this time (*practice*)."""
FEWEST_JOG_ROWS, ROWS_OF_A_STEP = 5, 2
"""A current that held for so many rows, and fell within so few, was switched off (*practice*)."""
HELD_OVER_FALL = 4
"""A filter drags out the fall of one that was switched off: a quarter of the whole at most (*assumed*)."""
FEWEST_CALM_ROWS = 10
"""Of fewer rows it can't be told whether they are calm."""


def _surges(record: _Record, first: int, last: int, before_a: FloatArray) -> bool:
    """Whether a current begins as a motor does that stood still before."""
    begins = record.current_a[first : min(last, first + max(3, int(PAUSE_S / record.period_s))) + 1]
    return float(begins.max()) >= SMALLEST_PEAK * median_of(before_a)


def _late(record: _Record, first: int, stop: int) -> FloatArray:
    """The last third of a movement: what it drew when its own start was over."""
    return record.current_a[stop - max(SUSTAINED_SAMPLES, (stop - first) // 3) : stop]


def _joined(record: _Record, pieces: list[CurrentRun]) -> list[CurrentRun]:
    """The pieces of one way with breaks joined, and what follows an end without a motor turning given to that end."""
    found: list[CurrentRun] = []
    begun = 0  # first row of the unbroken current that the last of ``found`` ends with
    for piece in pieces:
        before = found[-1] if found else None
        if before is not None and not before.residual_a and _is_echo(record, before, begun, piece):
            found[-1] = _with_echo(record, before, piece)
            continue
        if before is not None and _is_residual(record, before, piece):
            found[-1] = _with_residual(record, before, piece)
            continue
        if before is not None and before.residual_a:
            piece = _without_what_flowed_before(record, before, piece)
        if _only_holds(record, piece):
            continue  # since a movement that the record doesn't show, or one the other way
        begun = piece.first
        if before is not None and not before.residual_a and _goes_on(record, before, piece):
            found[-1] = replace(piece, first=before.first, pauses=before.pauses + 1)
        else:
            found.append(piece)
    return found


def _without_what_flowed_before(record: _Record, before: CurrentRun, piece: CurrentRun) -> CurrentRun:
    """The piece without its first rows where they are what flowed on after the end before it, right up to its start."""
    if record.lasted_s(before.over, piece.first) > SWITCHED_S:
        return piece
    rises_a = SURELY_HIGHER * before.residual_a + record.still_a
    higher = np.flatnonzero(record.current_a[piece.first : piece.last + 1] > rises_a)
    return replace(piece, first=piece.first + int(higher[0])) if len(higher) else piece


def _is_residual(record: _Record, before: CurrentRun, piece: CurrentRun) -> bool:
    """Whether a piece is a current that flowed on after the end before it, too low for a motor to turn."""
    highest_a = record.highest_a(piece)
    between_a = record.current_a[before.over + 1 : piece.first]
    apart = record.lasted_s(before.over, piece.first) > PAUSE_S and median_of(between_a) < 0.5 * highest_a
    if apart or not _drove(record, before):
        return False
    too_low_a = max(TURNS * record.stroke.no_load_a, SURELY_HIGHER * before.residual_a)
    return highest_a < too_low_a or _only_holds(record, piece)


def _only_holds(record: _Record, piece: CurrentRun) -> bool:
    """Whether a piece is nothing but the current that a drive holds its place with: no start goes before it."""
    starts = record.highest_a(piece) > SURELY_HIGHER * record.rest.holding_a + record.still_a
    return not starts and _holds(record, piece.first, piece.last + 1)


def _drove(record: _Record, stretch: CurrentRun) -> bool:
    """Whether a motor of this rating stood or turned in it; else it is the start of a run lighter than its rating says."""
    if record.stands_at_the_end(stretch.first, stretch.last) or (
        record.share(stretch.first, stretch.last) >= JOG
    ):
        return True
    # The current of a start falls all the way down to such a run; that of a jog is cut off.
    late_a = record.current_a[stretch.last - (stretch.last - stretch.first) // 3 : stretch.last + 1]
    return median_of(late_a) >= TURNS * record.stroke.no_load_a


def _with_residual(record: _Record, before: CurrentRun, piece: CurrentRun) -> CurrentRun:
    """The stretch, ended where its current fell to what flowed on."""
    if before.residual_a:
        return replace(before, over=piece.over)
    residual_a = median_of(record.current_a[piece.first : piece.last + 1])
    current_a = record.current_a[before.first : before.last + 1]
    falling_a = residual_a + STILL_FALLING * (median_of(current_a) - residual_a)
    last = before.first + int(np.flatnonzero(current_a > falling_a)[-1])
    return replace(before, last=last, over=piece.over, residual_a=residual_a)


def _with_what_flowed_on(record: _Record, stretch: CurrentRun) -> CurrentRun:
    """The level of what belongs to the end, where it lasted and is no contact's bounce."""
    if stretch.residual_a or stretch.bounced_s or record.lasted_s(stretch.last, stretch.over) < END_S:
        return stretch
    level_a = median_of(record.current_a[stretch.last + 1 : stretch.over + 1])
    return replace(stretch, residual_a=level_a) if level_a > SAME_LEVEL * record.stroke.no_load_a else stretch


def _is_echo(record: _Record, before: CurrentRun, begun: int, piece: CurrentRun) -> bool:
    """Whether a piece is the bounce or the settling of the end before it: soon over, and not at stall level."""
    ran_s = record.lasted_s(begun, before.last)
    level_a = median_of(record.current_a[begun : before.last + 1])
    lower = float(record.current_a[piece.first : piece.last + 1].max()) < level_a
    shortest_s = record.lasted_s(piece.first, piece.last) * (1.0 if lower else 2.0)
    if ran_s < min(PAUSE_S, shortest_s) or record.at_stall_level(piece.first, piece.last):
        return False  # the first touches of a contact that closes
    if ran_s < PAUSE_S and _flows_later(record, piece):
        return False  # brushes that jump from the start on
    if before.pauses > MANY_PAUSES and record.lasted_s(before.over, piece.first) <= SWITCHED_S:
        return False  # its brushes jump all the way
    if piece.first - before.over == 2 and _drops_out(record, before.first, before.last):
        return False  # one row is missing here as another was in mid-throw, where no limit contact is
    soon_s = PAUSE_S + 2.0 * record.period_s
    over_s = record.lasted_s(before.last, piece.last)
    if over_s <= soon_s:
        return True
    settling = (
        record.lasted_s(before.over, piece.first) <= soon_s
        and over_s <= PAUSE_S + SETTLED_S + record.period_s
    )
    return settling and lower


def _flows_later(record: _Record, piece: CurrentRun) -> bool:
    """Whether something flows on when all that bounces or settles after an end is long over.

    What comes on after a rest is the next movement: brushes that jump leave none.
    """
    since, until = np.searchsorted(
        record.time_s, record.time_s[piece.last] + np.array([0.0, PAUSE_S + 2.0 * record.period_s])
    )
    flows = record.current_a[since:until] > REST_SHARE * record.stroke.no_load_a
    rests = max((b - a for a, b in runs_of(~flows)), default=0) * record.period_s
    return bool(len(flows)) and rests <= max(SWITCHED_S, 2.0 * record.period_s)


def _drops_out(record: _Record, first: int, last: int) -> bool:
    """Whether a lone reading of this current fell out of it, down to nothing, before."""
    gone = record.current_a[first : last + 1] <= REST_SHARE * record.stroke.no_load_a
    return any(b - a == 1 for a, b in runs_of(gone))


def _with_echo(record: _Record, before: CurrentRun, piece: CurrentRun) -> CurrentRun:
    level_a = median_of(record.current_a[before.first : before.last + 1])
    contact = float(record.current_a[piece.first : piece.last + 1].max()) >= level_a
    bounced_s = record.lasted_s(before.last, piece.last) if contact else before.bounced_s
    return replace(before, over=piece.last, bounced_s=bounced_s)


def _goes_on(record: _Record, before: CurrentRun, after: CurrentRun) -> bool:
    """Whether a piece is the same movement as the one before it.

    The motor must have been turning and nothing have braked it, the break be under a second, and both
    together come nearer to one stroke; after a
    jog a piece that may be a stroke by itself lacks nothing, and how far one goes on that the record cuts off nobody
    knows. What bounced or settled in the break drove nothing: it doesn't shorten it. A motor that stood was let go by
    somebody; only a contact that chatters under it is still the same stand.
    """
    between_a = record.smooth_a[before.last + 1 : after.first]
    braked = int(np.count_nonzero(between_a < -record.still_a))
    if braked >= SUSTAINED_SAMPLES and braked > len(between_a) // 2:
        return False
    if record.stands_at_the_end(before.first, before.last):
        chatters = record.lasted_s(before.over, after.first) <= PAUSE_S
        return chatters and record.at_stall_level(after.first, after.last)
    share, more = record.share(before.first, before.last), record.share(after.first, after.last)
    gap_s = record.lasted_s(before.last, after.first)
    if min(share, more) > WHOLE and gap_s > SWITCHED_S:
        return False
    if gap_s <= SWITCHED_S or after.first - before.last <= SUSTAINED_SAMPLES:
        return True
    if gap_s > LONGEST_S + 2.0 * record.period_s or record.at_stall_level(after.first, after.last):
        return False
    if share + more > 1.0 + 2.0 * record.stroke.u:
        return False
    if gap_s <= PAUSE_S:
        return True
    if after.last >= len(record.time_s) - 1:
        return False
    jogged = share < JOG and more > max(WHOLE, 1.0 - 2.0 * record.stroke.u)
    nearer = abs(share + more - 1.0) < min(abs(share - 1.0), abs(more - 1.0))
    return (
        nearer
        and not jogged
        and (
            record.lasted_s(after.first, after.last) >= PAUSE_S
            or _surges(record, after.first, after.last, _late(record, before.first, before.last + 1))
        )
    )


def _without_kicks(
    stretches: list[CurrentRun],
    time_s: FloatArray,
    current_a: FloatArray,
    rest: Rest,
    stroke: FullStroke,
    period_s: float,
) -> list[CurrentRun]:
    """A motor braked by its own switch drives a current back for up to 0.3 s, one braked by its drive down a ramp for
    longer: that belongs to the end before it, and so does what bounces, settles or flows on behind it."""
    kept: list[CurrentRun] = []
    for each in stretches:
        before = kept[-1] if kept else None
        if before is not None and (
            _is_kick(before, each, time_s) or _brakes_down_a_ramp(before, each, time_s, current_a)
        ):
            kept[-1] = replace(before, over=max(before.over, each.last))
        elif before is not None and _follows_a_kick(before, each, time_s, current_a, period_s):
            rows_a = np.abs(current_a[each.first : each.over + 1])
            height_a, level_a = float(rows_a.max()), median_of(rows_a)
            soon_s = PAUSE_S + 2.0 * period_s
            if (
                level_a < ABOUT * TURNS * stroke.no_load_a
                and height_a < SURELY_HIGHER * level_a + 3.0 * rest.noise_a + FLAT * stroke.no_load_a
            ):
                kept[-1] = replace(before, over=each.over, residual_a=level_a)
            elif (
                time_s[each.last] - time_s[before.over] <= soon_s
                and height_a < ABOVE_RATED * stroke.full_load_a
            ):
                kept[-1] = replace(before, over=each.over)
            else:
                kept.append(each)
        else:
            kept.append(each)
    return kept


def _follows_a_kick(
    before: CurrentRun, after: CurrentRun, time_s: FloatArray, current_a: FloatArray, period_s: float
) -> bool:
    """Whether a current comes soon after one that braked the movement before it, in that movement's own direction."""
    if after.way != before.way or before.residual_a:
        return False
    braked = before.way * current_a[before.last + 1 : before.over + 1] < 0.0
    soon = time_s[after.first] - time_s[before.over] <= PAUSE_S
    return bool(
        soon and np.count_nonzero(braked) * period_s > 0.5 * (time_s[before.over] - time_s[before.last])
    )


def _is_kick(before: CurrentRun, after: CurrentRun, time_s: FloatArray) -> bool:
    at_once = (
        time_s[after.first] - time_s[before.last] <= PAUSE_S
        or after.first - before.last <= SUSTAINED_SAMPLES  # readings may be lost just then
    )
    return after.way != before.way and at_once and bool(time_s[after.last] - time_s[after.first] <= PAUSE_S)


def _brakes_down_a_ramp(
    before: CurrentRun, after: CurrentRun, time_s: FloatArray, current_a: FloatArray
) -> bool:
    """Whether a current the other way is the drive's: it begins sooner than anybody switches over, and doesn't reach what
    the motor drew at its own start, as one does that is switched on the other way."""
    sooner = time_s[after.first] - time_s[before.last] <= SWITCHED_S
    lasted_s = float(time_s[after.last] - time_s[after.first])
    if after.way == before.way or not sooner or lasted_s > PAUSE_S + SETTLED_S:
        return False
    highest_a = float(np.abs(current_a[before.first : before.last + 1]).max())
    return float(np.abs(current_a[after.first : after.last + 1]).max()) < BRAKES_WITH * highest_a
