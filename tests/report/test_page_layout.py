"""How the pages are laid out: nothing lies on anything else, nothing leaves the page, nothing is torn apart."""

import io
from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from pypdf import PdfReader

from tests.report.made_material import material, part
from tests.report.page_words import Word, overlapping, squeezed, words_on_pages
from throwbook.core.records import AFTER_SERVICE
from throwbook.core.trend.control_chart import Chart, Forecast, Point, Slope
from throwbook.core.trend.trend_result import AsFound, TrendResult
from throwbook.report.document import Document, Facts, Heading, Table, Text
from throwbook.report.html import to_html
from throwbook.report.pdf import to_pdf
from throwbook.report.pdf_layout import PAPERS, column_widths
from throwbook.report.report import rig_report
from throwbook.report.report_charts import Drawings

POINTS_AN_INCH = 72
PAGES = {"a4": 7, "letter": 8}
"""How many pages the made report has: another number is another layout, to be looked at."""


def trend(direction: str, checks: int, figure: str = "run_current") -> TrendResult:
    days = [date(2022, 3, 1) + timedelta(days=round(1400 * n / max(checks - 1, 1))) for n in range(checks)]
    points = tuple(
        Point(
            day,
            f"s-{n}",
            2.0 + 0.3 * n / checks,
            2.0 + 0.3 * n / checks,
            0.02,
            3,
            "in control",
            "",
            2.0,
            0.0,
            10.0,
            0.0,
            2.0 + 0.1 * n / checks,
            2.2,
            1.9,
        )
        for n, day in enumerate(days)
    )
    chart = Chart(2.0, 1.9, 2.2, 2.1, 5, 3.0, 0.05, 2.1, 5.0, "2022-03-01")
    ahead = Forecast(2.88, "80 % of rated", date(2027, 1, 1), date(2026, 9, 1), date(2027, 9, 1), 0.8)
    return TrendResult(
        "yard-loader", direction, figure, "A", points, chart, None, (), Slope(0.05, 0.02, 0.08, 0.01), ahead, "", (),
        AsFound((), None, None), False, 0.1, 0.02, 0.001, stages=(chart,),
    )  # fmt: skip


@pytest.fixture(scope="module")
def source():
    return material(trends=tuple(trend(way, 16) for way in ("lock", "unlock")))


@pytest.fixture(scope="module")
def drawings(source):
    return Drawings(source)


# letter, narrower by no more than a word: what does not fit there alone, only in test-all
@pytest.fixture(scope="module", params=["a4", pytest.param("letter", marks=pytest.mark.long)])
def pages(request, source, drawings, tmp_path_factory):
    document = rig_report(source)
    pdf = to_pdf(document, request.param, drawings.as_pdf_pages)
    folder = tmp_path_factory.mktemp("pages")
    return SimpleNamespace(name=request.param, document=document, pdf=pdf, words=words_on_pages(pdf, folder))


def test_words_on_each_other_are_noticed():
    one, apart = Word("one", 10, 10, 40, 18), Word("apart", 42, 10, 60, 18)
    assert overlapping([one, apart, Word("below", 10, 18.5, 40, 26)]) == []
    assert overlapping([one, apart, Word("on", 35, 14, 50, 22)]) == [("one", "on"), ("apart", "on")]


def test_no_word_lies_on_another(pages):
    for number, (_, _, words) in enumerate(pages.words, 1):
        assert overlapping(words) == [], f"page {number}"


def test_every_word_is_on_its_page_inside_the_margins(pages):
    _, _, margin, _ = PAPERS[pages.name]
    for width, height, words in pages.words:
        assert min(word.left for word in words) >= margin - 1.0
        assert max(word.right for word in words) <= width - margin + 1.0
        assert min(word.top for word in words) >= margin - 2.0
        assert max(word.bottom for word in words) <= height - 0.3 * margin


def test_the_pages_have_the_size_that_was_asked_for(pages):
    width, height, _, _ = PAPERS[pages.name]
    for found_width, found_height, _ in pages.words:
        assert (found_width, found_height) == pytest.approx((width, height), abs=0.1)


def test_the_report_has_as_many_pages_as_when_it_was_last_looked_at(pages):
    assert len(pages.words) == PAGES[pages.name]


def test_no_heading_stands_last_on_a_page(pages):
    headings = {squeezed(block.text) for block in pages.document.blocks if isinstance(block, Heading)}
    captions = {
        squeezed(block.caption) for block in pages.document.blocks if isinstance(block, Table | Facts)
    }
    for page in PdfReader(io.BytesIO(pages.pdf)).pages:
        lines = [line for line in page.extract_text().splitlines() if line.strip()]
        body = [line for line in lines if not line.startswith(("Report ", "page "))]
        assert squeezed(body[-1]) not in headings | captions


def test_a_long_table_is_cut_between_rows_and_its_headings_come_again(tmp_path):
    rows = tuple(
        (str(n), f"first line of row {n} and then enough words to need a third line " * 4) for n in range(90)
    )
    document = Document("Long", "table", "n-1", (Table(("No.", "What"), rows, "Rows"),), "End", "n-1")
    found = words_on_pages(to_pdf(document, "a4"), tmp_path)
    assert len(found) > 2
    for _, _, words in found:
        assert [word.text for word in words].count("No.") >= 1
        starts = [word for word in words if word.text == "first"]
        ends = [word for word in words if word.text == "line"]
        assert len(ends) == 2 * len(starts)
    assert overlapping(found[0][2]) == []


