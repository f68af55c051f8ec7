"""What every command that works on a logbook needs: which one, who is writing, what time it is, and asking."""

import getpass
import select
import sys
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, TypeVar

import click

from logger.cli import diagnostics
from logger.core.quantities.plain import written
from logger.core.records.writer import account_name
from logger.errors import InputError

LOOK_EVERY_S = 0.05

Command = TypeVar("Command", bound=Any)


def logbook_of(ctx: click.Context) -> str | None:
    """The logbook asked for before the command; None: the default one."""
    from logger.jobs.logbooks import when_waiting

    when_waiting(waiting)
    found = ctx.obj["logbook"] if ctx.obj else None
    return None if found is None else str(found)


def now() -> datetime:
    """This moment, with its offset from UTC."""
    return datetime.now().astimezone()


def waiting() -> None:
    """Say once why nothing happens."""
    diagnostics.complain("another program is writing to the logbook; waiting for it ...")


def by_option(command: Command) -> Command:
    """``--by``: who writes this down."""
    return click.option(
        "--by",
        metavar="NAME",
        envvar="THROWBOOK_BY",
        help="Who writes this down [default: the computer's account].",
    )(command)


def baud_option(command: Command) -> Command:
    """``--baud``: how fast a board talks."""
    return click.option(
        "--baud", type=int, default=115_200, show_default=True, help="Speed of the serial line."
    )(command)


def reason_option(help: str) -> Callable[[Command], Command]:
    """``--reason``: why what was written before is changed; ``--because`` means the same."""
    return click.option("--reason", "--because", "reason", default="", metavar="TEXT", help=help)


def who(by: str | None) -> str:
    """The name given, or the account of the computer, marked as one."""
    if by is not None and written(by):
        return written(by)
    try:
        return account_name(getpass.getuser())
    except (KeyError, OSError, ImportError) as error:  # no such user, as in a bare container
        raise InputError("the system doesn't say who you are", "--by", 'Give it: --by "M. K."') from error


def can_ask() -> bool:
    """Whether a person sits at a terminal; in a pipe nothing is asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def line_waits() -> bool:
    """Whether a line was typed, looked at for a moment; where the system can't tell, True at once."""
    return sys.platform == "win32" or bool(select.select([sys.stdin], [], [], LOOK_EVERY_S)[0])


def ask_one_of(question: str, answers: Sequence[str]) -> str:
    """Ask until one of the answers is typed. A signal is heard meanwhile, however long nobody types."""
    while True:
        click.echo(f"{question} ({', '.join(answers)}): ", nl=False, err=True)
        while not line_waits():
            pass
        line = sys.stdin.readline()
        if not line:
            raise click.Abort
        if line.strip() in answers:
            return line.strip()
        click.echo(f"Type {' or '.join(answers)}.", err=True)


def ask_or_refuse(what: str, where: str, option: str) -> None:
    """Ask whether to go on all the same; without a terminal, or on a no, refuse and name the option that answers."""
    if can_ask() and click.confirm(f"{where}: {what}. Go on all the same?", default=False, err=True):
        return
    raise InputError(what, where, f"If that is right, say so with {option}")
