"""Machines that move by other equations than the project's own simulator, for a second opinion on single strokes.

Two kinds of motion: a motor on a screw as an equation of motion (inertia, inductance, Stribeck friction), stepped for
many throws at once; and a position drive that runs a trapezoid and takes whatever current that needs. All numbers
are drawn, none is a measurement of a real product.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from throwbook.core.rig import Actuator, Board, LockMechanism, Rig

Array = NDArray[np.float64]
Interval = tuple[float, float]
GRID = np.linspace(0.0, 1.0, 401)
SCREW, DRIVE = "screw", "drive"


@dataclass(frozen=True)
class Machine:
    """What is really bolted on, beside what its data sheet says (``rig``)."""

    rig: Rig
    kind: str
    i0_a: float
    r_ohm: float
    ke: float
    """[V s/m]"""
    kf: float
    """[N/A]"""
    tau_m_s: float
    tau_e_s: float
    viscous: float
    """Share of the drive's own friction that grows with speed."""
    stiction: float
    """Break-away over sliding friction, less one."""
    load_a: Array
    """Load over the stroke, as the current it takes [A], on GRID."""
    take_up: float
    throw_spread: float
    accel_s: float
    """Ramp of a drive [s]."""
    cruise: float
    """Drive: share of the speed that the motor line allows."""
    limit_a: float
    grease: float
    grease_s: float
    wind_up_s: float = 0.08
    """How fast a drive's current winds up to its limit at a stop [s]."""

    @property
    def stroke_m(self) -> float:
        return self.rig.actuator.stroke_m

    @property
    def run_a(self) -> float:
        return float(self.i0_a + np.mean(self.load_a))


@dataclass(frozen=True)
class Throw:
    """One throw asked of a machine, and what is wrong with it."""

    battery_v: float
    source_ohm: float
    downstream_ohm: float = 0.0
    load_a: Array = field(default_factory=lambda: np.zeros_like(GRID))
    stop_at: float = np.inf
    """Share of the stroke at which something stands in the way."""
    cut_at: float = 1.0
    """Share of the stroke at which the current is cut."""
    held_s: float = 1.0
    """How long it stands at the stop before fuse, cut-out or operator let go; inf: the record ends first."""
    warm: float = 1.0
    """Winding resistance over that at 20 degC."""
    slow: float = 1.0
    slips_from: float = np.inf
    grease: float = 0.0
    longest_s: float = 0.0


@dataclass(frozen=True)
class Motion:
    """The truth of one throw from the moment that the current is switched on."""

    t_s: Array
    current_a: Array
    voltage_v: Array
    share: Array
    """Travel as a share of the stroke."""
    transient_s: float
    """The start-up transient is over."""
    slowing_s: float
    """A drive begins to slow down; a screw: same as ``end_s``."""
    end_s: float
    """The current is gone; inf: nothing ended it."""
    stop_s: float
    """It stood still under voltage from here; inf: never."""
    settled_s: tuple[float, float] = (0.0, 0.0)
    """Of the excess current that ran it up 2 % is left, and half a per cent; a drive: its ramp is over."""

    def run_truth(self) -> "tuple[Interval | None, Interval | None]":
        """Mean and highest of the run's ripple-free current [A]; None: there was no run.

        Left open: whether the start-up is over with 2 % left of what ran the motor up or with half a per cent, and what
        a drive's slowing down counts for.
        """
        until_s = min(self.end_s, self.stop_s)
        means, peaks = [], []
        for begin_s in self.settled_s:
            for stop_s in (until_s, min(self.slowing_s, until_s)):
                run = (self.t_s >= begin_s) & (self.t_s <= stop_s)
                if run.sum() < 3:
                    return None, None
                t, i = self.t_s[run], self.current_a[run]
                means.append(float(np.trapezoid(i, t) / (t[-1] - t[0])))
                peaks.append(float(i.max()))
        return (min(means), max(means)), (min(peaks), max(peaks))

    def inrush_truth(self) -> float | None:
        """Highest ripple-free current of the start-up [A]; None: it was over at once."""
        early = (self.t_s > 0.0) & (self.t_s <= min(self.settled_s[0], self.end_s))
        return float(self.current_a[early].max()) if early.any() else None


