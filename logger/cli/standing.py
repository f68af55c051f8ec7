"""How a rig's standing is printed: status, what holds it, the way down, the next check."""

from typing import TYPE_CHECKING, Any

from logger.cli import output

if TYPE_CHECKING:
    from logger.jobs.latch import RigStanding


def print_standing(found: "RigStanding", whole: bool = True) -> None:
    """The headline; with ``whole`` also the reasons and the way down."""
    from logger.core.standing.status_words import STYLE, caution, headline, reasons, refused, way_down

    style = STYLE[found.status.level]
    output.line(
        f"{found.rig}: {headline(found.status, found.commissioned, found.next_check.sentence)}", style=style
    )
    warning = caution(found.status)
    if warning:
        output.line(warning, style="bad", indent=2)
    if not whole:
        return
    for text in reasons(found.status):
        output.line(text, indent=2)
    for text in refused(found.status):
        output.line(text, style="warn", indent=2)
    for number, step in enumerate(way_down(found.status), start=1):
        output.line(f"way down {number}: {step}", indent=2)


def standing_json(found: "RigStanding") -> dict[str, Any]:
    """One JSON object; stable keys."""
    check = found.next_check
    return {
        "rig": found.rig,
        "status": found.status.level,
        "commissioned": found.commissioned,
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
