"""The story that the demo plays: an invented rig at an invented yard over three winters.

Only what happens, day by day; how it is played is ``demo``. Everything here is made up, and the throws are simulated.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

PLACE = "Fellside Yard"
OPERATOR = "M. K."
ATTACHMENT = "stone bucket"
SPOT_PLACE = 0.62
"""Where the burr grows, share of the lock movement."""
COMMISSIONED = datetime(2023, 4, 15, 9, 0, tzinfo=UTC)


@dataclass(frozen=True)
class CheckDay:
    """One seasonal check: weather, and how far the machine has aged since it was commissioned."""

    at: datetime
    temperature_c: float
    engine_running: bool
    spot_run: float
    """Height of the binding spot as a share of the healthy running current."""
    drag_run: float = 0.0
    """Even friction as a share of the healthy running current."""
    kind: str = "seasonal"


def _day(
    months: int, temperature_c: float, engine: bool, spot: float, drag: float = 0.0, kind: str = "seasonal"
) -> CheckDay:
    return CheckDay(COMMISSIONED + timedelta(days=30.4 * months), temperature_c, engine, spot, drag, kind)


CHECKS: tuple[CheckDay, ...] = (
    _day(3, 19.0, True, 0.0),
    _day(6, 9.0, False, 0.0),
    _day(9, -4.0, False, 0.0),  # first winter: stiff, and no fault
    _day(12, 11.0, True, 0.0),
    _day(15, 22.0, True, 0.02),
    _day(18, 10.0, False, 0.05),
    _day(21, -6.0, True, 0.10),  # second winter
    _day(24, 12.0, True, 0.17),
    _day(27, 21.0, False, 0.26),
    _day(30, 8.0, True, 0.38),
)
SERVICE_AT = COMMISSIONED + timedelta(days=30.4 * 30 + 4)
SERVICE = {
    "seen": "binding spot at the same place in both directions",
    "found": "burr on the left pin, dry grease",
    "fixed": "burr dressed off, both pins cleaned and greased",
    "verified": "moved by hand, power isolated: free over the whole way",
}
AFTER: tuple[CheckDay, ...] = (
    _day(31, 7.0, True, 0.0, kind="after-service"),
    _day(33, -5.0, False, 0.0),  # third winter
    _day(36, 13.0, True, 0.0),
)
