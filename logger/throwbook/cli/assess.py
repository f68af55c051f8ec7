"""The command assess, and how judged throws are shown: one table, then each throw that didn't pass with its reason."""

from collections import Counter
from collections.abc import Callable, Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from throwbook.cli.options import (
    ask_or_refuse,
    ask_unclear,
    column_factors,
    unclear_answers,
    unit_options,
)
from throwbook.cli.output import line, table, width
from throwbook.core.assessment import (
    FAIL,
    INFO,
    PASS,
    UNDECIDED,
    WATCH,
    Assessment,
    Check,
    Sign,
    sign_text,
    worst_of,
)
from throwbook.core.diagnosis.repeatability import SPREAD
from throwbook.core.machine.limits import MAX, looser_limits
from throwbook.core.quantities.rounding import (
    NOT_KNOWN,
    limit_text,
    measured_text,
    percent_text,
)
from throwbook.core.wording import FIGURES, LIMITS, SHOWN_AT, VERDICTS, Cell, verdict_cell
from throwbook.files.trace_file import TraceLimits
from throwbook.jobs.assess import AssessedFiles

if TYPE_CHECKING:
    from throwbook.core.diagnosis.column_units import OddUnit

EXAMPLE = """\b
Examples:
  throwbook assess --rig quarry-loader.toml --baseline baseline/ lock-01.csv
  throwbook assess --rig quarry-loader.toml --json sample-runs/*.csv
  throwbook assess --rig quarry-loader.toml --direction lock \\
      --column time=T --column current="I [mA]" bench.csv
"""


@click.command(epilog=EXAMPLE)
@click.option("--rig", "rig_source", required=True, metavar="NAME-or-FILE.toml", help="The rig to judge by.")
@click.option(
    "--baseline",
    multiple=True,
    metavar="FILE",
    help="A baseline trace, or a folder of them; repeat for more. Each direction gets its own baseline. A rig of the logbook has its own.",
)
@click.option(
    "--column",
    multiple=True,
    metavar="QUANTITY=NAME",
    help='Column of another program\'s file: time=NAME, current="NAME [mA]", voltage=NAME.',
)
@click.option(
    "--direction",
    type=click.Choice(["lock", "unlock"]),
    help="Direction of the throw, for files that do not give it.",
)
@unit_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, in the order of the files.")
@click.option("--plot", metavar="FILE", help="Draw into FILE: .png or .svg for one trace, .pdf for many.")
@click.option(
    "--max-rows",
    type=click.IntRange(min=1),
    default=TraceLimits.rows,
    show_default=True,
    help="Refuse files with more rows.",
)
@click.option(
    "--max-mib",
    type=click.IntRange(min=1),
    default=TraceLimits.bytes // 2**20,
    show_default=True,
    help="Refuse files beyond this size [MiB].",
)
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.pass_context
def assess(ctx: click.Context, /, **given: Any) -> int:
    """Judge recorded throws: figures with their uncertainty, signs, likely causes, a verdict.

    Each FILE is one record. A folder means the .csv files in it. In a record of several movements each is judged
    separately. Exit code 1: at least one throw failed. With --json it is 0 for any verdict.
    """
    from throwbook.cli import output
    from throwbook.cli.diagnostics import progress
    from throwbook.jobs.assess import TraceReading, assess_files
    from throwbook.jobs.find import find_rig

    reading = TraceReading(
        given["column"],
        given["direction"],
        TraceLimits(given["max_rows"], given["max_mib"] * 2**20),
        column_factors(given),
        answers=unclear_answers(given),
        ask=ask_unclear,
        settle=_settle_odd(),
    )
    source = find_rig(given["rig_source"], ctx.obj["logbook"])
    with progress("judging") as report:
        judged = assess_files(
            given["files"],
            source.rig,
            given["baseline"],
            reading=reading,
            known_baselines=source.baselines,
            plot=given["plot"],
            progress=report,
        )
    if given["as_json"]:
        from throwbook.files.tables import assessment_record

        for assessment in judged.assessments:
            output.json_line(assessment_record(assessment))
        return 0
    show(judged, given["plot"])
    return 1 if any(assessment.verdict == "fail" for assessment in judged.assessments) else 0


def _settle_odd() -> "Callable[[OddUnit, str], None]":
    """At a terminal, ask once for each quantity whether a column is as it was read."""
    from throwbook.files.column_names import QUANTITIES

    asked: set[str] = set()

    def settle(odd: "OddUnit", file: str) -> None:
        if odd.quantity not in asked:
            ask_or_refuse(odd.what, file, f"--{odd.quantity}-unit {QUANTITIES[odd.quantity][1]}")
            asked.add(odd.quantity)

    return settle


