"""What a mechanic with a clamp meter and a stopwatch stumbled on: the whole way with nothing but typed readings."""

import json
from datetime import UTC, datetime

import pytest

from tests.cli.sheet_steps import (
    GOOD,
    RIG,
    RIG_FILE,
    TOLD,
    UNSEEN,
    accept,
    clear,
    enter,
    enter_again,
    service,
)
from throwbook.jobs.rig_list import list_rigs
from throwbook.logbook import open_logbook

STALLED = "lock stalled 4.1s 3.5A"
SEASON = "lock 17.00s 2.90A 3.90A 12.40V\nunlock 16.00s 2.60A 3.40A 12.50V"


def commissioned(run) -> None:
    enter(run, UNSEEN, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0


def test_the_air_temperature_of_the_sheet_holds_for_every_throw_typed_in_from_paper(run):
    commissioned(run)
    _, out, _ = enter(run, SEASON, *TOLD, kind="seasonal")
    assert "Running current" in out
    assert "air temperature was not recorded" not in out
    unknown = [word for word in TOLD if word not in ("--ambient", "4degC")]
    _, out, _ = enter_again(run, SEASON, *unknown, kind="seasonal")
    assert "air temperature was not recorded" in out


def test_a_yes_for_a_sheet_with_a_throw_that_stalled_is_not_written_down(run):
    enter(run, f"{UNSEEN}\n{STALLED}", *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 2
    throws = json.loads(run("sheet", "show", f"{RIG}-1", "--json")[1])["throws"]
    looked = {one["throw"]: one["seen"] for one in throws if one["direction"] == "lock"}
    assert {one["left_pin"] for one in looked.values()} == {"not looked"}


def test_a_no_for_the_whole_sheet_is_kept_for_a_throw_that_stalled_as_well(run):
    enter(run, f"{UNSEEN}\n{STALLED}", *TOLD)
    accept(run, f"{RIG}-1", left_pin="no")
    throws = json.loads(run("sheet", "show", f"{RIG}-1", "--json")[1])["throws"]
    assert {one["seen"]["left_pin"] for one in throws if one["direction"] == "lock"} == {"no"}


def test_the_list_tells_when_throws_without_a_time_of_their_own_were_written_down(run):
    enter(run, UNSEEN, *TOLD, "--at", "2026-03-02T09:00")
    enter_again(run, UNSEEN, *TOLD)
    newest = list_rigs(run.path, datetime.now(UTC).date())[0].last_trial
    assert newest is not None
    assert (datetime.now(UTC) - newest).total_seconds() < 600


@pytest.mark.parametrize("typed", ["1210", "1210h", "1210,5 h"])
def test_an_hour_meter_counts_hours(run, typed):
    code, _, err = run(
        "service", "add", RIG, "--action", "greased", "--machine-hours", typed, "--by", "M. K."
    )
    assert code == 0, err


def test_readings_typed_as_the_country_writes_them_are_read(run):
    words = [
        "enter",
        "--rig",
        RIG,
        "--direction",
        "lock",
        "--time",
        "15,2s",
        "--run",
        "2,10 A",
        "--peak",
        "2,9A",
    ]
    code, out, err = run(*words, "--voltage", "12,40 V DC", "--json")
    assert code == 0, err
    assert json.loads(out.splitlines()[0])["travel_time_s"] == 15.2


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("lock 152s 2.10A 2.90A 12.40V", "travel time 152 s; expected about 14 s"),
        ("lock 1.52s 2.10A 2.90A 12.40V", "travel time 1.52 s; expected about 14 s"),
        ("lock 15.20s 21.0A 2.90A 12.40V", "21 A running is far above"),
        ("lock 15.20s 2.10A 0.029A 12.40V", "0.029 A peak is far below"),
        ("lock 15.20s 2.10A 2.90A 124.0V", "124 V is not a supply voltage"),
    ],
)
def test_a_slip_of_the_point_is_asked_before_it_takes_the_rig_up(run, line, told):
    code, _, err = enter(run, f"{UNSEEN}\n{line}", *TOLD)
    assert (code, "throw 11: " in err, told in err, "--as-read" in err) == (2, True, True, True), err
    assert run("sheet", "list")[1].startswith("No sheet yet")
    enter(run, f"{UNSEEN}\n{line}", *TOLD, "--as-read")
    assert len(json.loads(run("sheet", "show", f"{RIG}-1", "--json")[1])["throws"]) == 11


def test_a_slow_throw_tells_its_seconds_and_those_that_were_due(run):
    _, out, _ = enter(run, "lock 25.0s 2.10A 2.90A 12.40V", *TOLD)
    assert "(25.0 s; expected 14." in out


