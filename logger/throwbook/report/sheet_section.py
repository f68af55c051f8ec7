"""What a report says about one test sheet: conditions, each throw, limits kept or not, what was seen, how it ended."""

from throwbook.core.assessment import INFO, Check
from throwbook.core.listing import THROWS, Listing
from throwbook.core.machine.limits import NOT_JUDGED
from throwbook.core.quantities.rounding import judged_text, limit_text, measured_text, percent_text
from throwbook.core.quantities.text import counted, printable
from throwbook.core.quantities.units import show_rest
from throwbook.core.records import BENCH
from throwbook.core.sheets.acceptance import who_saw
from throwbook.core.sheets.conditions import said
from throwbook.core.sheets.photographs import BACKS_ONLY, caption
from throwbook.core.sheets.sheet import SheetTrial
from throwbook.core.wording import ANSWERS, LIMITS, SIGNS, SWITCHES_CLOSED
from throwbook.report.document import (
    STRONG,
    Block,
    Bullets,
    Facts,
    Heading,
    Photo,
    Photos,
    Picture,
    Table,
    Text,
)
from throwbook.report.material import SheetPart


def sheet_blocks(part: SheetPart, *, title: str, drawn: bool) -> list[Block]:
    """Everything about one sheet; with its drawings where its records were handed over."""
    blocks: list[Block] = [Heading(title), *_state(part), _conditions(part)]
    if not part.trials:
        return [*blocks, Text("No throw is on this sheet.")]
    blocks += [_throws(part), _checks(part), *_signs(part)]
    if drawn:
        blocks += pictures(part)
    if part.state.sheet.kind != BENCH:
        blocks += _sightings(part, drawn)
    blocks += _as_found(part)
    return blocks


def _state(part: SheetPart) -> list[Block]:
    decision = part.state.decision
    asked = f"{part.plan.throws_each_way} throws each way, rest at least {show_rest(part.plan.rest_s)} ({part.plan.rest_from})"
    facts = [
        ("Sheet", f"{part.name} ({part.state.sheet.kind})"),
        ("Day of the throws", f"{part.day:%Y-%m-%d}"),
        ("Planned", f"{part.state.sheet.at:%Y-%m-%d} by {part.state.sheet.by}: {asked}"),
        ("State", part.state_said),
        ("Verdict of the figures", part.acceptance.of_figures if part.trials else "none: no throws"),
    ]
    if decision is not None:
        sealed = "sealed" if part.state.sealed else "NOT SEALED"
        facts.append(("Signed", f"{decision.signed}, {decision.at:%Y-%m-%d}, {sealed}"))
    else:
        facts.append(("Signed", "not signed"))
    blocks: list[Block] = [Facts(tuple(facts), "Sheet and how it ended")]
    if decision is not None:
        statement = str(
            decision.statement.get("statement") or decision.statement.get("because") or decision.reason
        )
        blocks.append(Text(f"Statement: {statement}", STRONG))
    if unproved := part.acceptance.not_proved:
        blocks.append(Text(f"Not proved, because nobody could read it: {', '.join(unproved)}.", STRONG))
    if part.acceptance.because:
        blocks.append(
            Text(
                f"Verdict of the sheet at best {part.acceptance.verdict}: {'; '.join(part.acceptance.because)}."
            )
        )
    return blocks


def _conditions(part: SheetPart) -> Facts:
    rows = [
        (question.rstrip("?"), answer) for question, answer in said(part.conditions, part.rig.units).items()
    ]
    return Facts(tuple(rows), "Conditions")


THROWS_SHOWN = Listing.of(
    THROWS,
    (
        *("number", "way", "travel_time_s", "expected", "run_current_a", "peak_run_current_a"),
        *("mean_voltage_v", "end", "verdict", "remark"),
    ),
)


def _throws(part: SheetPart) -> Table:
    rows = tuple(map(THROWS_SHOWN.paper_row, part.throws))
    caption = "Each throw: figure ± expanded uncertainty (k = 2)"
    return Table(THROWS_SHOWN.paper_heads, rows, caption, THROWS_SHOWN.right)


