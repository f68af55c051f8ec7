"""What a board makes of a motion: rate, jitter, filter, steps, quiescent current, noise, ripple, late voltage.

Second opinion on single strokes, with ``foreign_machines``: nothing here is shared with the project's own simulator.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.foreign_machines import Machine, Motion
from throwbook.core.trace import Trace

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Recorder:
    """One board in one place."""

    rate_hz: float
    jitter: float
    """Scatter of the sample times as a share of the sample period."""
    filter_s: float
    averages: bool
    """Each sample is the mean over its period (else a point sample)."""
    step_a: float
    noise_a: float
    noise_rho: float
    """Correlation of neighbouring samples' noise."""
    ripple_a: float
    ripple_per_stroke: float
    quiescent_a: float
    offset_a: float
    before_s: float
    after_s: float
    voltage: bool
    voltage_step: float
    voltage_noise: float
    voltage_late_s: float
    bounce: int
    regen: float
    decay_s: float
    ambient: bool

    @property
    def slack_s(self) -> float:
        """What an end or a start can be told to: two samples, or the filter's own time."""
        return max(2.0 / self.rate_hz, self.filter_s)


def draw_recorder(rng: np.random.Generator, m: Machine, rates: tuple[float, ...], **fixed: float) -> Recorder:
    """One board for this machine."""
    rate = float(rng.choice(rates))
    run = m.run_a
    drawn: dict[str, float | bool | int] = {
        "rate_hz": rate,
        "jitter": float(rng.choice([0.0, 0.03, 0.15])),
        "filter_s": float(rng.choice([0.0, 0.0, 0.3 / rate, 0.02])),
        "averages": bool(rng.random() < 0.5),
        "step_a": float(np.exp(rng.uniform(np.log(0.0005), np.log(0.012)))) * run,
        "noise_a": float(np.exp(rng.uniform(np.log(0.002), np.log(0.025)))) * run,
        "noise_rho": float(rng.choice([0.0, 0.0, 0.6, 0.9])),
        "ripple_a": float(rng.choice([0.0, 0.02, 0.05, 0.1])) * run,
        "ripple_per_stroke": rng.uniform(600, 9000),
        "quiescent_a": 0.0,
        "offset_a": float(rng.normal(0, 0.01)) * run,
        "before_s": rng.uniform(0.3, 2.5),
        "after_s": rng.uniform(0.3, 2.5),
        "voltage": bool(rng.random() < 0.75),
        "voltage_step": float(rng.choice([0.004, 0.02, 0.05])),
        "voltage_noise": float(rng.choice([0.005, 0.02, 0.05])),
        "voltage_late_s": float(rng.choice([0.0, 0.0, 0.004, 0.015])),
        "bounce": int(rng.choice([0, 0, 2, 4])),
        "regen": float(rng.choice([0.0, 0.0, 0.3])) if m.rig.board.placed_in == "motor" else 0.0,
        "decay_s": rng.uniform(0.002, 0.02) if m.rig.board.placed_in == "motor" else 0.0005,
        "ambient": bool(rng.random() < 0.6),
    }
    drawn.update(fixed)
    return Recorder(**drawn)  # type: ignore[arg-type]


def record(
    rng: np.random.Generator,
    m: Machine,
    board: Recorder,
    motion: Motion,
    direction: str,
    battery_v: float,
    until_s: float | None = None,
    from_s: float | None = None,
    moves: bool = True,
) -> tuple[Trace, float]:
    """The record, and when on its clock the current was switched on. ``until_s``: the record ends there (from the
    start of the motion); ``from_s``: it begins there; ``moves`` False: nothing ever flows."""
    end_s = motion.end_s if np.isfinite(motion.end_s) else float(motion.t_s[-1])
    dt = 1.0 / board.rate_hz
    begin = -board.before_s if from_s is None else from_s
    finish = end_s + board.after_s if until_s is None else until_s
    n = int((finish - begin) / dt)
    t = begin + dt * np.arange(n) + rng.uniform(0, dt)
    if board.jitter:
        t = t + np.clip(rng.normal(0, board.jitter * dt, n), -0.45 * dt, 0.45 * dt)
    # The motion itself on a clock fine enough for filter and averaging.
    over = max(1, int(np.ceil(dt / 0.002))) if (board.averages or board.filter_s) else 1
    fine = (t[:, None] + dt * (np.arange(over)[None, :] - over + 1) / over).ravel() if over > 1 else t
    current = _current(board, motion, fine, end_s) if moves else np.zeros_like(fine)
    if board.filter_s:
        current = _first_order(current, dt / over, board.filter_s)
    current = current.reshape(-1, over)
    current = current.mean(axis=1) if board.averages else current[:, -1]
    current = current + board.quiescent_a + board.offset_a + _noise(rng, n, board.noise_a, board.noise_rho)
    if m.rig.board.placed_in == "motor" and direction == "unlock":
        current = -current
    current = np.round(current / board.step_a) * board.step_a
    voltage = None
    if board.voltage:
        late = t - board.voltage_late_s
        on = (late >= 0) & (
            late < (end_s + 0.6 * board.after_s if m.rig.board.placed_in == "motor" else np.inf)
        )
        at_rest = 0.0 if m.rig.board.placed_in == "motor" else battery_v
        voltage = np.where(
            (late >= 0) & (late < end_s) & moves,
            np.interp(late, motion.t_s, motion.voltage_v),
            np.where(on, battery_v, at_rest),
        )
        voltage = voltage + rng.normal(0, board.voltage_noise, n)
        voltage = np.round(voltage / board.voltage_step) * board.voltage_step
    trace = Trace(
        time_s=t - t[0],
        current_a=current,
        voltage_v=voltage,
        direction=direction,
        rig=m.rig.name,
        ambient_c=float(rng.normal(15, 3)) if board.ambient else None,
    )
    return trace, -float(t[0])


def _current(board: Recorder, motion: Motion, t: Array, end_s: float) -> Array:
    i = np.interp(t, motion.t_s, motion.current_a)
    share = np.interp(t, motion.t_s, motion.share)
    if board.ripple_a:
        moving = np.interp(t, motion.t_s, np.gradient(motion.share, motion.t_s))
        top = float(np.max(np.gradient(motion.share, motion.t_s)))
        i = i + board.ripple_a * np.clip(moving / top * 3, 0, 1) * np.sin(
            2 * np.pi * board.ripple_per_stroke * share
        )
    if board.bounce:
        for k in range(board.bounce):
            opens = 0.0015 + 0.003 * k
            i = np.where((t > opens) & (t < opens + 0.0012), 0.0, i)
    last = float(np.interp(end_s, motion.t_s, motion.current_a))
    after = t - end_s
    tail = last * np.exp(-np.maximum(after, 0) / board.decay_s)
    if board.regen:
        tail = tail - board.regen * last * np.exp(-np.maximum(after, 0) / 0.025) * (after > 0.003)
    return np.where(t < 0, 0.0, np.where(after >= 0, tail, i))


def _first_order(x: Array, dt: float, tau: float) -> Array:
    from scipy.signal import lfilter

    a = float(np.exp(-dt / tau))
    return np.asarray(lfilter([1 - a], [1, -a], x, zi=[a * x[0]])[0])


def _noise(rng: np.random.Generator, n: int, size: float, rho: float) -> Array:
    from scipy.signal import lfilter

    white = rng.normal(0, size, n)
    return np.asarray(lfilter([np.sqrt(1 - rho**2)], [1, -rho], white)) if rho else white
