"""What the report says, in which order. The slots follow what ISO/IEC 17025:2017, 7.8.2 asks of a test report.

Pure: data in, a document out. The number is drawn from the words, so two reports that say different things never carry
the same one, and the same logbook gives the same report.
"""

from throwbook.core.quantities.text import counted, printable
from throwbook.core.records import BENCH
from throwbook.core.sheets.acceptance import who_saw
from throwbook.core.sheets.conditions import CAUTION as PRACTICE
from throwbook.core.sizing.sizing import coverage
from throwbook.core.status.latch import DO_NOT_USE
from throwbook.core.status.status_text import headline
from throwbook.core.wording import BOTH_PINS, FALL, HANDS, NOT_RECORDED, OUT_OF_USE, QUALIFIED, without_keys
from throwbook.report.document import (
    STRONG,
    Block,
    Bullets,
    Cautions,
    Document,
    Facts,
    Heading,
    Picture,
    Signatures,
    Text,
    numbered,
)
from throwbook.report.machine_and_method import machine, method
from throwbook.report.material import Material, SheetPart
from throwbook.report.sections import blanks, by_sheet, checks, deviations, revisions, services, status, trend
from throwbook.report.sheet_section import sheet_blocks

SCOPE = (
    "This report holds for the machine and the throws named in it, as they were on the days named. It says what was "
    "measured and what a person saw; it does not say that an attachment will hold."
)


def rig_report(material: Material) -> Document:
    """The whole history of one rig: its commissioning in full, every check since, the trend."""
    first = material.commissioning
    blocks = [*_front(material, list(material.sheets)), *machine(material), *method(material)]
    if first is not None:
        blocks += sheet_blocks(first, title="Commissioning", drawn=_drawn(material, first))
    newest = material.sheets[-1] if material.sheets else None
    if newest is not None and newest is not first and newest.trials:
        blocks += sheet_blocks(newest, title="Newest check", drawn=_drawn(material, newest))
    for section in (checks, trend, services, status):
        blocks += section(material)
    blocks += _rest(material, list(material.sheets))
    return _report(
        "Test report: lock pin actuator", f"rig {material.rig.name}", material.rig.name, material, blocks
    )


def sheet_report(material: Material, name: str) -> Document:
    """One sheet by itself."""
    part = material.sheet_of(name)
    blocks = [*_front(material, [part]), *machine(material), *method(material)]
    blocks += sheet_blocks(part, title="Test sheet", drawn=_drawn(material, part))
    blocks += _rest(material, [part])
    kind = part.state.sheet.kind
    return _report(
        f"Test report: {kind} sheet", f"sheet {name}, rig {material.rig.name}", name, material, blocks
    )


def _drawn(material: Material, part: SheetPart) -> bool:
    return any(one.id in material.traces for one in part.trials) or all(one.by_hand for one in part.trials)


def _front(material: Material, parts: list[SheetPart]) -> list[Block]:
    """Who, where, when; cautions; what it comes to."""
    used = [part for part in parts if part.trials]
    days = sorted({part.day for part in used})
    operators = sorted(
        {str(part.conditions.operator) for part in used if (part.conditions.operator or "").strip()}
    )
    whose = material.rig.machine
    known = (
        ("Machine", whose.description),
        ("Serial number", whose.serial_number),
        ("Owner or customer", material.owner or whose.owner),
        ("Place of the tests", material.place or whose.place),
    )
    facts: tuple[tuple[str, str], ...] = (
        ("Rig", material.rig.name),
        *((name, printable(said)) for name, said in known if said),
        ("Tests done", f"{days[0]} to {days[-1]}" if len(days) > 1 else str(days[0]) if days else "none"),
        ("Issued", str(material.issued)),
        ("Operator", printable(", ".join(operators)) or NOT_RECORDED),
        (
            "Status on the day of issue",
            headline(material.status, material.commissioned, material.next_check.sentence),
        ),
    )
    if material.gaps:
        facts += (("Not covered", coverage(material.gaps)),)
    facts += _proof(material.commissioning if material.commissioning in parts else used[-1] if used else None)
    cautions = [PRACTICE] if material.practice else []
    cautions += [OUT_OF_USE] if material.status.level == DO_NOT_USE else []
    return [
        Facts(facts, "About this report"),
        Cautions("Caution", (*cautions, FALL, HANDS, BOTH_PINS, QUALIFIED)),
        Heading("Summary"),
        *_summary(material, used),
    ]


