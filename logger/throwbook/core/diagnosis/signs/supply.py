"""Signs of the supply and a movement slower than it accounts for, and of what the record itself isn't fit for."""

import numpy as np

from throwbook.core.analysis.baseline import PRACTICE_SPREAD
from throwbook.core.analysis.current_runs import SHORTEST_S
from throwbook.core.analysis.figures import LONE_ROW, longest_hole_s
from throwbook.core.analysis.record_conditions import lost_by_numbers
from throwbook.core.analysis.residual_current import ROWS_OF_A_STEP, SUSTAINED_SAMPLES
from throwbook.core.assessment import CUT_OFF, INFO, NO_RUN, STILL_RUNNING, WATCH, Sign
from throwbook.core.diagnosis.evidence import Evidence
from throwbook.core.machine.limits import LIMITS, LONG_BAND, SHORT_BAND, SHORT_STROKE_S
from throwbook.core.quantities.clock import holes_in
from throwbook.core.trace import MOVEMENT, MOVEMENTS
from throwbook.core.wording import FIGURES

FEW_MISSING = 2.5
"""One sample or two of a short record are a share of it that says nothing (*practice*)."""
MISSING_LIMIT = 0.02
"""More than 2 % of the rows missing, or 2 % of the movement in one hole, is more than an info (*practice*)."""
WIDER_RANGE = "Use a board with a wider range."
MAY_BE_BEYOND = "this record alone cannot show whether the running current went beyond the board's range"
HALF_AS_MUCH_AGAIN = 0.5
"""A rest of some ten rows knows its noise no better (*practice*)."""
NOISE_SHARE = 0.1
"""Noise of a single sample above a tenth of the no-load current blurs start and end."""


