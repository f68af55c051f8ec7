"""Markup in everything that a person or a file can name, through another logbook into a report, opened in a real browser."""

import csv
import os
import subprocess
import sys
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.command import as_file_name
from tests.report.page_words import need, squeezed

TOP = Path(__file__).parents[2]
SAMPLES = TOP / "sample-runs"
RUN = "document.documentElement.setAttribute('data-ran','yes')"
ATTACKS = (
    f"<script>{RUN}</script>",
    f'"><img src=x: onerror="{RUN}">',
    f"</td></table></style></title><svg onload={RUN}>",
    f"--></script><script>{RUN}</script>",
    f"' autofocus tabindex=0 onfocus=\"{RUN}\" x='",
    f'<a href="javascript:{RUN}" id=a>x</a><iframe srcdoc="<script>parent.{RUN}</script>">',
    "<meta http-equiv=refresh content=0;url=data:text/html,x><base href=//x.invalid><style>*{display:none}</style>",
)
FORMULAS = ("=cmd|' /C x'!A1", "+1+x", "@SUM(1)", "\t=1+1", "-1+x", " =1+1", '=HYPERLINK("x","y")')
CHROMIUM = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    *("--virtual-time-budget=4000", "--dump-dom"),
)


class Said:
    """Hands out the hostile texts in turn, each with a mark by which it is found again."""

    def __init__(self, texts: tuple[str, ...]) -> None:
        self.texts, self.given = texts, Counter[str]()

    def __call__(self, place: str) -> str:
        text = self.texts[sum(self.given.values()) % len(self.texts)]
        self.given[place] += 1
        return f"{text} {place}"


def throwbook(folder: Path, *words: object) -> None:
    env = os.environ | {"THROWBOOK_BY": "M. K.", "PYTHONPATH": str(TOP), "PYTHONIOENCODING": "utf-8"}
    line = [sys.executable, "-m", "throwbook", "--logbook", str(folder / "log.throwbook"), *map(str, words)]
    done = subprocess.run(
        line, cwd=folder, env=env, capture_output=True, stdin=subprocess.DEVNULL, check=False
    )
    assert done.returncode in (0, 1), (words[:3], done.stderr)
    assert "\x1b" not in (done.stdout + done.stderr).decode()


def filled(folder: Path, said: Said) -> str:
    """A logbook with hostile text wherever text may be; the rig's name."""
    rig = f"{said.texts[0]} rig"
    toml = (SAMPLES / "yard-loader.toml").read_text("utf-8").replace('"yard-loader"', quoted(rig))
    toml = toml.replace('"IP66"', quoted(said("protection")))
    (folder / "rig.toml").write_text(toml, "utf-8")
    throwbook(folder, "rig", "add", "rig.toml", "--by", said("adder"))
    asked = [
        word
        for name in ("worked-before", "supply", "attachment", "operator", "instruments", "by")
        for word in (f"--{name}", said(name))
    ]
    trace = (SAMPLES / "healthy" / "lock-mild.csv").read_text("utf-8").split("\n")
    trace.insert(1, f"# comment = {quoted(said('comment'))}")
    name = as_file_name(f"{said.texts[1]}.csv".replace("\t", ""))
    (folder / name).write_text("\n".join(trace), "utf-8")
    throwbook(folder, "import", "--rig", rig, "--kind", "spot", "--allow", "other-rig", *asked, folder / name)
    hand = ("enter", "--rig", rig, "--direction", "lock", "--time", "14.3s", "--run", "2.1A", *asked)
    throwbook(folder, *hand, "--left-pin", "yes", "--note", said("note"), "--seen-how", said("seen-how"))
    work = [
        word
        for name in ("seen", "found", "fixed", "verified", "parts", "by")
        for word in (f"--{name}", said(f"work-{name}"))
    ]
    throwbook(folder, "service", "add", rig, "--action", "greased", *work)
    throwbook(
        folder, "order", "raise", rig, "--cause", "damage", "--because", said("because"), "--by", said("who")
    )
    return rig


