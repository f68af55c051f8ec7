"""How a composed record reaches the tool: as a board's bytes through protocol and trial record, as a file, as a trace.

A damage of the line or the clock is done where it happens: to the lines of the board's stream, or to the rows and
stamps of a file.
"""

import tempfile
from binascii import crc_hqx
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from tests.benchmarks.composed_motions import Machine, Rng
from tests.benchmarks.composed_records import Board, Plan, sample_times, signals_of
from throwbook.core.trace import FloatArray, Trace
from throwbook.files.trace_file import read_trace
from throwbook.jobs.trial_builder import TrialRecord
from throwbook.protocol.session import Session

WHEN = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
CHUNK_BYTES = 3000


class Reached:
    """What reached the tool, and how its clock lies to the true one."""

    def __init__(self, trace: Trace, first_s: float) -> None:
        self.trace = trace
        self.first_s = first_s
        """True time of the trace's first row [s]."""


def reach(plan: Plan, m: Machine, board: Board, rng: Rng, ambient_c: float | None) -> Reached:
    """The record as the tool gets it. Raises what the tool raises where it refuses or breaks."""
    t = sample_times(plan, board, rng)
    current, voltage = signals_of(plan, m, board, t, rng)
    way = _stream if plan.stream else _rows
    return way(plan, m, board, t, current, voltage if board.voltage else None, rng, ambient_c)


# ---- rows of a file ----


def _rows(
    plan: Plan,
    m: Machine,
    board: Board,
    t: FloatArray,
    current: FloatArray,
    voltage: FloatArray | None,
    rng: Rng,
    ambient_c: float | None,
) -> Reached:
    keep = _kept(plan, board, t, rng)
    stamps = _stamps(plan, board, t - t[0])[keep]
    current, first_s = current[keep], float(t[keep][0])
    volts = None if voltage is None else voltage[keep]
    if plan.board in ("tied stamps", "coarse stamps"):
        trace = _through_a_file(plan, m, stamps, current, volts, ambient_c)
        return Reached(trace, first_s)
    return Reached(
        Trace(
            time_s=np.round(stamps - stamps[0], 6),
            current_a=current,
            voltage_v=volts,
            direction=plan.direction,
            rig=m.rig.name,
            ambient_c=ambient_c,
            source=str(plan.seed),
        ),
        first_s,
    )


def _through_a_file(
    plan: Plan,
    m: Machine,
    stamps: FloatArray,
    current: FloatArray,
    volts: FloatArray | None,
    ambient_c: float | None,
) -> Trace:
    head = ['# format = "throwbook-trace-1"', f'# rig = "{m.rig.name}"', f'# direction = "{plan.direction}"']
    if ambient_c is not None:
        head.append(f'# ambient = "{ambient_c:.1f} degC"')
    columns = [stamps, current] if volts is None else [stamps, current, volts]
    head.append("time_s,current_a" if volts is None else "time_s,current_a,voltage_v")
    lines = [",".join(f"{value:.6f}" for value in row) for row in np.column_stack(columns).tolist()]
    with tempfile.TemporaryDirectory(prefix="throwbook-composed-") as folder:
        path = Path(folder) / f"{plan.seed}.csv"
        path.write_text("\n".join([*head, *lines]) + "\n", encoding="utf-8")
        return read_trace(path)


def _kept(plan: Plan, board: Board, t: FloatArray, rng: Rng) -> "np.ndarray":
    """Samples that arrive at all; shape (n,) bool."""
    keep = np.ones(len(t), dtype=bool)
    if plan.board == "lone lines lost":
        lost = np.flatnonzero(rng.random(len(t)) < 0.004)
        keep[lost[np.diff(lost, prepend=-9) > 3]] = False
    if plan.board in ("rows missing", "overrun"):
        begin, end = hurt_stretch(plan)
        keep &= (t < begin) | (t > end)
    keep[0] = True
    return keep


def hurt_stretch(plan: Plan) -> tuple[float, float]:
    """Begin and end of the stretch that a damage falls on, within one movement [s, true clock]."""
    motion, start_s = plan.movements[plan.hurt].motion, plan.movements[plan.hurt].start_s
    begin = start_s + plan.choices["place"] * motion.lasts_s
    return begin, begin + (0.1 + 0.2 * plan.choices["size"]) * motion.lasts_s


def jumped_by(plan: Plan, true_s: FloatArray | float) -> FloatArray:
    """How far a clock that jumps is ahead at these times of the true one [s]; nothing for any other clock."""
    if plan.board != "clock jumps":
        return np.zeros_like(true_s)
    begin, _ = hurt_stretch(plan)
    return np.where(np.asarray(true_s) > begin, 0.2 + 1.3 * plan.choices.get("size", 0.0), 0.0)


