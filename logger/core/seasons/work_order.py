"""Which came first on a day of work: the check or the work. Charts restart between the two.

A logbook knows when a throw was made, when a sheet was planned and when the work was written down; it doesn't know when
the work was done, only that it was done by the time it was written down. So a throw that was made after the entry was made
after the work, and one made before it proves nothing. Where nothing tells, the check counts as before the work, so that a
service isn't credited with what was measured without it, and that is said.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from logger.core.records.records import AFTER_SERVICE, COMMISSIONING

NOT_WORKED = ("no", "none", "nothing")


@dataclass(frozen=True)
class CheckTimes:
    """What is known of one check's place in its day."""

    on: date
    kind: str
    planned_at: datetime
    throws_at: tuple[datetime, ...]
    """When its throws were made, as far as that is known; in order."""
    worked_before: str = ""
    """Answer to "greased or worked before the test?"; empty: not recorded."""

    @property
    def begun(self) -> datetime:
        """Its first throw, or else when it was planned."""
        return self.throws_at[0] if self.throws_at else self.planned_at


@dataclass(frozen=True)
class WorkTimes:
    """A service after which charts restart."""

    on: date
    action: str
    logged_at: tuple[datetime, ...]
    """When it was written down, and when it was corrected. Written before the day of the work, a time tells nothing."""

    @property
    def done_by(self) -> datetime | None:
        """The work was done by then; None: nothing tells."""
        return min((at for at in self.logged_at if at.date() >= self.on), default=None)


def after_work(checks: Sequence[CheckTimes], works: Sequence[WorkTimes]) -> list[bool | None]:
    """For each check, in order of ``begun``: whether it came after the work of its day; None: not known.

    What follows a check after the work is after it too: the stretches of a chart never overlap.
    """
    by_day: dict[date, list[WorkTimes]] = {}
    for one in works:
        by_day.setdefault(one.on, []).append(one)
    found: list[bool | None] = []
    previous: date | None = None
    for check in checks:
        follows = check.on == previous and found[-1] is True
        found.append(True if follows else _after(check, by_day.get(check.on, [])))
        previous = check.on
    return found


def _after(check: CheckTimes, works: Sequence[WorkTimes]) -> bool | None:
    if check.kind == AFTER_SERVICE:
        return True
    if not works:
        return False
    done_by = [one.done_by for one in works]
    if check.throws_at and _all_by(done_by, check.throws_at[0]):
        return True
    planned_after = _all_by(done_by, check.planned_at)
    if check.kind == COMMISSIONING and planned_after:
        return True
    planned_only = planned_after and not check.throws_at
    answer = check.worked_before.strip().casefold()
    if answer in NOT_WORKED:
        return (
            None if planned_only else False
        )  # planned after the work, and yet "not worked before": typed in late?
    if planned_only or any(one.action in answer for one in works):
        return True
    return None


def _all_by(done_by: Sequence[datetime | None], moment: datetime) -> bool:
    return all(at is not None and at <= moment for at in done_by)


def unknown_order(on: date, sheet: str, actions: Sequence[str]) -> str:
    """The sentence for a check of which nothing tells."""
    return (
        f"Nothing tells whether {sheet} was thrown before or after the work of the same day, {on} ({', '.join(dict.fromkeys(actions))}): "
        "it counts as before. Log the work before you throw, or plan an after-service sheet."
    )
