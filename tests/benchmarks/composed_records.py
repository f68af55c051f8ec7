"""Records of one to three movements with rest between them, and the plan of each: what is laid on it, what is true.

A record is planned first (``plan_record``), then its signals are put together on the true clock (``signals_of``). What
the board, its line and its clock make of them is in ``composed_boards``.
"""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from tests.benchmarks.composed_motions import (
    HEALTHY,
    JOG,
    LIGHT,
    REMAINDER,
    SHORT,
    SIMULATOR,
    STALL,
    STALL_AT_START,
    Machine,
    Motion,
    Rng,
)
from throwbook.core.rig import DIRECTIONS
from throwbook.core.simulator.sensor import quantise
from throwbook.core.trace import FloatArray

RATES_HZ, RATE_WEIGHTS = (10.0, 25.0, 50.0, 100.0, 200.0, 400.0), (0.05, 0.1, 0.15, 0.25, 0.3, 0.15)
LAYOUTS = (
    ("fault alone", (None,)),
    ("stall, then whole", (STALL_AT_START, HEALTHY)),
    ("stall, then the rest", (STALL, REMAINDER)),
    ("jog, then whole", (JOG, HEALTHY)),
    ("short, then the rest", (SHORT, REMAINDER)),
)
"""Faulty stretches of a record; None: any one fault."""
FAULTS = (STALL, STALL_AT_START, SHORT, LIGHT, JOG)
WHOLE = (HEALTHY, LIGHT)
"""After these the rod is at its other end, so that the next movement goes back."""

PLAIN = "plain"
ON_CURRENT = (
    "standing current",
    "holding current",
    "bounce at the limit",
    "settling",
    "current after the end",
)
SOUND_BOARDS = (
    "range below the inrush",
    "doubled lines",
    "lone lines lost",
    "lines garbled",
    "tied stamps",
    "coarse stamps",
)
UNFIT_BOARDS = (
    "range below the run",
    "sensor absent",
    "overrun",
    "rows missing",
    "starts in a run",
    "ends in a run",
    "starts and ends in a run",
)
CLOCK_BOARDS = ("clock stands", "clock sticks", "clock jumps")
"""They may be flagged, and they may be told and judged all the same: neither is held against the tool."""
STREAM_ONLY = {"doubled lines", "lines garbled", "sensor absent", "overrun", "clock stands", "clock sticks"}
BOARDS = (*SOUND_BOARDS, *UNFIT_BOARDS, *CLOCK_BOARDS)
SOUND, FAULTY, UNFIT, OPEN = "sound", "hidden fault", "unfit record", "open"
LEAST_REST_S = 0.3


@dataclass(frozen=True)
class Board:
    """The board of one rig, the same for its baseline and its records."""

    rate_hz: float
    jitter: float
    averages: bool
    step_a: float
    noise_a: float
    gain: float
    offset_a: float
    voltage: bool
    voltage_step_v: float
    voltage_noise_v: float


@dataclass
class Laid:
    """One movement in its record, in seconds of the true clock from the record's planned beginning."""

    motion: Motion
    start_s: float

    @property
    def off_s(self) -> float:
        return self.start_s + self.motion.lasts_s


@dataclass
class Plan:
    """One record: what it holds and what is done to it."""

    seed: int
    layout: str
    movements: list[Laid]
    on_current: str
    board: str
    stream: bool
    """It comes as a board's bytes, else as a trace."""
    begins_s: float
    ends_s: float
    full_scale_a: float
    hurt: int
    """The movement that a damage of the board falls on."""
    fitness: str
    clipped_share: float = 0.0
    """Of the rows, at the end of the range."""
    hold_a: float = 0.0
    """A current that flows before and after a movement; whether it flows on in the movement is open."""
    choices: dict[str, float] = field(default_factory=dict)

    @property
    def direction(self) -> str:
        return self.movements[0].motion.direction

    @property
    def kinds(self) -> tuple[str, ...]:
        return tuple(each.motion.kind for each in self.movements)