def _stamps(plan: Plan, board: Board, since_s: FloatArray) -> FloatArray:
    """What the board's clock says at these times [s from its start]; shape (n,)."""
    size, period = plan.choices.get("size", 0.0), 1.0 / board.rate_hz
    if plan.board == "tied stamps":
        step = period * (1.2 + 1.8 * size)
        return np.asarray(np.floor(since_s / step) * step)
    if plan.board == "coarse stamps":
        step = min(period * (0.25 + 0.6 * size), 0.01)
        return np.asarray(np.floor(since_s / step) * step)
    if plan.board == "clock jumps":
        return since_s + jumped_by(plan, since_s + plan.begins_s)
    if plan.board == "clock stands":
        return np.zeros_like(since_s)
    if plan.board == "clock sticks":
        begin, _ = hurt_stretch(plan)
        return np.minimum(since_s, begin - plan.begins_s)
    return since_s


# ---- bytes of a board ----


def _stream(
    plan: Plan,
    m: Machine,
    board: Board,
    t: FloatArray,
    current: FloatArray,
    voltage: FloatArray | None,
    rng: Rng,
    ambient_c: float | None,
) -> Reached:
    keep = _kept(plan, board, t, rng)
    if plan.board == "sensor absent":
        begin, end = hurt_stretch(plan)
        gone = (t >= begin) & (t <= begin + max(0.5 * (end - begin), 4.0 / board.rate_hz))
        current = np.where(gone, 0.0 if plan.choices["before"] else current[np.argmax(gone) - 1], current)
    record = TrialRecord(m.rig, plan.direction, keep_all=True)
    session = Session()
    session.start(round(board.rate_hz))
    for chunk in _chunks(_lines(plan, board, t, keep, current, voltage, rng)):
        for event in session.receive(chunk):
            record.take(event, WHEN)
        session.to_send()
    trace = record.trace(ambient_c=ambient_c, source=str(plan.seed))
    if trace is None:
        raise ValueError("nothing was recorded")
    return Reached(trace, float(t[0]))


def _lines(
    plan: Plan,
    board: Board,
    t: FloatArray,
    keep: "np.ndarray",
    current: FloatArray,
    voltage: FloatArray | None,
    rng: Rng,
) -> list[bytes]:
    """The board's lines in order, damage included."""
    full_ma = (
        1e3 * plan.full_scale_a
        if np.isfinite(plan.full_scale_a)
        else 1e3 * 4.0 * float(np.abs(current).max())
    )
    amp_ua, volt_uv = 1e6 * board.step_a, 1e6 * board.voltage_step_v
    channels = "I" if voltage is None else "IV"
    who = f"B,1,composed,1.0,{round(board.rate_hz)},{amp_ua:.6f},{volt_uv if voltage is not None else 0:.6f},{full_ma:.6f},{channels}"
    lines = [_framed(who), _framed("K,rate"), _framed("K,go")]
    micros = (
        np.round(1e6 * _stamps(plan, board, t - t[0])).astype(np.int64) + int(rng.integers(1 << 32))
    ) % (1 << 32)
    seq = np.arange(len(t)) + int(rng.integers(1 << 16))
    if plan.board == "overrun":
        seq = np.cumsum(keep) + int(rng.integers(1 << 16))  # the board numbers what it could store
    seq = seq % (1 << 16)
    counts = np.rint(current / board.step_a).astype(np.int64)
    bodies = np.column_stack([seq, micros, counts])
    if voltage is not None:
        bodies = np.column_stack([bodies, np.rint(voltage / board.voltage_step_v).astype(np.int64)])
    doubled = rng.random(len(t)) < (0.004 if plan.board == "doubled lines" else 0.0)
    garbled = rng.random(len(t)) < (0.003 if plan.board == "lines garbled" else 0.0)
    begin, _ = hurt_stretch(plan) if plan.choices else (np.inf, np.inf)
    word_at = int(np.argmax(t >= begin))
    word = {
        "sensor absent": "F,sensor-absent,no answer",
        "overrun": f"F,overrun,{int(np.count_nonzero(~keep))} lost",
        "range below the run": "F,over-range,beyond the range" if plan.choices.get("before") else "",
    }.get(plan.board, "")
    for k, row in enumerate(bodies.tolist()):
        if k == word_at and word:
            lines.append(_framed(word))
        if not keep[k]:
            continue
        line = _framed("D," + ",".join(map(str, row)))
        lines.append(_garble(line) if garbled[k] else line)
        if doubled[k]:
            lines.append(line)
    return lines


def _framed(body: str) -> bytes:
    data = body.encode()
    return b"%b*%04X\n" % (data, crc_hqx(data, 0xFFFF))


def _garble(line: bytes) -> bytes:
    return line[:4] + bytes([line[4] ^ 1]) + line[5:]


def _chunks(lines: list[bytes]) -> list[bytes]:
    """Three short answers by themselves, then lots of some thousand bytes."""
    data = b"".join(lines[3:])
    return [*lines[:3], *(data[k : k + CHUNK_BYTES] for k in range(0, len(data), CHUNK_BYTES))]
