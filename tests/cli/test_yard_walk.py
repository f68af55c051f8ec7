"""What the owner of a yard stumbled on: many rigs, what is due, a list for the wall, a machine sold."""

import csv
import json
from datetime import UTC, datetime, timedelta

import pytest

from tests.cli.sheet_steps import RIG, RIG_FILE, TOLD, UNSEEN, enter, status
from tests.report.page_words import words_on_pages
from throwbook.core.status.maintenance import ServiceEntry
from throwbook.jobs.maintenance import add
from throwbook.jobs.trend import fleet
from throwbook.logbook import open_logbook

STALLED = "lock stalled 4.1s 3.5A"


@pytest.fixture
def yard(run):
    """Four rigs: overdue, due in 3 days, due in a year, none set; the last one out of use."""
    moment = datetime.now(UTC)
    text = RIG_FILE.read_text("utf-8")
    with open_logbook(run.path) as book:
        for name in ("north-1", "north-2", "south-1"):
            book.add_rig(name, text.replace(RIG, name), "M. K.", moment)
    for name, days in (("north-1", 3), ("north-2", -2), ("south-1", 365)):
        done = moment.date() - timedelta(days=10)
        due = moment.date() + timedelta(days=days)
        entry = ServiceEntry("", name, "inspected", done, due_on=due, by="M. K.")
        add(run.path, entry, moment - timedelta(days=10))
    enter(run, STALLED, *TOLD, kind="spot")
    return run


def names(run, *words: str) -> list[str]:
    code, out, err = run("rig", "list", *words, "--json")
    assert code == 0, err
    return [json.loads(line)["rig"] for line in out.splitlines()]


def test_what_is_due_comes_first_due_first(yard):
    assert names(yard, "--due-within", "7") == ["north-2", "north-1"]
    assert names(yard, "--due-within", "0") == ["north-2"]


def test_a_part_of_a_name_and_a_status_narrow_the_list(yard):
    assert names(yard, "NORTH") == ["north-2", "north-1"]  # overdue before due
    assert names(yard, "--status", "do not use") == [RIG]
    assert names(yard, "south", "--status", "not commissioned") == ["south-1"]
    assert "1 of 4 rigs." in yard("rig", "list", "south")[1]
    assert "0 of 4 rigs." in yard("rig", "list", "nowhere")[1]


def test_the_long_unseen_are_those_never_thrown_and_those_thrown_long_ago(yard):
    enter(yard, UNSEEN, *TOLD, kind="spot")
    assert names(yard, "--unseen", "100") == ["north-2", "north-1", "south-1"]
    assert RIG in names(yard, "--unseen", "0")


def test_a_spreadsheet_gets_one_row_a_rig(yard, tmp_path):
    file = tmp_path / "rigs.csv"
    assert yard("rig", "list", "--csv", str(file))[0] == 0
    rows = {row["rig"]: row for row in csv.DictReader(file.read_text("utf-8").splitlines())}
    assert len(rows) == 4
    assert rows["north-2"]["overdue"] == "yes"
    assert rows["north-1"]["due_on"] == (datetime.now(UTC).date() + timedelta(days=3)).isoformat()
    assert "stall" in rows[RIG]["because"]
    assert [path.name for path in tmp_path.glob("*.part")] == []


def test_a_folder_that_is_not_there_is_one_line_and_exit_code_3(yard, tmp_path):
    code, _, err = yard("rig", "list", "--csv", str(tmp_path / "none" / "rigs.csv"))
    assert (code, err.count("\n")) == (3, 1)


def test_the_list_for_the_wall_says_first_what_must_not_be_used(yard, tmp_path):
    file = tmp_path / "wall.pdf"
    assert yard("rig", "list", "--pdf", str(file))[0] == 0
    (_, _, words) = words_on_pages(file.read_bytes(), tmp_path)[0]
    text = " ".join(word.text for word in words)
    assert text.index("Do not use") < text.index(RIG) < text.index("A half-locked attachment drops")
    assert all(name in text for name in ("north-1", "north-2", "south-1", "overdue"))


def test_a_sold_rig_leaves_the_lists_and_keeps_all_it_wrote(yard):
    code, out, _ = yard("rig", "retire", RIG, "--because", "sold", "--by", "M. K.")
    assert (code, "retired: sold" in out, "do not use" in out) == (0, True, True)
    assert RIG not in names(yard)
    assert "3 of 4 rigs; 1 retired (--retired)." in yard("rig", "list")[1]
    assert names(yard, "--retired") == [RIG]
    assert RIG not in [one.history.rig.name for one in fleet(yard.path, datetime.now(UTC).date(), workers=1)]
    assert status(yard)["status"] == "do not use"
    code, _, err = yard("sheet", "plan", RIG, "--kind", "spot")
    assert (code, "this rig is retired (sold)" in err) == (2, True)
    assert yard("check")[0] == 0


