"""A throw that was left out doesn't count in the list of every sheet; one that failed is never passed over."""

from datetime import UTC, datetime

import pytest

from tests.cli.sheet_steps import RIG, RIG_FILE
from throwbook.core.sheets.hand_readings import HandThrow, Reading
from throwbook.jobs.enter import HandEntry, enter
from throwbook.jobs.find import opened
from throwbook.jobs.papers import material_in
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.sheets import leave_out
from throwbook.report.document import Table
from throwbook.report.sections import checks

NOW = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


def rows(folder, peaks) -> list[tuple[str, ...]]:
    book = folder / "book"
    add_rig(book, RIG_FILE, "M. K.", NOW)
    throws = [
        HandThrow("lock", Reading(15.2, 0.1), Reading(2.10, 0.01), Reading(*peak), Reading(12.4, 0.1))
        for peak in peaks
    ]
    state = enter(book, RIG, HandEntry(throws, "commissioning"), "M. K.", NOW).state
    leave_out(book, state.name, len(throws), "mistyped", "M. K.", NOW)
    with opened(book, read_only=True) as open_book:
        made = checks(material_in(open_book, RIG, NOW.date()))
    (table,) = [block for block in made if isinstance(block, Table)]
    return list(table.rows)


@pytest.mark.parametrize(
    ("last", "throws", "verdict"), [((3.0, 1.0), "2", "pass"), ((9.9, 0.01), "3", "fail")]
)
def test_what_was_left_out_counts_only_where_it_failed(tmp_path, last, throws, verdict):
    (row,) = rows(tmp_path, [(2.9, 0.01), (2.91, 0.01), last])
    assert row[5] == throws
    assert row[9] == verdict
