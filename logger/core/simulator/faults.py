"""The faults that can be laid on a throw, one row each: what the knob means and the sign that it should give.

``sign`` is the sign of the contract's table that a good detector must give at the severities of the row; ``also``
are signs that would be no mistake beside it. An empty ``sign``: one record alone can't show it for certain.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from logger.core.simulator import effects
from logger.core.simulator.plan import Plan, SetFault

Effect = Callable[[Plan, SetFault, np.random.Generator], None]

MECHANISM = "mechanism"
MOVEMENT = "movement"
NOWHERE = ""


@dataclass(frozen=True)
class Fault:
    """One fault of a throw."""

    kind: str
    """A row of ``FAULTS``."""
    severity: float | None = None
    """In the unit of the row's knob; None: the row's own."""
    place: float | None = None
    """0..1; on the mechanism (0 unlocked, 1 locked) or along this movement, as the row says; None: the row's own."""


@dataclass(frozen=True)
class FaultKind:
    """A row of the table."""

    sign: str
    also: frozenset[str]
    knob: str
    """What severity means."""
    usual: float
    low: float
    high: float
    place_on: str
    place: float
    act: Effect
    only: str = ""
    """The direction in which it shows; empty: both."""


def _row(
    sign: str,
    also: str,
    knob: str,
    severity: tuple[float, float, float],
    act: Effect,
    place_on: str = NOWHERE,
    place: float = 0.5,
    only: str = "",
) -> FaultKind:
    usual, low, high = severity
    return FaultKind(sign, frozenset(also.split()), knob, usual, low, high, place_on, place, act, only)


OF_RUN = "extra current, as a share of the running current"
OF_STROKE = "share of the stroke"
OF_VOLTAGE = "voltage lost at running current, as a share of nominal"

