"""One trial recorded from a board: journaled while it runs, judged when it ends. Never prints.

recording = Recording(plan, on_live=show, on_note=tell, now=now)
recorded = recording.run()          # in a thread of your own; ``begin`` and ``finish`` from any other
"""

import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.analysis.live import LiveFigures
from throwbook.core.analysis.record_conditions import ENDED_KEY
from throwbook.core.quantities.text import file_name
from throwbook.errors import InputError, OutsideError, Remedy, ThrowbookError
from throwbook.files.journal import SUFFIX, Journal
from throwbook.jobs.recording import Recorded, judged, keep_unread
from throwbook.jobs.trial_builder import TrialRecord
from throwbook.ports import scpi
from throwbook.ports.acquisition import Broken, Chunk, Item, Recorder, Slept
from throwbook.ports.serial_port import Port
from throwbook.protocol.messages import Event, Halted, Identity, Started
from throwbook.protocol.session import DEFAULT_BAUD, Session

if TYPE_CHECKING:
    from throwbook.core.analysis.baseline import Baseline
    from throwbook.core.analysis.calibration import CalibrationRecord
    from throwbook.core.rig import Rig

DEFAULT_RATE_HZ = 200
SLOW_RATE_HZ = scpi.DEFAULT_RATE_HZ
PREFIX = scpi.PREFIX
LONGEST_THROW_S = 120.0
ASK_AGAIN_S = 0.7
NO_ANSWER_S = 6.0
"""A board that starts anew when its port is opened needs about two."""
SILENT_S = 2.0
SHOW_EVERY_S = 0.095
"""On the average: samples come in lots, twenty a second, so that it is one lot or two from figure to figure."""
BY_KEY = "ended by hand"
ASKED_TO_END = "the program was told to end"
HUNG_UP = "the terminal was gone"
PAGE_GONE = "the page in the browser was closed or lost"
FROM_OUTSIDE = (ASKED_TO_END, HUNG_UP, PAGE_GONE)
_WAIT_S = 0.05
_HALT_S = 0.15
_LINE_BYTES = 30
"""About the length of a sample's line."""
_FEWEST_UNREAD_BYTES = 2000


@dataclass(frozen=True)
class RecordPlan:
    """What to record, and how."""

    port: str
    rig: "Rig"
    direction: str
    folder: Path
    """Where journals of running trials are kept."""
    rig_ref: str = ""
    """The rig as it was named, so that a recovery finds it again."""
    baud: int = DEFAULT_BAUD
    rate_hz: int = DEFAULT_RATE_HZ
    seconds: float | None = None
    """Record for so long from the first sample; None: from the rise of the current to its fall."""
    by_key: bool = False
    """Start and end are said by the person, not by the current."""
    reading: str = scpi.MEASURE
    """How a bench instrument is read: ``measure`` or ``fetch``."""
    longest_s: float = LONGEST_THROW_S
    answer_within_s: float = NO_ANSWER_S
    silent_s: float = SILENT_S
    ambient_c: float | None = None
    on_bench: bool = False
    """Off the machine, where it should run light."""
    baselines: "Mapping[str, Baseline]" = field(default_factory=dict)
    """By direction: a record may hold the way back too."""
    calibration_of: "Callable[[str], CalibrationRecord | None]" = field(default=lambda board: None)

    @property
    def keep_all(self) -> bool:
        """Start and end are not those of the current."""
        return self.by_key or self.seconds is not None


