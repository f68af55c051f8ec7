"""``import``: trace files into the logbook as one sheet."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from throwbook.cli import output
from throwbook.cli.diagnostics import complain
from throwbook.cli.import_folder import import_rigs, judged, sheet_record
from throwbook.cli.options import (
    ask_one_of,
    ask_or_refuse,
    ask_unclear,
    by_option,
    can_ask,
    column_factors,
    logbook_of,
    moment,
    now,
    question_answers,
    question_options,
    unclear_answers,
    unit_options,
    waiting,
    who,
)
from throwbook.cli.sheet_text import print_status
from throwbook.core.quantities.text import counted, storable
from throwbook.core.wording import VERDICTS
from throwbook.errors import InputError

if TYPE_CHECKING:
    from throwbook.jobs.import_traces import (
        Doubt,
        FileMovements,
        Imported,
        Settle,
        WhichWay,
    )

WAYS = ("lock", "unlock")
DOUBTS = ("other-rig", "future-date", "clock-reversed", "time-unit", "current-unit", "voltage-unit")
KINDS = ("bench", "commissioning", "seasonal", "after-service", "spot")


@click.command("import")
@click.option(
    "--rig",
    metavar="NAME",
    help="The rig, as 'rig list' shows it [default: the one in each file's head, else by its folder or file name].",
)
@click.option("--kind", required=True, type=click.Choice(KINDS), help="What the throws were made for.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--allow",
    multiple=True,
    type=click.Choice(DOUBTS),
    help="Accept a file that names another rig, is dated in the future, or whose clock went back. Or accept a column that seems to be in another unit.",
)
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="KEY=NAME",
    help="time=NAME, current='NAME [mA]', voltage=NAME.",
)
@unit_options
@click.option(
    "--started",
    multiple=True,
    metavar="TIME",
    help="Time of the throw, if the file has none: 2026-03-14T09:12 (repeat for each file, in their order).",
)
@click.option(
    "--direction",
    "directions",
    multiple=True,
    metavar="WAY",
    help="lock or unlock, if the files have none; 'FILE#2=unlock' for one movement of a file.",
)
@click.option(
    "--movements",
    type=click.Choice(["split", "refuse"]),
    help="What to do with several movements in a file. 'split' keeps each as a throw. A movement whose direction cannot be found is judged both ways, and the worse counts. 'refuse' stores nothing.",
)
@click.option(
    "--by-name",
    is_flag=True,
    help="Without --rig: accept the rig that only the folder or file name gives.",
)
@click.option(
    "--watch",
    is_flag=True,
    help="Without --rig: keep watching the folders. Each file is taken when it has stopped growing. Ctrl-C ends it.",
)
@question_options
@by_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def import_(
    ctx: click.Context,
    /,
    rig: str | None,
    kind: str,
    files: tuple[Path, ...],
    allow: tuple[str, ...],
    columns: tuple[str, ...],
    started: tuple[str, ...],
    directions: tuple[str, ...],
    movements: str | None,
    by_name: bool,
    watch: bool,
    by: str | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Judge trace FILES and log them as one new sheet: all of them, or none.

    Each movement in a file is a separate throw: FILE#1, FILE#2. A file whose throws are already in the logbook is
    recognised and skipped. Exit code 1: done, and at least one throw failed.

    Without --rig the files may be of many rigs, and a folder is taken with the folders in it. Each rig and day gets a
    sheet. A file that cannot be taken stays where it is, and is listed with its reason: exit code 2.

    \b
    Examples:
      throwbook import --rig quarry-loader --kind seasonal --hours-since 16h march/*.csv
      throwbook import --kind seasonal season-2026
      throwbook import --kind seasonal --watch incoming
    """
    from throwbook.jobs.assess import TraceReading
    from throwbook.jobs.import_traces import ImportPlan, import_traces

    at = now()
    if rig is None:
        from throwbook.jobs.import_folder import FolderPlan

        if started:
            raise InputError("it needs one rig", "--started", "Give --rig NAME too")
        return import_rigs(
            logbook_of(ctx),
            FolderPlan(kind, files, question_answers(given)),
            who(by),
            TraceReading(
                columns, _for_all(directions), factors=column_factors(given), answers=unclear_answers(given)
            ),
            allow,
            _which_way(movements, _by_movement(directions), ask=False),
            by_name=by_name,
            watch=watch,
            as_json=as_json,
        )
    for asked, option in ((by_name, "--by-name"), (watch, "--watch")):
        if asked:
            raise InputError("it is for files of many rigs", option, "Leave out --rig")
    done = import_traces(
        logbook_of(ctx),
        ImportPlan(
            rig,
            kind,
            files,
            question_answers(given),
            [moment(text, "--started", at) for text in started],
        ),
        who(by),
        at,
        reading=TraceReading(
            columns,
            _for_all(directions),
            factors=column_factors(given),
            answers=unclear_answers(given),
            ask=ask_unclear,
        ),
        settle=_settle(allow),
        which_way=_which_way(movements, _by_movement(directions)),
        waiting=waiting,
    )
    if as_json:
        output.json_line(sheet_record(done))
    else:
        _print(done)
    return 1 if any(judged(logged).verdict == "fail" for logged in done.logged) else 0