def clipped(evidence: Evidence) -> Sign | None:
    """The current channel was at its end: what it hides is at least ``value``."""
    if evidence.clip_a is None:
        return None
    figures = evidence.figures
    absent = [
        name for name in ("run_current_a", "peak_run_current_a", "inrush_a") if getattr(figures, name) is None
    ]
    hidden = [name for name in absent if name != "inrush_a"]
    names = " and ".join(FIGURES[name].sentence for name in absent)
    which = f"; {names}: at least that" if absent else ""
    level = WATCH if hidden and not evidence.clip_open else INFO
    beyond = MAY_BE_BEYOND if evidence.clip_open else "current beyond the board's range"
    return Sign(
        "clipped",
        level,
        f"{beyond}: the curve is flat at {evidence.clip_a:.2f} A{which}",
        value=evidence.clip_a,
        unit="A",
        settle=WIDER_RANGE if evidence.clip_open else "",
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
    hidden = evidence.end != NO_RUN and longest_hole_s(evidence.trace, segments) > 0.0
    unseen_s = longest - segments.period_s  # each row stands for one period
    many = share > MISSING_LIMIT and missing > FEW_MISSING
    serious = many or unseen_s > max(MISSING_LIMIT * lasted, LONE_ROW * segments.period_s)
    return Sign(
        "gaps",
        WATCH if serious else INFO,
        f"{missing:.0f} samples are missing ({100 * share:.1f} %); the longest gap lasts {longest:.3g} s"
        + ("; whether the motor stopped meanwhile is not known" if hidden else ""),
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
        return _begins_in_the_last_rows(evidence)
    which = "begins and ends" if starts and ends else "begins" if starts else "ends"
    return Sign(
        "cut-record",
        WATCH,
        f"the record {which} while the motor is running: the figures that need the missing part are left out",
    )


def _begins_in_the_last_rows(evidence: Evidence) -> Sign | None:
    """A current that came on in the last rows: too few to be a movement, and no longer rest."""
    head = evidence.trace.head
    if head.get(MOVEMENT) != head.get(MOVEMENTS):
        return None  # the record goes on behind this one
    rows = max(SUSTAINED_SAMPLES, round(SHORTEST_S / evidence.segments.period_s)) + 1
    last_a = np.abs(evidence.segments.current_a[-rows:])
    if last_a[-1] < evidence.idle_a or last_a[0] > 0.5 * evidence.idle_a:
        return None
    return Sign(
        "cut-record",
        WATCH,
        f"a current of {last_a[-1]:.1f} A comes on as the record ends: what began there cannot be judged",
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
    if (scatter.value <= limit or _in_few_steps(evidence, scatter.value)) and not wild:
        return None
    lone = f"; {wild} single readings stand out, too many to be left out" if wild else ""
    return Sign(
        "noisy",
        WATCH if scatter.value > limit else INFO,
        f"current noise while running: {scatter.value:.2f} A between readings, "
        f"{100 * (scatter.value / run.value):.0f} % of the running current{lone}",
        value=scatter.value,
        limit=limit,
        unit="A",
    )


def _in_few_steps(evidence: Evidence, scatter_a: float) -> bool:
    """Whether a few steps make more than three quarters of the scatter, as what is left of a drive's ramp and the last rows of
    an end do: noise is in all of a run."""
    segments = evidence.segments
    steps = np.sort(np.abs(np.diff(segments.current_a[segments.settled_latest : segments.last + 1])))
    others = steps[: -2 * ROWS_OF_A_STEP]  # one at either end, each of them part on and part off
    return len(others) > 0 and float(np.sqrt(np.mean(others**2) / 2.0)) < 0.5 * scatter_a


LOW_SHARE = 0.95
"""A lead-acid battery at rest below 1.9 V a cell, 95 % of nominal, is flat (*practice*)."""
SUPPLY_LIMIT = LIMITS["supply_under_load"].share
"""Supply under load, of the nominal one, where the rig says nothing else."""
LARGER_DROP = 0.03
"""More drop than before counts from 3 % of the nominal voltage at the rated current on (*practice*: the usual
allowance for a cable that matters)."""


def slow_travel(evidence: Evidence) -> Sign | None:
    """Slower than current and voltage account for."""
    if evidence.end != CUT_OFF or evidence.figures.travel_time_s is None:
        return None
    slower = evidence.travel_share - 1.0 - _by_what_flowed(evidence)
    time_s = evidence.figures.travel_time_s.value
    spread = evidence.baseline.figures.get("back_emf_vs") if evidence.baseline else None
    if spread is not None:
        limit = max(PRACTICE_SPREAD, spread.reach() / spread.mean)
        against = "the baseline"
    else:
        limit = SHORT_BAND if time_s < SHORT_STROKE_S else LONG_BAND
        limit += 2.0 * evidence.travel_share_u
        against = "the rating"
    if not evidence.moved.from_voltage:
        limit = max(limit, 1.0 / SUPPLY_LIMIT - 1.0 + PRACTICE_SPREAD)  # the supply may account for that much
    if slower <= limit:
        return None
    blind = (
        "" if evidence.moved.from_voltage else "; without a voltage reading a low supply cannot be ruled out"
    )
    return Sign(
        "slow-travel",
        WATCH,
        f"{time_s:.2f} s is {100 * slower:.0f} % slower than its voltage and current explain, against {against}{blind}",
        value=slower,
        limit=limit,
        unit="1",
    )


def _by_what_flowed(evidence: Evidence) -> float:
    """Share by which the motor was slower if what was taken off as zero flowed through it."""
    run = evidence.figures.run_current_a
    if run is None:
        return 0.0
    r_ohm = evidence.line.r_ohm
    left_v = evidence.moved.supply_v - run.value * r_ohm
    return evidence.flowed_at_rest_a * r_ohm / left_v if left_v > 0.0 else 0.0


def low_supply(evidence: Evidence) -> Sign | None:
    """The supply itself is low, at rest too."""
    rest, nominal = evidence.figures.rest_voltage_v, evidence.rig.actuator.voltage_v
    if rest is None or rest.value + rest.u >= LOW_SHARE * nominal:
        return None
    return Sign(
        "low-supply",
        WATCH,
        f"{rest.value:.1f} V at rest, {100 * (rest.value / nominal):.0f} % of the nominal {nominal:g} V: supply voltage low, even at rest",
        value=rest.value,
        limit=LOW_SHARE * nominal,
        unit="V",
    )


def supply_drop(evidence: Evidence) -> Sign | None:
    """Too much voltage lost per ampere upstream of the board."""
    source = evidence.figures.source_resistance_ohm
    if source is None:
        return None
    nominal, rated = evidence.rig.actuator.voltage_v, evidence.rig.actuator.full_load_current_a
    limit = (1.0 - SUPPLY_LIMIT) * nominal / rated
    against = f"more than a tenth of {nominal:g} V at the full-load current"
    spread = evidence.baseline.figures.get("source_resistance_ohm") if evidence.baseline else None
    if spread is not None:
        more = max(spread.reach(0.999), 0.5 * spread.mean, LARGER_DROP * nominal / rated)
        if spread.mean + more < limit:
            limit, against = spread.mean + more, f"the baseline has {spread.mean * 1000:.0f} mV"
    if source.value - source.u <= limit:
        return None
    return Sign(
        "supply-drop",
        WATCH,
        f"{source.value * 1000:.0f} mV voltage drop up to the board for each ampere; {against}",
        value=source.value,
        limit=limit,
        unit="ohm",
    )


OF_THE_SUPPLY = (gaps, slow_travel, low_supply, supply_drop)
"""What was lost comes before what it may have caused."""
OF_THE_RECORD = (clipped, cut_record, noisy)
