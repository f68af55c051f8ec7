"""Each pin by itself: what the switches tell on machines drawn at random, and what they never claim.

    python -m tests.benchmarks.pins [--rigs 400] [--seed 1] [--first 0]

Each rig has a switch at each pin and a baseline of five throws each way on one day; then healthy throws and faults on other days.
One in five has no voltage channel. ``--first`` leaves out so many rigs, so that a long run can be taken in parts: the counts add up.
The truth comes from the simulator, which knows nothing of how records are judged.
"""

import argparse
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np

from tests.benchmarks.table import Row, all_met, print_table
from throwbook.core.analysis.baseline import Baseline, make_baseline
from throwbook.core.assessment import Assessment, Measured
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.rig import DIRECTIONS, SIDES, Rig
from throwbook.core.simulator import (
    MachineModel,
    SensorModel,
    SimulatedFault,
    SimulatedThrow,
    ThrowConditions,
    Truth,
    random_machine,
    random_sensor,
    throw,
)

BASELINE, HEALTHY, SET = 5, 5, 3
LATE = 0.03
OF_PINS = ("switch-open", "switch-lag", "switch-fault")


def day(rng: np.random.Generator) -> ThrowConditions:
    return ThrowConditions(
        temperature_c=float(rng.uniform(-10.0, 35.0)),
        engine_running=bool(rng.random() < 0.5),
        battery_charge=float(rng.uniform(0.6, 1.0)),
    )


