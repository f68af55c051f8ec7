"""Second opinion on single strokes: machines and boards that the project's own simulator knows nothing of.

    nice python -m tests.benchmarks.foreign_strokes [--rigs 60] [--family NAME] [--failures]

Per family: false signs on healthy throws, misses per fault, errors of end, time, running current and place. A miss
counts only where the fault can be seen in the record (``visible``); the others are shown apart.

Development and held-out data, written down on 2026-11-25 before anything was changed for these machines: seeds 0 to 59 of
the families without "other" in their name are for development and may be looked at. ``--held-out`` runs rigs 5000 to
5019 of every family, and of two families of other draws (``drive-other``, ``screw-other``: longer and shorter ramps,
current limits from just above the full-load current, slower and faster winding up, other rates, slower filters, more bounce).
They are run once for a state of the code that is finished, and no rule or number may be changed for what they show.
"""

import argparse
import sys
from collections import Counter, defaultdict
from dataclasses import dataclass

from tests.benchmarks.coverage import Coverage, coverage_rows, figure_of, furthest
from tests.benchmarks.foreign_cases import (
    ENDS,
    FAMILIES,
    HELD_OUT_FAMILIES,
    PLACED,
    SAYS,
    Case,
    build,
)
from tests.benchmarks.table import all_met, print_table
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.assessment import CUT_OFF, FAIL, WATCH, Assessment
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.errors import InputError

HELD_OUT_FIRST = 5000


@dataclass(frozen=True)
class Judged:
    """A case and what the project says of it."""

    case: Case
    told: Assessment
    loud: frozenset[str]
    faults: tuple[str, ...]
    """What is wrong with the answer, by kind."""


WHOLE = ("healthy", "drag", "binding-spot", "light-run", "stopped-short", "free-play", "over-rated")
"""Throws that ran to a cut-off under a good record."""


def judge(family: str, seed: int) -> tuple[list[Judged], str]:
    """All records of one rig through the real computation; the second value tells why a baseline was refused."""
    m, _, cases = build(family, seed)
    first = [assess_trace(c.trace, m.rig) for c in cases if c.fault == "baseline"]
    refused = ""
    try:
        base = make_baseline(first, "foreign")
    except InputError as error:
        base, refused = None, str(error)
    if base is None:
        return [], refused
    out = []
    for case in cases:
        if case.fault == "baseline":
            continue
        told = assess_trace(case.trace, m.rig, base)
        loud = frozenset(s.sign for s in told.signs if s.level in (WATCH, FAIL))
        out.append(Judged(case, told, loud, tuple(_wrong(case, told, loud))))
    return out, ""


def _wrong(case: Case, told: Assessment, loud: frozenset[str]) -> list[str]:
    wrong = []
    known = {s.sign for s in told.signs}
    if case.fault == "healthy":
        wrong += [f"false {name}" for name in sorted(loud)]
        if told.verdict not in ("pass", "undecided") and not loud:
            wrong.append(f"verdict {told.verdict}")
    else:
        asked = SAYS.get(case.fault, {case.fault})
        if not asked & (
            known if case.fault == "gaps" else loud | (known & {"cut-record", "noisy", "clipped"})
        ):
            wrong.append("miss" if case.visible else "unseen")
    if told.end not in ENDS.get(case.fault, {"cut-off"}) and case.fault not in ("noisy",):
        wrong.append(f"end {told.end}")
    if not told.usable:
        return wrong + (["unusable"] if case.fault in ("healthy", "drag", "binding-spot") else [])
    f = told.figures
    if case.fault in WHOLE:
        wrong += _figures_wrong(case, told)
    if case.fault in PLACED and "miss" not in wrong and "unseen" not in wrong:
        place = f.travel_fraction.value if case.fault == "stopped-short" and f.travel_fraction else None
        for sign in told.signs:
            if sign.sign == case.fault and sign.at_fraction is not None and place is None:
                place = sign.at_fraction
        if place is not None and abs(place - case.place) > 0.06:
            wrong.append("place")
    if case.fault == "stall-start":
        at = [s.at_fraction for s in told.signs if s.sign == "stall" and s.at_fraction is not None]
        if at and at[0] > 0.03:
            wrong.append("place")
    return wrong


