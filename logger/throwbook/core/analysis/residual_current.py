"""Current that no turning motor draws: what flows before a start, flows on after an end, or holds a drive's place.

It ends a movement and precedes one; it never belongs to what is judged.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from throwbook.core.analysis.breaks import SHORTEST_S
from throwbook.core.analysis.rest import CALM, END_S, FLAT, NOISE_SIGMAS, SAME_LEVEL, Rest, undriven_rows
from throwbook.core.analysis.transient import SMALLEST_PEAK, end_of_transient
from throwbook.core.quantities.statistics import integrate, median_of, resolution_step, robust_sd, runs_of
from throwbook.core.trace import FloatArray

SUSTAINED_SAMPLES = 3
"""Fewer samples in a row than this are a spike, not a movement."""
PAUSE_S = 0.3
"""A break in the current shorter than this is a bad contact: the motor coasts through it; and what is over within this time
of an end is the end's own bounce or settling (*practice*)."""
SWITCHED_S = 0.1
"""Nobody lets go of a switch and presses the other one within this time (*practice*)."""
DRIVES = 0.1
"""Current below this share of its median drives nothing, whatever voltage is read (*practice*)."""
SETTLED_S = 0.5
"""A drive that settles has found its place within this time (*assumed*)."""
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
"""A movement over less than this share of the stroke is a jog (*practice*)."""
SURELY_LOWER, SURELY_HIGHER = 0.8, 1.25
"""A level between these shares of another one is still that one."""
STILL_FALLING = 0.25
"""A current with more than this share of its fall before it hasn't arrived at what flows on."""
STEP_S, STEP_ENDS = 0.05, 0.1
"""A current that is switched off, or on, goes from this near the one level to the other within this time (*practice*)."""
FEWEST_JOG_ROWS, ROWS_OF_A_STEP = 5, 2
"""A current that held for so many rows, and fell within so few, was switched off (*practice*)."""
HELD_OVER_FALL = 4
"""A filter drags out the fall of one that was switched off: a quarter of the whole at most (*assumed*)."""
BY_CHANCE = 6.0
"""Three single readings compared, one of them 2.25 times and one 1.25 times, scatter 2.6 times as much as one: with what a
level scatters by these are some three and a half standard deviations."""
ROWS_OF_STEPS = 50
"""Rows of a level that show the converter's step."""
ALMOST = 0.999
"""For rounding."""
FEWEST_CALM_ROWS = 10
"""Of fewer rows it can't be told whether they are calm."""


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
    left: int | None = None
    """Row at which the current left its level at rest, where that may be the start; None: ``first`` is."""
    back: int | None = None
    """Last row before it was back at that level, where that may be the end; None: ``last`` is."""


def earliest_of(run: CurrentRun) -> int:
    """The earliest row at which it may have begun."""
    return run.first if run.left is None else min(run.left, run.first)


def latest_of(run: CurrentRun) -> int:
    """The latest row at which it may have ended."""
    return run.last if run.back is None else max(run.back, run.last)


def moved_up(run: CurrentRun, rows: int) -> CurrentRun:
    """The same run counted from a later row of its record."""
    return replace(
        run,
        first=run.first - rows,
        last=run.last - rows,
        over=run.over - rows,
        left=None if run.left is None else max(0, run.left - rows),
        back=None if run.back is None else run.back - rows,
    )


