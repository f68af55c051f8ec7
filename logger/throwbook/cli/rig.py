"""The command rig: rig files, and the rigs of the logbook."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from throwbook.cli import output
from throwbook.cli.options import (
    by_option,
    first_options,
    logbook_of,
    needed,
    now,
    reason_option,
    waiting,
    who,
)
from throwbook.cli.rig_text import fit
from throwbook.cli.sheet_text import print_status
from throwbook.core.quantities.text import counted, for_shell
from throwbook.core.wording import FIRST_RIGS
from throwbook.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from throwbook.jobs.rig_list import Listed, Wanted
    from throwbook.jobs.rigs import RigView


SORTS = ["need", "rig", "status", "place", "due", "last", "throws"]
STATUSES = ["in service", "watch", "restricted", "do not use", "not commissioned"]


@click.command(short_help="Put a rig into the logbook, or a new version of it.")
@click.argument("file", type=click.Path(path_type=Path))
@reason_option("Reason for the change.")
@by_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def add(ctx: click.Context, file: Path, reason: str, by: str | None, as_json: bool) -> None:
    """Add the rig of FILE to the logbook, or a new version of it. The first rig starts the logbook.

    \b
    Example:
      throwbook rig add yard-loader.toml
    """
    from throwbook.jobs.rigs import add_rig

    done = add_rig(logbook_of(ctx), file, who(by), now(), reason, waiting)
    name = done.revision.rig
    if as_json:
        output.json_line(
            {
                "rig": name,
                "new": done.new,
                "revised": done.revised,
                "raised": done.raised,
                "same_values_out_of_use": list(done.out_of_use),
                "revision": done.revision.id,
            }
        )
    elif not done.new:
        output.line(f"Rig {name} in the logbook is the same as in {file}. Nothing changed.")
    elif done.revised:
        output.line(f"Rig {name}: new version; earlier throws keep the version that they were judged by.")
        if done.raised:
            output.line(
                "Ratings or limits have changed since commissioning. The rig is restricted until it is commissioned with the new ones, or somebody signs a reason: throwbook status {name}",
                style="warn",
            )
    else:
        output.line(f"Rig {name} added. Next: throwbook sheet plan {for_shell(name)} --kind commissioning")
    for other in done.out_of_use:
        output.line(
            f"Rig {other} has exactly these values and is out of use: DO NOT USE. If this is the same machine, a new name does not clear it: throwbook status {for_shell(other)}",
            style="bad",
        )


@click.command("list", short_help="Show the rigs that need you first: why, and the next step.")
@click.argument("part", default="")
@click.option(
    "--due-within", type=click.IntRange(0, 36_500), metavar="DAYS", help="Overdue, or due in so many days."
)
@click.option("--unseen", type=click.IntRange(0, 36_500), metavar="DAYS", help="No throw for so many days.")
@click.option(
    "--status", "levels", type=click.Choice(STATUSES), multiple=True, help="Only these (repeat for more)."
)
@click.option("--place", default="", metavar="TEXT", help="Part of the place in the rig file.")
@click.option("--retired", is_flag=True, help="Only retired rigs.")
@click.option("--sort", type=click.Choice(SORTS), help="Sort by a column [default: need, most urgent first].")
@first_options
@click.option(
    "--csv", type=click.Path(path_type=Path, dir_okay=False), help="For a spreadsheet: write a CSV file."
)
@click.option("--pdf", type=click.Path(path_type=Path, dir_okay=False), help="For the wall: write a PDF.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", help="Size of the PDF's pages.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a rig.")
@click.pass_context
def list_(
    ctx: click.Context,
    /,
    part: str,
    first: int | None,
    every: bool,
    csv: Path | None,
    pdf: Path | None,
    paper: str,
    as_json: bool,
    **given: Any,
) -> None:
    """Show the rigs that need you first: out of use, due, getting worse. Each with the reason and the next step.

    PART is a part of the rig's name, or of its machine's data in the rig file. The terminal shows the first ten. JSON, CSV
    and PDF have every rig, unless --first limits them.

    \b
    Examples:
      throwbook rig list
      throwbook rig list --all --place "north yard" --sort due
      throwbook rig list --due-within 7
      throwbook rig list quarry --status "do not use" --status restricted
      throwbook rig list --csv rigs.csv --pdf wall.pdf
    """
    from throwbook.cli.status import print_of_no_rig
    from throwbook.core.status.status_text import pending
    from throwbook.jobs.rig_list import Wanted, pick

    if every and first is not None:
        raise InputError("--all and --first can't both be", "--first", "Give one of them.")
    today = now().date()
    wanted = Wanted(
        part,
        given["levels"],
        given["due_within"],
        given["unseen"],
        given["retired"],
        given["place"],
        given["sort"] or "",
    )
    known = listed(ctx)
    found = pick(known, wanted, today)
    for path in (csv, pdf):
        if path is not None:
            _write(path, found[:first], wanted, paper)
    if csv is not None or pdf is not None:
        return
    if as_json:
        for each in found[:first]:
            output.json_line(_record(each))
        return
    if not known:
        output.line("No rig yet: 'throwbook rig add FILE.toml' adds one.")
        return
    shown = found if every else found[: first or FIRST_RIGS]
    print_listed(shown)
    for each in shown:
        for text in pending(each.rig_status.status):
            output.line(f"{each.name}: {text}", style="warn")
    print_of_no_rig(logbook_of(ctx), [each.name for each in known])
    asleep = sum(bool(each.retired) for each in known)
    if len(shown) < len(known):
        more = f" --all shows all {len(found)}." if len(shown) < len(found) else ""
        hidden = f"; {asleep} retired (--retired)" if asleep and not wanted.retired else ""
        output.line(f"{len(shown)} of {counted(len(known), 'rig')}{hidden}.{more}")


def listed(ctx: click.Context) -> "list[Listed]":
    """Every rig, most pressing first; trends that aren't known are worked out before."""
    from throwbook.cli import diagnostics
    from throwbook.jobs.rig_list import list_rigs
    from throwbook.jobs.worsening import work_out_trends

    today = now().date()
    rigs = list_rigs(logbook_of(ctx), today)
    if all(one.trend_known for one in rigs):
        return rigs
    with diagnostics.progress("trends") as progress:
        work_out_trends(logbook_of(ctx), progress)
    return list_rigs(logbook_of(ctx), today)


