"""How often a figure's ± keeps its promise: the share of true values inside it, and the worst error against it.

The ± of a figure is an expanded uncertainty, k = 2: about 95 % of the true values belong inside it. A true value may be
an interval, where a figure's own definition leaves one (a drive that slows down to its end): inside it the error is
nothing. Figures that the record can't give are counted apart and are no error.

    python -m tests.benchmarks.coverage [--draws 400] [--histories 60] [--rigs 4] [--seed 1]

prints the share inside for every figure with a ± that a command, a screen or a paper shows (``coverage_cases``), how often
an "at least" or "at most" was broken, and how often a reading accepted by shared risk was over its limit.
"""

import argparse
import re
import sys
from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf

import numpy as np

from tests.benchmarks.table import Row, all_met, load, print_table
from throwbook.core.assessment import Measured

INSIDE_PERCENT = 93.0
SHORT_PERCENT = 2.0
"""An interval of another confidence than 95 % says so in its name, as "(80 %)": it may hold so much less."""
BROKEN_PERCENT = 2.5
"""No "at least", "at most" or "at the latest" may be broken more often."""
ONE_MORE = "of a throw"
"""Ends the name of a span of single throws. How far an odd throw lies off is no error of that span: no worst is asked."""
WORST_RATIO = 3.0
"""No true value may lie further away than so many times the ±."""
NO_END = ("fit: stall_current_a", "fit: stall_push_n", "fit: travel_time_at_worst_s")
"""Quotients whose divisor may come near nought within the half-widths of a data sheet (a full-load speed near the no-load
speed, a voltage near the one of stall): the furthest grows with the draws without end, so no worst is asked."""
FIGURES = ("travel time", "running current", "peak", "inrush", "place")
KEPT = 12
"""How many of the furthest are kept by name."""


@dataclass
class Given:
    """One kind of figure, over all records."""

    given: int = 0
    inside: int = 0
    null: int = 0
    worst: float = 0.0
    furthest: list[tuple[float, str]] = field(default_factory=list)
    """|error| over ± of those outside it, and what each was; the worst first."""

    def add(self, other: "Given") -> None:
        self.given += other.given
        self.inside += other.inside
        self.null += other.null
        self.worst = max(self.worst, other.worst)
        self.furthest = sorted(self.furthest + other.furthest, reverse=True)[:KEPT]


@dataclass
class Bound:
    """A figure that was said to lie on one side."""

    most_percent: float
    given: int = 0
    broken: int = 0


@dataclass
class Chance:
    """Chances that were printed, and how often it came so."""

    given: int = 0
    said: float = 0.0
    came: int = 0


@dataclass
class Coverage:
    """Every kind of figure, by its name in ``FIGURES`` (and, where asked, by family)."""

    kinds: dict[str, Given] = field(default_factory=dict)
    bounds: dict[str, Bound] = field(default_factory=dict)
    chances: dict[str, Chance] = field(default_factory=dict)

    def see_bound(self, figure: str, broken: bool, most_percent: float = BROKEN_PERCENT) -> None:
        """Something said to be at least or at most so much."""
        bound = self.bounds.setdefault(figure, Bound(most_percent))
        bound.given += 1
        bound.broken += bool(broken)

    def see_chance(self, figure: str, chance: float, came: bool) -> None:
        """A chance as it was printed, and whether it came so."""
        known = self.chances.setdefault(figure, Chance())
        known.given += 1
        known.said += chance
        known.came += bool(came)

    def see_span(
        self, figure: str, value: float, low: float, high: float, true: float, label: object = ""
    ) -> None:
        """An interval that need not be as wide above as below, against a true value of the same unit."""
        if low <= true <= high:
            self.see(figure, Measured(value, 0.0), value, value)
            return
        reach = value - low if true < low else high - value
        off = min(abs(true - value), WORST_RATIO * 100.0 * max(reach, 1e-12))
        self.see(
            figure, Measured(0.0, reach), -off, -off, f"{label} (true {true:.4g}, {low:.4g} to {high:.4g})"
        )

    def see(
        self, figure: str, measured: Measured | None, low: float, high: float, label: object = ""
    ) -> None:
        """One figure against the true value, which lies between ``low`` and ``high`` (both the same unit)."""
        kind = self.kinds.setdefault(figure, Given())
        if measured is None:
            kind.null += 1
            return
        error = max(low - measured.value, measured.value - high, 0.0)
        ratio = float(error / measured.u) if measured.u > 0.0 else (inf if error > 0.0 else 0.0)
        kind.given += 1
        kind.inside += ratio <= 1.0
        kind.worst = max(kind.worst, ratio)
        if ratio > 1.0:
            truth = f"{low:.5g}" if low == high else f"{low:.5g} to {high:.5g}"
            text = f"{figure} {measured.value:.5g} ± {measured.u:.2g}, true {truth}: {label}"
            kind.furthest = sorted([*kind.furthest, (ratio, text)], reverse=True)[:KEPT]

    def add(self, other: "Coverage") -> None:
        for figure, kind in other.kinds.items():
            self.kinds.setdefault(figure, Given()).add(kind)


