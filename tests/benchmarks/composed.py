"""Records that hold more than one clean throw: does a hidden fault ever pass clean, is every movement judged?

    nice python -m tests.benchmarks.composed [--records 10000] [--first 0] [--misses] [--only SEED [--csv FILE]]

Each rig gets a baseline of four throws in each direction and then 25 records of one to three movements with 0.3 to 5 s
between them: all healthy in half of them, else with a stall, a stall and a retry, a throw stopped short, a light run or a
jog somewhere. Half of the machines are the simulator's, half are machines of other equations. A third have other currents
laid on (standing, holding, bounce at the limit switch ...), nearly half a damage of board, line or clock. Damages of the
line go as bytes through protocol and trial record, as in a recording. The truth is that of the physics.

- *hidden fault*: a movement isn't healthy. Such a record must not be ``pass``.
- *unfit record*: healthy, but the record lacks a part or is cut off flat. It must not be ``pass`` either.
- *sound*: healthy, and the board's flaw is one that a good tool sees through. It must not be flagged (watch or worse).
- *open*: healthy with a wrong clock: it may be told or flagged.

``--only`` makes one record again and tells all of it; ``--csv`` writes it as a trace file.
"""

import argparse
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, fields
from pathlib import Path

import numpy as np

from tests.benchmarks.composed_boards import Reached, jumped_by, reach
from tests.benchmarks.composed_motions import (
    BASELINE_THROWS,
    HEALTHY,
    JOG,
    SHORT,
    STALL,
    Machine,
    Rng,
    foreign_machines,
    simulated,
)
from tests.benchmarks.composed_records import (
    FAULTY,
    PLAIN,
    SOUND,
    UNFIT,
    Board,
    Laid,
    Plan,
    draw_board,
    draw_rate,
    plan_record,
    plan_single,
)
from tests.benchmarks.coverage import Coverage, coverage_rows, figure_of, furthest
from tests.benchmarks.table import Row, all_met, print_table
from throwbook.core.analysis.baseline import Baseline, make_baseline
from throwbook.core.assessment import (
    CUT_OFF,
    FAIL,
    PASS,
    UNDECIDED,
    UNUSABLE,
    WATCH,
    Assessment,
    worst_of,
)
from throwbook.core.assessment import STALL as STALLED
from throwbook.core.diagnosis.assess import assess_record, assess_trace
from throwbook.core.rig import DIRECTIONS
from throwbook.errors import InputError
from throwbook.files.trace_file import write_trace

RECORDS_A_RIG = 25
RIGS_AT_ONCE = 8
"""Foreign machines are stepped together; half of the rigs are foreign."""
FLAGGED = (WATCH, UNUSABLE, FAIL)
BREAK_S = 1.0
"""A longer break of the current never belongs to one throw."""
SUPPLY_HIDES_FROM = 0.72
"""Without a voltage, between an empty battery and a running engine: a throw of more than this share of the stroke."""
EDGE_S = 0.3
"""An edge that lies no further outside a movement may be its own: there are at least 0.3 s between two."""
BROKE = "broke"
"""The tool raised something else than a refusal."""
REFUSED = "refused"


@dataclass(frozen=True, eq=False)
class Rig:
    """A machine with its board and the baselines of both directions."""

    machine: Machine
    board: Board
    baselines: dict[str, Baseline]


@dataclass
class Tally:
    """Counts of any number of records."""

    records: Counter = field(default_factory=Counter)
    """By fitness."""
    passed: Counter = field(default_factory=Counter)
    flagged: int = 0
    undecided: int = 0
    broke: int = 0
    movements: int = 0
    movements_seen: int = 0
    no_baseline: int = 0
    misses: list[tuple[str, str, int, str]] = field(default_factory=list)
    """(what, by which kind, seed, more)"""
    coverage: Coverage = field(default_factory=Coverage)

    def add(self, other: "Tally") -> None:
        for each in fields(self):
            mine, theirs = getattr(self, each.name), getattr(other, each.name)
            if isinstance(mine, Counter):
                mine.update(theirs)
            elif isinstance(mine, list):
                mine.extend(theirs)
            elif isinstance(mine, Coverage):
                mine.add(theirs)
            else:
                setattr(self, each.name, mine + theirs)


