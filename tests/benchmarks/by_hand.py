"""Commissioning with a stopwatch and a clamp meter of tenths: whom the rules let through, and whether a stated risk holds.

    python -m tests.benchmarks.by_hand [--sheets 10000] [--seed 1]

Drawn: a rig's data sheet, the true highest running current of its machine, flat within three expanded uncertainties of the
rating, and a meter that is off by any share of its class, the same in all ten throws; the eye adds its own to each reading.
The code of the product reads, judges and accepts; nothing of it draws.
"""

import argparse
import math
import sys
from dataclasses import dataclass, replace

import numpy as np

from tests.benchmarks.coverage_cases import HAND_EVENT_S, RATIO
from tests.benchmarks.table import Row, all_met, load, print_table
from tests.core.sheet_builders import seen
from throwbook.core.assessment import PASS
from throwbook.core.machine.limits import MAX, decide
from throwbook.core.records import COMMISSIONING
from throwbook.core.rig import DIRECTIONS, Actuator, LockMechanism, Rig
from throwbook.core.sheets.acceptance import acceptance
from throwbook.core.sheets.assess_hand import assess_by_hand
from throwbook.core.sheets.conditions import Conditions
from throwbook.core.sheets.hand_readings import (
    READ_BY_EYE,
    Accuracy,
    HandThrow,
    Instruments,
    Reading,
    metered,
)
from throwbook.core.sheets.shared_risk import MOST, chance_over, risks
from throwbook.core.sheets.sheet import FilledSheet, SheetTrial, plan_for

CLAMP = Accuracy(0.02, 1.0)
"""A cheap clamp meter for direct current, as its data sheet has it (invented)."""
STEP_A, STEP_V, STEP_S = 0.1, 0.1, 0.1
THROWS = 10
NOMINAL_V, SUPPLY_V = 12.0, 12.4
REACH = 3.0
"""The truth lies within so many U of the rating."""
GOOD = 2.0
"""A good machine lies so many U below it."""


@dataclass(frozen=True)
class Drawn:
    """One sheet as it was drawn and judged."""

    true_a: float
    rating_a: float
    u_a: float
    highest_read_a: float
    guarded: bool
    """Accepted without more."""
    shared: bool
    """Accepted by shared risk alone."""
    said: float
    """The greatest chance that was printed, 0..1."""


def draw_rig(rng: np.random.Generator) -> Rig:
    """A data sheet of the kind that is sold for such jobs: full-load current 3 to 10 A."""
    full_a = round(float(rng.uniform(3.0, 10.0)), 1)
    stroke_m = round(float(rng.uniform(0.1, 0.3)), 3)
    actuator = Actuator(
        NOMINAL_V, stroke_m, 1000.0, round(float(rng.uniform(0.008, 0.02)), 4), round(0.3 * full_a, 2), full_a
    )
    return Rig("drawn", actuator, LockMechanism(stroke_m))


def draw_sheet(rng: np.random.Generator) -> Drawn:
    """One commissioning sheet of ten throws, read with one meter."""
    rig = draw_rig(rng)
    rating_a = rig.actuator.full_load_current_a
    u_a = metered(Reading(rating_a, STEP_A), CLAMP, READ_BY_EYE).u
    true_a = float(rng.uniform(rating_a - REACH * u_a, rating_a + REACH * u_a))
    run_a = true_a * float(rng.uniform(0.65, 0.78))
    off = float(rng.uniform(-1.0, 1.0))  # of its class, the same all day
    time_s = travel_time(rig, run_a)
    trials, reads = [], []
    for number in range(THROWS):
        read = HandThrow(
            DIRECTIONS[number % 2],
            time_s=Reading(stopped(rng, time_s), STEP_S),
            run_current_a=Reading(shown(rng, run_a, off), STEP_A),
            peak_current_a=Reading(shown(rng, true_a, off), STEP_A),
            voltage_v=Reading(SUPPLY_V, STEP_V),
        )
        assert read.peak_current_a is not None
        reads.append(read.peak_current_a.value)
        judged = assess_by_hand(read, rig, Instruments(CLAMP))
        trials.append(SheetTrial(f"{number}", number + 1, judged, by_hand=True))
    plan = plan_for(COMMISSIONING, rig)
    sheet = FilledSheet(rig.name, COMMISSIONING, plan, Conditions(16.0, "no"), signed="J. Mill")
    sightings = seen(trials)
    guarded = acceptance(sheet, trials, sightings, rig).ok
    by_risk = not guarded and acceptance(replace(sheet, shared_risk=True), trials, sightings, rig).ok
    said = max((one.chance for one in risks(trials)), default=0.0)
    return Drawn(true_a, rating_a, u_a, max(reads), guarded, by_risk, said)


