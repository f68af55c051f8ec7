"""The faults that can be laid on a throw: what each does before it runs, its knob, and the sign that it should give.

``sign`` is the sign that a good detector must give at the severities of the row; ``also``
are signs that would be no mistake beside it. An empty ``sign``: one record alone can't show it for certain.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from throwbook.core.rig import LOCK, UNLOCK
from throwbook.core.simulator.machine import bell
from throwbook.core.simulator.plan import STOP_GIVES_M, SetFault, ThrowPlan, make_load, smooth_step
from throwbook.core.trace import FloatArray

Rng = np.random.Generator


def _run_a(plan: ThrowPlan) -> float:
    return plan.machine.healthy_run_current_a(plan.direction)


def _push_n(plan: ThrowPlan, share: float) -> float:
    return plan.machine.extra_force_n(plan.direction, share)


def _bump(plan: ThrowPlan, height: float, place: float, width: float, shape: FloatArray) -> None:
    """Add a bump to the load and remember where on this movement it sits."""
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, height) * shape
    plan.bump_place = place if plan.direction == LOCK else 1 - place
    plan.bump_width = width


# -- heavier -----------------------------------------------------------------------------------------------


def even_friction(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Dirt in the pins and guides: heavier wherever the mechanism is taken up."""
    share = plan.load.taken_up
    plan.load.dry_n = (
        plan.load.dry_n + _push_n(plan, fault.severity) * share / share[share.size // 2 :].mean()
    )


def dry_screw(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The actuator's own screw runs dry: heavier over the whole travel, play included."""
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, fault.severity)


def cold_grease(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Stiff at first, easing as it is worked: along the travel and from throw to throw."""
    eased = np.exp(-(plan.conditions.throw_number - 1) / 4)
    along = 0.75 + 0.75 * np.exp(-plan.load.share / 0.3)
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, fault.severity * eased) * along / along.mean()


def local_bind(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A burr, a bent pin, packed mud: a bump at one place of the mechanism, both ways."""
    width = rng.uniform(0.03, 0.07)
    _bump(plan, fault.severity, fault.place, width, bell(plan.load.place(plan.direction), fault.place, width))


def hole_edge(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A pin meets the edge of its hole: steep at entry, then it slides in. Only on the way in."""
    if plan.direction != LOCK:
        return
    z = plan.load.share - fault.place
    shape = smooth_step((z + 0.01) / 0.01) * np.exp(-np.clip(z, 0, None) / 0.02)
    _bump(plan, fault.severity, fault.place, 0.03, shape)


def side_load(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A crooked mount: the further the rod is out, the harder it rubs; worse going out than coming in."""
    out = plan.load.place(plan.direction)
    out = out if plan.machine.extend_locks else 1 - out
    extends = (plan.direction == LOCK) == plan.machine.extend_locks
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, fault.severity) * 2 * out * (1.0 if extends else 0.7)


def weight_on_pins(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The attachment hangs on the pins: a break-away peak as they are drawn."""
    if plan.direction != UNLOCK:
        return
    width = rng.uniform(0.05, 0.09)
    start = plan.load.take_up_share + plan.machine.mechanism.ramp_m / plan.machine.stroke_m
    place = 1 - max(1 - fault.place, start + width / 2)
    _bump(plan, fault.severity, place, width, bell(1 - plan.load.share, place, width))


def water_or_ice(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Rough on the first throw, then it clears."""
    left = np.exp(-(plan.conditions.throw_number - 1) / 0.8)
    knots = rng.uniform(0.3, 1.7, 40)
    rough = np.interp(plan.load.share, np.linspace(0, plan.load.share[-1], 40), knots / knots.mean())
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, fault.severity * left) * rough


def over_rated(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A mechanism too heavy for the actuator: runs above the rated maximum."""
    wanted = plan.machine.rated_a * (1 + fault.severity)
    plan.load.dry_n = plan.load.dry_n + (wanted - _run_a(plan)) * plan.machine.force_per_ampere


# -- stands still, or stops early --------------------------------------------------------------------------


def obstruction(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Something solid in the way."""
    plan.stop_share = fault.place


def never_moved(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Seized, or iron on iron from the first moment."""
    plan.stop_share = -1.0


def limit_welded(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The limit switch doesn't open: the rod runs into its own end."""
    plan.limit_share = None
    plan.stop_share = 1.002


def stop_before_limit(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The mechanism bottoms so hard that the rod stalls this far before the limit switch."""
    plan.stop_share = 1 - fault.severity - STOP_GIVES_M / plan.machine.stroke_m


def limit_open(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A contact, relay or wire is open in this direction."""
    plan.never_starts = True


def limit_early(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The limit switch has slipped: it cuts off before the travel is done."""
    plan.limit_share = 1 - fault.severity


def fuse_blown(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The circuit opens under way; the supply recovers."""
    plan.break_share = fault.place


def cut_out_tripped(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A self-resetting cut-out trips under way and lets a trickle through."""
    plan.break_share = fault.place
    plan.break_leak_a = fault.severity * _run_a(plan)


def loose_contact(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A contact between board and motor opens under way for a moment and closes again."""
    plan.contact_parts = fault.place
    plan.contact_open_s = fault.severity


# -- off the mechanism, or loose ---------------------------------------------------------------------------


def linkage_off(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A sheared pin: the rod runs free, healthier than healthy."""
    m = plan.machine.mechanism
    plan.load.dry_n = np.full_like(plan.load.dry_n, m.idle_share * m.drag_n)
    plan.load.viscous_n_s_m = np.zeros_like(plan.load.viscous_n_s_m)
    plan.load.taken_up = np.zeros_like(plan.load.taken_up)
    plan.on_mechanism = False


def stripped_nut(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The nut's thread is gone: the motor turns on, the rod doesn't move."""
    plan.slip_share = fault.place
    plan.slip_n = 0.12 * plan.machine.mechanism.drag_n
    plan.slip_teeth = 0.8


def slipping_clutch(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """An overload clutch that slips below the load: a flat cap that never ends."""
    plan.slip_n = fault.severity * float(plan.load.dry_n[: int(0.96 * plan.load.dry_n.size)].max())


def free_play(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A worn nut or worn joints: the load is taken up later."""
    _reload(plan, rng, more_play_m=fault.severity * plan.machine.stroke_m)


def uneven_sides(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """One side takes up its load well after the other."""
    _reload(plan, rng, more_delay_m=fault.severity * plan.machine.stroke_m)


def one_pin_off(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """One side's link is off: its share of the load is missing."""
    plan.load.dry_n = plan.load.dry_n * plan.machine.mechanism.side_share


def pins_clamp(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The pins press on the attachment beside their holes: the load rises towards the end of the lock."""
    if plan.direction != LOCK:
        return
    shape = np.clip((plan.load.share - fault.place) / (1 - fault.place), 0, None)
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, fault.severity) * shape


def _reload(plan: ThrowPlan, rng: Rng, more_play_m: float = 0.0, more_delay_m: float = 0.0) -> None:
    """Work out the load again with more play; what earlier faults added is kept."""
    fresh = make_load(plan.machine, plan.direction, plan.conditions, rng, more_play_m, more_delay_m)
    added = plan.load.dry_n - plan.load.healthy_n
    fresh.dry_n = fresh.dry_n + added
    plan.load = fresh


# -- electrical --------------------------------------------------------------------------------------------


def _ohm_for(plan: ThrowPlan, share: float) -> float:
    """Resistance that loses this share of the nominal voltage at running current [ohm]."""
    return share * plan.machine.nominal_v / _run_a(plan)


def long_cable(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Too long or too thin a cable upstream of the board."""
    plan.upstream_ohm += _ohm_for(plan, fault.severity)


def corroded_plug(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A contact upstream that comes and goes."""
    worst = _ohm_for(plan, fault.severity)
    times = np.cumsum(rng.exponential(0.25, 200))
    plan.upstream_steps = [(0.0, 0.6 * worst)]
    plan.upstream_steps += [(float(t), float(worst * rng.uniform(0.3, 1.0))) for t in times]


def weak_battery(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """An old or flat battery: low at rest and softer under load."""
    plan.open_circuit_v = plan.machine.nominal_v * (0.9 - fault.severity)
    plan.battery_ohm *= 2


def loss_downstream(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A bad joint between board and motor: the board sees full voltage, the motor doesn't."""
    plan.downstream_ohm += _ohm_for(plan, fault.severity)


def worn_brushes(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Brushes at their end: more resistance, a current that jumps."""
    plan.downstream_ohm += fault.severity * plan.machine.motor.resistance_ohm
    plan.brush_noise = fault.severity


def hot_motor(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Too many throws without a rest."""
    plan.winding_c += fault.severity


# -- the record --------------------------------------------------------------------------------------------


def sensor_offset(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The zero is off."""
    plan.sensor = replace(plan.sensor, offset_a=plan.sensor.offset_a + fault.severity * _run_a(plan))


def sensor_gain(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The gain is off."""
    plan.sensor = replace(plan.sensor, gain=plan.sensor.gain * (1 + fault.severity))


def clipped(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A sensor too small for the motor: clips within the run."""
    plan.sensor = replace(plan.sensor, full_scale_a=fault.severity * _run_a(plan))


def gaps(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Rows missing in stretches."""
    plan.gap_share = fault.severity


def clock_jump(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The board's clock jumps ahead under way: no row is missing, but the times say so."""
    plan.jump_at, plan.jump_share = fault.place, fault.severity


def cut_record(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The record stops while the motor runs."""
    plan.record_to = fault.place


def late_record(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The record begins while the motor runs."""
    plan.record_from = fault.place


def noisy(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A bad sensor, a loose sense wire."""
    plan.sensor = replace(plan.sensor, noise_a=fault.severity * _run_a(plan))


# -- one pin by itself, its switch, the probe: only a board with those channels shows them --------------------------


def pin_behind(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """One pin stays behind, short of its hole on the way in or in it on the way out; the current is as ever."""
    plan.beside.pins[fault.side].between = (0.0, fault.place) if plan.direction == LOCK else (1.0, 1.0)


def pin_late(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The play of one pin's link has grown."""
    plan.beside.pins[fault.side].late += fault.severity


def side_link_off(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The link of one side is off: its pin hangs where it hangs, and its share of the load is missing."""
    plan.beside.pins[fault.side].between = (fault.place, fault.place)
    plan.load.dry_n = plan.load.dry_n * plan.machine.mechanism.side_share


def side_drag(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Dirt in the guide of one pin: heavier over the whole travel, and that side's link stretches further."""
    even_friction(plan, fault, rng)
    plan.beside.pins[fault.side].friction += 2 * fault.severity


def switch_open(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Stuck open, a broken wire, or the magnet is lost: they read the same."""
    plan.beside.pins[fault.side].stuck = False


def switch_closed(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Stuck closed, or a pinched cable."""
    plan.beside.pins[fault.side].stuck = True


def switch_chatters(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """A loose contact: opens for a moment, again and again."""
    own = rng.spawn(1)[0]  # the current is as it would be without
    shut, open_s = own.exponential(fault.severity, 400), 0.02 + own.exponential(0.05, 400)
    ends = np.cumsum(shut + open_s) - 5.0
    plan.beside.pins[fault.side].opens_s = (ends - open_s, ends)


def switch_moved(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """Knocked out of its place, towards locked (below zero: towards unlocked)."""
    plan.beside.pins[fault.side].moved += fault.severity


def probe_in_sun(plan: ThrowPlan, fault: SetFault, rng: Rng) -> None:
    """The sun is on the temperature probe."""
    plan.beside.in_the_sun(fault.severity)


Effect = Callable[[ThrowPlan, SetFault, np.random.Generator], None]


MECHANISM = "mechanism"
MOVEMENT = "movement"
NOWHERE = ""


@dataclass(frozen=True)
class SimulatedFault:
    """One fault of a throw."""

    kind: str
    """A row of ``FAULTS`` or ``PIN_FAULTS``."""
    severity: float | None = None
    """In the unit of the row's knob; None: the row's own."""
    place: float | None = None
    """0..1; on the mechanism (0 unlocked, 1 locked) or along this movement, as the row says; None: the row's own."""
    side: str = "right"
    """Of a fault of ``PIN_FAULTS``: which pin."""


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
OF_VOLTAGE = "voltage drop at running current, as a share of nominal"


# fmt: off
FAULTS: dict[str, FaultKind] = {
    # heavier
    "even-friction": _row("drag", "over-rated slow-travel", OF_RUN, (0.3, 0.2, 0.5), even_friction),
    "dry-screw": _row("drag", "over-rated slow-travel", OF_RUN, (0.3, 0.2, 0.5), dry_screw),
    "cold-grease": _row("drag", "over-rated slow-travel binding-spot", OF_RUN, (0.35, 0.25, 0.6), cold_grease),
    "local-bind": _row("binding-spot", "over-rated", "height, as a share of the running current", (0.4, 0.2, 1.0), local_bind, MECHANISM, 0.6),
    "hole-edge": _row("binding-spot", "over-rated", "height, as a share of the running current", (0.5, 0.3, 1.0), hole_edge, MECHANISM, 0.9, "lock"),
    "side-load": _row("drag", "over-rated binding-spot slow-travel", OF_RUN + ", mean", (0.3, 0.2, 0.5), side_load),
    "weight-on-pins": _row("binding-spot", "over-rated drag", "height, as a share of the running current", (0.6, 0.3, 1.2), weight_on_pins, MECHANISM, 0.96, "unlock"),
    "water-or-ice": _row("drag", "binding-spot over-rated noisy slow-travel", OF_RUN + ", first throw", (0.35, 0.25, 0.6), water_or_ice),
    "over-rated": _row("over-rated", "drag slow-travel", "running current above the rated, as a share of it", (0.15, 0.1, 0.3), over_rated),
    # stands still, or stops early
    "obstruction": _row("stall", "over-rated binding-spot low-supply slow-travel", "not used", (1, 1, 1), obstruction, MOVEMENT, 0.5),
    "never-moved": _row("stall", "over-rated low-supply", "not used", (1, 1, 1), never_moved),
    "limit-welded": _row("end-stop", "over-rated stall low-supply", "not used", (1, 1, 1), limit_welded),
    "stop-before-limit": _row("end-stop", "over-rated stall low-supply", "distance before the limit, " + OF_STROKE, (0.01, 0.005, 0.02), stop_before_limit),
    "limit-open": _row("no-start", "", "not used", (1, 1, 1), limit_open),
    "limit-early": _row("stopped-short", "", "travel missing, " + OF_STROKE, (0.1, 0.05, 0.6), limit_early),
    "fuse-blown": _row("stopped-short", "", "not used", (1, 1, 1), fuse_blown, MOVEMENT, 0.55),
    "cut-out-tripped": _row("stopped-short", "", "current left, " "as a share of the running current", (0.02, 0.01, 0.05), cut_out_tripped, MOVEMENT, 0.55),
    # off the mechanism, or loose
    "linkage-off": _row("light-run", "free-play", "not used", (1, 1, 1), linkage_off),
    "stripped-nut": _row("light-run", "cut-record free-play stopped-short", "not used", (1, 1, 1), stripped_nut, MOVEMENT, 0.03),
    "slipping-clutch": _row("no-end", "light-run cut-record stall slow-travel over-rated drag binding-spot stopped-short end-stop", "force at which it slips, as a share of the load", (0.9, 0.7, 1.0), slipping_clutch),
    "free-play": _row("free-play", "", "further play, " + OF_STROKE, (0.05, 0.03, 0.1), free_play),
    "uneven-sides": _row("uneven-sides", "free-play", "second side later by, " + OF_STROKE, (0.1, 0.06, 0.2), uneven_sides),
    "one-pin-off": _row("", "light-run free-play uneven-sides", "not used", (1, 1, 1), one_pin_off),
    "pins-clamp": _row("", "binding-spot drag end-stop stall over-rated", "height of the rise at the end, as a share of the running current", (0.5, 0.3, 1.0), pins_clamp, MECHANISM, 0.92, "lock"),
    # electrical
    "long-cable": _row("supply-drop", "slow-travel", OF_VOLTAGE, (0.08, 0.06, 0.15), long_cable),
    "corroded-plug": _row("supply-drop", "slow-travel noisy", OF_VOLTAGE + ", at its worst", (0.15, 0.1, 0.25), corroded_plug),
    "weak-battery": _row("low-supply", "supply-drop slow-travel", "open-circuit voltage below 90 % of nominal by, as a share", (0.05, 0.03, 0.15), weak_battery),
    "loss-downstream": _row("slow-travel", "", OF_VOLTAGE, (0.3, 0.25, 0.45), loss_downstream),
    "worn-brushes": _row("noisy", "slow-travel gaps drag stopped-short", "jumps of the current, as a share of it", (0.4, 0.3, 0.6), worn_brushes),
    "hot-motor": _row("", "slow-travel drag duty-exceeded", "winding above the air [K]", (50, 30, 80), hot_motor),
    # the record
    "sensor-offset": _row("", "", "offset, as a share of the running current", (0.5, 0.2, 1.0), sensor_offset),
    "sensor-gain": _row("", "drag light-run slow-travel over-rated supply-drop", "gain error, as a share", (0.2, 0.1, 0.3), sensor_gain),
    "clipped": _row("clipped", "", "full scale, as a share of the running current", (0.85, 0.6, 0.95), clipped),
    "gaps": _row("gaps", "", "share of the movement's time that the record lacks", (0.2, 0.1, 0.4), gaps),
    "clock-jump": _row("gaps", "slow-travel", "jump, as a share of the movement's time", (0.2, 0.1, 0.4), clock_jump, MOVEMENT, 0.5),
    "cut-record": _row("cut-record", "", "not used", (1, 1, 1), cut_record, MOVEMENT, 0.6),
    "late-record": _row("cut-record", "", "not used", (1, 1, 1), late_record, MOVEMENT, 0.3),
    "noisy": _row("noisy", "", "noise, as a share of the running current", (0.5, 0.4, 1.0), noisy),
    # contacts
    "loose-contact": _row("interruption", "", "contact open [s]", (0.2, 0.08, 0.8), loose_contact, MOVEMENT, 0.4),
}

PIN_FAULTS: dict[str, FaultKind] = {
    "pin-behind": _row("switch-open", "", "not used", (1, 1, 1), pin_behind, MECHANISM, 0.85),
    "pin-late": _row("switch-lag", "switch-open", "further travel that it lags, " + OF_STROKE, (0.04, 0.03, 0.05), pin_late),
    "side-link-off": _row("switch-open", "light-run free-play uneven-sides", "not used", (1, 1, 1), side_link_off, MECHANISM, 0.0),
    "side-drag": _row("drag", "over-rated slow-travel switch-lag", OF_RUN, (0.3, 0.2, 0.5), side_drag),
    "switch-stuck-open": _row("switch-open", "", "not used", (1, 1, 1), switch_open),
    "magnet-lost": _row("switch-open", "", "not used", (1, 1, 1), switch_open),
    "switch-stuck-closed": _row("switch-fault", "switch-open", "not used", (1, 1, 1), switch_closed),
    "switch-chatters": _row("switch-fault", "switch-open switch-lag", "time between two openings [s]", (0.1, 0.05, 0.2), switch_chatters),
    "switch-moved": _row("", "switch-fault switch-lag switch-open", "towards the end of a lock throw, " + OF_STROKE, (-0.1, -0.2, -0.05), switch_moved),
    "probe-in-sun": _row("", "", "above the air [K]", (15, 8, 30), probe_in_sun),
}
"""What only a board with a switch at each pin, or with a probe, shows."""

# fmt: on


def kind_of(fault: SimulatedFault) -> FaultKind:
    """The row of a fault. Raises ``KeyError`` for an unknown kind."""
    return PIN_FAULTS[fault.kind] if fault.kind in PIN_FAULTS else FAULTS[fault.kind]


def lay_on(plan: ThrowPlan, fault: SimulatedFault, rng: np.random.Generator) -> FaultKind:
    """Change the plan as the fault asks; gives the fault's row. Raises ``KeyError`` for an unknown kind."""
    row = kind_of(fault)
    severity = row.usual if fault.severity is None else fault.severity
    place = row.place if fault.place is None else fault.place
    row.act(plan, SetFault(severity, place, fault.side), rng)
    return row


def expected_signs(faults: Sequence[SimulatedFault], direction: str) -> tuple[frozenset[str], frozenset[str]]:
    """Signs that must show in this direction, and signs that may show beside them."""
    rows = [kind_of(fault) for fault in faults]
    rows = [row for row in rows if row.only in ("", direction)]
    must = frozenset(row.sign for row in rows if row.sign)
    return must, frozenset().union(*(row.also for row in rows)) - must
