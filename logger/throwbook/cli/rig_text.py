"""A rig, and whether its actuator suits the mechanism, as text and as JSON."""

from typing import TYPE_CHECKING, Any

import click

from throwbook.cli import output
from throwbook.cli.diagnostics import complain
from throwbook.cli.options import logbook_of

if TYPE_CHECKING:
    from throwbook.core.machine.limits import Limit
    from throwbook.core.machine.rig_validation import RigProblem
    from throwbook.core.rig import Rig
    from throwbook.core.sizing.sizing import Sizing


@click.command(short_help="Judge an actuator against the mechanism.")
@click.argument("source", metavar="NAME-or-FILE")
@click.option("--json", "as_json", is_flag=True, help="One JSON object, SI.")
@click.pass_context
def fit(ctx: click.Context, source: str, as_json: bool) -> int:
    """Judge an actuator against the mechanism from its data sheet, before buying or after fitting.

    Checks stroke, force margin (lowest voltage, coldest day), expected time and current, stall, cable, fuse, duty
    cycle and IP rating. Lists what is missing and what cannot be assessed without it. Exit code 1: the actuator does
    not suit the mechanism.

    \b
    Example:
      throwbook rig fit quarry-loader.toml
    """
    from throwbook.core.assessment import FAIL
    from throwbook.jobs.find import judge_rig

    found, warnings = judge_rig(source, logbook_of(ctx))
    for warning in warnings:
        complain(warning)
    if as_json:
        output.json_line(fit_json(found))
    else:
        print_fit(found)
    return 1 if found.verdict == FAIL else 0


def print_fit(found: "Sizing") -> None:
    """The page a mechanic reads: cautions, what was judged, what is missing."""
    from throwbook.core.sizing.sizing import CAUTION_AT
    from throwbook.core.wording import verdict_cell

    word = verdict_cell(found.verdict)
    output.line(f"{found.rig.name}: does the actuator suit the mechanism? {word.text}", style=word.tone)
    print_problems(found.problems)
    output.line()
    for finding in found.findings:
        word = verdict_cell(finding.verdict)
        output.line(f"{word.text:<10} {finding.about}", style=word.tone)
        output.line(f"{finding.says[:1].upper()}{finding.says[1:]}.", indent=11)
        if finding.do:
            output.line(f"-> {finding.do}", indent=11)
        if finding.about in CAUTION_AT:
            output.line(CAUTION_AT[finding.about], style="heading", indent=11)
    if found.missing:
        output.line()
        output.line("Not in the rig file. Cannot be assessed without it:", style="heading")
        for key, leaves in found.missing:
            output.line(f"{key}: {leaves}", indent=2)
    if found.assumed:
        output.line(f"Assumed instead: {'; '.join(found.assumed)}.", indent=2)
    output.line()
    output.line("Not on any data sheet:", style="heading")
    for unknown in found.unknown:
        output.line(unknown, indent=2)
    output.line()
    for caution in found.cautions:
        output.line(caution, style="heading")


def print_problems(problems: "tuple[RigProblem, ...]") -> None:
    """Each inconsistency with its key and what to do."""
    for problem in problems:
        word, style = ("WRONG", "bad") if problem.grave else ("odd", "warn")
        output.line(f"{word:<10} {problem.key}: {problem.what}", style=style)
        output.line(f"-> {problem.do}", indent=11)


def fit_json(found: "Sizing") -> dict[str, Any]:
    """The same as one JSON object; ``NAME_low`` and ``NAME_high`` are the ends of a figure's 95 % interval, ``NAME_u`` its wider
    side; null where that isn't known."""
    from throwbook.core.machine.expected_throw import travel_m
    from throwbook.core.sizing.sizing import CAUTION_AT

    record: dict[str, Any] = {"rig": found.rig.name, "verdict": found.verdict}
    for name, figure in found.numbers.items():
        record[name] = None if figure is None else figure.value
        for part in ("u", "low", "high"):
            record[f"{name}_{part}"] = None if figure is None else getattr(figure, part)
    return record | {
        "expected_travel_m": travel_m(found.rig),
        "findings": found.findings,
        "problems": found.problems,
        "missing": [{"key": key, "leaves_unknown": leaves} for key, leaves in found.missing],
        "assumed": found.assumed,
        "unknown": found.unknown,
        "limits": found.limits,
        "cautions": (*found.cautions, *CAUTION_AT.values()),
    }


def print_rig(rig: "Rig") -> None:
    """Every value in the rig's own unit system, its limits with their source, and what doesn't agree."""
    from throwbook.core.machine.rig_validation import problems
    from throwbook.core.wording import EXPECTED_TIME, LIMITS
    from throwbook.files.rig_file import SECTIONS

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
        [[LIMITS[name].sentence, _limit(limit, rig.units), limit.limit_from] for name, limit in _limits(rig)],
    )
    output.line(f"{EXPECTED_TIME.sentence.capitalize()}: {EXPECTED_TIME.means}.", style="quiet")


def rig_json(rig: "Rig") -> dict[str, Any]:
    """The rig in SI, its limits and what doesn't agree."""
    from throwbook.core.machine.rig_validation import problems

    found = problems(rig)
    grave = any(problem.grave for problem in found)
    return {
        "rig": rig.name,
        "units": rig.units,
        "lock": rig.lock,
        "actuator": rig.actuator,
        "wiring": rig.wiring,
        "board": rig.board,
        "machine": rig.machine,
        "limits": {} if grave else dict(_limits(rig)),
        "problems": found,
    }


def _limits(rig: "Rig") -> "list[tuple[str, Limit]]":
    from throwbook.core.machine.limits import limits_for

    return list(limits_for(rig).items())


def _limit(limit: "Limit", units: str) -> str:
    from throwbook.core.machine.limits import LIMITS, MAX
    from throwbook.core.quantities.units import show_limit

    kind = next(rule.kind for rule in LIMITS.values() if rule.unit == limit.unit)
    return (
        f"{'at most' if limit.side == MAX else 'at least'} {show_limit(limit.value, kind, units, limit.side)}"
    )


def _shown(value: Any, kind: str, units: str) -> str:
    from throwbook.core.quantities.units import KINDS, show

    if isinstance(value, bool):
        return "yes" if value else "no"
    return show(value, kind, units) if kind in KINDS else str(value)
