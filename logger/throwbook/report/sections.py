"""The sections of a report that aren't one sheet's: machine, limits and method, history, services, status, corrections,
what was done otherwise than planned and what was not recorded.
"""

from collections.abc import Callable, Sequence
from math import sqrt
from statistics import stdev
from typing import TYPE_CHECKING

from throwbook.core.assessment import CUT_OFF, FAIL, INFO, Measured
from throwbook.core.listing import SERVICES, Listing
from throwbook.core.quantities.rounding import measured_text
from throwbook.core.quantities.statistics import t_quantile
from throwbook.core.quantities.text import counted, printable
from throwbook.core.quantities.units import at_reference, display_unit, to_display
from throwbook.core.records import BENCH, NOT_LOOKED, Order
from throwbook.core.sheets.conditions import unanswered
from throwbook.core.sheets.sheet import SheetTrial
from throwbook.core.status.latch import CAUSES, sentence_of
from throwbook.core.status.maintenance import MOMENTS
from throwbook.core.status.status_text import reasons
from throwbook.core.wording import CONDITIONS, SIGNS, TREND_STATES
from throwbook.report.document import Block, Bullets, Heading, Picture, Table, Text
from throwbook.report.material import Material, SheetPart

if TYPE_CHECKING:
    from throwbook.core.trend.trend_result import TrendResult


def deviations(part: SheetPart) -> list[str]:
    """What was done otherwise than planned."""
    found = []
    for direction in ("lock", "unlock"):
        done = sum(one.direction == direction and not one.left_out for one in part.trials)
        if done < part.plan.throws_each_way:
            found.append(f"{part.plan.throws_each_way} {direction} throws planned, {done} counted")
    found += [f"{one.name} left out: {one.left_out}" for one in part.trials if one.left_out]
    found += [
        f"{one.name} not usable: {one.assessment.unusable_because}"
        for one in part.trials
        if not one.assessment.usable
    ]
    decision = part.state.decision
    if decision is not None and part.state.state == "rejected":
        found.append(f"rejected: {decision.reason}")
    return [printable(one) for one in found]


def blanks(part: SheetPart) -> list[str]:
    """What was not recorded, and what the report can't claim for it."""
    found = [
        f"{CONDITIONS[one.key].sentence}, so not covered: {one.claim_lost}"
        for one in unanswered(part.conditions)
    ]
    unseen = [
        one.position
        for one in part.trials
        if one.direction == "lock" and NOT_LOOKED in (part.seen[one.id].left_pin, part.seen[one.id].right_pin)
    ]
    if unseen and part.state.sheet.kind != BENCH:
        found.append(f"that somebody looked at both pins, at lock throw {', '.join(map(str, unseen))}")
    return found


def by_sheet(parts: Sequence[SheetPart], of: Callable[[SheetPart], list[str]]) -> tuple[str, ...]:
    """Sentences of several sheets, the same ones together: ``yard-loader-4, 5: ...``."""
    grouped: dict[str, list[str]] = {}
    for part in parts:
        for sentence in of(part):
            grouped.setdefault(sentence, []).append(part.name.removeprefix(f"{part.state.sheet.rig}-"))
    return tuple(f"sheet {', '.join(names)}: {sentence}" for sentence, names in grouped.items())


def checks(material: Material) -> list[Block]:
    """One row a sheet and direction: as found, as left, verdict, what was noticed."""
    rows = []
    for part in material.sheets:
        for direction in ("lock", "unlock"):
            throws = [one for one in part.trials if one.direction == direction and _counts(one)]
            if throws:
                rows.append(_check_row(part, direction, throws, material.rig.units))
    if not rows:
        return [Heading("Every sheet"), Text("No throw is in the logbook.")]
    headings = (
        *("No.", "Day", "Kind", f"Air [{display_unit('temperature', material.rig.units)}]", "Way", "Throws"),
        *("As found: running [A]", "Running [A]", "Time [s]", "Figures", "Signs", "State"),
    )
    table = Table(
        headings,
        tuple(rows),
        "Every sheet: running current and time are means ± U (95 %), without the as-found throw",
        (3, 5, 6, 7, 8),
    )
    return [Heading("Every sheet"), table]


def _counts(throw: SheetTrial) -> bool:
    """What was left out doesn't count, unless it failed: that is never passed over."""
    return not throw.left_out or throw.assessment.verdict == FAIL


