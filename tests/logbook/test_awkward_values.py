"""Whatever a row holds, its id is made from what will be read back: no value that SQLite rewrites looks like tampering."""

import dataclasses
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.drawn import drawn
from tests.logbook.conftest import NOW, RIG, make_assessment, make_trace
from tests.raw_file import raw
from throwbook.core.records import Judgement, Placement, Service
from throwbook.errors import InputError
from throwbook.logbook import open_logbook
from throwbook.logbook.integrity import check
from throwbook.logbook.merge import merge
from throwbook.logbook.schema import (
    BLOB,
    BY_NAME,
    FLAG,
    IDS,
    INTEGER,
    JSON,
    REAL,
    TABLES,
    TEXT,
    TIME,
    fact,
    to_json,
)
from throwbook.logbook.serialization import assessment_to_json

AWKWARD_FLOATS = (
    -0.0,
    0.0,
    5e-324,
    -5e-324,
    2.2250738585072014e-308,
    1.7976931348623157e308,
    2.0**53,
    1e15,
    1e23,
)
AWKWARD_TEXTS = (
    "",
    "\x00",
    "a\x00b",
    "e\u0301",
    "\u00e9",
    "\ufeff",
    "\u2028",
    "\U0001f529",
    "1",
    "-0.0",
    "null",
    "'",
    "\r\n",
)

floats = st.sampled_from(AWKWARD_FLOATS) | st.floats(allow_nan=False, allow_infinity=False)
texts = st.sampled_from(AWKWARD_TEXTS) | st.text(max_size=6)
whole = st.sampled_from((0, -1, 2**63 - 1, -(2**63))) | st.integers(-(2**63), 2**63 - 1)
plain_values = st.none() | st.booleans() | floats | st.integers(-(10**30), 10**30) | texts
mappings = st.dictionaries(
    texts, st.recursive(plain_values, lambda inner: st.lists(inner, max_size=2), max_leaves=4), max_size=3
)
offsets = st.integers(-86399, 86399).map(lambda seconds: timezone(timedelta(seconds=seconds)))
moments = st.datetimes(datetime(1, 1, 3), datetime(9999, 12, 29), timezones=offsets | st.just(UTC))  # noqa: DTZ001

OF_KIND = {
    TEXT: texts,
    INTEGER: whole,
    REAL: floats,
    FLAG: st.booleans(),
    TIME: moments,
    JSON: mappings,
    IDS: st.lists(texts, max_size=3).map(lambda ids: tuple(sorted(ids))),
    BLOB: st.binary(max_size=8),
}


@pytest.fixture(scope="module")
def lax(tmp_path_factory):
    """A logbook that takes rows that point nowhere: what is looked at is the values."""
    with open_logbook(tmp_path_factory.mktemp("awkward") / "l.db") as book:
        book.db.execute("PRAGMA foreign_keys = OFF")
        book.db.execute("PRAGMA ignore_check_constraints = ON")
        book.db.execute("PRAGMA synchronous = OFF")
        yield book


def may_be_missing(book, table):
    return {row[1] for row in book.read(f"PRAGMA table_info({table})") if not row[3]}


@st.composite
def a_row(draw, book, table):
    """A record of this kind with awkward values, and the columns that aren't its fields."""
    empty = may_be_missing(book, table.name)
    values = {
        column: draw(OF_KIND[kind] | st.none() if column in empty else OF_KIND[kind])
        for column, kind in table.columns.items()
    }
    if table.record is not Judgement:
        return table.record(**values), {}
    judged = make_assessment(run_current_a=draw(floats))
    extra = {name: values.pop(name) for name in ("verdict", "method_version", "profile")}
    extra["assessment"] = to_json(assessment_to_json(judged))
    return Judgement(**{**values, "assessment": judged}), extra


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
@settings(
    max_examples=drawn(60, 15), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_a_row_of_any_kind_reads_back_as_it_was_summed(lax, table, data):
    record, extra = data.draw(a_row(lax, table))
    stored = lax.add(record, **extra)
    [row] = lax.read(f"SELECT * FROM {table.name} WHERE id = ?", [stored.id])
    assert fact(table, dict(row)).id == stored.id
    assert lax.altered(table.name, "WHERE id = ?", [stored.id]) == []
    if table.record is Judgement:
        [back] = lax._judgements("WHERE id = ?", [stored.id])
        assert back.assessment.figures == record.assessment.figures
    else:
        [back] = lax.select(table.record, "WHERE id = ?", [stored.id])
        assert back == dataclasses.replace(record, id=stored.id)
    assert lax.unreadable(table.name) == []


REFUSED = (
    ("not a number", {"ambient_c": float("nan")}),
    ("infinite", {"ambient_c": float("-inf")}),
    ("not a number inside", {"head": {"gain": [1.0, float("nan")]}}),
    ("half a letter", {"left_out": "\ud800"}),
    ("half a letter inside", {"head": {"note": "a\udcff"}}),
    ("half a letter as a key", {"head": {"a\udcff": 1}}),
    ("a whole number too long", {"position": 2**63}),
)


@pytest.mark.parametrize("change", [change for _, change in REFUSED], ids=[name for name, _ in REFUSED])
def test_what_no_file_can_hold_is_refused_in_one_line_and_nothing_is_stored(lax, change):
    before = lax.read("SELECT count(*) FROM placement")[0][0]
    place = dataclasses.replace(Placement("t", "s", 1, NOW, "M. K."), **change)
    with pytest.raises(InputError) as told:
        lax.add(place)
    assert "\n" not in str(told.value)
    assert "damaged" not in str(told.value)
    assert lax.read("SELECT count(*) FROM placement")[0][0] == before


def test_minus_zero_degrees_is_no_tampering_and_merges(book, tmp_path):
    sheet = book.plan_sheet(RIG, "spot", {}, "M. K.", NOW)
    trace = dataclasses.replace(make_trace(samples=40), ambient_c=-0.0)
    book.add_trial(sheet.id, trace, make_assessment(), "M. K.", NOW, software_version="0.1.0")
    assert check(book).problems == ()
    with open_logbook(tmp_path / "other") as other:
        assert merge(other, book.path).added["placement"] == 1


def test_a_row_that_an_old_version_summed_over_minus_zero_stays_as_written(tmp_path):
    """Version 3 made the id of a throw in minus zero degrees over the minus zero."""
    with raw(tmp_path / "old") as db:
        db.executescript((Path(__file__).parent / "past" / "v3.sql").read_text("utf-8"))
    with open_logbook(tmp_path / "old") as book:
        [row] = book.read("SELECT * FROM placement WHERE ambient_c = 0.0")
        assert fact(BY_NAME["placement"], dict(row)).id != row["id"]
        assert book.altered("placement") == []
        assert check(book).problems == ()
        with open_logbook(tmp_path / "other") as other:
            assert merge(other, book.path).added["placement"] == 3
        book.db.execute("DROP TRIGGER placement_no_update")
        book.db.execute("UPDATE placement SET ambient_c = 1.0 WHERE ambient_c = 0.0")
        assert [each.id for each in book.altered("placement")] == [row["id"]]


def test_a_service_with_a_composed_letter_keeps_the_letter_it_was_given(book):
    for text in ("e\u0301", "\u00e9"):
        book.add_service(Service(RIG, "greased", NOW, text))
    assert {one.by for one in book.services(RIG)} == {"e\u0301", "\u00e9"}
    assert check(book).problems == ()
