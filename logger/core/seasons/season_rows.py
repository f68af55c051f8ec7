"""Rows of the logbook's tables, or of its export, put together into the history of one rig.

One way in for both, so that a trend drawn from the logbook and one drawn from an export can't differ.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from logger.core.assessment import CUT_OFF, FAIL, Figures, Measured, Profile
from logger.core.records.records import ACCEPTED, AFTER_SERVICE, BENCH, BY_HAND, COMMISSIONING, OPEN
from logger.core.rig import Rig
from logger.core.seasons.season import FIGURES, RigHistory, SeasonCheck, SeasonService, SeasonThrow
from logger.core.standing.service import ACTIONS

Row = Mapping[str, Any]

FIGURE_FIELDS = (*(field for field, _ in FIGURES.values()), "mean_voltage_v")
SHEET_COLUMNS = ("sheet", "rig", "kind", "planned_at", "state", "answers", "id")
TRIAL_COLUMNS = (
    *("trial", "rig", "sheet", "position", "direction", "source", "started", "as_found", "left_out"),
    *("ambient_c", "verdict", "end", "usable"),
    *(f"{field}{ending}" for field in FIGURE_FIELDS for ending in ("", "_u")),
)
SERVICE_COLUMNS = ("service", "rig", "counts", "action", "details", "at")


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
            (_day(sheet, of_sheet[str(sheet["sheet"])]), sheet)
            for sheet in rows.sheets
            if str(sheet["sheet"]) in of_sheet
        ),
        key=lambda pair: (pair[0], str(pair[1]["planned_at"])),
    )
    first, provisional = _baseline(dated)
    mounted = any(sheet["kind"] == COMMISSIONING for _, sheet in dated)
    kept = [pair for pair in dated[first:] if not (mounted and pair[1]["kind"] == BENCH)]
    after_work = _after_work(kept, rows.services)
    checks = [
        replace(_check(day, sheet, of_sheet[str(sheet["sheet"])], profiles or {}), after_work=after)
        for (day, sheet), after in zip(kept, after_work, strict=True)
    ]
    services = sorted(
        (_service(one) for one in rows.services if one["counts"]), key=lambda one: (one.on, one.id)
    )
    return RigHistory(rows.rig, tuple(checks), tuple(services), provisional)


def _comparable(trial: Row) -> bool:
    """Whole throws only: one that stalled or stopped short has figures of another kind."""
    ended_well = trial["end"] == CUT_OFF or trial["source"] == BY_HAND
    return bool(trial["usable"]) and ended_well and not trial["left_out"] and trial["sheet"] is not None


def _baseline(dated: Sequence[tuple[date, Row]]) -> tuple[int, bool]:
    """Index of the baseline's sheet, and whether it is provisional."""
    for kind, states, provisional in (
        (COMMISSIONING, (ACCEPTED,), False),
        (COMMISSIONING, (ACCEPTED, OPEN), True),
        (BENCH, (ACCEPTED, OPEN), True),
    ):
        for i, (_, sheet) in enumerate(dated):
            if sheet["kind"] == kind and sheet["state"] in states:
                return i, provisional
    return 0, True


def _after_work(dated: Sequence[tuple[date, Row]], services: Iterable[Row]) -> list[bool]:
    """For each sheet in order: whether it came after the work of its day.

    An after-service sheet did, a commissioning sheet if it was planned when the work was logged, and so did every sheet
    of the day that follows one of these: a chart's stretches never overlap.
    """
    logged: dict[date, list[datetime]] = {}
    for one in services:
        logged.setdefault(_worked_on(one), []).append(datetime.fromisoformat(str(one["at"])))
    found: list[bool] = []
    previous: date | None = None
    for day, sheet in dated:
        planned = datetime.fromisoformat(str(sheet["planned_at"]))
        known = sheet["kind"] == COMMISSIONING and any(at <= planned for at in logged.get(day, ()))
        follows = day == previous and found[-1]
        found.append(known or follows or sheet["kind"] == AFTER_SERVICE)
        previous = day
    return found


def _day(sheet: Row, trials: Iterable[Row]) -> date:
    """The day of its first throw, or else of its planning."""
    started = sorted(str(one["started"]) for one in trials if one["started"])
    return datetime.fromisoformat(started[0] if started else str(sheet["planned_at"])).date()


def _check(day: date, sheet: Row, trials: Sequence[Row], profiles: Mapping[str, Profile]) -> SeasonCheck:
    told = json.loads(sheet["answers"]) if sheet["answers"] else {}
    ordered = sorted(trials, key=lambda one: one["position"] or 0)
    air = [float(one["ambient_c"]) for one in ordered if one["ambient_c"] is not None]
    if not air and told.get("ambient_c") is not None:
        air = [float(told["ambient_c"])]
    return SeasonCheck(
        on=day,
        sheet=str(sheet["sheet"]),
        kind=str(sheet["kind"]),
        throws=tuple(_throw(one, profiles.get(str(one["trial"]))) for one in ordered),
        ambient_c=sum(air) / len(air) if air else None,
        attachment=str(told.get("attachment") or "").strip().casefold(),
        alarm=any(one["verdict"] == FAIL for one in ordered),
    )


def _throw(trial: Row, profile: Profile | None) -> SeasonThrow:
    figures = {
        field: Measured(float(trial[field]), float(trial[f"{field}_u"] or 0.0))
        for field in FIGURE_FIELDS
        if trial[field] is not None
    }
    return SeasonThrow(
        str(trial["direction"]),
        Figures(**figures),
        bool(trial["as_found"]),
        trial["source"] == BY_HAND,
        profile,
    )


def _service(row: Row) -> SeasonService:
    told = json.loads(row["details"]) if row["details"] else {}
    restarts = told.get("new_stretch")
    action = str(row["action"])
    if restarts is None:
        restarts = ACTIONS.get(action, False)
    return SeasonService(_worked_on(row), action, bool(restarts), str(row["service"]))


def _worked_on(row: Row) -> date:
    told = json.loads(row["details"]) if row["details"] else {}
    return date.fromisoformat(str(told.get("on") or str(row["at"])[:10]))
