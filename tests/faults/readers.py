"""Every reader of what comes from outside, with good input to start from and one way to try it.

A try may raise ``ThrowbookError``: that is a refusal in one line. Anything else it raises is a fault. A try that gets
through goes one step further (read again what was written, judge what was read), so that a value accepted here can't
break what comes after.
"""

import os
import random
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from logger.errors import InputError

TOP = Path(__file__).parents[2]
SAMPLES = TOP / "sample-runs"
NOW = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)

Try = Callable[[bytes, random.Random, Path], None]
"""Input, a source of chance for what isn't in it, a folder to work in."""


@dataclass(frozen=True)
class Reader:
    """One reader."""

    one: Try
    seeds: Callable[[], Sequence[bytes]]
    words: Sequence[bytes] = ()
    share: float = 1.0
    """Of the asked count: less where one try is dear."""


def text(data: bytes) -> str:
    return data.decode("utf-8", "surrogateescape")


@cache
def rig():
    from logger.files.rigfile import read_rig

    return read_rig(SAMPLES / "yard-loader.toml")


# ---- typed ----


def quantity(data: bytes, draw: random.Random, folder: Path) -> None:
    from logger.core.unit_table import KINDS
    from logger.core.units import show, typed

    kind = draw.choice(tuple(KINDS))
    show(typed(text(data), kind, "--option").value, kind, draw.choice(("metric", "us")))


def hand_lines(data: bytes, draw: random.Random, folder: Path) -> None:
    from logger.core.byhand import assess_by_hand
    from logger.core.byhand_lines import parse_lines

    for throw in parse_lines(text(data)):
        if draw.random() < 0.1:
            assess_by_hand(throw, rig())


def questions(data: bytes, draw: random.Random, folder: Path) -> None:
    from logger.cli.asking import moment, needed_day
    from logger.core.instruments import accuracy_from
    from logger.core.questions import QUESTIONS, answer_from

    said = text(data)
    for read in (
        lambda: answer_from(draw.choice(QUESTIONS).key, said, "--option"),
        lambda: moment(said, "--at", NOW),
        lambda: needed_day(said, "--due"),
        lambda: accuracy_from(said, "--clamp-accuracy"),
    ):
        refused(read)


def refused(read: Callable[[], object]) -> None:
    """Call it; one refusal must not keep the next reader from its turn."""
    try:
        read()
    except InputError as error:
        assert "\n" not in str(error)


# ---- files ----


def rig_file(data: bytes, draw: random.Random, folder: Path) -> None:
    from logger.core.fit import fit
    from logger.core.rig_check import problems
    from logger.files.rigfile import parse_rig, rig_toml

    got = parse_rig(text(data), "rig.toml").rig
    grave = [problem for problem in problems(got) if problem.grave]
    if not grave:
        again = parse_rig(rig_toml(got), "again").rig
        assert (again.name, again.units) == (got.name, got.units)
        fit(got)


def trace_file(data: bytes, draw: random.Random, folder: Path) -> None:
    from logger.files.tracefile import TraceLimits, read_trace, trace_text

    path = folder / "trace.csv"
    path.write_bytes(data)
    columns = ("time=T", "current=I [mA]") if draw.random() < 0.1 else ()
    direction = draw.choice((None, None, "lock", "unlock"))
    got = read_trace(path, columns=columns, direction=direction, limits=TraceLimits(1000, 100_000))
    if draw.random() < 0.05:
        path.write_text("".join(trace_text(got)), "utf-8", newline="")
        again = read_trace(path)
        assert (again.time_s == got.time_s).all()
        assert (again.current_a == got.current_a).all()


def trace_judged(data: bytes, draw: random.Random, folder: Path) -> None:
    """As ``trace_file``, and whatever can be read is judged."""
    from logger.core.assess import assess_trace
    from logger.files.jsonl import assessment_record, dumps
    from logger.files.tracefile import TraceLimits, read_trace

    path = folder / "judged.csv"
    path.write_bytes(data)
    dumps(assessment_record(assess_trace(read_trace(path, limits=TraceLimits(1000, 100_000)), rig())))