def _checks(part: SheetPart) -> Table:
    """Each limit by its closest throw each way, so that one line says how much room is left."""
    counting = [one for one in part.trials if not one.left_out]
    names = list(dict.fromkeys(check.name for one in counting for check in one.assessment.checks))
    rows = []
    for name in names:
        judged = [(one, check) for one in counting for check in one.assessment.checks if check.name == name]
        words = LIMITS[name].sentence
        rows.append(
            (
                f"{words[:1].upper()}{words[1:]}",
                "; ".join(dict.fromkeys(_limit(check) for _, check in judged)),
                *(
                    _closest([pair for pair in judged if pair[0].direction == way])
                    for way in ("lock", "unlock")
                ),
                _decided([check.decision for _, check in judged]),
                "; ".join(dict.fromkeys(check.limit_from for _, check in judged)),
            )
        )
    headings = (
        "Limit",
        "Value",
        "Closest lock throw",
        "Closest unlock throw",
        "Decision",
        "Source of the limit",
    )
    return Table(
        headings, tuple(rows), "Each limit and the throws that came closest to it (throw: measured ± U)"
    )


def _decided(decisions: list[str]) -> str:
    """The worst decision, and how many throws gave none."""
    worst = next((word for word in ("fail", "undecided", "watch", "pass") if word in decisions), NOT_JUDGED)
    left = decisions.count(NOT_JUDGED)
    return f"{worst}; {left} {NOT_JUDGED}" if left and worst != NOT_JUDGED else worst


def _closest(held: list[tuple[SheetTrial, Check]]) -> str:
    measured = [(one, check) for one, check in held if check.measured is not None]
    if not measured:
        return "not measured" if held else "-"
    one, check = min(measured, key=lambda pair: _room(pair[1]))
    which = "all" if check.name == "spread_run_current" else str(one.position)
    return f"{which}: {judged_text(check.measured, check.limit, check.side, check.unit)}"


def _room(check: Check) -> float:
    assert check.measured is not None
    gap = check.limit - check.measured.value if check.side == "max" else check.measured.value - check.limit
    return gap / abs(check.limit or 1.0)


def _limit(check: Check) -> str:
    side = "at most" if check.side == "max" else "at least"
    return f"{side} {limit_text(check.limit, check.side, check.unit)}"


def _signs(part: SheetPart) -> list[Block]:
    rows = []
    for one in part.trials:
        for sign in one.assessment.signs:
            if sign.level == INFO:
                continue
            place = percent_text(sign.at_fraction) if sign.at_fraction is not None else "-"
            rows.append(
                (
                    str(one.position),
                    one.direction,
                    SIGNS[sign.sign].column,
                    sign.level,
                    place,
                    printable(sign.because),
                )
            )
    causes = {
        found.cause: f"{found.sure}: {found.cause}. Could also be: {'; '.join(found.rivals) or 'nothing known'}. "
        f"To tell: {found.action}"
        for one in part.trials
        for found in one.assessment.diagnoses
    }
    if not rows:
        return [
            Text(
                "No throw on this sheet shows a sign at level watch or fail. That says nothing about the pins."
            )
        ]
    headings = ("Throw", "Way", "Sign", "Level", "Place", "Because")
    blocks: list[Block] = [Table(headings, tuple(rows), "Signs", (0, 4))]
    if causes:
        blocks += [Heading("What would explain the signs", 3), Bullets(tuple(causes.values()))]
    return blocks


def _sightings(part: SheetPart, drawn: bool) -> list[Block]:
    rows = []
    for one in part.trials:
        if one.direction != "lock":
            continue
        seen = part.seen[one.id]
        answers = [words[getattr(seen, name)].sentence for name, words in ANSWERS.items()]
        by = who_saw([seen], part.signed) if seen.answered else seen.by
        rows.append((str(one.position), *answers, printable(seen.how) or "-", printable(by) or "-"))
    if not rows:
        return []
    headings = ("Throw", "Left pin", "Right pin", "Load check", "Stays put", "How seen", "Seen by")
    table = Table(
        headings,
        tuple(rows),
        "What a person saw after each lock throw, each pin looked at separately",
        (0,),
    )
    text = "'not looked at' means that nobody recorded having looked. Corrections are listed under History of revisions."
    return [table, *_switches(part), Text(text, "quiet"), *_photographs(part, drawn)]


