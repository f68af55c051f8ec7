"""Trends out of a logbook, of a fleet on several processes, and on Dask over the export: the same every way."""

import json
import subprocess
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.season_histories import PLAIN, make_history, quarterly
from tests.command import throwbook_said
from tests.jobs.season_logbook import logbook_of
from throwbook.core.status.maintenance import NextCheck
from throwbook.core.status.urgency import GETS_WORSE, MUST_NOT_GO_OUT, RigFacts, need_of
from throwbook.core.trend.trend_result import to_json
from throwbook.errors import InputError
from throwbook.jobs.logbook_care import export
from throwbook.jobs.trend import fleet, fleet_from_export, needs_of, rig_trend

TODAY = date(2026, 3, 15)
GROWS = 0.12 * np.maximum(0, np.arange(17) / 4 - 1)


def made(seed: int, wear: np.ndarray | None = None):
    return make_history(np.random.default_rng(seed), PLAIN, quarterly(wear=wear)).history


@pytest.fixture(scope="module")
def book(tmp_path_factory) -> Path:
    histories = {f"loader-{i:02d}": made(i, GROWS if i == 7 else None) for i in range(10)}
    return logbook_of(tmp_path_factory.mktemp("fleet") / "book", histories)


@pytest.fixture(scope="module")
def exported(book, tmp_path_factory) -> Path:
    pytest.importorskip("pyarrow")
    folder = tmp_path_factory.mktemp("export") / "out"
    export(book, folder, "parquet")
    return folder


def told(rigs) -> list[str]:
    return [json.dumps(to_json(one), sort_keys=True) for rig in rigs for one in rig.trends]


def trend(book: Path, *more: str) -> subprocess.CompletedProcess[str]:
    return throwbook_said(book, "trend", *more)


def test_the_way_through_the_logbook_changes_nothing(book):
    from throwbook.core.trend.trend_result import trends_of

    found = rig_trend(book, "loader-07", TODAY)
    straight = trends_of(made(7, GROWS))
    assert [one.first_signal for one in found.trends] == [one.first_signal for one in straight]
    assert found.trends[0].points[-1].corrected == pytest.approx(straight[0].points[-1].corrected)
    assert found.history.provisional


def test_several_processes_say_what_one_says(book):
    assert told(fleet(book, TODAY, workers=1)) == told(fleet(book, TODAY, workers=2))


def test_the_rig_that_wears_comes_first(book):
    (rig, need), *rest = needs_of(list(fleet(book, TODAY, workers=1)), TODAY)
    assert (rig, len(rest)) == ("loader-07", 9)
    assert need.need in (MUST_NOT_GO_OUT, GETS_WORSE)


def test_an_export_says_what_the_logbook_says(book, exported):
    assert told(fleet_from_export(exported, TODAY)) == told(fleet(book, TODAY, workers=1))


def test_the_list_of_an_export_says_that_it_has_no_status(exported, tmp_path):
    done = trend(tmp_path / "none", "--from-export", str(exported))
    assert "status not in this list" in done.stdout.partition("loader-")[0]
    assert "nothing open" not in done.stdout
    facts = RigFacts(None, True, NextCheck(TODAY), None, TODAY - timedelta(days=60))
    assert need_of(facts).cause == "status not in this list"
    one = trend(tmp_path / "none", "loader-07", "--from-export", str(exported))
    assert "status not in this list" in one.stdout


@pytest.mark.long  # one rig's part computed elsewhere: test_other_systems does it in spawned processes
@pytest.mark.filterwarnings("default")
def test_dask_on_a_local_cluster_says_the_same(book, exported):
    pytest.importorskip("distributed")
    command = ["--from-export", str(exported), "--engine", "dask", "--json"]
    done = trend(book, *command)
    assert done.returncode == 0, done.stderr
    plain = trend(book, "--from-export", str(exported), "--json")
    assert done.stdout == plain.stdout
    assert len(done.stdout.splitlines()) == 20


def test_a_folder_that_is_no_export_is_refused(tmp_path):
    with pytest.raises(InputError, match="Export first"):
        list(fleet_from_export(tmp_path, TODAY))


def test_json_lines_on_the_command_line(book):
    done = trend(book, "loader-07", "--json")
    assert done.returncode == 0
    lines = [json.loads(one) for one in done.stdout.splitlines()]
    assert {(one["direction"], one["figure"]) for one in lines} == {
        ("lock", "run_current"),
        ("unlock", "run_current"),
    }
    assert all(one["first_signal"] for one in lines)


def test_the_printed_trend_says_provisional_and_what_to_do(book):
    done = trend(book, "loader-07")
    assert "provisional" in done.stdout
    assert "Next: " in done.stdout
    assert "first out" in done.stdout
    assert done.stderr == ""


def test_the_fleet_table_has_a_row_a_rig_worst_first(book):
    done = trend(book)
    rows = [line for line in done.stdout.splitlines() if line.startswith("loader-")]
    assert len(rows) == 10
    assert rows[0].startswith("loader-07")


# one kind that cannot be written, only in test-all; papers hold svg and pdf all the same
@pytest.mark.parametrize(
    "ending", ["svg", *(pytest.param(kind, marks=pytest.mark.long) for kind in ("png", "pdf"))]
)
def test_drawings_of_every_kind(book, tmp_path, ending):
    done = trend(book, "loader-07", "--plot", str(tmp_path / f"trend.{ending}"))
    assert done.returncode in (0, 1), done.stderr
    assert (tmp_path / f"trend.{ending}").stat().st_size > 5000


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("nobody",), "nobody"),
        (("--engine", "dask"), "--from-export"),
        (("--plot", "x.png"), "Name the rig"),
    ],
)
def test_wrong_use_is_one_line_and_exit_code_2(book, arguments, says):
    done = trend(book, *arguments)
    assert done.returncode == 2
    assert says in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_a_rig_without_checks_says_what_to_do(tmp_path):
    from tests.jobs.season_logbook import RIG_TOML, noon
    from throwbook.logbook import open_logbook

    with open_logbook(tmp_path / "book") as book, book.transaction():
        book.add_rig("new", RIG_TOML.format(name="new", no_load=0.9, rated=3.6), "M. K.", noon(TODAY))
    done = trend(tmp_path / "book", "new")
    assert done.returncode == 2
    assert "Import or enter a check first" in done.stderr