def _figures_wrong(case: Case, told: Assessment) -> list[str]:
    wrong = []
    f = told.figures
    slack = case.slack_s
    if f.start_s is None or abs(f.start_s.value - case.start_s) > slack:
        wrong.append("start")
    if f.end_s is None or not case.end_s[0] - slack <= f.end_s.value <= case.end_s[1] + slack:
        wrong.append("endtime")
    if f.travel_time_s is None or not (
        case.end_s[0] - case.start_s - slack <= f.travel_time_s.value <= case.end_s[1] - case.start_s + slack
    ):
        wrong.append("time")
    if f.run_current_a is None or not 0.99 * case.run_a[0] <= f.run_current_a.value <= 1.01 * case.run_a[1]:
        wrong.append("current")
    return wrong


def _see(coverage: Coverage, judged: Judged) -> None:
    """True values against the stated ±; the board's own filter and rate are no excuse."""
    case, told = judged.case, judged.told
    label = f"{case.fault}, {case.family}:{case.seed}"
    f = told.figures
    if told.usable and told.end == CUT_OFF and case.fault in (*WHOLE, *RECORD_FAULTS):
        early, late = case.end_s[0] - case.start_s, case.end_s[1] - case.start_s
        coverage.see("travel time", f.travel_time_s, early, late, label)
        if case.mean_a and case.peak_a:
            coverage.see("running current", f.run_current_a, *case.mean_a, label)
            coverage.see("peak", f.peak_run_current_a, *case.peak_a, label)
        if case.inrush_a:
            coverage.see("inrush", f.inrush_a, case.inrush_a, case.inrush_a, label)
    for sign in told.signs:
        place = figure_of(sign.at_fraction, sign.at_fraction_u)
        if sign.sign == case.fault and case.fault in PLACED and place is not None:
            coverage.see("place", place, case.place, case.place, label)


RECORD_FAULTS = ("clipped", "gaps", "noisy")


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rigs", type=int, default=60)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--family", choices=list(HELD_OUT_FAMILIES))
    parser.add_argument("--held-out", action="store_true", help="rigs that nothing was ever adjusted to")
    parser.add_argument("--failures", action="store_true", help="list each pattern with a few seeds")
    args = parser.parse_args()
    patterns: dict[tuple[str, str], list[str]] = defaultdict(list)
    print(f"{args.rigs} rigs a family; counts of wrong answers / records")
    print(
        f"{'family':12s} {'false':>9s} {'misses':>9s} {'unseen':>6s} {'end':>8s} {'time':>8s} {'current':>8s} {'place':>8s}  refused"
    )
    coverage = Coverage()
    first = HELD_OUT_FIRST if args.held_out else args.first
    families = HELD_OUT_FAMILIES if args.held_out else FAMILIES
    for family in [args.family] if args.family else families:
        _family(family, range(first, first + args.rigs), patterns, coverage)
    if args.failures:
        for (fault, kind), seeds in sorted(patterns.items(), key=lambda item: -len(item[1])):
            spread = Counter(s.split(":")[0] for s in seeds)
            print(f"{len(seeds):4d}  {fault:14s} {kind:24s} {dict(spread)}  e.g. {' '.join(seeds[:3])}")
    found = coverage_rows(coverage)
    print_table(f"Foreign strokes, {args.rigs} rigs a family: figures against their ±", found)
    print(f"furthest from their ±:\n{furthest(coverage)}")
    return all_met(found)


def _family(
    family: str, seeds: range, patterns: dict[tuple[str, str], list[str]], coverage: Coverage
) -> None:
    count: Counter[str] = Counter()
    for seed in seeds:
        judged, refused = judge(family, seed)
        count["refused"] += bool(refused)
        if refused:
            patterns["baseline", refused[:60]].append(f"{family}:{seed}")
        for j in judged:
            healthy_one = j.case.fault == "healthy"
            count["healthy"] += healthy_one
            count["faulty"] += not healthy_one
            count["measured"] += j.case.fault in WHOLE
            _see(coverage, j)
            count["placed"] += j.case.fault in (*PLACED, "stall-start")
            count["false"] += (
                any(w.startswith(("false", "verdict", "unusable")) for w in j.faults) and healthy_one
            )
            for name in ("miss", "unseen", "time", "current", "place"):
                count[name] += name in j.faults
            count["end"] += any(w.startswith("end ") for w in j.faults)
            for w in j.faults:
                patterns[j.case.fault, w].append(f"{family}:{seed}")
    print(
        f"{family:12s} {count['false']:3d}/{count['healthy']:<5d} {count['miss']:3d}/{count['faulty']:<5d} {count['unseen']:6d} "
        f"{count['end']:3d}/{count['faulty'] + count['healthy']:<5d}{count['time']:3d}/{count['measured']:<5d}"
        f"{count['current']:3d}/{count['measured']:<5d}{count['place']:3d}/{count['placed']:<5d} {count['refused']}",
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main())