def draw_machine(
    rng: np.random.Generator, kind: str, amps: tuple[float, float], time_s: tuple[float, float]
) -> Machine:
    """One machine with a data sheet that fits it within a few per cent and a load well inside its rating."""
    volts = float(rng.choice([12.0, 24.0, 48.0]))
    full_a = float(np.exp(rng.uniform(*np.log(amps))))
    none_a = full_a * rng.uniform(0.12, 0.33)
    stroke = float(np.exp(rng.uniform(*np.log((0.02, 0.6)))))
    speed = stroke / float(np.exp(rng.uniform(*np.log(time_s)))) * 1.15
    droop = rng.uniform(0.6, 0.86)
    force = rng.uniform(0.15, 0.4) * volts * full_a / (speed * droop)
    r_ohm = volts * (1 - droop) / (full_a - droop * none_a)
    ke = (volts - none_a * r_ohm) / speed
    off = rng.uniform(0.97, 1.03, 4)
    i0 = none_a * off[0]
    mean = rng.uniform(0.2, 0.42) * (full_a - none_a)
    take_up = rng.uniform(0.04, 0.3)
    load = _load_shape(rng, take_up)
    load *= mean / load.mean()
    load *= min(1.0, (0.85 * full_a - i0) / load.max())
    rig = Rig(
        name="elsewhere",
        actuator=Actuator(
            voltage_v=volts,
            stroke_m=stroke,
            rated_force_n=force,
            no_load_speed_m_s=speed,
            no_load_current_a=none_a,
            full_load_current_a=full_a,
            full_load_speed_m_s=speed * droop if rng.random() < 0.7 else None,
            extend_locks=bool(rng.random() < 0.7),
        ),
        lock=LockMechanism(needed_travel_m=stroke * rng.uniform(0.92, 0.98)),
        board=Board(placed_in="motor" if rng.random() < 0.35 else "supply"),
    )
    return Machine(
        rig=rig,
        kind=kind,
        i0_a=i0,
        r_ohm=r_ohm * off[1],
        ke=ke * off[2],
        kf=force / (full_a - none_a),
        tau_m_s=rng.uniform(0.012, 0.09),
        tau_e_s=rng.uniform(0.0005, 0.004),
        viscous=rng.uniform(0.0, 0.5),
        stiction=rng.uniform(0.1, 0.8),
        load_a=load,
        take_up=take_up,
        throw_spread=rng.uniform(0.004, 0.025),
        accel_s=rng.uniform(0.08, 0.5),
        cruise=rng.uniform(0.94, 1.0),
        limit_a=full_a * rng.uniform(1.6, 2.4),
        grease=0.0,
        grease_s=rng.uniform(0.15, 0.5),
    )


def _load_shape(rng: np.random.Generator, take_up: float) -> Array:
    """Free at first, then one or two pins, a slope, a hump where they meet their holes, and some roughness."""
    width = rng.uniform(0.005, 0.03)
    shape = 0.15 + rng.uniform(0.4, 0.85) / (1 + np.exp(-(GRID - take_up) / width))
    if rng.random() < 0.3:
        shape += rng.uniform(0.2, 0.45) / (1 + np.exp(-(GRID - take_up - rng.uniform(0.1, 0.35)) / width))
    shape *= 1 + rng.uniform(-0.15, 0.35) * GRID
    if rng.random() < 0.6:
        shape += rng.uniform(0.05, 0.3) * np.exp(
            -0.5 * ((GRID - rng.uniform(0.5, 0.92)) / rng.uniform(0.02, 0.08)) ** 2
        )
    return shape + _rough(rng, 0.02)


def _rough(rng: np.random.Generator, size: float) -> Array:
    raw = np.convolve(rng.normal(size=GRID.size + 40), np.hanning(41) / np.hanning(41).sum(), "valid")
    return size * raw / raw.std()


def healthy(rng: np.random.Generator, m: Machine) -> Throw:
    """A healthy throw: the load a little different each time, the battery too."""
    volts = m.rig.actuator.voltage_v
    spread = rng.normal(1.0, m.throw_spread)
    return Throw(
        # A drive hangs on a regulated supply, a machine on its battery.
        battery_v=volts * rng.uniform(1.0, 1.005 if m.kind == DRIVE else 1.06),
        source_ohm=volts * rng.uniform(0.002, 0.03) / m.rig.actuator.full_load_current_a,
        load_a=m.load_a * spread * (1 + _rough(rng, 0.3 * m.throw_spread)),
        warm=1 + 0.00393 * rng.normal(0, 4),
        grease=m.grease * rng.uniform(0.8, 1.2),
    )


