"""One recorded stroke as arrays."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LOCK = "lock"
UNLOCK = "unlock"
DIRECTIONS = (LOCK, UNLOCK)


@dataclass(frozen=True, eq=False)
class Trace:
    """One record of one throw.

    Times are seconds as in the file, strictly rising; currents in ampere, voltages in volt as the board saw them.
    Rows the board counted as lost simply aren't there: the gap shows in ``time_s``.
    """

    time_s: FloatArray
    """shape (n,) [s]"""
    current_a: FloatArray
    """shape (n,) [A], either polarity"""
    voltage_v: FloatArray | None
    """shape (n,) [V], or None where the record has no voltage channel"""
    direction: str
    """``lock`` or ``unlock``"""
    rig: str = ""
    started: datetime | None = None
    """With its offset from UTC."""
    ambient_c: float | None = None
    """[degC]; None: not recorded"""
    head: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    """Every head key of the file, known ones included."""
    source: str = ""
    """File name or board, for messages."""

    def __len__(self) -> int:
        return len(self.time_s)
