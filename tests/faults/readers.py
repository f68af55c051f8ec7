"""Every reader of what comes from outside, with good input to start from and one way to try it.

A try may raise ``ThrowbookError``: that is a refusal in one line. Anything else it raises is a fault. A try that gets
through goes one step further (read again what was written, judge what was read), so that a value accepted here can't
break what comes after.
"""

import os
import random
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tests.faults import good_input
from tests.faults.good_input import NOW, SAMPLES, lines
from throwbook.errors import InputError

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
    from throwbook.files.rig_file import read_rig

    return read_rig(SAMPLES / "yard-loader.toml")


# ---- typed ----


def quantity(data: bytes, draw: random.Random, folder: Path) -> None:
    from throwbook.core.quantities.units import KINDS, show, typed

    kind = draw.choice(tuple(KINDS))
    show(typed(text(data), kind, "--option").value, kind, draw.choice(("metric", "us")))


def hand_lines(data: bytes, draw: random.Random, folder: Path) -> None:
    from throwbook.core.sheets.assess_hand import assess_by_hand
    from throwbook.core.sheets.hand_readings import parse_lines

    for throw in parse_lines(text(data)):
        if draw.random() < 0.1:
            assess_by_hand(throw, rig())


def questions(data: bytes, draw: random.Random, folder: Path) -> None:
    from throwbook.cli.options import moment, needed_day
    from throwbook.core.sheets.conditions import QUESTIONS, answer_from
    from throwbook.core.sheets.hand_readings import accuracy_from

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
        if "\n" in str(error):
            raise ValueError(f"not one line: {error}") from error


# ---- files ----


def rig_file(data: bytes, draw: random.Random, folder: Path) -> None:
    from throwbook.core.machine.rig_validation import problems
    from throwbook.core.sizing.sizing import fit
    from throwbook.files.rig_file import parse_rig, rig_toml

    got = parse_rig(text(data), "rig.toml").rig
    grave = [problem for problem in problems(got) if problem.grave]
    if not grave:
        again = parse_rig(rig_toml(got), "again").rig
        assert (again.name, again.units) == (got.name, got.units)
        fit(got)


def photograph(data: bytes, draw: random.Random, folder: Path) -> None:
    """What is kept is a small JPEG without notes, and can be printed."""
    from throwbook.files.pictures import JPEG, LONGEST_SIDE, for_print, read_picture, taken_on

    path = folder / "photograph.jpg"
    path.write_bytes(data)
    said = taken_on(path)
    kept = read_picture(path)
    assert kept.taken == said or len(data) > 1 << 18
    assert kept.data.startswith(JPEG)
    assert b"Exif" not in kept.data[:200]
    printed = for_print(kept.data, draw.choice((1000, 150_000)))
    assert printed is not None
    assert max(printed[1:]) <= LONGEST_SIDE


def trace_file(data: bytes, draw: random.Random, folder: Path) -> None:
    from throwbook.files.trace_file import TraceLimits, read_trace, trace_text

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
    from throwbook.core.diagnosis.assess import assess_trace
    from throwbook.files.tables import assessment_record, dumps
    from throwbook.files.trace_file import TraceLimits, read_trace

    path = folder / "judged.csv"
    path.write_bytes(data)
    dumps(assessment_record(assess_trace(read_trace(path, limits=TraceLimits(1000, 100_000)), rig())))


def column_choice(data: bytes, draw: random.Random, folder: Path) -> None:
    from throwbook.files.column_names import locate, parse_choices

    choices, _, header = text(data).partition("\n")
    locate(header.split(","), parse_choices(choices.split("|")), "file, line 1")


def journal(data: bytes, draw: random.Random, folder: Path) -> None:
    """Bytes as they are, or (half of the time) every record given the check that fits it, so that it is read on."""
    from throwbook.errors import InputError
    from throwbook.jobs.find import RigSource
    from throwbook.jobs.recording import recover

    path = folder / "left.journal"
    path.write_bytes(_checked(data) if draw.random() < 0.5 else data)
    try:
        recover(path, lambda ref: RigSource(rig())).let_go()
    except InputError as error:
        # What a person is told in one line, so that other journals are reached, is a crash all the same.
        raise (error.__cause__ if "cannot be judged" in error.what and error.__cause__ else error) from None


def _checked(data: bytes) -> bytes:
    from throwbook.files.journal import _CHECKED, _HEAD

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
    from throwbook.jobs.trial_builder import TrialRecord
    from throwbook.protocol.session import Session

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

    from throwbook.protocol.simulated_board import SimulatedBoard

    board = SimulatedBoard(lambda time_s: (np.zeros(len(time_s)), np.full(len(time_s), 12.0)))
    board.power_up()
    board.receive(_framed(data) if draw.random() < 0.5 else data, 0.0)
    board.advance(0.1)


