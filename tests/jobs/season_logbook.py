"""Logbooks full of invented checks: figures straight into rows, no traces, so that hundreds of rigs take seconds."""

from dataclasses import replace
from datetime import UTC, date, datetime, time
from pathlib import Path

from throwbook.core.assessment import CUT_OFF, PASS, Assessment
from throwbook.core.trend.history import RigHistory
from throwbook.logbook import Logbook, hand_trial, open_logbook

RIG_TOML = """\
name = "{name}"
units = "metric"
[lock]
needed_travel = "180 mm"
[actuator]
voltage = "12 V"
stroke = "200 mm"
rated_force = "1500 N"
no_load_speed = "16 mm/s"
full_load_speed = "11 mm/s"
no_load_current = "{no_load:.4f} A"
full_load_current = "{rated:.4f} A"
"""


def noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)


def store(book: Logbook, history: RigHistory, name: str) -> None:
    """Put a whole history into an open logbook under ``name``."""
    actuator = history.rig.actuator
    toml = RIG_TOML.format(name=name, no_load=actuator.no_load_current_a, rated=actuator.full_load_current_a)
    first = noon(history.checks[0].on)
    with book.transaction():
        book.add_rig(name, toml, "M. K.", first)
        for check in history.checks:
            now = noon(check.on)
            sheet = book.plan_sheet(name, check.kind, {}, "M. K.", now)
            book.answer(
                sheet.id, {"ambient_c": check.ambient_c, "attachment": check.attachment or None}, "M. K.", now
            )
            for throw in check.throws:
                assessment = Assessment(
                    "", throw.direction, True, "", throw.figures, CUT_OFF, (), (), (), PASS
                )
                trial = replace(hand_trial(name, throw.direction, now, {}), source="trace")
                book.add_trial(
                    sheet.id,
                    trial,
                    assessment,
                    "M. K.",
                    now,
                    software_version="0",
                    as_found=throw.as_found,
                    ambient_c=check.ambient_c,
                )


def logbook_of(path: Path, histories: dict[str, RigHistory]) -> Path:
    with open_logbook(path) as book:
        for name, history in histories.items():
            store(book, history, name)
    return path
