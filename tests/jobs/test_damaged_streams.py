"""A real board's stream, damaged in one way each, from the pseudo-terminal to verdict, head and notes."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.ports.bench import RIG
from tests.ports.stream_board import IDENTITY, Row, lines_of, stream_board, throw_rows
from throwbook.core.assessment import PASS, UNUSABLE
from throwbook.errors import OutsideError
from throwbook.files.journal import unfinished
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs.find import RigSource
from throwbook.jobs.record import Recording, RecordPlan
from throwbook.jobs.recording import Recorded, recover
from throwbook.protocol.framing import frame

pytestmark = pytest.mark.long

STARTED = datetime(2026, 3, 14, 9, 12, 33, tzinfo=UTC)
TRUE_S = 12.0
MIDDLE = 1500
"""A row in mid-throw."""


def record(folder: Path, lines: list[bytes], began: datetime = STARTED, **board: Any) -> Recorded:
    with stream_board(lines, **board) as port:
        plan = RecordPlan(
            port.name, RIG, "lock", folder, rig_ref="rig.toml", silent_s=10.0, answer_within_s=30.0
        )
        return Recording(plan, now=lambda: began).run()


def moved(rows: list[Row], first: int, *, seq: int = 0, micros: int = 0) -> list[Row]:
    """The rows with SEQ and MICROS shifted from ``first`` on."""
    return [
        (row[0] + seq, row[1] + micros, row[2], row[3]) if at >= first else row for at, row in enumerate(rows)
    ]


def with_line(at: int, line: bytes, rows: list[Row] | None = None) -> list[bytes]:
    lines = lines_of(rows or throw_rows())
    return [*lines[:at], line, *lines[at:]]


def stamped(stamp: Callable[[int], int], rows: list[Row]) -> list[bytes]:
    """The rows with MICROS as another clock gives them."""
    return lines_of([(seq, stamp(micros), *rest) for seq, micros, *rest in rows])


@dataclass(frozen=True)
class Damage:
    """A damaged stream and what must come of it."""

    lines: list[bytes]
    verdicts: tuple[str, ...] = (PASS,)
    head: dict[str, Any] = field(default_factory=dict)
    """Keys that the head must hold with these values."""
    without: tuple[str, ...] = ()
    """Keys that it mustn't hold."""
    note: str = ""
    """In the notes of the judged throw."""
    told: str = ""
    """In the notes of the recording."""
    time_s: float | None = TRUE_S
    """The true travel time lies within the stated ± (a quarter of a sample period is allowed for)."""
    widest_u_s: float = 0.02
    board: dict[str, Any] = field(default_factory=dict)


FAULT_ABSENT = frame(b"F,sensor-absent,no answer at 0x40")
FAULT_OVERRUN = frame(b"F,overrun,100 lost")
NOT_PASS = ("watch", "undecided", "unusable", "fail")