def draw_board(rng: Rng, m: Machine, rate_hz: float) -> Board:
    """A board for this machine. Its gain is off by as much as an uncalibrated one's may be (±1.5 %, a rectangle)."""
    run_a = m.run_a
    return Board(
        rate_hz=rate_hz,
        jitter=float(rng.choice([0.0, 0.0, 0.03, 0.15])),
        averages=m.source != SIMULATOR and bool(rng.random() < 0.4),
        step_a=float(np.exp(rng.uniform(np.log(0.0005), np.log(0.02)))) * run_a,
        noise_a=float(np.exp(rng.uniform(np.log(0.002), np.log(0.02)))) * run_a,
        gain=1.0 + float(rng.uniform(-0.015, 0.015)),
        offset_a=float(rng.normal(0.0, 0.015)) * run_a,
        voltage=bool(rng.random() < 0.75),
        voltage_step_v=float(rng.choice([0.004, 0.02])),
        voltage_noise_v=float(rng.choice([0.005, 0.02])),
    )


def draw_rate(rng: Rng) -> float:
    return float(rng.choice(RATES_HZ, p=RATE_WEIGHTS))


def plan_single(seed: int, motion: Motion, board: Board, rng: Rng) -> Plan:
    """A record of one movement and nothing else: a throw of the baseline."""
    before, after = _rest(rng, board), _rest(rng, board)
    plan = Plan(seed, "baseline", [Laid(motion, before)], PLAIN, PLAIN, False, 0.0, 0.0, np.inf, 0, SOUND)
    plan.ends_s = plan.movements[-1].off_s + after
    return plan


def plan_record(seed: int, m: Machine, board: Board, rng: Rng) -> Plan:
    """One record: its movements, the rest between them, what is laid on it."""
    layout, kinds = _draw_kinds(rng)
    movements = _place(rng, m, board, kinds)
    on_current = str(rng.choice(ON_CURRENT)) if rng.random() < 0.35 else PLAIN
    damage = str(rng.choice(BOARDS)) if rng.random() < 0.45 else PLAIN
    stream = damage in STREAM_ONLY or (bool(rng.random() < 0.5) and board.rate_hz >= 1.0)
    plan = Plan(
        seed,
        layout,
        movements,
        on_current,
        damage,
        stream,
        0.0,
        movements[-1].off_s + _rest(rng, board),
        np.inf,
        int(np.argmax([each.motion.lasts_s for each in movements])),
        SOUND,
    )
    plan.choices = {
        "level": float(rng.uniform(0.0, 1.0)),
        "place": float(rng.uniform(0.15, 0.6)),
        "size": float(rng.uniform(0.0, 1.0)),
        "before": float(rng.random() < 0.5),
    }
    _set_bounds(plan, rng)
    if damage == "range below the inrush" and not _range_below_the_inrush(plan, m, rng):
        plan.board = PLAIN
    if damage == "range below the run" and not _range_below_the_run(plan, rng):
        plan.board = PLAIN
    plan.fitness = _fitness(plan)
    return plan


def _draw_kinds(rng: Rng) -> tuple[str, list[str]]:
    count = int(rng.choice([1, 2, 3], p=[0.3, 0.45, 0.25]))
    if rng.random() < 0.5:
        return "sound", [HEALTHY] * count
    name, stretch = LAYOUTS[int(rng.choice(len(LAYOUTS), p=[0.6, 0.1, 0.1, 0.1, 0.1]))]
    kinds = [str(rng.choice(FAULTS)) if kind is None else kind for kind in stretch]
    while len(kinds) < count:
        kinds.insert(int(rng.choice([0, len(kinds)])), HEALTHY)
    return name, kinds


def _place(rng: Rng, m: Machine, board: Board, kinds: list[str]) -> list[Laid]:
    direction = str(rng.choice(DIRECTIONS))
    at_s, laid = _rest(rng, board), []
    for kind in kinds:
        if kind == REMAINDER:
            direction = laid[-1].motion.direction
        motion = m.one(rng, kind, direction)
        if motion.lasts_s < max(0.15, 6.0 / board.rate_hz):  # too short for any eye on this board
            motion = m.one(rng, STALL_AT_START, direction)
        laid.append(Laid(motion, at_s))
        least_s = max(LEAST_REST_S, 4.0 / board.rate_hz)
        at_s = laid[-1].off_s + float(np.exp(rng.uniform(np.log(least_s), np.log(5.0))))
        same_way = motion.kind not in WHOLE and rng.random() < 0.6
        direction = direction if same_way else DIRECTIONS[1 - DIRECTIONS.index(direction)]
    return laid


