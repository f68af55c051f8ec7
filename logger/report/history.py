"""What a report says about the years: every check, the trend, services, the status log, revisions."""

from logger.core.assessment import INFO, Measured
from logger.core.number_text import measured_text
from logger.core.plain import printable
from logger.core.sheet import SheetTrial
from logger.core.status import sentence_of
from logger.core.status_words import reasons, way_down
from logger.report.document import Block, Bullets, Heading, Picture, Table, Text
from logger.report.material import Material, SheetPart

FIGURE_WORDS = {
    "run_current": "running current",
    "peak_run_current": "highest running current",
    "travel_time": "travel time",
    "source_resistance": "source resistance",
    "take_up": "take-up",
    "energy": "energy",
}


def checks(material: Material) -> list[Block]:
    """One row a sheet and direction: as found, as left, verdict, what was noticed."""
    rows = []
    for part in material.sheets:
        for direction in ("lock", "unlock"):
            throws = [one for one in part.trials if one.direction == direction]
            if throws:
                rows.append(_check_row(part, direction, throws))
    if not rows:
        return [Heading("Every sheet"), Text("No throw is in the logbook.")]
    headings = (
        *("Sheet", "Day", "Kind", "Air", "Way", "Throws"),
        *("As found: running", "Running", "Time", "Verdict", "Noticed", "State"),
    )
    table = Table(
        headings,
        tuple(rows),
        "Every sheet: running current and time are means of the clean throws ± U",
        (3, 5, 6, 7, 8),
    )
    return [Heading("Every sheet"), table]


def _check_row(part: SheetPart, direction: str, throws: list[SheetTrial]) -> tuple[str, ...]:
    clean = [one for one in part.counting(direction) if one.assessment.usable]
    found = next((one for one in throws if one.id in part.apart), None)
    noticed = sorted({sign.sign for one in throws for sign in one.assessment.signs if sign.level != INFO})
    air = part.conditions.ambient_c
    order = ("fail", "unusable", "undecided", "watch", "pass")
    verdicts = {one.assessment.verdict for one in throws}
    return (
        part.name.removeprefix(f"{part.state.sheet.rig}-"),
        f"{part.day:%Y-%m-%d}",
        part.state.sheet.kind,
        "-" if air is None else f"{air:.0f} degC",
        direction,
        str(len(throws)),
        measured_text(found.assessment.figures.run_current_a, "A") if found is not None else "-",
        measured_text(_mean(clean, "run_current_a"), "A"),
        measured_text(_mean(clean, "travel_time_s"), "s"),
        next(word for word in order if word in verdicts),
        ", ".join(noticed) or "-",
        part.state.state,
    )


def _mean(throws: list[SheetTrial], name: str) -> Measured | None:
    """Mean of a figure; the uncertainty is that of the throws (their instrument is common to all)."""
    held = [value for one in throws if (value := getattr(one.assessment.figures, name)) is not None]
    if not held:
        return None
    return Measured(sum(one.value for one in held) / len(held), max(one.u for one in held))


def trend(material: Material) -> list[Block]:
    """Trend charts, what they say in numbers, forecast or why there is none."""
    blocks: list[Block] = [Heading("Trend")]
    if not material.trends:
        return [*blocks, Text(f"No trend: {material.no_trends or 'fewer than two checks can be compared'}.")]
    if any(one.provisional for one in material.trends):
        blocks.append(Text("Provisional: the baseline rests on no accepted commissioning sheet."))
    shown = [one for one in material.trends if one.figure in ("run_current", "travel_time")]
    said = []
    for one in shown:
        first = one.points[0].corrected
        last = one.points[-1]
        said.append(
            f"{FIGURE_WORDS[one.figure]} ({one.direction}) {first:.2f} to {last.corrected:.2f} {one.unit}, {last.state}"
        )
    blocks.append(
        Picture(
            "trend",
            "Each check at 20 degC and nominal voltage, its control limits, services (vertical lines) and the forecast",
            f"Charts over {len(shown[0].points) if shown else 0} checks: {'; '.join(said)}.",
        )
    )
    rows = []
    for one in material.trends:
        slope = one.slope
        change = (
            f"{slope.per_year:+.3g} ({slope.low:+.3g} to {slope.high:+.3g}) {one.unit} a year"
            if None not in (slope.per_year, slope.low, slope.high)
            else "too few checks"
        )
        forecast = one.forecast
        ahead = (
            f"limit {forecast.limit:.3g} {one.unit} about {forecast.crosses} ({forecast.low} to {forecast.high}, "
            f"{100 * forecast.confidence:.0f} %)"
            if forecast is not None
            else one.no_forecast
        )
        rows.append(
            (
                FIGURE_WORDS[one.figure],
                one.direction,
                f"{one.points[-1].corrected:.3g} {one.unit}",
                f"{one.chart.lower:.3g} to {one.chart.upper:.3g}",
                one.points[-1].state,
                str(one.first_signal or "none"),
                change,
                ahead,
            )
        )
    headings = (
        "Figure",
        "Way",
        "Last check",
        "Control limits",
        "State",
        "First signal",
        "Slope (95 %)",
        "Forecast",
    )
    blocks.append(
        Table(headings, tuple(rows), "Trend since the last service that restarts the chart", (2, 3))
    )
    return blocks


