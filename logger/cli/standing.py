"""How a rig's standing is printed: status, what holds it, the way down, the next check."""

from typing import TYPE_CHECKING, Any

from logger.cli import output

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from logger.core.fitting.coverage import Gap
    from logger.jobs.latch import RigStanding


def print_now(logbook: str | None, rig: str, today: "date", whole: bool = True) -> None:
    """Where the rig stands, read from the logbook; ``whole``: with the reasons and the steps of the way down."""
    from logger.jobs.latch import standing
    from logger.jobs.logbooks import opened
    from logger.jobs.rig_events import gaps_in
    from logger.jobs.way_back import steps_said

    with opened(logbook, read_only=True) as book:
        found = standing(book, rig, today)
        steps = steps_said(book, rig, found.status) if whole else None
        gaps = gaps_in(book, rig)
    print_standing(found, steps, gaps)


def print_standing(
    found: "RigStanding", steps: "Sequence[str] | None" = None, gaps: "Sequence[Gap]" = ()
) -> None:
    """The headline and what it doesn't cover; with ``steps``, those of the way down, also the reasons."""
    from logger.core.fitting.coverage import coverage_line

    _print_status(found, steps)
    if gaps:
        output.line(coverage_line(gaps), style="warn", indent=2)


def _print_status(found: "RigStanding", steps: "Sequence[str] | None") -> None:
    from logger.core.sheets.practice import CAUTION
    from logger.core.standing.status_words import (
        STYLE,
        caution,
        headline,
        pending,
        reasons,
        refused,
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
    if steps is None:
        for text in pending(found.status):
            output.line(text, indent=2)
        return
    for text in reasons(found.status):
        output.line(text, indent=2)
    for text in refused(found.status):
        output.line(text, style="warn", indent=2)
    for number, step in enumerate(steps, start=1):
        output.line(f"way down {number}: {step}", indent=2)


def print_of_no_rig(logbook: str | None, rigs: "Iterable[str]") -> None:
    """Unfinished recordings of none of these rigs: of a rig file, or of nobody knows which."""
    from logger.jobs.unfinished import of_no_rig, unfinished_recordings

    for one in of_no_rig(unfinished_recordings(logbook), rigs):
        whose = f"rig {one.rig}" if one.rig else "nobody knows which rig"
        output.line(f"{whose}: {one.sentence}: throwbook record --recover", style="warn")


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
