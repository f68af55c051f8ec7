"""An export holds everything, in files that can't do harm."""

import csv
import hashlib
import json
import sys
from contextlib import contextmanager
from datetime import timedelta

import pytest

from tests.logbook.conftest import NOW, RIG, fill, make_assessment
from throwbook.core.export_schema import TABLES, described
from throwbook.core.records import Order, Photograph, PinAnswers, Placement, Service
from throwbook.errors import InputError
from throwbook.files.tables import safe_cell
from throwbook.files.trace_file import read_trace
from throwbook.jobs.logbook_care import export
from throwbook.logbook import Logbook

EVIL = '=HYPERLINK("http://example.invalid","click")'


@pytest.fixture
def filled(book):
    sheet = fill(book, trials=2)
    [first, _] = book.trials(sheet=sheet.id)
    book.sight(first.id, PinAnswers("yes", "no", EVIL), "M. K.", NOW)
    book.judge(first.id, make_assessment("watch"), "M. K.", NOW, "0.1.0", reason="again")
    book.add_order(Order(RIG, "do not use", "stall", "@SUM(1)", NOW, "M. K."))
    book.add_service(Service(RIG, "-greased", NOW, "M. K.", fixed=NOW, details={"parts": "pin"}))
    return book


def read_csv(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_csv_holds_every_table_with_its_columns_described(filled, tmp_path):
    done = export(filled.path, tmp_path / "out")
    assert {f"{name}.csv" for name in TABLES} == set(done.files)
    trials = read_csv(tmp_path / "out" / "trials.csv")
    assert [row["run_current_a"] for row in trials] == ["2.1", "2.1"]
    assert [row["right_pin"] for row in trials] == ["no", ""]
    assert {row["verdict"] for row in trials} == {"watch", "pass"}
    judgements = read_csv(tmp_path / "out" / "judgements.csv")
    assert sorted(row["counts"] for row in judgements) == ["no", "yes", "yes"]
    told = {(row["table"], row["column"]): row for row in read_csv(tmp_path / "out" / "columns.csv")}
    assert told["trials", "run_current_a"]["unit"] == "A"
    for name in TABLES:
        for column in read_csv(tmp_path / "out" / f"{name}.csv")[:1]:
            assert all((name, each) in told for each in column)


def test_a_photograph_of_a_throw_that_moved_to_another_sheet_counts_and_is_named_after_that(filled, tmp_path):
    first, second = filled.trials(rig=RIG)
    sheet = filled.plan_sheet(RIG, "spot", {}, "M. K.", NOW)
    given = ((first, "left", b"old"), (first, "left", b"new"), (second, "right", b"of the second"))
    for number, (logged, pin, data) in enumerate(given):
        digest = hashlib.sha256(data).hexdigest()
        at = NOW + timedelta(minutes=number)
        row = Photograph(logged.id, pin, digest, digest, f"{number}.jpg", "", at, "M. K.")
        filled.add_photograph(row, data)
    moved = Placement(first.id, sheet.id, 9, NOW, "M. K.", replaces=(first.placement.id,))
    filled.place(moved)
    with calls_of(Logbook.photographs) as calls:
        done = export(filled.path, tmp_path / "out")
    rows = sorted(read_csv(tmp_path / "out" / "photographs.csv"), key=lambda row: row["name"])
    assert [(row["name"], row["counts"]) for row in rows] == [
        ("0.jpg", "no"),
        ("1.jpg", "yes"),
        ("2.jpg", "yes"),
    ]
    starts = ["quarry-loader-2-throw9-left", "quarry-loader-2-throw9-left", "quarry-loader-1-throw2-right"]
    for row, start, (*_, data) in zip(rows, starts, given, strict=True):
        assert row["file"].startswith(start)
        assert (tmp_path / "out" / "photographs" / row["file"]).read_bytes() == data
    assert sum(name.startswith("photographs/") for name in done.files) == 3
    assert len(calls) == 1, "they are read once for a rig"


@contextmanager
def calls_of(function):
    """The calls of a function of the product meanwhile."""
    calls = []

    def seen(frame, event, _):
        if event == "call" and frame.f_code is function.__code__:
            calls.append(frame)

    sys.setprofile(seen)
    try:
        yield calls
    finally:
        sys.setprofile(None)


def test_no_cell_of_a_csv_begins_a_formula(filled, tmp_path):
    export(filled.path, tmp_path / "out")
    for path in (tmp_path / "out").glob("*.csv"):
        for row in read_csv(path):
            for cell in row.values():
                assert not cell.startswith(("=", "+", "@", "\t", "\r"))
                if cell.startswith("-"):
                    float(cell)


@pytest.mark.parametrize("start", ["=1", "+1", "-1", "@a", "\t=1", "\r=1", " =1", "\n=1", "\ufeff=1"])
def test_text_that_begins_a_formula_gets_an_apostrophe(start):
    # Source: OWASP, CSV Injection (the characters = + - @ tab and carriage return).
    assert safe_cell(start) == "'" + start


def test_json_lines_keep_text_as_it_is(filled, tmp_path):
    export(filled.path, tmp_path / "out", "jsonl")
    lines = (tmp_path / "out" / "trials.jsonl").read_text("utf-8").splitlines()
    assert EVIL in [json.loads(line)["seen_how"] for line in lines]


def test_parquet_has_numbers_as_numbers(filled, tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    export(filled.path, tmp_path / "out", "parquet")
    table = parquet.read_table(tmp_path / "out" / "trials.parquet")
    assert table.column("run_current_a").to_pylist() == [2.1, 2.1]
    assert table.column("as_found").to_pylist() == [False, False]


def test_traces_come_out_as_trace_files_that_read_back_the_same(filled, tmp_path):
    export(filled.path, tmp_path / "out", traces=True)
    logged = filled.trials(rig=RIG)[0]
    back = read_trace(tmp_path / "out" / "traces" / f"{logged.id}.csv")
    stored = filled.trace(logged.id)
    assert back.current_a.tolist() == stored.current_a.tolist()
    assert back.voltage_v.tolist() == stored.voltage_v.tolist()


def test_an_export_never_writes_over_anything_and_leaves_nothing_half_done(filled, tmp_path):
    (tmp_path / "there").mkdir()
    with pytest.raises(InputError, match="already"):
        export(filled.path, tmp_path / "there")
    with pytest.raises(InputError, match="no rig 'other'"):
        export(filled.path, tmp_path / "new", rig="other")
    assert {path.name for path in tmp_path.iterdir() if "new" in path.name} == set()


def test_every_column_has_a_unit_and_a_meaning():
    assert all(row["unit"] and row["what"] for row in described())