# ---- rigs and records ----


def rigs_of(seeds: list[int]) -> dict[int, Rig]:
    """The rigs of these seeds; each is the same whatever others are made with it."""
    rngs = {seed: np.random.default_rng([2031, seed]) for seed in seeds}
    rates = {seed: draw_rate(rng) for seed, rng in rngs.items()}
    odd = [seed for seed in seeds if seed % 2]
    machines = {seed: simulated(rngs[seed], rates[seed]) for seed in seeds if not seed % 2}
    if odd:
        machines |= dict(zip(odd, foreign_machines([rngs[seed] for seed in odd]), strict=True))
    return {seed: _with_baseline(machines[seed], rates[seed], rngs[seed]) for seed in seeds}


def _with_baseline(machine: Machine, rate_hz: float, rng: Rng) -> Rig:
    board = draw_board(rng, machine, rate_hz)
    baselines = {}
    for direction in DIRECTIONS:
        trials = []
        for motion in machine.pool[HEALTHY, direction][:BASELINE_THROWS]:
            plan = plan_single(0, motion, board, rng)
            came = reach(plan, machine, board, rng, machine.ambient_c[0])
            trials.append(assess_trace(came.trace, machine.rig))
        try:
            baselines[direction] = make_baseline(trials, "composed")
        except InputError:
            continue
    return Rig(machine, board, baselines)


def planned(seed: int, rig: Rig) -> tuple[Plan, Rng]:
    """Record ``seed`` of its rig, and the generator that goes on with it."""
    rng = np.random.default_rng([2032, seed])
    return plan_record(seed, rig.machine, rig.board, rng), rng


def some_records(seeds: tuple[int, ...]) -> Tally:
    """Every record of these rigs."""
    tally = Tally()
    for number, rig in rigs_of(list(seeds)).items():
        tally.no_baseline += len(rig.baselines) < len(DIRECTIONS)
        for k in range(RECORDS_A_RIG):
            one_record(number * RECORDS_A_RIG + k, rig, tally)
    return tally


def one_record(seed: int, rig: Rig, tally: Tally) -> tuple[Plan, Reached | None, tuple[Assessment, ...]]:
    """Make, judge and count one record."""
    plan, rng = planned(seed, rig)
    came, judged, verdict = None, (), REFUSED
    try:
        came = reach(plan, rig.machine, rig.board, rng, rig.machine.ambient_c[1])
        judged = assess_record(came.trace, rig.machine.rig, rig.baselines)
        verdict = worst_of(judged).verdict
    except InputError as refusal:
        why = str(refusal)
    except Exception as error:  # whatever it is, the figure is that it broke
        verdict, why = BROKE, repr(error)
    else:
        why = "; ".join(f"{each.verdict}: {each.because}" for each in judged if each.verdict == verdict)
    _count(tally, plan, verdict, why, rig)
    found = matches(plan, came, judged) if came else [None] * len(plan.movements)
    tally.movements += len(found)
    tally.movements_seen += sum(each is not None for each in found)
    different = len({id(each) for each in found})
    if None in found or len(judged) != different:
        which = ", ".join(
            each.motion.kind for each, one in zip(plan.movements, found, strict=True) if not one
        )
        tally.misses.append(
            (
                "movement not found" if which else "movement too many",
                _laid(plan),
                seed,
                f"{len(judged)} for {len(found)}: {which}",
            )
        )
        tally.movements_seen -= not which
    for laid, one in zip(plan.movements, found, strict=True):
        if one is not None and came is not None and sum(each is one for each in found) == 1:
            _see_figures(tally.coverage, plan, laid, one, came, rig)
    return plan, came, judged