def _settle(allow: tuple[str, ...]) -> "Settle":
    asked: set[str] = set()

    def settle(doubt: "Doubt") -> None:
        if doubt.kind in allow or doubt.kind in asked:
            return
        ask_or_refuse(doubt.what, doubt.file, f"--allow {doubt.kind}.")
        asked.add(doubt.kind)

    return settle


def _for_all(directions: tuple[str, ...]) -> str | None:
    """The direction named for the files that don't say; None: none is."""
    named = [text for text in directions if "=" not in text]
    for text in named:
        if text not in WAYS or named[0] != text:
            what = (
                f"{text!r} is not a direction" if text not in WAYS else "lock and unlock, both for all files"
            )
            raise InputError(what, "--direction", "lock or unlock; 'FILE#2=unlock' for one movement")
    return named[0] if named else None


def _by_movement(directions: tuple[str, ...]) -> dict[tuple[str, int], str]:
    """Directions named for single movements, by name of the file and number."""
    found = {}
    for text in directions:
        if "=" in text:
            which, _, way = text.rpartition("=")
            name, _, number = which.rpartition("#")
            if not name or not number.isascii() or not number.isdigit() or way not in WAYS:
                raise InputError(
                    f"{text!r} does not name a movement and a direction",
                    "--direction",
                    "For example: 'lock-1.csv#2=unlock'",
                )
            found[storable(name), int(number)] = way
    return found


def _which_way(choice: str | None, named: dict[tuple[str, int], str], ask: bool = True) -> "WhichWay":
    """Directions named beforehand, else asked for where ``ask`` says so; ``choice``: what --movements said."""
    from throwbook.jobs.import_traces import refuse_untold

    def which_way(found: "FileMovements") -> dict[int, str]:
        name, count = Path(found.file).name, len(found.directions)
        ways = {number: way for (file, number), way in named.items() if file in (name, found.file)}
        for number in ways:
            if count == 1 or not 1 <= number <= count:
                raise InputError(
                    f"it has no movement #{number}: it holds {found.what}", found.file, "Look at --direction"
                )
        left = found.but(ways)
        if choice == "refuse" and count > 1:
            raise InputError(
                f"it holds {left.what}",
                found.file,
                "Keep each as a throw: --movements split. Nothing was stored",
            )
        if left.untold and choice is None:
            if not (ask and can_ask()):
                refuse_untold(left)
            complain(f"{found.file}: {left.what}")
            for number in left.untold:
                question = f"Movement {number} of {count} in {name}: was it lock or unlock?"
                ways[number] = ask_one_of(question, WAYS)
        return ways

    return which_way


def _several_said(done: "Imported") -> list[str]:
    """What each file with several movements held."""
    held: dict[str, list[str]] = {}
    for logged in done.logged:
        if logged.placement is not None and judged(logged).movements > 1:
            held.setdefault(logged.placement.file.rpartition("#")[0], []).append(logged.direction)
    return [f"{file}: {counted(len(ways), 'movement')}: {', '.join(ways)}." for file, ways in held.items()]


def _print(done: "Imported") -> None:
    for file, how in done.read_as.items():
        output.line(f"{Path(file).name}, read as: {how}.", hang=2)
    for file, what in done.unknown_columns.items():
        output.line(f"{Path(file).name}: {what}.", hang=2)
    for each in done.known:
        output.line(f"{each.file}: {each.where}; nothing stored for it.")
    if done.sheet is None:
        output.line("Every file is in the logbook already: nothing was stored.")
        return
    for text in _several_said(done):
        output.line(text)
    rows: list[list[str | output.Cell]] = []
    for logged in done.logged:
        place, found = logged.placement, judged(logged)
        assert place is not None
        mark = "as found" if place.as_found else ""
        style = {"pass": "good", "fail": "bad"}.get(found.verdict, "warn")
        because = output.Cell(found.because)
        verdict = output.Cell(VERDICTS[found.verdict].column, style)
        rows.append([str(place.position), logged.direction, place.file, verdict, mark, because])
    output.table(["throw", "direction", "file", "verdict", "", "because"], rows, right=[0])
    output.line(
        f"Sheet {done.sheet.name} ({done.sheet.sheet.kind}): {counted(len(done.logged), 'throw')} logged."
    )
    print_status(done.sheet.sheet.rig, done.status)
