"""``throwbook board rehearse``: a stand-in board to practise with."""

from pathlib import Path
from typing import Any

import click

from logger.cli import output
from logger.cli.quantity import Quantity
from logger.cli.shared import logbook_of
from logger.core.quantities.plain import for_shell

EXAMPLE = """\b
Examples:
  throwbook board rehearse --rig quarry-loader.toml
  throwbook board rehearse --rig quarry-loader.toml --fault local-bind=0.5@0.6 --trouble flipped-bits=0.001
  throwbook board rehearse --rig quarry-loader.toml --trouble reset=8 --speed 10
"""


@click.command(epilog=EXAMPLE, short_help="A stand-in board to practise with.")
@click.option("--rig", "rig_ref", metavar="NAME-or-FILE.toml", help="The rig to simulate.")
@click.option(
    "--fault",
    "faults",
    multiple=True,
    metavar="KIND[=SEVERITY[@PLACE]]",
    help="A fault of the machine, as --list names them; again for more.",
)
@click.option(
    "--trouble",
    "troubles",
    multiple=True,
    metavar="KIND[=VALUE]",
    help="Trouble on the line, as --list names it; again for more.",
)
@click.option("--list", "list_them", is_flag=True, help="List the faults and troubles, and end.")
@click.option(
    "--first",
    type=click.Choice(["lock", "unlock"]),
    default="lock",
    show_default=True,
    help="Way of its first throw.",
)
@click.option("--rest", type=Quantity("time"), default=4.0, help="Rest before each throw [default: 4 s].")
@click.option(
    "--ambient", type=Quantity("temperature"), default=15.0, help="Air temperature [default: 15 degC]."
)
@click.option("--speed", type=click.FloatRange(min=0.1, max=1000), default=1.0, help="Times real time.")
@click.option("--seed", type=int, default=1, show_default=True, help="The same seed gives the same machine.")
@click.option("--link", type=click.Path(path_type=Path), help="A second, fixed name for the port.")
@click.pass_context
def rehearse(ctx: click.Context, /, **given: Any) -> int:
    """Open a pseudo-terminal that behaves as a board with a simulated machine on it, until Ctrl-C.

    Each recording begins with rest and goes on with a throw; lock and unlock take turns.
    """
    import signal
    import threading

    from logger.jobs.rehearse import TROUBLES, Rehearsal, faults_from, rehearse, trouble_from
    from logger.jobs.rigsource import find_rig

    if given["list_them"]:
        from logger.core.simulator import FAULTS

        output.table(
            ("fault", "shows as", "severity"), [(name, row.sign, row.knob) for name, row in FAULTS.items()]
        )
        output.line()
        output.table(("trouble", "value"), [(name, meaning) for name, (_, meaning) in TROUBLES.items()])
        return 0
    if not given["rig_ref"]:
        raise click.UsageError("Missing option '--rig'.", ctx)
    trouble, over_range = trouble_from(given["troubles"])
    plan = Rehearsal(
        rig=find_rig(given["rig_ref"], logbook_of(ctx)).rig,
        faults=faults_from(given["faults"]),
        trouble=trouble,
        temperature_c=given["ambient"],
        rest_s=given["rest"],
        first=given["first"],
        seed=given["seed"],
        speed=given["speed"],
        link=given["link"],
        over_range=over_range,
    )
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())

    def ready(name: str) -> None:
        output.line(f"A rehearsal board for {plan.rig.name} is on {plan.link or name}; Ctrl-C ends it.")
        output.line(
            f"throwbook record --rig {for_shell(given['rig_ref'])} --port {plan.link or name} --direction {plan.first}"
        )
        output.flush()

    done = rehearse(plan, stop, ready)
    output.line(
        f"{done.injected.sent} samples sent, {done.injected.lost} lost by the trouble that was asked for."
    )
    return 0
