"""Ways round the rules that somebody tried: each is refused, or found by ``check``."""

import json

import pytest

from tests.cli.sheet_steps import GOOD, RIG, TOLD, UNSEEN, accept, clear, enter, enter_again, service, status
from tests.raw_file import raw

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
    assert "no repair yet" in out
    told = ("--action", "repaired", "--found", "bent pin", "--fixed", "new pin", "--by", "M. K.")
    assert "no repair yet" not in run("service", "add", RIG, *told)[1]


def test_work_done_before_the_throw_that_stalled_is_not_its_repair(run):
    enter(run, STALLED, *TOLD, "--at", "2026-02-02T10:00", kind="spot")
    told = ("--action", "repaired", "--found", "bent pin", "--fixed", "new pin", "--by", "M. K.")
    out = run("service", "add", RIG, *told, "--on", "2026-02-01")[1]
    assert "It answers no open order" in out
    assert "It answers 1 open order" in run("service", "add", RIG, *told, "--on", "2026-02-02")[1]


def test_an_order_taken_out_of_the_file_is_missed_and_can_be_written_again(run):
    enter(run, STALLED, *TOLD, kind="spot")
    with raw(run.path) as book:
        book.execute("DROP TRIGGER latch_order_no_delete")
        book.execute("DELETE FROM latch_order")
    code, out, _ = run("check")
    assert code == 1
    assert "the order that took the rig out of use is gone: stall" in out
    assert run("sheet", "rejudge", f"{RIG}-1", "--reason", "an order was gone", "--by", "M. K.")[0] in (0, 1)
    assert status(run)["status"] == "do not use"
    assert "is gone" not in run("check")[1]


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
    assert status(run)["open"][0]["sentence"] == "pin not seen: right pin"


def test_the_faults_of_a_rehearsal_are_listed_without_a_rig(run):
    code, out, _ = run("board", "rehearse", "--list")
    assert (code, "trouble" in out) == (0, True)
    code, _, err = run("board", "rehearse")
    assert (code, "--rig" in err) == (2, True)


def test_a_meter_that_is_too_coarse_is_not_answered_with_a_boards_advice(run):
    out = enter(run, "lock 15.2s 2.9A 3.0A 12.4V", *TOLD, kind="spot")[1]
    assert "clamp meter with a finer last digit" in out
    assert "Sample faster" not in out