def _check_row(part: SheetPart, direction: str, throws: list[SheetTrial], units: str) -> tuple[str, ...]:
    clean = [
        one for one in part.counting(direction) if one.assessment.usable and one.assessment.end == CUT_OFF
    ]
    found = next((one for one in throws if one.id in part.apart), None)
    noticed = sorted(
        {SIGNS[sign.sign].column for one in throws for sign in one.assessment.signs if sign.level != INFO}
    )
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
    """Mean of a figure with its 95 % uncertainty: the scatter of so few throws (Student's t) and the instrument they share."""
    measured = [value for one in throws if (value := getattr(one.assessment.figures, name)) is not None]
    if not measured:
        return None
    values = [one.value for one in measured]
    n = len(values)
    scatter = t_quantile(0.975, n - 1) * stdev(values) / sqrt(n) if n > 1 else 0.0
    return Measured(sum(values) / n, sqrt(max(one.u for one in measured) ** 2 + scatter**2))


def amount(value: float, unit: str, sign: str = "") -> str:
    """A figure of a trend with its unit; shares as percent.

    >>> amount(0.05, "1"), amount(2.7051, "A"), amount(-0.0325, "A", "+")
    ('5.00 %', '2.71 A', '-0.0325 A')
    """
    number = f"{100 * value if unit == '1' else value:{sign}#.3g}".rstrip(".")
    return f"{number} {'%' if unit == '1' else unit}"


def drawn_trends(material: Material) -> "list[TrendResult]":
    """What the report draws over the years, in the order in which it is drawn: what signalled first stands first."""
    from throwbook.core.trend.trend_result import telling_first

    always = ("run_current", "peak_run_current", "travel_time")
    signalled = {one.figure for one in material.trends if one.first_signal}
    order = [name for name in telling_first(material.trends) if name in always or name in signalled]
    return [one for name in order for one in material.trends if one.figure == name]


def trend(material: Material) -> list[Block]:
    """Trend charts, what they say in numbers, forecast or why there is none."""
    from throwbook.core.trend.trend_result import ABOUT_CHANGE, CHANGE, figure_name

    blocks: list[Block] = [Heading("Trend")]
    if not any(len(one.points) > 1 for one in material.trends):
        return [*blocks, Text("No trend: fewer than two checks can be compared.")]
    if any(one.provisional for one in material.trends):
        blocks.append(Text("Provisional: the baseline rests on no accepted commissioning sheet."))
    shown = drawn_trends(material)
    said = [
        f"{figure_name(one.figure)} ({one.direction}) {amount(one.points[0].corrected, one.unit)} at first, "
        f"level {amount(one.chart.level, one.unit)} at the last check, {TREND_STATES[one.points[-1].state].column}"
        for one in shown
    ]
    caption = (
        f"Each check at {at_reference(material.rig.units)} and nominal voltage, the level that the checks up to it show, and the limits of normal variation "
        "for that level. Dotted upright lines are services. Then the forecast. The figure that was first out of control comes first. A binding spot is drawn as its current above the current beside it"
    )
    alt = f"Charts over {max(len(one.points) for one in shown)} checks: {'; '.join(said)}."
    blocks.append(Picture("trend", caption, alt))
    if material.spots:
        blocks += [Text("Binding spots that have grown:"), Bullets(material.spots)]
    blocks += [Text(note) for note in material.season_notes]
    headings = (
        "Figure",
        "Way",
        "Start",
        "Now",
        f"{CHANGE[0].upper()}{CHANGE[1:]}",
        "Normal variation",
        "State",
        "First out",
        "Slope (95 % interval)",
        "Forecast",
    )
    rows = tuple(_trend_row(one) for one in material.trends)
    blocks.append(
        Table(
            headings,
            rows,
            f"Trend at {at_reference(material.rig.units)} and nominal voltage. {ABOUT_CHANGE}",
            (2, 3),
        )
    )
    return blocks


def _trend_row(one: "TrendResult") -> tuple[str, ...]:
    from throwbook.core.trend.trend_result import change_text, figure_name

    slope, forecast = one.slope, one.forecast
    a_year = "too few checks"
    if slope.per_year is not None and slope.low is not None and slope.high is not None:
        low, high = amount(slope.low, one.unit, "+"), amount(slope.high, one.unit, "+")
        a_year = f"{amount(slope.per_year, one.unit, '+')} a year ({low} to {high})"
    ahead = one.no_forecast.removeprefix("no forecast yet: ")
    if forecast is not None:
        limit, sure = amount(forecast.limit, one.unit), f"{100 * forecast.confidence:.0f} %"
        ahead = f"limit {limit} about {forecast.crosses} ({forecast.low} to {forecast.high}, {sure})"
    elif ahead != one.no_forecast:
        ahead = f"not yet: {ahead}"
    return (
        figure_name(one.figure),
        one.direction,
        amount(one.chart.centre, one.unit),
        amount(one.chart.level, one.unit),
        change_text(one),
        f"{amount(one.chart.lower, one.unit)} to {amount(one.chart.upper, one.unit)}",
        TREND_STATES[one.points[-1].state].column,
        str(one.first_signal or "none"),
        a_year,
        ahead,
    )


