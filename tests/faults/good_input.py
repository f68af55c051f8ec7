"""Good input for every reader, to be made bad; and the words that each reader knows."""

import tempfile
import zlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

TOP = Path(__file__).parents[2]
SAMPLES = TOP / "sample-runs"
NOW = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)


def made_logbook(folder: Path) -> Path:
    """A logbook with one rig and one sheet; made anew when it grew."""
    from throwbook.jobs.import_traces import ImportPlan, import_traces
    from throwbook.jobs.rigs import add_rig

    path = folder / "made.throwbook"
    if path.exists() and path.stat().st_size > 4_000_000:
        path.unlink()
    if not path.exists():
        add_rig(path, SAMPLES / "yard-loader.toml", "M. K.", NOW)
        order = ImportPlan("yard-loader", "spot", [SAMPLES / "healthy" / "lock-mild.csv"])
        import_traces(path, order, "M. K.", NOW, settle=lambda doubt: None)
    return path


def lines(*lines: str) -> Callable[[], Sequence[bytes]]:
    return lambda: [line.encode() for line in lines]


def trace_seeds() -> Sequence[bytes]:
    from tests.files.bad_traces import GOOD

    seeds = [GOOD.encode(), b"T,I [mA]\n0,1.5\n0.005,2\n", b"time_s,current_a\n0,1.5\n0.005,2\n"]
    quoted = GOOD.replace("0.0050,", '"0.0050",').replace("\n", "\r\n")
    return [*seeds, quoted.encode(), b"\xef\xbb\xbf" + GOOD.encode()]