def column_choice(data: bytes, draw: random.Random, folder: Path) -> None:
    from logger.files.columns import locate, parse_choices

    choices, _, header = text(data).partition("\n")
    locate(header.split(","), parse_choices(choices.split("|")), "file, line 1")


def journal(data: bytes, draw: random.Random, folder: Path) -> None:
    """Bytes as they are, or (half of the time) every record given the check that fits it, so that it is read on."""
    from logger.jobs.recorded import recover

    path = folder / "left.journal"
    path.write_bytes(_checked(data) if draw.random() < 0.5 else data)
    recover(path, lambda ref: rig())


def _checked(data: bytes) -> bytes:
    from logger.files.journal import _CHECKED, _HEAD

    out, at = b"", 0
    while len(data) - at >= _HEAD.size:
        kind, length, when, _ = _HEAD.unpack_from(data, at)
        payload = data[at + _HEAD.size : at + _HEAD.size + length]
        checked = _CHECKED.pack(kind, len(payload), when)
        out += checked + zlib.crc32(payload, zlib.crc32(checked)).to_bytes(4, "little") + payload
        at += _HEAD.size + len(payload)
    return out + data[at:]


# ---- the cable ----


def from_board(data: bytes, draw: random.Random, folder: Path) -> None:
    """What a board sends, in random pieces, to the end of the trace; half of the time with good checks."""
    from logger.jobs.trial_record import TrialRecord
    from logger.protocol.session import Session

    session = Session()
    session.start(200, 115_200)
    record = TrialRecord(rig(), "lock")
    stream = _framed(data) if draw.random() < 0.5 else data
    while stream:
        size = draw.choice((1, 17, 200, 4000))
        for event in session.receive(stream[:size]):
            record.take(event, NOW)
        session.to_send()
        stream = stream[size:]
    record.figures()
    record.trace()


def to_board(data: bytes, draw: random.Random, folder: Path) -> None:
    import numpy as np

    from logger.protocol.rehearsal import RehearsalBoard

    board = RehearsalBoard(lambda time_s: (np.zeros(len(time_s)), np.full(len(time_s), 12.0)))
    board.power_up()
    board.receive(_framed(data) if draw.random() < 0.5 else data, 0.0)
    board.advance(0.1)


def _framed(data: bytes) -> bytes:
    from logger.protocol.framing import frame

    return b"".join(frame(line.rpartition(b"*")[0] or line) for line in data.split(b"\n"))


def stored_samples(data: bytes, draw: random.Random, folder: Path) -> None:
    """Samples as a damaged or foreign logbook may hold them: packed anew, so that the damage is inside."""
    from logger.logbook import tracecodec

    tracecodec.whole("", data if draw.random() < 0.2 else zlib.compress(data, 1))


def logbook(data: bytes, draw: random.Random, folder: Path) -> None:
    """Another file, or a damaged one, given as the logbook."""
    from logger.jobs.rig_list import list_rigs, rig_history
    from logger.jobs.upkeep import check

    path = folder / "other.throwbook"
    for left in folder.glob("other.throwbook*"):
        left.unlink()
    path.write_bytes(data)
    for listed in list_rigs(path, NOW.date()):
        rig_history(path, listed.name, NOW.date())
    check(str(path))


# ---- the command line ----

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


def command_line(data: bytes, draw: random.Random, folder: Path) -> None:
    """A command with wrong words in it, and its environment: every outcome is an exit code, never a traceback."""
    words = [word for word in text(data).replace("\0", " ").split("\n")] or [""]
    line = [draw.choice(words) if word == "?" else word for word in draw.choice(COMMANDS)]
    if line[0] not in KNOWN_FIRST:
        line[0] = "assess"
    _command(line, {"THROWBOOK_BY": draw.choice((*words, "M. K."))}, _made_logbook(folder))


KNOWN_FIRST = frozenset(first for first, *_ in COMMANDS if first != "?")