def _count(tally: Tally, plan: Plan, verdict: str, why: str, rig: Rig) -> None:
    fitness = plan.fitness
    if plan.board == "range below the run" and fitness == UNFIT and plan.clipped_share < 0.01:
        fitness = "open"  # the highest of the run was hardly touched
    if (
        fitness == FAULTY
        and set(plan.kinds) <= {HEALTHY, "light run"}
        and len(rig.baselines) < len(DIRECTIONS)
    ):
        fitness = "open"  # without a baseline a light mechanism looks the same
    if fitness == FAULTY and not rig.board.voltage and _only_a_little_short(plan):
        fitness = "open"
    tally.records[fitness] += 1
    tally.passed[fitness] += verdict == PASS
    if verdict == BROKE:
        tally.broke += 1
        tally.misses.append(("broke", _laid(plan), plan.seed, why))
    elif fitness in (FAULTY, UNFIT) and verdict == PASS:
        kinds = "+".join(plan.kinds) if fitness == FAULTY else "healthy"
        tally.misses.append((f"{fitness} passes clean", f"{kinds} / {_laid(plan)}", plan.seed, ""))
    if fitness != SOUND:
        return
    tally.undecided += verdict == UNDECIDED
    tally.flagged += verdict in (*FLAGGED, REFUSED, BROKE)
    if verdict not in (PASS, BROKE):
        what = "sound but undecided" if verdict == UNDECIDED else "sound but flagged"
        tally.misses.append((what, _laid(plan), plan.seed, f"{verdict}: {why}"))


def _only_a_little_short(plan: Plan) -> bool:
    """Whether all that is wrong is a throw stopped so near its end that another day's supply explains its time."""
    faulty = [each.motion for each in plan.movements if each.motion.kind != HEALTHY]
    return all(each.kind == SHORT and each.share > SUPPLY_HIDES_FROM for each in faulty)


def _laid(plan: Plan) -> str:
    odd = [each for each in (plan.on_current, plan.board) if each != PLAIN]
    return " + ".join(odd) or PLAIN


# ---- which assessment is of which movement ----


def matches(plan: Plan, came: Reached, judged: tuple[Assessment, ...]) -> list[Assessment | None]:
    """For each true movement the assessment of it; None where none is of it alone.

    A movement is found where one assessment's start and end lie in it or over it, and in no other movement (but for two
    that may be taken for one throw broken off). One that
    gives neither (it can't be judged) counts by its place in the order, if the numbers agree; so does one that gives one of
    them beside such a one, if that one lies in the movement.
    """
    spans = _spans(judged)
    true = [_seen_span(plan, each, came.first_s) for each in plan.movements]
    found: list[Assessment | None] = []
    for number, here in enumerate(true):
        over = [k for k, span in enumerate(spans) if _covers(span, here)]
        under = [k for k, other in enumerate(true) if len(over) == 1 and _covers(spans[over[0]], other)]
        if len(under) == 1 or _one_throw(plan, under):
            found.append(judged[over[0]])
        elif (
            not over
            and len(judged) == len(true)
            and spans[number] is None
            and all(here[0] - EDGE_S <= at_s <= here[1] + EDGE_S for at_s in _edges(judged[number]))
        ):
            found.append(judged[number])
        else:
            found.append(None)
    return found


def _one_throw(plan: Plan, numbers: list[int]) -> bool:
    """Whether these movements may be taken for one throw with its current broken off for a moment: the first one turned,
    the break was short, and together they come nearer to one stroke than either."""
    if len(numbers) != 2 or plan.kinds[numbers[0]] not in (SHORT, JOG):
        return False
    first, second = (plan.movements[number] for number in numbers)
    off_by = [abs(1.0 - part) for part in (first.motion.share, second.motion.share)]
    together = abs(1.0 - first.motion.share - second.motion.share)
    return second.start_s - first.off_s < BREAK_S and together < min(off_by)


def _spans(judged: tuple[Assessment, ...]) -> list[tuple[float, float] | None]:
    """Start and end of each; what one doesn't give reaches to its neighbour, and so does a motor that stands: its end is
    where it came to stand, not where its current went. None: it gives neither, or nobody knows how far it reaches because
    its neighbour gives neither. One alone reaches over the whole record."""
    if len(judged) == 1 and not _edges(judged[0]):
        return [(-np.inf, np.inf)]
    known = [(each.figures.start_s, None if each.end == STALLED else each.figures.end_s) for each in judged]
    unplaced = [start is None and end is None for start, end in known]
    spans: list[tuple[float, float] | None] = []
    for k, (start, end) in enumerate(known):
        into_the_next = end is None and any(unplaced[k + 1 : k + 2])
        into_the_last = start is None and k > 0 and unplaced[k - 1]
        if unplaced[k] or into_the_next or into_the_last:
            spans.append(None)
            continue
        before = [e.value for _, e in known[:k] if e is not None]
        after = [s.value for s, _ in known[k + 1 :] if s is not None]
        spans.append(
            (
                start.value if start is not None else max(before, default=-np.inf),
                end.value if end is not None else min(after, default=np.inf),
            )
        )
    return spans