def run(machines: list[Machine], throws: list[Throw]) -> list[Motion]:
    """Move them all; one machine per throw."""
    moved: list[Motion | None] = [None] * len(throws)
    screws = [k for k, m in enumerate(machines) if m.kind == SCREW]
    if screws:
        for k, motion in zip(
            screws, _screws([machines[k] for k in screws], [throws[k] for k in screws]), strict=True
        ):
            moved[k] = motion
    for k, m in enumerate(machines):
        if m.kind == DRIVE:
            moved[k] = _drive(m, throws[k])
    return [motion for motion in moved if motion is not None]


STEPS_FAST, STEPS_SLOW = 700, 6000


def _screws(machines: list[Machine], throws: list[Throw]) -> list[Motion]:
    """L di/dt = V - R i - ke v; m dv/dt = kf i - friction(v) - load(x): implicit in i, explicit in v."""

    def col(values: list[float]) -> Array:
        return np.array(values, dtype=float)

    stroke = col([m.stroke_m for m in machines])
    r_motor = col([m.r_ohm * t.warm + t.downstream_ohm for m, t in zip(machines, throws, strict=True)])
    r_all = r_motor + col([t.source_ohm for t in throws])
    ke, kf = col([m.ke for m in machines]), col([m.kf for m in machines])
    battery = col([t.battery_v for t in throws])
    r_own = col([m.r_ohm for m in machines])
    mass = col([m.tau_m_s for m in machines]) * kf * ke / r_own
    induct = col([m.tau_e_s for m in machines]) * r_own
    own = col([m.i0_a for m in machines]) * kf
    visc = col([m.viscous for m in machines])
    stick = col([m.stiction for m in machines])
    v_ref = col([m.rig.actuator.no_load_speed_m_s for m in machines])
    load = np.array([t.load_a for t in throws]) * kf[:, None]
    stop, slip = col([t.stop_at for t in throws]), col([t.slips_from for t in throws])
    grease, grease_s = col([t.grease for t in throws]), col([m.grease_s for m in machines])
    nominal = stroke / v_ref
    longest = col([t.longest_s for t in throws])
    slow_dt = np.maximum(np.maximum(3.0 * nominal + 5.0, longest) / STEPS_SLOW, 0.001)
    n = len(throws)
    lane = np.arange(n)
    total = STEPS_FAST + STEPS_SLOW
    out_i, out_x, out_t, out_e = (np.zeros((total + 1, n), dtype=np.float32) for _ in range(4))
    i, v, x, t = (np.zeros(n) for _ in range(4))
    for k in range(total):
        dt = np.where(k < STEPS_FAST, 0.001, slow_dt)
        i = (battery + induct / dt * i - ke * v) / (r_all + induct / dt)
        share = x / stroke
        where = np.minimum((share * 400).astype(int), 400)
        force = np.where(share > slip, 0.25 * load[:, 200], load[lane, where])
        force = force * (1 + grease * np.exp(-t / (grease_s * nominal)))
        friction = own * (1 - visc + visc * v / v_ref + stick * np.exp(-((v / (0.03 * v_ref)) ** 2)))
        # Linear implicit in v through the back-EMF keeps long steps stable.
        push = kf * i - friction - force
        v = np.maximum(v + dt * push / (mass + dt * kf * ke / r_all), 0.0)
        v = np.where(share >= stop, 0.0, v)
        x = x + v * dt
        t = t + dt
        out_i[k + 1], out_x[k + 1], out_t[k + 1], out_e[k + 1] = i, x / stroke, t, push / kf
    return [
        _screw_motion(
            m,
            th,
            out_t[:, k].astype(float),
            out_i[:, k].astype(float),
            out_x[:, k].astype(float),
            out_e[:, k].astype(float),
        )
        for k, (m, th) in enumerate(zip(machines, throws, strict=True))
    ]


def _first(t: Array, x: Array, level: float) -> float:
    """When x first reaches level, between samples; inf: never."""
    if not np.isfinite(level) or x[-1] < level:
        return np.inf
    k = int(np.argmax(x >= level))
    if k == 0 or x[k] == x[k - 1]:
        return float(t[k])
    return float(t[k - 1] + (level - x[k - 1]) / (x[k] - x[k - 1]) * (t[k] - t[k - 1]))