def _rest(rng: Rng, board: Board) -> float:
    return max(float(rng.uniform(0.3, 2.5)), 5.0 / board.rate_hz)


def _set_bounds(plan: Plan, rng: Rng) -> None:
    """Where the record begins and ends if it does so in a run."""
    first, last = plan.movements[0], plan.movements[-1]
    if plan.board in ("starts in a run", "starts and ends in a run"):
        plan.begins_s = first.start_s + float(rng.uniform(0.25, 0.6)) * first.motion.lasts_s
    if plan.board in ("ends in a run", "starts and ends in a run"):
        share = float(rng.uniform(0.7, 0.85)) if first is last else float(rng.uniform(0.3, 0.8))
        plan.ends_s = last.start_s + share * last.motion.gone_s  # a drive slows down without a current


def _range_below_the_inrush(plan: Plan, m: Machine, rng: Rng) -> bool:
    """A full scale that cuts every start off and no run; False: there is no room for one."""
    beside_a = _standing_a(plan, m)
    peaks = [each.motion.peak_a[1] + beside_a for each in plan.movements if each.motion.peak_a]
    starts = [each.motion.inrush_a[0] for each in plan.movements if each.motion.inrush_a]
    if not peaks or not starts or min(starts) < 1.4 * max(peaks):
        return False
    plan.full_scale_a = float(rng.uniform(1.15 * max(peaks), 0.9 * min(starts)))
    return True


def _range_below_the_run(plan: Plan, rng: Rng) -> bool:
    peaks = [each.motion.peak_a[0] for each in plan.movements if each.motion.peak_a]
    if not peaks:
        return False
    plan.full_scale_a = float(rng.uniform(0.5, 0.93)) * max(peaks)
    return True


def _fitness(plan: Plan) -> str:
    if any(kind != HEALTHY for kind in plan.kinds):
        return FAULTY
    if plan.board in UNFIT_BOARDS:
        return UNFIT
    return OPEN if plan.board in CLOCK_BOARDS else SOUND


# ---- signals ----


def signals_of(
    plan: Plan, m: Machine, board: Board, t: FloatArray, rng: Rng
) -> tuple[FloatArray, FloatArray]:
    """Current and voltage as the board's converter gives them at these true times, before clock and line; shape (n,)."""
    dt = 1.0 / board.rate_hz
    over = max(1, int(np.ceil(dt / 0.002))) if board.averages else 1
    fine = (t[:, None] + dt * (np.arange(over)[None, :] - over + 1) / over).ravel() if over > 1 else t
    current, voltage = _true_signals(plan, fine, rng)
    current = _laid_on(plan, m, current, fine, rng)
    current, voltage = current.reshape(-1, over).mean(axis=1), voltage.reshape(-1, over)[:, -1]
    current = board.gain * current + board.offset_a + rng.normal(0.0, board.noise_a, len(t))
    plan.clipped_share = float(np.mean(np.abs(current) >= plan.full_scale_a))
    current = np.clip(current, -plan.full_scale_a, plan.full_scale_a)
    voltage = voltage + rng.normal(0.0, board.voltage_noise_v, len(t))
    return quantise(current, board.step_a), quantise(voltage, board.voltage_step_v)


def sample_times(plan: Plan, board: Board, rng: Rng) -> FloatArray:
    """True times of the samples, jitter included; shape (n,)."""
    dt = 1.0 / board.rate_hz
    count = int((plan.ends_s - plan.begins_s) / dt)
    t = plan.begins_s + dt * (np.arange(count) + rng.uniform(0.0, 1.0))
    if board.jitter:
        t = t + np.clip(rng.normal(0.0, board.jitter * dt, count), -0.45 * dt, 0.45 * dt)
    return np.asarray(t)