def services(material: Material) -> list[Block]:
    """The maintenance history with its four moments, and what each service changed."""
    if not material.services:
        return [Heading("Services"), Text("No service is in the logbook.")]
    rows = []
    for one in material.services:
        moments = [_moment(getattr(one, name)) for name in ("seen", "found", "fixed", "verified")]
        rows.append((f"{one.on}", one.action, *moments, printable(one.parts) or "-", printable(one.by)))
    headings = ("Day", "Action", "Seen", "Found", "Fixed", "Verified", "Parts", "By")
    blocks: list[Block] = [Heading("Services"), Table(headings, tuple(rows), "Maintenance history")]
    effects = [
        (
            str(effect.date),
            effect.action,
            f"{FIGURE_WORDS[one.figure]}, {one.direction}",
            f"{effect.before:.3g} {one.unit}",
            f"{effect.after:.3g} {one.unit}",
            f"{effect.change:+.3g} ({effect.low:+.3g} to {effect.high:+.3g})",
            effect.answer,
        )
        for one in material.trends
        for effect in one.service_effects
    ]
    if effects:
        headings = ("Day", "Action", "Figure", "Before", "After", "Change (95 %)", "Did it help")
        caption = "What each service changed, weather and supply taken out; the check that raised the alarm left out"
        blocks.append(Table(headings, tuple(effects), caption, (3, 4, 5)))
    return blocks


def _moment(moment) -> str:  # type: ignore[no-untyped-def]
    if not moment:
        return "not recorded"
    return printable(f"{moment.what} ({moment.on})" if moment.on else moment.what)


def status(material: Material) -> list[Block]:
    """The latch's log: every raise and every clearing."""
    blocks: list[Block] = [Heading("Status log")]
    held = reasons(material.status)
    if held:
        blocks += [Text("What holds the rig where it is:"), Bullets(tuple(map(printable, held)))]
        blocks += [Text("The way down: " + "; ".join(way_down(material.status)) + ".")]
    grouped: dict[tuple[str, ...], int] = {}
    for one in material.orders:
        what = "cleared" if one.clears else sentence_of(one)
        why = one.because if one.clears else ""
        row = (f"{one.at:%Y-%m-%d}", one.level, printable(what), printable(why) or "-", one.signed or one.by)
        grouped[row] = grouped.get(row, 0) + 1
    if not grouped:
        return [*blocks, Text("Nothing was ever raised.")]
    rows = tuple(
        (*row[:2], f"{row[2]} ({count} throws)" if count > 1 else row[2], *row[3:])
        for row, count in grouped.items()
    )
    blocks.append(Table(("Day", "Level", "What", "Because", "By"), rows, "Every order, oldest first"))
    return blocks


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
            (f"{base.at:%Y-%m-%d}", f"baseline frozen ({base.direction})", base.by, printable(base.reason))
        )
    if not rows:
        return [Heading("History of revisions"), Text("Nothing was corrected, replaced or judged again.")]
    table = Table(
        ("Day", "What", "By", "Why"),
        tuple(sorted(rows)),
        "Corrections, new versions and baselines, oldest first",
    )
    return [Heading("History of revisions"), table]
