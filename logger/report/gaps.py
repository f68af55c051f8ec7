"""What was done otherwise than planned, and what was not recorded: said in every report, never left to be noticed."""

from collections.abc import Callable, Sequence

from logger.core.quantities.plain import printable
from logger.core.records.records import BENCH
from logger.core.sheets.questions import unanswered
from logger.core.sheets.sheet import NOT_LOOKED
from logger.report.material import SheetPart


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
        f"{one.asked.rstrip('?').lower()}; so it doesn't speak for {one.claim_lost}"
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
