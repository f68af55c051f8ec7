"""How a rig's standing is printed: status, what holds it, the way down, the next check."""

from typing import TYPE_CHECKING, Any

from logger.cli import output
from logger.core.quantities.plain import for_shell

if TYPE_CHECKING:
    from collections.abc import Iterable

    from logger.jobs.latch import RigStanding
    from logger.jobs.way_back import WayBack


def print_standing(found: "RigStanding", whole: bool = True, way: "WayBack | None" = None) -> None:
    """The headline; with ``whole`` also the reasons and the way down, with ``way`` how far it has come."""
    from logger.core.sheets.practice import CAUTION
    from logger.core.standing.status_words import (
        STYLE,
        caution,
        headline,
        pending,
        reasons,
        refused,
        way_down,
    )

    style = STYLE[found.status.level]
    if found.practice:
        output.line(CAUTION, style="warn")
    output.line(
        f"{found.rig}: {headline(found.status, found.commissioned, found.next_check.sentence)}", style=style
    )
    warning = caution(found.status)
    if warning:
        output.line(warning, style="bad", indent=2)
    if not whole:
        for text in pending(found.status):
            output.line(text, indent=2)
        return
    for text in reasons(found.status):
        output.line(text, indent=2)
    for text in refused(found.status):
        output.line(text, style="warn", indent=2)
    steps = way_down(found.status) if way is None else way_gone(found.rig, way)
    for number, step in enumerate(steps, start=1):
        output.line(f"way down {number}: {step}", indent=2)


def print_of_no_rig(logbook: str | None, rigs: "Iterable[str]") -> None:
    """Unfinished recordings of none of these rigs: of a rig file, or of nobody knows which."""
    from logger.jobs.unfinished import of_no_rig, unfinished_recordings

    for one in of_no_rig(unfinished_recordings(logbook), rigs):
        whose = f"rig {one.rig}" if one.rig else "nobody knows which rig"
        output.line(f"{whose}: {one.sentence}: throwbook record --recover", style="warn")


def way_gone(rig: str, way: "WayBack") -> list[str]:
    """The steps of the way down, the done ones with what did them, the last one as it is to be typed."""
    from logger.core.standing.status import REASON, RECOMMISSIONED, SIGNED
    from logger.core.standing.status_words import NEXT_STEP, judging_first

    needs = [step.need for step in way.steps]
    said = judging_first(way.status)
    for step in way.steps:
        if step.done:
            said.append(f"done: {step.need}: {step.with_what}")
        elif step.need == RECOMMISSIONED and way.open_sheet is not None:
            name = for_shell(way.open_sheet.name)
            said.append(f"commission anew in full: {name} is planned: throwbook sheet show {name}")
        elif step.need == REASON or (step.need == SIGNED and REASON not in needs):
            command = _clear_command(rig, way)
            said.append(f"{NEXT_STEP[step.need].partition(':')[0]}: {command}")
        elif step.need != SIGNED:
            said.append(NEXT_STEP[step.need])
    return said


def _clear_command(rig: str, way: "WayBack") -> str:
    from logger.core.standing.status import RECOMMISSIONED

    words = ["throwbook order clear", for_shell(rig), "--all", "--because TEXT"]
    asked = RECOMMISSIONED in [step.need for step in way.steps]
    if asked and way.sheet is not None:
        words.append("--cause-found TEXT")
        words += [f"--service {way.repair.id[:8]}"] if way.repair is not None else []
        words.append(f"--sheet {for_shell(way.sheet.name)}")
    return " ".join([*words, "--signed NAME"])


def standing_json(found: "RigStanding") -> dict[str, Any]:
    """One JSON object; stable keys."""
    from logger.core.cautions import BOTH_PINS
    from logger.core.standing.status_words import headline

    check = found.next_check
    return {
        "rig": found.rig,
        "status": found.status.level,
        "commissioned": found.commissioned,
        "practice": found.practice,
        "sentence": headline(found.status, found.commissioned, found.next_check.sentence),
        "caution": BOTH_PINS,
        "open": [
            {
                "ids": list(one.ids),
                "cause": one.cause,
                "level": one.level,
                "sentence": one.sentence,
                "needs": list(one.needs),
            }
            for one in found.status.open
        ],
        "pending": [
            {"level": one.level, "sentence": one.sentence, "step": one.step, "journal": one.journal or None}
            for one in found.status.pending
        ],
        "not_counting": [
            {"order": one.order, "raised": one.raised, "because": list(one.because)}
            for one in found.status.refused
        ],
        "next_check": {
            "on": check.on.isoformat() if check.on else None,
            "machine_hours_h": check.hours_h,
            "cycles": check.cycles,
            "overdue": check.overdue,
            "sentence": check.sentence,
        },
    }