def _edges(one: Assessment) -> list[float]:
    """Those of its start and end that it gives [s]."""
    return [each.value for each in (one.figures.start_s, one.figures.end_s) if each is not None]


def _seen_span(plan: Plan, laid: Laid, first_s: float) -> tuple[float, float]:
    """Begin and end of what the record shows of a movement, by the record's own clock [s]."""
    begin, end = max(laid.start_s, plan.begins_s), min(laid.off_s, plan.ends_s)
    return begin - first_s + float(jumped_by(plan, begin)), end - first_s + float(jumped_by(plan, end))


def _covers(span: tuple[float, float] | None, movement: tuple[float, float]) -> bool:
    """Whether they share more than a touch."""
    if span is None:
        return False
    return min(span[1], movement[1]) - max(span[0], movement[0]) > 0.05 * (movement[1] - movement[0])


# ---- figures against the truth ----


def _see_figures(
    coverage: Coverage, plan: Plan, laid: Laid, one: Assessment, came: Reached, rig: Rig
) -> None:
    """True values against the stated ±, for a movement that this record shows from start to end."""
    motion = laid.motion
    whole = laid.start_s >= plan.begins_s and laid.off_s <= plan.ends_s
    if not whole or (plan.board == "clock jumps" and not plan.stream):
        return  # without sample numbers nothing tells a jump of the clock from missing rows
    label = (
        f"{motion.kind}, {rig.machine.source}, {rig.board.rate_hz:.0f} Hz, {_laid(plan)}, --only {plan.seed}"
    )
    figures = one.figures
    if motion.kind not in (STALL, "stall at the start") and one.end == CUT_OFF:
        coverage.see("travel time", figures.travel_time_s, *motion.end_s, label)
        # A current that holds before and after: whether it is part of the run's is nobody's to know.
        hold_a = plan.hold_a
        if motion.run_a and motion.peak_a:
            coverage.see(
                "running current", figures.run_current_a, motion.run_a[0] - hold_a, motion.run_a[1], label
            )
            coverage.see(
                "peak", figures.peak_run_current_a, motion.peak_a[0] - hold_a, motion.peak_a[1], label
            )
        if motion.inrush_a:
            coverage.see("inrush", figures.inrush_a, motion.inrush_a[0] - hold_a, motion.inrush_a[1], label)
    for sign in one.signs:
        if sign.sign in ("stall", "stopped-short") and motion.kind in (STALL, SHORT):
            place = figure_of(sign.at_fraction, sign.at_fraction_u)
            if place is not None:
                coverage.see("place", place, motion.share, motion.share, label)


# ---- what is printed ----


def share(part: float, whole: float) -> float:
    """Per cent."""
    return 100.0 * part / max(whole, 1)


def rows(tally: Tally) -> list[Row]:
    """Every figure with its floor."""
    faulty, unfit, sound = (tally.records[kind] for kind in (FAULTY, UNFIT, SOUND))
    leaks, unfit_leaks = tally.passed[FAULTY], tally.passed[UNFIT]
    flagged, found = share(tally.flagged, sound), share(tally.movements_seen, tally.movements)
    return [
        Row("records with a hidden fault that pass clean", "0", f"{leaks} of {faulty:,}", leaks == 0),
        Row("unfit records that pass clean", "0", f"{unfit_leaks} of {unfit:,}", unfit_leaks == 0),
        Row("sound records flagged", "0.5 %", f"{flagged:.2f} % of {sound:,}", flagged <= 0.5),
        Row("sound records undecided", "", f"{share(tally.undecided, sound):.2f} % of {sound:,}", True),
        Row("movements found", "99.5 %", f"{found:.2f} % of {tally.movements:,}", found >= 99.5),
        Row("records that the computation broke on", "0", f"{tally.broke}", tally.broke == 0),
        *coverage_rows(tally.coverage),
    ]


