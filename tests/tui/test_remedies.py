"""Below the front ends no error names an option or a command; each front end has words for every field and remedy."""

import ast
import re
from functools import cache
from pathlib import Path

import click

from throwbook.cli.diagnostics import REMEDIES as TYPED_REMEDIES
from throwbook.cli.diagnostics import worded
from throwbook.cli.main import throwbook
from throwbook.core.status.status_text import NEXT_STEP, step_in_words
from throwbook.errors import Field, InputError, Remedy
from throwbook.jobs.unfinished import JUDGE, JUDGE_AGAIN
from throwbook_tui.present import FIELDS, REMEDIES, spoken

TOP = Path(__file__).parents[2] / "logger" / "throwbook"
FILES = [
    file
    for room in ("core", "files", "jobs", "logbook", "ports", "report")
    for file in (TOP / room).rglob("*.py")
]
ONLY_TYPED = {
    "audit.py",  # a file for somebody who has no screen of ours
    "demo.py",
    "import_folder.py",  # of what it leaves a screen shows what is wrong, not what to type
    "import_traces.py",
    "merge.py",
    "trace_file.py",
    "trace_head.py",
    "column_names.py",
    "csv_rows.py",
    "other_loggers.py",
    "cell_values.py",
    "tables.py",
    "sample_runs.py",
}
"""Jobs that no screen starts; some of their sentences still name an option with its value."""
FOR_THE_COMMAND_LINE = {"status_text.py", "steps_to_clear.py", "unfinished.py"}
"""Steps to clear an order: the command line and the papers say each with its command, the screen cuts that off."""
SHOWN = [
    file
    for room in ("core", "jobs", "logbook")
    for file in (TOP / room).rglob("*.py")
    if file.name not in ONLY_TYPED | FOR_THE_COMMAND_LINE
]
TYPED = re.compile(r"(?<![\w-])--[a-z]|throwbook (?!method)[a-z]+ ?[a-z]*|throwbook [a-z]+'")


@cache
def calls_in(file: Path) -> list[ast.Call]:
    return [node for node in ast.walk(ast.parse(file.read_text("utf-8"))) if isinstance(node, ast.Call)]


def called(file: Path, *names: str) -> list[ast.Call]:
    """Calls of these names in a file."""
    return [node for node in calls_in(file) if getattr(node.func, "id", "") in names]


def texts(node: ast.AST) -> list[str]:
    """Every text in it but docstrings, the gaps of an f-string as 7."""
    skip, found = set(), []
    for part in ast.walk(node):
        if isinstance(part, ast.Expr) and isinstance(part.value, ast.Constant):
            skip.add(part.value)
        if isinstance(part, ast.JoinedStr):
            skip.update(part.values)
            found.append(
                "".join(str(each.value) if isinstance(each, ast.Constant) else "7" for each in part.values)
            )
        elif isinstance(part, ast.Constant) and isinstance(part.value, str) and part not in skip:
            found.append(part.value)
    return found


def parts(command: click.Command) -> dict[str, click.Command]:
    """The commands of a group."""
    if not isinstance(command, click.Group):
        return {}
    ctx = click.Context(command)
    return {name: found for name in command.list_commands(ctx) if (found := command.get_command(ctx, name))}


def options(command: click.Command) -> set[str]:
    """Every option below a command."""
    own = {text for one in command.params for text in one.opts if text.startswith("--")}
    more = parts(command).values()
    return own.union(*map(options, more))


def test_no_error_below_the_front_ends_names_an_option_or_a_command():
    faults = [
        (file.name, text)
        for file in FILES
        if file.name not in ONLY_TYPED
        for call in called(file, "InputError", "OutsideError", "ImplausibleReadingError")
        for text in texts(call)
        if TYPED.search(text)
    ]
    assert faults == []


def test_every_field_is_an_option_and_what_the_screen_names_is_a_field():
    fields = {
        text for file in FILES for call in called(file, "Field") for text in texts(call) if "7" not in text
    }
    assert len(fields) > 20
    assert {f"--{name}" for name in fields} <= options(throwbook)
    assert {name for name in FIELDS if not name.endswith("-on")} <= fields


def test_every_remedy_is_a_command_or_an_option_that_is_there():
    assert set(TYPED_REMEDIES) == set(Remedy)
    for said in TYPED_REMEDIES.values():
        assert set(re.findall(r"--[a-z-]+", said)) <= options(throwbook), said
        for words in re.findall(r"throwbook ([a-z]+(?: [a-z]+)*)", said):
            command: click.Command = throwbook
            for word in words.split():
                command = parts(command)[word] if parts(command) else command
        assert TYPED.search(said), said


def test_the_screen_names_neither():
    assert [said for said in (*REMEDIES.values(), *FIELDS.values()) if TYPED.search(said)] == []


def test_one_error_is_said_in_two_ways():
    error = InputError("no reason given", Field("because"), "Say why", Remedy.LIST_SHEETS)
    assert worded(error) == "--because: no reason given. Say why. 'throwbook sheet list' shows their names."
    assert spoken(error) == "the reason: no reason given. Say why. The rig's screen lists them."
    assert str(error) == "because: no reason given. Say why. List sheets."
    assert spoken(InputError("x", remedy=Remedy.LIST_ORDERS)) == "x. List orders."


def test_no_sentence_that_a_screen_may_show_names_an_option_or_a_command():
    """What isn't an error either: what an acceptance lacks, what a check found, why a baseline stays.

    What begins with an option is a row of a table for the command line, no sentence.
    """
    faults = [
        (file.name, text)
        for file in SHOWN
        for text in texts(ast.parse(file.read_text("utf-8")))
        if TYPED.search(text) and not text.startswith("--")
    ]
    assert faults == []


def test_a_step_is_cut_before_its_command():
    steps = [*NEXT_STEP.values(), JUDGE, JUDGE_AGAIN]
    assert all(TYPED.search(step) for step in steps if step != NEXT_STEP["cause found"])
    assert [step for step in steps if TYPED.search(step_in_words(step))] == []
