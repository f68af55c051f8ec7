"""How a plan and a sheet are printed."""

from typing import TYPE_CHECKING, Any

from throwbook.cli import output
from throwbook.core.quantities.text import counted, for_shell
from throwbook.core.quantities.units import show_rest
from throwbook.core.records import SEEN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from throwbook.core.records import SheetState
    from throwbook.core.sheets.acceptance import Acceptance
    from throwbook.core.sheets.sheet import Plan
    from throwbook.core.status.latch import Status
    from throwbook.jobs.sheets import SheetView

FIGURES_SHOWN = ("travel_time_s", "run_current_a", "peak_run_current_a")
SHOWN = ("number", "way", *FIGURES_SHOWN, "shown verdict", *SEEN, "remark")


def print_plan(state: "SheetState", made: "Plan", reaches: "Sequence[str]" = ()) -> None:
    """What to do, with the cautions first; ``reaches``: what readings by hand can be accepted."""
    from throwbook.core.wording import SHOWN_AT

    if state.sheet.kind != "bench":
        for text in SHOWN_AT["commissioning"]:
            output.line(text, style="warn")
    output.line(f"Sheet {state.name} ({state.sheet.kind}) is planned.", style="heading")
    output.line(
        f"{made.throws_each_way} lock and {counted(made.throws_each_way, 'unlock throw')}, rest at least {show_rest(made.rest_s)} between them "
        f"(duty cycle: {made.rest_from})."
    )
    for text in made.look_at:
        output.line(f"check: {text}", indent=2)
    for text in reaches[:1]:
        output.line(text)
    for text in reaches[1:]:
        output.line(text, indent=2)
    name = for_shell(state.name)
    output.line(
        f"Next: throw, and record the throws (record, import or enter with --sheet {name}). Then: throwbook sheet show {name}"
    )
    if made.answers:
        held = counted(len(made.answers), "open order")
        if state.sheet.kind == "commissioning":
            output.line(
                f"It is planned after the {held} of this rig. Only a signed clearance clears an order."
            )
        else:
            output.line(f"The {held} of this rig stay open: a {state.sheet.kind} sheet clears none.")


def print_status(rig: str, found: "Status") -> None:
    """The status after something changed it."""
    from throwbook.core.status.status_text import STYLE, caution, reasons

    words = found.level if found.open else "no open order"
    output.line(f"{rig}: {words}", style=STYLE[found.level])
    for text in reasons(found):
        output.line(text, indent=2)
    if caution(found):
        output.line(caution(found), style="bad", indent=2)
        output.line(f"Steps to clear it: throwbook status {for_shell(rig)}", indent=2)


def print_sheet(found: "SheetView") -> None:
    """One sheet from top to bottom."""
    from throwbook.core.listing import THROWS, Listing, state_said
    from throwbook.core.sheets.conditions import conditions_from, said, with_air

    state = found.state
    said_state = state_said(state.state, bool(found.said_since))
    output.line(f"Sheet {state.name} ({state.sheet.kind}): {said_state}", style="heading")
    output.line(f"Planned {state.sheet.at:%Y-%m-%d %H:%M} by {state.sheet.by.rstrip('.')}.")
    asked = f"{found.plan.throws_each_way} throws each way, rest at least {show_rest(found.plan.rest_s)} ({found.plan.rest_from})"
    output.line(f"Plan: {asked}")
    asked_and_read = with_air(conditions_from(state.answers), (one.air_c for one in found.trials))
    for question, told in said(asked_and_read, found.units).items():
        output.line(f"{question} {told}", indent=2)
    if found.trials:
        shown = Listing.of(THROWS, SHOWN)
        output.table(shown.heads, [shown.row(one) for one in found.throws], right=shown.right)
    for one in found.trials:
        for pin, photograph in found.photographs.get(one.id, {}).items():
            output.line(f"throw {one.position}, photograph of the {pin} pin: {photograph.file}", indent=2)
    for text in found.withdrawn:
        output.line(text, style="warn")
    for text in found.said_since:
        output.line(text, style="bad")
    _print_decision(found)


