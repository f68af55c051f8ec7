"""Ways round the rules that somebody tried: each is refused, or found by ``check``."""

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
    status,
)
from tests.raw_file import raw

LOOSER = '\n[limits]\nspread_run_current = { value = "30 %", reason = "jumpy" }\n'
NO_WIDTH = "\u200b"
STALLED = "lock 15.20s 2.10A 2.90A 12.40V stalled"


@pytest.mark.parametrize("blank", [NO_WIDTH, "\u3164", ".", "\u00ad \u2060"])
@pytest.mark.parametrize("option", ["signed", "seen_how"])
def test_a_sheet_is_not_accepted_with_a_name_or_a_sight_that_nobody_can_read(run, option, blank):
    enter(run, UNSEEN, *TOLD)
    code, _, err = accept(run, f"{RIG}-1", **{option: blank})
    assert (code, err.count("\n")) == (2, 1)
    assert json.loads(run("sheet", "show", f"{RIG}-1", "--json")[1])["state"] == "open"


def test_an_invisible_repair_does_not_lead_out_of_do_not_use(run):
    enter(run, STALLED, *TOLD, kind="spot")
    entry = service(run, found=NO_WIDTH, fixed=NO_WIDTH)
    enter_again(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-2")[0] == 0
    code, _, err = clear(run, cause_found="bent pin", service=entry, sheet=f"{RIG}-2")
    assert (code, "no repair is logged" in err) == (2, True)
    assert status(run)["status"] == "do not use"


def test_a_repair_taken_back_by_a_correction_takes_the_rig_out_of_use_again(run):
    enter(run, STALLED, *TOLD, kind="spot")
    entry = service(run)
    enter_again(run, GOOD, *TOLD)
    accept(run, f"{RIG}-2")
    assert clear(run, cause_found="bent pin", service=entry, sheet=f"{RIG}-2")[0] == 0
    corrected = service(run, found="bent left pin", corrects=entry, reason="which pin")
    assert status(run)["status"] == "in service"
    words = (
        "--action",
        "inspected",
        "--corrects",
        corrected,
        "--reason",
        "it was never done",
        "--by",
        "M. K.",
    )
    assert run("service", "add", RIG, *words)[0] == 0
    assert status(run)["status"] == "do not use"


def test_a_service_that_mends_nothing_says_so_before_the_rig_is_commissioned_in_vain(run):
    enter(run, STALLED, *TOLD, kind="spot")
    out = run(
        "service", "add", RIG, "--action", "inspected", "--found", "a", "--fixed", "b", "--by", "M. K."
    )[1]
    assert "does not yet count as the repair" in out
    told = ("--action", "repaired", "--found", "bent pin", "--fixed", "new pin", "--by", "M. K.")
    assert "does not yet count as the repair" not in run("service", "add", RIG, *told)[1]


def test_work_done_before_the_throw_that_stalled_is_not_its_repair(run):
    enter(run, STALLED, *TOLD, "--at", "2026-02-02T10:00", kind="spot")
    told = ("--action", "repaired", "--found", "bent pin", "--fixed", "new pin", "--by", "M. K.")
    out = run("service", "add", RIG, *told, "--on", "2026-02-01")[1]
    assert "It belongs to no open order" in out
    assert "It belongs to 1 open order" in run("service", "add", RIG, *told, "--on", "2026-02-02")[1]


def test_an_order_taken_out_of_the_file_is_missed_and_can_be_written_again(run):
    enter(run, STALLED, *TOLD, kind="spot")
    with raw(run.path) as book:
        book.execute("DROP TRIGGER latch_order_no_delete")
        book.execute("DELETE FROM latch_order")
    told = status(run)
    assert (told["status"], told["open"][0]["cause"]) == ("do not use", "lost order")
    assert any(one["sentence"].endswith("missing from this logbook: stall") for one in told["open"])
    assert "do not use" in run("rig", "list")[1]
    code, out, _ = run("check")
    assert code == 1
    assert "the order that took the rig out of use is gone: stall" in out
    assert run("sheet", "rejudge", f"{RIG}-1", "--reason", "an order was gone", "--by", "M. K.")[0] in (0, 1)
    told = status(run)
    held = sorted(one["cause"] for one in told["open"])
    assert (told["status"], held) == ("do not use", ["lost order", "missing row", "stall"])
    out = run("check")[1]
    assert "is gone" not in out
    assert "an order: stall is missing from this logbook" in out  # the first one, whose entry stays
    assert "guard against changes is missing (latch_order_no_delete)" in out


def test_one_of_two_orders_of_a_throw_taken_out_of_the_file_is_missed(run):
    enter(run, f"{STALLED} left pin no right pin yes", *TOLD, kind="spot")
    assert {one["cause"] for one in status(run)["open"]} == {"stall", "pin not seen"}
    with raw(run.path) as book:
        book.execute("DROP TRIGGER latch_order_no_delete")
        book.execute("DELETE FROM latch_order WHERE previous <> '[]'")  # the newest: no other names it
    assert {one["cause"] for one in status(run)["open"]} & {"lost order"}


@pytest.mark.parametrize("change", ["DELETE FROM latch_order", "UPDATE latch_order SET rig = 'another'"])
@pytest.mark.parametrize("later", ["a seal", "a plan", "a service"])
def test_an_order_that_later_entries_name_holds_when_it_is_taken_out_of_the_file(run, change, later):
    enter(run, STALLED, *TOLD, kind="spot")
    if later == "a seal":
        enter_again(run, GOOD, *TOLD)
        assert accept(run, f"{RIG}-2")[0] == 0
    elif later == "a plan":
        run("sheet", "plan", RIG, "--kind", "seasonal", *TOLD, "--by", "M. K.")
    else:
        service(run)
    with raw(run.path) as book:
        for what in ("update", "delete"):
            book.execute(f"DROP TRIGGER latch_order_no_{what}")
        book.execute("PRAGMA foreign_keys = OFF")
        book.execute(change)
    assert status(run)["status"] == "do not use"
    assert status(run)["open"][0]["cause"] == "lost order"


def test_a_rig_cannot_come_back_under_a_name_that_looks_the_same(run, tmp_path):
    from tests.cli.sheet_steps import RIG_FILE

    other = tmp_path / "other.toml"
    other.write_text(RIG_FILE.read_text("utf-8").replace(f'"{RIG}"', f'"{RIG.upper()}"'), "utf-8")
    code, _, err = run("rig", "add", str(other))
    assert (code, f"too like '{RIG}'" in err) == (2, True)


def test_a_rig_that_was_never_commissioned_is_not_listed_as_in_service(run):
    out = run("rig", "list")[1]
    assert "not commissioned" in out
    assert "in service" not in out


@pytest.mark.parametrize(
    "words",
    [
        ("--time", "0s", "--run", "2.1A"),
        (),
        ("--note", "nothing to see"),
    ],
)
def test_a_throw_of_no_reading_is_one_line_and_stores_nothing(run, words):
    code, _, err = run("enter", "--rig", RIG, "--direction", "lock", *words)
    assert (code, err.count("\n")) == (2, 1)
    assert run("sheet", "list", RIG, "--json")[1] == ""


def test_a_paper_sheets_yes_and_no_are_understood(run):
    enter(run, "lock 15.2s 2.1A 2.9A 12.4V left pin yes, right pin no", *TOLD, kind="spot")
    assert status(run)["open"][0]["sentence"] == "RIGHT pin NOT in its hole"


def test_the_faults_of_a_rehearsal_are_listed_without_a_rig(run):
    code, out, _ = run("board", "rehearse", "--list")
    assert (code, "trouble" in out) == (0, True)
    code, _, err = run("board", "rehearse")
    assert (code, "--rig" in err) == (2, True)


def test_a_meter_that_is_too_coarse_is_not_answered_with_a_boards_advice(run):
    out = enter(run, "lock 15.2s 2.7A 3.5A 12.4V", *TOLD, kind="spot")[1]
    assert "clamp meter with a finer last digit" in out
    assert "Sample faster" not in out


def test_a_rating_raised_while_the_throws_were_made_and_put_back_carries_no_acceptance(run, tmp_path):
    from tests.cli.sheet_steps import RIG_FILE

    text = RIG_FILE.read_text("utf-8")
    high, low = tmp_path / "high.toml", tmp_path / "low.toml"
    own = '\n[limits]\nrun_current = { value = "3.2 A", reason = "misread" }\n'
    high.write_text(text + own, "utf-8")
    low.write_text(text, "utf-8")
    assert run("rig", "add", str(high), "--reason", "misread")[0] == 0
    enter(run, GOOD, *TOLD)
    assert run("rig", "add", str(low), "--reason", "read again")[0] == 0
    code, _, err = accept(run, f"{RIG}-1")
    assert (code, "judged by another version of the rig file" in err) == (2, True)
    assert run("sheet", "rejudge", f"{RIG}-1", "--reason", "rig file read again")[0] == 0
    assert accept(run, f"{RIG}-1")[0] == 0


def test_what_is_asked_about_a_pin_is_never_answered_for_the_person(run):
    enter(run, GOOD, *TOLD)
    err = accept(run, f"{RIG}-1", left_pin=None)[2]
    assert "give --left-pin with one of: yes, no, not looked" in err


def test_a_pin_once_not_seen_is_told_of_although_somebody_corrected_it(run):
    enter(run, GOOD, *TOLD)
    see = (
        "sheet",
        "see",
        f"{RIG}-1",
        "--throw",
        "3",
        "--left-pin",
        "yes",
        "--seen-how",
        "torch",
        "--by",
        "M. K.",
    )
    run(*see, "--right-pin", "no", "--load-check", "failed")
    run(
        *see,
        "--right-pin",
        "yes",
        "--load-check",
        "done",
        "--retained-power-off",
        "yes",
        "--reason",
        "wrong side",
    )
    said = "throw 3 (lock): right pin, load check first recorded as NO, corrected by M. K.: wrong side"
    assert said in run("sheet", "show", f"{RIG}-1")[1]
    assert accept(run, f"{RIG}-1")[0] == 0
    shown = json.loads(run("sheet", "show", f"{RIG}-1", "--json")[1])
    assert said in shown["statement"]
    assert shown["taken_back"] == [said]
    assert status(run)["status"] == "do not use"


def changed_rig(tmp_path, old: str, new: str) -> str:
    from tests.cli.sheet_steps import RIG_FILE

    file = tmp_path / "changed.toml"
    file.write_text(RIG_FILE.read_text("utf-8").replace(old, new), "utf-8")
    return str(file)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"3.6 A"', '"5.6 A"', "full-load current, peak running current limit, running current limit"),
        ('"1500 N"', '"1600 N"', "rated force"),
        ("extend_locks = true", f"extend_locks = true{LOOSER}", "spread of the running current limit"),
    ],
)
def test_a_rating_raised_after_the_commissioning_restricts_the_rig(run, tmp_path, old, new, said):
    enter(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    out = run("rig", "add", changed_rig(tmp_path, old, new), "--reason", "data sheet misread")[1]
    assert "restricted" in out
    found = status(run)
    assert (found["status"], found["open"][0]["sentence"]) == ("restricted", f"rig changed: {said}")
    assert clear(run)[0] == 0
    assert status(run)["status"] == "in service"


def test_what_changes_no_limit_leaves_a_commissioned_rig_where_it_stands(run, tmp_path):
    enter(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    run("rig", "add", changed_rig(tmp_path, "IP66", "IP67"), "--reason", "read again")
    assert status(run)["status"] == "in service"


def test_a_rig_never_commissioned_is_changed_without_an_order(run, tmp_path):
    assert run("rig", "add", changed_rig(tmp_path, '"1500 N"', '"1600 N"'), "--reason", "misread")[0] == 0
    assert status(run)["open"] == []


def test_commissioned_anew_but_heavier_the_old_baseline_stays_unless_somebody_writes_why(run):
    enter(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    service(run)
    enter(run, GOOD.replace("2.10A 2.90A", "2.62A 3.30A").replace("1.80A 2.40A", "2.35A 3.10A"), *TOLD)
    code, out, err = accept(run, f"{RIG}-2")
    assert code == 0, err
    assert (
        "The previous baseline stays in use: compared with the baseline in use, its throws show: drag" in out
    )
    service(run, found="dry pins")
    enter_again(run, GOOD, *TOLD)
    code, out, _ = accept(run, f"{RIG}-3")
    assert (code, "Baseline set" in out) == (0, True)


def test_an_inspection_is_no_work_that_renews_a_baseline(run):
    enter(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    told = ("--action", "inspected", "--found", "a", "--fixed", "b", "--by", "M. K.")
    assert run("service", "add", RIG, *told)[0] == 0
    enter_again(run, GOOD, *TOLD)
    assert "The previous baseline stays in use" in accept(run, f"{RIG}-2")[1]


def test_a_look_alike_name_is_refused_by_the_screens_set_up_too(run):
    from throwbook.errors import InputError
    from throwbook.jobs.rig_setup import add_setup, setup_of

    values = setup_of(str(run.path), RIG) | {"name": RIG.upper()}
    with pytest.raises(InputError, match="too like"):
        add_setup(str(run.path), values, "M. K.", datetime(2026, 3, 14, tzinfo=UTC))


def test_a_sheet_of_before_typed_in_again_is_told_and_stated(run):
    enter(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    assert "digit for digit" not in run("sheet", "show", f"{RIG}-1")[1]
    enter_again(run, GOOD, *TOLD)
    told = f"all its readings are also on sheet {RIG}-1, digit for digit"
    assert told in run("sheet", "show", f"{RIG}-2")[1]
    assert f"Doubtful: {told}." in accept(run, f"{RIG}-2")[1]
    assert "digit for digit" not in run("sheet", "show", f"{RIG}-1", "--json")[1]
    enter(run, GOOD.replace("15.20s", "15.21s"), *TOLD)
    assert "digit for digit" not in run("sheet", "show", f"{RIG}-3")[1]


def test_a_new_name_for_a_machine_that_is_out_of_use_is_told(run, tmp_path):
    text = RIG_FILE.read_text("utf-8")
    (tmp_path / "third.toml").write_text(text.replace(RIG, "third-loader"), "utf-8")
    assert "just these values" not in run("rig", "add", str(tmp_path / "third.toml"), "--by", "M. K.")[1]
    enter(run, STALLED, "--as-read", kind="spot")
    (tmp_path / "new.toml").write_text(text.replace(RIG, "yard-loader"), "utf-8")
    said = run("rig", "add", str(tmp_path / "new.toml"), "--by", "M. K.")[1]
    assert f"Rig {RIG} has exactly these values and is out of use: DO NOT USE." in said
    other = text.replace(RIG, "hill-loader").replace("1500 N", "1600 N")
    (tmp_path / "other.toml").write_text(other, "utf-8")
    assert "just these values" not in run("rig", "add", str(tmp_path / "other.toml"), "--by", "M. K.")[1]
