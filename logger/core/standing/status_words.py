"""How a rig's status is said, once for command line, screen and report."""

from logger.core.cautions import OUT_OF_USE
from logger.core.standing.status import DO_NOT_USE, IN_SERVICE, LEVELS, NEED_SAID, Status, worst

STYLE = {"in service": "good", "watch": "warn", "restricted": "warn", "do not use": "bad"}
"""Status: one of the styles of ``cli.output``; colour only repeats the word."""

DONE = "done: "
"""A step of the way down that is done begins so."""

NEXT_STEP = {
    "cause found": "find the cause and write it down",
    "moved": "put the throw down to the rig it is of: throwbook sheet reassign",
    "repair": "log the repair: throwbook service add",
    "recommissioned": "commission anew in full, planned after the repair: throwbook sheet plan",
    "signed": "sign it: throwbook order clear",
    "reason": "give a reason and sign it: throwbook order clear",
}


def headline(status: Status, commissioned: bool, next_check: str) -> str:
    """The status in one line."""
    words = status.level.upper() if status.level == DO_NOT_USE else status.level
    new = "" if commissioned else "; not commissioned: no accepted commissioning sheet"
    if not commissioned and status.level == IN_SERVICE:
        words, new = "not commissioned", ": no accepted commissioning sheet"
    due = "" if next_check == "no next check set" else f"; {next_check}"
    return f"{words}{new}{due}"


def short(status: Status, commissioned: bool) -> str:
    """The status in a cell of a table: a rig that was never commissioned isn't in service."""
    return status.level if commissioned or status.level != IN_SERVICE else "not commissioned"


def reasons(status: Status) -> list[str]:
    """What holds the rig there, worst first: same causes together, each with its first id."""
    grouped: dict[tuple[str, str], list[str]] = {}
    for one in status.open:
        grouped.setdefault((one.level, one.sentence), []).append(one.ids[0][:8])
    held = [f"{level}: {sentence} [{', '.join(ids)}]" for (level, sentence), ids in grouped.items()]
    return held + pending(status)


def pending(status: Status) -> list[str]:
    """What isn't judged yet and holds the rig until it is."""
    return list(dict.fromkeys(f"{one.level}: {one.sentence}" for one in status.pending))


def way_down(status: Status) -> list[str]:
    """The steps that bring it down, in order; empty in service."""
    if status.level == LEVELS[0]:
        return []
    highest = worst(one.level for one in status.open)
    needs = list(dict.fromkeys(need for one in status.open if one.level == highest for need in one.needs))
    steps = [NEXT_STEP["reason"]] if "reason" in needs else [NEXT_STEP[need] for need in needs]
    return judging_first(status) + steps


def step_in_words(step: str) -> str:
    """A step that isn't done without the command that does it."""
    return step.partition(": throwbook ")[0]


def judging_first(status: Status) -> list[str]:
    """The steps that judge what isn't judged yet: they come before every other."""
    return list(dict.fromkeys(one.step for one in status.pending))


def refused(status: Status) -> list[str]:
    """Clearing orders that don't count, and why."""
    return [
        f"order {one.order[:8]} doesn't clear {one.raised[:8]}: {', '.join(one.because)}"
        for one in status.refused
    ]


def caution(status: Status) -> str:
    """What stands beside a rig that is out of use; empty otherwise."""
    return OUT_OF_USE if status.level == DO_NOT_USE else ""


__all__ = [
    "NEED_SAID",
    "NEXT_STEP",
    "STYLE",
    "caution",
    "headline",
    "judging_first",
    "pending",
    "reasons",
    "refused",
    "short",
    "step_in_words",
    "way_down",
]
