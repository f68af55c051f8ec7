"""Which runs of current in a record are movements: broken ones joined, echoes and braking given to the end before them.

A movement is any run of current that isn't rest. A contact that opens in mid-throw breaks one; somebody who lets go
and starts again makes two. What a limit contact's bounce or a drive's settling adds within 0.3 s of an end belongs to the
movement, but doesn't lengthen it.

Where a current flows at rest a record is read a second time: a movement is all that isn't that calm level. If that current
stops while the motor runs, as one does that holds a drive's place, the motor's own may fall to that level in mid-throw, or
below it: by the first reading, with that level taken off, a movement then ends there, comes in pieces or begins late. Nobody
can tell from the record whether it stops. What is one movement by the second reading is one, and its start and its end lie
between those of both.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from throwbook.core.analysis.breaks import LONGEST_S
from throwbook.core.analysis.residual_current import (
    ABOUT,
    ABOVE_RATED,
    JOG,
    PAUSE_S,
    SETTLED_S,
    SURELY_HIGHER,
    SUSTAINED_SAMPLES,
    SWITCHED_S,
    TURNS,
    WHOLE,
    CurrentRun,
    FullStroke,
    RunRecord,
    is_residual,
    late,
    only_holds,
    surges,
    with_residual,
    with_what_flowed_on,
    without_residuals,
    without_what_flowed_before,
)
from throwbook.core.analysis.rest import (
    ABOUT_AS_CALM,
    BRAKED_S,
    CALM,
    END_S,
    FEWEST_NOISE_ROWS,
    FEWEST_REST_ROWS,
    FLAT,
    MOST_SMOOTHED,
    NO_OFFSET,
    NOISE_SIGMAS,
    REST_SHARE,
    SAME_LEVEL,
    Rest,
    smoothing_width,
    undriven_rows,
)
from throwbook.core.quantities.statistics import median_of, moving_mean, resolution_step, robust_sd, runs_of
from throwbook.core.trace import FloatArray, Trace

SHORTEST_S = 0.03
"""Shorter than this is a burst of interference or a contact's touch: no motor moves anything in it (*practice*)."""
MANY_PAUSES = 3
"""A movement broken off more often than this breaks off by itself: one more opening isn't its limit contact's (*assumed*)."""
BRAKES_WITH = 0.95
"""The load that a drive works against as it starts helps it to stop: it brakes with less than this of its start (*assumed*)."""


def movement_threshold(rest: Rest, no_load_current_a: float) -> float:
    """The smoothed current beyond which there is a movement [A]; lower where the rest itself is a current that the motor's
    own may take the place of."""
    noise_a = NOISE_SIGMAS * rest.noise_a / float(np.sqrt(rows_smoothed(rest, no_load_current_a)))
    share = SAME_LEVEL if _is_held(rest, no_load_current_a) else REST_SHARE
    return min(max(share * no_load_current_a, noise_a), 0.8 * no_load_current_a)


def rows_smoothed(rest: Rest, no_load_current_a: float) -> int:
    """Rows over which the current is averaged before it is held against ``movement_threshold``."""
    width = smoothing_width(rest.noise_a, no_load_current_a)
    if not _is_held(rest, no_load_current_a):
        return width
    needed = (NOISE_SIGMAS * rest.noise_a / (SAME_LEVEL * no_load_current_a)) ** 2
    return max(width, int(np.ceil(min(needed, MOST_SMOOTHED))))


def _is_held(rest: Rest, no_load_current_a: float) -> bool:
    return abs(rest.level_a) > NO_OFFSET * no_load_current_a


def flows_at_rest(rest: Rest, no_load_a: float) -> bool:
    """Whether more flows at rest than a sensor drifts by, and single rows show it."""
    return abs(rest.level_a) > SAME_LEVEL * no_load_a and smoothing_width(rest.noise_a, no_load_a) == 1


