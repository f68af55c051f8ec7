"""What came of a recording: its movements, each a throw of its own and judged; also from the journal of one that broke off."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from throwbook.core.analysis.movements import Movement
from throwbook.core.assessment import FAIL, NO_START, SWITCH_OPEN, worst_of
from throwbook.core.diagnosis.assess import cut, judge_throw
from throwbook.core.rig import DIRECTIONS, LOCK
from throwbook.core.sheets.conditions import AMBIENT_FROM, AT_THE_BOARD, air_doubt
from throwbook.errors import InputError, OutsideError, ThrowbookError
from throwbook.files.journal import (
    Claim,
    Journal,
    JournalText,
    read_journal,
    write_unread,
)
from throwbook.jobs.trial_builder import TrialRecord
from throwbook.logbook.trials import CUT_FROM, samples_digest
from throwbook.protocol.messages import Identity, Samples
from throwbook.protocol.session import Session

if TYPE_CHECKING:
    from throwbook.core.analysis.baseline import Baseline
    from throwbook.core.analysis.calibration import CalibrationRecord
    from throwbook.core.assessment import Assessment
    from throwbook.core.rig import Rig
    from throwbook.core.trace import Trace
    from throwbook.jobs.find import RigSource


@dataclass(frozen=True, eq=False)
class Throw:
    """One movement of a record, judged."""

    trace: "Trace"
    """A record of its own, in the direction it was judged as."""
    assessment: "Assessment"
    direction_known: bool = True
    """False: nothing told its direction; it was judged both ways, and the worse counts."""


def cut_out(record: "Trace", rig: "Rig", baselines: "Mapping[str, Baseline]") -> tuple[Movement, ...]:
    """The movements of a record, each a record of its own that names where it was cut from; the record as it is where it holds one or none."""
    movements = cut(record, rig, baselines)
    if len(movements) == 1:
        return movements
    digest = samples_digest(record)
    return tuple(
        replace(
            one,
            trace=replace(
                one.trace,
                head=MappingProxyType({**one.trace.head, CUT_FROM: digest}),
                source=f"{record.source}#{number}",
            ),
        )
        for number, one in enumerate(movements, 1)
    )


def directed(movements: Sequence[Movement], ways: Mapping[int, str]) -> tuple[Movement, ...]:
    """The same with the directions that a person told, by number from 1."""
    return tuple(
        replace(one, direction=ways[number], trace=replace(one.trace, direction=ways[number]))
        if number in ways
        else one
        for number, one in enumerate(movements, 1)
    )


def judged_throw(
    movement: Movement, rig: "Rig", baselines: "Mapping[str, Baseline]", *, on_bench: bool = False
) -> Throw:
    """One movement by the baseline of its direction."""
    trace, assessment = judge_throw(movement, rig, baselines, on_bench=on_bench)
    return Throw(trace, assessment, movement.direction is not None)


def throws_of(
    record: "Trace",
    rig: "Rig",
    baselines: "Mapping[str, Baseline]",
    *,
    on_bench: bool = False,
    ways: Mapping[int, str] = MappingProxyType({}),
) -> tuple[Throw, ...]:
    """Every movement of a record as a throw; ``ways``: directions that a person told, by number from 1."""
    movements = directed(cut_out(record, rig, baselines), ways)
    return tuple(judged_throw(one, rig, baselines, on_bench=on_bench) for one in movements)


_LONGEST_S = 1e6
"""A steady clock that says more than this since the recording began is damaged, and passed over [s]."""
_HOTTEST_C = 1000.0


@dataclass(frozen=True, eq=False)
class Recorded:
    """What came of it."""

    rig: "Rig"
    rig_ref: str
    """The rig as it was named."""
    trace: "Trace | None"
    """The whole record; None: not one sample came."""
    throws: tuple[Throw, ...]
    """Each movement of the record; none: not one sample came."""
    ended: str
    """Why it ended, in plain words."""
    problem: ThrowbookError | None
    """What went wrong; what was recorded before it is in ``trace``."""
    notes: tuple[str, ...]
    identity: Identity | None
    samples: int
    lost: int
    dropped: int
    journal: Path
    """Kept until ``discard_journal``."""
    rest_s: float | None = None
    """Rest that the duty cycle asks for after this throw [s]; None: no duty cycle is known, or nothing ran."""

    baselines: "Mapping[str, Baseline]" = field(default_factory=dict)
    """What its throws were compared with, by direction; a direction that isn't there: the rating alone."""
    claim: Journal | Claim | None = None
    """The journal, still locked by this recording; None: nobody else looks for it."""
    on_bench: bool = False
    """Off the machine, where it should run light."""
    recovered: bool = False
    """From the journal of a recording that broke off, perhaps just after it was kept."""

    @property
    def assessment(self) -> "Assessment | None":
        """That of its worst movement, which stands for the whole record."""
        return worst_of([one.assessment for one in self.throws]) if self.throws else None

    @property
    def untold(self) -> tuple[int, ...]:
        """Numbers, from 1, of the movements whose direction neither the current nor a person told."""
        return tuple(number for number, one in enumerate(self.throws, 1) if not one.direction_known)

    def directed(self, ways: Mapping[int, str]) -> "Recorded":
        """The same, judged by the directions that a person told, by number from 1."""
        assert self.trace is not None
        throws = throws_of(self.trace, self.rig, self.baselines, on_bench=self.on_bench, ways=ways)
        return replace(self, throws=throws)

    @property
    def air_doubt(self) -> str:
        """What to tell a person of the probe's temperature, where nobody typed one or it is far off; empty: nothing."""
        if self.trace is None or AMBIENT_FROM in self.trace.head:
            return ""
        return air_doubt(self.trace.ambient_c, self.trace.at_the_board_c, self.rig.units)

    @property
    def air_question(self) -> str:
        """The same where a person is asked whether that is the air; a throw that fails is kept first: it may take the rig out of use."""
        failed = any(one.assessment.verdict == FAIL for one in self.throws)
        return "" if failed else self.air_doubt

    def with_board_air(self, ways: Mapping[int, str] = MappingProxyType({})) -> "Recorded":
        """The same, judged by the temperature of the board's probe as that of the air, and as ``directed``."""
        assert self.trace is not None
        head = MappingProxyType({**self.trace.head, AMBIENT_FROM: AT_THE_BOARD})
        trace = replace(self.trace, ambient_c=self.trace.at_the_board_c, head=head)
        return replace(self, trace=trace).directed(ways)

    @property
    def no_current(self) -> bool:
        """Nothing flowed from its first sample to its last; whether anybody threw, the record can't tell.

        False where a pin switch speaks all the same: that has to reach the rig's status, thrown or not.
        """
        signs = {sign.sign for one in self.throws for sign in one.assessment.signs}
        return NO_START in signs and SWITCH_OPEN not in signs

    @property
    def ends_with_lock(self) -> bool:
        """Whether its last movement was, or may have been, a lock throw."""
        last = self.throws[-1] if self.throws else None
        return last is not None and (last.trace.direction == LOCK or not last.direction_known)

    def discard_journal(self) -> None:
        """The trial is stored elsewhere, or it was none."""
        self.let_go()
        self.journal.unlink(missing_ok=True)

    def let_go(self) -> None:
        """It isn't kept now: whoever looks may recover it."""
        if self.claim is not None:
            self.claim.close()


