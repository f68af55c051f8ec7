"""The table of screens by name: every screen stands in it, and every call that opens one fits what the screen takes.

The names are words, so the type checker can't hold the calls against the screens: these tests do.
"""

import ast
import inspect
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest
from textual.screen import Screen

from throwbook_tui import context

TUI = Path(context.__file__).parent
FRAMES = {"__init__", "page", "form_page", "text_page"}
"""What every screen is made from; none is opened."""


def class_of(name: str) -> type[Screen]:
    module, made_by = context.DOORS[name]
    made: type[Screen] = getattr(import_module(module), made_by)
    return made


def calls() -> Iterator[tuple[str, ast.Call]]:
    """Every call that opens a screen by its name, with its place."""
    for path in sorted(TUI.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
                called = (
                    node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
                )
                if called in ("open_screen", "replace_by", "screen"):
                    yield f"{path.relative_to(TUI)}:{node.lineno}", node


CALLS = dict(calls())


def test_every_screen_has_one_door():
    files = {
        f"throwbook_tui.screens.{one.stem}"
        for one in (TUI / "screens").glob("*.py")
        if one.stem not in FRAMES
    }
    assert sorted({module for module, _ in context.DOORS.values()}) == sorted(files)
    assert len(set(context.DOORS.values())) == len(context.DOORS)


@pytest.mark.parametrize("name", context.DOORS)
def test_behind_every_door_is_a_screen_of_that_name(name):
    assert issubclass(class_of(name), Screen)


@pytest.mark.parametrize("where", CALLS)
def test_every_call_that_opens_a_screen_gives_what_the_screen_takes(where):
    name, *args = CALLS[where].args
    assert isinstance(name, ast.Constant)
    given = {one.arg: None for one in CALLS[where].keywords if one.arg not in ("then", None)}
    inspect.signature(class_of(name.value)).bind(*args, **given)


def test_every_door_is_opened_somewhere():
    assert {one.args[0].value for one in CALLS.values()} == set(context.DOORS)  # type: ignore[attr-defined]
