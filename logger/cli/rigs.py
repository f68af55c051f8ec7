"""``rig``: rig files and the rigs in the logbook."""

import click

from logger.cli import output
from logger.cli.rig_fit import fit
from logger.cli.shared import logbook_of


@click.group()
def rig() -> None:
    """Rigs: an actuator, the lock mechanism it throws, and how it is wired."""


rig.add_command(fit)


@rig.command()
@click.argument("source", metavar="NAME-or-FILE")
@click.option("--json", "as_json", is_flag=True, help="One JSON object, SI.")
@click.pass_context
def show(ctx: click.Context, source: str, as_json: bool) -> None:
    """Show a rig: its values, its limits and where they come from, what doesn't agree.

    \b
    Example:
      throwbook rig show quarry-loader.toml
    """
    from logger.cli.rig_text import print_rig, rig_json
    from logger.jobs.fitting import load_rig

    found = load_rig(source, logbook_of(ctx)).rig
    if as_json:
        output.json_line(rig_json(found))
    else:
        print_rig(found)