class Recording:
    """One trial, from opening the port to the verdict.

    ``on_ready``: the board samples, now the person may throw. ``on_live``: about ten times a second. ``on_note``: a
    line to tell. All are called in the thread of ``run``.
    """

    def __init__(
        self,
        plan: RecordPlan,
        *,
        now: Callable[[], datetime],
        on_live: Callable[[LiveFigures], None] = lambda figures: None,
        on_note: Callable[[str], None] = lambda line: None,
        on_ready: Callable[[Identity], None] = lambda identity: None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.plan = plan
        self._now = now
        self._on_live = on_live
        self._on_note = on_note
        self._on_ready = on_ready
        self._monotonic = monotonic
        self._begin = threading.Event()
        self._finish = threading.Event()
        self._finish_why = BY_KEY
        self._notes: list[str] = []
        self._record = TrialRecord(plan.rig, plan.direction, plan.calibration_of, keep_all=plan.keep_all)
        self._session = Session()
        self._ended = ""
        self._problem: ThrowbookError | None = None
        self._bytes = 0
        self._unread_bytes = 0
        """What came since the newest sample."""
        self._warning = ""

    def begin(self) -> None:
        """Start by key: the throw begins now. From any thread."""
        self._begin.set()

    def finish(self, why: str = BY_KEY) -> None:
        """End now; ``why`` stands in the record. From any thread, or while a signal is handled."""
        if not self._finish.is_set():
            self._finish_why = why
            self._finish.set()

    def run(self) -> Recorded:
        """Record and judge. Raises InputError or OutsideError when it came to no recording at all."""
        port = open_port(self.plan.port, self.plan.baud, self.plan.reading)
        try:
            journal = self._new_journal()
        except ThrowbookError:
            port.close()
            raise
        recorder = Recorder(port, journal)
        try:
            self._record_with(recorder, self.plan.baud if port.has_baud else None)
        finally:
            for item in recorder.stop():
                self._item(item)
            port.close()
            # One that broke off may be recovered at once; one that ended is locked until it is kept.
            journal.end(self._ended or "stopped", self._monotonic(), hold=bool(self._ended))
        if not self._record.samples:
            raise self._came_to_nothing(journal)
        for line in self._record.last_notes():
            self._note(line)
        trace = self._record.trace(ambient_c=self.plan.ambient_c, source=journal.path.stem)
        if trace is not None and self._ended in FROM_OUTSIDE:
            trace = replace(trace, head={**trace.head, ENDED_KEY: self._ended})
        return judged(
            self._record,
            trace,
            self.plan.rig_ref or self.plan.rig.name,
            self.plan.baselines,
            journal.path,
            self._ended,
            self._problem,
            self._notes,
            on_bench=self.plan.on_bench,
            held=journal,
        )

    def _came_to_nothing(self, journal: Journal) -> ThrowbookError:
        """Why there is no recording; lines that nobody could read are kept as they came, and named."""
        problem = self._problem or OutsideError("no samples came", self.plan.port, remedy=Remedy.CHECK_BOARD)
        unread = None
        if self._bytes and not self._record.refused and not self._record.unfit:
            if self._problem is None:
                problem = no_answer(self.plan.port, self.plan.baud, self._bytes, self._session)
            with suppress(ThrowbookError):
                unread = keep_unread(journal.path)
        journal.remove()
        if unread is None:
            return problem
        return type(problem)(
            f"{problem.what}; what came is kept in {unread}", problem.where, problem.do, problem.remedy
        )

    # ---- the loop ----

    def _record_with(self, recorder: Recorder, baud: int | None) -> None:
        recorder.start()
        begun_s = asked_s = self._monotonic()
        due_s = begun_s
        self._send(recorder, self._session.start(self.plan.rate_hz, baud))
        while not self._ended:
            item = recorder.next(_WAIT_S)
            now_s = self._monotonic()
            if item is not None:
                self._item(item)
                self._send(recorder, self._session.to_send())
            if not self._record.rate_hz:
                if now_s - asked_s > ASK_AGAIN_S:
                    asked_s = now_s
                    self._send(recorder, self._session.again())
                if now_s - begun_s > self.plan.answer_within_s and not self._ended:
                    self._end(
                        "no answer", no_answer(self.plan.port, self.plan.baud, self._bytes, self._session)
                    )
            elif recorder.quiet_s > self.plan.silent_s and not self._ended:
                self._end(
                    "the board fell silent", self._no_more(f"nothing has come for {self.plan.silent_s:.0f} s")
                )
            elif self._unread_bytes > self._most_unread and not self._ended:
                what = f"the board sends, but no sample of it could be read for {self._unread_bytes:,} bytes"
                self._end("the board's lines can't be read", self._no_more(what))
            self._keys_and_limits()
            if self._warned() or (now_s >= due_s and self._record.samples):
                due_s = max(due_s + SHOW_EVERY_S, now_s)
                self._on_live(self._record.figures())
        self._on_live(self._record.figures())
        self._halt(recorder)

    @property
    def _most_unread(self) -> float:
        """Bytes without a sample after which nothing more is waited for: as many as the longest silence would hold."""
        return max(_FEWEST_UNREAD_BYTES, _LINE_BYTES * self.plan.silent_s * self.plan.rate_hz)

    def _no_more(self, what: str) -> OutsideError:
        """Why no more samples come."""
        if not self._record.samples and self._bytes:
            return no_answer(self.plan.port, self.plan.baud, self._bytes, self._session)
        return OutsideError(what, self.plan.port, "Look at the board's supply and plug, then go on")

    def _warned(self) -> bool:
        """Whether there is a warning that nobody was told yet; it is told as a note too."""
        warning = self._record.live.warning
        if warning == self._warning:
            return False
        self._warning = warning
        at_s = self._record.newest_s - (self._record.live.start_s or 0.0)
        self._note(f"{warning} ({at_s:.1f} s after the start)")
        return True

    def _keys_and_limits(self) -> None:
        record = self._record
        if self._begin.is_set():
            self._begin.clear()
            record.begin()
        ran_s = record.newest_s - (record.began_s or 0.0)
        if self._finish.is_set():
            self._end(self._finish_why)
        elif self.plan.seconds is not None:
            if record.samples and ran_s >= self.plan.seconds:
                self._end(f"{self.plan.seconds:g} s recorded")
        elif record.is_over:
            self._end("the current is off again")
        elif record.live.start_s is not None and record.newest_s - record.live.start_s >= self.plan.longest_s:
            self._end(f"the current was still on after {self.plan.longest_s:g} s")

    def _item(self, item: Item) -> None:
        if isinstance(item, Chunk):
            self._bytes += len(item.data)
            before = self._record.samples
            for event in self._session.receive(item.data):
                if not (self._ended and isinstance(event, Started | Halted)):
                    self._note(self._record.take(event, self._now()))
                    self._follow(event)
            self._unread_bytes = self._unread_bytes + len(item.data) if self._record.samples == before else 0
        elif isinstance(item, Slept):
            self._note(f"this computer slept, or its clock was set, by {item.seconds:.0f} s")
        elif isinstance(item, Broken):
            what = "the port is gone" if item.part == "port" else "the journal can't be written"
            self._end(what, item.error)

    def _follow(self, event: Event) -> None:
        """What an event calls for: the board is ready, or the record has come to its end."""
        if isinstance(event, Started) and self._session.identity is not None:
            self._on_ready(self._session.identity)
        if self._record.refused:
            self._end("refused", InputError(self._record.refused, self.plan.port, remedy=Remedy.SET_RATE))
        if self._record.unfit:
            self._end("refused", OutsideError(self._record.unfit, self.plan.port, UNFIT_DO))
        if self._record.cut:
            self._end(
                self._record.cut,
                OutsideError(
                    self._record.cut, self.plan.port, "Check the board's plug and supply, then go on"
                ),
            )

    # ---- small things ----

    def _end(self, why: str, problem: ThrowbookError | None = None) -> None:
        if not self._ended:
            self._ended, self._problem = why, problem

    def _note(self, line: str) -> None:
        if line:
            self._notes.append(line)
            self._on_note(line)

    def _send(self, recorder: Recorder, data: bytes) -> None:
        if data:
            try:
                recorder.write(data)
            except OutsideError as error:
                self._end("the port is gone", error)

    def _halt(self, recorder: Recorder) -> None:
        """Leave the board at rest; it is no matter if it doesn't hear."""
        if self._problem is None:
            self._send(recorder, self._session.halt())
            item = recorder.next(_HALT_S)
            if item is not None:
                self._item(item)

    def _new_journal(self) -> Journal:
        plan, now = self.plan, self._now()
        name = (
            f"{now:%Y%m%d-%H%M%S}-{now.microsecond:06d}-{file_name(plan.rig.name)}-{plan.direction}{SUFFIX}"
        )
        header = {
            "rig": plan.rig.name,
            "rig_ref": plan.rig_ref or plan.rig.name,
            "direction": plan.direction,
            "port": plan.port,
            "baud": plan.baud,
            "rate_hz": plan.rate_hz,
            "keep_all": plan.keep_all,
            "on_bench": plan.on_bench,
            "ambient_c": plan.ambient_c,
            "started": now.isoformat(),
        }
        return Journal(plan.folder / name, header, self._monotonic())


def open_port(name: str, baud: int, reading: str = scpi.MEASURE) -> Port | scpi.ScpiPort:
    """A serial port or URL, or a bench instrument (``scpi:...``). Raises OutsideError."""
    return scpi.open_scpi(name, baud, reading) if name.startswith(PREFIX) else Port(name, baud)


UNFIT_DO = "Load its firmware again, or take another board"


def no_answer(port: str, baud: int, came: int, session: Session) -> OutsideError:
    """Why not one sample came, with the lines that couldn't be read."""
    if not came:
        return OutsideError(
            "nothing answers",
            port,
            "Is the board plugged in and powered, and is this its port?",
            Remedy.FIND_BOARD,
        )
    unread = session.dropped.sentence() or f"{came:,} bytes came"
    if session.identity is not None:
        return OutsideError(
            f"board {session.identity.id} gives its name, but no sample that can be read: {unread}",
            port,
            "Do its lines fit the channels that it announces? Load its firmware again",
        )
    if session.heard:
        return OutsideError(
            f"something sends, but it does not give its name: {unread}", port, remedy=Remedy.FIND_BOARD
        )
    return OutsideError(
        f"{came:,} bytes arrived, but no line that can be read: a wrong baud rate, or not a board that Throwbook knows ({unread})",
        port,
        f"It was tried with {baud} baud.",
        Remedy.TRY_BAUD,
    )
