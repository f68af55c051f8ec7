"""How often a figure's ± keeps its promise: the share of true values inside it, and the worst error against it.

The ± of a figure is an expanded uncertainty, k = 2: about 95 % of the true values belong inside it. A true value may be
an interval, where a figure's own definition leaves one (a drive that slows down to its end): inside it the error is
nothing. Figures that the record can't give are counted apart and are no error.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf

from logger.core.assessment import Measured
from tests.benchmarks.table import Row

INSIDE_PERCENT = 93.0
WORST_RATIO = 3.0
"""No true value may lie further away than so many times the ±."""
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
class Coverage:
    """Every kind of figure, by its name in ``FIGURES`` (and, where asked, by family)."""

    kinds: dict[str, Given] = field(default_factory=dict)

    def see(
        self, figure: str, measured: Measured | None, low: float, high: float, label: object = ""
    ) -> None:
        """One figure against the true value, which lies between ``low`` and ``high`` (both the same unit)."""
        kind = self.kinds.setdefault(figure, Given())
        if measured is None:
            kind.null += 1
            return
        error = max(low - measured.value, measured.value - high, 0.0)
        ratio = error / measured.u if measured.u > 0.0 else (inf if error > 0.0 else 0.0)
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


def furthest(coverage: Coverage) -> str:
    """The true values furthest outside, a line each."""
    lines = [one for kind in coverage.kinds.values() for one in kind.furthest]
    return "\n".join(f"  {ratio:6.1f} x  {text}" for ratio, text in sorted(lines, reverse=True))


def figure_of(value: float | None, u: float | None) -> Measured | None:
    """A place and its ± as a figure; None where either is missing."""
    return None if value is None or u is None else Measured(value, u)