WIDE = 120
"""Columns of a terminal from which on the list has all of its own."""


def print_listed(shown: "Sequence[Listed]") -> None:
    """The caution for the work, then a row a rig."""
    from throwbook.core.listing import Listing
    from throwbook.core.wording import BEFORE_WORK
    from throwbook.jobs.rig_list import RIGS

    if not shown:
        return
    width = output.width()
    more = ("due", "last", "throws", "place") if width is None or width >= WIDE else ()
    table = Listing.of(RIGS, ("rig", "status", "why", "step", *more))
    output.line(BEFORE_WORK, style="warn")
    output.table(table.heads, [table.row(each) for each in shown], right=table.right)


def _write(path: Path, found: "Sequence[Listed]", wanted: "Wanted", paper: str) -> None:
    from throwbook.jobs.rig_list import list_csv, list_pdf

    if path.suffix.lower() == ".pdf":
        list_pdf(found, wanted, path, now().date(), paper)
    else:
        list_csv(found, path)
    output.line(f"{path}: {counted(len(found), 'rig')}")


@click.command(short_help="Take a sold rig out of the lists; its records stay.")
@click.argument("name")
@click.option("--because", "--reason", "because", metavar="TEXT", help="Why: sold, scrapped, ...")
@click.option("--back", is_flag=True, help="Put the rig back into the lists.")
@by_option
@click.pass_context
def retire(ctx: click.Context, name: str, because: str | None, back: bool, by: str | None) -> None:
    """Take a sold or scrapped rig out of the lists. Its records and its status stay.

    \b
    Example:
      throwbook rig retire yard-loader --because "sold" --by "M. K."
    """
    from throwbook.jobs import rigs

    because = needed(because, "--because", "Why is it back" if back else "Why is it retired")
    change = rigs.bring_back if back else rigs.retire
    done = change(logbook_of(ctx), name, because, who(by), now())
    output.line(f"{done.rig}: " + (f"retired: {done.because}." if done.because else "back in the lists."))
    print_status(done.rig, done.status)


