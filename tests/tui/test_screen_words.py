"""No screen tells a person to type an option or a command."""

import ast
import re
from pathlib import Path

import pytest

from throwbook_tui.screen_words import for_screen

TOP = Path(__file__).parents[2] / "logger" / "throwbook"
ROOMS = ("core", "jobs", "logbook", "ports")
ONLY_TYPED = {
    "demo.py": "plays commands and shows them",
    "demo_tellings.py": "plays commands and shows them",
    "demo_rehearsal.py": "plays commands and shows them",
    "demo_story.py": "plays commands and shows them",
    "demo_throws.py": "plays commands and shows them",
    "guide.py": "writes the guide",
    "samples.py": "writes sample runs",
    "rehearse.py": "faults and troubles are chosen by name only when typed",
    "importing.py": "files are imported by command",
    "trend_dask.py": "a fleet is gone through by command",
    "season_source.py": "an export is gone through by command",
    "merge.py": "logbooks are merged by command",
    "migrate.py": "before the screen opens",
    "logbooks.py": "before the screen opens",
    "questions.py": "options by name, asked as fields by the screen",
    "status_words.py": "the screen has words of its own for each step",
    "scpi.py": "a bench instrument is named by command",
}
TYPED = re.compile(r"(?<![\w-])--[a-z]|throwbook (?!method)[a-z]+ ?[a-z]*|throwbook [a-z]+'")


def sentences() -> list[tuple[str, str]]:
    """File and every text in it, f-strings with their gaps as x; docstrings left out."""
    found = []
    for room in ROOMS:
        for file in sorted((TOP / room).rglob("*.py")):
            if file.name in ONLY_TYPED:
                continue
            tree = ast.parse(file.read_text("utf-8"))
            said = {
                id(node.body[0].value)
                for node in ast.walk(tree)
                if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
                and node.body
                and isinstance(node.body[0], ast.Expr)
            }
            for node in ast.walk(tree):
                if isinstance(node, ast.JoinedStr):
                    parts = [part.value if isinstance(part, ast.Constant) else "7" for part in node.values]
                    said |= {id(part) for part in node.values}
                    found.append((file.name, "".join(map(str, parts))))
            for node in ast.walk(tree):
                if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in said:
                    found.append((file.name, node.value))
    return [(name, text) for name, text in found if TYPED.search(text)]


def test_there_are_sentences_that_name_options_and_commands():
    assert len(sentences()) > 25


@pytest.mark.parametrize(("name", "text"), sentences())
def test_what_a_job_says_for_the_command_line_is_said_for_the_screen(name, text):
    assert not TYPED.search(for_screen(text)), (name, text, for_screen(text))


def test_words_of_a_person_stay_as_they_are():
    assert for_screen("left pin -- bent; throwbooks of old") == "left pin -- bent; throwbooks of old"
