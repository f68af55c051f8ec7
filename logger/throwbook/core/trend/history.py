"""A rig's comparable checks over the years as data, made from the rows of the logbook or of its export.

Charts restart between a check and the work of its day. A logbook knows when a throw was made, when a sheet was planned and
when the work was written down; it doesn't know when the work was done, only that it was done by the time it was written
down. So a throw that was made after the entry was made after the work, and one made before it proves nothing. Where nothing
tells, the check counts as before the work, so that a service isn't credited with what was measured without it, and that is
said.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Any

from throwbook.core.assessment import CUT_OFF, FAIL, Figures, Measured, Profile
from throwbook.core.records import ACCEPTED, AFTER_SERVICE, BENCH, BY_HAND, COMMISSIONING, OPEN
from throwbook.core.rig import Rig
from throwbook.core.status.maintenance import ACTIONS
from throwbook.core.wording import FIGURES as NAMES

RUN_CURRENT = "run_current"
PEAK_RUN_CURRENT = "peak_run_current"
TRAVEL_TIME = "travel_time"
SOURCE_RESISTANCE = "source_resistance"
TAKE_UP = "take_up"
ENERGY = "energy"
SWITCH_LAG = "switch_lag"
OF_STROKE = (TAKE_UP, SWITCH_LAG)
"""Shares of the stroke: a change of one is so many points of it."""


# figure: field of ``Figures``
FIGURES: dict[str, str] = {
    RUN_CURRENT: "run_current_a",
    PEAK_RUN_CURRENT: "peak_run_current_a",
    TRAVEL_TIME: "travel_time_s",
    SOURCE_RESISTANCE: "source_resistance_ohm",
    TAKE_UP: "take_up_fraction",
    ENERGY: "energy_j",
    SWITCH_LAG: "switch_lag_fraction",
}


def unit_of(figure: str) -> str:
    """SI unit of a figure of the trend; ``1``: a share."""
    return NAMES[FIGURES[figure]].unit


@dataclass(frozen=True, eq=False)
class SeasonThrow:
    """One throw of a check."""

    direction: str
    figures: Figures
    as_found: bool = False
    """First movement after a rest of hours: kept apart."""
    by_hand: bool = False
    profile: Profile | None = None


@dataclass(frozen=True, eq=False)
class SeasonCheck:
    """One sheet: throws of both directions on one day."""

    on: date
    sheet: str
    kind: str
    throws: tuple[SeasonThrow, ...]
    ambient_c: float | None = None
    """[degC]; None: not recorded"""
    attachment: str = ""
    """Empty: not recorded."""
    alarm: bool = False
    """It raised the alarm that a service answered: left out of before-and-after."""
    after_work: bool | None = None
    """On the day of a service: whether it counts as after it; None: its kind says."""


@dataclass(frozen=True)
class SeasonService:
    """A maintenance entry, as far as trends need it."""

    on: date
    action: str
    starts_stage: bool
    """What is measured afterwards is another machine: charts restart."""
    id: str = ""


@dataclass(frozen=True, eq=False)
class RigHistory:
    """Everything measured on one rig that can be compared, in time order."""

    rig: Rig
    checks: tuple[SeasonCheck, ...]
    """The first one is the baseline."""
    services: tuple[SeasonService, ...] = ()
    provisional: bool = False
    """The baseline rests on no accepted commissioning sheet."""
    due_on: date | None = None
    """Next check, if one is set."""
    notes: tuple[str, ...] = ()
    """What the order of a day's check and work leaves open, in sentences."""


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

    What follows a check after the work is after it too: the stages of a chart never overlap.
    """
    by_day: dict[date, list[WorkTimes]] = {}
    for one in works:
        by_day.setdefault(one.on, []).append(one)
    found: list[bool | None] = []
    previous: date | None = None
    for i, check in enumerate(checks):
        follows = check.on == previous and found[-1] is True
        after = True if follows else _after(check, by_day.get(check.on, []))
        # Who plans an after-service sheet later that day didn't take this one for it.
        later = any(one.on == check.on and one.kind == AFTER_SERVICE for one in checks[i + 1 :])
        found.append(False if after is None and later else after)
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
        f"It is not known whether {sheet} was thrown before or after the work of the same day, {on} ({', '.join(dict.fromkeys(actions))}): "
        "it counts as before. Log the work before you throw, or plan an after-service sheet."
    )


Row = Mapping[str, Any]


FIGURE_FIELDS = (*FIGURES.values(), "mean_voltage_v")

SHEET_COLUMNS = ("sheet", "rig", "kind", "planned_at", "state", "answers", "id")
TRIAL_COLUMNS = (
    *("trial", "rig", "sheet", "position", "direction", "source", "started", "as_found", "left_out"),
    *("ambient_c", "verdict", "end", "usable"),
    *(f"{field}{ending}" for field in FIGURE_FIELDS for ending in ("", "_u")),
)
SERVICE_COLUMNS = ("service", "rig", "counts", "action", "details", "at", "replaces")


@dataclass(frozen=True)
class RigRows:
    """What the tables hold of one rig."""

    rig: Rig
    sheets: Sequence[Row]
    trials: Sequence[Row]
    services: Sequence[Row]


def history_from(rows: RigRows, profiles: Mapping[str, Profile] | None = None) -> RigHistory:
    """The rig's comparable checks, baseline first. ``profiles`` by trial id, where they are wanted.

    The baseline is the first accepted commissioning sheet; without one the first commissioning or else bench sheet,
    and then the history is provisional. An actuator on the bench isn't the one on the machine: bench sheets are left
    out as soon as there is a commissioning sheet.
    """
    of_sheet: dict[str, list[Row]] = {}
    for trial in rows.trials:
        if _comparable(trial):
            of_sheet.setdefault(str(trial["sheet"]), []).append(trial)
    dated = sorted(
        (
            (_times(sheet, of_sheet[str(sheet["sheet"])]), sheet)
            for sheet in rows.sheets
            if str(sheet["sheet"]) in of_sheet
        ),
        key=lambda pair: (pair[0].on, pair[0].begun, str(pair[1]["planned_at"])),
    )
    first, provisional = _baseline([sheet for _, sheet in dated])
    mounted = any(sheet["kind"] == COMMISSIONING for _, sheet in dated)
    kept = [pair for pair in dated[first:] if not (mounted and pair[1]["kind"] == BENCH)]
    works = _works(rows.services)
    order = after_work([times for times, _ in kept], works)
    checks = [
        replace(
            _check(times.on, sheet, of_sheet[str(sheet["sheet"])], profiles or {}), after_work=bool(after)
        )
        for (times, sheet), after in zip(kept, order, strict=True)
    ]
    notes = [
        unknown_order(times.on, str(sheet["sheet"]), [one.action for one in works if one.on == times.on])
        for (times, sheet), after in zip(kept, order, strict=True)
        if after is None
    ]
    services = sorted(
        (_service(one) for one in rows.services if one["counts"]), key=lambda one: (one.on, one.id)
    )
    return RigHistory(rows.rig, tuple(checks), tuple(services), provisional, notes=tuple(notes))


def _comparable(trial: Row) -> bool:
    """Whole throws only: one that stalled or stopped short has figures of another kind."""
    ended_well = trial["end"] == CUT_OFF or trial["source"] == BY_HAND
    return bool(trial["usable"]) and ended_well and not trial["left_out"] and trial["sheet"] is not None


def _baseline(sheets: Sequence[Row]) -> tuple[int, bool]:
    """Index of the baseline's sheet, and whether it is provisional."""
    for kind, states, provisional in (
        (COMMISSIONING, (ACCEPTED,), False),
        (COMMISSIONING, (ACCEPTED, OPEN), True),
        (BENCH, (ACCEPTED, OPEN), True),
    ):
        for i, sheet in enumerate(sheets):
            if sheet["kind"] == kind and sheet["state"] in states:
                return i, provisional
    return 0, True