def _true_signals(plan: Plan, t: FloatArray, rng: Rng) -> tuple[FloatArray, FloatArray]:
    starts = [each.start_s for each in plan.movements]
    which = np.clip(np.searchsorted(starts, t, side="right") - 1, 0, None)
    current, voltage = np.zeros_like(t), np.zeros_like(t)
    for k, each in enumerate(plan.movements):
        mine = which == k
        if mine.any():
            current[mine], voltage[mine] = each.motion.signals(t[mine] - each.start_s, rng)
    _even_out_rests(plan, t, voltage)
    return current, voltage


def _even_out_rests(plan: Plan, t: FloatArray, voltage: FloatArray) -> None:
    """Each movement has a supply of its own: between two the voltage goes over from one to the other, and never jumps as the
    switch closes, which would be a supply that drops."""
    none_drawn = np.random.default_rng(0)
    for before, after in pairwise(plan.movements):
        rows = (t > before.off_s) & (t < after.start_s)
        over = (t[rows] - before.off_s) / (after.start_s - before.off_s)
        comes_v = after.motion.signals(t[rows] - after.start_s, none_drawn)[1]
        voltage[rows] += over * (comes_v - voltage[rows])


def _standing_a(plan: Plan, m: Machine) -> float:
    """What flows on the board's wire beside the motor all the time [A]: up to one and a half no-load currents."""
    if plan.on_current != "standing current":
        return 0.0
    return m.no_load_a * 0.05 * 30.0 ** plan.choices.get("level", 0.0)


def _laid_on(plan: Plan, m: Machine, current: FloatArray, t: FloatArray, rng: Rng) -> FloatArray:
    """Currents that are there beside those of the movements."""
    level = plan.choices.get("level", 0.0)
    if plan.on_current == "standing current":
        return np.asarray(current + _standing_a(plan, m))
    for k, each in enumerate(plan.movements):
        off_s, sign = each.start_s + each.motion.gone_s, each.motion.sign
        until_s = plan.movements[k + 1].start_s if k + 1 < len(plan.movements) else np.inf
        resting = (t > off_s) & (t < until_s)
        if plan.on_current == "holding current":
            before = plan.choices["before"] > 0.0
            hold_a = m.no_load_a * (0.1 + (0.9 if before else 0.45) * level)
            plan.hold_a = hold_a
            current = np.where(
                resting | (before and k == 0 and t < each.start_s), current + sign * hold_a, current
            )
        elif each.motion.kind in (STALL, STALL_AT_START):
            continue  # nothing opens at a limit switch
        elif plan.on_current == "bounce at the limit":
            current = _bounce(current, t, each, min(0.03 + 0.17 * level, 0.5 * (until_s - off_s)), rng)
        elif plan.on_current == "settling":
            begin, lasts = off_s + float(rng.uniform(0.03, 0.12)), float(rng.uniform(0.05, 0.15))
            phase = np.clip((t - begin) / lasts, 0.0, 1.0)
            hump = sign * (0.2 + 0.4 * level) * each.motion.level_a * np.sin(np.pi * phase)
            current = np.where(resting, current + hump, current)
        elif plan.on_current == "current after the end" and each.motion.gone_s == each.motion.lasts_s:
            after_a = min(0.3 * each.motion.level_a, 0.5 * m.no_load_a) * (0.3 + 0.7 * level)
            lasts = min(float(rng.uniform(0.3, 1.5)), until_s - off_s - 0.2)
            current = np.where(resting & (t < off_s + lasts), current + sign * after_a, current)
    return np.asarray(current)


def _bounce(current: FloatArray, t: FloatArray, each: Laid, lasts_s: float, rng: Rng) -> FloatArray:
    """The limit switch opens, and closes again for moments while its contact bounces."""
    edges = np.sort(rng.uniform(0.15 * lasts_s, lasts_s, 2 * int(rng.integers(1, 4))))
    edges = edges + each.start_s + each.motion.gone_s
    for on_s, off_s in zip(edges[0::2], edges[1::2], strict=True):
        again = (t >= on_s) & (t < off_s)
        level_a = each.motion.sign * each.motion.level_a * float(rng.uniform(0.8, 1.3))
        current = np.where(again, level_a * (1.0 - np.exp(-(t - on_s).clip(0.0) / 0.001)), current)
    return np.asarray(current)