def _framed(data: bytes) -> bytes:
    from throwbook.protocol.framing import frame

    return b"".join(frame(line.rpartition(b"*")[0] or line) for line in data.split(b"\n"))


def stored_samples(data: bytes, draw: random.Random, folder: Path) -> None:
    """Samples as a damaged or foreign logbook may hold them: packed anew, so that the damage is inside."""
    from throwbook.logbook import serialization

    serialization.whole("", data if draw.random() < 0.2 else zlib.compress(data, 1))


def logbook(data: bytes, draw: random.Random, folder: Path) -> None:
    """Another file, or a damaged one, given as the logbook."""
    from throwbook.jobs.logbook_care import check
    from throwbook.jobs.rig_list import list_rigs
    from throwbook.jobs.rigs import rig_history

    path = folder / "other.throwbook"
    for left in folder.glob("other.throwbook*"):
        left.unlink()
    path.write_bytes(data)
    for listed in list_rigs(path, NOW.date()):
        rig_history(path, listed.name, NOW.date())
    check(str(path))


# ---- the command line ----


def command_line(data: bytes, draw: random.Random, folder: Path) -> None:
    """A command with wrong words in it, and its environment: every outcome is an exit code, never a traceback."""
    words = text(data).replace("\0", " ").split("\n")
    line = [draw.choice(words) if word == "?" else word for word in draw.choice(good_input.COMMANDS)]
    if line[0] not in KNOWN_FIRST:
        line[0] = "assess"
    _command(line, {"THROWBOOK_BY": draw.choice((*words, "M. K."))}, good_input.made_logbook(folder))


KNOWN_FIRST = frozenset(first for first, *_ in good_input.COMMANDS if first != "?")


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
    where = good_input.made_logbook(folder) if name != "THROWBOOK_LOGBOOK" else None
    if name == "THROWBOOK_LOGBOOK":
        value = str(folder / "elsewhere" / value.lstrip("/").replace("..", "__"))
    _command(["rig", "list"], {name: value}, where)


def _command(line: list[str], variables: dict[str, str], logbook_path: Path | None) -> None:
    import contextlib
    import io

    from throwbook.cli import diagnostics
    from throwbook.cli.main import throwbook

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


READERS: dict[str, Reader] = {
    "typed quantity": Reader(quantity, good_input.TYPED, good_input.WORDS_UNITS),
    "hand-entry lines": Reader(
        hand_lines,
        lines(
            "lock 14.3s 2.1A 2.9A 12.4V both seen, load check done, stayed put\nunlock 13,9 s; run 1.8 A # note",
            "3) lock stalled 12.1 V at rest left seen, right not seen 4degC",
        ),
        good_input.WORDS_HAND,
    ),
    "dates, answers": Reader(
        questions, lines("2026-03-14T09:12", "16h", "4degC", "no", "1% + 3 digits", "2026-10-01", "yes")
    ),
    "column choice": Reader(
        column_choice, lines("time=T|current=I [mA]\nT,I [mA],U", "\ntime_s,current_a,voltage_v")
    ),
    "lines from a board": Reader(from_board, good_input.board_seeds, good_input.PROTOCOL),
    "lines to a board": Reader(
        to_board, lines("who\nrate,200\ngo\nping\nhalt", "\nhalt\nwho"), good_input.PROTOCOL
    ),
    "rig file": Reader(
        rig_file, good_input.rig_seeds, (b'"12 V"', b"[limits]", b"value = ", b"us", b"\nname = ")
    ),
    "trace file": Reader(
        trace_file, good_input.trace_seeds, (b"# format = ", b"time_s,", b"\n0.005,1,2\n", b"# x = {}")
    ),
    "journal": Reader(journal, good_input.journal_seeds, (b'"rate_hz": ', b"R", b"H", b"E", b'"started": "')),
    "stored samples": Reader(
        stored_samples, good_input.stored_seeds, (b'"samples":', b'"bytes":', b'"way":"divide"')
    ),
    "trace, judged": Reader(
        trace_judged, good_input.throw_seeds, (b"\n0.005,1,2\n", b"# x = 1\n"), share=0.02
    ),
    "photograph": Reader(
        photograph, good_input.photograph_seeds, (b"\xff\xda", b"\xff\xd8", b"Exif", b"IDAT"), share=0.05
    ),
    "another file as logbook": Reader(
        logbook, good_input.logbook_seeds, (b"rig", b"SQLite format 3\0"), share=0.01
    ),
    "command line": Reader(command_line, good_input.ARGUMENTS, (b"\n", b"--", b"-h"), share=0.01),
    "environment": Reader(environment, lines("M. K.", "80", "de_DE.UTF-8", "Europe/Oslo", "1"), share=0.01),
}
