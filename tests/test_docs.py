"""Every command explains itself: a help text with an example that names the command."""

import re
import textwrap
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from tests.sign_names import ADD, EVERY
from throwbook import assess_trace, read_rig, read_trace
from throwbook.cli.guide import columns_page, glossary_page, signs_page
from throwbook.cli.main import COMMANDS, throwbook
from throwbook.core.diagnosis.causes import CAUSES
from throwbook.core.diagnosis.signs import SIGNS
from throwbook.core.wording import SIGN_REMEDIES
from throwbook.jobs.sample_runs import SAMPLE_RUNS


def commands(group: click.Group, before: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    ctx = click.Context(group)
    for name in group.list_commands(ctx):
        command = group.get_command(ctx, name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from commands(command, (*before, name))
        else:
            yield " ".join((*before, name)), command


ALL = dict(commands(throwbook))


@pytest.mark.parametrize("name", ALL)
def test_the_help_of_every_command_has_an_example_of_it(name: str):
    text = f"{ALL[name].help} {ALL[name].epilog}"
    assert "Example" in text
    assert f"throwbook {name}" in " ".join(text.split())


@pytest.mark.parametrize("name", ALL)
def test_every_option_of_every_command_is_explained(name: str):
    silent = [one.name for one in ALL[name].params if isinstance(one, click.Option) and not one.help]
    assert silent == []


def test_every_line_of_the_list_of_commands_is_a_sentence():
    for _, _, line in COMMANDS.values():
        assert line.endswith(".")


TOP = Path(__file__).parent.parent
GUIDE = TOP / "logger" / "throwbook" / "guide"
PAGES = sorted([*GUIDE.glob("*.md"), TOP / "README.md", TOP / "DEVELOPERS.md"])
REMEDY = "Run 'make pictures' and look at the change."


@pytest.mark.parametrize("name", ALL)
def test_every_command_and_option_is_in_the_guide(name: str):
    sections = (GUIDE / "commands.md").read_text("utf-8").split("\n##")
    section = next((one for one in sections if f"`throwbook {name}`" in one.partition("\n")[0]), None)
    assert section is not None, REMEDY
    options = [option for one in ALL[name].params if isinstance(one, click.Option) for option in one.opts]
    assert [option for option in options if option not in section] == [], REMEDY


def test_every_sign_is_in_the_guide_with_its_picture():
    page = (GUIDE / "signs.md").read_text("utf-8")
    for sign in {run.sign for run in SAMPLE_RUNS} - {""}:
        section = page.partition(f"## `{sign}`")[2].partition("\n## ")[0]
        assert "pictures/" in section, f"{sign}: {REMEDY}"
        assert "What to do: " in section
    assert {cause.sign for cause in CAUSES} - set(SIGN_REMEDIES) == set(), (
        "a row in SIGN_REMEDIES of logger/throwbook/core/wording.py"
    )
    told = {cause.sign for cause in CAUSES}
    assert {sign for sign in told if f"## `{sign}`" not in page} == set(), REMEDY


def test_every_sign_that_is_looked_for_has_its_name_its_causes_and_its_words():
    looked_for = {look.__name__.replace("_", "-") for look in SIGNS}
    assert looked_for | {"duty-exceeded"} == EVERY, ADD
    assert looked_for - {cause.sign for cause in CAUSES} == set(), (
        "a row in CAUSES of logger/throwbook/core/diagnosis/causes.py"
    )
    assert EVERY - set(SIGN_REMEDIES) == set(), "a row in SIGN_REMEDIES of logger/throwbook/core/wording.py"


def test_the_pages_of_signs_names_and_columns_are_what_the_tables_say():
    assert (GUIDE / "signs.md").read_text("utf-8") == signs_page(), REMEDY
    assert (GUIDE / "glossary.md").read_text("utf-8") == glossary_page(), REMEDY
    assert (GUIDE / "columns.md").read_text("utf-8") == columns_page(), REMEDY


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_leads_somewhere(page: Path):
    links = re.findall(r"\]\(([^)#\s]+)[^)]*\)", page.read_text("utf-8"))
    assert [link for link in links if "://" not in link and not (page.parent / link).exists()] == []


def test_every_page_of_the_guide_is_linked_from_its_first_page_and_the_readme():
    for first, before in ((GUIDE / "README.md", ""), (TOP / "README.md", "logger/throwbook/guide/")):
        text = first.read_text("utf-8")
        assert [
            page.name
            for page in GUIDE.glob("*.md")
            if page.name != "README.md" and f"]({before}{page.name})" not in text
        ] == []


def test_every_picture_says_what_it_shows():
    for page in PAGES:
        assert "![]" not in page.read_text("utf-8")


def test_the_lines_of_the_notebook_page_run(monkeypatch):
    monkeypatch.chdir(TOP)
    blocks = re.findall(r"((?:^    .*\n|^\n)+)", (GUIDE / "notebook.md").read_text("utf-8"), re.MULTILINE)
    lines = textwrap.dedent(next(block for block in blocks if "from throwbook import" in block))
    held: dict[str, object] = {}
    exec(lines.partition("with open_logbook_readonly")[0], held)
    assert held["judged"].verdict == "watch"


def test_a_throw_with_a_pin_off_passes_as_the_guide_warns():
    rig = read_rig(TOP / "sample-runs" / "yard-loader.toml")
    found = assess_trace(read_trace(TOP / "sample-runs" / "signs" / "completes-one-pin-off.csv"), rig)
    assert found.verdict == "pass"


def test_the_page_for_contributors_is_a_guide_and_names_what_is_there():
    text = " ".join((TOP / "DEVELOPERS.md").read_text("utf-8").split())
    assert len(text.encode()) < 20_000, "what was measured or tried belongs into tests/benchmarks/*.md"

    def place(path: str) -> Path:
        return next((top / path for top in (TOP, GUIDE.parent) if (top / path).exists()), TOP / path)

    named = set(re.findall(r"`((?:[\w.-]+/)+[\w.-]*)`", text))
    assert [path for path in named if not place(path).exists()] == []
    words = re.findall(r"`(\w+)` of `([\w./-]+\.\w+)`", text)
    assert len(words) > 25
    assert [
        pair for pair in words if not re.search(rf"\b{pair[0]}\b", place(pair[1]).read_text("utf-8"))
    ] == []