def coverage_rows(coverage: Coverage, figures: Iterable[str] = FIGURES) -> list[Row]:
    """A row a figure: the share inside, the worst, how many records couldn't give it."""
    rows = []
    for figure in figures:
        kind = coverage.kinds.get(figure, Given())
        share = 100.0 * kind.inside / max(kind.given, 1)
        rows.append(
            Row(
                f"true {figure} within its ±",
                f"{INSIDE_PERCENT:.0f} %, worst under {WORST_RATIO:.0f} x",
                f"{share:.1f} % of {kind.given:,}, worst {kind.worst:.1f} x; {kind.null:,} not given",
                kind.given == 0 or (share >= INSIDE_PERCENT and kind.worst < WORST_RATIO),
            )
        )
    return rows


def stated_rows(coverage: Coverage) -> list[Row]:
    """A row for every figure, bound and chance that was seen."""
    rows = []
    for figure, kind in coverage.kinds.items():
        share = 100.0 * kind.inside / max(kind.given, 1)
        stated = re.search(r"\((\d+) %\)", figure)
        floor = float(stated[1]) - SHORT_PERCENT if stated else INSIDE_PERCENT
        measured = f"{share:.1f} % of {kind.given:,}, worst {kind.worst:.1f} x"
        any_worst = figure.endswith(ONE_MORE) or figure in NO_END
        met = share >= floor and (any_worst or kind.worst < WORST_RATIO)
        asked = f"{floor:.0f} %" if any_worst else f"{floor:.0f} %, worst under {WORST_RATIO:.0f} x"
        rows.append(Row(figure, asked, measured, met))
    for figure, bound in coverage.bounds.items():
        broken = 100.0 * bound.broken / bound.given
        rows.append(
            Row(
                figure,
                f"at most {bound.most_percent:g} %",
                f"broken {broken:.2f} % of {bound.given:,}",
                broken <= bound.most_percent,
            )
        )
    for figure, known in coverage.chances.items():
        said, came = (100.0 * part / known.given for part in (known.said, known.came))
        rows.append(
            Row(
                f"{figure}: over the limit",
                "no more often than said",
                f"{came:.2f} % of {known.given:,}, said {said:.2f} %",
                came <= said,
            )
        )
    return rows


def furthest(coverage: Coverage) -> str:
    """The true values furthest outside, a line each."""
    lines = [one for kind in coverage.kinds.values() for one in kind.furthest]
    return "\n".join(f"  {ratio:6.1f} x  {text}" for ratio, text in sorted(lines, reverse=True))


def figure_of(value: float | None, u: float | None) -> Measured | None:
    """A place and its ± as a figure; None where either is missing."""
    return None if value is None or u is None else Measured(value, u)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--draws", type=int, default=400, help="rigs, hand throws [400]")
    parser.add_argument("--histories", type=int, default=60, help="histories of a rig in each style [60]")
    parser.add_argument("--rigs", type=int, default=4, help="rigs of recorded throws [4]")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    from tests.benchmarks.coverage_cases import (
        STYLES,
        as_it_was,
        by_hand,
        forecast,
        serviced,
        shared_risk,
        success,
        suitability,
        wears,
    )

    seen = Coverage()
    rng = np.random.default_rng(given.seed)
    # Truths of one rig hang together, and a few hundred can't tell 92 from 94 %: what is cheap is drawn more often.
    for _ in range(given.draws):
        suitability(rng, seen)
        for _ in range(8):
            by_hand(rng, seen)
        for _ in range(20):
            shared_risk(rng, seen)
        for _ in range(200):  # of which one in sixteen has no failure
            success(rng, seen)
    for style in STYLES:
        for _ in range(given.histories):
            forecast(rng, seen, style)
            for _ in range(3):
                wears(rng, seen, style)
                serviced(rng, seen, style)
                as_it_was(rng, seen, style)
    recorded = Coverage()
    for n in range(given.rigs):
        from tests.benchmarks.strokes import one_rig

        recorded.add(one_rig(given.seed * 1000 + n).coverage)
    seen.kinds |= {f"recorded: {figure}": kind for figure, kind in recorded.kinds.items()}
    rows = stated_rows(seen)
    print_table(f"Coverage, seed {given.seed}, {load()}", rows)
    print("furthest from their ±, one of each:")
    for kind in seen.kinds.values():
        for ratio, text in kind.furthest[:1]:
            print(f"  {ratio:6.1f} x  {text[:160]}")
    return all_met(rows)


if __name__ == "__main__":
    sys.exit(main())