DAMAGES = {
    "none": Damage(
        lines_of(throw_rows()),
        head={
            "lost_samples": 0,
            "over_range_samples": 0,
            "full_scale_a": 20.0,
            "rate_asked_hz": 200,
            "rate_hz": 200.0,
        },
        without=("clock", "clock_u_s", "board_faults", "dropped_lines"),
    ),
    "lines that end in CR and LF": Damage(
        lines_of(throw_rows()),
        head={"lost_samples": 0},
        without=("dropped_lines",),
        board={"line_end": b"\r\n"},
    ),
    "the sensor absent in mid-throw": Damage(
        with_line(MIDDLE, FAULT_ABSENT),
        (UNUSABLE,),
        head={
            "board_faults": [
                {"code": "sensor-absent", "text": "no answer at 0x40", "sample": 1499, "at_s": 7.495}
            ]
        },
        note="the board reported sensor-absent (no answer at 0x40) at 7.50 s",
        told="can't reach its current sensor",
        time_s=None,
    ),
    "the sensor absent after the throw": Damage(
        with_line(2851, FAULT_ABSENT), note="the board reported sensor-absent (no answer at 0x40) at 14.25 s"
    ),
    "an overrun that nothing else shows": Damage(
        with_line(MIDDLE, frame(b"F,overrun,4200 lost")),
        NOT_PASS,
        head={"lost_samples": 4200},
        note="the board reports 4,200 lost samples",
        told="could not send fast enough",
        time_s=None,
    ),
    "an overrun that its clock shows": Damage(
        with_line(MIDDLE, FAULT_OVERRUN, moved(throw_rows(), MIDDLE, micros=500_000)),
        NOT_PASS,
        head={"lost_samples": 100},
        without=("clock",),
        time_s=TRUE_S + 0.5,
    ),
    "an overrun that its numbers show too": Damage(
        with_line(MIDDLE, FAULT_OVERRUN, moved(throw_rows(), MIDDLE, seq=100, micros=500_000)),
        NOT_PASS,
        head={"lost_samples": 100},
        without=("clock",),
        time_s=TRUE_S + 0.5,
    ),
    "a line sent twice": Damage(
        with_line(MIDDLE, lines_of(throw_rows())[MIDDLE - 1]),
        head={"lost_samples": 0, "dropped_lines": {"sent twice": 1}},
        told="1 line dropped: 1 sent twice; first one: ",
    ),
    "5 samples a second where 200 were asked for": Damage(
        lines_of(throw_rows(rate_hz=5.0)),
        ("pass", *NOT_PASS),
        head={"rate_asked_hz": 200, "rate_hz": 5.0, "lost_samples": 0},
        without=("clock",),
        note="200 samples per second were set, 5 reached",
        widest_u_s=0.5,
    ),
    "a clock that stands still": Damage(
        stamped(lambda micros: 77, throw_rows()),
        (UNUSABLE,),
        head={"rate_asked_hz": 200, "lost_samples": 0},
        without=("rate_hz",),
        note="the board's clock did not move",
        told="clock does not move",
        time_s=None,
    ),
    "a clock that stands still from mid-throw on": Damage(
        stamped(lambda micros: min(micros, 10_000_000), throw_rows()),
        NOT_PASS,
        head={"lost_samples": 0},
        note="calculated from sample numbers at the rate it had held",
        told="clock does not move",
        widest_u_s=10.0,
    ),
    "a clock that jumps while the numbers go on": Damage(
        lines_of(moved(throw_rows(), MIDDLE, micros=900_000)),
        head={
            "lost_samples": 0,
            "rate_hz": 200.0,
            "clock_u_s": 0.9,
            "clock_from_s": 7.495,
            "clock_until_s": 8.4,
        },
        note="clock and its sample numbers differ by 0.9 s",
        widest_u_s=1.0,
    ),
    "a clock of 10 ms": Damage(
        stamped(lambda micros: micros // 10_000 * 10_000, throw_rows()),
        head={"lost_samples": 0, "rate_hz": pytest.approx(200.0, rel=0.001)},
        note="time stamps repeat the one before",
    ),
    "a clock of 1 ms": Damage(
        stamped(lambda micros: micros // 1000 * 1000, throw_rows(rate_hz=300.0)),
        head={"lost_samples": 0, "rate_hz": pytest.approx(300.0, rel=0.001)},
        without=("clock",),
    ),
}


@pytest.mark.parametrize("name", DAMAGES)
def test_a_damaged_stream_gives_a_true_record_and_says_what_was_wrong(name: str, tmp_path: Path):
    damage = DAMAGES[name]
    recorded = record(tmp_path, damage.lines, **damage.board)
    judged, head = recorded.assessment, recorded.trace.head
    assert judged.verdict in damage.verdicts, judged.because
    assert {key: head.get(key) for key in damage.head} == damage.head
    assert not [key for key in damage.without if key in head]
    assert any(damage.note in note for note in judged.notes)
    assert damage.told == "" or any(damage.told in note for note in recorded.notes)
    assert recorded.ended == "the current is off again"
    if damage.time_s is None:
        assert judged.figures.travel_time_s is None or judged.figures.travel_time_s.u > TRUE_S
    else:
        time = judged.figures.travel_time_s
        period_s = 1.0 / head.get("rate_hz", 200.0)
        assert abs(time.value - damage.time_s) <= time.u + 0.25 * period_s
        assert time.u <= damage.widest_u_s
    signs = {sign.sign: sign for sign in judged.signs}
    assert ("gaps" in signs) == (head["lost_samples"] > 0 and judged.usable)

    # What the head says is still there after the file, and after the journal of a recording that broke off.
    write_trace(recorded.trace, tmp_path / "a.csv")
    again = read_trace(tmp_path / "a.csv")
    recorded.let_go()
    recovered = recover(recorded.journal, lambda ref: RigSource(RIG))
    recovered.let_go()
    for other in (again, recovered.trace):
        assert {**head, "format": 0, "started": 0} == {**other.head, "format": 0, "started": 0}
        assert np.array_equal(other.time_s, recorded.trace.time_s)
        assert np.array_equal(other.current_a, recorded.trace.current_a)
    assert recovered.assessment.verdict == judged.verdict


UNFIT = {
    "current step": (b"B,1,yard-7,shunt-1.0,200,0,20000,20000,IV", "its current step is 0"),
    "voltage step": (b"B,1,yard-7,shunt-1.0,200,1000,0,20000,IV", "its voltage step is 0"),
    "full scale": (b"B,1,yard-7,shunt-1.0,200,1000,20000,0,IV", "its full scale is 0"),
    "letter twice": (b"B,1,yard-7,shunt-1.0,200,1000,20000,20000,II", "its channels are II"),
    "order of letters": (b"B,1,yard-7,shunt-1.0,200,1000,20000,20000,VI", "its channels are VI"),
    "unknown letter": (b"B,1,yard-7,shunt-1.0,200,1000,20000,20000,IX", "its channels are IX"),
}


@pytest.mark.parametrize("name", UNFIT)
def test_a_board_that_cannot_measure_is_refused_by_name(name: str, tmp_path: Path):
    identity, why = UNFIT[name]
    with pytest.raises(OutsideError, match=f"board yard-7 can't be used, {why}") as refused:
        record(tmp_path, lines_of(throw_rows()), identity=identity)
    assert identity.decode() in str(refused.value)
    assert list(tmp_path.iterdir()) == []


def test_lines_with_a_field_too_many_are_counted_and_kept_as_they_came(tmp_path: Path):
    lines = lines_of(throw_rows(after_s=60.0))
    with pytest.raises(OutsideError) as refused:
        record(tmp_path, lines, identity=IDENTITY[:-2] + b"I")
    (unread,) = tmp_path.iterdir()
    text = str(refused.value)
    assert "board yard-7 gives its name, but no sample that can be read" in text
    assert 'too many fields; first one: "D,0,0,' in text
    assert str(unread) in text
    assert b"".join(lines[:100]) in unread.read_bytes()


def test_a_journal_of_a_still_clock_does_not_keep_the_one_behind_it_from_being_recovered(tmp_path: Path):
    for hour, name in enumerate(("a clock that stands still", "none")):
        record(tmp_path, DAMAGES[name].lines, STARTED.replace(hour=hour)).let_go()
    verdicts = [recover(path, lambda ref: RigSource(RIG)).assessment.verdict for path in unfinished(tmp_path)]
    assert verdicts == [UNUSABLE, PASS]