def throw_seeds() -> Sequence[bytes]:
    """Whole throws, thinned to some hundred rows."""
    seeds = []
    for name in ("healthy/lock-mild.csv", "healthy/lock-no-voltage-channel.csv", "baseline/unlock-1.csv"):
        lines = (SAMPLES / name).read_bytes().split(b"\n")
        head = [line for line in lines if line.startswith((b"#", b"time"))]
        rows = [line for line in lines if line and line not in head]
        seeds.append(b"\n".join([*head, *rows[:: max(len(rows) // 300, 1)], b""]))
    return seeds


def photograph_seeds() -> Sequence[bytes]:
    """Small ones, with the notes of a camera."""
    from tests.made_pictures import as_bytes, drawn, photo

    with tempfile.TemporaryDirectory() as folder:
        path = photo(Path(folder) / "a.jpg", NOW, 6, place=True, size=(60, 40))
        noted = path.read_bytes()
    image = drawn(60, 40)
    return [
        noted,
        as_bytes(image, progressive=True),
        as_bytes(image, "PNG"),
        as_bytes(image.convert("P"), "PNG"),
    ]


def rig_seeds() -> Sequence[bytes]:
    from throwbook.files.rig_file import EXAMPLE

    return [EXAMPLE.encode(), (SAMPLES / "yard-loader.toml").read_bytes()]


def board_seeds() -> Sequence[bytes]:
    """A whole conversation as a board sends it."""
    import numpy as np

    from throwbook.protocol.session import Session
    from throwbook.protocol.simulated_board import SimulatedBoard

    def source(time_s):
        return np.where(time_s > 0.05, 1.6, 0.0), np.full(len(time_s), 12.6)

    seeds = []
    for seconds in (0.1, 0.3, 0.8):
        board, session = SimulatedBoard(source), Session()
        stream = board.power_up()
        answer = board.receive(session.start(200), 0.0)
        while answer:
            stream += answer
            session.receive(answer)
            answer = board.receive(session.to_send(), 0.0)
        seeds.append(stream + board.advance(seconds) + b"F,overrun,12 lost*0000\nK,halt*0000\nN,go,no*0000\n")
    return seeds


def journal_seeds() -> Sequence[bytes]:
    from throwbook.files.journal import Journal

    header = {"rig": "yard-loader", "rig_ref": "yard-loader.toml", "direction": "lock", "port": "COM3"}
    header |= {
        "baud": 115200,
        "rate_hz": 200,
        "keep_all": False,
        "ambient_c": 4.0,
        "started": NOW.isoformat(),
    }
    seeds = []
    with tempfile.TemporaryDirectory() as folder:
        for number, stream in enumerate(board_seeds()):
            path = Path(folder) / f"{number}.journal"
            book = Journal(path, {**header, "ambient_c": None} if number else header, 5.0)
            for at in range(0, len(stream), 900):
                book.append(stream[at : at + 900], 5.0 + at / 5000)
            book.end("the current is off again", 9.0)
            seeds.append(path.read_bytes())
    return seeds


def stored_seeds() -> Sequence[bytes]:
    from throwbook.files.trace_file import read_trace
    from throwbook.logbook import serialization

    trace = read_trace(SAMPLES / "healthy" / "lock-mild.csv")
    short = replace(trace, time_s=trace.time_s[:60], current_a=trace.current_a[:60], voltage_v=None)
    odd = replace(short, current_a=short.current_a / 3.0)
    return [zlib.decompress(serialization.encode(serialization.columns(each))) for each in (short, odd)]


def logbook_seeds() -> Sequence[bytes]:
    with tempfile.TemporaryDirectory() as folder:
        path = made_logbook(Path(folder))
        return [path.read_bytes(), (SAMPLES / "yard-loader.toml").read_bytes(), path.read_bytes()[:4096]]


COMMANDS: tuple[tuple[str, ...], ...] = (
    ("rig", "show", "?"),
    ("status", "?"),
    ("trend", "?"),
    ("trend", "yard-loader", "--workers", "?"),
    ("sheet", "show", "?"),
    ("sheet", "plan", "yard-loader", "--kind", "spot", "--throws", "?", "--ambient", "?", "--hours-since", "?"),
    ("sheet", "see", "yard-loader-1", "?", "--seen-how", "?"),
    ("enter", "--rig", "yard-loader", "--direction", "lock", "--time", "?", "--run", "?", "--at", "?", "--note", "?"),
    ("enter", "--rig", "?", "--direction", "?", "--time", "?", "--voltage", "?", "--clamp-accuracy", "?"),
    ("service", "add", "yard-loader", "--action", "?", "--on", "?", "--machine-hours", "?", "--cost", "?"),
    ("service", "add", "yard-loader", "--action", "greased", "--due", "?", "--due-hours", "?", "--found", "?"),
    ("order", "raise", "yard-loader", "--cause", "?", "--because", "?"),
    ("assess", "--rig", "?", "--direction", "?", str(SAMPLES / "healthy" / "lock-mild.csv")),
    ("assess", "--rig", str(SAMPLES / "yard-loader.toml"), "--column", "?", str(SAMPLES / "healthy" / "lock-mild.csv")),
    ("board", "calibrate", "--board", "?", "--instrument", "?", "--accuracy", "?", "--pair", "?", "--pair", "?"),
    ("board", "check", "--port", "?", "--baud", "?"),
    ("record", "--rig", "yard-loader", "--direction", "lock", "--port", "?", "--rate", "?", "--seconds", "?"),
    ("?", "?"),
)  # fmt: skip


WORDS_UNITS = (
    b"mm",
    b"in",
    b"7 1/8 in",
    b"A",
    b"mA",
    b"lbf",
    b"degC",
    b"%",
    b"m/s",
    b"^",
    b"**",
    b"*",
    b"h",
    b"kgf",
)
WORDS_HAND = (
    b"lock ",
    b"unlock ",
    b" both seen",
    b" not looked",
    b"14,3 s",
    b" at rest",
    b" peak ",
    b"# note",
    b"3) ",
)
TYPED = lines(
    "14.3s", "7 1/8 in", "2.1A", "-5 degC", "188 mm", "1.5 mm^2", "25 %", "16 mm/s", "330 lbf", "16 AWG"
)
PROTOCOL = (
    b"B,1,x,y,200,100,4000,20000,IV",
    b"D,65535,4294967295,-1,0",
    b"K,go",
    b"N,rate,no",
    b"F,overrun,9",
    b"\n",
)
ARGUMENTS = lines(
    "14.3s\n2.1A\nyard-loader\n2026-03-14\nlock\ntorch\n1200 h",
    "yard-loader-1\n1% + 3 digits\n2.03A=2.11A\n5\n-h\n--json\n4degC\nscpi:x",
    "/dev/null\ntime=T\ncurrent=I [mA]\nsocket://127.0.0.1:1\n115200\nmanual-stop\nunlock\n0",
)
