"""What each fault does to a throw before it runs. One function a fault; the table is in ``faults``."""

from dataclasses import replace

import numpy as np

from logger.core.simulator.load import make_load, smooth_step
from logger.core.simulator.machine import bell
from logger.core.simulator.plan import STOP_GIVES_M, Plan, SetFault
from logger.core.trace import LOCK, UNLOCK, FloatArray

Rng = np.random.Generator


def _run_a(plan: Plan) -> float:
    return plan.machine.healthy_run_current_a(plan.direction)


def _push_n(plan: Plan, share: float) -> float:
    return plan.machine.extra_force_n(plan.direction, share)


def _bump(plan: Plan, height: float, place: float, width: float, shape: FloatArray) -> None:
    """Add a bump to the load and remember where on this movement it sits."""
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, height) * shape
    plan.bump_place = place if plan.direction == LOCK else 1 - place
    plan.bump_width = width


# -- heavier -----------------------------------------------------------------------------------------------


def even_friction(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """Dirt in the pins and guides: heavier wherever the mechanism is taken up."""
    share = plan.load.taken_up
    plan.load.dry_n = (
        plan.load.dry_n + _push_n(plan, fault.severity) * share / share[share.size // 2 :].mean()
    )


def dry_screw(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The actuator's own screw runs dry: heavier over the whole travel, play included."""
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, fault.severity)


def cold_grease(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """Stiff at first, easing as it is worked: along the travel and from throw to throw."""
    eased = np.exp(-(plan.conditions.throw_number - 1) / 4)
    along = 0.75 + 0.75 * np.exp(-plan.load.share / 0.3)
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, fault.severity * eased) * along / along.mean()


def local_bind(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A burr, a bent pin, packed mud: a bump at one place of the mechanism, both ways."""
    width = rng.uniform(0.03, 0.07)
    _bump(plan, fault.severity, fault.place, width, bell(plan.load.place(plan.direction), fault.place, width))


def hole_edge(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A pin meets the edge of its hole: steep at entry, then it slides in. Only on the way in."""
    if plan.direction != LOCK:
        return
    z = plan.load.share - fault.place
    shape = smooth_step((z + 0.01) / 0.01) * np.exp(-np.clip(z, 0, None) / 0.02)
    _bump(plan, fault.severity, fault.place, 0.03, shape)


def side_load(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A crooked mount: the further the rod is out, the harder it rubs; worse going out than coming in."""
    out = plan.load.place(plan.direction)
    out = out if plan.machine.extend_locks else 1 - out
    extends = (plan.direction == LOCK) == plan.machine.extend_locks
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, fault.severity) * 2 * out * (1.0 if extends else 0.7)


def weight_on_pins(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The attachment hangs on the pins: a break-away peak as they are drawn."""
    if plan.direction != UNLOCK:
        return
    width = rng.uniform(0.05, 0.09)
    start = plan.load.take_up_share + plan.machine.mechanism.ramp_m / plan.machine.stroke_m
    place = 1 - max(1 - fault.place, start + width / 2)
    _bump(plan, fault.severity, place, width, bell(1 - plan.load.share, place, width))


def water_or_ice(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """Rough on the first throw, then it clears."""
    left = np.exp(-(plan.conditions.throw_number - 1) / 0.8)
    knots = rng.uniform(0.3, 1.7, 40)
    rough = np.interp(plan.load.share, np.linspace(0, plan.load.share[-1], 40), knots / knots.mean())
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, fault.severity * left) * rough


def over_rated(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A mechanism too heavy for the actuator: runs above the rated maximum."""
    wanted = plan.machine.rated_a * (1 + fault.severity)
    plan.load.dry_n = plan.load.dry_n + (wanted - _run_a(plan)) * plan.machine.force_per_ampere


# -- stands still, or stops early --------------------------------------------------------------------------


def obstruction(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """Something solid in the way."""
    plan.stop_share = fault.place


def never_moved(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """Seized, or iron on iron from the first moment."""
    plan.stop_share = -1.0


def limit_welded(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The limit switch doesn't open: the rod runs into its own end."""
    plan.limit_share = None
    plan.stop_share = 1.002


def stop_before_limit(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The mechanism bottoms so hard that the rod stalls this far before the limit switch."""
    plan.stop_share = 1 - fault.severity - STOP_GIVES_M / plan.machine.stroke_m


def limit_open(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A contact, relay or wire is open in this direction."""
    plan.never_starts = True


def limit_early(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The limit switch has slipped: it cuts off before the travel is done."""
    plan.limit_share = 1 - fault.severity


def fuse_blown(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The circuit opens under way; the supply recovers."""
    plan.break_share = fault.place


def cut_out_tripped(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A self-resetting cut-out trips under way and lets a trickle through."""
    plan.break_share = fault.place
    plan.break_leak_a = fault.severity * _run_a(plan)


def loose_contact(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A contact between board and motor opens under way for a moment and closes again."""
    plan.contact_parts = fault.place
    plan.contact_open_s = fault.severity


# -- off the mechanism, or loose ---------------------------------------------------------------------------


def linkage_off(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A sheared pin: the rod runs free, healthier than healthy."""
    m = plan.machine.mechanism
    plan.load.dry_n = np.full_like(plan.load.dry_n, m.idle_share * m.drag_n)
    plan.load.viscous_n_s_m = np.zeros_like(plan.load.viscous_n_s_m)
    plan.load.taken_up = np.zeros_like(plan.load.taken_up)
    plan.on_mechanism = False


def stripped_nut(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The nut's thread is gone: the motor turns on, the rod doesn't move."""
    plan.slip_share = fault.place
    plan.slip_n = 0.12 * plan.machine.mechanism.drag_n
    plan.slip_teeth = 0.8


def slipping_clutch(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """An overload clutch that slips below the load: a flat cap that never ends."""
    plan.slip_n = fault.severity * float(plan.load.dry_n[: int(0.96 * plan.load.dry_n.size)].max())


def free_play(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A worn nut or worn joints: the load is taken up later."""
    _reload(plan, rng, more_play_m=fault.severity * plan.machine.stroke_m)


def uneven_sides(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """One side takes up its load well after the other."""
    _reload(plan, rng, more_delay_m=fault.severity * plan.machine.stroke_m)


def one_pin_off(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """One side's link is off: its share of the load is missing."""
    plan.load.dry_n = plan.load.dry_n * plan.machine.mechanism.side_share


def pins_clamp(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The pins press on the attachment beside their holes: the load rises towards the end of the lock."""
    if plan.direction != LOCK:
        return
    shape = np.clip((plan.load.share - fault.place) / (1 - fault.place), 0, None)
    plan.load.dry_n = plan.load.dry_n + _push_n(plan, fault.severity) * shape


def _reload(plan: Plan, rng: Rng, more_play_m: float = 0.0, more_delay_m: float = 0.0) -> None:
    """Work out the load again with more play; what earlier faults added is kept."""
    fresh = make_load(plan.machine, plan.direction, plan.conditions, rng, more_play_m, more_delay_m)
    added = plan.load.dry_n - plan.load.healthy_n
    fresh.dry_n = fresh.dry_n + added
    plan.load = fresh


# -- electrical --------------------------------------------------------------------------------------------


def _ohm_for(plan: Plan, share: float) -> float:
    """Resistance that loses this share of the nominal voltage at running current [ohm]."""
    return share * plan.machine.nominal_v / _run_a(plan)


def long_cable(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """Too long or too thin a cable upstream of the board."""
    plan.upstream_ohm += _ohm_for(plan, fault.severity)


def corroded_plug(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A contact upstream that comes and goes."""
    worst = _ohm_for(plan, fault.severity)
    times = np.cumsum(rng.exponential(0.25, 200))
    plan.upstream_steps = [(0.0, 0.6 * worst)]
    plan.upstream_steps += [(float(t), float(worst * rng.uniform(0.3, 1.0))) for t in times]


def weak_battery(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """An old or flat battery: low at rest and softer under load."""
    plan.open_circuit_v = plan.machine.nominal_v * (0.9 - fault.severity)
    plan.battery_ohm *= 2


def loss_downstream(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A bad joint between board and motor: the board sees full voltage, the motor doesn't."""
    plan.downstream_ohm += _ohm_for(plan, fault.severity)


def worn_brushes(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """Brushes at their end: more resistance, a current that jumps."""
    plan.downstream_ohm += fault.severity * plan.machine.motor.resistance_ohm
    plan.brush_noise = fault.severity


def hot_motor(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """Too many throws without a rest."""
    plan.winding_c += fault.severity


# -- the record --------------------------------------------------------------------------------------------


def sensor_offset(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The zero is off."""
    plan.sensor = replace(plan.sensor, offset_a=plan.sensor.offset_a + fault.severity * _run_a(plan))


def sensor_gain(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The gain is off."""
    plan.sensor = replace(plan.sensor, gain=plan.sensor.gain * (1 + fault.severity))


def clipped(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A sensor too small for the motor: clips within the run."""
    plan.sensor = replace(plan.sensor, full_scale_a=fault.severity * _run_a(plan))


def gaps(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """Rows missing in stretches."""
    plan.gap_share = fault.severity


def clock_jump(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The board's clock jumps ahead under way: no row is missing, but the times say so."""
    plan.jump_at, plan.jump_share = fault.place, fault.severity


def cut_record(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The record stops while the motor runs."""
    plan.record_to = fault.place


def late_record(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """The record begins while the motor runs."""
    plan.record_from = fault.place


def noisy(plan: Plan, fault: SetFault, rng: Rng) -> None:
    """A bad sensor, a loose sense wire."""
    plan.sensor = replace(plan.sensor, noise_a=fault.severity * _run_a(plan))
