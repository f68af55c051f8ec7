"""The foreign strokes themselves: machines, boards and faults of each family, with what is true of each record."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tests.benchmarks.foreign_machines import (
    DRIVE,
    GRID,
    SCREW,
    Interval,
    Machine,
    Motion,
    Throw,
    draw_machine,
    healthy,
    run,
    with_load,
)
from tests.benchmarks.foreign_recorders import Recorder, draw_recorder, record
from throwbook.core.trace import Trace

FAMILIES: dict[str, dict[str, Any]] = {
    "screw-lab": {"kind": SCREW, "amps": (0.5, 20), "time": (3, 30), "rates": (100, 400, 1000)},
    "drive-400": {"kind": DRIVE, "amps": (0.3, 12), "time": (1.2, 10), "rates": (400,)},
    "screw-25": {"kind": SCREW, "amps": (1, 40), "time": (4, 60), "rates": (25,), "slow_filter": True},
    "coarse": {"kind": SCREW, "amps": (2, 10), "time": (5, 40), "rates": (10, 25, 50), "ten_bit": True},
    "supply-side": {
        "kind": SCREW,
        "amps": (1.5, 15),
        "time": (2.5, 25),
        "rates": (50, 100, 1000),
        "rest": True,
    },
    "cold": {"kind": SCREW, "amps": (1, 20), "time": (4, 30), "rates": (25, 100, 1000), "grease": True},
    "fast": {"kind": SCREW, "amps": (1, 40), "time": (2.5, 8), "rates": (1000, 10000)},
}
OTHER: dict[str, dict[str, Any]] = {
    "drive-other": {
        "kind": DRIVE,
        "amps": (0.5, 25),
        "time": (1.5, 20),
        "rates": (50, 200, 1000),
        "other": True,
    },
    "screw-other": {
        "kind": SCREW,
        "amps": (0.5, 30),
        "time": (2, 40),
        "rates": (50, 200, 2000),
        "other": True,
    },
}
HELD_OUT_FAMILIES = FAMILIES | OTHER
"""Families of other draws are never looked at while anything is being changed."""
FAULTS = [
    "no-start",
    "stall-start",
    "stall",
    "end-stop",
    "stopped-short",
    "light-run",
    "slow-travel",
    "low-supply",
    "supply-drop",
    "drag",
    "binding-spot",
    "over-rated",
    "free-play",
    "clipped",
    "gaps",
    "cut-record",
    "late-record",
    "noisy",
    "no-end",
]
SAYS = {
    "stall-start": {"stall"},
    "late-record": {"cut-record"},
    # A nut that slips is both, and the contract's table knows only the light run.
    "no-end": {"no-end", "light-run"},
}
ENDS = {
    "no-start": {"no-run"},
    "stall-start": {"stall"},
    "stall": {"stall"},
    "end-stop": {"stall"},
    "cut-record": {"still-running"},
    "no-end": {"still-running"},
}
PLACED = ("stall", "stopped-short", "binding-spot")


@dataclass(frozen=True)
class Case:
    """One record with its truth."""

    family: str
    seed: int
    fault: str
    severity: float
    place: float
    visible: bool
    trace: Trace
    start_s: float
    end_s: tuple[float, float]
    """Earliest and latest that the end may be told."""
    run_a: tuple[float, float]
    slack_s: float
    mean_a: Interval | None
    """True running current, by the physics alone: nothing is allowed for filter and rate."""
    peak_a: Interval | None
    inrush_a: float | None
    why: str = ""


def build(family: str, seed: int) -> tuple[Machine, Recorder, list[Case]]:
    """Rig ``seed`` of a family: its baseline throws, three healthy ones, one of each fault."""
    spec = HELD_OUT_FAMILIES[family]
    rng = np.random.default_rng([seed, list(HELD_OUT_FAMILIES).index(family)])
    m = draw_machine(rng, spec["kind"], spec["amps"], spec["time"])
    fixed: dict[str, Any] = {}
    if spec.get("other"):
        m, fixed = _other_draws(rng, m)
    if spec.get("slow_filter"):
        fixed["filter_s"] = float(rng.uniform(0.0, 0.15))
    if spec.get("ten_bit"):
        fixed["step_a"] = float(rng.uniform(0.026, 0.049))
    if spec.get("rest"):
        m = replace(m, rig=replace(m.rig, board=replace(m.rig.board, placed_in="supply")))
        fixed |= {
            "quiescent_a": float(rng.uniform(0.05, 0.15)),
            "before_s": float(rng.choice([0.05, 0.05, 0.5])),
        }
    if spec.get("grease"):
        m = replace(m, grease=float(rng.uniform(0.1, 0.5)))
    board = draw_recorder(rng, m, spec["rates"], **fixed)
    direction = "lock" if rng.random() < 0.5 else "unlock"
    plans: list[tuple[str, Throw, float, float]] = []
    for _ in range(int(rng.choice([3, 5, 8]))):
        plans.append(("baseline", healthy(rng, m), 0.0, 0.0))
    for _ in range(3):
        plans.append(("healthy", healthy(rng, m), 0.0, 0.0))
    for fault in FAULTS:
        plan = _plan(rng, fault, m, board)
        if plan is not None:
            plans.append((fault, *plan))
    motions = run([m] * len(plans), [p[1] for p in plans])
    return (
        m,
        board,
        [
            _case(rng, family, seed, m, board, direction, plan, motion)
            for plan, motion in zip(plans, motions, strict=True)
        ],
    )


def _other_draws(rng: np.random.Generator, m: Machine) -> tuple[Machine, dict[str, Any]]:
    """Machine and board from wider and other ranges than the development families have."""
    full_a = m.rig.actuator.full_load_current_a
    m = replace(
        m,
        tau_m_s=float(np.exp(rng.uniform(np.log(0.006), np.log(0.2)))),
        tau_e_s=float(np.exp(rng.uniform(np.log(0.0003), np.log(0.01)))),
        accel_s=float(np.exp(rng.uniform(np.log(0.04), np.log(1.2)))),
        cruise=float(rng.uniform(0.6, 1.0)),
        limit_a=full_a * float(rng.uniform(1.1, 3.0)),
        wind_up_s=float(np.exp(rng.uniform(np.log(0.015), np.log(0.3)))),
        throw_spread=float(rng.uniform(0.003, 0.03)),
    )
    board = {"filter_s": float(rng.choice([0.0, 0.005, 0.05])), "bounce": int(rng.integers(0, 7))}
    return m, board


def _plan(
    rng: np.random.Generator, fault: str, m: Machine, board: Recorder
) -> tuple[Throw, float, float] | None:
    """The throw of one fault, its severity and its place; None: this board can't see that one at all."""
    throw = healthy(rng, m)
    act, run_a = m.rig.actuator, m.run_a
    severity = float(rng.uniform(0.2, 1.0))
    place = float(rng.uniform(0.12, 0.88))
    held = float(rng.uniform(0.8, 3.0))
    if fault == "stall-start":
        return replace(throw, stop_at=1e-4, held_s=held), 0, 0
    if fault == "stall":
        return replace(throw, stop_at=place, held_s=held if rng.random() < 0.5 else np.inf), 0, place
    if fault == "end-stop":
        return replace(throw, stop_at=rng.uniform(0.985, 0.998), cut_at=np.inf, held_s=held), 0, 0
    if fault == "stopped-short":
        place = min(place, 0.85)
        return replace(throw, cut_at=place), 0, place
    if fault == "light-run":
        return replace(throw, load_a=0.03 * throw.load_a), 0, 0
    if fault == "slow-travel":
        if m.kind == DRIVE:
            if m.rig.board.placed_in == "motor" and board.voltage:
                return None  # the drive gives less voltage, and the record says so
            return replace(throw, slow=1 / (1.3 + 0.7 * severity)), severity, 0
        return replace(throw, downstream_ohm=(0.22 + 0.25 * severity) * act.voltage_v / run_a), severity, 0
    if fault == "low-supply":
        return (
            (replace(throw, battery_v=act.voltage_v * rng.uniform(0.72, 0.84)), 0, 0)
            if _sees_rest(m, board)
            else None
        )
    if fault == "supply-drop":
        ohm = (0.14 + 0.2 * severity) * act.voltage_v / run_a
        return (
            (replace(throw, source_ohm=ohm), severity, 0)
            if _sees_rest(m, board) and m.kind == SCREW
            else None
        )
    if fault == "drag":
        return with_load(throw, severity * run_a), severity, 0
    if fault == "over-rated":
        return with_load(throw, rng.uniform(1.15, 1.4) * act.full_load_current_a - run_a), 0, 0
    if fault == "binding-spot":
        width = rng.uniform(0.03, 0.15)
        away = np.abs(GRID - place) / (width / 2)
        hump = [np.exp(-1.4 * away**2), np.clip(1.25 - away, 0, 0.4) / 0.4, np.clip(1 - away, 0, 1)][
            rng.integers(3)
        ]
        return with_load(throw, severity * run_a * hump), severity, place
    if fault == "free-play":
        later = rng.uniform(0.08, 0.25)
        moved = np.interp(GRID - later, GRID, throw.load_a, left=throw.load_a[0])
        return replace(throw, load_a=np.where(m.take_up + later + 0.1 > GRID, moved, throw.load_a)), later, 0
    if fault == "no-end":
        longest = float(rng.uniform(2.2, 2.9)) * act.stroke_m / act.no_load_speed_m_s + 2
        return replace(throw, cut_at=np.inf, slips_from=rng.choice([place, np.inf]), longest_s=longest), 0, 0
    return throw, severity, 0


