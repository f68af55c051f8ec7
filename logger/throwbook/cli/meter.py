"""``meter``: the instruments that throws by hand are read from."""

from dataclasses import replace
from typing import Any

import click

from throwbook.cli import output
from throwbook.cli.options import by_option, logbook_of, needed, needed_day, now, reason_option, who

KINDS = ("clamp", "stopwatch", "multimeter")


@click.group()
def meter() -> None:
    """Record the meters and stopwatches that you read throws by hand with."""


@meter.command()
@click.argument("name")
@click.option("--kind", type=click.Choice(KINDS), help="What it is.")
@click.option("--resolution", metavar="STEP", help="The step of its last digit: 0.1A, 0.01V, 0.01s.")
@click.option("--accuracy", metavar="TEXT", help="From its data sheet: '2.5 % + 5 digits'.")
@click.option("--peak-hold", type=click.Choice(["yes", "no"]), help="Whether it holds the highest reading.")
@click.option("--checked", metavar="DATE", help="Day of its last check [default: not recorded].")
@reason_option("Why its data sheet values change.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@by_option
@click.pass_context
def add(ctx: click.Context, /, name: str, as_json: bool, by: str | None, **given: Any) -> None:
    """Record the meter NAME, or a new check of it. Earlier throws keep the accuracy that they were read with.

    \b
    Example:
      throwbook meter add "clamp 1" --kind clamp --resolution 0.1A --accuracy "2.5 % + 5 digits"
          --peak-hold no --checked 2026-03-01
    """
    from throwbook.jobs.meters import add_meter, described, meter_from

    kind = needed(given["kind"], "--kind", "What it is", KINDS)
    resolution = needed(given["resolution"], "--resolution", "Step of its last digit, as 0.1A")
    accuracy = given["accuracy"] or ""
    if kind != "stopwatch":
        accuracy = needed(given["accuracy"], "--accuracy", "Accuracy, as 2.5 % + 5 digits")
    keeps = given["peak_hold"] or "no"
    if kind == "clamp":
        keeps = needed(given["peak_hold"], "--peak-hold", "Does it hold the highest reading", ("yes", "no"))
    day = needed_day(given["checked"], "--checked")
    made = meter_from(name, kind, resolution, accuracy, keeps == "yes", day, who(by), now())
    stored = add_meter(logbook_of(ctx), replace(made, reason=given["reason"]), made.by, made.at)
    if as_json:
        output.json_line(described(stored))
        return
    output.line(f"Meter '{stored.name}' is recorded. A sheet names it: throwbook enter --meter NAME")


@meter.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a meter.")
@click.pass_context
def list_(ctx: click.Context, as_json: bool) -> None:
    """List the meters of the logbook with their present values.

    \b
    Example:
      throwbook meter list
    """
    from throwbook.core.listing import METERS
    from throwbook.jobs.meters import described, meters

    known = meters(logbook_of(ctx))
    if as_json:
        for one in known:
            output.json_line(described(one))
    elif known:
        output.table(METERS.heads, [METERS.row(one) for one in known])
    else:
        output.line("No meter is recorded yet: throwbook meter add")
