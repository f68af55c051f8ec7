"""What a report says: the slots of ISO/IEC 17025:2017, 7.8.2, the same words on every paper, the same bytes each time."""

import io
import os
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.report.made_material import drawn_page, material, part
from tests.report.page_words import html_text, squeezed
from throwbook.core.records import BENCH
from throwbook.core.status.latch import DO_NOT_USE, OpenRaise, Status
from throwbook.core.wording import SWITCHES_CLOSED
from throwbook.report.document import Document, words
from throwbook.report.pdf import to_pdf
from throwbook.report.report import rig_report, sheet_report
from throwbook.report.report_charts import Drawings

GOLDEN = Path(__file__).parent.parent / "golden" / "papers"

# slot of ISO/IEC 17025:2017, 7.8.2.1 (and 7.8.3, 7.8.6): words that fill it
SLOTS = {
    "a title": "Test report: lock pin actuator",
    "b, c laboratory and place": "Place of the tests: Fellside Yard",
    "d unique number, end mark": "yard-loader-20260701-",
    "f method": "Method: throwbook method 2",
    "g item": "Actuator: rated force: 1500 N",
    "h, i dates of the tests": "Tests done: 2026-03-14 to 2026-06-13",
    "j date of issue": "Issued: 2026-07-01",
    "k, l what it holds for": "holds for the machine and the throws named in it",
    "m results with units": "14.320 ± 0.011",
    "n deviations": "Deviations",
    "o who authorises": "Operator; pins seen by: M. K.",
    "7.8.3 conditions": "Air temperature: 4.0 degC",
    "7.8.3 uncertainty": "figure ± expanded uncertainty (k = 2)",
    "7.8.6 decision rule": "guard band w = U; JCGM 106:2012, ILAC-G8:09/2019",
    "limits with their source": "at most 2.88 A | 9: 2.14 ± 0.04 A | 10: 2.15 ± 0.04 A | pass | 80 % of the full-load current",
    "sightings, each pin by itself": "1 | in its hole | in its hole | passed | stayed put | torch, both sides | M. K.",
    "a pin nobody looked at": "3 | in its hole | not looked at",
    "as found": "As found (first throw after standing) and as left",
    "what wasn't recorded": "that somebody looked at both pins, at lock throw 3",
    "an unanswered question": "instruments (make, model, serial no.), so not covered: traceable uncertainty",
    "corrections": "ambient was misread",
    "services": "both pins greased (2026-06-01)",
    "status log": "0.43 A heavier at one place",
    "caution": "A half-locked attachment drops.",
}


@pytest.fixture(scope="module")
def source():
    return material()


@pytest.fixture(scope="module")
def document(source) -> Document:
    return rig_report(source)


@pytest.fixture(scope="module")
def papers(source, document):
    return to_pdf(document, "a4", Drawings(source).as_pdf_pages), drawn_page()


@pytest.mark.parametrize("slot", SLOTS)
def test_every_slot_of_a_test_report_is_filled(document, slot):
    assert SLOTS[slot] in words(document) + document.number


def test_pdf_and_html_say_the_same_word_for_word(document, papers):
    pdf, html = papers
    on_pages = squeezed(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages))
    on_screen = squeezed(html_text(html))
    assert [piece for piece in _pieces(document) if squeezed(piece) not in on_screen] == []
    assert [piece for piece in _pieces(document) if squeezed(piece) not in on_pages] == []
    alts = [block.alt for block in document.blocks if hasattr(block, "alt")]
    assert alts
    assert all(squeezed(alt) in on_screen for alt in alts)


def _pieces(document: Document) -> list[str]:
    """Every cell and sentence that the PDF must show too; what is said of a drawing for who can't see it is not printed."""
    alts = {block.alt for block in document.blocks if hasattr(block, "alt")}
    lines = [line for line in words(document).splitlines() if line not in alts]
    return [cell for line in lines for piece in line.split(" | ") for cell in piece.split(": ")]


def test_the_number_is_on_every_page_and_the_end_mark_on_the_last(document, papers):
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(papers[0])).pages]
    for number, text in enumerate(pages, 1):
        assert f"Report {document.number}" in text
        assert f"page {number} of {len(pages)}" in text
    assert f"End of report {document.number}" in pages[-1]
    assert sum("End of report" in text for text in pages) == 1


def test_another_word_is_another_number(source):
    assert rig_report(replace(source, place="Elsewhere")).number != rig_report(source).number


