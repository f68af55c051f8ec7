"""Signs of the record itself: what it isn't fit for."""

import numpy as np

from logger.core.assessment import INFO, NO_RUN, STILL_RUNNING, WATCH, Sign
from logger.core.quantities.clock import holes_in
from logger.core.stroke.baseline import PRACTICE_SPREAD
from logger.core.stroke.board_words import lost_by_numbers
from logger.core.stroke.evidence import Evidence

MISSING_LIMIT = 0.02
"""More than 2 % of the rows missing, or 2 % of the movement in one hole, is more than an info (*practice*)."""
HALF_AS_MUCH_AGAIN = 0.5
"""A rest of some ten rows knows its noise no better (*practice*)."""
NOISE_SHARE = 0.1
"""Noise of a single sample above a tenth of the no-load current blurs start and end."""


def clipped(evidence: Evidence) -> Sign | None:
    """The current channel was at its end: what it hides is at least ``value``."""
    if evidence.clip_a is None:
        return None
    figures = evidence.figures
    hidden = [
        words
        for words, figure in (
            ("running current", figures.run_current_a),
            ("peak running current", figures.peak_run_current_a),
        )
        if figure is None
    ]
    told = [*hidden, *(["inrush current"] if figures.inrush_a is None else [])]
    which = f"; {' and '.join(told)}: at least that" if told else ""
    return Sign(
        "clipped",
        WATCH if hidden else INFO,
        f"current beyond the board's range: it is cut off flat at {evidence.clip_a:.2f} A{which}",
        value=evidence.clip_a,
        unit="A",
    )


def gaps(evidence: Evidence) -> Sign | None:
    """Rows are missing."""
    time_s, segments = evidence.trace.time_s, evidence.segments
    holes, lost = holes_in(time_s)
    if len(holes) == 0:
        return None
    steps = np.diff(time_s)
    missing = float(lost.sum())
    # Where a board numbers its samples, a hole that its numbers don't show is one of the clock.
    missing = min(missing, lost_by_numbers(evidence.trace.head, missing))
    if missing < 0.5:
        return None
    share = missing / (len(time_s) + missing)
    lasted = max(segments.end_s - segments.start_s, segments.period_s)
    longest = float(np.max(steps[holes]))
    serious = share > MISSING_LIMIT or longest > max(MISSING_LIMIT * lasted, 3.0 * segments.period_s)
    return Sign(
        "gaps",
        WATCH if serious else INFO,
        f"{missing:.0f} rows are missing ({100 * share:.1f} %); the longest hole lasts {longest:.3g} s",
        value=share,
        limit=MISSING_LIMIT,
        unit="1",
        from_s=float(time_s[holes[int(np.argmax(steps[holes]))]]),
    )


def cut_record(evidence: Evidence) -> Sign | None:
    """The record begins or ends in mid-run."""
    if evidence.end == NO_RUN:
        return None
    starts, ends = evidence.segments.starts_running, evidence.end == STILL_RUNNING
    if not (starts or ends):
        return None
    which = "begins and ends" if starts and ends else "begins" if starts else "ends"
    return Sign(
        "cut-record",
        WATCH,
        f"the record {which} while the motor is running: the figures that need the missing part are left out",
    )


def noisy(evidence: Evidence) -> Sign | None:
    """Noise too large for sharp figures."""
    noise, idle = evidence.segments.noise_a, evidence.idle_a
    running = _noisy_run(evidence)
    if noise <= NOISE_SHARE * idle or (running is not None and running.level == WATCH):
        return running
    run = evidence.figures.run_current_a
    blurred = run is None or run.u > 0.05 * run.value or noise > 2.0 * NOISE_SHARE * idle
    usual = _is_usual(evidence, noise)
    beside = ", as in the baseline" if usual else ": start and end are blurred"
    return Sign(
        "noisy",
        WATCH if blurred and not usual else INFO,
        f"noise of {noise:.2f} A on each reading, {100 * (noise / idle):.0f} % of the no-load current{beside}",
        value=noise,
        limit=NOISE_SHARE * idle,
        unit="A",
    )


def _is_usual(evidence: Evidence, noise_a: float) -> bool:
    """Whether the baseline's own readings scatter as much: such a rig is judged with the scatter that it has."""
    spread = evidence.baseline.figures.get("run_noise_a") if evidence.baseline else None
    return spread is not None and noise_a <= spread.mean + max(
        spread.reach(0.999), HALF_AS_MUCH_AGAIN * spread.mean
    )


def _noisy_run(evidence: Evidence) -> Sign | None:
    """The running current jumps: more than a tenth of itself and far more than in the baseline, or in many lone readings."""
    scatter, run = evidence.figures.run_noise_a, evidence.figures.run_current_a
    if scatter is None or run is None:
        return None
    spread = evidence.baseline.figures.get("run_noise_a") if evidence.baseline else None
    limit = PRACTICE_SPREAD * run.value
    if spread is not None:
        limit = max(limit, spread.mean + max(spread.reach(0.999), spread.mean))
    wild = evidence.segments.wild
    if scatter.value <= limit and not wild:
        return None
    lone = f"; {wild} lone readings stand out, too many to be left out" if wild else ""
    return Sign(
        "noisy",
        WATCH if scatter.value > limit else INFO,
        f"the running current jumps by {scatter.value:.2f} A from reading to reading, "
        f"{100 * (scatter.value / run.value):.0f} % of itself{lone}",
        value=scatter.value,
        limit=limit,
        unit="A",
    )
