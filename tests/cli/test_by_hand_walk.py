"""What a mechanic with a clamp meter and a stopwatch stumbled on: the whole way with nothing but typed readings."""

import json
from datetime import UTC, datetime

import pytest

from logger.jobs.rig_list import list_rigs
from logger.logbook import open_logbook
from tests.cli.sheet_steps import RIG, RIG_FILE, TOLD, UNSEEN, accept, enter, enter_again

STALLED = "lock stalled 4.1s 3.5A"
SEASON = "lock 17.00s 2.90A 3.90A 12.40V\nunlock 16.00s 2.60A 3.40A 12.50V"


def commissioned(run) -> None:
    enter(run, UNSEEN, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0


def test_the_air_temperature_of_the_sheet_holds_for_every_throw_typed_in_from_paper(run):
    commissioned(run)
    _, out, _ = enter(run, SEASON, *TOLD, kind="seasonal")
    assert "Heavier by" in out
    assert "temperature of one of them wasn't recorded" not in out
    unknown = [word for word in TOLD if word not in ("--ambient", "4degC")]
    _, out, _ = enter_again(run, SEASON, *unknown, kind="seasonal")
    assert "temperature of one of them wasn't recorded" in out


def test_a_yes_for_the_whole_sheet_is_not_written_down_for_a_throw_that_stalled(run):
    enter(run, f"{UNSEEN}\n{STALLED}", *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 2
    throws = json.loads(run("sheet", "show", f"{RIG}-1", "--json")[1])["throws"]
    looked = {one["throw"]: one["seen"] for one in throws if one["direction"] == "lock"}
    assert looked.pop(11)["left_pin"] == "not looked"
    assert {one["left_pin"] for one in looked.values()} == {"yes"}


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


def test_a_half_remembered_name_is_answered_with_the_rigs_it_may_be(run):
    with open_logbook(run.path) as book:
        for number in range(20):
            book.add_rig(f"yard-loader-{number:02}", RIG_FILE.read_text("utf-8"), "M. K.", datetime.now(UTC))
    assert "It has: quarry-loader; " in run("status", "quarry")[2]
    assert "It has: yard-loader-14, " in run("status", "Yard-Lauder-14")[2]
    assert "and 13 more" in run("status", "nobody knows")[2]
