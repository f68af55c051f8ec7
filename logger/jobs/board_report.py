"""What a board said of a recording beside its samples, and what came of the line: into the record's head, and told.

Nothing that came is passed over: faults, samples that never came, lines that couldn't be read, what was wrong with the
clock.
"""

import re
from collections import Counter
from typing import TYPE_CHECKING, Any

from logger.protocol.events import ClockStopped, Dropped, Fault, Lost
from logger.protocol.framing import Drops
from logger.protocol.messages import OVER_RANGE, OVERRUN, SENSOR_ABSENT

if TYPE_CHECKING:
    import numpy as np

    from logger.core.trace import FloatArray

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
        self._faults: list[Fault] = []
        self._faults_more: Counter[str] = Counter()
        self._codes = set(FAULTS)
        self._losses: list[Lost] = []
        self._stopped: ClockStopped | None = None

    def take(self, event: Dropped | Fault | Lost | ClockStopped) -> None:
        """One event of the session."""
        if isinstance(event, Dropped):
            self.drops.update(event.drops)
        elif isinstance(event, Lost):
            self._losses.append(event)
        elif isinstance(event, ClockStopped):
            self._stopped = event
        else:
            self._fault(event)

    def _fault(self, fault: Fault) -> None:
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
        from logger.core.quantities.board_clock import board_times

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
