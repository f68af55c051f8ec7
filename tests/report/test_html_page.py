"""The HTML paper: one file, fit for a phone, for print, for dark rooms, and for who can't see the drawings."""

import json
import re
import subprocess
from html.parser import HTMLParser
from itertools import pairwise

import pytest
from pypdf import PdfReader

from tests.report.made_material import drawn_page, material
from tests.report.page_words import need, squeezed
from throwbook.report.document import Picture, words
from throwbook.report.html import CSS, to_html
from throwbook.report.report import rig_report
from throwbook.report.report_charts import Drawings

# text colour: grounds it stands on
PAIRS = {
    "ink": ("paper", "caution"),
    "quiet": ("paper",),
    "second": ("paper",),
    "limit": ("paper",),
    "expected": ("paper",),
}
CHROMIUM = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    "--allow-file-access-from-files",
)


@pytest.fixture(scope="module")
def document():
    return rig_report(material())


@pytest.fixture(scope="module")
def html() -> str:
    return drawn_page()


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))


@pytest.fixture(scope="module")
def tags(html):
    reader = _Tags()
    reader.feed(html)
    return reader.tags


def test_there_is_one_title_and_no_heading_skips_a_level(tags):
    levels = [int(tag[1]) for tag, _ in tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_every_drawing_says_what_it_shows(tags, document):
    alts = [block.alt for block in document.blocks if isinstance(block, Picture)]
    drawn = [attributes for tag, attributes in tags if tag == "svg"]
    assert [one["aria-label"] for one in drawn] == alts
    assert {one["role"] for one in drawn} == {"img"}


def test_every_heading_of_a_table_says_what_it_heads(tags):
    scopes = {attributes.get("scope") for tag, attributes in tags if tag == "th"}
    assert scopes == {"col", "row"}
    tables = sum(tag == "table" for tag, _ in tags)
    assert tables == sum(tag == "caption" for tag, _ in tags) > 5


def test_no_id_comes_twice_and_every_reference_has_one(html, tags):
    ids = [attributes["id"] for _, attributes in tags if attributes.get("id")]
    assert len(ids) == len(set(ids))
    wanted = set(re.findall(r'(?:xlink:href="|url\()#([^")]+)', html))
    assert wanted <= set(ids)


def test_nothing_is_fetched_and_nothing_runs(html, tags):
    assert not {tag for tag, _ in tags} & {"script", "link", "img", "iframe", "object"}
    links = {value for _, attributes in tags for name, value in attributes.items() if name in ("src", "href")}
    assert links == set()
    assert "url(http" not in html


def test_the_language_and_the_width_of_a_phone_are_declared(tags):
    assert ("html", {"lang": "en"}) in tags
    assert any(tag == "meta" and one.get("name") == "viewport" for tag, one in tags)


def test_strange_names_cannot_break_out_of_the_page():
    hostile = material(place='<script>alert("x")</script>', owner="A & B")
    page = to_html(rig_report(hostile), Drawings(hostile).as_svg)
    assert "<script" not in page
    assert "A &amp; B" in page


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_every_text_has_a_contrast_of_four_and_a_half(scheme):
    block = {"light": 0, "dark": 1, "print": 2}[scheme]
    colours = dict(
        re.findall(r"--(\w+): (#[0-9a-f]{6})", re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)[block])
    )
    for ink, grounds in PAIRS.items():
        for ground in grounds:
            assert contrast(colours[ink], colours[ground]) >= 4.5, (ink, ground)


def contrast(one: str, other: str) -> float:
    """Ratio of luminances (WCAG 2.1, 1.4.3)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_black_on_white_has_a_contrast_of_twenty_one():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def chromium(tmp_path, *options: str) -> str:
    command = [need("chromium"), *CHROMIUM, f"--user-data-dir={tmp_path / 'profile'}", *options]
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=120).stdout


MEASURE = """<iframe id="f" src="report.html" width="WIDTH" height="2000"></iframe><pre id="out"></pre><script>
document.getElementById('f').onload = () => {
  const d = document.getElementById('f').contentDocument, e = d.documentElement;
  const out = {scroll: e.scrollWidth, client: e.clientWidth, ink: getComputedStyle(d.body).color,
    paper: getComputedStyle(d.body).backgroundColor,
    small: [...d.querySelectorAll('main p, main li, main td, main th')].filter(
      x => parseFloat(getComputedStyle(x).fontSize) < 12).length,
    wide: [...d.querySelectorAll('main > *')].filter(x => x.getBoundingClientRect().right > e.clientWidth + 1).length};
  document.getElementById('out').textContent = JSON.stringify(out);
};
</script>"""


@pytest.mark.parametrize(
    ("scheme", "width"),
    [  # each width and each scheme at once; the other pairs are long
        ("light", 390),
        ("dark", 1200),
        pytest.param("light", 1200, marks=pytest.mark.long),
        pytest.param("dark", 390, marks=pytest.mark.long),
    ],
)
def test_a_browser_shows_it_at_phone_and_desktop_width_in_light_and_dark(tmp_path, html, width, scheme):
    (tmp_path / "report.html").write_text(html, encoding="utf-8")
    (tmp_path / "measure.html").write_text(MEASURE.replace("WIDTH", str(width)), encoding="utf-8")
    dark = ["--force-dark-mode", "--blink-settings=preferredColorScheme=0"] if scheme == "dark" else []
    page = chromium(
        tmp_path,
        *dark,
        "--window-size=1400,2200",
        "--virtual-time-budget=4000",
        "--dump-dom",
        f"file://{tmp_path / 'measure.html'}",
    )
    found = json.loads(re.search(r'<pre id="out">(.*?)</pre>', page).group(1))
    assert found["client"] == width
    assert found["scroll"] <= width
    assert found["wide"] == 0
    assert found["small"] == 0
    channels = [int(part) for part in re.findall(r"\d+", found["paper"])[:3]]
    assert (max(channels) < 64) == (scheme == "dark")


@pytest.mark.long  # what a style for print hides, only in test-all
def test_printed_from_a_browser_it_says_the_same(tmp_path, html, document):
    (tmp_path / "report.html").write_text(html, encoding="utf-8")
    target = tmp_path / "printed.pdf"
    chromium(
        tmp_path, f"--print-to-pdf={target}", "--no-pdf-header-footer", f"file://{tmp_path / 'report.html'}"
    )
    pages = PdfReader(target).pages
    said = squeezed(" ".join(page.extract_text() for page in pages))
    assert 5 <= len(pages) <= 14
    assert squeezed(document.end_mark) in said
    alts = {block.alt for block in document.blocks if isinstance(block, Picture)}
    lines = [line for line in words(document).splitlines() if line not in alts]
    missing = [
        cell
        for line in lines
        for cell in line.replace(": ", " | ").split(" | ")
        if squeezed(cell) not in said
    ]
    assert missing == []
