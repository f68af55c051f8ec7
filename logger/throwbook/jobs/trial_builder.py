"""One trial as it is put together: samples in, live figures while it runs, at the end a trace with all that the board said.

The same for a trial that runs and for one that is read back from its journal. Nothing that came is passed over: faults,
samples that never came, lines that couldn't be read, what was wrong with the clock.
"""

import re
from collections import Counter
from dataclasses import replace
from datetime import datetime, timedelta
from math import ceil
from typing import TYPE_CHECKING, Any

from throwbook.core.analysis.calibration import GAIN_U_KEY
from throwbook.core.analysis.live import OVER, RESTING, LiveFigures, LiveThrow
from throwbook.core.machine.electrical import rest_for
from throwbook.core.rig import Rig
from throwbook.core.trace import SWITCHES_FITTED, Trace
from throwbook.protocol.framing import Drops
from throwbook.protocol.messages import (
    OVER_RANGE,
    OVERRUN,
    SENSOR_ABSENT,
    ClockJump,
    ClockStopped,
    Dropped,
    Event,
    FaultEvent,
    Identified,
    Identity,
    Lost,
    Refusal,
    Reset,
    Samples,
    Started,
    Unfit,
    pin_switches,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np

    from throwbook.core.analysis.calibration import CalibrationRecord
    from throwbook.core.trace import FloatArray


# fault code: what a person is told
FAULTS = {
    SENSOR_ABSENT: "the board can't reach its current sensor: check the sensor's plug and supply",
    OVER_RANGE: "the current is beyond the board's range: the record is clipped there",
    "sensor-reset": "the board's current sensor lost its supply for a moment: check its plug",
    OVERRUN: "the board could not send fast enough and lost samples: choose a lower rate or a higher baud",
}
MOST_FAULTS = 50
"""Of one code in one record; the others are counted."""
MOST_OTHER_CODES = 8
"""Fault codes beyond those above that are told apart."""
OTHERS = "others"


class BoardReport:
    """Collects while samples come; numbers are those of the run."""

    def __init__(self) -> None:
        self.drops = Drops()
        self.faults_before: Counter[str] = Counter()
        """Faults told before the first row that is kept, by code."""
        self._faults: list[FaultEvent] = []
        self._faults_more: Counter[str] = Counter()
        self._codes = set(FAULTS)
        self._losses: list[Lost] = []
        self._stopped: ClockStopped | None = None

    def take(self, event: Dropped | FaultEvent | Lost | ClockStopped) -> None:
        """One event of the session."""
        if isinstance(event, Dropped):
            self.drops.update(event.drops)
        elif isinstance(event, Lost):
            self._losses.append(event)
        elif isinstance(event, ClockStopped):
            self._stopped = event
        else:
            self._fault(event)

    def _fault(self, fault: FaultEvent) -> None:
        if len(self._codes) < len(FAULTS) + MOST_OTHER_CODES:
            self._codes.add(fault.code)
        if fault.code not in self._codes:
            self._faults_more[OTHERS] += 1
        elif sum(one.code == fault.code for one in self._faults) < MOST_FAULTS:
            self._faults.append(fault)
        else:
            self._faults_more[fault.code] += 1

    def forget_before(self, index: int) -> None:
        """The rows before this one are no part of the record."""
        if self._faults and self._faults[0].after_index < index:
            self.faults_before.update(one.code for one in self._faults if one.after_index < index)
            self._faults = [one for one in self._faults if one.after_index >= index]
        if self._losses and self._losses[0].after_index < index:
            self._losses = [one for one in self._losses if one.after_index >= index]

    # ---- the record's head ----

    def times(
        self, index: "np.ndarray", time_s: "FloatArray", rate_hz: int
    ) -> "tuple[FloatArray, dict[str, Any]]":
        """The rows' times, rising from row to row, and what the head says of clock, rate and losses.

        ``index``, ``time_s``: number and time of each row kept, shape (n,), n > 0.
        """
        from throwbook.core.quantities.clock import board_times

        lost, hidden = self._lost(int(index[0]))
        stopped_at = self._stopped.after_index if self._stopped is not None else None
        times = board_times(index, time_s, rate_hz, stopped_at, hidden)
        return times.time_s, {"lost_samples": lost, "rate_asked_hz": rate_hz, **times.head()}

    def head(self, first_index: int, index: "np.ndarray", time_s: "FloatArray") -> dict[str, Any]:
        """What the board said, as head keys; numbers and times count from the first row kept."""
        import numpy as np

        head: dict[str, Any] = {}
        inside = [one for one in self._faults if one.after_index >= first_index]
        before = self.faults_before + Counter(
            one.code for one in self._faults if one.after_index < first_index
        )
        if inside:
            places = np.searchsorted(index, [one.after_index for one in inside])
            head["board_faults"] = [
                {
                    "code": one.code,
                    "text": one.text,
                    "sample": one.after_index - first_index,
                    "at_s": round(float(time_s[min(place, len(time_s) - 1)]) - float(time_s[0]), 6),
                }
                for one, place in zip(inside, places.tolist(), strict=True)
            ]
        if before:
            head["board_faults_before"] = dict(before)
        if self._faults_more:
            head["board_faults_more"] = dict(self._faults_more)
        if self.drops.reasons:
            head["dropped_lines"] = dict(self.drops.reasons)
        return head

    def _lost(self, first_index: int) -> tuple[int, int]:
        """Samples lost in the record, and those of them that the numbering doesn't show.

        A board that goes on numbering what it loses says the same loss twice, once by its numbers.
        """
        by_numbers = sum(one.count for one in self._losses if one.after_index >= first_index)
        said = sum(
            _first_number(one.text)
            for one in self._faults
            if one.code == OVERRUN and one.after_index >= first_index
        )
        hidden = said if said > by_numbers else 0
        return by_numbers + hidden, hidden


def _first_number(text: str) -> int:
    """The count that the text of an overrun begins with; 0: it has none."""
    match = re.match(r"\s*(\d{1,9})(?!\d)", text)
    return int(match[1]) if match else 0


def _joined(columns: "list[np.ndarray | None]") -> "np.ndarray | None":
    """One column of all blocks; None: the board doesn't send it."""
    import numpy as np

    there = [column for column in columns if column is not None]
    return np.concatenate(there) if there else None


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
        self._switch_bits = 0
        """Every bit of the pin switches that was ever set: a switch that was fitted once stays so."""

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
        import numpy as np

        if isinstance(event, Samples):
            self.samples += len(event)
            self._blocks.append(event)
            if event.switches is not None:
                self._switch_bits |= int(np.bitwise_or.reduce(event.switches))
            self.live.take(event.time_s, self._corrected(event.current_a), event.voltage_v)
            self._drop_early_rest()
        elif isinstance(event, Identified):
            self.identity = event.identity
            self.calibration = self._calibration_of(event.identity.id)
            return self._once("board", self._about_board(now))
        elif isinstance(event, Started):
            self._started_at, self.rate_hz = now, event.rate_hz
        elif isinstance(event, Lost | Dropped | FaultEvent | ClockStopped):
            self.report.take(event)
            return self._about(event)
        elif isinstance(event, Unfit):
            self.unfit = event.why
            return event.why
        elif isinstance(event, Refusal):
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
        import numpy as np

        bits = self._blocks[-1].switches if self._blocks else None
        left, right = (None, None) if bits is None else pin_switches(np.array([self._switch_bits, bits[-1]]))
        return replace(
            self.live.figures(),
            left_switch=None if left is None else bool(left[-1]),
            right_switch=None if right is None else bool(right[-1]),
        )

    def trace(self, *, ambient_c: float | None = None, source: str = "") -> Trace | None:
        """The record as a trace, times from its first row; None without samples."""
        import numpy as np

        if not self._blocks or self._started_at is None:
            return None
        time_s = np.concatenate([block.time_s for block in self._blocks])
        index = np.concatenate([block.index for block in self._blocks])
        current_a = np.concatenate([block.current_a for block in self._blocks])
        volts = _joined([block.voltage_v for block in self._blocks])
        bits = _joined([block.switches for block in self._blocks])
        degrees = _joined([block.temperature_c for block in self._blocks])
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
        left, right = (None, None) if bits is None else pin_switches(bits[first:])
        trace = Trace(
            time_s=np.round(time_s - time_s[0], 6),
            # Counts times a step leave digits that mean nothing; a nanoampere is far below any board's step.
            current_a=np.round(self._corrected(current_a[first:]), 9),
            voltage_v=None if volts is None else volts[first:].round(9),
            direction=self.direction,
            rig=self.rig.name,
            started=started,
            ambient_c=ambient_c,
            head=self._head(started, said),
            source=source,
            left_switch=left,
            right_switch=right,
            temperature_c=None if degrees is None or np.isnan(degrees[first:]).all() else degrees[first:],
        )
        if not trace.switches_fitted:
            return trace
        return replace(trace, head={**trace.head, SWITCHES_FITTED: trace.switches_fitted})

    # ---- events ----

    def _drop_early_rest(self) -> None:
        """While nothing runs only the newest rest is kept."""
        if self.live.phase == RESTING and not self._keep_all:
            while len(self._blocks) > 1 and self._blocks[1].time_s[0] < self.newest_s - LEAD_S:
                del self._blocks[0]
                self.report.forget_before(int(self._blocks[0].index[0]))

    def _about(self, event: Lost | Dropped | FaultEvent | ClockStopped) -> str:
        """The line to tell a person at once; what was dropped is told in the end."""
        if isinstance(event, FaultEvent):
            return self._once(event.code, f"{FAULTS.get(event.code, event.code)} ({event.text})")
        if isinstance(event, ClockStopped):
            return "the board's clock does not move: no time can be measured from here on. Unplug the board and plug it in again"
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
            return "this board has no calibration: its own scale is used unchanged"
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