@pytest.mark.long  # an order that changes from process to process: make test writes the papers of one day twice in one (tests/cli/test_paper_commands.py)
def test_two_processes_write_the_same_bytes(tmp_path):
    code = (
        "import hashlib\nfrom throwbook.report.report import rig_report\nfrom throwbook.report.report_charts import Drawings\n"
        "from throwbook.report.html import to_html\nfrom throwbook.report.pdf import to_pdf\n"
        "from tests.report.made_material import material, part\nm = material(part(1, each_way=2)); d = rig_report(m); g = Drawings(m)\n"
        "print(hashlib.sha256(to_pdf(d, 'letter', g.as_pdf_pages) + to_html(d, g.as_svg).encode()).hexdigest())"
    )
    seen = set()
    for seed in ("1", "2"):
        environment = {
            **os.environ,
            "PYTHONHASHSEED": seed,
            "TZ": f"UTC+{seed}",
            "MPLCONFIGDIR": str(tmp_path),
        }
        done = subprocess.run(
            [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
        )
        seen.add(done.stdout)
    assert len(seen) == 1


def test_the_words_are_those_of_the_golden_file(document):
    golden = GOLDEN / "report.txt"
    if os.environ.get("THROWBOOK_GOLDEN") == "write":
        golden.write_text(words(document) + "\n", encoding="utf-8")
    assert words(document) + "\n" == golden.read_text(encoding="utf-8")


def test_a_sheet_report_speaks_of_that_sheet_alone(source):
    alone = replace(source, sheets=source.sheets[1:])
    said = words(sheet_report(alone, "yard-loader-2"))
    assert "yard-loader-2 (after-service)" in said
    assert "yard-loader-1" not in said


def test_a_rig_out_of_use_says_so_first(source):
    held = Status(DO_NOT_USE, (OpenRaise(("abcdef12",), "stall", DO_NOT_USE, "the motor stood still"),), ())
    said = words(rig_report(replace(source, status=held, steps=("find the cause and write it down",))))
    assert said.index("DO NOT USE") < said.index("Summary")
    assert said.index("Do not use. Keep people away") < said.index("A half-locked attachment")
    assert "Steps to clear: find the cause and write it down" in said


def test_a_rig_without_a_throw_still_gives_a_report(source):
    bare = replace(source, sheets=(), services=(), orders=(), baselines={}, traces={}, commissioned=False)
    said = words(rig_report(bare))
    assert "There is no commissioning sheet: every comparison is provisional." in said
    assert "No throw is in the logbook." in said
    assert to_pdf(rig_report(bare), "a4").startswith(b"%PDF")


def test_a_bench_sheet_has_no_pins_to_see(source):
    bench = part(1, BENCH, 2, accepted=False)
    said = words(rig_report(material(bench, issued=date(2026, 4, 1))))
    assert "What a person saw" not in said


def test_us_units_are_used_throughout(source):
    said = words(rig_report(replace(source, rig=replace(source.rig, units="us"))))
    assert "Travel needed (unlock to lock): 7.4 in" in said
    assert "Actuator: rated force: 337 lbf" in said
    assert " mm\n" not in said


def test_a_limit_that_some_throws_could_not_be_held_against_says_how_many():
    whole = part()
    blind = [
        replace(check, measured=None, decision="not judged") for check in whole.trials[0].assessment.checks
    ]
    first = replace(whole.trials[0], assessment=replace(whole.trials[0].assessment, checks=tuple(blind)))
    said = words(rig_report(material(replace(whole, trials=(first, *whole.trials[1:])))))
    assert "| pass; 1 not judged | 80 % of the full-load current" in said


def test_a_throw_that_stalled_is_not_how_it_was_left():
    whole = part()
    last = whole.trials[-2]
    stalled = replace(
        last.assessment, end="stall", figures=replace(last.assessment.figures, travel_time_s=None)
    )
    trials = (*whole.trials[:-2], replace(last, assessment=stalled), whole.trials[-1])
    said = words(rig_report(material(replace(whole, trials=trials))))
    assert "lock | 14.320 ± 0.011 | 14.440 ± 0.011" in said


def test_closed_switches_stand_beside_what_was_seen_never_instead():
    made = part(1, each_way=2, odd=True)
    noted = [
        replace(one, assessment=replace(one.assessment, notes=(SWITCHES_CLOSED,) * (one.direction == "lock")))
        for one in made.trials
    ]
    without, told = (words(rig_report(material(each))) for each in (made, replace(made, trials=tuple(noted))))
    assert "Both switches closed" not in without
    assert "Both switches closed after throws 1, 3. A closed switch is no sighting." in told
    assert "3 | in its hole | not looked at" in told