def _print_decision(found: "SheetView") -> None:
    decision = found.state.decision
    if decision is not None:
        text = decision.statement.get("statement") or decision.reason
        sealed = "sealed" if found.state.sealed else "NOT SEALED"
        output.line(f"{decision.outcome}, signed {decision.signed}, {sealed}. {text}")
        return
    if found.acceptance.missing:
        from throwbook.core.sheets.acceptance import same_together

        output.line("Still missing for an acceptance:")
        for text in same_together(found.acceptance.missing, found.trials):
            output.line(text, indent=2)
    if found.rig_changed:
        output.line(f"Judge it again: throwbook sheet rejudge {for_shell(found.state.name)}", style="warn")
    for text in found.acceptance.shared_risk:
        output.line(f"Only by shared risk (--shared-risk yes): {text}.", style="warn")
    for text in blanks_said(found.acceptance):
        output.line(text, style="warn")


def print_next(logbook: str | None, state: "SheetState") -> None:
    """What an open sheet still needs, while it can be given."""
    from throwbook.core.records import BENCH, OPEN, SPOT
    from throwbook.core.sheets.acceptance import same_together
    from throwbook.core.sheets.acceptance_rules import NOBODY_SIGNED
    from throwbook.jobs.sheets import view

    if state.state != OPEN or state.sheet.kind in (BENCH, SPOT):
        return
    shown = view(logbook, state.name)
    found = shown.acceptance
    for text in found.doubts:
        output.line(f"Doubtful: {text}.", style="warn")
    if found.because:
        output.line(f"Before it is signed: {'; '.join(found.because)}: throwbook sheet answer {state.name}")
    lacking = same_together([text for text in found.missing if text != NOBODY_SIGNED], shown.trials)
    if not lacking:
        output.line(f"Next: sign it: throwbook sheet accept {state.name}")
        return
    more = f", and {len(lacking) - 1} more" if len(lacking) > 1 else ""
    output.line(f"Still missing for an acceptance: {lacking[0]}{more} (throwbook sheet show {state.name})")


def blanks_said(found: "Acceptance") -> list[str]:
    """What unanswered questions cost, in a line or two."""
    said = []
    if found.because:
        said.append(
            f"At best '{found.verdict}' (this sheet, not the rig's status): {'; '.join(found.because)}."
        )
    if found.claims_lost:
        said.append(f"Not recorded, so not covered: {'; '.join(found.claims_lost)}.")
    if found.not_proved:
        said.append(f"Not proved, because nobody could read it: {', '.join(found.not_proved)}.")
    said += [f"Signs to watch: {text}." for text in found.alerts]
    return [*said, *(f"Doubtful: {text}." for text in found.doubts)]


def sheet_json(found: "SheetView") -> dict[str, Any]:
    """One JSON object; stable keys, SI units."""
    from dataclasses import asdict

    from throwbook.files.tables import assessment_record
    from throwbook.jobs.meters import described

    decision = found.state.decision
    return {
        "sheet": found.state.name,
        "id": found.state.sheet.id,
        "rig": found.state.sheet.rig,
        "kind": found.state.sheet.kind,
        "state": found.state.state,
        "planned_at": found.state.sheet.at.isoformat(),
        "plan": asdict(found.plan),
        "answers": dict(found.state.answers),
        "meters": [described(one) for one in found.meters],
        "throws": [
            {
                "throw": one.position,
                "trial": one.id,
                "by_hand": one.by_hand,
                "left_out": one.left_out or None,
                "seen": asdict(found.seen[one.id]),
                "photographs": [asdict(photo) for photo in found.photographs.get(one.id, {}).values()],
                **assessment_record(one.assessment),
            }
            for one in found.trials
        ],
        "taken_back": list(found.withdrawn),
        "said_since": list(found.said_since),
        "missing": list(found.acceptance.missing),
        "verdict": found.acceptance.verdict,
        "verdict_because": list(found.acceptance.because),
        "claims_lost": list(found.acceptance.claims_lost),
        "doubts": list(found.acceptance.doubts),
        "not_proved": list(found.acceptance.not_proved),
        "shared_risk": list(found.acceptance.shared_risk),
        "shared_risk_chosen": bool(decision and decision.statement.get("shared_risk")),
        "alerts": list(found.acceptance.alerts),
        "statement": decision.statement.get("statement") if decision else None,
        "signed": decision.signed if decision else None,
        "sealed": found.state.sealed,
        "status": found.status.level,
    }
