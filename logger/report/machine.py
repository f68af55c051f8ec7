"""What a report says about the machine, its limits, the instruments and the method."""

from logger.core.machine.limits import LIMITS, MAX, limits_for
from logger.core.quantities.units import show, show_limit
from logger.core.rig import Rig
from logger.report.document import Block, Bullets, Facts, Heading, Table, Text
from logger.report.material import Material, SheetPart

NOT_RECORDED = "not recorded"

# label, part of the rig, field, kind of quantity ("": text)
RIG_ROWS: tuple[tuple[str, str, str, str], ...] = (
    ("Travel a lock throw needs", "lock", "needed_travel_m", "length"),
    ("Push the mechanism needs, clean and warm", "lock", "needed_force_n", "force"),
    ("Where stroke beyond the travel goes", "lock", "excess_goes", ""),
    ("Push that rod, pins and mounts bear", "lock", "bears_force_n", "force"),
    ("Lowest supply under load", "lock", "lowest_voltage_v", "voltage"),
    ("Coldest day it has to work", "lock", "coldest_c", "temperature"),
    ("Actuator: nominal voltage", "actuator", "voltage_v", "voltage"),
    ("Actuator: stroke", "actuator", "stroke_m", "length"),
    ("Actuator: rated force", "actuator", "rated_force_n", "force"),
    ("Actuator: no-load speed", "actuator", "no_load_speed_m_s", "speed"),
    ("Actuator: full-load speed", "actuator", "full_load_speed_m_s", "speed"),
    ("Actuator: no-load current", "actuator", "no_load_current_a", "current"),
    ("Actuator: full-load current (rated maximum)", "actuator", "full_load_current_a", "current"),
    ("Actuator: duty cycle", "actuator", "duty_cycle", "share"),
    ("Actuator: protection", "actuator", "protection", ""),
    ("Conductor", "wiring", "conductor", ""),
    ("Cable, one way", "wiring", "length_one_way_m", "cable length"),
    ("Fuse", "wiring", "fuse_a", "current"),
    ("Board sits in", "board", "placed_in", ""),
    ("Board", "board", "id", ""),
)

WORDS = {
    "run_current": "Running current, averaged over the run",
    "peak_run_current": "Highest current after the inrush",
    "travel_done": "Travel done, by the measured voltage and current",
    "travel_time_low": "Travel time over expected time, at least",
    "travel_time_high": "Travel time over expected time, at most",
    "supply_under_load": "Mean voltage while running",
    "spread_run_current": "Spread of running current within a set",
    "force_margin": "Force left over beyond the worst case",
}

DECISION_RULE = (
    "Limits of the rating (rated maximum current, lowest voltage, travel done) decide an acceptance: a figure passes when it is "
    "inside by at least its expanded uncertainty U (k = 2), fails when it is beyond by more than U, and is undecided in between "
    "(guard band w = U; JCGM 106:2012, ILAC-G8:09/2019). Alert limits (80 % of the rating, expected time, spread) are compared as "
    "read: over one is 'watch', and only beyond twice the tolerance of the expected time a throw fails, guarded. Without a "
    "reading of the highest current the running current has to keep 80 % of the rating, guarded. What had to be assumed widens "
    "what is expected and fails no throw. What nobody could read is listed as not proved. Uncertainties: type A "
    "from repeats, type B from calibration, resolution and instrument class, root-sum-square (JCGM 100:2008)."
)
SHARED_RISK_RULE = (
    "Where shared risk was chosen, a reading inside its limit by less than U was accepted as read (simple acceptance; "
    "ILAC-G8:09/2019, JCGM 106:2012, 8.2), at a chance of at most 10 % that the true value is beyond the limit. That chance stands beside it."
)
METHOD = (
    "Start, end of the inrush and end are found in the recorded current; the running current is its time-average between "
    "the last two. Travel comes from the back-EMF, the integral of V - iR, tied to the full stroke. The expected time of the whole stroke is "
    "what the measured voltage and current ask for, by the baseline or, without one, by the rating.",
    "Shapes are compared with the baseline: the pointwise median of its throws. Limits drawn from n throws use the "
    "prediction factor for n.",
    "Whether a pin is in its hole is never computed. It is what a person saw, each pin by itself.",
)


def value_of(rig: Rig, part: str, name: str, kind: str) -> str:
    """One value of the rig as it is printed; what isn't there is said to be."""
    held = getattr(rig, part)
    value = None if held is None else getattr(held, name)
    if value is None:
        return NOT_RECORDED
    return show(value, kind, rig.units) if kind else str(value)


def machine(material: Material) -> list[Block]:
    """Machine and parts, and the versions of the rig file."""
    rig = material.rig
    rows = [(label, value_of(rig, part, name, kind)) for label, part, name, kind in RIG_ROWS]
    rows.append(("Which way locks", "rod out" if rig.actuator.extend_locks else "rod in"))
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


def limits(rig: Rig) -> Table:
    """Every limit, with its value and source."""
    rows = []
    for name, limit in limits_for(rig).items():
        kind = LIMITS[name].kind
        side = "at most" if limit.side == MAX else "at least"
        rows.append(
            (
                WORDS[name],
                f"{side} {show_limit(limit.value, kind, rig.units, limit.side)}",
                limit.judged_as,
                limit.limit_from,
            )
        )
    return Table(("Limit", "Value", "Kind", "Source"), tuple(rows), "Limits and where each comes from")


def method(material: Material) -> list[Block]:
    """Instruments, calibration, method with its version, decision rule, limits."""
    told = sorted(
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
        ("Instruments", "; ".join(told) or NOT_RECORDED),
        ("Boards that recorded", ", ".join(boards) or NOT_RECORDED),
        ("Method", f"throwbook method {material.method}"),
        ("Software", f"throwbook {material.software}"),
    ]
    blocks: list[Block] = [
        Heading("Instruments and method"),
        Facts(tuple(facts), "Instruments, method, version"),
    ]
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
    else:
        blocks.append(Text("No calibration of a board is in the logbook: its own scale was taken as it is."))
    blocks += [
        Bullets(METHOD),
        Heading("Decision rule and limits", 3),
        Text(DECISION_RULE),
        *([Text(SHARED_RISK_RULE)] if any(_took_shared_risk(part) for part in material.sheets) else []),
        limits(material.rig),
    ]
    return blocks