@dataclass(frozen=True, eq=False)
class RunRecord:
    """What the rules below look at; currents with the rest taken off, one way positive."""

    time_s: FloatArray
    current_a: FloatArray
    smooth_a: FloatArray
    voltage_v: FloatArray | None
    period_s: float
    rest: Rest
    stroke: FullStroke

    @cached_property
    def driven(self) -> NDArray[np.bool_] | None:
        """Rows at which the motor's voltage drives it; None where none was read, or where it is the supply's."""
        gone = None if self.voltage_v is None else undriven_rows(self.voltage_v)
        return None if gone is None or not gone.any() else ~gone

    @cached_property
    def _shares(self) -> dict[tuple[int, int], float]:
        return {}

    @cached_property
    def _levels_a(self) -> dict[tuple[int, int], float]:
        return {}

    @property
    def still_a(self) -> float:
        """What a level scatters by that no motor turns at [A]."""
        return 3.0 * self.rest.noise_a + FLAT * self.stroke.no_load_a

    def lasted_s(self, first: int, last: int) -> float:
        """Time between two rows [s]."""
        return float(self.time_s[last] - self.time_s[first])

    def highest_a(self, piece: CurrentRun) -> float:
        """The highest that lasts [A]: the touch of a contact that closes is none of what flowed before it, and what a flat
        level scatters by isn't its height."""
        rows = self.smooth_a[piece.first : piece.last + 1]
        spare = SUSTAINED_SAMPLES - 1 if len(rows) >= FEWEST_CALM_ROWS else 0
        highest_a = float(np.partition(rows, len(rows) - 1 - spare)[len(rows) - 1 - spare])
        level_a = median_of(rows)
        flat = len(rows) >= FEWEST_CALM_ROWS and robust_sd(rows) <= self.still_a
        by_noise_a = NOISE_SIGMAS * self.rest.noise_a + FLAT * self.stroke.no_load_a
        return level_a if flat and highest_a - level_a <= by_noise_a else highest_a

    def share(self, first: int, last: int) -> float:
        """Share of the stroke done between two rows."""
        # What follows an end may come in many pieces, and each asks for what ran before.
        if (first, last) not in self._shares:
            rows = slice(first, last + 1)
            self._shares[first, last] = self.stroke.share_done(
                self.time_s, self.current_a, self.voltage_v, rows
            )
        return self._shares[first, last]

    def level_a(self, first: int, last: int) -> float:
        """Median of the current between two rows [A]."""
        if (first, last) not in self._levels_a:
            self._levels_a[first, last] = median_of(self.current_a[first : last + 1])
        return self._levels_a[first, last]

    def at_stall_level(self, first: int, last: int) -> bool:
        """Whether the current between two rows is one that only a motor draws that stands."""
        level_a = median_of(self.current_a[first : last + 1])
        return level_a >= ABOVE_RATED * self.stroke.full_load_a

    def stands_at_the_end(self, first: int, last: int) -> bool:
        """Whether the motor stood, for longer than a start does."""
        since = int(np.searchsorted(self.time_s, self.time_s[last] - PAUSE_S))
        return since >= first and last - since >= 2 and self.at_stall_level(since, last)


def without_residuals(record: RunRecord, way: int, first: int, last: int) -> Iterator[CurrentRun]:
    """A run of current without the flat levels that no turning motor draws: they end a movement, and precede one."""
    begun, before_a = first, np.inf
    for low, high, level_a in _low_levels(record, first, last):
        if low == first:
            # A current that flowed before the motor was switched on; what a motor turns at and then stalls is a run.
            turns = level_a >= ABOUT * TURNS * record.stroke.no_load_a
            if not (turns and record.stands_at_the_end(high, last)):
                begun, before_a = high, level_a
            continue
        stood = record.stands_at_the_end(begun, low - 1)
        share = record.share(begun, low - 1)
        too_low = level_a < ABOUT * TURNS * record.stroke.no_load_a
        broke_off = too_low and _breaks_off(record, begun, low)
        # Out of what flows on and back to it: a jog, however softly the next movement starts.
        jogged = broke_off and abs(level_a - before_a) <= record.still_a
        if high <= last and not (
            stood or share > WHOLE or jogged or surges(record, high, last, late(record, begun, low))
        ):
            continue
        cut_off = broke_off or _holds(record, low, high)
        if not stood and not cut_off and (share < JOG or _dies_away_into(record, begun, low, high)):
            continue  # a start before its run, which may be lighter than the rating says
        yield CurrentRun(begun, low - 1, way, over=high - 1, residual_a=level_a)
        begun, before_a = high, level_a
    if begun <= last:
        yield CurrentRun(begun, last, way, over=last)


