"""The three lists of a rig as rows."""

from typing import TYPE_CHECKING

from logger.core.sheets.taken_back import state_said
from logger.core.standing.service import MOMENTS, entry_from
from tui.present import BAD, GOOD, QUIET, WARN, Cell, day, figure_text, sign_text, verdict_cell

if TYPE_CHECKING:
    from logger.core.records.records import LoggedTrial
    from logger.jobs.rig_list import RigHistory

LISTS = ("sheets", "throws", "services")
HEADINGS: dict[str, tuple[str, ...]] = {
    "sheets": ("sheet", "planned", "kind", "state", "signed"),
    "throws": ("when", "way", "verdict", "time", "running current", "noticed"),
    "services": ("date", "action", "next check", "by", "what"),
}
STATES = {"open": Cell("open", WARN), "accepted": Cell("accepted", GOOD), "rejected": Cell("REJECTED", BAD)}

Row = tuple[str, list[Cell | str]]


def rows_of(name: str, history: "RigHistory", trials: "list[LoggedTrial]") -> list[Row]:
    """Rows of one list, newest first, each with its id."""
    if name == "sheets":
        return [
            (
                one.name,
                [
                    one.name,
                    day(one.sheet.at),
                    one.sheet.kind,
                    Cell(state_said(one.state, True), BAD)
                    if one.sheet.id in history.no_since
                    else STATES[one.state],
                    one.decision.signed if one.decision else "",
                ],
            )
            for one in reversed(history.sheets)
        ]
    if name == "throws":
        return [(one.id, _throw(one)) for one in trials]
    return [(one.id, _service(one)) for one in reversed(history.services)]


def _throw(logged: "LoggedTrial") -> list[Cell | str]:
    when = f"{logged.when:%Y-%m-%d %H:%M}" if logged.when else "-"
    if logged.judgement is None:
        return [when, logged.direction, Cell("not judged", QUIET), "", "", ""]
    judged = logged.judgement.assessment
    noticed = ", ".join(sign_text(sign) for sign in judged.signs if sign.level != "info")
    return [
        when,
        logged.direction,
        verdict_cell(judged.verdict),
        figure_text("travel_time_s", judged.figures.travel_time_s),
        figure_text("run_current_a", judged.figures.run_current_a),
        noticed or Cell("-", QUIET),
    ]


def _service(row: object) -> list[Cell | str]:
    entry = entry_from(row)  # type: ignore[arg-type]
    what = "; ".join(f"{name}: {getattr(entry, name).what}" for name in MOMENTS if getattr(entry, name))
    due = day(entry.due_on) if entry.due_on else ""
    return [day(entry.on), entry.action, due, entry.by, what or Cell("-", QUIET)]