def _switches(part: SheetPart) -> list[Block]:
    """Where both switches were closed: said beside what was seen, never instead of it. An open one is a sign."""
    closed = [str(one.position) for one in part.trials if SWITCHES_CLOSED in one.assessment.notes]
    if not closed:
        return []
    throws = f"throw{'s' * (len(closed) > 1)} {', '.join(closed)}"
    return [Text(f"Both switches closed after {throws}. A closed switch is no sighting.")]


def _photographs(part: SheetPart, drawn: bool) -> list[Block]:
    """Those of each throw beside each other, at most one a pin; without their pictures where the sheet isn't drawn."""
    kept = [(one, found) for one in part.trials if (found := part.photographs.get(one.id))]
    if not kept:
        return []
    blocks: list[Block] = [Heading("Photographs", 3), Text(BACKS_ONLY)]
    if not drawn:
        number = counted(sum(len(found) for _, found in kept), "photograph")
        return [*blocks, Text(f"{number} kept with this sheet. The report of this sheet prints them.")]
    for one, found in kept:
        who = printable(who_saw([part.seen[one.id]], part.signed)) or "somebody who gave no name"
        photos = []
        for pin, photograph in found.items():
            text = caption(one.position, photograph, part.sightings, who, part.logged[one.id].when)
            if photograph.picture not in part.prints:
                blocks.append(
                    Text(f"{text}. NOT PRINTED: it is lost, or is no photograph as it was stored.", STRONG)
                )
                continue
            alt = f"Photograph of the {pin} pin after throw {one.position}"
            photos.append(Photo(*part.prints[photograph.picture], text, alt))
        if photos:
            blocks.append(Photos(tuple(photos)))
    return blocks


def _as_found(part: SheetPart) -> list[Block]:
    """As found beside as left, where the first throw was kept apart."""
    rows = []
    for direction in ("lock", "unlock"):
        found = [one for one in part.trials if one.id in part.apart and one.direction == direction]
        left = [one for one in part.counting(direction) if one.assessment.figures.travel_time_s is not None]
        if found and left:
            rows.append((direction, *_compared(found[0], left[-1])))
    if not rows:
        return []
    headings = (
        "Way",
        "As found: time [s]",
        "As left: time [s]",
        "As found: running [A]",
        "As left: running [A]",
    )
    caption = "As found (first throw after standing) and as left (last complete throw of the sheet)"
    return [Table(headings, tuple(rows), caption, (1, 2, 3, 4))]


def _compared(found: SheetTrial, left: SheetTrial) -> tuple[str, ...]:
    figures = [one.assessment.figures for one in (found, left)]
    return tuple(
        measured_text(value)
        for name in ("travel_time_s", "run_current_a")
        for value in (getattr(one, name) for one in figures)
    )


def pictures(part: SheetPart) -> list[Block]:
    """Small multiples of the throws, and their current over travel beside the baseline."""
    recorded = [one for one in part.trials if not one.by_hand]
    if not recorded:
        return [Text("Measured by hand: there are no records to draw.")]
    currents = [one.assessment.figures.run_current_a for one in recorded]
    values = [one.value for one in currents if one is not None]
    span = (
        f"running currents from {min(values):.2f} to {max(values):.2f} A" if values else "no running current"
    )
    verdicts = ", ".join(sorted({one.assessment.verdict for one in recorded}))
    return [
        Picture(
            f"traces:{part.name}",
            f"Current over time, {counted(len(recorded), 'throw')} on one scale; dash-dot: the full-load current; the inrush may run off it",
            f"{counted(len(recorded), 'small chart')} of current over time, one a throw; {span}; verdicts: {verdicts}.",
        ),
        Picture(
            f"travel:{part.name}",
            "Current over travel, every throw of the sheet, beside the baseline (grey band: its lowest to highest)",
            f"Two charts of current over travel, lock and unlock: {span}, beside the band of the baseline.",
        ),
    ]