class Bench:
    """One rig with its baseline, and what was counted of it."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.seed = seed
        self.counts: Counter[str] = Counter()
        self.misses: list[tuple[object, ...]] = []
        self.rig, self.machine = self.drawn()
        has_voltage = bool(self.rng.random() < 0.8)
        sensor = random_sensor(self.rng, self.machine, has_voltage=has_voltage)
        self.sensor: SensorModel = replace(
            sensor, has_switches=True, debounce_s=float(self.rng.uniform(0.005, 0.05))
        )
        usual = day(self.rng)
        self.baselines: dict[str, Baseline] = {}
        for direction in DIRECTIONS:
            throws = [self.thrown(direction, usual) for _ in range(BASELINE)]
            self.baselines[direction] = make_baseline([assess_trace(each.trace, self.rig) for each in throws])

    def drawn(self) -> tuple[Rig, MachineModel]:
        return random_machine(self.rng)

    def thrown(
        self, direction: str, conditions: ThrowConditions, *faults: SimulatedFault, bare: bool = False
    ) -> SimulatedThrow:
        sensor = replace(self.sensor, has_switches=False) if bare else self.sensor
        return throw(self.machine, direction, conditions, sensor, faults, self.rng)

    def judged(self, direction: str, *faults: SimulatedFault, bare: bool = False) -> Assessment:
        thrown = self.thrown(direction, day(self.rng), *faults, bare=bare)
        judged = assess_trace(thrown.trace, self.rig, self.baselines[direction])
        if not faults:
            self.see(judged, thrown.truth)
        return judged

    def see(self, judged: Assessment, truth: Truth) -> None:
        """The figures of a throw without faults against the truth."""
        figures, switches = judged.figures, truth.switches
        for side in SIDES:
            self.cover("moments", getattr(figures, f"{side}_switch_at_s"), switches[side].at_s)
            self.cover("places", getattr(figures, f"{side}_switch_at_fraction"), switches[side].at_fraction)
        lag = (switches["right"].at_fraction or 0.0) - (switches["left"].at_fraction or 0.0)
        self.cover("lags", figures.switch_lag_fraction, lag)

    def cover(self, what: str, figure: Measured | None, true: float | None) -> None:
        if figure is not None and true is not None:
            off = abs(figure.value - true) / figure.u
            self.count(f"{what} inside their \u00b1", off <= 1.0, round(off, 2))

    def count(self, what: str, yes: bool, found: object = "") -> None:
        self.counts[what] += 1
        self.counts[f"{what}: yes"] += yes
        if not yes:
            self.misses.append((self.seed, what, found))


def told(assessment: Assessment) -> dict[str, str]:
    """Signs of the pins above info: side."""
    return {
        sign.sign: sign.side for sign in assessment.signs if sign.sign in OF_PINS and sign.level != "info"
    }


def one_rig(seed: int) -> tuple[Counter, list]:
    bench = Bench(seed)
    rng = bench.rng
    for direction in DIRECTIONS:
        side = str(rng.choice(SIDES))
        for _ in range(HEALTHY):
            signs = told(bench.judged(direction))
            bench.count("healthy throws without a sign of the pins", not signs, (direction, signs))
        behind = SimulatedFault("pin-behind", place=float(rng.uniform(0.3, 0.89)), side=side)
        signs = told(bench.judged(direction, behind))
        bench.count("pin behind, its side", signs.get("switch-open") == side, (direction, signs))
        signs = told(bench.judged(direction, SimulatedFault("pin-late", LATE, side=side)))
        late = side in (signs.get("switch-lag"), signs.get("switch-open")) and "switch-fault" not in signs
        bench.count("pin late by 3 %, its side", late, (direction, side, signs))
        signs = told(bench.judged(direction, SimulatedFault("switch-stuck-open", side=side)))
        bench.count("stuck open or broken wire", signs.get("switch-open") == side, (direction, signs))
        drag_on_one_side(bench, direction, side)
    side = str(rng.choice(SIDES))
    far = float(rng.choice((-1, 1)) * rng.uniform(0.04, 0.06))
    for fault in (
        SimulatedFault("switch-chatters", float(rng.uniform(0.05, 0.2)), side=side),
        SimulatedFault("switch-stuck-closed", side=side),
        SimulatedFault("switch-moved", far, side=side),
    ):
        found = [told(bench.judged(direction, fault)) for _ in range(SET) for direction in DIRECTIONS]
        as_switch = side in [signs.get("switch-fault") for signs in found]
        bench.count(f"{fault.kind}, told as the switch's over a set both ways", as_switch, found)
    return bench.counts, bench.misses


def drag_on_one_side(bench: Bench, direction: str, side: str) -> None:
    """Named right, named wrong, or left open; of even drag every name is wrong; without switches there is none."""
    share = float(bench.rng.uniform(0.2, 0.5))
    one_side = SimulatedFault("side-drag", share, side=side)
    for kind, fault in (("one-sided", one_side), ("even", SimulatedFault("even-friction", share))):
        for bare in (False, True):
            found = bench.judged(direction, fault, bare=bare)
            named = [sign.side for sign in found.signs if sign.sign in ("drag", "binding-spot")]
            if not named:
                continue
            if bare:
                bench.count("drag without switches, no side named", not any(named), (direction, named))
                continue
            wrong = any(each not in ("", side if kind == "one-sided" else "") for each in named)
            bench.count("drag, no wrong side", not wrong, (direction, kind, named))
            if kind == "one-sided":
                bench.counts["one-sided drag"] += 1
                bench.counts["one-sided drag: named"] += side in named


FLOORS = {
    "moments inside their \u00b1": 93.0,
    "places inside their \u00b1": 93.0,
    "lags inside their \u00b1": 93.0,
    "healthy throws without a sign of the pins": 99.8,
    "pin behind, its side": 99.0,
    "pin late by 3 %, its side": 95.0,
    "stuck open or broken wire": 100.0,
    "switch-chatters, told as the switch's over a set both ways": 95.0,
    "switch-stuck-closed, told as the switch's over a set both ways": 95.0,
    "switch-moved, told as the switch's over a set both ways": 95.0,
    "drag, no wrong side": 99.0,
    "drag without switches, no side named": 100.0,
}


def rows(counts: Counter) -> list[Row]:
    found = []
    for what, floor in FLOORS.items():
        n, yes = counts[what], counts[f"{what}: yes"]
        percent = 100.0 * yes / max(n, 1)
        found.append(Row(what, f">= {floor:g} %", f"{percent:.2f} % ({yes} of {n})", percent >= floor))
    n, named = counts["one-sided drag"], counts["one-sided drag: named"]
    found.append(
        Row("one-sided drag, side named", "-", f"{100.0 * named / max(n, 1):.1f} % ({named} of {n})", True)
    )
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rigs", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--misses", action="store_true", help="list every miss")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    counts: Counter[str] = Counter()
    begin = 1000 * asked.seed + asked.first
    with ProcessPoolExecutor(asked.workers) as pool:
        for own, misses in pool.map(one_rig, range(begin, begin + asked.rigs), chunksize=2):
            counts.update(own)
            if asked.misses:
                print(*misses, sep="\n")
    found = rows(counts)
    print_table(f"Each pin by itself, {asked.rigs} random rigs from {begin}", found)
    return all_met(found)


if __name__ == "__main__":
    sys.exit(main())
