"""No text the tool can show may claim what only a person's eyes can: that pins are "locked", "engaged", or "safe".

Every string in logger/ and tui/ is read from the syntax tree: literals, f-strings, and the docstrings of command functions
(they are help texts). Templates beside the code are read whole. What is allowed stands in ``REVIEWED`` with its reason.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house import product_sources

TOP = Path(__file__).parent.parent
CLAIMS = re.compile(r"\b(locked|unlocked|engaged|safe|safely|safety)\b", re.IGNORECASE)
SHOWN_DOCSTRINGS = ("cli",)
TEMPLATES = (".html", ".txt", ".tcss", ".css", ".svg", ".j2")

# phrase: why it may stand. A phrase is taken out of a string before the string is searched.
REVIEWED: dict[str, str] = {
    "half-locked attachment": "names the hazard itself (method.md 7)",
    "safety circuits": "names a kind of wiring that belongs to qualified people (method.md 7)",
    r"\b(locked|engaged|safe|": "what no rig may be called (rig_names); compared with, not shown",
    "database is locked": "what the database says when another program holds it; compared with, not shown",
}


def texts(source: str, docstrings_shown: bool) -> Iterator[tuple[int, str]]:
    """Line and text of every string in ``source`` that a person might read."""
    tree = ast.parse(source)
    hidden = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            body = node.body
            shown = docstrings_shown and isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
            for number, one in enumerate(body):
                bare = isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant)
                if bare and not (shown and number == 0):
                    hidden.add(id(one.value))
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            parts = [p.value if isinstance(p, ast.Constant) else "{}" for p in node.values]
            hidden.update(id(p) for p in node.values if isinstance(p, ast.Constant))
            yield node.lineno, "".join(map(str, parts))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in hidden:
            yield node.lineno, node.value


def claims_in(text: str) -> list[str]:
    for phrase in REVIEWED:
        text = re.sub(re.escape(phrase), " ", text, flags=re.IGNORECASE)
    return CLAIMS.findall(text)


def claims_in_source(source: str, docstrings_shown: bool = False) -> list[tuple[int, str]]:
    return [(line, text) for line, text in texts(source, docstrings_shown) if claims_in(text)]


def test_no_string_claims_what_only_eyes_can():
    faults = [
        (path.as_posix(), line, text)
        for path, source in product_sources().items()
        for line, text in claims_in_source(source, any(part in SHOWN_DOCSTRINGS for part in path.parts))
    ]
    assert faults == []


def test_no_template_claims_what_only_eyes_can():
    found = {
        str(path.relative_to(TOP)): claims_in(path.read_text("utf-8"))
        for part in ("logger", "tui")
        for path in (TOP / part).rglob("*")
        if path.suffix in TEMPLATES
    }
    assert {name: words for name, words in found.items() if words} == {}


@pytest.mark.parametrize(
    "source",
    [
        'say("pins locked")',
        'x = f"rig {name} is SAFE"',
        'table = {"a": ("both pins engaged",)}',
        'y = ("it is now "\n     "safe to lift")',
        'def command():\n    """Show that the pins are engaged."""',
    ],
)
def test_the_search_finds_a_claim_wherever_it_hides(source: str):
    assert len(claims_in_source(source, docstrings_shown=True)) == 1


@pytest.mark.parametrize(
    "source", ['"lock"', '"spacing_locked"', 'f"{throws} lock throws"', '"""Module: locked."""']
)
def test_the_search_leaves_directions_keys_and_comments_alone(source: str):
    assert claims_in_source(source) == []
