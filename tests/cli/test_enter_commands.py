"""Throws typed in by hand, through the command."""

import json

import pytest

from tests.cli.sheet_steps import (
    GOOD,
    RIG,
    TOLD,
    UNSEEN,
    enter,
)


def test_a_paper_sheet_with_one_bad_line_is_refused_whole(run):
    code, _, err = enter(run, GOOD + "\nlock 14.3 2.1A")
    assert (code, "line 11" in err, "14.3 has no unit" in err) == (2, True, True)
    assert run("sheet", "list")[1].startswith("No sheet yet")


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["enter", "--rig", RIG], "--direction"),
        (["enter", "--rig", RIG, "--direction", "lock", "--time", "14.3"], "has no unit"),
        (
            ["enter", "--rig", RIG, "--direction", "lock", "--time", "14.3s", "--at", "2999-01-01"],
            "in the future",
        ),
        (
            ["enter", "--rig", RIG, "--direction", "lock", "--time", "14.3s", "--left-pin", "yes"],
            "--seen-how",
        ),
        (["enter", "--rig", "nobody", "--direction", "lock", "--time", "14.3s"], "no rig 'nobody'"),
        (["enter", "--rig", RIG, "--direction", "lock", "--time", "14s", "--sheet", "x-9"], "no sheet 'x-9'"),
        (["order", "raise", RIG], "--cause is missing"),
        (["order", "raise", RIG, "--cause", "bad luck", "--because", "x"], "no cause is called"),
        (["order", "raise", RIG, "--cause", "damage"], "--because is missing"),
        (["order", "clear", RIG, "--all"], "no order is open"),
        (["service", "add", RIG], "--action is missing"),
        (["service", "add", RIG, "--action", "greased", "--on", "2999-01-01"], "in the future"),
        (["service", "add", RIG, "--action", "greased", "--due", "soon"], "is not a date"),
        (["service", "add", RIG, "--action", "repaired", "--found-on", "2026-01-01"], "has no --found"),
        (["sheet", "plan", RIG], "--kind is missing"),
        (["sheet", "accept", "x-9"], "--left-pin is missing"),
        (["sheet", "reject", "x-9"], "--because is missing"),
    ],
)
def test_wrong_use_is_one_line_and_exit_code_2(run, words, complaint):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert complaint in err
    assert err.count("\n") == 1


def test_a_single_throw_by_options_is_judged_and_written_down(run):
    words = [
        "enter",
        "--rig",
        RIG,
        "--direction",
        "lock",
        "--time",
        "15.20s",
        "--run",
        "2.10A",
        "--peak",
        "2.90A",
    ]
    code, out, _ = run(*words, "--voltage", "12.40V", "--json")
    assert code == 0
    throw, sheet = map(json.loads, out.splitlines())
    assert (throw["verdict"], throw["travel_time_s"], throw["mean_voltage_v"]) == ("pass", 15.2, 12.4)
    assert throw["run_current_a_u"] > 0.1
    assert sheet == {"sheet": f"{RIG}-1", "rig": RIG, "status": "in service"}


def test_a_paper_sheet_typed_in_twice_is_noticed(run):
    enter(run, UNSEEN, *TOLD)
    code, _, err = enter(run, UNSEEN, *TOLD)
    assert (code, f"already on sheet {RIG}-1" in err, "--again" in err) == (2, True, True)
    assert enter(run, UNSEEN.replace("15.20", "15.30"), *TOLD)[0] == 0
    assert enter(run, UNSEEN, *TOLD, "--again")[0] == 0


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        (None, "no such file"),
        (b"\xff\xfe\x00lock", "this is not text"),
        (b"lock 1s\n" * 200_000, "far too long"),
        (b"", "no throw"),
    ],
    ids=["none", "no text", "long", "empty"],
)
def test_a_file_that_is_no_paper_sheet_is_refused_in_one_line(run, tmp_path, content, complaint):
    file = tmp_path / "sheet.txt"
    if content is not None:
        file.write_bytes(content)
    code, out, err = run("enter", "--rig", RIG, "--file", str(file))
    assert (code, out, complaint in err, err.count("\n")) == (2, "", True, 1)


def test_a_paper_typed_in_without_its_day_is_said_to_count_as_today(run):
    line = "lock 14.3s 2.1A 2.9A 12.4V"
    _, out, _ = run("enter", "--rig", RIG, "--paste", stdin=line)
    assert "No day was given, so these throws count as made today." in out
    _, out, _ = run("enter", "--rig", RIG, "--paste", "--again", "--at", "2026-03-14", stdin=line)
    assert "No day was given" not in out
    _, out, _ = run("sheet", "list", RIG)
    assert out.splitlines()[1].split()[:2] == [f"{RIG}-2", "2026-03-14"]
    _, out, _ = run("enter", "--rig", RIG, "--direction", "lock", "--time", "14.4s")
    assert "No day was given" not in out
