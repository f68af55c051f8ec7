"""Sheets, throws and sightings that tests start from; each test changes what it is about."""

from dataclasses import replace
from datetime import UTC, datetime

from throwbook.core.assessment import Assessment, Check, Figures, Measured
from throwbook.core.records import COMMISSIONING, Sighting
from throwbook.core.rig import Actuator, LockMechanism, Rig
from throwbook.core.sheets.conditions import Conditions
from throwbook.core.sheets.sheet import FilledSheet, SheetTrial, plan_for

NOON = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
RIG = Rig(
    "yard-loader",
    Actuator(12.0, 0.200, 1500.0, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011, duty_cycle=0.25),
    LockMechanism(0.188),
)
TOLD = Conditions(24.0, "no", 4.0, "machine battery", True, "bucket", "M. K.", "clamp meter 1")


def throw(position: int, direction: str, **changed: object) -> SheetTrial:
    check = Check("run_current", Measured(2.0, 0.1), 2.88, "max", "A", "practice", "pass")
    judged = Assessment(
        file="",
        direction=direction,
        usable=True,
        unusable_because="",
        figures=Figures(run_current_a=Measured(2.0, 0.1)),
        end="cut-off",
        signs=(),
        checks=(check,),
        diagnoses=(),
        verdict="pass",
    )
    return SheetTrial(f"t{position}", position, replace(judged, **changed))


def sheet(kind: str = COMMISSIONING, **changed: object) -> FilledSheet:
    made = FilledSheet(RIG.name, kind, plan_for(kind, RIG), TOLD, "M. K.")
    return replace(made, **changed)


def throws(each_way: int = 5) -> list[SheetTrial]:
    return [throw(n + 1, ("lock", "unlock")[n % 2]) for n in range(2 * each_way)]


def seen(trials: list[SheetTrial]) -> list[Sighting]:
    return [
        Sighting(t.id, "yes", "yes", "torch, both sides", NOON, "M. K.", "yes", "yes", id=f"g{t.id}")
        for t in trials
        if t.direction == "lock"
    ]