def environment(data: bytes, draw: random.Random, folder: Path) -> None:
    """Odd values of every variable that we or our libraries ask for."""
    value = text(data).replace("\0", " ")
    names = (
        "THROWBOOK_BY",
        "THROWBOOK_LOGBOOK",
        "COLUMNS",
        "LINES",
        "TERM",
        "NO_COLOR",
        "LANG",
        "TZ",
        "HOME",
    )
    name = draw.choice(names)
    if name == "HOME":
        value = str(folder / "home" / value.replace("/", "_")[:80])
    where = _made_logbook(folder) if name != "THROWBOOK_LOGBOOK" else None
    if name == "THROWBOOK_LOGBOOK":
        value = str(folder / "elsewhere" / value.lstrip("/").replace("..", "__"))
    _command(["rig", "list"], {name: value}, where)


def _made_logbook(folder: Path) -> Path:
    """A logbook with one rig and one sheet; made anew when it grew."""
    from logger.jobs.importing import Order, import_traces
    from logger.jobs.rig_list import add_rig

    path = folder / "made.throwbook"
    if path.exists() and path.stat().st_size > 4_000_000:
        path.unlink()
    if not path.exists():
        add_rig(path, SAMPLES / "yard-loader.toml", "M. K.", NOW)
        order = Order("yard-loader", "spot", [SAMPLES / "healthy" / "lock-mild.csv"])
        import_traces(path, order, "M. K.", NOW, settle=lambda doubt: None)
    return path


def _command(line: list[str], variables: dict[str, str], logbook_path: Path | None) -> None:
    import contextlib
    import io

    from logger.cli import diagnostics
    from logger.cli.main import throwbook

    before = dict(os.environ)
    said, complained = io.StringIO(), io.StringIO()
    os.environ.update(variables)
    try:
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(complained):
            place = ["--logbook", str(logbook_path)] if logbook_path else []
            code = diagnostics.run(throwbook, [*place, *line])
    finally:
        os.environ.clear()
        os.environ.update(before)
    assert code in (0, 1, 2, 3), code
    for shown in (said.getvalue(), complained.getvalue()):
        assert "Traceback" not in shown, shown
        assert "\x1b" not in shown, shown


# ---- good input to start from ----


def _lines(*lines: str) -> Callable[[], Sequence[bytes]]:
    return lambda: [line.encode() for line in lines]


def _trace_seeds() -> Sequence[bytes]:
    from tests.files.bad_traces import GOOD

    seeds = [GOOD.encode(), b"T,I [mA]\n0,1.5\n0.005,2\n", b"time_s,current_a\n0,1.5\n0.005,2\n"]
    quoted = GOOD.replace("0.0050,", '"0.0050",').replace("\n", "\r\n")
    return [*seeds, quoted.encode(), b"\xef\xbb\xbf" + GOOD.encode()]