def judged(
    record: TrialRecord,
    trace: "Trace | None",
    rig_ref: str,
    baselines: "Mapping[str, Baseline]",
    journal: Path,
    ended: str,
    problem: ThrowbookError | None,
    notes: list[str],
    *,
    on_bench: bool = False,
    held: Journal | Claim | None = None,
    recovered: bool = False,
) -> Recorded:
    """What came of ``record``, put together as ``trace``: its movements judged."""
    found = () if trace is None else throws_of(trace, record.rig, baselines, on_bench=on_bench)
    return Recorded(
        rig=record.rig,
        rig_ref=rig_ref,
        trace=trace,
        throws=found,
        ended=ended,
        problem=problem,
        notes=tuple(notes),
        identity=record.identity,
        samples=record.samples,
        lost=record.lost,
        dropped=record.report.drops.count,
        journal=journal,
        rest_s=record.rest_s,
        baselines=baselines,
        claim=held,
        on_bench=on_bench,
        recovered=recovered,
    )


def recover(
    path: Path,
    source_of: "Callable[[str], RigSource]",
    *,
    calibration_of: "Callable[[str], CalibrationRecord | None]" = lambda board: None,
) -> Recorded:
    """A trial from the journal of a recording that broke off; ``source_of`` finds the rig by the name it went by.

    It is locked until it is kept or let go of, so that it is judged once. Raises InputError when the file is no journal or
    holds no sample, OutsideError when another program has it.
    """
    claim = Claim(path)
    try:
        return _judged_whole(path, source_of, calibration_of, claim)
    except BaseException:
        claim.close()
        raise