def _record(each: "Listed") -> dict[str, Any]:
    from throwbook.cli.status import rig_status_json

    last = each.last_trial.isoformat() if each.last_trial else None
    need = each.need
    told = rig_status_json(each.rig_status) | {
        "trials": each.trials,
        "last_trial": last,
        "place": each.machine.place,
        "need": need.need,
        "why": need.cause,
        "next_step": need.step or None,
        "by": need.by.isoformat() if need.by else None,
    }
    return told | ({"retired": each.retired} if each.retired else {})


def print_history(found: "RigView") -> None:
    """What the logbook holds of one rig; for ``rig show NAME``."""
    from throwbook.cli.status import print_rig_status
    from throwbook.core.listing import SHEET_LIST

    print_rig_status(found.rig_status, found.steps, found.gaps)
    for sentence in found.happened:
        output.line(sentence)
    last = found.last_trial.date().isoformat() if found.last_trial else "no date known"
    output.line(
        f"{counted(found.trials, 'throw')} logged" + (f", the last on {last}" if found.trials else "")
    )
    if len(found.revisions) > 1:
        latest = found.revisions[-1]
        output.line(
            f"rig file: version {len(found.revisions)}, since {latest.at.date()}, because {latest.reason}"
        )
    for baseline in found.baselines:
        output.line(
            f"baseline {baseline.direction}: {len(baseline.trials)} throws, set {baseline.at.date()}: {baseline.reason}"
        )
    if found.sheets:
        output.table(SHEET_LIST.heads, [SHEET_LIST.row(each) for each in found.sheets])


def history_json(found: "RigView") -> dict[str, Any]:
    """The same as one JSON object; stable keys."""
    from throwbook.cli.status import rig_status_json

    return rig_status_json(found.rig_status) | {
        "trials": found.trials,
        "last_trial": found.last_trial.isoformat() if found.last_trial else None,
        "sheets": [
            {"sheet": each.state.name, "kind": each.state.sheet.kind, "state": each.state.state}
            for each in found.sheets
        ],
        "services": len(found.services),
        "happened": list(found.happened),
        "not_covered": [one.sentence for one in found.gaps],
        "baselines": [
            {
                "direction": each.direction,
                "throws": len(each.trials),
                "at": each.at.isoformat(),
                "reason": each.reason,
            }
            for each in found.baselines
        ],
        "revisions": len(found.revisions),
    }


@click.group()
def rig() -> None:
    """Rigs: an actuator, the lock mechanism it throws, and how it is wired."""


rig.add_command(add)

rig.add_command(list_)

rig.add_command(retire)

rig.add_command(fit)


@rig.command(short_help="Print a rig file with every key explained.")
def example() -> None:
    """Print a rig file with every key explained, to copy and fill in.

    \b
    Example:
      throwbook rig example > yard-loader.toml
    """
    from throwbook.files.rig_file import EXAMPLE

    for text in EXAMPLE.splitlines():
        output.line(text)


@rig.command(short_help="Show a rig: values, limits, contradictions.")
@click.argument("source", metavar="NAME-or-FILE")
@click.option("--json", "as_json", is_flag=True, help="One JSON object, SI.")
@click.pass_context
def show(ctx: click.Context, source: str, as_json: bool) -> None:
    """Show a rig: its values, its limits with their source, and values that contradict each other.

    For a rig of the logbook it also shows the status and the services.

    \b
    Example:
      throwbook rig show quarry-loader
    """
    from throwbook.cli.rig_text import print_rig, rig_json
    from throwbook.jobs.find import load_rig, means_a_file
    from throwbook.jobs.rigs import rig_history

    found = load_rig(source, logbook_of(ctx)).rig
    logged = None if means_a_file(source) else rig_history(logbook_of(ctx), found.name, now().date())
    if as_json:
        output.json_line(rig_json(found) | ({"logbook": history_json(logged)} if logged else {}))
        return
    if logged is not None:
        print_history(logged)
        output.line()
    print_rig(found)
