"""Sections of the report on what was tested and how: the rig as its file says, the limits with their sources, the method."""

from throwbook.core.analysis.figures import GAIN_WITHIN
from throwbook.core.listing import METERS
from throwbook.core.machine.limits import LIMITS, MAX, limits_for
from throwbook.core.quantities.units import show, show_limit
from throwbook.core.rig import Rig
from throwbook.core.wording import LIMITS as LIMIT_NAMES
from throwbook.core.wording import NOT_RECORDED, RIG
from throwbook.report.document import Block, Bullets, Facts, Heading, Table, Text
from throwbook.report.material import Material, SheetPart

RIG_ROWS: tuple[tuple[str, str, str, str], ...] = (
    ("needed_travel", "lock", "needed_travel_m", "length"),
    ("needed_force", "lock", "needed_force_n", "force"),
    ("excess_goes", "lock", "excess_goes", ""),
    ("bears_force", "lock", "bears_force_n", "force"),
    ("lowest_voltage", "lock", "lowest_voltage_v", "voltage"),
    ("coldest", "lock", "coldest_c", "temperature"),
    ("voltage", "actuator", "voltage_v", "voltage"),
    ("stroke", "actuator", "stroke_m", "length"),
    ("rated_force", "actuator", "rated_force_n", "force"),
    ("no_load_speed", "actuator", "no_load_speed_m_s", "speed"),
    ("full_load_speed", "actuator", "full_load_speed_m_s", "speed"),
    ("no_load_current", "actuator", "no_load_current_a", "current"),
    ("full_load_current", "actuator", "full_load_current_a", "current"),
    ("duty_cycle", "actuator", "duty_cycle", "share"),
    ("protection", "actuator", "protection", ""),
    ("conductor", "wiring", "conductor", ""),
    ("length_one_way", "wiring", "length_one_way_m", "cable length"),
    ("fuse", "wiring", "fuse_a", "current"),
    ("placed_in", "board", "placed_in", ""),
    ("id", "board", "id", ""),
)
DECISION_RULE = (
    "Limits of the rating (full-load current, lowest voltage, travel done) decide an acceptance. A figure passes when it is "
    "inside by at least its expanded uncertainty U (k = 2). It fails when it is beyond by more than U. In between it is undecided "
    "(guard band w = U; JCGM 106:2012, ILAC-G8:09/2019). Alert limits (80 % of the rating, expected time, spread) are compared as "
    "read: a reading over one gives 'watch'. A throw fails only beyond twice the tolerance of the expected time, with the guard band. Without a "
    "reading of the peak running current the running current must stay at or under 80 % of the rating, with the guard band. An assumed value "
    "widens the expected range and fails no throw. What nobody could read is listed as not proved. Uncertainties: type A "
    "from repeats, type B from calibration, resolution and instrument class, root-sum-square (JCGM 100:2008). A mean of few "
    "throws has Student's t for their number in place of 2."
)
SHARED_RISK_RULE = (
    "Where shared risk was chosen, a reading inside its limit by less than U was accepted as read (simple acceptance; "
    "ILAC-G8:09/2019, JCGM 106:2012, 8.2). The chance that the true value is beyond the limit is at most 10 %. It stands beside the reading."
)
METHOD = (
    "Start, end of the inrush and end are found in the recorded current. The running current is the time-average from "
    "the end of the inrush to the end. Travel comes from the back-EMF, the integral of V - iR, tied to the full stroke. The expected time of the full stroke is "
    "calculated for the measured voltage and current, from the baseline or, without one, from the data sheet.",
    "Shapes are compared with the baseline: the pointwise median of its throws. Limits drawn from n throws use the "
    "prediction factor for n.",
    "Travel done is the travel time over the expected time of the full stroke, with the ± of the readings alone. The travel of a "
    "throw has a wider ±, for what is not known of the motor. A throw short of the travel needed by more than that fails as "
    "'stopped short'. Closer than that, only the look at both pins can tell.",
    "Whether a pin is in its hole is never computed. It is what a person saw, each pin looked at separately.",
)


def value_of(rig: Rig, part: str, name: str, kind: str) -> str:
    """One value of the rig as it is printed; what isn't there is said to be."""
    held = getattr(rig, part)
    value = None if held is None else getattr(held, name)
    if value is None:
        return NOT_RECORDED
    return show(value, kind, rig.units) if kind else str(value)


