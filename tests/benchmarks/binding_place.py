"""A spot that binds more and more: is its place named, within 2 % of the stroke, before the throw stalls?

    python -m tests.benchmarks.binding_place [--rigs 40]

Whole records: the simulator throws, ``assess_trace`` judges, the history of profiles names the place. The spot grows from
check to check until the throw would stall; weather and supply change all the while.
"""

import argparse
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import date, timedelta

import numpy as np

from tests.benchmarks.table import Row, all_met, print_table
from throwbook.core.assessment import CUT_OFF
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.rig import DIRECTIONS
from throwbook.core.simulator import (
    SensorModel,
    SimulatedFault,
    ThrowConditions,
    random_machine,
    throw,
)
from throwbook.core.trend.history import RigHistory, SeasonCheck, SeasonThrow
from throwbook.core.trend.profile_trend import check_profiles, spots_among

CHECKS = 12


def life(seed: int) -> tuple[float | None, float, bool, int]:
    """Error of the named place [share of the stroke] or None, truth, whether it was named before a stall, check."""
    rng = np.random.default_rng(seed)
    rig, machine = random_machine(rng)
    place, begins, step = rng.uniform(0.15, 0.85), int(rng.integers(2, 5)), rng.uniform(0.10, 0.25)
    sensor = SensorModel(rate_hz=float(rng.choice([100.0, 200.0])))
    checks: list[SeasonCheck] = []
    for i in range(CHECKS):
        air = float(np.clip(12 + 12 * np.cos(2 * np.pi * i / 4 + seed) + rng.normal(0, 3), -10, 35))
        severity = step * max(0, i - begins)
        throws, stalled = [], False
        engine = bool(rng.random() < 0.5)
        for number in range(5 if i == 0 else 3):
            for direction in DIRECTIONS:
                faults: Sequence[SimulatedFault] = (
                    [SimulatedFault("local-bind", severity, place)] if severity > 0 else []
                )
                conditions = ThrowConditions(
                    temperature_c=air, engine_running=engine, throw_number=number + 3
                )
                made = throw(machine, direction, conditions, sensor, faults, rng)
                judged = assess_trace(made.trace, rig)
                stalled |= made.truth.end != CUT_OFF
                if judged.usable and judged.end == CUT_OFF:
                    throws.append(SeasonThrow(direction, judged.figures, profile=judged.profile))
        day = date(2022, 3, 1) + timedelta(days=91 * i)
        checks.append(SeasonCheck(day, f"sheet-{i}", "seasonal", tuple(throws), ambient_c=air))
        spots = spots_among({one: check_profiles(RigHistory(rig, tuple(checks)), one) for one in DIRECTIONS})
        if spots:
            first = spots[0]
            truth = place if (first.direction == "lock") else 1.0 - place
            return first.at_fraction - truth, place, not stalled, i - begins
        if stalled:
            return None, place, False, i - begins
    return None, place, False, CHECKS


def steady(seed: int) -> bool:
    """Whether a rig whose spot never grows gets one named all the same."""
    rng = np.random.default_rng(seed)
    rig, machine = random_machine(rng)
    sensor = SensorModel(rate_hz=float(rng.choice([100.0, 200.0])))
    checks = []
    for i in range(8):
        air = float(np.clip(12 + 12 * np.cos(2 * np.pi * i / 4 + seed) + rng.normal(0, 3), -10, 35))
        throws = []
        for number in range(5 if i == 0 else 3):
            for direction in DIRECTIONS:
                made = throw(
                    machine,
                    direction,
                    ThrowConditions(temperature_c=air, throw_number=number + 3),
                    sensor,
                    [],
                    rng,
                )
                judged = assess_trace(made.trace, rig)
                if judged.usable and judged.end == CUT_OFF:
                    throws.append(SeasonThrow(direction, judged.figures, profile=judged.profile))
        day = date(2022, 3, 1) + timedelta(days=91 * i)
        checks.append(SeasonCheck(day, f"sheet-{i}", "seasonal", tuple(throws), ambient_c=air))
    return any(
        spots_among({one: check_profiles(RigHistory(rig, tuple(checks[:count])), one) for one in DIRECTIONS})
        for count in range(2, len(checks) + 1)
    )


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--rigs", type=int, default=40)
    asked = parser.parse_args()
    with ProcessPoolExecutor() as pool:
        lives = list(pool.map(life, range(1000, 1000 + asked.rigs)))
        false = list(pool.map(steady, range(5000, 5000 + asked.rigs)))
    named = [one for one in lives if one[0] is not None]
    good = [one for one in named if abs(one[0] or 0.0) <= 0.02 and one[2]]
    errors = np.abs([one[0] for one in named if one[0] is not None])
    share, wrong = 100 * len(good) / len(lives), sum(false)
    middle, wide = 100 * np.median(errors), 100 * np.quantile(errors, 0.95)
    late = np.median([one[3] for one in named])
    rows = [
        Row(
            "named before it stalls, within 2 % of stroke",
            "95 %",
            f"{share:.1f} % of {len(lives)}",
            share >= 95,
        ),
        Row("error of the place, median / 95th", "", f"{middle:.2f} % / {wide:.2f} % of stroke", True),
        Row("named at all; checks after it began", "", f"{len(named)} of {len(lives)}; {late:.0f}", True),
        Row("steady rigs with a place named in 7 checks", "", f"{wrong} of {len(false)}", True),
    ]
    print_table(f"A growing binding spot, {asked.rigs} rigs", rows)
    return all_met(rows)


if __name__ == "__main__":
    sys.exit(main())
