"""What a report says was done to the rig: services, the status log, corrections."""

from logger.core.quantities.number_text import interval_text
from logger.core.quantities.plain import counted, printable
from logger.core.records.records import Order
from logger.core.standing.service import Moment
from logger.core.standing.status import CAUSES, sentence_of
from logger.core.standing.status_words import reasons
from logger.report.document import Block, Bullets, Heading, Table, Text
from logger.report.history import amount
from logger.report.material import Material

TELLING = ("run_current", "peak_run_current", "travel_time", "source_resistance")
"""Figures that say whether a service helped."""


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
    effects = sorted(_effects(material))
    if effects:
        from logger.core.seasons.effects import CONFIDENCE

        sure = f"Change ({100 * CONFIDENCE:.0f} % interval)"
        columns = ("Day", "Figure", "Before", "After", sure, "Did it help")
        caption = "What each service changed, weather and supply taken out; the check that raised the alarm left out"
        blocks.append(Table(columns, tuple(effects), caption, (2, 3, 4)))
    return blocks


def _effects(material: Material) -> list[tuple[str, ...]]:
    from logger.core.seasons.wording_trend import figure_name

    return [
        (
            str(effect.date),
            f"{figure_name(one.figure)}, {one.direction}",
            amount(effect.before, one.unit),
            amount(effect.after, one.unit),
            f"{interval_text(effect.change, effect.low, effect.high)} {one.unit}",
            effect.answer,
        )
        for one in material.trends
        for effect in one.service_effects
        if one.figure in TELLING
    ]


def _moment(moment: Moment) -> str:
    if not moment:
        return "not recorded"
    return printable(f"{moment.what} ({moment.on})" if moment.on else moment.what)


def status(material: Material) -> list[Block]:
    """The latch's log: every raise and every clearing; raises of one cause on one day together."""
    blocks: list[Block] = [Heading("Status log")]
    held = reasons(material.status)
    if held:
        blocks += [Text("What holds the rig where it is:"), Bullets(tuple(map(printable, held)))]
        blocks.append(Text(printable(f"The way down: {'; '.join(material.steps)}.")))
    grouped: dict[tuple[str, ...], list[Order]] = {}
    for one in material.orders:
        about = one.id if one.clears else one.cause
        grouped.setdefault((f"{one.at:%Y-%m-%d}", one.level, about), []).append(one)
    if not grouped:
        return [*blocks, Text("Nothing was ever raised.")]
    rows = tuple((day, level, *_told(orders)) for (day, level, _), orders in grouped.items())
    headings = ("Day", "Level", "What", "Because", "By")
    return [
        *blocks,
        Table(headings, rows, "Every order, oldest first; those of one cause on one day together"),
    ]


def _told(orders: list[Order]) -> tuple[str, str, str]:
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
