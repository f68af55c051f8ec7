"""The list for the wall: what must be seen from afar, and room for a pen."""

from datetime import date

import pytest

from tests.report.page_words import overlapping, words_on_pages
from throwbook.report.document import Cautions, Table, words
from throwbook.report.forms import WallRow, wall_list
from throwbook.report.pdf import to_pdf

ROWS = (
    WallRow("barn-loader", "do not use", "the motor stalled", "find the cause and write it down", "-"),
    WallRow("yard-loader", "in service", "nothing open", "seasonal check on 2026-10-04", "2026-10-04"),
)


def test_a_rig_out_of_use_stands_on_top_and_in_capitals():
    paper = wall_list(ROWS, "all", date(2026, 5, 1))
    assert isinstance(paper.blocks[0], Cautions)
    assert "barn-loader" in paper.blocks[0].items[0]
    (table,) = (block for block in paper.blocks if isinstance(block, Table))
    assert [row[1] for row in table.rows] == ["DO NOT USE", "in service"]
    assert table.pencil


def test_a_list_from_a_practice_logbook_says_so_first():
    paper = wall_list(ROWS, "all", date(2026, 5, 1), practice=True)
    assert words(paper).startswith("Practice, no machine")
    assert "Nothing here proves anything about a real machine" in words(paper)


def test_one_rig_is_no_rigs():
    assert "1 rig: all" in words(wall_list(ROWS[1:], "all", date(2026, 5, 1)))
    assert "No rig: due within 7 days." in words(wall_list((), "due within 7 days", date(2026, 5, 1)))


LONG = "overdue: check was due 2026-02-01, 71 days ago; check due at 500 h on the hour meter (now 620)"


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_what_is_printed_in_a_row_never_runs_into_the_next_one(paper, tmp_path):
    rows = [
        WallRow(f"north-loader-{i:02d}", "not commissioned", LONG, LONG, f"OVERDUE 2026-02-{i + 1:02d}")
        for i in range(30)
    ]
    pages = words_on_pages(to_pdf(wall_list(rows, "all", date(2026, 5, 1)), paper), tmp_path)
    assert len(pages) > 1
    for _, _, found in pages:
        assert overlapping(found) == []
    assert sum(word.text == "620)" for _, _, found in pages for word in found) == 60