def _breaks_off(record: RunRecord, begun: int, low: int) -> bool:
    """Whether the current before a low run is a jog that was cut off: it falls at once, and by more than it fell just
    before. That of a start dies away ever slower; even in a straight line no stretch falls further than the one before."""
    if low - begun < FEWEST_JOG_ROWS:
        return False
    rows_a = record.current_a[begun : low + 2]
    turns_a = TURNS * record.stroke.no_load_a
    at_once = max(ROWS_OF_A_STEP, min(round(STEP_S / record.period_s), (low - begun) // HELD_OVER_FALL))
    unsure_a = record.still_a + BY_CHANCE * record.rest.noise_a
    unsure_a += 2.0 * resolution_step(record.current_a[begun : low + ROWS_OF_STEPS])
    over = 1
    while over <= at_once:
        for arrived in (len(rows_a) - 2, len(rows_a) - 1):  # the first low row may be part on and part off
            from_a = float(rows_a[arrived - over])
            before_a = max(float(rows_a[max(0, arrived - 2 * over)]) - from_a, 0.0)
            fall_a = from_a - float(rows_a[arrived])
            if from_a >= turns_a and fall_a > SURELY_HIGHER * before_a + unsure_a:
                return True
        over *= 2
    return False


def _dies_away_into(record: RunRecord, begun: int, low: int, high: int) -> bool:
    """Whether the current before a low run is no more than its start: no run lies between them, and nothing was cut off."""
    if begun == 0 or _breaks_off(record, begun, low):
        return False
    settled = end_of_transient(record.current_a, record.time_s, begun, high - 1).settled_latest
    return record.lasted_s(settled, low) < END_S


def _low_levels(record: RunRecord, first: int, last: int) -> Iterator[tuple[int, int, float]]:
    """First and one-past-last row of every lasting level too low for a motor that turns as it does beside it, and the level
    [A]: flat, or a drive's that brings its motor to rest."""
    current_a = record.smooth_a[first : last + 1]
    holds_a = record.rest.holding_a and record.rest.holding_a + SAME_LEVEL * record.stroke.no_load_a
    turning = current_a[current_a >= max(TURNS * record.stroke.no_load_a, holds_a)]
    if len(turning) < SUSTAINED_SAMPLES:
        return
    run_a = median_of(turning)
    if float(current_a.min()) >= SURELY_LOWER * run_a:
        return
    jumps_a = robust_sd(np.diff(turning))
    known = 0
    for a, b, whole in _low_stretches(current_a, SURELY_LOWER * run_a, TURNS * record.stroke.no_load_a):
        # The end of a fall that a filter drags out is no level of its own.
        if a < known or not _lasts(record, first + a, first + b, whole and b == len(current_a)):
            continue
        ends = a > 0 and b == len(current_a)
        left = _is_left(record, first + a, first + b, run_a, jumps_a, inner=a > 0 and not ends)
        if left or (ends and _slows_down(record, first + a, first + b, run_a)):
            known = b
            begin, stop = _arrived(record, first, first + a, first + b, run_a), first + b
            rows_a = record.current_a[begin:stop]
            yield begin, stop, median_of(rows_a if left else rows_a[rows_a < _too_low(record, run_a)])


def _too_low(record: RunRecord, run_a: float) -> float:
    """No motor turns at less beside such a run [A]."""
    return ABOUT * TURNS * min(record.stroke.no_load_a, run_a)


def _low_stretches(current_a: FloatArray, below_a: float, turns_a: float) -> Iterator[tuple[int, int, bool]]:
    """First and one-past-last row of every stretch of low current, and whether it is the whole of one: what is lower still in
    it is looked at as well. Beside a motor that turns light that is too low for any to turn, and at the end what follows a
    drive that slows down. ``turns_a``: no motor turns at less [A]."""
    for a, b in runs_of(current_a < below_a):
        yield a, b, True
        for still, turning in runs_of(current_a[a:b] < turns_a):
            if turning - still < b - a:
                yield a + still, a + turning, False
        begins_a = median_of(current_a[a : a + max(1, (b - a) // 4)])
        high = np.flatnonzero(current_a[a:b] >= SURELY_LOWER * begins_a)
        if b == len(current_a) and len(high) and a + int(high[-1]) + 1 < b:
            yield a + int(high[-1]) + 1, b, False


def _is_left(record: RunRecord, begin: int, stop: int, run_a: float, jumps_a: float, inner: bool) -> bool:
    """Whether a stretch of low current is one flat level that no motor turns with, or as calm as none does.

    ``inner``: the motor ran before and after it.
    """
    flat_a = _flat_level(record, begin, stop)
    if flat_a is None or _jogged_in(record, begin, stop):
        return False
    level_a = median_of(flat_a)
    if level_a < _too_low(record, run_a) or _holds(record, begin, stop):
        return True
    # A level that a motor may turn at must last: that of a drive's jog behind its ramp doesn't.
    calm = (
        len(flat_a) >= FEWEST_CALM_ROWS
        and record.lasted_s(begin, stop - 1) >= END_S
        and robust_sd(np.diff(flat_a)) <= CALM * CALM * jumps_a
    )
    return calm and (not inner or _steps(record, begin, stop, level_a, run_a))


def _slows_down(record: RunRecord, begin: int, stop: int, run_a: float) -> bool:
    """Whether a last stretch of low current is a drive's that brings its motor to rest and settles: it is entered at once, at
    less than any motor turns with, and soon over."""
    lasted_s = record.lasted_s(begin, stop - 1)
    if not END_S <= lasted_s <= PAUSE_S + SETTLED_S:
        return False
    low = record.current_a[begin:stop] < _too_low(record, run_a)
    at_once = max(ROWS_OF_A_STEP, round(STEP_S / record.period_s))
    fewest = _rows_of_a_touch(record)
    return any(b - a >= fewest and a <= at_once for a, b in runs_of(low))


def _rows_of_a_touch(record: RunRecord) -> int:
    """Brushes that jump, contacts that bounce and the waves of a ripple aren't low for so many rows."""
    return int(np.ceil(ALMOST * SHORTEST_S / record.period_s)) + 1


def _jogged_in(record: RunRecord, begin: int, stop: int) -> bool:
    """Whether a motor was switched on and off again on a level that flows on, once all has settled behind the end before it:
    for longer than a touch the current stands out, up to what a motor turns at, and breaks off."""
    level_a = median_of(record.current_a[_inner(begin, stop)])
    turns_a = max(ABOUT * TURNS * record.stroke.no_load_a, SURELY_HIGHER * level_a + record.still_a)
    settled = int(np.searchsorted(record.time_s, record.time_s[begin] + PAUSE_S + SETTLED_S))
    for a, b in runs_of(record.smooth_a[settled:stop] > level_a + record.still_a):
        on, off = settled + a, settled + b
        if a == 0 or off == stop or record.lasted_s(on, off) < SWITCHED_S:
            continue
        stands_out = np.count_nonzero(record.smooth_a[on:off] > turns_a) >= SUSTAINED_SAMPLES
        if stands_out and _breaks_off(record, on, off):
            return True
    return False


def _lasts(record: RunRecord, begin: int, stop: int, at_the_end: bool) -> bool:
    lasts = record.lasted_s(begin, stop - 1) >= END_S and stop - begin >= SUSTAINED_SAMPLES
    return lasts or (at_the_end and stop - begin >= FEWEST_CALM_ROWS)


def _inner(begin: int, stop: int) -> slice:
    """Rows of a low level without its ends: it falls at first, and may rise again at last."""
    return slice(begin + (stop - begin) // 3, stop - (stop - begin) // 10)


def _flat_level(record: RunRecord, begin: int, stop: int) -> FloatArray | None:
    """The inner rows of a low level [A]; None: they aren't flat."""
    flat_a = record.current_a[_inner(begin, stop)]
    return None if robust_sd(flat_a) > record.still_a else flat_a


def _arrived(record: RunRecord, first: int, begin: int, stop: int, run_a: float) -> int:
    """First row of a low level at which the fall to it is over; ``first``: of all that flows before it."""
    inner = _inner(begin, stop)
    level_a = median_of(record.current_a[inner])
    falling_a = level_a + STILL_FALLING * (run_a - level_a)
    above = record.current_a[begin:stop] > falling_a
    early = np.flatnonzero(above[: inner.start - begin])
    if begin == first or not len(early):
        return begin
    # What settles comes back behind the fall, and is none of it.
    stays = (a for a, b in runs_of(~above) if b - a >= _rows_of_a_touch(record))
    arrived = begin + next(stays, int(early[-1]) + 1)
    # What a motor turns with behind its ramp, and is then switched off to that level, is none of it either.
    turns = record.current_a[arrived:stop] >= max(_too_low(record, run_a), level_a + record.still_a)
    off = arrived + (int(np.argmin(turns)) if not turns.all() else 0)
    return off if off - arrived >= SUSTAINED_SAMPLES and _breaks_off(record, first, off) else arrived


def _steps(record: RunRecord, begin: int, stop: int, level_a: float, run_a: float) -> bool:
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


def _holds(record: RunRecord, begin: int, stop: int) -> bool:
    """Whether these rows are the level that a drive holds its place with, as calm as it is at rest. What the motor's own
    voltage drives turns, light, and holds nothing."""
    holding_a = record.rest.holding_a
    if record.driven is not None and np.mean(record.driven[begin:stop]) > 0.5:
        return False
    inner_a = record.current_a[begin + (stop - begin) // 3 : stop - (stop - begin) // 10]
    if len(inner_a) < SUSTAINED_SAMPLES:
        inner_a = record.current_a[begin:stop]
    if not holding_a or len(inner_a) < SUSTAINED_SAMPLES:
        return False
    near = abs(median_of(inner_a) - holding_a) <= SAME_LEVEL * record.stroke.no_load_a
    return near and robust_sd(inner_a) <= record.still_a


def surges(record: RunRecord, first: int, last: int, before_a: FloatArray) -> bool:
    """Whether a current begins as a motor does that stood still before, or may: one cut off flat shows no surge."""
    if median_of(before_a) >= ALMOST * float(record.current_a.max()):
        return True
    begins = record.current_a[first : min(last, first + max(3, int(PAUSE_S / record.period_s))) + 1]
    return float(begins.max()) >= SMALLEST_PEAK * median_of(before_a)


def late(record: RunRecord, first: int, stop: int) -> FloatArray:
    """The last third of a movement: what it drew when its own start was over."""
    return record.current_a[max(0, stop - max(SUSTAINED_SAMPLES, (stop - first) // 3)) : stop]


def without_what_flowed_before(record: RunRecord, before: CurrentRun, piece: CurrentRun) -> CurrentRun:
    """The piece from where it leaves what flowed on after the end before it, right up to its start: without its first rows
    where they are still that, and with those before it that a soft start has raised already."""
    if not before.residual_a or record.lasted_s(before.over, piece.first) > SWITCHED_S:
        return piece
    rises_a = SURELY_HIGHER * before.residual_a + record.still_a
    low = np.flatnonzero(record.current_a[before.last + 1 : piece.first] <= rises_a)
    begins = before.last + 2 + int(low[-1]) if len(low) else piece.first
    higher = np.flatnonzero(record.current_a[begins : piece.last + 1] > rises_a)
    return replace(piece, first=begins + int(higher[0])) if len(higher) else piece


def is_residual(record: RunRecord, before: CurrentRun, piece: CurrentRun) -> bool:
    """Whether a piece is a current that flowed on after the end before it, too low for a motor to turn."""
    highest_a = record.highest_a(piece)
    between_a = record.current_a[before.over + 1 : piece.first]
    late_s = record.lasted_s(before.over, piece.first) - 2.0 * record.period_s
    # Where rows were lost nothing shows that anything flowed on.
    apart = late_s > PAUSE_S and (not len(between_a) or median_of(between_a) < 0.5 * highest_a)
    if (
        highest_a < TURNS * record.stroke.no_load_a
        and _flat_level(record, piece.first, piece.last + 1) is not None
    ):
        apart = False  # however late it comes on, flat and without a start it turns no motor
    too_low_a = max(TURNS * record.stroke.no_load_a, SURELY_HIGHER * before.residual_a + record.still_a)
    if apart or not (highest_a < too_low_a or only_holds(record, piece)):
        return False
    # As high as the run itself, it may be the run, which the board's range cut off.
    return highest_a < record.level_a(before.first, before.last) and _drove(record, before)


def only_holds(record: RunRecord, piece: CurrentRun) -> bool:
    """Whether a piece is nothing but the current that a drive holds its place with: no start goes before it."""
    starts = record.highest_a(piece) > SURELY_HIGHER * record.rest.holding_a + record.still_a
    return not starts and _holds(record, piece.first, piece.last + 1)


def _drove(record: RunRecord, run: CurrentRun) -> bool:
    """Whether a motor of this rating stood or turned in it; else it is the start of a run lighter than its rating says."""
    if record.stands_at_the_end(run.first, run.last) or (record.share(run.first, run.last) >= JOG):
        return True
    # The current of a start falls all the way down to such a run; that of a jog is cut off.
    turns_a = TURNS * record.stroke.no_load_a
    late_a = record.current_a[run.last - (run.last - run.first) // 3 : run.last + 1]
    if median_of(late_a) >= turns_a:
        return True
    high = np.flatnonzero(record.current_a[run.first : run.last + 1] >= turns_a)
    low = run.first + int(high[-1]) + 1 if len(high) else run.first
    return low <= run.last and _breaks_off(record, run.first, low)


def with_residual(record: RunRecord, before: CurrentRun, piece: CurrentRun) -> CurrentRun:
    """The run, ended where its current fell to what flowed on."""
    if before.residual_a:
        return replace(before, over=piece.over)
    residual_a = median_of(record.current_a[piece.first : piece.last + 1])
    current_a = record.current_a[before.first : before.last + 1]
    falling_a = residual_a + STILL_FALLING * (median_of(current_a) - residual_a)
    high = np.flatnonzero(current_a > falling_a)
    last = (
        before.first + int(high[-1]) if len(high) else before.last
    )  # in so much noise nothing shows the fall
    return replace(before, last=last, over=piece.over, residual_a=residual_a)


def with_what_flowed_on(record: RunRecord, run: CurrentRun) -> CurrentRun:
    """The level of what belongs to the end, where it lasted and is no contact's bounce."""
    if run.residual_a or run.bounced_s or record.lasted_s(run.last, run.over) < END_S:
        return run
    level_a = median_of(record.current_a[run.last + 1 : run.over + 1])
    return replace(run, residual_a=level_a) if level_a > SAME_LEVEL * record.stroke.no_load_a else run
