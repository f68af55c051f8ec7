"""A throw while it runs: is the current on, is it off again, how far, and is it too much.

A detector of its own, simpler than ``segmentation``: it sees each sample once, in order, and only decides when a
recording may begin and end and what the person should be told now. The judged figures come from the whole record
afterwards. Works at any rate, from blocks of any length.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from throwbook.core.machine.motor import MotorLine, motor_line, speed_at, stall_current
from throwbook.core.rig import Actuator
from throwbook.core.trace import FloatArray

BoolArray = NDArray[np.bool_]

RESTING, FLOWING, OVER = "resting", "flowing", "over"

# All common practice, no source.
RISE_SHARE = 0.3
"""Current counts as on above this share of the no-load current ..."""
NOISE_TIMES = 6.0
"""... and above so many standard deviations of the noise at rest."""
FALL_SHARE = 0.5
"""It is off below this share of the level at which it counts as on."""
RISE_S, RISE_SAMPLES = 0.010, 3
"""It must stay on so long, and so many samples, to be no spike."""
REST_S = 1.0
"""The zero and the noise come from the newest stretch of rest of this length."""
HOLD_S = 1.0
"""The throw is over when the current has been off for so long."""
START_UP_S = 0.15
"""The start-up surge is not held against the rated maximum."""
OVER_S = 0.12
"""The current must be too high for so long before it is told; with START_UP_S this keeps within 0.3 s."""
STALL_SHARE = 0.85
"""At this share of the stall current the motor as good as stands."""
SHOWN_S = 0.05
"""The current shown is the mean of so much."""
BUCKET_S = 0.05
"""One column of the strip that is drawn."""

AT_STALL = "stall current: the motor is stalled or nearly so"
OVER_RATED = "the current is above the full-load current"


@dataclass(frozen=True, eq=False)
class LiveFigures:
    """What to show now."""

    phase: str
    """``resting`` · ``flowing`` · ``over``"""
    running_s: float
    """Since the current came on [s]; it stops counting when the current goes off."""
    current_a: float
    peak_a: float
    """Highest since the start-up surge [A]."""
    voltage_v: float | None
    travel_fraction: float
    """Estimated share of the stroke moved, from the rating; not capped, so that a wrong rating shows."""
    warning: str
    """Empty: none."""
    strip_s: FloatArray
    """Left edge of each column drawn, since the current came on [s], shape (m,)"""
    strip_low_a: FloatArray
    strip_high_a: FloatArray
    left_switch: bool | None = None
    """Whether the switch at the left pin is closed; None: none is fitted."""
    right_switch: bool | None = None


class LiveThrow:
    """Follows one throw from rest to rest."""

    def __init__(self, actuator: Actuator, *, ends_itself: bool = True) -> None:
        """``ends_itself`` False: the person says when it is over, whatever the current does."""
        self.phase = RESTING
        self._ends_itself = ends_itself
        self.start_s: float | None = None
        self.end_s: float | None = None
        """When the current last flowed [s]; None before the start."""
        self._actuator = actuator
        self._line: MotorLine = motor_line(actuator)
        self._rest: list[tuple[FloatArray, FloatArray, FloatArray | None]] = []
        self._zero_a = 0.0
        self._on_a = RISE_SHARE * actuator.no_load_current_a
        self._above_from: tuple[float, int] | None = None
        """Time of the first of the samples above the level just now, and how many."""
        self._over_from_s: float | None = None
        self._stall_from_s: float | None = None
        self.warning = ""
        """What the person should be told now; empty: nothing."""
        self._peak_a = 0.0
        self._travel_m = 0.0
        self._last: tuple[float, float] | None = None
        """Time and speed of the sample before."""
        self._recent: list[tuple[FloatArray, FloatArray]] = []
        self._voltage_v: float | None = None
        self._strip: dict[int, tuple[float, float]] = {}

    def take(self, time_s: FloatArray, current_a: FloatArray, voltage_v: FloatArray | None) -> None:
        """The next samples, each array of shape (n,); times rise from block to block."""
        if not len(time_s) or self.phase == OVER:
            return
        if self.phase == RESTING:
            self._look_for_rise(time_s, current_a)
            self._rest.append((time_s, current_a, voltage_v))
            if self.phase == FLOWING:  # its first samples may stand in earlier blocks
                time_s, current_a, voltage_v = self._since(self.start_s or 0.0)
                self._follow(time_s, np.abs(current_a - self._zero_a), voltage_v)
        elif self.phase == FLOWING:
            self._follow(time_s, np.abs(current_a - self._zero_a), voltage_v)
        self._show(time_s, np.abs(current_a - self._zero_a), voltage_v)

    def begin(self, time_s: float) -> None:
        """The person says that it starts now."""
        if self.phase == RESTING:
            self.phase, self.start_s = FLOWING, time_s

    def figures(self) -> LiveFigures:
        """What to show now."""
        now_s = self._recent[-1][0][-1] if self._recent else 0.0
        until_s = self.end_s if self.phase == OVER and self.end_s is not None else now_s
        columns = sorted(self._strip)
        return LiveFigures(
            phase=self.phase,
            running_s=0.0 if self.start_s is None else max(0.0, float(until_s - self.start_s)),
            current_a=float(np.mean(np.concatenate([block for _, block in self._recent])))
            if self._recent
            else 0.0,
            peak_a=self._peak_a,
            voltage_v=self._voltage_v,
            travel_fraction=self._travel_m / self._actuator.stroke_m,
            warning=self.warning,
            strip_s=np.array(columns, dtype=float) * BUCKET_S,
            strip_low_a=np.array([self._strip[column][0] for column in columns]),
            strip_high_a=np.array([self._strip[column][1] for column in columns]),
        )

    # ---- rest and rise ----

    def _look_for_rise(self, time_s: FloatArray, current_a: FloatArray) -> None:
        self._learn_rest()
        above = np.abs(current_a - self._zero_a) > self._on_a
        edges = np.flatnonzero(np.diff(above.astype(np.int8), prepend=0))
        # Runs of samples above the level: [begin, end) with the last one perhaps going on in the next block.
        begins = [int(edge) for edge in edges if above[edge]]
        ends = [int(edge) for edge in edges if not above[edge]] or [len(above)]
        if not above[0]:
            self._above_from = None
        for begin in begins:
            end = next((edge for edge in ends if edge > begin), len(above))
            carried = self._above_from if begin == 0 else None
            first_s, count = carried or (float(time_s[begin]), 0)
            count += end - begin
            if count >= RISE_SAMPLES and time_s[end - 1] - first_s >= RISE_S:
                self.phase, self.start_s = FLOWING, first_s
                return
            self._above_from = (first_s, count) if end == len(above) else None
        while len(self._rest) > 1 and self._rest[1][0][0] < time_s[-1] - REST_S:
            del self._rest[0]

    def _since(self, start_s: float) -> tuple[FloatArray, FloatArray, FloatArray | None]:
        """The samples of the kept blocks from ``start_s`` on."""
        times, currents, voltages = zip(*self._rest, strict=True)
        time_s = np.concatenate(times)
        begin = int(np.searchsorted(time_s, start_s))
        volts = None if voltages[0] is None else np.concatenate(voltages)[begin:]
        return time_s[begin:], np.concatenate(currents)[begin:], volts

    def _learn_rest(self) -> None:
        """Zero and noise from the newest rest; none yet, or a current already on: as if the board had no offset."""
        if not self._rest:
            return
        rest = np.concatenate([current_a for _, current_a, _ in self._rest])
        if len(rest) < RISE_SAMPLES:
            return
        zero_a = float(np.median(rest))
        least_a = RISE_SHARE * self._actuator.no_load_current_a
        if abs(zero_a) > least_a:
            return
        self._zero_a = zero_a
        noise_a = 1.4826 * float(np.median(np.abs(rest - zero_a)))  # standard deviation of normal noise
        self._on_a = max(least_a, NOISE_TIMES * noise_a)

    # ---- run and fall ----

    def _follow(self, time_s: FloatArray, level_a: FloatArray, voltage_v: FloatArray | None) -> None:
        if not len(time_s):
            return
        start_s = self.start_s or 0.0
        flowing = level_a > FALL_SHARE * self._on_a
        last_s = self.end_s if self.end_s is not None else start_s
        # The throw ends inside this block where the current was off for HOLD_S, even if it comes on again after it.
        seen_s = np.maximum.accumulate(np.where(flowing, time_s, last_s))
        over = np.flatnonzero(time_s - seen_s >= HOLD_S)
        if over.size and self._ends_itself:
            time_s, level_a, seen_s = time_s[: over[0] + 1], level_a[: over[0] + 1], seen_s[: over[0] + 1]
            voltage_v = None if voltage_v is None else voltage_v[: over[0] + 1]
            self.phase = OVER
        self.end_s = float(seen_s[-1])
        after_surge = time_s >= start_s + START_UP_S
        if after_surge.any():
            self._peak_a = max(self._peak_a, float(level_a[after_surge].max()))
        self._move(time_s, level_a, voltage_v)
        self._warn(time_s, level_a, voltage_v, after_surge)
        self._draw(time_s - start_s, level_a)

    def _move(self, time_s: FloatArray, level_a: FloatArray, voltage_v: FloatArray | None) -> None:
        volts = self._actuator.voltage_v if voltage_v is None else voltage_v
        flowing = level_a > FALL_SHARE * self._on_a
        speed = np.where(flowing, np.maximum(speed_at(self._line, level_a, volts), 0.0), 0.0)
        last_s, last_speed = self._last or (float(time_s[0]), float(speed[0]))
        times, speeds = np.concatenate(([last_s], time_s)), np.concatenate(([last_speed], speed))
        self._travel_m += float(np.sum(0.5 * (speeds[1:] + speeds[:-1]) * np.diff(times)))
        self._last = float(time_s[-1]), float(speed[-1])

    def _warn(
        self, time_s: FloatArray, level_a: FloatArray, voltage_v: FloatArray | None, after_surge: BoolArray
    ) -> None:
        volts = self._actuator.voltage_v if voltage_v is None else voltage_v
        stall_a = STALL_SHARE * np.asarray(stall_current(self._line, volts))
        over = (level_a > self._actuator.full_load_current_a) & after_surge
        at_stall = (level_a > np.broadcast_to(stall_a, level_a.shape)) & after_surge
        self._over_from_s, over_long = _held(time_s, over, self._over_from_s)
        self._stall_from_s, stall_long = _held(time_s, at_stall, self._stall_from_s)
        if stall_long:
            self.warning = AT_STALL
        elif over_long and self.warning != AT_STALL:
            self.warning = OVER_RATED

    # ---- showing ----

    def _draw(self, since_s: FloatArray, level_a: FloatArray) -> None:
        columns = (since_s / BUCKET_S).astype(int)
        firsts = np.flatnonzero(np.diff(columns, prepend=-1))
        lows, highs = np.minimum.reduceat(level_a, firsts), np.maximum.reduceat(level_a, firsts)
        for column, low, high in zip(columns[firsts].tolist(), lows.tolist(), highs.tolist(), strict=True):
            old_low, old_high = self._strip.get(column, (low, high))
            self._strip[column] = (min(low, old_low), max(high, old_high))

    def _show(self, time_s: FloatArray, level_a: FloatArray, voltage_v: FloatArray | None) -> None:
        keep = time_s > time_s[-1] - SHOWN_S
        self._recent = [block for block in self._recent if block[0][-1] > time_s[-1] - SHOWN_S]
        self._recent.append((time_s[keep], level_a[keep]))
        if voltage_v is not None:
            self._voltage_v = float(np.mean(voltage_v[keep]))


def _held(time_s: FloatArray, too_high: BoolArray, since_s: float | None) -> tuple[float | None, bool]:
    """Since when it has been too high without a break, and whether that lasted OVER_S at any time."""
    # Last time it was not too high; before this block that was just before ``since_s``.
    before_s = -np.inf if since_s is not None else float(time_s[0])
    calm_s = np.maximum.accumulate(np.where(too_high, before_s, time_s))
    from_s = calm_s if since_s is None else np.where(np.isneginf(calm_s), since_s, calm_s)
    lasted = bool((too_high & (time_s - from_s >= OVER_S)).any())
    return (float(from_s[-1]) if too_high[-1] else None), lasted