def departures(trace: Trace, rest: Rest, period_s: float, no_load_a: float) -> list[tuple[int, int]]:
    """First and last row of every stretch that isn't the calm level at rest.

    A drive may hold its place with the sign of its last movement: as much the other way is rest too, where a start leaves it
    and no voltage drives the motor.
    """
    current_a = trace.current_a
    gone = None if trace.voltage_v is None else undriven_rows(trace.voltage_v)
    driven = np.zeros(len(current_a), dtype=np.bool_) if gone is None or not gone.any() else ~gone
    band_a = NOISE_SIGMAS * rest.noise_a + FLAT * no_load_a
    at_rest = np.abs(current_a - rest.level_a) <= band_a
    fewest = max(FEWEST_REST_ROWS, int(END_S / period_s))
    away = np.ones(len(current_a), dtype=np.bool_)
    for a, b in runs_of(at_rest):
        if b - a >= fewest or a == 0 or b == len(away):
            away[a:b] = False
    other_way = np.abs(current_a + rest.level_a) <= band_a + SAME_LEVEL * no_load_a
    for a, b in runs_of(other_way):
        lasts = b - a >= fewest and (b - a + 2) * period_s >= BRAKED_S
        # Single rows may lie there by their noise; the level of them all doesn't.
        level_off_a = abs(median_of(current_a[a:b]) + rest.level_a) if lasts else np.inf
        by_chance_a = NOISE_SIGMAS * rest.noise_a / np.sqrt(b - a)
        stands = level_off_a <= SAME_LEVEL * no_load_a + by_chance_a
        calm = stands and robust_sd(np.diff(current_a[a:b])) <= np.sqrt(2.0) * (
            ABOUT_AS_CALM * rest.noise_a + resolution_step(current_a[:500])
        )
        behind = at_rest[b + 1 : b + 1 + fewest]
        if calm and not (len(behind) and behind.all()) and np.mean(driven[a:b]) < 0.5:
            away[a:b] = False
    return [(a, b - 1) for a, b in runs_of(away) if b - a >= SUSTAINED_SAMPLES]


def joined_by_departures(
    pieces: Sequence[CurrentRun],
    stretches: Sequence[tuple[int, int]],
    read_a: FloatArray,
    level_a: float,
    records: Mapping[int, RunRecord],
) -> list[CurrentRun]:
    """The pieces of the first reading, those of one departure as one movement.

    ``read_a``: shape (n,) as read, ``level_a``: the level at rest [A]; ``records``: by the way of the current.
    """
    current_a = read_a - level_a
    joined: list[CurrentRun] = []
    in_order = sorted(pieces, key=lambda each: each.first)  # none lies over another
    for a, b in stretches:
        begin = bisect_left(in_order, a, key=lambda each: each.last)
        here = in_order[begin : bisect_right(in_order, b, key=lambda each: each.first)]
        if not here:
            continue
        charges = {
            way: sum(float(way * current_a[p.first : p.last + 1].sum()) for p in here if p.way == way)
            for way in (1, -1)
        }
        way = max(charges, key=lambda each: charges[each])
        same = sorted((each for each in here if each.way == way), key=lambda each: each.first)
        same, a, b = _that_turn(same, a, b, read_a, records[way])
        same, b = _without_bounce(same, b, read_a, records[way])
        for number, group in enumerate(groups := _apart(same, read_a, records[way])):
            begin = a if number == 0 else group[0].first
            stop = b if number == len(groups) - 1 else group[-1].last
            joined.append(_as_one(group, begin, stop, current_a, records[way]))
    return joined


def _that_turn(
    pieces: list[CurrentRun], a: int, b: int, read_a: FloatArray, record: RunRecord
) -> tuple[list[CurrentRun], int, int]:
    """The pieces of one departure, and its first and last row, without what flows on at its ends: flat, and by all that is
    read, nothing taken off, less than a motor turns with."""
    turning = [each for each in pieces if not _only_flows(each, read_a, record)]
    if not turning or len(turning) == len(pieces):
        return pieces, a, b
    inner = [each for each in pieces if turning[0].first <= each.first <= turning[-1].first]
    a = a if inner[0] is pieces[0] else inner[0].first
    return inner, a, b if inner[-1] is pieces[-1] else inner[-1].last


def _without_bounce(
    pieces: list[CurrentRun], b: int, read_a: FloatArray, record: RunRecord
) -> tuple[list[CurrentRun], int]:
    """The pieces of one departure, and its last row, without what bounced at its end: between, by all that is read, no motor
    turned."""
    kept = list(pieces)
    while len(kept) > 1:
        piece, ended = kept[-1], kept[-2]
        before = replace(ended, first=kept[0].first, pauses=len(kept) - 2)
        between_a = piece.way * read_a[ended.last + 1 : piece.first]
        opened = bool(len(between_a)) and median_of(between_a) < TURNS * record.stroke.no_load_a
        if not opened or ended.residual_a or not _is_echo(record, before, ended.first, piece):
            break
        kept[-2:] = [replace(ended, over=piece.last)]
        b = ended.last
    return kept, b


