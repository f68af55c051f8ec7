"""The list for the wall: what must be seen from afar, and room for a pen."""

from datetime import date

from throwbook.report.document import Cautions, Table, words
from throwbook.report.forms import WallRow, wall_list

ROWS = (
    WallRow("barn-loader", "do not use", "no next check set", "-"),
    WallRow("yard-loader", "in service", "check due 2026-10-04", "2026-04-13"),
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
