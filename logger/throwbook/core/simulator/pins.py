"""Two pins on one rod: each with its own play, its own friction and its own switch, and what can be wrong with each.

A place is a share of the lock movement, 0 (unlocked) to 1 (locked). A pin follows the rod by the play of its link and by what
the link stretches under the pin's own friction: behind it on the way in, and behind it on the way out.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from throwbook.core.rig import LOCK, SIDES
from throwbook.core.trace import BoolArray, FloatArray

Rng = np.random.Generator

GREASE = 0.15
"""Share of a pin's usual friction that is the grease's."""
SCATTER = 0.05
"""Standard deviation of a pin's own friction from throw to throw, as a share of it."""
PARTS = 64
"""So finely the moment of a change is known, against the step of a throw."""


@dataclass(frozen=True)
class Pin:
    """One side as it is built; lengths as shares of the stroke."""

    play: float
    """Rod travel that the pin lags for the play of its link alone."""
    give: float
    """Further rod travel that it lags, for the stretch of its link under the pin's usual friction."""
    switch_at: float
    """Place of the pin at which its switch closes."""
    switch_gap: float
    """Travel back from there at which the switch opens again."""


def draw_pins(rng: Rng) -> dict[str, Pin]:
    """By side: links and switches as somebody builds them."""
    return {
        side: Pin(
            play=float(rng.uniform(0.001, 0.008)),
            give=float(rng.uniform(0.002, 0.010)),
            switch_at=float(rng.uniform(0.90, 0.93)),
            switch_gap=float(rng.uniform(0.003, 0.015)),
        )
        for side in SIDES
    }


@dataclass
class PinPlan:
    """One pin in one throw; faults write into it."""

    pin: Pin
    friction: float
    """Its friction as a share of the usual."""
    late: float = 0.0
    """Rod travel that it lags further, share of the stroke."""
    between: tuple[float, float] = (0.0, 1.0)
    """Places that it cannot leave; both the same: it hangs there."""
    stuck: bool | None = None
    """What the switch reads whatever the pin does; None: it follows the pin."""
    moved: float = 0.0
    """How far the switch has been pushed towards locked, share of the stroke."""
    opens_s: tuple[FloatArray, FloatArray] | None = None
    """From when and until when a loose contact opens [s since switch-on]; None: it doesn't."""

    def place(self, share: FloatArray, direction: str) -> FloatArray:
        """Where the pin is while the rod has moved these shares of the stroke; shape as ``share``."""
        lag = self.pin.play + self.pin.give * self.friction + self.late
        followed = np.maximum(share - lag, 0.0)
        return np.clip(followed if direction == LOCK else 1.0 - followed, *self.between)

    def closed(self, share: FloatArray, direction: str) -> BoolArray:
        """What the switch reads at those shares, its loose contact left out; shape as ``share``."""
        if self.stuck is not None:
            return np.full(len(share), self.stuck)
        at = self.pin.switch_at + self.moved - (0.0 if direction == LOCK else self.pin.switch_gap)
        return np.asarray(self.place(share, direction) >= at)


def plan_pins(pins: Mapping[str, Pin], stiffer: float, rng: Rng) -> dict[str, PinPlan]:
    """Both pins of one throw without faults, each with its friction of the day; ``stiffer``: the grease, against 20 degC."""
    usual = 1.0 + GREASE * (stiffer - 1.0)
    return {side: PinPlan(pin, usual + SCATTER * float(rng.standard_normal())) for side, pin in pins.items()}


def read_switch(plan: PinPlan, share: FloatArray, direction: str, time_s: FloatArray) -> BoolArray:
    """What the contact is at these instants [s since switch-on], when the rod has moved these shares; both of shape (n,).

    True: closed.
    """
    closed = plan.closed(share, direction)
    if plan.opens_s is not None:
        begins, ends = plan.opens_s
        last = np.searchsorted(begins, time_s, side="right") - 1
        closed &= ~((last >= 0) & (time_s < ends[np.clip(last, 0, None)]))
    return closed


@dataclass(frozen=True)
class SwitchTruth:
    """When one switch really changed, its contact's looseness left out; None: it didn't."""

    at_s: float | None
    """[s since switch-on]"""
    at_fraction: float | None
    """Share of the stroke that the rod had moved."""


def switch_truth(plan: PinPlan, time_s: FloatArray, share: FloatArray, direction: str) -> SwitchTruth:
    """The moment and the place, at the steps of a throw: times since switch-on [s] and shares of the stroke, shape (k,)."""
    closed = plan.closed(share, direction)
    changes = np.flatnonzero(closed[1:] != closed[:-1])
    if not len(changes):
        return SwitchTruth(None, None)
    row = int(changes[0])
    within_s = np.linspace(time_s[row], time_s[row + 1], PARTS + 1)
    moved = np.interp(within_s, time_s, share)  # between two steps the record sees a straight line
    first = int(np.argmax(plan.closed(moved, direction) != closed[row]))
    return SwitchTruth(float(within_s[first]), float(moved[first]))


@dataclass(frozen=True)
class Probe:
    """The temperature probe beside the board."""

    above_air_k: float = 0.0
    """In the sun, or over a warm engine."""
    noise_k: float = 0.05
    read: bool = True
    """False: it doesn't answer."""

    def reads(self, air_c: float, rows: int, rng: Rng) -> FloatArray:
        """Temperatures as the board gives them [degC], whole hundredths; NaN where it doesn't answer. Shape (rows,)."""
        if not self.read:
            return np.full(rows, np.nan)
        return np.round(air_c + self.above_air_k + self.noise_k * rng.standard_normal(rows), 2)


@dataclass
class Beside:
    """What a board may read beside current and voltage in one throw; faults write into it."""

    pins: dict[str, PinPlan]
    probe: Probe = field(default_factory=Probe)

    def in_the_sun(self, kelvin: float) -> None:
        """The probe reads that much above the air."""
        self.probe = replace(self.probe, above_air_k=self.probe.above_air_k + kelvin)