# fmt: off
FAULTS: dict[str, FaultKind] = {
    # heavier
    "even-friction": _row("drag", "over-rated slow-travel", OF_RUN, (0.3, 0.2, 0.5), effects.even_friction),
    "dry-screw": _row("drag", "over-rated slow-travel", OF_RUN, (0.3, 0.2, 0.5), effects.dry_screw),
    "cold-grease": _row("drag", "over-rated slow-travel binding-spot", OF_RUN, (0.35, 0.25, 0.6), effects.cold_grease),
    "local-bind": _row("binding-spot", "over-rated", "height, as a share of the running current", (0.4, 0.2, 1.0), effects.local_bind, MECHANISM, 0.6),
    "hole-edge": _row("binding-spot", "over-rated", "height, as a share of the running current", (0.5, 0.3, 1.0), effects.hole_edge, MECHANISM, 0.9, "lock"),
    "side-load": _row("drag", "over-rated binding-spot slow-travel", OF_RUN + ", mean", (0.3, 0.2, 0.5), effects.side_load),
    "weight-on-pins": _row("binding-spot", "over-rated drag", "height, as a share of the running current", (0.6, 0.3, 1.2), effects.weight_on_pins, MECHANISM, 0.96, "unlock"),
    "water-or-ice": _row("drag", "binding-spot over-rated noisy slow-travel", OF_RUN + ", first throw", (0.35, 0.25, 0.6), effects.water_or_ice),
    "over-rated": _row("over-rated", "drag slow-travel", "running current above the rated, as a share of it", (0.15, 0.1, 0.3), effects.over_rated),
    # stands still, or stops early
    "obstruction": _row("stall", "over-rated binding-spot low-supply slow-travel", "not used", (1, 1, 1), effects.obstruction, MOVEMENT, 0.5),
    "never-moved": _row("stall", "over-rated low-supply", "not used", (1, 1, 1), effects.never_moved),
    "limit-welded": _row("end-stop", "over-rated stall low-supply", "not used", (1, 1, 1), effects.limit_welded),
    "stop-before-limit": _row("end-stop", "over-rated stall low-supply", "distance before the limit, " + OF_STROKE, (0.01, 0.005, 0.02), effects.stop_before_limit),
    "limit-open": _row("no-start", "", "not used", (1, 1, 1), effects.limit_open),
    "limit-early": _row("stopped-short", "", "travel missing, " + OF_STROKE, (0.1, 0.05, 0.6), effects.limit_early),
    "fuse-blown": _row("stopped-short", "", "not used", (1, 1, 1), effects.fuse_blown, MOVEMENT, 0.55),
    "cut-out-tripped": _row("stopped-short", "", "current left, " "as a share of the running current", (0.02, 0.01, 0.05), effects.cut_out_tripped, MOVEMENT, 0.55),
    # off the mechanism, or loose
    "linkage-off": _row("light-run", "free-play", "not used", (1, 1, 1), effects.linkage_off),
    "stripped-nut": _row("light-run", "cut-record free-play stopped-short", "not used", (1, 1, 1), effects.stripped_nut, MOVEMENT, 0.03),
    "slipping-clutch": _row("no-end", "light-run cut-record stall slow-travel over-rated drag binding-spot stopped-short end-stop", "push at which it slips, as a share of the load", (0.9, 0.7, 1.0), effects.slipping_clutch),
    "free-play": _row("free-play", "", "further play, " + OF_STROKE, (0.05, 0.03, 0.1), effects.free_play),
    "uneven-sides": _row("uneven-sides", "free-play", "second side later by, " + OF_STROKE, (0.1, 0.06, 0.2), effects.uneven_sides),
    "one-pin-off": _row("", "light-run free-play uneven-sides", "not used", (1, 1, 1), effects.one_pin_off),
    "pins-clamp": _row("", "binding-spot drag end-stop stall over-rated", "height of the rise at the end, as a share of the running current", (0.5, 0.3, 1.0), effects.pins_clamp, MECHANISM, 0.92, "lock"),
    # electrical
    "long-cable": _row("supply-drop", "slow-travel", OF_VOLTAGE, (0.08, 0.06, 0.15), effects.long_cable),
    "corroded-plug": _row("supply-drop", "slow-travel noisy", OF_VOLTAGE + ", at its worst", (0.15, 0.1, 0.25), effects.corroded_plug),
    "weak-battery": _row("low-supply", "supply-drop slow-travel", "open-circuit voltage below 90 % of nominal by, as a share", (0.05, 0.03, 0.15), effects.weak_battery),
    "loss-downstream": _row("slow-travel", "", OF_VOLTAGE, (0.3, 0.25, 0.45), effects.loss_downstream),
    "worn-brushes": _row("noisy", "slow-travel gaps drag stopped-short", "jumps of the current, as a share of it", (0.4, 0.3, 0.6), effects.worn_brushes),
    "hot-motor": _row("", "slow-travel drag duty-exceeded", "winding above the air [K]", (50, 30, 80), effects.hot_motor),
    # the record
    "sensor-offset": _row("", "", "offset, as a share of the running current", (0.5, 0.2, 1.0), effects.sensor_offset),
    "sensor-gain": _row("", "drag light-run slow-travel over-rated supply-drop", "gain error, as a share", (0.2, 0.1, 0.3), effects.sensor_gain),
    "clipped": _row("clipped", "", "full scale, as a share of the running current", (0.85, 0.6, 0.95), effects.clipped),
    "gaps": _row("gaps", "", "share of the movement's time that the record lacks", (0.2, 0.1, 0.4), effects.gaps),
    "clock-jump": _row("gaps", "slow-travel", "jump, as a share of the movement's time", (0.2, 0.1, 0.4), effects.clock_jump, MOVEMENT, 0.5),
    "cut-record": _row("cut-record", "", "not used", (1, 1, 1), effects.cut_record, MOVEMENT, 0.6),
    "late-record": _row("cut-record", "", "not used", (1, 1, 1), effects.late_record, MOVEMENT, 0.3),
    "noisy": _row("noisy", "", "noise, as a share of the running current", (0.5, 0.4, 1.0), effects.noisy),
    # contacts
    "loose-contact": _row("interruption", "", "contact open [s]", (0.2, 0.08, 0.8), effects.loose_contact, MOVEMENT, 0.4),
}
# fmt: on


def lay_on(plan: Plan, fault: Fault, rng: np.random.Generator) -> FaultKind:
    """Change the plan as the fault asks; gives the fault's row. Raises ``KeyError`` for an unknown kind."""
    row = FAULTS[fault.kind]
    severity = row.usual if fault.severity is None else fault.severity
    place = row.place if fault.place is None else fault.place
    row.act(plan, SetFault(severity, place), rng)
    return row


def expected_signs(faults: Sequence[Fault], direction: str) -> tuple[frozenset[str], frozenset[str]]:
    """Signs that must show in this direction, and signs that may show beside them."""
    rows = [FAULTS[f.kind] for f in faults]
    rows = [row for row in rows if row.only in ("", direction)]
    must = frozenset(row.sign for row in rows if row.sign)
    return must, frozenset().union(*(row.also for row in rows)) - must