Names = dict[tuple[str, int], str]
"""By file and movement."""
MOST_NAMES = 3
NARROW = 110
"""Columns below which the table has no room for what was noticed."""


def show(judged: AssessedFiles, plot: str | None) -> None:
    """Print everything about ``judged``."""
    names = _names(judged.assessments)
    _show_head(judged)
    line()
    _show_table(judged.assessments, names)
    _show_records(judged.assessments, names)
    _show_spread(judged)
    _show_notes(judged.assessments, names)
    told = [assessment for assessment in judged.assessments if assessment.verdict != PASS]
    if told:
        line()
        for caution in SHOWN_AT["assess"]:
            line(caution, style="heading")
    for assessment in told:
        line()
        _show_reason(assessment, names[_key(assessment)])
    line()
    line(_summary(judged.assessments))
    if not told:
        line(SHOWN_AT["sighting"][-1])
    if plot:
        line(f"Drawn into {plot}.")


def _show_table(assessments: Sequence[Assessment], names: Names) -> None:
    """One row a throw; on a narrow terminal the signs stand below, file by file."""
    time, run = FIGURES["travel_time_s"].column, FIGURES["run_current_a"].column
    headings = ["file", "direction", "verdict", time, run, LIMITS["run_current"].column, "signs"]
    rows = [_row(assessment, names) for assessment in assessments]
    narrow = (width() or NARROW) < NARROW
    if narrow:
        table(headings[:-1], [row[:-1] for row in rows], right=(3, 4, 5))
        for assessment in assessments:
            noticed = _noticed(assessment)
            if noticed != NOT_KNOWN:
                line(f"{names[_key(assessment)]}: {noticed}", hang=2)
    else:
        table(headings, rows, right=(3, 4, 5))


def _show_head(judged: AssessedFiles) -> None:
    rig, actuator = judged.rig, judged.rig.actuator
    line(
        f"Rig {rig.name}: {actuator.voltage_v:g} V, stroke {actuator.stroke_m * 1000:.0f} mm,"
        f" full-load current {actuator.full_load_current_a:.3g} A",
        style="heading",
    )
    for what in looser_limits(rig).values():
        line(f"{what[:1].upper()}{what[1:]}: no sheet can be accepted with it.", style="warn")
    if not judged.baselines:
        line(
            "Judged by the data sheet alone. What has changed shows only against a baseline (reference throws of this rig)."
        )
    for direction, baseline in judged.baselines.items():
        word = "provisional, " if baseline.provisional else ""
        line(f"Baseline for {direction}: {word}{baseline.n} throw{'s' if baseline.n > 1 else ''}.")


def _key(assessment: Assessment) -> tuple[str, int]:
    return assessment.file, assessment.movement


def _names(assessments: Sequence[Assessment]) -> Names:
    """What each movement is called: its file, with its number where the file holds more than one."""
    short = _short_names([assessment.file for assessment in assessments])
    return {
        _key(each): short[each.file] + (f"#{each.movement}" if each.movements > 1 else "")
        for each in assessments
    }


def _show_records(assessments: Sequence[Assessment], names: Names) -> None:
    """Files of several movements: how many, and the worst verdict, which is the file's."""
    for _, group in groupby(assessments, key=lambda each: each.file):
        movements = list(group)
        if len(movements) > 1:
            worst = worst_of(movements)
            name = names[_key(movements[0])].removesuffix(f"#{movements[0].movement}")
            line(
                f"{name}: {len(movements)} movements, the worst is {VERDICTS[worst.verdict].column}.", hang=2
            )


def _short_names(files: Sequence[str]) -> dict[str, str]:
    """Files without their folders, unless two would then look the same."""
    different = set(files)
    short = {file: Path(file).name for file in different}
    return short if len(set(short.values())) == len(different) else {file: file for file in different}


def _row(assessment: Assessment, names: Names) -> list[str | Cell]:
    figures = assessment.figures
    return [
        names[_key(assessment)],
        assessment.direction,
        verdict_cell(assessment.verdict),
        measured_text(figures.travel_time_s, "s", most_decimals=2),
        measured_text(figures.run_current_a, "A"),
        _limit_of("run_current", assessment),
        _noticed(assessment),
    ]


