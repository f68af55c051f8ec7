"""What a report says about the years: every check and the trend. What was done to the rig is in ``log``."""

from math import sqrt
from statistics import stdev
from typing import TYPE_CHECKING

from logger.core.assessment import CUT_OFF, FAIL, INFO, Measured
from logger.core.quantities.number_text import measured_text
from logger.core.quantities.units import display_unit, to_display
from logger.core.sheets.sheet import SheetTrial
from logger.report.document import Block, Bullets, Heading, Picture, Table, Text
from logger.report.material import Material, SheetPart

if TYPE_CHECKING:
    from logger.core.seasons.history import TrendResult


def checks(material: Material) -> list[Block]:
    """One row a sheet and direction: as found, as left, verdict, what was noticed."""
    rows = []
    for part in material.sheets:
        for direction in ("lock", "unlock"):
            throws = [one for one in part.trials if one.direction == direction and _told(one)]
            if throws:
                rows.append(_check_row(part, direction, throws, material.rig.units))
    if not rows:
        return [Heading("Every sheet"), Text("No throw is in the logbook.")]
    headings = (
        *("No.", "Day", "Kind", f"Air [{display_unit('temperature', material.rig.units)}]", "Way", "Throws"),
        *("As found: running [A]", "Running [A]", "Time [s]", "Verdict", "Noticed", "State"),
    )
    table = Table(
        headings,
        tuple(rows),
        "Every sheet: running current and time are means of the clean throws ± U",
        (3, 5, 6, 7, 8),
    )
    return [Heading("Every sheet"), table]


def _told(throw: SheetTrial) -> bool:
    """What was left out doesn't count, unless it failed: that is never passed over."""
    return not throw.left_out or throw.assessment.verdict == FAIL


def _check_row(part: SheetPart, direction: str, throws: list[SheetTrial], units: str) -> tuple[str, ...]:
    clean = [
        one for one in part.counting(direction) if one.assessment.usable and one.assessment.end == CUT_OFF
    ]
    found = next((one for one in throws if one.id in part.apart), None)
    noticed = sorted({sign.sign for one in throws for sign in one.assessment.signs if sign.level != INFO})
    air = part.conditions.ambient_c
    order = ("fail", "unusable", "undecided", "watch", "pass")
    verdicts = {one.assessment.verdict for one in throws}
    return (
        part.name.removeprefix(f"{part.state.sheet.rig}-"),
        f"{part.day:%Y-%m-%d}",
        part.state.sheet.kind,
        "-" if air is None else f"{to_display(air, 'temperature', units):.0f}",
        direction,
        str(len(throws)),
        measured_text(found.assessment.figures.run_current_a) if found is not None else "-",
        measured_text(_mean(clean, "run_current_a")),
        measured_text(_mean(clean, "travel_time_s")),
        next(word for word in order if word in verdicts),
        ", ".join(noticed) or "-",
        part.state_said,
    )


def _mean(throws: list[SheetTrial], name: str) -> Measured | None:
    """Mean of a figure; expanded uncertainty (k = 2) from its scatter over the throws and the instrument they share."""
    held = [value for one in throws if (value := getattr(one.assessment.figures, name)) is not None]
    if not held:
        return None
    values = [one.value for one in held]
    scatter = 2.0 * stdev(values) / sqrt(len(values)) if len(values) > 1 else 0.0
    return Measured(sum(values) / len(values), sqrt(max(one.u for one in held) ** 2 + scatter**2))


def amount(value: float, unit: str, sign: str = "") -> str:
    """A figure of a trend with its unit; shares as percent.

    >>> amount(0.05, "1"), amount(2.7051, "A"), amount(-0.0325, "A", "+")
    ('5.00 %', '2.71 A', '-0.0325 A')
    """
    number = f"{100 * value if unit == '1' else value:{sign}#.3g}".rstrip(".")
    return f"{number} {'%' if unit == '1' else unit}"


def drawn_trends(material: Material) -> "list[TrendResult]":
    """What the report draws over the years, in the order in which it is drawn: what signalled first stands first."""
    from logger.core.seasons.history import telling_first

    always = ("run_current", "peak_run_current", "travel_time")
    signalled = {one.figure for one in material.trends if one.first_signal}
    order = [name for name in telling_first(material.trends) if name in always or name in signalled]
    return [one for name in order for one in material.trends if one.figure == name]


def trend(material: Material) -> list[Block]:
    """Trend charts, what they say in numbers, forecast or why there is none."""
    from logger.core.seasons.wording_trend import figure_name

    blocks: list[Block] = [Heading("Trend")]
    if not any(len(one.points) > 1 for one in material.trends):
        return [*blocks, Text("No trend: fewer than two checks can be compared.")]
    if any(one.provisional for one in material.trends):
        blocks.append(Text("Provisional: the baseline rests on no accepted commissioning sheet."))
    shown = drawn_trends(material)
    said = [
        f"{figure_name(one.figure)} ({one.direction}) {amount(one.points[0].corrected, one.unit)} at first, "
        f"level {amount(one.chart.level, one.unit)} at the last check, {one.points[-1].state}"
        for one in shown
    ]
    caption = (
        "Each check at 20 degC and nominal voltage; the level that the checks up to it show, and the control limits that this "
        "level was held against (between services, dotted lines); the forecast; what signalled first stands first. Of a binding spot: the current there, above what lies beside it"
    )
    alt = f"Charts over {max(len(one.points) for one in shown)} checks: {'; '.join(said)}."
    blocks.append(Picture("trend", caption, alt))
    if material.spots:
        blocks += [Text("Places where binding has grown:"), Bullets(material.spots)]
    blocks += [Text(note) for note in material.season_notes]
    headings = (
        "Figure",
        "Way",
        "Level now",
        "Control limits",
        "State",
        "First signal",
        "Slope (95 %)",
        "Forecast",
    )
    rows = tuple(_trend_row(one) for one in material.trends)
    blocks.append(Table(headings, rows, "Trend since the last service that restarts the chart", (2, 3)))
    return blocks


def _trend_row(one: "TrendResult") -> tuple[str, ...]:
    from logger.core.seasons.wording_trend import figure_name

    slope, forecast = one.slope, one.forecast
    change = "too few checks"
    if slope.per_year is not None and slope.low is not None and slope.high is not None:
        low, high = amount(slope.low, one.unit, "+"), amount(slope.high, one.unit, "+")
        change = f"{amount(slope.per_year, one.unit, '+')} a year ({low} to {high})"
    ahead = one.no_forecast.removeprefix("can't forecast yet: ")
    if forecast is not None:
        limit, sure = amount(forecast.limit, one.unit), f"{100 * forecast.confidence:.0f} %"
        ahead = f"limit {limit} about {forecast.crosses} ({forecast.low} to {forecast.high}, {sure})"
    elif ahead != one.no_forecast:
        ahead = f"not yet: {ahead}"
    return (
        figure_name(one.figure),
        one.direction,
        amount(one.chart.level, one.unit),
        f"{amount(one.chart.lower, one.unit)} to {amount(one.chart.upper, one.unit)}",
        one.points[-1].state,
        str(one.first_signal or "none"),
        change,
        ahead,
    )
