"""Below the front ends no error names an option or a command; each front end has words for every field and remedy."""

import ast
import re
from pathlib import Path

import click
import pytest

from throwbook.cli.diagnostics import REMEDIES as TYPED_REMEDIES
from throwbook.cli.diagnostics import worded
from throwbook.cli.main import throwbook
from throwbook.errors import Field, InputError, Remedy
from throwbook_tui.screen_words import FIELDS, REMEDIES, for_screen, spoken

TOP = Path(__file__).parents[2] / "logger" / "throwbook"
FILES = [
    file
    for room in ("core", "files", "jobs", "logbook", "ports", "report")
    for file in (TOP / room).rglob("*.py")
]
ONLY_TYPED = {
    "demo.py",
    "import_traces.py",
    "merge.py",
    "trace_file.py",
    "csv_rows.py",
    "tables.py",
    "sample_runs.py",
}
"""Jobs that no screen starts; some of their sentences still name an option with its value."""
NO_ERRORS = [
    "unfinished.py",
    "acceptance.py",
    "acceptance_rules.py",
    "baseline_selection.py",
    "steps_to_clear.py",
    "logbook_care.py",
]
TYPED = re.compile(r"(?<![\w-])--[a-z]|throwbook (?!method)[a-z]+ ?[a-z]*|throwbook [a-z]+'")


def called(file: Path, *names: str) -> list[ast.Call]:
    """Calls of these names in a file."""
    tree = ast.walk(ast.parse(file.read_text("utf-8")))
    return [node for node in tree if isinstance(node, ast.Call) and getattr(node.func, "id", "") in names]


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


@pytest.mark.parametrize("name", NO_ERRORS)
def test_a_sentence_that_is_no_error_is_said_for_the_screen(name):
    trees = [ast.parse(file.read_text("utf-8")) for file in FILES if file.name == name]
    found = [text for tree in trees for text in texts(tree) if TYPED.search(text)]
    assert found
    left = [for_screen(text) for text in found if not text.startswith("--")]
    assert [text for text in left if TYPED.search(text)] == []


def test_words_of_a_person_stay_as_they_are():
    assert for_screen("left pin -- bent; throwbooks of old") == "left pin -- bent; throwbooks of old"