def test_a_retired_rig_comes_back_as_it_was(yard):
    before = yard("rig", "show", RIG, "--json")[1]
    assert yard("rig", "retire", RIG, "--back", "--because", "never sold")[0] == 2
    assert yard("rig", "retire", RIG, "--because", "sold", "--by", "M. K.")[0] == 0
    assert yard("rig", "retire", RIG, "--because", "sold again")[0] == 2
    assert yard("rig", "retire", RIG, "--back", "--because", "bought back", "--by", "M. K.")[0] == 0
    assert RIG in names(yard)
    held, now = json.loads(before), json.loads(yard("rig", "show", RIG, "--json")[1])
    assert (held["logbook"].pop("revisions"), now["logbook"].pop("revisions")) == (1, 3)
    assert held == now


@pytest.mark.parametrize("because", ["x" * 500, "\u200b", 'sold to "M. K.", \\ bench'])
def test_a_reason_either_reads_back_or_is_refused(yard, because):
    code, _, _ = yard("rig", "retire", RIG, "--because", because, "--by", "M. K.")
    assert code == (0 if because.startswith("sold") else 2)
    assert yard("rig", "show", RIG)[0] == 0
    if code == 0:
        assert because in yard("rig", "list", "--retired")[1]


def test_the_same_order_on_the_command_line_in_json_on_the_wall_and_in_a_spreadsheet(yard, tmp_path):
    expected = [
        RIG,
        "north-2",
        "north-1",
        "south-1",
    ]  # out of use, overdue, due in 3 days, never commissioned
    file, wall = tmp_path / "rigs.csv", tmp_path / "wall.pdf"
    assert yard("rig", "list", "--csv", str(file), "--pdf", str(wall))[0] == 0
    rows = list(csv.DictReader(file.read_text("utf-8").splitlines()))
    listed = [json.loads(line) for line in yard("rig", "list", "--json")[1].splitlines()]
    assert names(yard) == [row["rig"] for row in rows] == expected
    for key in ("need", "why", "next_step", "place"):
        assert [row[key] or None for row in rows] == [one[key] for one in listed]
    text = yard("rig", "list")[1]
    assert sorted(expected, key=lambda rig: text.index(f"\n{rig} ")) == expected
    (_, _, words) = words_on_pages(wall.read_bytes(), tmp_path)[0]
    on_paper = [word.text for word in words if word.text in expected]
    assert on_paper[-4:] == expected
    assert all(one["why"] in " ".join(text.split()) for one in listed)


def test_the_first_ten_unless_more_are_asked_for(yard):
    assert "2 of 4 rigs. --all shows all 4." in yard("rig", "list", "--first", "2")[1]
    assert names(yard, "--first", "1") == [RIG]
    assert "of 4" not in yard("rig", "list", "--all")[1]
    code, _, err = yard("rig", "list", "--all", "--first", "2")
    assert (code, err.count("\n")) == (2, 1)


def test_two_statuses_both_count(yard):
    both = names(yard, "--status", "do not use", "--status", "not commissioned")
    assert both == [RIG, "north-2", "north-1", "south-1"]


def test_any_column_sorts(yard):
    assert names(yard, "--sort", "rig") == ["north-1", "north-2", RIG, "south-1"]
    assert names(yard, "--sort", "due")[:2] == ["north-2", "north-1"]


def test_the_trend_of_all_is_the_same_list(yard):
    assert yard("trend")[1] == yard("rig", "list")[1]
    assert yard("trend")[0] == 1


def test_a_short_name_is_taken_where_it_can_mean_one_rig_and_nothing_is_written(yard):
    for words in (
        ("status", "SOUTH"),
        ("rig", "show", "south"),
        ("order", "list", "quarry"),
        ("rig", "fit", "south"),
    ):
        assert yard(*words)[0] in (0, 1), words
    assert yard("status", "SOUTH")[1].startswith("south-1: ")
    assert json.loads(yard("status", "quarry", "--json")[1])["rig"] == RIG
    code, _, err = yard("status", "north")
    assert (code, "north-1, north-2" in err) == (2, True)
    assert yard("status", "")[0] == 0  # no name: every rig
    for words in (
        ("order", "raise", "south", "--cause", "damage", "--because", "bent"),
        ("sheet", "plan", "south", "--kind", "spot"),
        ("rig", "retire", "south", "--because", "sold"),
        ("service", "add", "south", "--action", "greased"),
    ):
        assert yard(*words)[0] == 2, words