def _only_flows(piece: CurrentRun, read_a: FloatArray, record: RunRecord) -> bool:
    rows_a = piece.way * read_a[piece.first : piece.last + 1]
    return median_of(rows_a) < TURNS * record.stroke.no_load_a and robust_sd(rows_a) <= record.still_a


def _apart(pieces: Sequence[CurrentRun], read_a: FloatArray, record: RunRecord) -> list[list[CurrentRun]]:
    """The pieces of one departure in those that are surely apart: between them all that is read, nothing taken off, is for
    long less than a motor turns with."""
    groups: list[list[CurrentRun]] = []
    for each in pieces:
        if groups:
            before = groups[-1][-1]
            between_a = each.way * read_a[before.last + 1 : each.first]
            low = runs_of(between_a < TURNS * record.stroke.no_load_a)
            longest = max((stop - begin for begin, stop in low), default=0)
            if longest * record.period_s <= LONGEST_S:
                groups[-1].append(each)
                continue
        groups.append([each])
    return groups


def _as_one(
    pieces: Sequence[CurrentRun], a: int, b: int, current_a: FloatArray, record: RunRecord
) -> CurrentRun:
    """The pieces as one movement that begins and ends somewhere between row ``a`` and row ``b``."""
    first, last = max(a, pieces[0].first), min(b, pieces[-1].last)
    over = max(last, pieces[-1].over)
    drove = record.share(first, last) >= JOG and last - first >= b - last
    # What is driven back after an end belongs to it, and doesn't lengthen it.
    drawn = np.flatnonzero(pieces[0].way * current_a[last : b + 1] > 0.0)
    back = last + int(drawn[-1]) if len(drawn) else last
    if drove and _is_rest_too(current_a, first, last, back):
        back = last
    return replace(pieces[-1], first=first, last=last, over=over, left=min(a, first), back=back)


