"""Scripts for the emulator: what the sensor's pins see, and what goes wrong. Own numbers, apart from the firmware's."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tests.firmware.emulator.boards import BOARDS


@dataclass(frozen=True)
class Event:
    """Something that goes wrong at a time of the simulation; names as in sensor_ina.c and host.c."""

    time_s: float
    name: str
    count: int = 0


Signal = Callable[[float], float]
"""Value at a time [s]."""


@dataclass(frozen=True)
class Stroke:
    """A throw whose start, end, current and voltage are known exactly, because they are scripted."""

    start_s: float
    end_s: float
    run_a: float = 2.1
    inrush_a: float = 9.0
    supply_v: float = 12.6
    source_ohm: float = 0.08
    inrush_tau_s: float = 0.05
    falls_in_s: float = 0.001

    def current_a(self, time_s: float) -> float:
        """Jump, inrush that decays, steady run, cut-off."""
        if not self.start_s <= time_s < self.end_s:
            return 0.0
        decay = 2.718281828 ** (-(time_s - self.start_s) / self.inrush_tau_s)
        return self.run_a + (self.inrush_a - self.run_a) * decay

    def voltage_v(self, time_s: float) -> float:
        """At the board."""
        return self.supply_v - self.source_ohm * self.current_a(time_s)

    def times_s(self, seconds: float) -> list[float]:
        """Where the straight lines of the script meet: dense in the inrush, and on both sides of each edge."""
        inrush = [self.start_s + n * 0.001 for n in range(400) if self.start_s + n * 0.001 < self.end_s]
        edges = [self.start_s - self.falls_in_s, self.end_s - 1e-6, self.end_s + self.falls_in_s]
        return sorted({0.0, *edges, *inrush, seconds})


def script(sensor: str, points: Sequence[tuple[float, float, float]], events: Sequence[Event] = ()) -> str:
    """Script of rows (time [s], current [A], voltage [V]) and events."""
    lines = []
    for time_s, current_a, voltage_v in points:
        first, second = BOARDS[sensor].pins(current_a, voltage_v)
        lines.append(f"wave {time_s:.6f} {first:.9f} {second:.9f}")
    lines += [f"event {event.time_s:.6f} {event.name} {event.count}" for event in events]
    return "\n".join(lines) + "\n"


def stroke_points(stroke: Stroke, seconds: float) -> list[tuple[float, float, float]]:
    """The rows of a stroke."""
    return [(t, stroke.current_a(t), stroke.voltage_v(t)) for t in stroke.times_s(seconds)]


def steady(current_a: float, voltage_v: float = 12.6) -> list[tuple[float, float, float]]:
    """The same current and voltage all the time."""
    return [(0.0, current_a, voltage_v), (1.0, current_a, voltage_v)]
