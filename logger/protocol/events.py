"""What the PC's side of the cable tells its caller."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.core.trace import FloatArray
from logger.protocol.framing import Drops
from logger.protocol.messages import Identity


@dataclass(frozen=True)
class Identified:
    """The board said who it is."""

    identity: Identity


@dataclass(frozen=True)
class Unfit:
    """The board said who it is, and can't be used; nothing more is asked of it."""

    identity: Identity
    why: str


@dataclass(frozen=True)
class Started:
    """The board samples from here on."""

    rate_hz: int


@dataclass(frozen=True, eq=False)
class Samples:
    """Samples in order, each array of shape (n,)."""

    index: NDArray[np.int64]
    """Place in the run, from 0 at its first sample; a step above 1 is loss."""
    time_s: FloatArray
    """[s] from the run's first sample, by the board's clock"""
    current_a: FloatArray
    """[A] by the board's own scale, before any calibration"""
    voltage_v: FloatArray | None
    """[V] likewise"""
    over_range: NDArray[np.bool_]
    """Where the current stood at the end of the board's range."""

    def __len__(self) -> int:
        return len(self.index)


@dataclass(frozen=True)
class Lost:
    """Samples that the board took and the PC never got, all in one place."""

    count: int
    after_index: int
    """Index of the last sample before the loss."""


@dataclass(frozen=True)
class Dropped:
    """Lines that were no good since the last such event."""

    drops: Drops

    @property
    def count(self) -> int:
        """All of them together."""
        return self.drops.count


@dataclass(frozen=True)
class Answered:
    """The board took a command."""

    word: str


@dataclass(frozen=True)
class Refused:
    """A command was refused, by the board or because the line can't carry it."""

    word: str
    reason: str


@dataclass(frozen=True)
class Fault:
    """A fault the board sees itself."""

    code: str
    text: str
    after_index: int = -1
    """Index of the last sample before it; -1: before the first."""


@dataclass(frozen=True)
class Reset:
    """The board started anew in mid-record, or its numbering went back: the record is cut here."""

    why: str


@dataclass(frozen=True)
class ClockJump:
    """The board's clock and its numbering no longer agree: the record is cut here."""

    why: str


@dataclass(frozen=True)
class ClockStopped:
    """The board's clock stands still while its numbering goes on: times are reckoned from the numbers then."""

    after_index: int
    """Index of the last sample at which the clock had gone on."""


@dataclass(frozen=True)
class Halted:
    """The board stopped sampling as asked."""


Event = (
    Identified
    | Unfit
    | Started
    | Samples
    | Lost
    | Dropped
    | Answered
    | Refused
    | Fault
    | Reset
    | ClockJump
    | ClockStopped
    | Halted
)
