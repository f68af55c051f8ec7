"""What commands share: logbook, operator and time, options with units, and asking for what is missing.

At a terminal a person is asked; in a pipe it is refused with the option that answers it.
"""

import getpass
import select
import signal
import sys
import time
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, TypeVar

import click

from throwbook.cli import diagnostics
from throwbook.core.quantities.text import written
from throwbook.core.records import account_name
from throwbook.core.sheets.conditions import AT_THE_BOARD
from throwbook.core.wording import CONDITIONS, FIRST_RIGS
from throwbook.errors import InputError, Unclear

UnitsCommand = TypeVar("UnitsCommand", bound=Any)


OPTIONS = (
    click.option("--time-unit", metavar="UNIT", help="The time column is in: s, ms, us, min, h, d (days)."),
    click.option(
        "--rate",
        type=click.FloatRange(min=0.0, min_open=True),
        help="The time column counts rows: this many per second.",
    ),
    click.option("--current-unit", metavar="UNIT", help="The current column is in: A, mA, uA, kA."),
    click.option("--voltage-unit", metavar="UNIT", help="The voltage column is in: V, mV, uV, kV."),
    click.option(
        "--decimal",
        type=click.Choice(["point", "comma"]),
        help="Decimal mark, if the file can be read both ways.",
    ),
    click.option(
        "--date-order",
        type=click.Choice(["day", "month"]),
        help="Which comes first in a date like 03/04/2026.",
    ),
)


def unit_options(command: UnitsCommand) -> UnitsCommand:
    """What a column is in, where it is another unit than its name says."""
    for option in reversed(OPTIONS):
        command = option(command)
    return command


def column_factors(given: dict[str, Any]) -> dict[str, float]:
    """Quantity: factor to SI, from those options. Raises InputError for a unit that isn't one, or two answers for the time."""
    from throwbook.files.column_names import unit_factors

    units = {name: given[f"{name}_unit"] for name in ("time", "current", "voltage")}
    found = unit_factors(units)
    if given["rate"] is not None:
        if "time" in found:
            raise InputError("the time column has a unit already", "--rate", "Give --time-unit or --rate.")
        found["time"] = 1.0 / given["rate"]
    return found


def unclear_answers(given: dict[str, Any]) -> dict[str, str]:
    """What those options say of a file that can be read in two ways."""
    told = {"decimal": given["decimal"], "date-order": given["date_order"]}
    return {field: answer for field, answer in told.items() if answer is not None}


class Quantity(click.ParamType):  # type: ignore[type-arg]
    """A typed quantity of one kind (a key of ``units.KINDS``), given to the command as an SI float."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self.name = kind

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """What stands in `--help`: the kind, in capitals."""
        return self.kind.upper().replace(" ", "-")

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """SI float of the text; raises InputError naming the option."""
        if not isinstance(value, str):
            return value
        from throwbook.core.quantities.units import parse

        return parse(value, self.kind, where=param.opts[0] if param else "")


class AirTemperature(Quantity):
    """A temperature, or ``board``: what the probe at the board reads."""

    def __init__(self) -> None:
        super().__init__("temperature")

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """``board`` as it is."""
        return value if value == AT_THE_BOARD else super().convert(value, param, ctx)


LOOK_EVERY_S = 0.05
CTRL_C, CTRL_Z = "\x03", "\x1a"
"""Keys of a console of Windows: break off, no more will come."""


Command = TypeVar("Command", bound=Any)


def logbook_of(ctx: click.Context) -> str | None:
    """The logbook asked for before the command; None: the default one."""
    from throwbook.jobs.find import logbook_path, when_completed, when_waiting
    from throwbook.jobs.windows import on_a_network

    when_waiting(waiting)
    when_completed(diagnostics.complain)
    found = ctx.obj["logbook"] if ctx.obj else None
    logbook = None if found is None else str(found)
    if sys.platform == "win32" and on_a_network(logbook_path(logbook)):
        diagnostics.complain(
            "the logbook lies on a network drive. Write from one computer at a time, or keep it on this one and merge."
        )
    return logbook


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
        help="Entered by [default: the computer's account].",
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
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return False
    from throwbook.jobs.windows import has_keyboard

    return has_keyboard()


class Typing:
    """What a person types at the terminal: looked at for a moment, so that a line that is never ended holds nobody."""

    def __init__(self) -> None:
        self._begun = ""

    def line(self) -> str | None:
        """The line, with its end; None: none is ended yet; empty: no more will come."""
        if sys.platform != "win32":
            return sys.stdin.readline() if select.select([sys.stdin], [], [], LOOK_EVERY_S)[0] else None
        else:  # noqa: RET505 - so that the type checker leaves it out on other systems
            import msvcrt  # a console of Windows hands out lines only to who waits for their end

            while msvcrt.kbhit():
                if (key := msvcrt.getwch()) in "\0\xe0" and msvcrt.kbhit():
                    msvcrt.getwch()  # an arrow, a function key
                elif (line := self._with(key, msvcrt.putwch)) is not None:
                    return line
            time.sleep(LOOK_EVERY_S)
            return None

    def _with(self, key: str, show: Callable[[str], None]) -> str | None:
        """The line, if this key ended it."""
        if key == CTRL_C:
            signal.raise_signal(signal.SIGINT)
        elif key in ("\r", CTRL_Z):
            line, self._begun = "" if key == CTRL_Z else f"{self._begun}\n", ""
            show("\n")
            return line
        elif key != "\b":
            self._begun += key
            show(key)
        elif self._begun:
            self._begun = self._begun[:-1]
            for shown in "\b \b":
                show(shown)
        return None


def ask_one_of(question: str, answers: Sequence[str]) -> str:
    """Ask until one of the answers is typed. A signal is heard meanwhile, however long nobody types."""
    typing = Typing()
    while True:
        click.echo(f"{question} ({', '.join(answers)}): ", nl=False, err=True)
        while (line := typing.line()) is None:
            pass
        if not line:
            raise click.Abort
        if line.strip() in answers:
            return line.strip()
        click.echo(f"Type {' or '.join(answers)}.", err=True)


def ask_unclear(unclear: Unclear) -> str:
    """Ask how a file is to be read; in a pipe it is refused with the options that answer it."""
    if not can_ask():
        raise unclear
    with diagnostics.undisturbed():
        diagnostics.complain(f"{unclear.where}: {unclear.what}.")
        return ask_one_of(f"Which is it, {unclear.field.replace('-', ' ')}?", unclear.answers)


def ask_or_refuse(what: str, where: str, option: str) -> None:
    """Ask whether to go on all the same; without a terminal, or on a no, refuse and name the option that answers."""
    if can_ask():
        with diagnostics.undisturbed():
            if click.confirm(f"{where}: {what}. Go on anyway?", default=False, err=True):
                return
    raise InputError(what, where, f"If that is right, add {option}")


AskingCommand = TypeVar("AskingCommand", bound=Callable[..., Any])


def needed(value: str | None, option: str, question: str, choices: tuple[str, ...] = ()) -> str:
    """The value given, or asked for. Raises InputError in a pipe, naming ``option``."""
    if value is not None and written(value):
        return written(value)
    if not can_ask():
        example = f"{option} with one of: {', '.join(choices)}" if choices else option
        raise InputError(f"{option} is missing", question, f"In a pipe nothing is asked: give {example}.")
    kind = click.Choice(choices) if choices else str
    return str(click.prompt(question, type=kind, err=True)).strip()


def needed_day(value: str | None, option: str) -> Any:
    """A date as typed (2026-03-14), or None where none was given."""
    from throwbook.core.quantities.text import day_typed

    return None if value is None else day_typed(value, where=option)


def moment(value: str | None, option: str, now: Any) -> Any:
    """A date, a date and time, or a time of today, as typed; without an offset this computer's own is meant."""
    from throwbook.core.quantities.text import moment_typed

    if value is None:
        return None
    found = moment_typed(value, now.date(), where=option)
    return found if found.tzinfo is not None else found.replace(tzinfo=now.tzinfo)


