"""The figures of the board path in one table: ``python -m tests.benchmarks.board_path``.

Fixed seeds. ``--quick`` takes a tenth of everything. Exit code 1: a floor isn't met.
"""

import io
import multiprocessing
import statistics
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd

from tests.benchmarks.table import Row, all_met, load, print_table
from tests.ports.bench import RIG, board_on_a_cable, throw_source
from throwbook.core.analysis.live import LiveFigures
from throwbook.files.journal import Journal, read_journal
from throwbook.jobs.record import Recording, RecordPlan
from throwbook.jobs.trial_builder import TrialRecord
from throwbook.ports.acquisition import Chunk, Recorder
from throwbook.ports.serial_port import Port, PseudoPort, serve
from throwbook.protocol.framing import Framer, fault_of, frame
from throwbook.protocol.messages import Lost, Samples
from throwbook.protocol.samples import decode_block
from throwbook.protocol.session import Session
from throwbook.protocol.simulated_board import SimulatedBoard, Trouble

NOW = datetime(2026, 3, 14, tzinfo=UTC)
QUICK = "--quick" in sys.argv
SCALE = 10 if QUICK else 1


def stroke_rows(count: int) -> list[tuple[int, int, int, int]]:
    """Rows as a stroke at 200/s gives them: a fifth at rest, then running, noise on both."""
    rng = np.random.default_rng(1)
    i_counts = np.rint(1700 + rng.normal(0, 80, count)).astype(int)
    i_counts[: count // 5] = np.rint(rng.normal(0, 11, count // 5)).astype(int)
    v_counts = np.rint(3150 + rng.normal(0, 3, count)).astype(int)
    return [
        (n % 65536, n * 5000 % 2**32, int(i), int(v))
        for n, (i, v) in enumerate(zip(i_counts, v_counts, strict=True))
    ]


def decode_ratio() -> list[Row]:
    rows = stroke_rows(200_000)
    more = [(*row, 12 + n // 50_000, 1850 + n // 9_000) for n, row in enumerate(rows)]
    table = "seq,micros,i,v\n" + "\n".join(",".join(map(str, row)) for row in rows)
    pieces = {"IV": in_pieces(rows), "IVST": in_pieces(more)}
    pandas_s: list[float] = []
    protocol_s: dict[str, list[float]] = {channels: [] for channels in pieces}
    for _ in range(15):
        begun_s = time.process_time()
        pd.read_csv(io.StringIO(table))
        pandas_s.append(time.process_time() - begun_s)
        for channels, those in pieces.items():
            begun_s = time.process_time()
            framer = Framer()
            taken = sum(len(decode_block(framer.whole_lines(piece), channels) or ()) for piece in those)
            protocol_s[channels].append(time.process_time() - begun_s)
            assert taken == len(rows)
    plain_s, more_s = (statistics.median(each) for each in protocol_s.values())
    ratio, more_ratio = plain_s / statistics.median(pandas_s), more_s / plain_s
    return [Row("decode with CRC over pandas.read_csv, same rows (CPU)", "at most 2.5", f"{ratio:.2f}", ratio <= 2.5),
            Row("samples decoded a second, one core", "-", f"{len(rows) / plain_s:,.0f}", True),
            Row("a row with pin switches and temperature over one without", "at most 1.3", f"{more_ratio:.2f}", more_ratio <= 1.3)]  # fmt: skip


def in_pieces(rows: list[tuple[int, ...]], size: int = 1 << 20) -> list[bytes]:
    """The rows as a board sends them, a mebibyte at a time."""
    stream = b"".join(frame(b"D," + b",".join(b"%d" % field for field in row)) for row in rows)
    return [stream[at : at + size] for at in range(0, len(stream), size)]


def corrupted() -> list[Row]:
    """Lines with 1 to 16 flipped bits: what gets through, and whether the CRC had to catch it."""
    count = 1_000_000 // SCALE
    rng = np.random.default_rng(2)
    must = may = may_lines = 0
    for row in stroke_rows(count):
        line = frame(b"D,%d,%d,%d,%d" % row)[:-1]
        flips = int(rng.integers(1, 17))
        damaged = bytearray(line)
        for bit in rng.choice(8 * len(line), flips, replace=False).tolist():
            damaged[bit // 8] ^= 1 << bit % 8
        caught = must_catch(line, bytes(damaged))
        may_lines += not caught
        for part in bytes(damaged).split(b"\n"):
            if not fault_of(part):
                must += caught
                may += not caught
    # An even number of wrong bits passes with odds of 2 to the -15; three standard deviations are allowed on top.
    odds = may_lines / 2**15
    most = odds + 3 * odds**0.5 + 1
    wrong = fuzz_session(count)
    return [
        Row(f"damaged lines accepted where CRC-16 must catch them, of {count:,}", "0", str(must), must == 0),
        Row("damaged lines accepted where it needn't", f"odds: {odds:.0f}, at most {most:.0f}", str(may), may <= most),
        Row(f"wrong samples out of a session, {count:,} lines of fuzz", "0", str(wrong), wrong == 0),
    ]  # fmt: skip


def must_catch(line: bytes, damaged: bytes) -> bool:
    """Whether the CRC is bound to catch this damage.

    The polynomial 0x1021 catches up to 3 wrong bits in lines this short and every odd number of them. Wrong bits of
    the check are those of its value, not of its text; a check that is no longer one is caught anyway.
    """
    if damaged[-5:-4] != b"*" or b"\n" in damaged or not set(damaged[-4:]) <= set(b"0123456789ABCDEF"):
        return False
    body = sum((a ^ b).bit_count() for a, b in zip(line[:-5], damaged[:-5], strict=True))
    bits = body + (int(line[-4:], 16) ^ int(damaged[-4:], 16)).bit_count()
    return bits <= 3 or bits % 2 == 1


def fuzz_session(count: int) -> int:
    """Feed a session damaged, cut, doubled, joined and random lines; samples that differ from what was sent."""
    rng = np.random.default_rng(3)
    rows = stroke_rows(count)
    session = Session()
    session.start(200)
    session.receive(frame(b"B,1,x,x,200,1000,4000,20000,IV") + frame(b"K,rate") + frame(b"K,go"))
    wrong = 0
    for begin in range(0, count, 1000):
        lines = [frame(b"D,%d,%d,%d,%d" % row) for row in rows[begin : begin + 1000]]
        for at in rng.choice(np.arange(1, len(lines)), 100, replace=False).tolist():
            kind = int(rng.integers(0, 4))
            if kind == 0:
                lines[at] = lines[at][: int(rng.integers(0, len(lines[at])))]
            elif kind == 1:
                lines[at] = rng.bytes(int(rng.integers(1, 200)))
            elif kind == 2:
                damaged = bytearray(lines[at])
                for bit in rng.integers(0, 8 * len(damaged), 16).tolist():
                    damaged[bit // 8] ^= 1 << bit % 8
                lines[at] = bytes(damaged)
            else:
                lines[at] = lines[at][:-1]
        for event in session.receive(b"".join(lines)):
            if isinstance(event, Samples):
                true = np.array([rows[n][2] for n in event.index.tolist()])
                wrong += int((np.rint(event.current_a * 1000) != true).sum())
    return wrong


def losses() -> list[Row]:
    injected = counted = 0
    for seed in range(20):
        trouble = Trouble(flipped_bits=0.001, dropped_bytes=0.001, lost_samples=0.01)
        board, session = SimulatedBoard(throw_source(), trouble=trouble, seed=seed), Session()
        last = 0
        answer = board.receive(session.start(400), 0.0)
        now_s = 0.0
        while answer:
            session.receive(answer)
            answer = board.receive(session.to_send(), now_s)
        for step in range(1, 301):
            for event in session.receive(board.advance(step * 0.1)):
                if isinstance(event, Samples):
                    last = int(event.index[-1])
        after_last = board.injected.sent + board.injected.lost - (last + 1)
        injected += board.injected.lost - after_last
        counted += session.lost
    return [
        Row("samples lost: counted / injected", "the same", f"{counted} / {injected}", counted == injected)
    ]


def memory_of_a_day() -> list[Row]:
    hours = 24 / SCALE
    rng = np.random.default_rng(4)

    def at_rest(time_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return rng.normal(0, 0.01, len(time_s)), np.full(len(time_s), 12.6)

    board, session, record = SimulatedBoard(at_rest), Session(), TrialRecord(RIG, "lock")
    answer = board.receive(session.start(200), 0.0)
    while answer:
        for event in session.receive(answer):
            record.take(event, NOW)
        answer = board.receive(session.to_send(), 0.0)
    begun_s, before = time.perf_counter(), 0.0
    for step in range(1, int(hours * 360) + 1):
        for event in session.receive(board.advance(step * 10.0)):
            record.take(event, NOW)
        if step == 60:
            before = resident_mb()
    grown = resident_mb() - before
    faster = hours * 3600 / (time.perf_counter() - begun_s)
    whole = record.samples == int(hours * 3600 * 200) + 1 and not record.lost
    return [Row(f"{hours:g} h at 200/s, {faster:,.0f} times real time: memory grown", "under 20 MB", f"{grown:.1f} MB",
                grown < 20 and whole)]  # fmt: skip


def resident_mb() -> float:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return float("nan")


def board_elsewhere(port: PseudoPort, stop: threading.Event) -> None:
    """In a process of its own, so that the board's work isn't counted."""
    rng = np.random.default_rng(5)

    def source(time_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return 2 + rng.normal(0, 0.01, len(time_s)), np.full(len(time_s), 12.6)

    serve(SimulatedBoard(source), port, stop)


def through_a_terminal() -> list[Row]:
    """10,000 samples/s for ten seconds: the board in another process, recorder, journal and session in this one."""
    seconds = 10.0 / (2 if QUICK else 1)
    port = PseudoPort()
    fork = multiprocessing.get_context("fork")
    stop = fork.Event()
    process = fork.Process(target=board_elsewhere, args=(port, stop))
    process.start()
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(Path(folder) / "a.journal", {}, 0.0)
        recorder, session = Recorder(Port(port.name, 2_000_000), journal), Session()
        recorder.start()
        recorder.write(session.start(10_000))
        got, lost, begun = 0, 0, None
        while begun is None or time.perf_counter() - begun[0] < seconds:
            item = recorder.next(0.1)
            if not isinstance(item, Chunk):
                continue
            for event in session.receive(item.data):
                got += len(event) if isinstance(event, Samples) else 0
                lost += event.count if isinstance(event, Lost) else 0
            sending = session.to_send()
            if sending:
                recorder.write(sending)
            if begun is None and got:
                begun = (time.perf_counter(), time.process_time())
        busy = (time.process_time() - begun[1]) / (time.perf_counter() - begun[0])
        recorder.stop()
        stop.set()
        process.join()
        journal.close()
        again = Session()
        again.start(10_000)
        kept = sum(
            len(e) for e in again.receive(read_journal(journal.path).received) if isinstance(e, Samples)
        )
    port.close()
    rate = got / seconds
    good = lost == 0 and rate > 9_900 and busy <= 0.5 and kept >= got
    return [Row("samples/s through a pseudo-terminal to journal and memory", "10,000, none lost", f"{rate:,.0f}, {lost} lost", good),
            Row("that, share of one core", "at most 50 %", f"{100 * busy:.0f} %", busy <= 0.5)]  # fmt: skip


def verdict_after_the_end() -> list[Row]:
    """From the moment the current is off again to the verdict, and from an over-current to its warning: medians of 5."""
    spans: dict[str, list[float]] = {"verdict": [], "warning": []}
    for _ in range(5):
        spans["verdict"].append(end_to_verdict_s())
        spans["warning"].append(over_current_to_warning_s())
    verdict_s, warning_s = (statistics.median(each) for each in spans.values())
    return [
        Row("end of a throw to its verdict", "0.5 s", f"{verdict_s:.2f} s", verdict_s < 0.5),
        Row("current above the rating to the warning", "0.3 s", f"{warning_s:.2f} s", warning_s < 0.3),
    ]


def end_to_verdict_s() -> float:
    """One throw on a simulated board, 16 times faster than real."""
    over_s: list[float] = []

    def on_live(figures: LiveFigures) -> None:
        if figures.phase == "over":
            over_s.append(time.perf_counter())

    with tempfile.TemporaryDirectory() as folder, board_on_a_cable(speed=16.0) as (port, _):
        recorded = Recording(
            RecordPlan(port.name, RIG, "lock", Path(folder)), now=lambda: NOW, on_live=on_live
        ).run()
        done_s = time.perf_counter()
    assert recorded.assessment is not None
    return done_s - over_s[0]


def over_current_to_warning_s() -> float:
    """A board in real time whose current passes the rating 1.5 s after the start of the throw."""
    passed_s: list[float] = []
    told_s: list[float] = []

    def source(time_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        over = time_s >= 2.5
        if over.any() and not passed_s:
            passed_s.append(time.perf_counter())
        return np.where(over, 4.2, np.where(time_s >= 1.0, 1.6, 0.0)), np.full(len(time_s), 12.6)

    def on_live(figures: LiveFigures) -> None:
        if figures.warning and not told_s:
            told_s.append(time.perf_counter())
            recording.finish()

    with tempfile.TemporaryDirectory() as folder, board_on_a_cable(source) as (port, _):
        recording = Recording(
            RecordPlan(port.name, RIG, "lock", Path(folder)), now=lambda: NOW, on_live=on_live
        )
        recording.run()
    return told_s[0] - passed_s[0]


def main() -> int:
    assert frame(b"123456789") == b"123456789*29B1\n"
    rows: list[Row] = []
    for measure in (
        decode_ratio,
        through_a_terminal,
        verdict_after_the_end,
        losses,
        corrupted,
        memory_of_a_day,
    ):
        rows += measure()
    print_table(f"Board path ({load()})", rows)
    return all_met(rows)


if __name__ == "__main__":
    sys.exit(main())