def _sees_rest(m: Machine, board: Recorder) -> bool:
    return board.voltage and m.rig.board.placed_in == "supply"


def _case(
    rng: np.random.Generator,
    family: str,
    seed: int,
    m: Machine,
    board: Recorder,
    direction: str,
    plan: tuple[str, Throw, float, float],
    motion: Motion,
) -> Case:
    fault, throw, severity, place = plan
    until = start = None
    whole = motion.end_s if np.isfinite(motion.end_s) else motion.t_s[-1]
    if fault == "cut-record":
        until = float(whole * rng.uniform(0.35, 0.8))
    if fault == "late-record":
        start = float(whole * rng.uniform(0.2, 0.6))
    if fault == "no-end":
        until = float(min(throw.longest_s, motion.t_s[-1]))
    if fault == "stall" and not np.isfinite(throw.held_s):
        until = float(motion.stop_s + rng.uniform(1.0, 3.0))
    trace, at = record(rng, m, board, motion, direction, throw.battery_v, until, start, fault != "no-start")
    mean, run_a = _run_current(motion, board)
    trace = _spoil(rng, fault, trace, at, motion, mean)
    mean_a, peak_a = motion.run_truth()
    return Case(
        family=family,
        seed=seed,
        fault=fault,
        severity=severity,
        place=place,
        visible=_visible(fault, severity, m, board, trace, at, motion),
        trace=trace,
        start_s=at,
        end_s=(at + min(motion.slowing_s, motion.end_s), at + motion.end_s),
        run_a=run_a,
        slack_s=board.slack_s,
        mean_a=mean_a,
        peak_a=peak_a,
        inrush_a=motion.inrush_truth(),
    )


