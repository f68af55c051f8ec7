"""The tables of the Python interface: what the commands say, typed, with units, the same for every tool that reads them."""

import json
import shutil
import subprocess
import textwrap
from datetime import UTC, date, datetime

import numpy as np
import pandas
import pint
import pytest

from tests import notebook_script
from tests.benchmarks.season_histories import PLAIN, make_history, quarterly
from tests.command import throwbook_said
from tests.jobs.season_logbook import logbook_of
from tests.test_docs import GUIDE
from throwbook import InputError, open_logbook_readonly, quantity
from throwbook.core.export_schema import DAY, FLAG, OWN_UNIT, TIME
from throwbook.core.status.maintenance import Moment, ServiceEntry
from throwbook.jobs.derived_tables import DERIVED, KEYS, TABLES
from throwbook.jobs.logbook_care import export
from throwbook.jobs.maintenance import add

NOW = datetime(2026, 2, 3, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    made = {
        f"loader-{i}": make_history(np.random.default_rng(i), PLAIN, quarterly(6)).history for i in range(2)
    }
    path = logbook_of(tmp_path_factory.mktemp("book") / "two.throwbook", made)
    day = made["loader-0"].checks[3].on
    greased = ServiceEntry(
        "",
        "loader-0",
        "greased",
        day,
        Moment("slow, it squeaked", day),
        Moment("dry pins"),
        cost="45.50 EUR",
        parts="grease",
        machine_hours_h=1210.0,
        due_on=date(2030, 1, 1),
        due_cycles=400,
        by="M. K.",
    )
    add(path, greased, NOW)
    return path


@pytest.fixture(scope="module")
def book(path):
    with open_logbook_readonly(path) as book:
        yield book


@pytest.fixture(scope="module")
def frames(book):
    return {table: book.to_frame(table) for table in book.tables}


def said(path, *words):
    return [json.loads(line) for line in throwbook_said(path, *words, "--json").stdout.splitlines()]


def test_every_column_has_the_type_that_its_unit_promises(frames):
    assert list(frames) == list(TABLES)
    filled = {"status", "trend", "checks", "service_effects", "next_actions", "rigs", "sheets", "trials"}
    assert {name for name, frame in frames.items() if len(frame)} >= filled
    for table, frame in frames.items():
        assert frame.columns.tolist() == [column.name for column in TABLES[table]]
        for column in TABLES[table]:
            kind = frame[column.name].dtype
            right = {
                TIME: isinstance(kind, pandas.DatetimeTZDtype),
                DAY: kind.kind == "M" and not isinstance(kind, pandas.DatetimeTZDtype),
                FLAG: kind == "boolean",
            }.get(column.unit, True)
            right = right and isinstance(kind, pandas.CategoricalDtype) == bool(column.one_of)
            right = right and (not column.is_number or kind == ("Int64" if column.whole else "float64"))
            assert right, (table, column.name, kind)
        assert frame.attrs["what"].keys() == set(frame.columns)


def test_every_word_that_a_logbook_holds_is_one_of_its_category(frames):
    for table, frame in frames.items():
        for column in TABLES[table]:
            if column.one_of:
                assert frame[column.name].cat.categories.tolist() == list(column.one_of), column.name


def test_rows_are_looked_up_by_what_tells_them_apart(frames):
    assert frames["status"].loc["loader-1", "rig"] == "loader-1"
    line = frames["checks"].loc[("loader-0", "lock", "run_current")]
    assert line.index.tolist() == sorted(line["date"])
    assert frames["trials"].index.is_unique
    for table, frame in frames.items():
        assert frame.index.nlevels == len(KEYS[table])
        frame.merge(frame, on=list(KEYS[table]))  # a name that is a column and an index is refused here


def test_the_frames_say_what_the_commands_say(path, frames):
    for one in said(path, "status"):
        row = frames["status"].loc[one["rig"]]
        assert row["commissioned"] == one["commissioned"]
        assert row["overdue"] == one["next_check"]["overdue"]
        assert row["next_check"] == one["next_check"]["sentence"]
        due = one["next_check"]["on"]
        assert pandas.isna(row["due_on"]) if due is None else row["due_on"].date().isoformat() == due
    trends = said(path, "trend")
    assert len(trends) == len(frames["trend"])
    for one in trends:
        key = (one["rig"], one["direction"], one["figure"])
        row = frames["trend"].loc[key]
        # JSON is written with ten digits
        assert row["level"] == pytest.approx(one["chart"]["level"], rel=1e-9)
        assert row["rise"] == pytest.approx(one["rise"], rel=1e-8)
        checks = frames["checks"].loc[key]
        assert checks["corrected"].tolist() == pytest.approx([each["corrected"] for each in one["points"]])
        effects = frames["service_effects"]
        assert len(effects[effects.index.isin([(*key, day) for day in effects["date"]])]) == len(
            one["service_effects"]
        )
        assert frames["next_actions"].loc[one["rig"], "what"] == one["next_action"]["what"]


def test_a_service_says_its_day_its_cost_and_its_words_in_each_place_by_the_same_names(path, frames):
    [one] = said(path, "service", "list", "loader-0")
    row = frames["services"].iloc[0]
    assert (row["cost"], row["cost_amount"], row["cost_currency"]) == ("45.50 EUR", 45.5, "EUR")
    assert (row["seen_what"], row["found_what"], row["parts"]) == ("slow, it squeaked", "dry pins", "grease")
    assert pandas.isna(row["found_on"])
    for name in ("seen_what", "found_what", "cost", "cost_amount", "cost_currency", "parts", "due_cycles"):
        assert row[name] == one[name], name
    for name in ("on", "seen_on", "due_on"):
        assert row[name].date().isoformat() == one[name], name


def test_columns_come_with_their_units_on_request(frames):
    columns = {
        column.unit: (table, column.name)
        for table in frames
        for column in TABLES[table]
        if column.is_number and OWN_UNIT not in column.unit and not column.unit.startswith("in ")
    }
    assert {"A", "V", "s", "J", "degC", "h"} <= columns.keys()
    for table, name in columns.values():
        quantity(frames[table], name)
    trials = frames["trials"]
    own: pint.UnitRegistry = pint.UnitRegistry()
    assert quantity(trials, "run_current_a", own)[0].check("[current]")
    assert quantity(trials, "run_current_a").to("mA").magnitude.sum() == pytest.approx(
        1000 * trials["run_current_a"].sum()
    )
    lines = frames["trend"]
    slope = quantity(lines[lines["figure"] == "run_current"], "slope_per_year")
    assert slope.check("[current]/[time]")
    mixed = lines.assign(unit=["s", *lines["unit"][1:]])
    for frame, column in ((mixed, "level"), (trials, "verdict"), (frames["services"], "cost_amount")):
        with pytest.raises(InputError, match="no one unit is known"):
            quantity(frame, column)


def test_a_trend_is_as_of_the_day_that_is_asked_and_of_what_is_in_the_book(book):
    late = book.to_frame("status", "loader-0", today=date(2031, 1, 1))
    early = book.to_frame("status", ["loader-0"], today=date(2024, 3, 1))
    assert (late["overdue"].item(), early["overdue"].item()) == (True, False)
    assert late["rig"].tolist() == ["loader-0"]


def test_what_is_worked_out_is_in_no_export():
    assert not set(DERIVED) & {row["table"] for row in json_columns()}


def json_columns():
    from throwbook.core.export_schema import described

    return described()


SUMS = """
for (table in commandArgs(TRUE)) {
  rows <- read.csv(table)
  for (name in names(rows)) if (is.numeric(rows[[name]]))
    cat(basename(table), name, sprintf("%.17g", sum(rows[[name]], na.rm = TRUE)), "\\n")
}
"""


@pytest.fixture(scope="module")
def exported(path, tmp_path_factory):
    return export(path, tmp_path_factory.mktemp("out") / "csv").folder


def test_pandas_reads_the_same_sums_from_a_file(exported, frames):
    for table in ("trials", "services", "signs"):
        read = pandas.read_csv(exported / f"{table}.csv")
        for column in TABLES[table]:
            if column.is_number:
                assert read[column.name].sum() == pytest.approx(frames[table][column.name].sum()), column.name


@pytest.mark.skipif(shutil.which("Rscript") is None, reason="R isn't here")
def test_r_reads_the_same_sums_from_a_file(exported, frames):
    files = [exported / f"{table}.csv" for table in ("trials", "services")]
    line = ["Rscript", "--vanilla", "-e", SUMS, *map(str, files)]
    out = subprocess.run(line, capture_output=True, text=True, check=True).stdout.splitlines()
    sums = {(file.removesuffix(".csv"), name): float(value) for file, name, value in map(str.split, out)}
    assert ("trials", "run_current_a") in sums
    numbers = {(table, column.name) for table in frames for column in TABLES[table] if column.is_number}
    for table, name in sums.keys() & numbers:
        assert sums[table, name] == pytest.approx(float(frames[table][name].sum()), rel=1e-12), name


def test_the_script_of_an_engineer_runs(path, book, capsys):
    notebook_script.main(str(path))
    assert "baseline throws" in capsys.readouterr().out
    assert notebook_script.due(book, "2030-01-01") == ["loader-0"]
    seasons = notebook_script.by_season(book, "run_current_a")
    assert seasons["count"].sum() == (book.to_frame("trials")["kind"] == "seasonal").sum()


def test_the_lines_of_the_guide_run_on_a_logbook(path):
    page = (GUIDE / "notebook.md").read_text("utf-8")
    block = page[page.index("    with open_logbook_readonly") :].partition("\n\n")[0]
    # these throws were invented without traces
    lines = [line for line in textwrap.dedent(block).splitlines() if "book.trace(" not in line]
    assert len(lines) > 5
    told = "from throwbook import open_logbook_readonly, quantity\n" + "\n".join(lines)
    exec(told.replace("my.throwbook", str(path)), {})
