"""A report's material made by hand: fixed figures, so that its words don't change when a detector does. Invented data."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache

import numpy as np

from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.assessment import (
    Assessment,
    Check,
    Figures,
    Measured,
    Profile,
    Sign,
)
from throwbook.core.records import (
    AFTER_SERVICE,
    COMMISSIONING,
    Answers,
    BaselineRecord,
    Decision,
    Judgement,
    LoggedTrial,
    Order,
    Placement,
    RigRevision,
    Sheet,
    SheetState,
    Sighting,
    Trial,
)
from throwbook.core.rig import Actuator, LockMechanism, Rig, Wiring
from throwbook.core.sheets.acceptance import acceptance
from throwbook.core.sheets.sheet import (
    SheetTrial,
    filled,
    plan_details,
    plan_for,
    seen_at,
)
from throwbook.core.status.latch import Status
from throwbook.core.status.maintenance import Moment, NextCheck, ServiceEntry
from throwbook.core.trace import Trace
from throwbook.report.material import Material, SheetPart

DAY = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
RIG = Rig(
    "yard-loader",
    Actuator(
        12.0, 0.200, 1500.0, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011, duty_cycle=0.25, protection="IP66"
    ),
    LockMechanism(0.188, needed_force_n=700.0, coldest_c=-10.0),
    wiring=Wiring("2.5 mm2", 2.5e-6, 6.0, 10.0, "blade"),
)
ANSWERS = {
    "hours_since_movement": 24.0,
    "worked_before": "no",
    "ambient_c": 4.0,
    "supply": "machine battery",
    "engine_running": True,
    "attachment": "stone bucket",
    "operator": "M. K.",
    "instruments": None,
}
FRACTION = np.linspace(0.0, 1.0, 101)


def assessment(position: int, direction: str, **changed: object) -> Assessment:
    run_a = 2.05 + 0.01 * position
    figures = Figures(
        start_s=Measured(1.0, 0.005),
        travel_time_s=Measured(14.30 + 0.02 * position, 0.011),
        run_current_a=Measured(run_a, 0.04),
        peak_run_current_a=Measured(2.60, 0.05),
        mean_voltage_v=Measured(12.41, 0.06),
    )
    checks = (
        Check(
            "run_current", figures.run_current_a, 2.88, "max", "A", "80 % of the full-load current", "pass"
        ),
        Check("travel_time_high", Measured(1.01, 0.02), 1.15, "max", "1", "in-service tests", "pass"),
        Check("supply_under_load", figures.mean_voltage_v, 10.8, "min", "V", "90 % of nominal", "pass"),
    )
    profile = Profile(FRACTION, run_a + 0.2 * np.sin(7 * FRACTION), np.full(101, 0.02), 0.01)
    made = Assessment("", direction, True, "", figures, "cut-off", (), checks, (), "pass", profile=profile)
    return replace(made, **changed)


def trace(position: int, direction: str, rows: int = 900) -> Trace:
    time_s = np.linspace(0.0, 18.0, rows)
    moving = (time_s > 1.0) & (time_s < 15.3)
    current_a = np.where(moving, 2.05 + 0.2 * np.sin(time_s) + 9.0 * np.exp(-(time_s - 1.0) / 0.06), 0.0)
    return Trace(
        time_s, current_a, np.full(rows, 12.4), direction, RIG.name, DAY + timedelta(minutes=position)
    )


def part(
    number: int = 1, kind: str = COMMISSIONING, each_way: int = 5, *, accepted: bool = True, odd: bool = False
) -> SheetPart:
    """One sheet; ``odd``: a throw with a binding spot, and a pin that nobody looked at."""
    at = DAY + timedelta(days=91 * (number - 1))
    sheet = Sheet(
        RIG.name, kind, number, at, "M. K.", plan_details(plan_for(kind, RIG, each_way)), id=f"sheet{number}"
    )
    trials, logged = [], {}
    for position in range(1, 2 * each_way + 1):
        direction = ("lock", "unlock")[(position - 1) % 2]
        spot = Sign("binding-spot", "watch", "0.43 A heavier at one place", 0.43, 0.2, "A", 0.62, 0.01, 9.0)
        changed = {"signs": (spot,), "verdict": "watch"} if odd and position == 3 else {}
        judged = assessment(position, direction, **changed)
        name = f"{number}-{position}"
        trials.append(SheetTrial(name, position, judged))
        placement = Placement(name, sheet.id, position, at, "M. K.", head={"board": "A1B2"})
        logged[name] = LoggedTrial(
            Trial(RIG.name, direction, "trace", at + timedelta(minutes=position), id=name),
            placement,
            Judgement(name, judged, "0.1.0", at, "M. K."),
            None,
        )
    seen = tuple(
        Sighting(
            one.id,
            "yes",
            "not looked" if odd and one.position == 3 else "yes",
            "torch, both sides",
            at,
            "M. K.",
            "yes",
            "yes",
            id=f"s{one.id}",
        )
        for one in trials
        if one.direction == "lock"
    )
    decision = Decision(
        sheet.id, "accepted", "M. K.", {"statement": "Each throw within every limit."}, at, "M. K."
    )
    state = SheetState(sheet, sheet.name, ANSWERS, decision if accepted else None, accepted)
    return SheetPart(
        state,
        plan_for(kind, RIG, each_way),
        RIG,
        tuple(trials),
        logged,
        {one.id: seen_at(one.id, seen) for one in trials},
        acceptance(filled(state), trials, seen, RIG),
        seen,
        (Answers(sheet.id, ANSWERS, at, "M. K.", "ambient was misread"),),
    )


def material(*parts: SheetPart, **changed: object) -> Material:
    sheets = parts or (part(), part(2, AFTER_SERVICE, 3, accepted=False, odd=True))
    made = Material(
        rig=RIG,
        revisions=(
            RigRevision(RIG.name, "", DAY, "M. K."),
            RigRevision(RIG.name, "", DAY, "M. K.", "new fuse"),
        ),
        status=Status("in service", (), ()),
        commissioned=True,
        next_check=NextCheck(date(2026, 9, 12), sentence="check due 2026-09-12"),
        sheets=sheets,
        services=(
            ServiceEntry(
                "v1",
                RIG.name,
                "greased",
                date(2026, 6, 1),
                seen=Moment("heavier than in spring", date(2026, 5, 30)),
                fixed=Moment("both pins greased", date(2026, 6, 1)),
                by="M. K.",
            ),
        ),
        orders=(
            Order(RIG.name, "watch", "watch sign", "0.43 A heavier at one place", DAY, "M. K.", id="o1"),
        ),
        baselines={way: make_baseline([assessment(n, way) for n in range(5)]) for way in ("lock", "unlock")},
        baseline_records=(
            BaselineRecord(RIG.name, "lock", (), {}, DAY, "M. K.", "commissioning sheet, accepted"),
        ),
        calibrations=(),
        trends=(),
        broken_seals=(),
        traces={one.id: trace(one.position, one.direction) for sheet in sheets for one in sheet.trials},
        issued=date(2026, 7, 1),
        software="0.1.0",
        place="Fellside Yard",
    )
    return replace(made, **changed)


@cache
def drawn_page() -> str:
    """The made report as HTML, drawn once for all who read it."""
    from throwbook.report.html import to_html
    from throwbook.report.report import rig_report
    from throwbook.report.report_charts import Drawings

    return to_html(rig_report(material()), Drawings(material()).as_svg)
