"""One recorded stroke as arrays."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from throwbook.core.rig import SIDES

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOVEMENT, MOVEMENTS = "movement", "movements"
"""Head keys of a movement cut out of its record: which one it is, from 1, and how many the record holds."""
SWITCHES_FITTED = "switches_fitted"
"""Head key of a record from a board: the sides that have a pin switch, by what the board said."""
WHOLE_THROW_FOLLOWS = "whole_throw_follows"
"""Head key of a movement: true where a whole throw the same way came later in its record."""
LOCK_THROW_BEFORE = "lock_throw_before"
"""Head key of a movement: true where the last whole throw before it in its record was, or may have been, a lock throw."""
UNLOCK_BEFORE = "unlock_before"
"""Head key of a movement: true where the movement just before it in its record went, or may have gone, the unlock way."""

SWITCHES = tuple(f"{side}_switch" for side in SIDES)
CHANNELS = ("time_s", "current_a", "voltage_v", *SWITCHES, "temperature_c")
"""The fields of a trace that hold one value a row."""


@dataclass(frozen=True, eq=False)
class Trace:
    """One record, or one movement cut out of it.

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
    read_as: str = ""
    """How a file of another logger was read, in one line; empty: it is none."""
    left_switch: BoolArray | None = None
    """shape (n,) whether the switch at the left pin was closed, or None where none is fitted. Never a sighting."""
    right_switch: BoolArray | None = None
    """shape (n,) the same at the right pin"""
    temperature_c: FloatArray | None = None
    """shape (n,) [degC] at the board's probe, NaN where it didn't answer, or None where the board has none"""
    unknown_columns: Mapping[str, FloatArray] = field(default_factory=lambda: MappingProxyType({}))
    """Columns of the file that this program doesn't know, by name, each of shape (n,); NaN where no number stood."""

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def switches_fitted(self) -> list[str]:
        """The sides that have a switch."""
        return [side for side in SIDES if getattr(self, f"{side}_switch") is not None]

    @property
    def switches_at_end(self) -> tuple[bool | None, bool | None]:
        """Whether left and right switch were closed in the last row; None: none is fitted."""
        left, right = (
            None if one is None else bool(one[-1]) for one in (self.left_switch, self.right_switch)
        )
        return left, right

    @property
    def at_the_board_c(self) -> float | None:
        """Median of what the board's probe read [degC], in tenths; None: it never answered, or there is none."""
        if self.temperature_c is None or np.isnan(self.temperature_c).all():
            return None
        return round(float(np.nanmedian(self.temperature_c)), 1)

    def columns(self) -> "dict[str, FloatArray | BoolArray]":
        """By name: every channel that it has, then the columns that nobody knows."""
        own = {name: channel for name in CHANNELS if (channel := getattr(self, name)) is not None}
        return own | dict(self.unknown_columns)

    def with_columns(self, named: "Mapping[str, FloatArray]") -> "Trace":
        """The trace with its pin switches, its temperature and the columns that nobody knows out of ``named``.

        One without any value is none.
        """
        known = {name: column for name, column in named.items() if not np.isnan(column).all()}
        switches: dict[str, Any] = {name: _closed(known[name]) for name in SWITCHES if name in known}
        unknown = {name: column for name, column in known.items() if name not in CHANNELS}
        return replace(
            self,
            **switches,
            temperature_c=known.get("temperature_c"),
            unknown_columns=MappingProxyType(unknown),
        )

    def rows(self, which: slice) -> "Trace":
        """These rows alone, every channel of them; the head stays as it is."""
        kept = {name: channel[which] for name in CHANNELS if (channel := getattr(self, name)) is not None}
        return replace(
            self,
            unknown_columns={name: column[which] for name, column in self.unknown_columns.items()},
            **kept,
        )

    @property
    def movement(self) -> int:
        """Which movement of its record this is, from 1; 1 for a record that was never split."""
        return _count(self.head.get(MOVEMENT))

    @property
    def movements(self) -> int:
        """How many movements the record holds that this was cut from; 1 for a record that was never split."""
        return max(self.movement, _count(self.head.get(MOVEMENTS)))

    @property
    def whole_throw_follows(self) -> bool:
        """Whether a whole throw the same way came later in the record that this was cut from."""
        return self.head.get(WHOLE_THROW_FOLLOWS) is True

    @property
    def lock_throw_before(self) -> bool:
        """Whether the last whole throw before it in its record may have been a lock throw."""
        return self.head.get(LOCK_THROW_BEFORE) is True

    @property
    def unlock_before(self) -> bool:
        """Whether the movement just before it in its record may have gone the unlock way."""
        return self.head.get(UNLOCK_BEFORE) is True


def _closed(column: FloatArray) -> BoolArray:
    """Closed or not in every row of a column of 1, 0 and NaN; shape (n,).

    What was written stands until it is written again, as of a logger that reads its switches more seldom. Nothing for longer
    than it ever took before: the switch is no longer read, and counts as open.
    """
    written = np.flatnonzero(~np.isnan(column))
    rows = np.arange(len(column))
    newest = written[np.maximum(np.searchsorted(written, rows, side="right") - 1, 0)]
    usual = np.diff(written).max(initial=1)
    return np.asarray((column[newest] == 1.0) & (rows - newest < usual))


def _count(told: Any) -> int:
    return told if type(told) is int and told > 0 else 1