def single_readings(rng: np.random.Generator, count: int) -> tuple[list[float], list[bool]]:
    """Chances that are printed for one reading each, and whether its truth is over the rating."""
    said, over = [], []
    for _ in range(count):
        rating_a = float(rng.uniform(3.0, 10.0))
        u_a = metered(Reading(rating_a, STEP_A), CLAMP, READ_BY_EYE).u
        true_a = float(rng.uniform(rating_a - REACH * u_a, rating_a + REACH * u_a))
        read = metered(Reading(shown(rng, true_a, float(rng.uniform(-1.0, 1.0))), STEP_A), CLAMP, READ_BY_EYE)
        if read.value > rating_a or decide(read, rating_a, MAX) == PASS:
            continue
        chance = chance_over(read, rating_a, MAX)
        if chance <= MOST:
            said.append(chance)
            over.append(true_a > rating_a)
    return said, over


def travel_time(rig: Rig, run_a: float) -> float:
    """By the two straight lines of the data sheet, at the voltage of the day [s]."""
    unit = rig.actuator
    loaded = (run_a - unit.no_load_current_a) / (unit.full_load_current_a - unit.no_load_current_a)
    speed = unit.no_load_speed_m_s * (SUPPLY_V / NOMINAL_V - (1.0 - RATIO) * loaded)
    return unit.stroke_m / speed


def stopped(rng: np.random.Generator, true_s: float) -> float:
    """A stopwatch that shows tenths, started and stopped by hand."""
    return round(true_s + float(rng.normal(0.0, HAND_EVENT_S) - rng.normal(0.0, HAND_EVENT_S)), 1)


def shown(rng: np.random.Generator, true_a: float, off: float) -> float:
    """What the meter shows and the eye makes of it [A]."""
    of_class = off * (CLAMP.share * true_a + CLAMP.digits * STEP_A)
    of_eye = true_a * float(rng.uniform(-READ_BY_EYE, READ_BY_EYE))
    return round(max(true_a + of_class + of_eye, 0.0), 1)


def rows(drawn: list[Drawn], single: tuple[list[float], list[bool]]) -> list[Row]:
    """Against the floors."""
    over_read = sum((one.guarded or one.shared) and one.highest_read_a > one.rating_a for one in drawn)
    good = [one for one in drawn if one.true_a <= one.rating_a - GOOD * one.u_a]
    taken = sum(one.guarded for one in good)
    nearer = [one for one in drawn if one.rating_a - GOOD * one.u_a < one.true_a <= one.rating_a]
    at_all = sum(one.guarded or one.shared for one in nearer)
    wrongly = sum(one.guarded and one.true_a > one.rating_a for one in drawn)
    guarded = sum(one.guarded for one in drawn)
    shared = [one for one in drawn if one.shared]
    beyond = sum(one.true_a > one.rating_a for one in shared)
    said = float(np.mean([one.said for one in shared])) if shared else 0.0
    share = beyond / max(len(shared), 1)
    chances, overs = single
    one_said, one_over = float(np.mean(chances)), float(np.mean(overs))
    spread = 2.0 * math.sqrt(one_said * (1.0 - one_said) / len(chances))
    return [
        Row("accepted with a reading over the rating", "0", f"{over_read} of {len(drawn)}", over_read == 0),
        Row(
            "good machines (2 U below the rating) accepted without more",
            "95 %",
            f"{100 * taken / max(len(good), 1):.1f} % of {len(good)}",
            taken >= 0.95 * len(good),
        ),
        Row(
            "machines nearer to it accepted, most of them by shared risk",
            "",
            f"{100 * at_all / max(len(nearer), 1):.1f} % of {len(nearer)}",
            True,
        ),
        Row(
            "accepted without more, and truly over the rating",
            "2.5 %",
            f"{100 * wrongly / max(guarded, 1):.2f} % of {guarded}",
            wrongly <= 0.025 * guarded,
        ),
        Row(
            "accepted by shared risk, and truly over the rating; at most what was printed on average",
            f"{100 * said:.1f} %",
            f"{100 * share:.1f} % of {len(shared)}",
            share <= said,
        ),
        Row(
            "one reading alone, chance printed up to 10 %: truly over the rating as often as printed",
            f"{100 * one_said:.1f} +- {100 * spread:.1f} %",
            f"{100 * one_over:.1f} % of {len(chances)}",
            one_over <= one_said + spread,
        ),
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sheets", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    single = single_readings(rng, 10 * given.sheets)
    found = rows([draw_sheet(rng) for _ in range(given.sheets)], single)
    print_table(f"Sheets by hand, {given.sheets} drawn from seed {given.seed}, {load()}", found)
    return all_met(found)


if __name__ == "__main__":
    sys.exit(main())
