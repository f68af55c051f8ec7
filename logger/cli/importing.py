"""``import``: trace files into the logbook as one sheet."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.cli import output
from logger.cli.asking import question_answers, question_options
from logger.cli.columns import column_factors, unit_options
from logger.cli.shared import ask_or_refuse, by_option, logbook_of, now, waiting, who
from logger.cli.sheet_views import print_status
from logger.core.quantities.plain import counted

if TYPE_CHECKING:
    from logger.jobs.importing import Doubt, Imported, Settle

DOUBTS = ("other-rig", "future-date", "clock-reversed", "time-unit", "current-unit", "voltage-unit")
KINDS = ("bench", "commissioning", "seasonal", "after-service", "spot")


@click.command("import")
@click.option("--rig", required=True, metavar="NAME", help="The rig, as 'rig list' shows it.")
@click.option("--kind", required=True, type=click.Choice(KINDS), help="What the throws were made for.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--allow",
    multiple=True,
    type=click.Choice(DOUBTS),
    help="Settle a doubt beforehand: the file names another rig, is dated in the future, its clock went back, or a column "
    "that looks to be in another unit is as it should be.",
)
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="KEY=NAME",
    help="time=NAME, current='NAME [mA]', voltage=NAME.",
)
@unit_options
@click.option("--direction", type=click.Choice(["lock", "unlock"]), help="Where the files don't say.")
@question_options
@by_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def import_(
    ctx: click.Context,
    /,
    rig: str,
    kind: str,
    files: tuple[Path, ...],
    allow: tuple[str, ...],
    columns: tuple[str, ...],
    direction: str | None,
    by: str | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Judge trace FILES and log them as one new sheet: all of them, or none.

    A file whose throw the logbook already has is recognised and left where it is. Exit code 1: done, and at least one
    throw failed.

    \b
    Example:
      throwbook import --rig quarry-loader --kind seasonal --hours-since 16h march/*.csv
    """
    from logger.jobs.assess import Reading
    from logger.jobs.importing import Order, import_traces

    done = import_traces(
        logbook_of(ctx),
        Order(rig, kind, files, question_answers(given)),
        who(by),
        now(),
        reading=Reading(columns, direction, factors=column_factors(given)),
        settle=_settle(allow),
        waiting=waiting,
    )
    if as_json:
        output.json_line(_record(done))
    else:
        _print(done)
    return 1 if any(_verdict(logged) == "fail" for logged in done.logged) else 0


def _settle(allow: tuple[str, ...]) -> "Settle":
    asked: set[str] = set()

    def settle(doubt: "Doubt") -> None:
        if doubt.kind in allow or doubt.kind in asked:
            return
        ask_or_refuse(doubt.what, doubt.file, f"--allow {doubt.kind}.")
        asked.add(doubt.kind)

    return settle


def _verdict(logged: Any) -> str:
    return str(logged.judgement.assessment.verdict)


def _record(done: "Imported") -> dict[str, Any]:
    return {
        "sheet": done.sheet.name if done.sheet else None,
        "logged": [
            {
                "trial": logged.id,
                "file": logged.placement.file if logged.placement else "",
                "position": logged.placement.position if logged.placement else None,
                "direction": logged.direction,
                "as_found": logged.placement.as_found if logged.placement else None,
                "verdict": _verdict(logged),
            }
            for logged in done.logged
        ],
        "known": [{"file": each.file, "where": each.where} for each in done.known],
        "status": done.status.level,
        "because": [one.sentence for one in done.status.open],
    }


def _print(done: "Imported") -> None:
    for each in done.known:
        output.line(f"{each.file}: {each.where}; nothing stored for it.")
    if done.sheet is None:
        output.line("Every file was known already: nothing was stored.")
        return
    rows: list[list[str | output.Cell]] = []
    for logged in done.logged:
        place, judged = logged.placement, logged.judgement
        assert place is not None
        assert judged is not None  # an import has just written both
        mark = "as found" if place.as_found else ""
        style = {"pass": "good", "fail": "bad"}.get(judged.assessment.verdict, "warn")
        because = output.Cell(judged.assessment.because)
        verdict = output.Cell(judged.assessment.verdict, style)
        rows.append([str(place.position), logged.direction, place.file, verdict, mark, because])
    output.table(["throw", "direction", "file", "verdict", "", "because"], rows, right=[0])
    output.line(
        f"Sheet {done.sheet.name} ({done.sheet.sheet.kind}): {counted(len(done.logged), 'throw')} logged."
    )
    print_status(done.sheet.sheet.rig, done.status)
