"""Records drawn by hand for the tests: straight lines and one exponential, no machine model behind them.

Every number is invented; what matters is that the places in time are known exactly.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from throwbook.core.analysis.baseline import Baseline, make_baseline
from throwbook.core.analysis.segmentation import Segments
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.quantities.statistics import from_step
from throwbook.core.rig import Actuator, LockMechanism, Rig
from throwbook.core.trace import Trace

ACTUATOR = Actuator(
    voltage_v=12.0,
    stroke_m=0.2,
    rated_force_n=1500.0,
    no_load_speed_m_s=0.016,
    no_load_current_a=0.9,
    full_load_current_a=3.6,
    full_load_speed_m_s=0.011,
)
RIG = Rig("yard-loader", ACTUATOR, LockMechanism(needed_travel_m=0.188))


@dataclass(frozen=True)
class Drawn:
    """A stroke as it is drawn; times in s, currents in A."""

    rate_hz: float = 200.0
    rest_s: float = 0.6
    run_s: float = 13.2
    after_s: float = 0.8
    level_a: float = 1.8
    peak_a: float = 9.0
    decay_s: float = 0.05
    bump_a: float = 0.0
    bump_at: float = 0.4
    bump_width: float = 0.03
    rest_v: float = 12.6
    source_ohm: float = 0.08
    noise_a: float = 0.01
    offset_a: float = 0.02
    ripple: float = 0.02
    ripple_hz: float = 83.0
    stall_from: float | None = None
    stall_a: float = 9.2
    sign: int = 1
    with_voltage: bool = True
    ambient_c: float | None = 15.0
    direction: str = "lock"
    seed: int = 1

    @property
    def start_s(self) -> float:
        return self.rest_s

    @property
    def end_s(self) -> float:
        return self.rest_s + self.run_s

    def but(self, **changes) -> "Drawn":
        return replace(self, **changes)

    def trace(self) -> Trace:
        rng = np.random.default_rng(self.seed)
        n = int((self.rest_s + self.run_s + self.after_s) * self.rate_hz)
        time_s = np.arange(n) / self.rate_hz
        since = time_s - self.start_s
        share = since / self.run_s
        moving = (since >= 0) & (time_s < self.end_s)
        shape = self.level_a * (1.0 + 0.1 * np.sin(5.0 * share))
        shape = shape + self.bump_a * np.exp(-0.5 * ((share - self.bump_at) / self.bump_width) ** 2)
        shape = shape + (self.peak_a - self.level_a) * np.exp(-np.maximum(since, 0.0) / self.decay_s)
        shape = shape * (1.0 + self.ripple * np.sin(2.0 * np.pi * self.ripple_hz * time_s))
        if self.stall_from is not None:
            shape = np.where(share >= self.stall_from, self.stall_a, shape)
        true_a = np.where(moving, shape, 0.0)
        volts = self.rest_v - self.source_ohm * true_a + rng.normal(0.0, 0.004, n)
        amps = self.sign * (true_a) + self.offset_a + rng.normal(0.0, self.noise_a, n)
        return Trace(
            time_s=time_s,
            current_a=amps,
            voltage_v=volts if self.with_voltage else None,
            direction=self.direction,
            ambient_c=self.ambient_c,
            source=f"drawn-{self.seed}",
        )


def healthy(n: int, base: Drawn | None = None, spread: float = 0.01) -> list[Trace]:
    """n healthy strokes that differ a little from each other."""
    base = base or Drawn()
    rng = np.random.default_rng(99)
    return [
        base.but(seed=100 + k, level_a=base.level_a * (1.0 + rng.normal(0.0, spread))).trace()
        for k in range(n)
    ]


@cache
def usual_baseline(n: int = 8) -> Baseline:
    """Of n healthy strokes; made once for all who compare with it."""
    return make_baseline([assess_trace(trace, RIG) for trace in healthy(n)], "drawn")


def cut_by_hand(
    time_s: np.ndarray, current_a: np.ndarray, first: int, settled: int, last: int, **more: object
) -> Segments:
    """A movement cut at these rows, edges half way between two of them; no rest, noise or step of its own."""
    period_s = float(np.median(np.diff(time_s)))
    edge_u_s = from_step(period_s)
    plain = {
        "polarity": 1,
        "zero_a": 0.0,
        "zero_u_a": 0.0,
        "noise_a": 0.0,
        "step_a": 0.0,
        "period_s": period_s,
        "ramped": False,
        "start_s": float(time_s[first]) - 0.5 * period_s,
        "start_u_s": edge_u_s,
        "end_s": float(time_s[last]) + 0.5 * period_s,
        "end_u_s": edge_u_s,
        "starts_running": False,
        "ends_running": False,
        "pauses": 0,
        "bounced_s": 0.0,
        "residual_a": 0.0,
        "spikes": 0,
        "settled_latest": settled,
        "over": last,
    }
    return Segments(current_a=current_a, first=first, settled=settled, last=last, **{**plain, **more})