TELLING = ("run_current", "peak_run_current", "travel_time", "source_resistance", "switch_lag")
"""Figures that say whether a service helped."""


def services(material: Material) -> list[Block]:
    """The maintenance history with its four moments, and what each service changed."""
    if not material.services:
        return [Heading("Services"), Text("No service is in the logbook.")]
    shown = Listing.of(SERVICES, ("date", "action", *MOMENTS, "parts", "by"))
    rows = tuple(map(shown.paper_row, material.services))
    blocks: list[Block] = [Heading("Services"), Table(shown.paper_heads, rows, "Maintenance history")]
    effects = sorted(_effects(material))
    if effects:
        from throwbook.core.trend.maintenance_effect import CONFIDENCE

        sure = f"Change ({100 * CONFIDENCE:.0f} % interval)"
        columns = ("Day", "Figure", "Before", "After", sure, "Did it help")
        caption = "What each service changed, corrected for weather and supply voltage; the check that raised the alarm is left out where another can stand for it"
        blocks.append(Table(columns, tuple(effects), caption, (2, 3, 4)))
    return blocks


def _effects(material: Material) -> list[tuple[str, ...]]:
    from throwbook.core.trend.trend_result import effect_change_text, figure_name

    return [
        (
            str(effect.date),
            f"{figure_name(one.figure)}, {one.direction}",
            amount(effect.before, one.unit),
            amount(effect.after, one.unit),
            effect_change_text(one, effect),
            effect.said,
        )
        for one in material.trends
        for effect in one.service_effects
        if one.figure in TELLING
    ]


def status(material: Material) -> list[Block]:
    """The latch's log: every raise and every clearing; raises of one cause on one day together."""
    blocks: list[Block] = [Heading("Status log")]
    open_orders = reasons(material.status)
    if open_orders:
        blocks += [Text("Open orders:"), Bullets(tuple(map(printable, open_orders)))]
        blocks.append(Text(printable(f"Steps to clear: {'; '.join(material.steps)}.")))
    grouped: dict[tuple[str, ...], list[Order]] = {}
    for one in material.orders:
        about = one.id if one.clears else one.cause
        grouped.setdefault((f"{one.at:%Y-%m-%d}", one.level, about), []).append(one)
    if not grouped:
        return [*blocks, Text("There was never an order.")]
    rows = tuple((day, level, *_order_cells(orders)) for (day, level, _), orders in grouped.items())
    headings = ("Day", "Level", "What", "Because", "By")
    return [
        *blocks,
        Table(headings, rows, "Every order, oldest first; those of one cause on one day together"),
    ]


def _order_cells(orders: list[Order]) -> tuple[str, str, str]:
    first = orders[0]
    if first.clears:
        return "cleared, signed", printable(first.because) or "-", printable(first.signed or first.by)
    said = CAUSES.get(first.cause, ("", first.cause))[1]
    because = first.because or sentence_of(first)
    more = f" (and {counted(len(orders) - 1, 'more throw')})" if len(orders) > 1 else ""
    return said, f"{printable(because)}{more}", printable(first.by)


def revisions(material: Material) -> list[Block]:
    """Every row that another one replaced: answers, sightings, judgements, the rig file."""
    rows: list[tuple[str, str, str, str]] = []
    for part in material.sheets:
        for one in part.answers:
            if one.reason:
                rows.append((f"{one.at:%Y-%m-%d}", f"{part.name}: answers", one.by, printable(one.reason)))
        for seen in part.sightings:
            if seen.replaces and seen.reason:
                rows.append(
                    (f"{seen.at:%Y-%m-%d}", f"{part.name}: what was seen", seen.by, printable(seen.reason))
                )
        for throw, at, by, why in part.rejudged:
            rows.append((at, f"{part.name}: throw {throw} judged again", by, printable(why) or "-"))
    for rig in material.revisions[1:]:
        rows.append((f"{rig.at:%Y-%m-%d}", "rig file", rig.by, printable(rig.reason)))
    for base in material.baseline_records:
        rows.append(
            (f"{base.at:%Y-%m-%d}", f"baseline set ({base.direction})", base.by, printable(base.reason))
        )
    if not rows:
        return [Heading("History of revisions"), Text("Nothing was corrected, replaced or judged again.")]
    table = Table(
        ("Day", "What", "By", "Why"),
        tuple(sorted(rows)),
        "Corrections, new versions and baselines, oldest first",
    )
    return [Heading("History of revisions"), table]


# name, part of the rig, field, kind of quantity ("": text)