def _times(sheet: Row, trials: Iterable[Row]) -> CheckTimes:
    """Its day is that of its first throw, or else of its planning."""
    throws_at = sorted(_moment(one["started"]) for one in trials if one["started"])
    planned_at = _moment(sheet["planned_at"])
    worked_before = str(_inside(sheet, "answers").get("worked_before") or "")
    on = (throws_at[0] if throws_at else planned_at).date()
    return CheckTimes(on, str(sheet["kind"]), planned_at, tuple(throws_at), worked_before)


def _inside(row: Row, column: str) -> Mapping[str, Any]:
    """What a column holds as JSON."""
    found: Mapping[str, Any] = json.loads(row[column]) if row[column] else {}
    return found


def _works(services: Sequence[Row]) -> list[WorkTimes]:
    """Every service that counts and restarts the charts; a corrected one was written down when it was first."""
    by_id = {str(one["service"]): one for one in services}
    return [
        WorkTimes(service.on, service.action, tuple(_written_at(one, by_id)))
        for one, service in ((one, _service(one)) for one in services if one["counts"])
        if service.starts_stage
    ]


def _written_at(row: Row, by_id: Mapping[str, Row]) -> list[datetime]:
    """When the entry was written, and whatever it corrects."""
    found: list[datetime] = []
    left, seen = [row], set[str]()
    while left:
        one = left.pop()
        found.append(_moment(one["at"]))
        before = set(str(one["replaces"] or "").split()) - seen
        seen |= before
        left += [by_id[old] for old in before if old in by_id]
    return found


def _moment(value: Any) -> datetime:
    """With its offset; where none was written, as UTC, so that moments can be held against each other."""
    found = datetime.fromisoformat(str(value))
    return found if found.tzinfo is not None else found.replace(tzinfo=UTC)


def _check(day: date, sheet: Row, trials: Sequence[Row], profiles: Mapping[str, Profile]) -> SeasonCheck:
    answers = _inside(sheet, "answers")
    ordered = sorted(trials, key=lambda one: one["position"] or 0)
    air = [float(one["ambient_c"]) for one in ordered if one["ambient_c"] is not None]
    if not air and answers.get("ambient_c") is not None:
        air = [float(answers["ambient_c"])]
    return SeasonCheck(
        on=day,
        sheet=str(sheet["sheet"]),
        kind=str(sheet["kind"]),
        throws=tuple(_throw(one, profiles.get(str(one["trial"]))) for one in ordered),
        ambient_c=sum(air) / len(air) if air else None,
        attachment=str(answers.get("attachment") or "").strip().casefold(),
        alarm=any(one["verdict"] == FAIL for one in ordered),
    )


def _throw(trial: Row, profile: Profile | None) -> SeasonThrow:
    figures = {
        field: Measured(float(trial[field]), float(trial[f"{field}_u"] or 0.0))
        for field in FIGURE_FIELDS
        if trial.get(field) is not None
    }
    return SeasonThrow(
        str(trial["direction"]),
        Figures(**figures),
        bool(trial["as_found"]),
        trial["source"] == BY_HAND,
        profile,
    )


def _service(row: Row) -> SeasonService:
    details, action = _inside(row, "details"), str(row["action"])
    restarts = details.get("new_stretch")
    on = date.fromisoformat(str(details.get("on") or str(row["at"])[:10]))
    starts_stage = ACTIONS.get(action, False) if restarts is None else bool(restarts)
    return SeasonService(on, action, starts_stage, str(row["service"]))
