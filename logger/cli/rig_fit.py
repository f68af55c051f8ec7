"""``rig fit``: does the actuator suit the mechanism, before money is spent and after."""

from typing import TYPE_CHECKING, Any

import click

from logger.cli import output
from logger.cli.diagnostics import complain
from logger.cli.shared import logbook_of

if TYPE_CHECKING:
    from logger.core.fitting.fit import Fit
    from logger.core.machine.rig_numbers import Problem


@click.command(short_help="Judge an actuator against the mechanism.")
@click.argument("source", metavar="NAME-or-FILE")
@click.option("--json", "as_json", is_flag=True, help="One JSON object, SI.")
@click.pass_context
def fit(ctx: click.Context, source: str, as_json: bool) -> int:
    """Judge an actuator against the mechanism from its data sheet, before buying or after fitting.

    Stroke, force margin at the worst voltage and cold, expected time and current, stall, cable, fuse, duty cycle,
    protection; what is missing and what that leaves unknown. Exit code 1: it doesn't fit.

    \b
    Example:
      throwbook rig fit quarry-loader.toml
    """
    from logger.core.assessment import FAIL
    from logger.jobs.fitting import judge_rig

    found, warnings = judge_rig(source, logbook_of(ctx))
    for warning in warnings:
        complain(warning)
    if as_json:
        output.json_line(fit_json(found))
    else:
        print_fit(found)
    return 1 if found.verdict == FAIL else 0


def print_fit(found: "Fit") -> None:
    """The page a mechanic reads: cautions, what was judged, what is missing."""
    from logger.cli.assess_text import VERDICT_WORDS
    from logger.core.fitting.fit import CAUTION_AT

    word, style = VERDICT_WORDS[found.verdict]
    output.line(f"{found.rig.name}: does the actuator suit the mechanism? {word}", style=style)
    print_problems(found.problems)
    output.line()
    for finding in found.findings:
        word, style = VERDICT_WORDS[finding.verdict]
        output.line(f"{word:<10} {finding.about}", style=style)
        output.line(f"{finding.says[:1].upper()}{finding.says[1:]}.", indent=11)
        if finding.do:
            output.line(f"-> {finding.do}", indent=11)
        if finding.about in CAUTION_AT:
            output.line(CAUTION_AT[finding.about], style="heading", indent=11)
    if found.missing:
        output.line()
        output.line("Not in the rig file, and what that leaves unknown:", style="heading")
        for key, leaves in found.missing:
            output.line(f"{key}: {leaves}", indent=2)
    if found.assumed:
        output.line(f"Assumed in their place: {'; '.join(found.assumed)}.", indent=2)
    output.line()
    output.line("No data sheet tells:", style="heading")
    for unknown in found.unknown:
        output.line(unknown, indent=2)
    output.line()
    for caution in found.cautions:
        output.line(caution, style="heading")


def print_problems(problems: "tuple[Problem, ...]") -> None:
    """Each inconsistency with its key and what to do."""
    for problem in problems:
        word, style = ("WRONG", "bad") if problem.grave else ("odd", "warn")
        output.line(f"{word:<10} {problem.key}: {problem.what}", style=style)
        output.line(f"-> {problem.do}", indent=11)


def fit_json(found: "Fit") -> dict[str, Any]:
    """The same as one JSON object; ``NAME_low`` and ``NAME_high`` are the ends of a figure's 95 % interval, ``NAME_u`` its wider
    side; null where that isn't known."""
    from logger.core.fitting.fit import CAUTION_AT
    from logger.core.machine.expected_throw import travel_m

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