def _screw_motion(m: Machine, throw: Throw, t: Array, i: Array, x: Array, excess: Array) -> Motion:
    stop_s = _first(t, x, throw.stop_at)
    end_s = min(_first(t, x, throw.cut_at), stop_s + throw.held_s)
    voltage = throw.battery_v - throw.source_ohm * i
    settled_s = (_settled(t, excess, 0.02), _settled(t, excess, 0.005))
    return Motion(t, i, voltage, np.minimum(x, 9.0), 6.0 * m.tau_m_s, end_s, end_s, stop_s, settled_s)


def _settled(t: Array, excess: Array, left: float) -> float:
    """When the current that ran the motor up has fallen to this share of its greatest [s]."""
    peak = int(np.argmax(excess[:STEPS_FAST]))
    return float(t[peak + int(np.argmax(excess[peak:] <= left * excess[peak]))])


def _drive(m: Machine, throw: Throw) -> Motion:
    """A position drive: ramp, cruise, ramp down; the current is what the load and the ramps need, up to its limit.

    Its speed is its own affair as long as the supply suffices; where load and supply don't allow it, it is slower.
    """
    volts = min(throw.battery_v, m.rig.actuator.voltage_v)
    pull = m.ke * m.stroke_m
    cruise = m.cruise * (volts - m.run_a * m.r_ohm) / pull * throw.slow
    ramp = min(m.accel_s, 0.3 / cruise)
    goal = 1.0 if np.isfinite(throw.cut_at) else 6.0
    x = goal * 0.5 * (1 - np.cos(np.linspace(0, np.pi, 6000)))
    load = np.where(x > throw.slips_from, 0.25 * throw.load_a[200], np.interp(x, GRID, throw.load_a))
    can = np.maximum((volts - (m.i0_a + load) * m.r_ohm) / pull, 0.1 * cruise)
    ramped = np.sqrt(2 * cruise / ramp * np.minimum(x, goal - x) + 1e-12)
    speed = np.minimum(np.minimum(cruise, can), ramped)
    mid = 0.5 * (speed[1:] + speed[:-1])
    t = np.concatenate([[0.0], np.cumsum(np.diff(x) / mid)])
    up, down = ramped <= cruise, (ramped <= cruise) & (x > 0.5 * goal)
    kick = 0.5 * (m.limit_a - m.run_a) * min(1.0, 0.15 / ramp)
    own = m.i0_a * (1 + m.stiction * np.exp(-((speed / cruise / 0.05) ** 2)) * (x < 0.5 * goal))
    grease = 1 + throw.grease * np.exp(-t * cruise / m.grease_s)
    i = np.minimum(own + load * grease + kick * np.where(down, -1.6, np.where(up, 1.0, 0.0)), m.limit_a)
    total, slowing, ramp_s = float(t[-1]), float(t[np.argmax(down)]), float(t[np.argmin(up)])
    motor_v = np.clip(pull * speed + m.r_ohm * i, 0.0, volts)
    stop_s = _first(t, x, throw.stop_at)
    if np.isfinite(stop_s):
        after = np.linspace(0.0, 5.0, 2500)
        before = t < stop_s
        wound = m.run_a + (m.limit_a - m.run_a) * (1 - np.exp(-after / m.wind_up_s))
        t, x = np.r_[t[before], stop_s + after], np.r_[x[before], np.full(after.size, throw.stop_at)]
        i, motor_v = np.r_[i[before], wound], np.r_[motor_v[before], np.minimum(m.r_ohm * wound, volts)]
    cut_s = _first(t, x, throw.cut_at) if throw.cut_at < 0.999 else (total if goal == 1.0 else np.inf)
    end_s = min(cut_s, stop_s + throw.held_s)
    if m.rig.board.placed_in == "motor":
        voltage = motor_v
    else:
        # The supply gives what the motor takes, stepped down; at the stop it is held to the limit.
        i = np.where(t >= stop_s, i, i * motor_v / volts)
        voltage = throw.battery_v - throw.source_ohm * i
    whole = cut_s == total and not np.isfinite(stop_s)
    return Motion(
        t, i, voltage, x, ramp_s, slowing if whole else float(end_s), float(end_s), stop_s, (ramp_s, ramp_s)
    )


def with_load(throw: Throw, extra_a: Array | float) -> Throw:
    """The same throw with more to push [A]."""
    return replace(throw, load_a=throw.load_a + extra_a)
