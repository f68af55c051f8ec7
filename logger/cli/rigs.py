"""``rig``: rig files and the rigs in the logbook."""

import click

from logger.cli import output
from logger.cli.rig_fit import fit
from logger.cli.rig_logbook import add, history_json, list_, print_history, retire
from logger.cli.shared import logbook_of, now


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
    from logger.files.rig_example import EXAMPLE

    for text in EXAMPLE.splitlines():
        output.line(text)


@rig.command(short_help="Show a rig: values, limits, what doesn't agree.")
@click.argument("source", metavar="NAME-or-FILE")
@click.option("--json", "as_json", is_flag=True, help="One JSON object, SI.")
@click.pass_context
def show(ctx: click.Context, source: str, as_json: bool) -> None:
    """Show a rig: its values, its limits and where they come from, what doesn't agree.

    For a rig of the logbook also where it stands and what was logged.

    \b
    Example:
      throwbook rig show quarry-loader
    """
    from logger.cli.rig_text import print_rig, rig_json
    from logger.jobs.fitting import is_rig_file, load_rig
    from logger.jobs.rig_list import rig_history

    found = load_rig(source, logbook_of(ctx)).rig
    logged = None if is_rig_file(source) else rig_history(logbook_of(ctx), source, now().date())
    if as_json:
        output.json_line(rig_json(found) | ({"logbook": history_json(logged)} if logged else {}))
        return
    if logged is not None:
        print_history(logged)
        output.line()
    print_rig(found)
