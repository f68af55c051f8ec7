"""One trial as it is put together: samples in, live figures while it runs, a trace at the end.

The same for a trial that runs and for one that is read back from its journal, so both give the same trace.
"""

from datetime import datetime, timedelta
from math import ceil
from typing import TYPE_CHECKING, Any

from logger.core.machine.duty import rest_for
from logger.core.rig import Rig
from logger.core.stroke.calibration import GAIN_U_KEY
from logger.core.stroke.live import OVER, RESTING, LiveFigures, LiveThrow
from logger.core.trace import Trace
from logger.jobs.board_report import FAULTS, BoardReport
from logger.protocol.events import (
    ClockJump,
    ClockStopped,
    Dropped,
    Event,
    Fault,
    Identified,
    Lost,
    Refused,
    Reset,
    Samples,
    Started,
    Unfit,
)
from logger.protocol.messages import Identity

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np

    from logger.core.stroke.calibration import CalibrationRecord

LEAD_S = 2.0
"""Rest that is kept before the current comes on."""
LONG_LOSS_S = 0.5
"""A loss in one place that is worth a line of its own."""


class TrialRecord:
    """Everything known of one trial so far."""

    def __init__(
        self,
        rig: Rig,
        direction: str,
        calibration_of: "Callable[[str], CalibrationRecord | None]" = lambda board: None,
        *,
        keep_all: bool = False,
    ) -> None:
        """``keep_all``: start and end are not those of the current, so no rest is cut away before it."""
        self.rig = rig
        self.direction = direction
        self.identity: Identity | None = None
        self.calibration: CalibrationRecord | None = None
        self.rate_hz: int | None = None
        self.live = LiveThrow(rig.actuator, ends_itself=not keep_all)
        self.samples = 0
        self.lost = 0
        self.report = BoardReport()
        self.cut: str = ""
        """Why the record was cut; empty: it wasn't."""
        self.refused: str = ""
        self.unfit: str = ""
        """Why this board can't be used; empty: it can."""
        self._keep_all = keep_all
        self._calibration_of = calibration_of
        self._told: set[str] = set()
        self._started_at: datetime | None = None
        self._blocks: list[Samples] = []

    @property
    def is_over(self) -> bool:
        """The current came, went, and stayed away."""
        return self.live.phase == OVER

    @property
    def began_s(self) -> float | None:
        """Board time of the first row kept [s]; None: no samples yet."""
        return float(self._blocks[0].time_s[0]) if self._blocks else None

    @property
    def newest_s(self) -> float:
        """Board time of the newest sample [s]."""
        return float(self._blocks[-1].time_s[-1]) if self._blocks else 0.0

    def take(self, event: Event, now: datetime) -> str:
        """One event of the session, at ``now``; gives the line to tell a person, empty when there is none."""
        if isinstance(event, Samples):
            self._samples(event)
        elif isinstance(event, Identified):
            self.identity = event.identity
            self.calibration = self._calibration_of(event.identity.id)
            return self._once("board", self._about_board(now))
        elif isinstance(event, Started):
            self._started_at, self.rate_hz = now, event.rate_hz
        elif isinstance(event, Lost | Dropped | Fault | ClockStopped):
            self.report.take(event)
            return self._about(event)
        elif isinstance(event, Unfit):
            self.unfit = event.why
            return event.why
        elif isinstance(event, Refused):
            self.refused = event.reason
            return f"the board refused '{event.word}': {event.reason}"
        elif isinstance(event, Reset | ClockJump):
            self.cut = event.why
            return f"{event.why}: the record is cut here; what came before is kept"
        return ""

    @property
    def rest_s(self) -> float | None:
        """Rest that the duty cycle asks for after this throw [s]; None: no duty cycle is known, or nothing ran."""
        duty, start_s, end_s = self.rig.actuator.duty_cycle, self.live.start_s, self.live.end_s
        return rest_for(end_s - start_s, duty) if duty and start_s is not None and end_s is not None else None

    def begin(self) -> None:
        """The person says that the throw starts now."""
        self.live.begin(self.newest_s)

    def last_notes(self) -> list[str]:
        """What is told when it is over; faults, rate and clock stand in the judged throw's own notes."""
        dropped = self.report.drops.sentence()
        return [dropped] if dropped else []

    def figures(self) -> LiveFigures:
        """What to show now."""
        return self.live.figures()

    def trace(self, *, ambient_c: float | None = None, source: str = "") -> Trace | None:
        """The record as a trace, times from its first row; None without samples."""
        import numpy as np

        if not self._blocks or self._started_at is None:
            return None
        time_s = np.concatenate([block.time_s for block in self._blocks])
        index = np.concatenate([block.index for block in self._blocks])
        current_a = np.concatenate([block.current_a for block in self._blocks])
        volts = [block.voltage_v for block in self._blocks if block.voltage_v is not None]
        first = 0
        if self.live.start_s is not None and not self._keep_all:
            first = int(np.searchsorted(time_s, self.live.start_s - LEAD_S))
        first_s = float(time_s[first])
        started = self._started_at + timedelta(seconds=first_s)
        started = started.replace(microsecond=0)
        index, raw_s = index[first:], time_s[first:]
        time_s, clock = self.report.times(index, raw_s, self.rate_hz or 0)
        over_range = np.concatenate([block.over_range for block in self._blocks])[first:]
        said = clock | {"over_range_samples": int(over_range.sum())}
        said |= self.report.head(int(index[0]), index, time_s)
        return Trace(
            time_s=np.round(time_s - time_s[0], 6),
            # Counts times a step leave digits that mean nothing; a nanoampere is far below any board's step.
            current_a=np.round(self._corrected(current_a[first:]), 9),
            voltage_v=np.concatenate(volts)[first:].round(9) if volts else None,
            direction=self.direction,
            rig=self.rig.name,
            started=started,
            ambient_c=ambient_c,
            head=self._head(started, said),
            source=source,
        )

    # ---- events ----

    def _samples(self, block: Samples) -> None:
        self.samples += len(block)
        self._blocks.append(block)
        self.live.take(block.time_s, self._corrected(block.current_a), block.voltage_v)
        if self.live.phase == RESTING and not self._keep_all:
            while len(self._blocks) > 1 and self._blocks[1].time_s[0] < block.time_s[-1] - LEAD_S:
                del self._blocks[0]
                self.report.forget_before(int(self._blocks[0].index[0]))

    def _about(self, event: Lost | Dropped | Fault | ClockStopped) -> str:
        """The line to tell a person at once; what was dropped is told in the end."""
        if isinstance(event, Fault):
            return self._once(event.code, f"{FAULTS.get(event.code, event.code)} ({event.text})")
        if isinstance(event, ClockStopped):
            return "the board's clock stands still: no time can be told from here on. Give the board its supply anew"
        if isinstance(event, Dropped):
            return ""
        self.lost += event.count
        gap_s = event.count / (self.rate_hz or 1)
        if gap_s < LONG_LOSS_S:
            return ""
        return f"{gap_s:.1f} s of samples ({event.count}) never arrived; the gap stays in the record"

    def _corrected(self, current_a: "np.ndarray") -> "np.ndarray":
        return self.calibration.line.corrected(current_a) if self.calibration else current_a

    def _about_board(self, now: datetime) -> str:
        expected, found = self.rig.board.id, self.identity.id if self.identity else ""
        if expected and expected != found:
            return f"the rig file names board {expected}, but {found} answers: is it the right machine?"
        if self.calibration is None:
            return "this board has no calibration: its own scale is taken as it is"
        if self.calibration.is_due(now.date()):
            return f"the calibration of this board was due on {self.calibration.due_on.isoformat()}"
        return ""

    def _once(self, key: str, line: str) -> str:
        if key in self._told:
            return ""
        self._told.add(key)
        return line

    def _head(self, started: datetime, said: dict[str, Any]) -> dict[str, Any]:
        """Head keys beyond the ones every trace has."""
        head: dict[str, Any] = {"rig": self.rig.name, "direction": self.direction, "started": started}
        if self.identity is not None:
            head |= {
                "board": self.identity.id,
                "firmware": self.identity.firmware,
                "full_scale_a": self.identity.full_scale_ma * 1e-3,
                "board_full_scale_a": self.identity.full_scale_ma * 1e-3,  # its name in earlier records
                "board_amp_lsb_a": self.identity.amp_lsb_ua * 1e-6,
            }
        head |= said
        if self.calibration is not None:
            head["calibration"] = self.calibration.id
            head["calibration_zero_a"] = self.calibration.line.zero_a
            head["calibration_gain"] = self.calibration.line.gain
            usual_a = 0.5 * self.rig.actuator.full_load_current_a
            head[GAIN_U_KEY] = self.calibration.line.relative_u(usual_a)
        if self.cut:
            head["cut"] = self.cut
        rest_s = self.rest_s
        if rest_s is not None:
            head["duty_rest_s"] = ceil(10.0 * rest_s) / 10.0
        return head