def by_kind(tally: Tally, seeds: int = 5) -> str:
    """The misses by kind, the most frequent first, with a few seeds."""
    kinds: dict[tuple[str, str], list[int]] = {}
    for what, kind, seed, _ in tally.misses:
        kinds.setdefault((what, kind), []).append(seed)
    lines = []
    for (what, kind), found in sorted(kinds.items(), key=lambda item: (item[0][0], -len(item[1]))):
        some = " ".join(map(str, found[:seeds]))
        lines.append(f"  {what:34s} {len(found):4d}  {kind}: {some}")
    return "\n".join(lines)


def tell(seed: int, csv: Path | None) -> None:
    """One record with its truth and what is said of it."""
    number = seed // RECORDS_A_RIG
    rig = rigs_of([number])[number]
    plan, came, judged = one_record(seed, rig, tally := Tally())
    board = rig.board
    print(
        f"record {seed}: {plan.fitness}; {plan.layout}; {_laid(plan)}; {rig.machine.source}, {board.rate_hz:.0f} Hz"
    )
    act = rig.machine.rig.actuator
    print(
        f"  rating: no load {act.no_load_current_a:.3g} A, full load {act.full_load_current_a:.3g} A, run {rig.machine.run_a:.3g} A;"
        f" board at the {rig.machine.rig.board.placed_in}, noise {board.noise_a:.2g} A, step {board.step_a:.2g} A,"
        f" range {plan.full_scale_a:.3g} A; baselines {sorted(rig.baselines)}; choices {plan.choices}"
    )
    first_s = came.first_s if came else 0.0
    for each in plan.movements:
        m = each.motion
        print(
            f"  true: {each.start_s - first_s:8.3f} to {each.off_s - first_s:8.3f} s  {m.kind} ({m.direction}), {m.share:.2f} of the"
            f" stroke, lasts {m.end_s} s, run {m.run_a}, peak {m.peak_a}, inrush {m.inrush_a}"
        )
    for one in judged:
        print(f"  judged: {one.verdict}, end {one.end}, {one.direction}: {one.because} {one.notes}")
        for name, figure in one.figures.items():
            if figure is not None and name in (
                "start_s",
                "end_s",
                "travel_time_s",
                "run_current_a",
                "peak_run_current_a",
                "inrush_a",
            ):
                print(f"      {name} {figure.value:.4f} ± {figure.u:.4f}")
        for sign in one.signs:
            print(f"      {sign.sign} ({sign.level}): {sign.because}")
    print(*(f"  MISS {what}: {why}" for what, _, _, why in tally.misses), sep="\n")
    print(furthest(tally.coverage))
    if csv and came:
        write_trace(came.trace, csv)


def run(records: int, first: int = 0, workers: int = 2) -> Tally:
    """Records ``first`` and after, whole rigs, spread over processes."""
    tally = Tally()
    begin = first // RECORDS_A_RIG
    rigs = range(begin, begin + -(-records // RECORDS_A_RIG))
    lots = [tuple(rigs[k : k + RIGS_AT_ONCE]) for k in range(0, len(rigs), RIGS_AT_ONCE)]
    with ProcessPoolExecutor(workers) as pool:
        for one in pool.map(some_records, lots):
            tally.add(one)
    return tally


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--records", type=int, default=10_000)
    parser.add_argument("--first", type=int, default=0, help="seed of the first record")
    parser.add_argument("--misses", action="store_true", help="list every miss")
    parser.add_argument("--only", type=int, metavar="SEED", help="make one record again and tell all of it")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="with --only: write its trace")
    asked = parser.parse_args()
    if asked.only is not None:
        tell(asked.only, asked.csv)
        return 0
    tally = run(asked.records, asked.first)
    if asked.misses:
        print(*sorted(tally.misses), sep="\n")
    found = rows(tally)
    print_table(f"Composed records, {sum(tally.records.values()):,} of them from {asked.first}", found)
    print(f"records: {dict(tally.records)}; rigs without a baseline in some direction: {tally.no_baseline}")
    print(f"misses by kind, with seeds for --only:\n{by_kind(tally)}")
    print(f"furthest from their ±:\n{furthest(tally.coverage)}")
    return all_met(found)


if __name__ == "__main__":
    sys.exit(main())
