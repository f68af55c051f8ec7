"""The list of all rigs: the same status as of each rig by itself, trends worked out once for each new row, one order."""

import json
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from tests.benchmarks.yard import build, other_rows
from tests.command import run
from tests.raw_file import raw
from throwbook.core.status.latch import raise_order
from throwbook.core.status.urgency import UNVERIFIED
from throwbook.jobs.latch import rig_status
from throwbook.jobs.logbook_care import export
from throwbook.jobs.rig_list import SORTED_BY, Wanted, list_rigs, pick
from throwbook.jobs.trend import fleet_from_export, needs_of, rig_trend
from throwbook.jobs.worsening import SUFFIX, UNREADABLE, known_trends, work_out_trends
from throwbook.logbook import open_logbook
from throwbook.logbook.all_rigs import AllRigs
from throwbook.logbook.trials import hand_trial

TODAY = date(2026, 3, 14)
NOW = datetime(2026, 3, 14, 9, tzinfo=UTC)
RIGS = 8


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("yard") / "book"
    build(path, RIGS, TODAY)
    return path


@pytest.fixture
def path(made, tmp_path) -> Path:
    copy = tmp_path / "book"
    copy.write_bytes(made.read_bytes())
    return copy


def add_order(path: Path, rig: str, cause: str) -> None:
    with open_logbook(path) as book, book.transaction():
        book.add_order(raise_order(rig, cause, "seen", NOW, "M. K."))


def test_read_at_once_a_rig_stands_where_it_stands_by_itself(path):
    with open_logbook(path) as book, book.transaction():
        book.add_rig("bare", book.rig("rig-0001").toml.replace("rig-0001", "bare"), "M. K.", NOW)
        book.plan_sheet("rig-0002", "seasonal", {}, "M. K.", NOW)
        book.add(hand_trial("rig-0002", "lock", None, {}))
        book.add_rig("rig-0003", book.rig("rig-0003").toml + "# again\n", "M. K.", NOW, "typing")
    with open_logbook(path, read_only=True) as book, book.snapshot():
        rigs = AllRigs.of(book)
        for day in (TODAY, TODAY - timedelta(days=500)):
            for name in book.rig_names():
                assert rig_status(rigs, name, day) == rig_status(book, name, day)
                assert rigs.rig(name) == book.rig(name)


@pytest.mark.long
def test_trends_are_worked_out_once_and_only_of_rigs_with_new_rows(path):
    assert work_out_trends(path) == RIGS
    assert work_out_trends(path) == 0
    before = list_rigs(path, TODAY)
    assert all(one.trend_known for one in before)
    add_order(path, "rig-0005", "damage")
    assert [one.name for one in list_rigs(path, TODAY) if not one.trend_known] == ["rig-0005"]
    assert (
        list_rigs(path, TODAY)[0].need.cause == "the motor stalled"
    )  # rig-0000: of two alike the first by name
    assert work_out_trends(path) == 1


@pytest.mark.long  # the benchmark yard compares them too
def test_the_rows_of_a_parquet_export_are_those_of_the_list(path, tmp_path):
    pytest.importorskip("pyarrow")
    work_out_trends(path)
    export(path, tmp_path / "out", "parquet")
    rigs, needs = list_rigs(path, TODAY), needs_of(list(fleet_from_export(tmp_path / "out", TODAY)), TODAY)
    assert len(needs) == RIGS
    assert not other_rows(rigs, needs)
    assert other_rows(rigs, needs[::-1])


def test_what_was_kept_is_what_is_worked_out_anew(path):
    work_out_trends(path)
    with open_logbook(path, read_only=True) as book:
        kept = known_trends(book).known
    assert any(kept.values())
    for name, one in kept.items():
        assert one == rig_trend(path, name, TODAY).worsening
    assert not any(one and one.rule == UNVERIFIED for one in kept.values())


def test_a_trend_that_could_not_be_read_is_told_and_tried_again(path):
    work_out_trends(path)
    kept = path.with_name(path.name + SUFFIX)
    good = kept.read_text("utf-8")
    with raw(path) as db:
        db.execute("DROP TRIGGER trial_no_update")
        db.execute("UPDATE trial SET hand = 'spoiled' WHERE rig = 'rig-0003'")
    kept.unlink()
    assert work_out_trends(path) == RIGS
    with open_logbook(path, read_only=True) as book:
        assert known_trends(book).known["rig-0003"] == UNREADABLE
    assert [one.name for one in list_rigs(path, TODAY) if not one.trend_known] == ["rig-0003"]
    with raw(path) as db:
        db.execute("UPDATE trial SET hand = NULL WHERE rig = 'rig-0003'")
    assert work_out_trends(path) == 1
    assert json.loads(kept.read_text("utf-8"))["rigs"] == json.loads(good)["rigs"]


def test_a_script_that_no_other_process_can_begin_again_gets_its_trends(path):
    script = "import sys, throwbook.jobs.spread as s, throwbook.jobs.worsening as w; s.RIGS_AT_ONCE = 3; print(w.work_out_trends(sys.argv[1]))"
    done = run([sys.executable, "-", str(path)], input=script)
    assert (done.returncode, done.stdout.strip()) == (0, str(RIGS)), done.stderr
    with open_logbook(path, read_only=True) as book:
        assert len(known_trends(book).known) == RIGS


def test_a_file_that_is_none_is_made_anew(path):
    kept = path.with_name(path.name + SUFFIX)
    work_out_trends(path)
    good = kept.read_text("utf-8")
    for spoilt in ("", "{}", "[]", "\0", '{"made by": "another"}'):
        kept.write_text(spoilt, "utf-8")
        assert not any(one.trend_known for one in list_rigs(path, TODAY))
    assert work_out_trends(path) == RIGS
    assert kept.read_text("utf-8") == good


def test_the_trends_of_another_logbook_are_not_taken(path, tmp_path):
    work_out_trends(path)
    other = tmp_path / "other"
    build(other, 2, TODAY - timedelta(days=30))
    other.with_name(other.name + SUFFIX).write_text(
        path.with_name(path.name + SUFFIX).read_text("utf-8"), "utf-8"
    )
    assert work_out_trends(other) == 2


def test_no_status_is_kept(path):
    work_out_trends(path)
    text = path.with_name(path.name + SUFFIX).read_text("utf-8")
    rows = json.loads(text)["rigs"]
    assert {key for row in rows.values() if row for key in row} == {
        *("rule", "urgency", "cause", "step", "earliest", "limits")
    }
    assert "do not use" not in text


@pytest.mark.parametrize("column", sorted(SORTED_BY))
def test_each_column_sorts_all_rigs(path, column):
    rigs = list_rigs(path, TODAY)
    found = pick(rigs, Wanted(sort=column), TODAY)
    assert sorted(one.name for one in found) == sorted(one.name for one in rigs)
    keys = [SORTED_BY[column](one) for one in found]
    assert keys == sorted(keys)


def test_filters_narrow_together(path):
    rigs = list_rigs(path, TODAY)
    assert {one.name for one in pick(rigs, Wanted(place="YARD 2"), TODAY)} == {"rig-0001", "rig-0005"}
    assert [one.name for one in pick(rigs, Wanted("0005", place="yard 2"), TODAY)] == ["rig-0005"]
    assert {one.name for one in pick(rigs, Wanted("yard 3"), TODAY)} == {"rig-0002", "rig-0006"}
    both = pick(rigs, Wanted(levels=("do not use", "in service")), TODAY)
    assert {one.rig_status.status.level for one in both} == {"do not use", "in service"}