def _rig_value(part: str, key: str) -> str:
    name = RIG[f"{part}.{key}"].sentence
    return f"Actuator: {name}" if part == "actuator" else _capital(name)


def machine(material: Material) -> list[Block]:
    """Machine and parts, and the versions of the rig file."""
    rig = material.rig
    rows = [(_rig_value(part, key), value_of(rig, part, name, kind)) for key, part, name, kind in RIG_ROWS]
    rows.append(
        (_capital(RIG["actuator.extend_locks"].sentence), "yes" if rig.actuator.extend_locks else "no")
    )
    blocks: list[Block] = [
        Heading("Machine and parts"),
        Facts(tuple(rows), f"Rig {rig.name}, as its file says"),
    ]
    if len(material.revisions) > 1:
        revised = tuple(
            (f"{one.at:%Y-%m-%d}", one.by, one.reason or "first version", one.id[:8])
            for one in material.revisions
        )
        blocks.append(Table(("Added", "By", "Why", "Id"), revised, "Versions of the rig file"))
    return blocks


def _took_shared_risk(part: SheetPart) -> bool:
    decided = part.state.decision
    return decided is not None and bool(decided.statement.get("shared_risk"))


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def limits(rig: Rig) -> Table:
    """Every limit, with its value and source."""
    rows = []
    for name, limit in limits_for(rig).items():
        kind = LIMITS[name].kind
        side = "at most" if limit.side == MAX else "at least"
        rows.append(
            (
                _capital(LIMIT_NAMES[name].sentence),
                f"{side} {show_limit(limit.value, kind, rig.units, limit.side)}",
                limit.judged_as,
                limit.limit_from,
            )
        )
    return Table(("Limit", "Value", "Kind", "Source"), tuple(rows), "Limits and their sources")


def method(material: Material) -> list[Block]:
    """Instruments, calibration, method with its version, decision rule, limits."""
    instruments = sorted(
        {
            str(one.conditions.instruments)
            for one in material.sheets
            if (one.conditions.instruments or "").strip()
        }
    )
    heads = [
        logged.placement.head
        for part in material.sheets
        for logged in part.logged.values()
        if logged.placement
    ]
    boards = sorted({str(head["board"]) for head in heads if head.get("board")})
    facts = [
        ("Instruments", "; ".join(instruments) or NOT_RECORDED),
        ("Boards used", ", ".join(boards) or NOT_RECORDED),
        ("Method", f"throwbook method {material.method}"),
        ("Software", f"throwbook {material.software}"),
    ]
    blocks: list[Block] = [
        Heading("Instruments and method"),
        Facts(tuple(facts), "Instruments, method, version"),
    ]
    meters = {one.id: one for part in material.sheets for one in part.meters}
    if meters:
        ordered = sorted(meters.values(), key=lambda one: (one.name, one.at))
        listed = tuple(METERS.paper_row(one) for one in ordered)
        blocks.append(Table(METERS.paper_heads, listed, "Meters that throws by hand were read from"))
    if material.calibrations:
        rows = tuple(
            (
                one.board,
                str(one.details.get("done_on", "")),
                str(one.details.get("due_on", "")),
                f"{float(one.details.get('gain', 1.0)):.4f}",
                f"{float(one.details.get('zero_a', 0.0)):.3f} A",
                str(one.details.get("instrument", NOT_RECORDED)),
            )
            for one in material.calibrations
        )
        headings = ("Board", "Calibrated", "Due", "Gain", "Zero", "Against")
        blocks.append(Table(headings, rows, "Calibration of the current channel", (3, 4)))
    elif boards or any(not one.by_hand for part in material.sheets for one in part.trials):
        blocks.append(
            Text(
                f"The logbook holds no calibration for this board, so its own scale was used unchanged. Its gain is taken as right to ± {100 * GAIN_WITHIN:g} % at most (data sheet of a common sensor). That is in every ± and is not traceable."
            )
        )
    blocks += [
        Bullets(METHOD),
        Heading("Decision rule and limits", 3),
        Text(DECISION_RULE),
        *([Text(SHARED_RISK_RULE)] if any(_took_shared_risk(part) for part in material.sheets) else []),
        limits(material.rig),
    ]
    return blocks