# question: (option, what is typed, example)
QUESTION_OPTIONS: dict[str, tuple[str, str, str]] = {
    "hours_since_movement": ("--hours-since", "HOURS", "16h"),
    "worked_before": ("--worked-before", "TEXT", "'no', or what was done"),
    "ambient_c": ("--ambient", "TEMPERATURE", "4degC"),
    "supply": ("--supply", "TEXT", "machine battery or bench supply"),
    "engine_running": ("--engine", "yes|no", ""),
    "attachment": ("--attachment", "TEXT", ""),
    "operator": ("--operator", "NAME", ""),
    "instruments": ("--instruments", "TEXT", ""),
}


def question_options(command: AskingCommand) -> AskingCommand:
    """The questions that every sheet asks, as options; one left out is "not recorded"."""
    for key, (option, metavar, example) in reversed(QUESTION_OPTIONS.items()):
        name = CONDITIONS[key].sentence
        text = f"{name[:1].upper()}{name[1:]}{f': {example}' if example else ''}."
        choice = click.Choice(["yes", "no"]) if metavar == "yes|no" else None
        command = click.option(option, metavar=None if choice else metavar, type=choice, help=text)(command)
    return command


def question_answers(given: dict[str, Any]) -> dict[str, Any]:
    """Those of ``QUESTION_OPTIONS`` in a command's parameters that were answered, as ``core.sheets.questions`` names them.

    A number takes its unit here, as in every option.
    """
    from throwbook.core.quantities.units import parse
    from throwbook.core.sheets.conditions import QUESTIONS, answer_from

    told = {}
    for question in QUESTIONS:
        text = given.get(question.option.removeprefix("--").replace("-", "_"))
        kind = {"hours_since_movement": "time", "ambient_c": "temperature"}.get(question.key)
        if text is not None and kind is not None:
            parse(text, kind, question.option)
        value = answer_from(question.key, text or "", question.option)
        if value is not None:
            told[question.key] = value
    return told


def ask_questions(told: dict[str, Any]) -> dict[str, Any]:
    """At a terminal, ask what wasn't answered by an option; Enter alone leaves it blank."""
    from throwbook.core.sheets.conditions import QUESTIONS, answer_from

    if not can_ask():
        return told
    asked = dict(told)
    for question in QUESTIONS:
        if question.key not in told:
            text = str(click.prompt(question.asked, default="", show_default=False, err=True))
            value = answer_from(question.key, text, question.asked)
            if value is not None:
                asked[question.key] = value
    return asked


def first_options(command: Any) -> Any:
    """``--first N`` and ``--all`` of a list of rigs."""
    every = click.option("--all", "every", is_flag=True, help="Show every rig.")
    first = click.option(
        "--first", type=click.IntRange(1), metavar="N", help=f"Show so many [default: {FIRST_RIGS}]."
    )
    return first(every(command))
