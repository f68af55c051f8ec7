"""``report``, ``cab-card``, ``sheet print`` and ``sheet blank``: what leaves the computer on paper."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from throwbook.cli import output
from throwbook.cli.options import logbook_of, needed_day, now

if TYPE_CHECKING:
    from throwbook.jobs.papers import Issue, WrittenPaper

PAPERS = click.Choice(["a4", "letter"])
KINDS = click.Choice(["bench", "commissioning", "seasonal", "after-service", "spot"])


def paper_options(command: Any) -> Any:
    """``--folder``, ``--paper``, ``--issued`` and ``--json``: where, how large, dated when."""
    for option in (
        click.option("--json", "as_json", is_flag=True, help="One JSON object: number and files."),
        click.option("--issued", metavar="DATE", help="Day of issue, such as 2026-03-14 [default: today]."),
        click.option(
            "--paper",
            type=PAPERS,
            default=None,
            help="Size of the pages [default: a4; letter for a rig in US units].",
        ),
        click.option(
            "--folder",
            type=click.Path(path_type=Path, file_okay=False),
            default=Path(),
            help="Where to write [default: here].",
        ),
    ):
        command = option(command)
    return command


def who_for_options(command: Any) -> Any:
    """``--place`` and ``--owner``: what the logbook doesn't hold."""
    place = click.option("--place", default="", metavar="TEXT", help="Where the tests were done.")
    owner = click.option("--owner", default="", metavar="TEXT", help="Owner of the machine, or customer.")
    return place(owner(command))


@click.command()
@click.argument("rig")
@who_for_options
@paper_options
@click.pass_context
def report(ctx: click.Context, /, rig: str, as_json: bool, **given: Any) -> None:
    """Write the report of RIG as PDF and as HTML, with the same content: commissioning, every check, trend, services.

    The same logbook, version and day of issue give the same files, byte for byte.

    \b
    Example:
      throwbook report yard-loader --folder papers --place "Fellside Yard"
    """
    from throwbook.jobs.papers import report_rig

    _tell(report_rig(logbook_of(ctx), rig, _issue(**given)), as_json)


@click.command("print")
@click.argument("name")
@who_for_options
@paper_options
@click.pass_context
def print_(ctx: click.Context, /, name: str, as_json: bool, **given: Any) -> None:
    """Write the report of sheet NAME alone, as PDF and as HTML.

    \b
    Example:
      throwbook sheet print yard-loader-3 --folder papers
    """
    from throwbook.jobs.papers import report_sheet

    _tell(report_sheet(logbook_of(ctx), name, _issue(**given)), as_json)


@click.command(short_help="Write a blank sheet as PDF, to fill in by hand.")
@click.argument("rig")
@click.option("--kind", type=KINDS, default="commissioning", show_default=True, help="Kind of sheet.")
@click.option("--throws", type=click.IntRange(1, 100), help="Throws each way [default: by the kind].")
@click.option("--voltage", metavar="VOLTAGE", help="Supply voltage that the times are for, such as 12.4V.")
@paper_options
@click.pass_context
def blank(
    ctx: click.Context,
    /,
    rig: str,
    kind: str,
    throws: int | None,
    voltage: str | None,
    as_json: bool,
    **given: Any,
) -> None:
    """Write a blank test sheet for RIG as PDF, to fill in by hand, with its limits and expected values.

    'throwbook enter' takes the readings in the same order.

    \b
    Example:
      throwbook sheet blank yard-loader --kind seasonal --paper letter
    """
    from throwbook.jobs.papers import blank as write

    _tell(write(logbook_of(ctx), rig, kind, _issue(**given), throws, _volts(voltage)), as_json)


@click.command("cab-card")
@click.argument("rig")
@click.option("--voltage", metavar="VOLTAGE", help="Supply voltage that the times are for, such as 12.4V.")
@paper_options
@click.pass_context
def cab_card(ctx: click.Context, /, rig: str, voltage: str | None, as_json: bool, **given: Any) -> None:
    """Write the cab card of RIG as PDF, one page and pocket size: expected values, when to stop, what to look at.

    \b
    Example:
      throwbook cab-card yard-loader --voltage 12.4V
    """
    from throwbook.jobs.papers import card as write

    _tell(write(logbook_of(ctx), rig, _issue(**given), _volts(voltage)), as_json)


def _issue(folder: Path, paper: str | None, issued: str | None, place: str = "", owner: str = "") -> "Issue":
    from throwbook.jobs.papers import Issue

    return Issue(folder, needed_day(issued, "--issued") or now().date(), paper or "", place, owner)


def _volts(text: str | None) -> float | None:
    if text is None:
        return None
    from throwbook.core.quantities.units import parse

    return parse(text, "voltage", "--voltage")


def _tell(paper: "WrittenPaper", as_json: bool) -> None:
    if as_json:
        output.json_line({"number": paper.number, "files": [str(file) for file in paper.files]})
        return
    output.line(f"No. {paper.number}")
    for file in paper.files:
        output.line(str(file), indent=2)
