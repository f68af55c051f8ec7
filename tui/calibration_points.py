"""The points of a calibration on their way through its draft: what was read once is there again. Nothing of Textual."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from math import isfinite

from logger.core.stroke.calibration import CalibrationPoint
from tui.present import GOOD, WARN, Cell

KEY = "points"
"""Under which they stand in the draft, beside the fields of the form."""
FAR_APART = 0.3
"""Share of the meter's reading; a board with a wrong shunt may be so far off, but more often the current goes elsewhere."""


@dataclass(frozen=True)
class ReadPoint:
    """One steady current, read on the meter and on the board."""

    meter: str
    """As it was typed."""
    point: CalibrationPoint
    read_at: str
    """Day and minute by this computer's clock."""


def packed(points: Sequence[ReadPoint]) -> str:
    """As one text for the draft."""
    return json.dumps([asdict(one) for one in points]) if points else ""


def unpacked(text: str) -> list[ReadPoint]:
    """Back from the draft; what can't be read whole gives none."""
    try:
        return [_read(row) for row in json.loads(text)] if text else []
    except (ValueError, TypeError, KeyError):
        return []


def _read(row: dict[str, object]) -> ReadPoint:
    found = row["point"]
    if not isinstance(found, dict):
        raise TypeError("a point is a table of figures")
    point = CalibrationPoint(**{name: float(value) for name, value in found.items()})
    if not all(isfinite(value) for value in asdict(point).values()):
        raise ValueError("a point that is no number")
    return ReadPoint(str(row["meter"]), point, str(row["read_at"]))


def point_cell(one: ReadPoint, now: str) -> Cell:
    """One line; a board that wandered more than the meter is worth, and a point of an earlier day, say so."""
    point = one.point
    said = f"meter {one.meter}, board {point.shown_a:.4f} A"
    earlier = f" (read {one.read_at})" if one.read_at[:10] != now[:10] else ""
    if point.u_shown_a > point.u_true_a > 0:
        return Cell(
            f"[?] {said} ± {2 * point.u_shown_a:.2g} A{earlier}: not steady. F4 takes it back, then again.",
            WARN,
        )
    apart_a = abs(point.shown_a - point.true_a)
    if apart_a > FAR_APART * abs(point.true_a) + 3.0 * (point.u_true_a + point.u_shown_a):
        return Cell(f"[?] {said}{earlier}: far apart. Does the same current flow through both?", WARN)
    return Cell(f"[x] {said}{earlier}", WARN if earlier else GOOD)
