"""Records that hold more than one movement, drawn by hand: rest, a movement, rest, the next one, rest.

Levels and times are invented; the rig is that of ``made_strokes``.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np

from tests.made_strokes import NOON, RIG
from throwbook.core.trace import FloatArray, Trace
from throwbook.files.trace_file import write_trace
from throwbook.protocol.simulated_board import Source

RATE_HZ = 200
FULL_S = 13.3
STALL_A = 9.6
GOOD, STALLED, SHORT, LIGHT, JOG = "good", "stalled", "short", "light", "jog"
STANDING = "standing"
"""It stands under voltage from the switch on, and is let go."""


def movement(kind: str, seed: int = 1) -> FloatArray:
    """Current of one movement without its rest, shape (n,) [A]."""
    rng = np.random.default_rng(seed)
    seconds = {GOOD: FULL_S, STALLED: 8.0, SHORT: 7.0, LIGHT: FULL_S, JOG: 0.8, STANDING: 2.0}[kind]
    since_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    level_a = 0.95 if kind == LIGHT else 1.6 + 0.25 * np.exp(-(((since_s / FULL_S - 0.85) / 0.06) ** 2))
    current_a = level_a + 4.0 * np.exp(-since_s / 0.03)
    if kind == STALLED:
        current_a = np.where(since_s > 4.0, STALL_A, current_a)
    if kind == STANDING:
        current_a = np.full(len(since_s), STALL_A)
    return current_a + rng.normal(0.0, 0.012, len(since_s))


def record(
    kinds: Sequence[str],
    *,
    rest_s: float = 2.0,
    signs: Sequence[int] = (),
    direction: str = "lock",
    minutes: float = 0.0,
    seed: int = 1,
) -> Trace:
    """The movements one after the other, ``rest_s`` between them; ``signs`` +1 or -1 for each, +1 where not given."""
    rng = np.random.default_rng(seed)
    signs = [*signs, *[1] * (len(kinds) - len(signs))]
    parts = [rng.normal(0.0, 0.012, RATE_HZ)]
    for number, (kind, sign) in enumerate(zip(kinds, signs, strict=True)):
        parts.append(sign * movement(kind, seed + number))
        last = number == len(kinds) - 1
        parts.append(rng.normal(0.0, 0.012, int((1.5 if last else rest_s) * RATE_HZ)))
    current_a = np.concatenate(parts)
    voltage_v = 12.6 - 0.1 * np.abs(current_a) + rng.normal(0.0, 0.005, len(current_a))
    time_s = np.arange(len(current_a)) / RATE_HZ
    started = NOON + timedelta(minutes=minutes)
    return Trace(time_s, current_a.round(4), voltage_v.round(3), direction, RIG.name, started, 8.0)


def source_of(trace: Trace) -> Source:
    """A board that shows this record once, then rest for ever."""

    def source(time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        row = np.round(time_s * RATE_HZ).astype(int)
        shown = np.where(row < len(trace), trace.current_a[np.minimum(row, len(trace) - 1)], 0.0)
        return shown, 12.6 - 0.1 * np.abs(shown)

    return source


def write(folder: Path, name: str, trace: Trace, **changes: object) -> Path:
    """The record as a file."""
    path = folder / name
    write_trace(replace(trace, **changes), path)  # type: ignore[arg-type]
    return path
