"""Asking a person for what is missing: at a terminal it is asked, in a pipe refused with the option that answers it."""

from collections.abc import Callable
from typing import Any, TypeVar

import click

from logger.cli.shared import can_ask
from logger.core.quantities.plain import written
from logger.errors import InputError

Command = TypeVar("Command", bound=Callable[..., Any])


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
    from datetime import date

    if value is None:
        return None
    try:
        return date.fromisoformat(value.strip())
    except ValueError as error:
        raise InputError(f"{value!r} is not a date", option, "Write it as 2026-03-14.") from error


def moment(value: str | None, option: str, now: Any) -> Any:
    """A date, or a date and time, as typed; without an offset this computer's own is meant."""
    from datetime import datetime

    if value is None:
        return None
    try:
        found = datetime.fromisoformat(value.strip())
    except ValueError as error:
        raise InputError(
            f"{value!r} is not a date and time", option, "Write it as 2026-03-14T09:12."
        ) from error
    return found if found.tzinfo is not None else found.replace(tzinfo=now.tzinfo)


QUESTION_OPTIONS: tuple[tuple[str, str, str], ...] = (
    ("--hours-since", "HOURS", "Hours since the last movement: 16h."),
    ("--worked-before", "TEXT", "Greased or worked before the test: 'no', or what was done."),
    ("--ambient", "TEMPERATURE", "Ambient temperature: 4degC."),
    ("--supply", "TEXT", "What fed it: machine battery, bench supply, ..."),
    ("--engine", "yes|no", "Engine running."),
    ("--attachment", "TEXT", "Which attachment was on."),
    ("--operator", "NAME", "Who did the test."),
    ("--instruments", "TEXT", "Instruments used."),
)


def question_options(command: Command) -> Command:
    """The questions that every sheet asks, as options; one left out is "not recorded"."""
    for option, metavar, text in reversed(QUESTION_OPTIONS):
        choice = click.Choice(["yes", "no"]) if metavar == "yes|no" else None
        command = click.option(option, metavar=None if choice else metavar, type=choice, help=text)(command)
    return command


def question_answers(given: dict[str, Any]) -> dict[str, Any]:
    """Those of ``QUESTION_OPTIONS`` in a command's parameters that were answered, as ``core.sheets.questions`` names them.

    A number takes its unit here, as in every option.
    """
    from logger.core.quantities.units import parse
    from logger.core.sheets.questions import QUESTIONS, answer_from

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
    from logger.core.sheets.questions import QUESTIONS, answer_from

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