def _is_rest_too(current_a: FloatArray, first: int, last: int, back: int) -> bool:
    """Whether what flows on after ``last`` is another level at rest: calmer than the motor that ran before."""
    after_a = current_a[last + 1 + (back - last) // 4 : back + 1]
    if len(after_a) < FEWEST_NOISE_ROWS:
        return False
    ran_a = current_a[first + (last - first) // 3 : last + 1]
    return robust_sd(after_a) <= CALM * robust_sd(np.diff(ran_a))


def current_runs_of(trace: Trace, rest: Rest, period_s: float, stroke: FullStroke) -> list[CurrentRun]:
    """Every movement of a record, in order."""
    current_a = trace.current_a - rest.level_a
    smooth_a = moving_mean(current_a, rows_smoothed(rest, stroke.no_load_a))
    threshold_a = movement_threshold(rest, stroke.no_load_a)
    found: list[CurrentRun] = []
    pieces: dict[int, list[CurrentRun]] = {}
    records = {
        way: RunRecord(trace.time_s, way * current_a, way * smooth_a, trace.voltage_v, period_s, rest, stroke)
        for way in (1, -1)
    }
    for way, record in records.items():
        moving = record.smooth_a > threshold_a
        runs = [(a, b - 1) for a, b in runs_of(moving) if b - a >= SUSTAINED_SAMPLES]
        kicks = {run for run in runs if _kicks_back(record, *run, threshold_a)}
        found += [CurrentRun(a, b, way, over=b) for a, b in sorted(kicks)]
        pieces[way] = [
            piece for run in runs if run not in kicks for piece in without_residuals(record, way, *run)
        ]
    if flows_at_rest(rest, stroke.no_load_a):
        against_a = NOISE_SIGMAS * rest.noise_a + SAME_LEVEL * stroke.no_load_a
        braked = [each for each in found if _flows_as_read(each, trace.current_a, against_a)]
        stretches = _parted(departures(trace, rest, period_s, stroke.no_load_a), braked)
        others = [each for each in found if each not in braked]
        both = joined_by_departures(
            [*pieces[1], *pieces[-1], *others], stretches, trace.current_a, rest.level_a, records
        )
        pieces = {way: [each for each in both if each.way == way] for way in pieces}
        found = braked
    for way, record in records.items():
        found += [with_what_flowed_on(record, each) for each in _joined(record, pieces[way])]
    found = [each for each in found if _is_no_chance(each, trace.time_s, current_a, rest)]
    found = [each for each in found if not _is_undriven(each, trace, rest, stroke)]
    in_order = _with_what_gave_way(sorted(found, key=lambda each: each.first), trace, rest, stroke)
    return _without_kicks(in_order, trace.time_s, smooth_a, rest, stroke, period_s)


def _flows_as_read(run: CurrentRun, read_a: FloatArray, against_a: float) -> bool:
    """Whether a current flows its way by the readings themselves, no level taken off: what flows at rest and gives way reads
    as one the other way, but never falls below nothing."""
    flows = run.way * read_a[run.first : run.last + 1] > against_a
    return int(np.count_nonzero(flows)) >= SUSTAINED_SAMPLES


def _parted(stretches: Sequence[tuple[int, int]], by: Sequence[CurrentRun]) -> list[tuple[int, int]]:
    """The stretches without those runs: what comes before one and what comes after are stretches of their own."""
    parts = []
    for a, b in stretches:
        for each in sorted(by, key=lambda run: run.first):
            if a <= each.first <= b:
                parts.append((a, each.first - 1))
                a = each.last + 1
        parts.append((a, b))
    return [(a, b) for a, b in parts if b >= a]


def _is_undriven(run: CurrentRun, trace: Trace, rest: Rest, stroke: FullStroke) -> bool:
    """Whether no more than a motor turns with flows for long, flat, while its voltage is next to nothing: it is held."""
    if trace.voltage_v is None or trace.time_s[run.last] - trace.time_s[run.first] < END_S:
        return False
    # What a braked motor drives back dies away first.
    rows = slice(run.first + (run.last - run.first) // 3, run.last + 1)
    gone = undriven_rows(trace.voltage_v)[rows]
    flat = robust_sd(trace.current_a[rows]) <= 3.0 * rest.noise_a + FLAT * stroke.no_load_a
    return flat and bool(gone.all()) and abs(median_of(trace.current_a[rows])) <= stroke.full_load_a


def _with_what_gave_way(
    runs: list[CurrentRun], trace: Trace, rest: Rest, stroke: FullStroke
) -> list[CurrentRun]:
    """A held current that gives way as the motor starts reads like a moment of current the other way: it is the start."""
    kept: list[CurrentRun] = []
    for each in runs:
        before = kept[-1] if kept else None
        if (
            before is not None
            and _is_held(rest, stroke.no_load_a)
            and before.way * rest.level_a < 0.0 < each.way * rest.level_a
            and trace.time_s[before.last] - trace.time_s[before.first] <= PAUSE_S
            and trace.time_s[each.first] - trace.time_s[before.last] <= PAUSE_S
            and bool((trace.current_a[before.first : before.last + 1] * rest.level_a > 0.0).all())
        ):
            each = replace(each, first=before.first)
            kept.pop()
        kept.append(each)
    return kept


def _kicks_back(record: RunRecord, first: int, last: int, threshold_a: float) -> bool:
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


def _is_no_chance(run: CurrentRun, time_s: FloatArray, current_a: FloatArray, rest: Rest) -> bool:
    """Whether a run lasts longer than a touch, and stands out of the noise as a whole, not by one reading alone."""
    rows = current_a[run.first : run.last + 1]
    total_a = float(rows.sum())
    others_a = total_a - float(rows[np.argmax(np.abs(rows))])  # smoothing spreads a lone reading over rows
    least_a = NOISE_SIGMAS * rest.noise_a / np.sqrt(len(rows))
    stands_out = min(abs(total_a) / len(rows), abs(others_a) / max(len(rows) - 1, 1)) >= least_a
    return stands_out and bool(time_s[run.last] - time_s[run.first] >= SHORTEST_S)


def _joined(record: RunRecord, pieces: list[CurrentRun]) -> list[CurrentRun]:
    """The pieces of one way with breaks joined, and what follows an end without a motor turning given to that end."""
    found: list[CurrentRun] = []
    begun = 0  # first row of the unbroken current that the last of ``found`` ends with
    for piece in pieces:
        before = found[-1] if found else None
        if before is not None and _is_echo(record, before, begun, piece):
            found[-1] = _with_echo(record, before, piece)
            continue
        if before is not None:
            flows = with_what_flowed_on(record, before)  # noise may cut it into many pieces
            if is_residual(record, flows, piece):
                ended = found[-1] = with_residual(record, before, piece)
                begun = begun if begun <= ended.last else ended.first
                continue
            piece = without_what_flowed_before(record, flows, piece)
        if only_holds(record, piece):
            continue  # since a movement that the record doesn't show, or one the other way
        begun = piece.first
        if before is not None and not before.residual_a and _goes_on(record, before, piece):
            found[-1] = replace(piece, first=before.first, left=before.left, pauses=before.pauses + 1)
        else:
            found.append(piece)
    return found


def _is_echo(record: RunRecord, before: CurrentRun, begun: int, piece: CurrentRun) -> bool:
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
        not before.residual_a  # what comes out of a current that flows on was switched on
        and record.lasted_s(before.over, piece.first) <= soon_s
        and over_s <= PAUSE_S + SETTLED_S + record.period_s
    )
    return settling and lower


def _flows_later(record: RunRecord, piece: CurrentRun) -> bool:
    """Whether something flows on when all that bounces or settles after an end is long over.

    What comes on after a rest is the next movement: brushes that jump leave none.
    """
    since, until = np.searchsorted(
        record.time_s, record.time_s[piece.last] + np.array([0.0, PAUSE_S + 2.0 * record.period_s])
    )
    flows = record.current_a[since:until] > REST_SHARE * record.stroke.no_load_a
    rests = max((b - a for a, b in runs_of(~flows)), default=0) * record.period_s
    return bool(len(flows)) and rests <= max(SWITCHED_S, 2.0 * record.period_s)


def _drops_out(record: RunRecord, first: int, last: int) -> bool:
    """Whether a lone reading of this current fell out of it, down to nothing, before."""
    gone = record.current_a[first : last + 1] <= REST_SHARE * record.stroke.no_load_a
    return any(b - a == 1 for a, b in runs_of(gone))


def _with_echo(record: RunRecord, before: CurrentRun, piece: CurrentRun) -> CurrentRun:
    level_a = median_of(record.current_a[before.first : before.last + 1])
    contact = float(record.current_a[piece.first : piece.last + 1].max()) >= level_a
    bounced_s = record.lasted_s(before.last, piece.last) if contact else before.bounced_s
    return replace(before, over=piece.last, bounced_s=bounced_s)


def _goes_on(record: RunRecord, before: CurrentRun, after: CurrentRun) -> bool:
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
    gap_s = record.lasted_s(before.last, after.first)
    if gap_s <= SWITCHED_S:
        return True
    share, more = record.share(before.first, before.last), record.share(after.first, after.last)
    if min(share, more) > WHOLE:
        return False
    if after.first - before.last <= SUSTAINED_SAMPLES:
        return True
    if gap_s > LONGEST_S + 2.0 * record.period_s or record.at_stall_level(after.first, after.last):
        return False
    if share + more > 1.0 + 2.0 * record.stroke.u:
        return False
    if gap_s <= PAUSE_S:
        return True
    if after.last >= len(record.time_s) - 1:
        return False
    if before.first == 0:
        return gap_s <= PAUSE_S + 2.0 * record.period_s  # how much the record lacks of it nobody knows
    jogged = share < JOG and more > max(WHOLE, 1.0 - 2.0 * record.stroke.u)
    nearer = abs(share + more - 1.0) < min(abs(share - 1.0), abs(more - 1.0))
    return (
        nearer
        and not jogged
        and (
            record.lasted_s(after.first, after.last) >= PAUSE_S
            or surges(record, after.first, after.last, late(record, before.first, before.last + 1))
        )
    )


def _without_kicks(
    runs: list[CurrentRun],
    time_s: FloatArray,
    current_a: FloatArray,
    rest: Rest,
    stroke: FullStroke,
    period_s: float,
) -> list[CurrentRun]:
    """A motor braked by its own switch drives a current back for up to 0.3 s, one braked by its drive down a ramp for
    longer: that belongs to the end before it, and so does what bounces, settles or flows on behind it."""
    kept: list[CurrentRun] = []
    for each in runs:
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
    braked_a = before.way * current_a[before.last + 1 : before.over + 1]
    if len(braked_a) and median_of(braked_a) < 0.0:
        # It braked already, and its ripple came down to nothing for a moment.
        sooner = time_s[after.first] - time_s[before.over] < PAUSE_S
        lasted_s = float(time_s[after.last] - time_s[before.last])
    if after.way == before.way or not sooner or lasted_s > PAUSE_S + SETTLED_S:
        return False
    highest_a = float(np.abs(current_a[before.first : before.last + 1]).max())
    return float(np.abs(current_a[after.first : after.last + 1]).max()) < BRAKES_WITH * highest_a