def test_a_reading_that_was_not_taken_says_how_the_sheet_can_still_be_accepted(run):
    _, out, _ = enter(run, GOOD.replace("15.20s", "-", 1), *TOLD)
    assert "no reading: leave this throw out, throw again and take the reading" in out
    run("sheet", "leave-out", f"{RIG}-1", "--throw", "1", "--because", "peak not read", "--by", "M. K.")
    run(*f"enter --rig {RIG} --sheet {RIG}-1 --paste".split(), stdin="lock 15.2s 2.10A 2.90A 12.40V")
    assert accept(run, f"{RIG}-1")[0] == 0


def test_what_can_still_be_answered_is_said_before_the_sheet_is_signed(run):
    commissioned(run)
    _, out, _ = enter_again(run, GOOD, "--ambient", "4degC", "--hours-since", "16h", kind="seasonal")
    assert f"not recorded: greased or moved before the test: throwbook sheet answer {RIG}-2" in out
    assert f"Next: sign it: throwbook sheet accept {RIG}-2" in out


def test_the_status_names_what_is_done_of_the_way_back_and_what_is_to_be_typed(run):
    enter(run, STALLED, *TOLD, kind="spot")
    assert "step 1: find the cause" in run("status", RIG)[1]
    entry = service(run)
    out = run("status", RIG)[1]
    assert "step 1: done: cause found: bent pin" in out
    assert "step 3: commission again in full" in out
    enter_again(run, GOOD, *TOLD)
    assert f"{RIG}-2 is planned: throwbook sheet show {RIG}-2" in run("status", RIG)[1]
    accept(run, f"{RIG}-2")
    out = run("status", RIG)[1]
    assert (
        f"order clear {RIG} --all --because TEXT --cause-found TEXT --service {entry} --sheet {RIG}-2" in out
    )
    assert clear(run, cause_found="bent pin", service=entry, sheet=f"{RIG}-2")[0] == 0
    enter(run, SEASON, *TOLD, kind="seasonal")
    assert f"order clear {RIG} --all --because TEXT --signed NAME" in run("status", RIG)[1]


def test_a_half_remembered_name_is_answered_with_the_rigs_it_may_be(run):
    with open_logbook(run.path) as book:
        for number in range(20):
            book.add_rig(f"yard-loader-{number:02}", RIG_FILE.read_text("utf-8"), "M. K.", datetime.now(UTC))
    assert "quarry-loader" in run("status", "quarry")[1], "the only one that it can mean"
    assert "It has: quarry-loader. " in run("sheet", "plan", "quarry", "--kind", "spot")[2], (
        "nothing is written by half a name"
    )
    assert "It has: yard-loader-14, " in run("status", "Yard-Lauder-14")[2]
    assert "and 13 more" in run("status", "nobody knows")[2]


def test_a_number_is_typed_to_its_end_and_a_completed_name_is_told(run):
    with open_logbook(run.path) as book:
        book.add_rig("loader-10", RIG_FILE.read_text("utf-8"), "M. K.", datetime.now(UTC))
    code, out, err = run("status", "loader-1")
    assert (code, out, "loader-10" in err) == (2, "", True)
    for words in (("status",), ("rig", "show"), ("trend",), ("order", "list")):
        assert run(*words, "ader-10")[2].splitlines()[0] == (
            "throwbook: loader-10, the only rig that 'ader-10' can mean"
        )
    assert run("rig", "show", "ader-10")[2].count("the only rig") == 1
    assert json.loads(run("status", "ader-10", "--json")[1])["rig"] == "loader-10"
    assert run("status", "loader-10")[2] == ""


@pytest.mark.parametrize("option", ["--because", "--reason"])
def test_a_reason_may_be_called_either_way(run, option):
    enter(run, UNSEEN, *TOLD)
    assert (
        run("sheet", "leave-out", f"{RIG}-1", "--throw", "1", option, "wrong attachment", "--by", "M. K.")[0]
        == 0
    )
    assert run("sheet", "rejudge", f"{RIG}-1", option, "rating misread", "--by", "M. K.")[0] == 0


@pytest.mark.parametrize("group", ["sheet", "order", "service", "rig", "board"])
def test_no_line_of_a_list_of_commands_is_cut_off(run, group):
    assert "..." not in run(group, "--help")[1].replace("[ARGS]...", "")


def test_who_has_no_board_is_told_to_bring_a_clamp_meter_to_the_next_check(run):
    commissioned(run)
    assert "Bring: board or clamp meter" in run("trend", RIG)[1]
