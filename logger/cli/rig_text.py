"""What a rig file says, as a table or as JSON: for ``rig show``."""

from typing import TYPE_CHECKING, Any

from logger.cli import output

if TYPE_CHECKING:
    from logger.core.machine.limits import Limit
    from logger.core.rig import Rig


def print_rig(rig: "Rig") -> None:
    """Every value in the rig's own unit system, its limits with their source, and what doesn't agree."""
    from logger.cli.rig_fit import print_problems
    from logger.core.machine.rig_check import problems
    from logger.files.rig_values import SECTIONS

    found = problems(rig)
    output.line(f"Rig {rig.name}", style="heading")
    rows = []
    for section, keys in SECTIONS.items():
        part = getattr(rig, section)
        for key, field, kind, _ in keys:
            value = None if part is None else getattr(part, field)
            if value is not None:
                rows.append([f"{section}.{key}", _shown(value, kind, rig.units)])
    output.table(["from the rig file", ""], rows)
    print_problems(found)
    if any(problem.grave for problem in found):
        return
    output.line()
    output.table(
        ["limit", "", "from"],
        [
            [name.replace("_", " "), _limit(limit, rig.units), limit.limit_from]
            for name, limit in _limits(rig)
        ],
    )
    output.line(
        "Time limits are shares of the time that the measured voltage and current ask for.", style="quiet"
    )


def rig_json(rig: "Rig") -> dict[str, Any]:
    """The rig in SI, its limits and what doesn't agree."""
    from logger.core.machine.rig_check import problems

    found = problems(rig)
    grave = any(problem.grave for problem in found)
    return {
        "rig": rig.name,
        "units": rig.units,
        "lock": rig.lock,
        "actuator": rig.actuator,
        "wiring": rig.wiring,
        "board": rig.board,
        "limits": {} if grave else dict(_limits(rig)),
        "problems": found,
    }


def _limits(rig: "Rig") -> "list[tuple[str, Limit]]":
    from logger.core.machine.limits import limits_for

    return list(limits_for(rig).items())


def _limit(limit: "Limit", units: str) -> str:
    from logger.core.machine.limits import LIMITS, MAX
    from logger.core.quantities.units import show_limit

    kind = next(rule.kind for rule in LIMITS.values() if rule.unit == limit.unit)
    return (
        f"{'at most' if limit.side == MAX else 'at least'} {show_limit(limit.value, kind, units, limit.side)}"
    )


def _shown(value: Any, kind: str, units: str) -> str:
    from logger.core.quantities.unit_table import KINDS
    from logger.core.quantities.units import show

    if isinstance(value, bool):
        return "yes" if value else "no"
    return show(value, kind, units) if kind in KINDS else str(value)