def test_a_last_row_never_stands_alone_on_a_page(tmp_path):
    for count in range(50, 60, 2):
        rows = tuple((str(n), "word") for n in range(count))
        document = Document("T", "s", "n", (Table(("No.", "What"), rows, "Rows"),), "End", "n")
        for _, _, words in words_on_pages(to_pdf(document, "a4"), tmp_path):
            alone = sum(word.text == "word" for word in words)
            assert alone == 0 or alone >= 3


def test_a_heading_moves_to_the_next_page_with_its_table(tmp_path):
    for filler in range(40, 56, 3):
        blocks = (
            *(Text("filler"),) * filler,
            Heading("Above the table"),
            Table(("A",), (("x",), ("y",)), "Small"),
        )
        document = Document("T", "s", "n", blocks, "End", "n")
        pages = words_on_pages(to_pdf(document, "a4"), tmp_path)
        where = [n for n, (_, _, words) in enumerate(pages) for word in words if word.text in ("Above", "y")]
        assert len(set(where)) == 1


def test_a_caption_stays_with_few_high_rows_that_are_not_cut(tmp_path):
    rows = tuple((f"row{n}", "enough words to need a line of its own " * 12) for n in range(5))
    for filler in range(20, 50, 3):
        blocks = (*(Text("filler"),) * filler, Table(("A", "What"), rows, "Caption"))
        document = Document("T", "s", "n", blocks, "End", "n")
        pages = words_on_pages(to_pdf(document, "a4"), tmp_path)
        where = [
            n for n, (_, _, words) in enumerate(pages) for word in words if word.text in ("Caption", "row0")
        ]
        assert len(set(where)) == 1


def test_text_is_selectable_and_every_font_is_embedded(pages):
    fonts = set()
    for page in PdfReader(io.BytesIO(pages.pdf)).pages:
        for resources in (page["/Resources"], *_forms(page)):
            for font in resources.get("/Font", {}).values():
                held = font.get_object()
                inner = held["/DescendantFonts"][0].get_object() if "/DescendantFonts" in held else held
                assert "/FontFile2" in inner["/FontDescriptor"].get_object(), held["/BaseFont"]
                fonts.add(held["/BaseFont"].partition("+")[2])
    assert fonts == {"DejaVuSans", "DejaVuSans-Bold"}


def _forms(page):
    return [form.get_object()["/Resources"] for form in page["/Resources"].get("/XObject", {}).values()]


def test_drawings_are_vector(pages):
    for page in PdfReader(io.BytesIO(pages.pdf)).pages:
        assert len(page.images) == 0


# crowded drawings, only in test-all; a report of usual length is held above
@pytest.mark.parametrize("checks", [3, pytest.param(300, marks=pytest.mark.long)])
def test_nothing_overlaps_in_the_trend_of_few_or_many_checks(checks, tmp_path):
    figures = ("run_current", "peak_run_current", "travel_time")
    source = material(trends=tuple(trend(way, checks, one) for one in figures for way in ("lock", "unlock")))
    _no_overlap(source, "trend", tmp_path)


@pytest.mark.parametrize("each_way", [1, *(pytest.param(count, marks=pytest.mark.long) for count in (5, 20))])
def test_nothing_overlaps_in_the_small_charts_of_few_or_many_throws(each_way, tmp_path):
    sheet = part(1, AFTER_SERVICE, each_way, accepted=False)
    source = material(sheet)
    for key in ("traces:yard-loader-1", "travel:yard-loader-1"):
        _no_overlap(source, key, tmp_path)


def _no_overlap(source, key, folder):
    ((_, height, words),) = words_on_pages(Drawings(source).as_pdf_pages([key]), folder)
    assert overlapping(words) == []
    assert height < 20 * POINTS_AN_INCH


def test_columns_give_way_from_the_widest_and_fill_the_page():
    widths = column_widths([30.0, 400.0, 300.0], [20.0, 50.0, 50.0], 500.0)
    assert widths[0] == pytest.approx(30.0, abs=0.1)
    assert widths[1] == pytest.approx(widths[2], abs=0.1)
    assert sum(widths) == pytest.approx(500.0, abs=0.5)


def test_texts_from_outside_can_neither_break_the_pages_nor_command_a_reader(tmp_path):
    hostile = "\x1b[2J\u202e<b>bold</b> &amp; " + "verylongwordwithoutanyblank" * 12 + " \u6f22\u5b57"
    sheet = part(1, AFTER_SERVICE, 3, accepted=False)
    answers = {**sheet.state.answers, "attachment": hostile, "operator": hostile, "instruments": hostile}
    source = material(
        replace(sheet, state=replace(sheet.state, answers=answers)), place=hostile, owner="x" * 900
    )
    document = rig_report(source)
    pages = words_on_pages(to_pdf(document, "a4", Drawings(source).as_pdf_pages), tmp_path)
    for width, _, words in pages:
        assert overlapping(words) == []
        assert max(word.right for word in words) <= width - PAPERS["a4"][2] + 1.0
    page = to_html(document, Drawings(source).as_svg)
    assert not set("\x1b\u202e") & set(page)
    assert "<b>" not in page


def test_a_table_of_many_columns_is_set_smaller_before_its_words_are_broken(tmp_path):
    headings = tuple(f"Heading{n}" for n in range(12))
    rows = tuple(tuple(f"word{n}{m}" for n in range(12)) for m in range(4))
    document = Document("T", "s", "n", (Table(headings, rows, "Wide"),), "End", "n")
    ((_, _, words),) = words_on_pages(to_pdf(document, "a4"), tmp_path)
    said = [word.text for word in words]
    assert set(headings) <= set(said)
    assert overlapping(words) == []