def quoted(text: str) -> str:
    """As a TOML string."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\t", "\\t") + '"'


class Markup(HTMLParser):
    """What a browser made of a page: tags and attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags, self.attributes, self.text = set[str](), dict[str, str](), ""
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes |= {name: value or "" for name, value in attrs}

    def handle_data(self, data):
        self.text += data


def opened_in_a_browser(page: Path, profile: Path) -> Markup:
    line = [need("chromium"), *CHROMIUM, f"--user-data-dir={profile}", page.as_uri()]
    done = subprocess.run(line, capture_output=True, text=True, check=True, timeout=120)
    return Markup(done.stdout)


@pytest.mark.long  # one name that is not made harmless: make test looks at those of tests/report/test_html_page.py
def test_nothing_runs_in_a_report_full_of_markup_that_came_through_another_logbook(tmp_path: Path):
    theirs, ours = tmp_path / "theirs", tmp_path / "ours"
    theirs.mkdir()
    ours.mkdir()
    said = Said(ATTACKS)
    rig = filled(theirs, said)
    throwbook(ours, "merge", theirs / "log.throwbook")
    throwbook(ours, "report", rig, "--folder", "papers", "--place", said("place"), "--owner", said("owner"))
    (page,) = (ours / "papers").glob("*.html")
    seen = opened_in_a_browser(page, tmp_path / "profile")
    assert "data-ran" not in seen.attributes
    assert not seen.tags & {"script", "img", "iframe", "a", "base", "object", "link"}
    assert [name for name in seen.attributes if name.startswith("on") or name == "autofocus"] == []
    assert not [value for value in seen.attributes.values() if value.strip().startswith("javascript:")]
    shown = [place for place in said.given if f" {place}" in seen.text]
    assert len(shown) >= 15, shown  # they did come through, as text
    assert "<script>" in seen.text
    # The PDF's own paragraphs know a markup that fetches pictures (CVE-2020-28463): there too it is text alone.
    (paper,) = (ours / "papers").glob("*.pdf")
    printed = squeezed("".join(sheet.extract_text() for sheet in PdfReader(paper).pages))
    assert squeezed(ATTACKS[0]) in printed
    assert squeezed("<img src=x:") in printed


@pytest.mark.parametrize(
    "attack", [ATTACKS[0], *(pytest.param(one, marks=pytest.mark.long) for one in ATTACKS[1:4])]
)
def test_the_same_markup_does_run_where_nobody_makes_it_harmless(attack: str, tmp_path: Path):
    """Else the test above couldn't fail."""
    page = tmp_path / "page.html"
    closed = "<!-- " if attack.startswith("-->") else "<p>"
    page.write_text(f"<!doctype html><title>x</title>{closed}{attack}</p>", "utf-8")
    assert opened_in_a_browser(page, tmp_path / "profile").attributes.get("data-ran") == "yes"


@pytest.mark.long  # one column that lets a formula through: make test looks at those of test_hostile_names.py
def test_no_cell_of_any_exported_table_begins_a_formula_wherever_the_text_was_given(tmp_path: Path):
    said = Said(FORMULAS)
    filled(tmp_path, said)
    throwbook(tmp_path, "export", "out", "--traces")
    made_harmless = Counter[str]()
    for table in (tmp_path / "out").rglob("*.csv"):
        with table.open(newline="", encoding="utf-8") as file:
            for cell in (cell for row in csv.reader(file) for cell in row):
                bare = cell.lstrip(" \n\u00a0\u200b\ufeff")
                assert not bare.startswith(("=", "@", "\t", "\r")), (table.name, cell)
                if bare.startswith(("+", "-")):
                    float(cell)
                made_harmless[cell.split(" ")[-1]] += cell.startswith("'")
    assert sum(made_harmless.values()) >= 15, made_harmless
