"""How far an assumption leaves the expected time of a throw open: an interval, that an alert is then held against.

What nobody measured and no data sheet gives is taken at both of its ends. It may widen what is expected; it never fails a
throw and never makes it undecided.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import NamedTuple

from logger.core.machine.limits import MAX, Limit
from logger.core.machine.rating import MotorLine, resistance_at

LOWEST_SUPPLY, HIGHEST_SUPPLY = 0.90, 1.25
"""Of the nominal voltage, where none was read: a battery that still may be used, and a 12 V system of which the engine runs
(up to 15 V; common practice, no source)."""
LEAST_TURNING = 0.1
"""Next to stall the line says nothing: at least so much of the voltage turns the motor."""


class Opening(NamedTuple):
    """The shortest and the longest expected time, over the one reckoned with."""

    low: float = 1.0
    high: float = 1.0

    @property
    def furthest(self) -> float:
        """How far a time over the expected one may be off, as a share of it."""
        return max(1.0 / self.low - 1.0, 1.0 - 1.0 / self.high)


def opening(
    line: MotorLine,
    volts: Sequence[float],
    amps: Sequence[float],
    ambient_c: float | None,
    others: Sequence[MotorLine] = (),
) -> Opening:
    """From every voltage [V] and current [A] that may have been, the first of each being the one reckoned with.

    ``others``: lines that the data sheet allows as well, beside ``line``.
    """
    paces = [_pace(one, volt, amp, ambient_c) for one, volt, amp in product((line, *others), volts, amps)]
    return Opening(min(paces) / paces[0], max(paces) / paces[0])


def _pace(line: MotorLine, volts: float, amps: float, ambient_c: float | None) -> float:
    """Seconds a metre."""
    r_ohm = float(resistance_at(line, 20.0 if ambient_c is None else ambient_c))
    return line.k_e_v_s_per_m / max(volts - amps * r_ohm, LEAST_TURNING * volts)


def widened(limit: Limit, left_open: Opening) -> Limit:
    """A limit on time over expected time, as far out as the expectation reaches."""
    factor = left_open.high if limit.side == MAX else left_open.low
    if abs(factor - 1.0) < 1e-9:
        return limit
    return replace(
        limit,
        value=limit.value * factor,
        fails_at=None if limit.fails_at is None else limit.fails_at * factor,
        limit_from=f"{limit.limit_from}; wider by what had to be assumed",
    )