def _run_current(motion: Motion, board: Recorder) -> tuple[float, tuple[float, float]]:
    """The true running current, and the range it may be told in: a filter or a slow rate drags the transient out (six
    halvings of the filter, two samples), and a drive's slowing down counts or doesn't."""
    dragged_s = motion.transient_s + 4.2 * board.filter_s + 2.0 / board.rate_hz
    ends = min(motion.end_s, motion.stop_s)
    means = [
        _time_mean(motion, (motion.t_s > begin) & (motion.t_s < end))
        for begin in (motion.transient_s, dragged_s)
        for end in (ends, min(motion.slowing_s, ends))
    ]
    return means[0], (min(means), max(means))


def _time_mean(motion: Motion, run: "np.ndarray[Any, Any]") -> float:
    if run.sum() < 3:
        return float("nan")
    t = motion.t_s[run]
    return float(np.trapezoid(motion.current_a[run], t) / (t[-1] - t[0]))


def _spoil(
    rng: np.random.Generator, fault: str, trace: Trace, at: float, motion: Motion, mean: float
) -> Trace:
    whole = motion.end_s
    if fault == "clipped":
        top = rng.uniform(0.75, 0.95) * mean
        return replace(trace, current_a=np.clip(trace.current_a, -top, top))
    if fault == "noisy":
        extra = rng.normal(0, rng.uniform(0.3, 0.6) * mean, len(trace))
        return replace(trace, current_a=trace.current_a + extra)
    if fault == "gaps":
        size = rng.uniform(0.08, 0.25)
        begin = at + whole * rng.uniform(0.1, 0.9 - size)
        keep = (trace.time_s < begin) | (trace.time_s > begin + size * whole)
        return replace(
            trace,
            time_s=trace.time_s[keep],
            current_a=trace.current_a[keep],
            voltage_v=None if trace.voltage_v is None else trace.voltage_v[keep],
        )
    return trace


def _visible(
    fault: str, severity: float, m: Machine, board: Recorder, trace: Trace, at: float, motion: Motion
) -> bool:
    """Whether a careful eye beside healthy records could see it (rough, by noise, rate and spread of the throws)."""
    if fault == "binding-spot":
        t0 = np.interp(0.4, motion.share, motion.t_s)
        dwell = 0.06 * (motion.end_s - 0.0)
        n = dwell * board.rate_hz * (1 - board.noise_rho)
        noise = np.hypot(board.noise_a, 0.7 * board.ripple_a) / np.sqrt(max(n, 0.3)) + board.step_a / 3
        return bool(
            severity * m.run_a > 5 * (noise + m.throw_spread * m.run_a)
            and n > 2
            and t0 > 0
            and board.filter_s < dwell
        )
    if fault == "free-play":
        step = 0.3 * np.mean(m.load_a)
        return bool(step > 4 * (board.noise_a + board.ripple_a + board.step_a))
    if fault == "light-run":
        return bool(np.mean(m.load_a) > 0.15 * m.run_a)
    return True