def _proof(part: SheetPart | None) -> tuple[tuple[str, str], ...]:
    """What an acceptance leaves unproved, what it took by shared risk, and what is doubtful."""
    if part is None:
        return ()
    decided = part.state.decision
    taken = decided.statement.get("shared_risk", ()) if decided is not None else ()
    rows = (
        ("Not proved", part.acceptance.not_proved),
        ("Accepted by shared risk", taken),
        ("Doubtful", part.acceptance.doubts),
    )
    return tuple((name, printable("; ".join(said))) for name, said in rows if said)


def _summary(material: Material, parts: list[SheetPart]) -> list[Block]:
    first = material.commissioning
    items = list(material.happened)
    if first is not None and first in parts:
        items.append(_how_it_stands(first))
    elif len(parts) > 1 or not parts:
        items.append("There is no commissioning sheet: every comparison is provisional.")
    newest = parts[-1] if parts else None
    if newest is not None and newest is not first:
        items.append(_how_it_stands(newest))
    rejected = [part.name for part in parts if part.state.state == "rejected"]
    if rejected:
        items.append(f"Rejected: {', '.join(rejected)}; the reasons are under Deviations.")
    count = sum(len(part.trials) for part in parts)
    bench = sum(len(part.trials) for part in parts if part.state.sheet.kind == BENCH)
    items.append(
        f"{counted(count, 'throw')} on {counted(len(parts), 'sheet')}"
        + (f", {bench} of them on the bench." if bench else ".")
    )
    items.append(f"Next check: {material.next_check.brief}.")
    if material.next_action:
        items.append(f"Next: {material.next_action}.")
    items += [f"Seal broken: {one}" for one in material.broken_seals]
    blocks: list[Block] = [Bullets(tuple(map(printable, items)))]
    if material.gaps:
        blocks += [
            Text("Not covered by the status, until it is answered:"),
            Bullets(tuple(printable(without_keys(one.sentence)) for one in material.gaps)),
        ]
    return [*blocks, Text(SCOPE, STRONG)]


def _how_it_stands(part: SheetPart) -> str:
    """One sheet in one line: its day, how it was decided and by whom, the verdict of its figures."""
    decided = part.state.decision
    signed = f", signed {decided.signed}" if decided else ", not signed"
    kind = part.state.sheet.kind.capitalize()
    return (
        f"{kind} {part.name} ({part.day}): {part.state_said}{signed}; figures: {part.acceptance.of_figures}."
    )


def _rest(material: Material, parts: list[SheetPart]) -> list[Block]:
    """Deviations, what was not recorded, revisions, signatures."""
    odd = by_sheet(parts, deviations)
    missing = [
        f"the {name}"
        for name, there in (("place of the tests", material.place), ("owner or customer", material.owner))
        if not there
    ]
    missing += by_sheet(parts, blanks)
    blocks: list[Block] = [Heading("Deviations"), Bullets(odd) if odd else Text("None.")]
    blocks.append(Heading("Not recorded"))
    blocks.append(Bullets(tuple(map(printable, missing))) if missing else Text("Nothing is missing."))
    blocks += revisions(material)
    last = next((part for part in reversed(parts) if part.state.decision), None)
    saw = who_saw(last.seen.values(), last.state.decision.signed) if last and last.state.decision else ""
    blocks += [
        Heading("Signatures"),
        Signatures(
            (("Operator; pins seen by", printable(saw)), ("Checked by", ""), ("Received for the owner", ""))
        ),
    ]
    return blocks


def _report(title: str, subtitle: str, stem: str, material: Material, blocks: list[Block]) -> Document:
    drawings = tuple(block.key for block in blocks if isinstance(block, Picture))
    end = "End of report {number}"
    draft = Document(title, subtitle, "", tuple(blocks), end, "Report {number}", drawings=drawings)
    return numbered(draft, stem, material.issued, f"{material.software}\n", material.practice)