def _throw_seeds() -> Sequence[bytes]:
    """Whole throws, thinned to some hundred rows."""
    seeds = []
    for name in ("healthy/lock-mild.csv", "healthy/lock-no-voltage-channel.csv", "baseline/unlock-1.csv"):
        lines = (SAMPLES / name).read_bytes().split(b"\n")
        head = [line for line in lines if line.startswith((b"#", b"time"))]
        rows = [line for line in lines if line and line not in head]
        seeds.append(b"\n".join([*head, *rows[:: max(len(rows) // 300, 1)], b""]))
    return seeds


def _rig_seeds() -> Sequence[bytes]:
    from logger.files.rig_example import EXAMPLE

    return [EXAMPLE.encode(), (SAMPLES / "yard-loader.toml").read_bytes()]


def _board_seeds() -> Sequence[bytes]:
    """A whole conversation as a board sends it."""
    import numpy as np

    from logger.protocol.rehearsal import RehearsalBoard
    from logger.protocol.session import Session

    def source(time_s):
        return np.where(time_s > 0.05, 1.6, 0.0), np.full(len(time_s), 12.6)

    seeds = []
    for seconds in (0.1, 0.3, 2.0):
        board, session = RehearsalBoard(source), Session()
        stream = board.power_up()
        answer = board.receive(session.start(200), 0.0)
        while answer:
            stream += answer
            session.receive(answer)
            answer = board.receive(session.to_send(), 0.0)
        seeds.append(stream + board.advance(seconds) + b"F,overrun,12 lost*0000\nK,halt*0000\nN,go,no*0000\n")
    return seeds


def _journal_seeds() -> Sequence[bytes]:
    import tempfile

    from logger.files.journal import Journal

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
        for number, stream in enumerate(_board_seeds()):
            path = Path(folder) / f"{number}.journal"
            book = Journal(path, {**header, "ambient_c": None} if number else header, 5.0)
            for at in range(0, len(stream), 900):
                book.append(stream[at : at + 900], 5.0 + at / 5000)
            book.end("the current is off again", 9.0)
            seeds.append(path.read_bytes())
    return seeds


def _stored_seeds() -> Sequence[bytes]:
    from logger.files.tracefile import read_trace
    from logger.logbook import tracecodec

    trace = read_trace(SAMPLES / "healthy" / "lock-mild.csv")
    short = replace(trace, time_s=trace.time_s[:60], current_a=trace.current_a[:60], voltage_v=None)
    odd = replace(short, current_a=short.current_a / 3.0)
    return [zlib.decompress(tracecodec.encode(tracecodec.columns(each))) for each in (short, odd)]


def _logbook_seeds() -> Sequence[bytes]:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = _made_logbook(Path(folder))
        return [path.read_bytes(), (SAMPLES / "yard-loader.toml").read_bytes(), path.read_bytes()[:4096]]


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
TYPED = _lines(
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
ARGUMENTS = _lines(
    "14.3s\n2.1A\nyard-loader\n2026-03-14\nlock\ntorch\n1200 h",
    "yard-loader-1\n1% + 3 digits\n2.03A=2.11A\n5\n-h\n--json\n4degC\nscpi:x",
    "/dev/null\ntime=T\ncurrent=I [mA]\nsocket://127.0.0.1:1\n115200\nmanual-stop\nunlock\n0",
)

READERS: dict[str, Reader] = {
    "typed quantity": Reader(quantity, TYPED, WORDS_UNITS),
    "hand-entry lines": Reader(
        hand_lines,
        _lines(
            "lock 14.3s 2.1A 2.9A 12.4V both seen, load check done, stayed put\nunlock 13,9 s; run 1.8 A # note",
            "3) lock stalled 12.1 V at rest left seen, right not seen 4degC",
        ),
        WORDS_HAND,
    ),
    "dates, answers": Reader(
        questions, _lines("2026-03-14T09:12", "16h", "4degC", "no", "1% + 3 digits", "2026-10-01", "yes")
    ),
    "column choice": Reader(
        column_choice, _lines("time=T|current=I [mA]\nT,I [mA],U", "\ntime_s,current_a,voltage_v")
    ),
    "lines from a board": Reader(from_board, _board_seeds, PROTOCOL),
    "lines to a board": Reader(to_board, _lines("who\nrate,200\ngo\nping\nhalt", "\nhalt\nwho"), PROTOCOL),
    "rig file": Reader(rig_file, _rig_seeds, (b'"12 V"', b"[limits]", b"value = ", b"us", b"\nname = ")),
    "trace file": Reader(
        trace_file, _trace_seeds, (b"# format = ", b"time_s,", b"\n0.005,1,2\n", b"# x = {}")
    ),
    "journal": Reader(journal, _journal_seeds, (b'"rate_hz": ', b"R", b"H", b"E", b'"started": "')),
    "stored samples": Reader(stored_samples, _stored_seeds, (b'"samples":', b'"bytes":', b'"way":"divide"')),
    "trace, judged": Reader(trace_judged, _throw_seeds, (b"\n0.005,1,2\n", b"# x = 1\n"), share=0.02),
    "another file as logbook": Reader(logbook, _logbook_seeds, (b"rig", b"SQLite format 3\0"), share=0.01),
    "command line": Reader(command_line, ARGUMENTS, (b"\n", b"--", b"-h"), share=0.01),
    "environment": Reader(environment, _lines("M. K.", "80", "de_DE.UTF-8", "Europe/Oslo", "1"), share=0.01),
}