def _judged_whole(
    path: Path,
    source_of: "Callable[[str], RigSource]",
    calibration_of: "Callable[[str], CalibrationRecord | None]",
    claim: Claim,
) -> Recorded:
    text = read_journal(path)
    header = header_of(text)
    source = source_of(header.rig_ref)
    try:
        return _recovered(text, header, source, calibration_of, claim)
    except ThrowbookError:
        raise
    except Exception as error:  # whatever one journal holds, those behind it must still be reached
        raise InputError(
            f"the contents of this journal cannot be judged ({type(error).__name__}: {error})",
            str(path),
            "It stays there; send it to whoever looks after this program",
        ) from error


def _recovered(
    text: JournalText,
    header: "Header",
    source: "RigSource",
    calibration_of: "Callable[[str], CalibrationRecord | None]",
    claim: Claim,
) -> Recorded:
    path = text.path
    record = TrialRecord(source.rig, header.direction, calibration_of, keep_all=header.keep_all)
    notes = _replayed(text, header, record)
    if not record.samples:
        raise InputError("the journal holds no samples", str(path), "Delete it: nothing can be recovered")
    notes += record.last_notes()
    notes.append(f"recovered from an interrupted recording: {text.end or 'it never ended'}")
    if text.torn_bytes:
        notes.append(f"the last {text.torn_bytes} bytes of the journal were torn and are left out")
    return judged(
        record,
        record.trace(ambient_c=header.ambient_c, source=path.stem),
        header.rig_ref,
        source.baselines,
        path,
        text.end or "it broke off",
        None,
        notes,
        on_bench=header.on_bench,
        held=claim,
        recovered=True,
    )


@dataclass(frozen=True)
class Header:
    """What a recovery needs of a journal's header."""

    rig_ref: str
    direction: str
    keep_all: bool
    on_bench: bool
    ambient_c: float | None
    rate_hz: int
    began: datetime


def header_of(text: JournalText) -> Header:
    """The header, checked. Raises InputError where a key is missing or holds what it can't."""
    keys = text.header
    try:
        ambient_c = None if keys["ambient_c"] is None else float(keys["ambient_c"])
        header = Header(
            str(keys["rig_ref"]),
            str(keys["direction"]),
            bool(keys["keep_all"]),
            bool(keys.get("on_bench", False)),  # journals of earlier versions don't say
            ambient_c,
            int(keys["rate_hz"]),
            datetime.fromisoformat(str(keys["started"])),
        )
        good = header.direction in DIRECTIONS and header.rate_hz > 0 and header.began.tzinfo is not None
        good = good and abs(ambient_c or 0.0) < _HOTTEST_C
    except (KeyError, TypeError, ValueError, OverflowError):
        good = False
    if not good:
        raise InputError(
            "the journal's header is damaged", str(text.path), "Nothing can be recovered from it"
        )
    return header


def holds_samples(text: JournalText) -> bool:
    """Whether so much as one sample came. Raises InputError where the header is damaged."""
    session = Session()
    session.start(header_of(text).rate_hz)
    return any(isinstance(event, Samples) for _, data in text.chunks for event in session.receive(data))


def keep_unread(journal: Path) -> Path | None:
    """Where what the board sent is kept as it came, when it holds lines that nobody could read.

    None: it holds none, or the disk refuses. Raises InputError where the journal is damaged.
    """
    text = read_journal(journal)
    session = Session()
    session.start(header_of(text).rate_hz)
    for _, data in text.chunks:
        session.receive(data)
    if session.heard and not session.dropped.reasons:
        return None
    try:
        return write_unread(journal, text.received)
    except OutsideError:
        return None


def _replayed(text: JournalText, header: Header, record: TrialRecord) -> list[str]:
    session = Session()
    session.start(header.rate_hz)
    notes = []
    for came_s, data in text.chunks:
        after_s = came_s - text.begun_s
        now = header.began + timedelta(seconds=after_s if 0.0 <= after_s < _LONGEST_S else 0.0)
        notes += [record.take(event, now) for event in session.receive(data)]
    return [line for line in notes if line]