def _limit_of(name: str, assessment: Assessment) -> str:
    check = next((check for check in assessment.checks if check.name == name), None)
    return NOT_KNOWN if check is None else limit_text(check.limit, check.side, check.unit)


def _noticed(assessment: Assessment) -> str:
    if not assessment.usable:
        return assessment.unusable_because
    told = [sign_text(sign) for sign in assessment.signs if sign.level != INFO]
    told += [
        _check_words(check)
        for check in assessment.checks
        if check.decision in (FAIL, UNDECIDED, WATCH) and check.name != SPREAD
    ]
    told += [f"{sign_text(sign)} (info)" for sign in assessment.signs if sign.level == INFO]
    return ", ".join(told) or NOT_KNOWN


def _check_words(check: Check) -> str:
    words = LIMITS[check.name].figure.sentence
    if check.decision == UNDECIDED:
        return f"{words} close to its limit"
    return f"{words} {'over' if check.side == MAX else 'under'} its limit"


def _show_spread(judged: AssessedFiles) -> None:
    """How far equal throws differ, once per direction."""
    for direction in dict.fromkeys(assessment.direction for assessment in judged.assessments):
        checks = [
            check
            for assessment in judged.assessments
            if assessment.direction == direction
            for check in assessment.checks
            if check.name == SPREAD and check.measured is not None
        ]
        if checks and checks[0].measured is not None:
            over = (
                " (over it: the throws differ from each other)" if checks[0].decision in (FAIL, WATCH) else ""
            )
            line(
                f"{LIMITS[SPREAD].figure.sentence.capitalize()}, {direction} throws: {percent_text(checks[0].measured.value)};"
                f" limit {percent_text(checks[0].limit)}{over}."
            )


def _show_notes(assessments: Sequence[Assessment], names: Names) -> None:
    """Each note once, with the files it belongs to unless it belongs to all."""
    files: dict[str, list[str]] = {}
    for assessment in assessments:
        for note in assessment.notes:
            files.setdefault(note, []).append(names[_key(assessment)])
    for note, which in files.items():
        more = f" and {len(which) - MOST_NAMES} more" if len(which) > MOST_NAMES else ""
        where = "" if len(which) == len(assessments) else f"{', '.join(which[:MOST_NAMES])}{more}: "
        line(f"Note: {where}{_sentence(note) if not where else note}", style="quiet", hang=6)


def _show_reason(assessment: Assessment, name: str) -> None:
    """Why, what it may be, how to tell, and the caution that belongs to it."""
    word = verdict_cell(assessment.verdict)
    provisional = " (provisional)" if assessment.provisional else ""
    line(f"{name}: {word.text}{provisional}", style=word.tone)
    _labelled("Why", assessment.because)
    for sign in assessment.signs:
        if sign.level != INFO and not _same(sign.because, assessment.because):
            _labelled("Also", _sentence(sign.because))
    actions: list[str] = []
    for diagnosis in assessment.diagnoses:
        levels = {sign.level for sign in assessment.signs if sign.sign in diagnosis.signs}
        if levels == {INFO}:
            continue
        _labelled(
            "Likely cause" if diagnosis.sure == "likely" else "Possible cause", _sentence(diagnosis.cause)
        )
        if diagnosis.rivals:
            _labelled("Could also be", _sentence("; ".join(diagnosis.rivals)))
        if diagnosis.action not in actions:
            _labelled("To tell", diagnosis.action)
            actions.append(diagnosis.action)
    from throwbook.core.status.raising import takes_out_of_use

    if any(takes_out_of_use(sign, assessment.direction) for sign in _failing(assessment)):
        for caution in SHOWN_AT["do not use"]:
            line(caution, style="bad", indent=2)


def _failing(assessment: Assessment) -> list[Sign]:
    return [sign for sign in assessment.signs if sign.level == FAIL]


def _labelled(label: str, text: str) -> None:
    line(f"{label + ':':<16}{text}", indent=2, hang=16)


def _same(one: str, other: str) -> bool:
    return one.strip(" .").casefold() == other.strip(" .").casefold()


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:].rstrip(".") + "."


def _summary(assessments: Sequence[Assessment]) -> str:
    counts = Counter(assessment.verdict for assessment in assessments)
    parts = [f"{counts[verdict]} {VERDICTS[verdict].column}" for verdict in VERDICTS if counts[verdict]]
    throws = "1 throw" if len(assessments) == 1 else f"{len(assessments)} throws"
    return f"{throws}: {', '.join(parts)}."
