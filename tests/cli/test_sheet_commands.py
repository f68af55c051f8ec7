"""From a rejected sheet to a stall and the whole way back, through the commands a mechanic types."""

import json
from datetime import UTC, datetime

import pytest

from tests.cli.sheet_steps import (
    GOOD,
    ONE_PIN,
    PAIR,
    RIG,
    RIG_FILE,
    SEEN,
    TOLD,
    UNSEEN,
    accept,
    clear,
    enter,
    enter_again,
    service,
    status,
)
from tests.command import throwbook
from throwbook.logbook import open_logbook


def test_one_pin_not_seen_takes_the_rig_out_of_use_and_the_sheet_is_not_accepted(run):
    code, out, _ = enter(run, ONE_PIN, *TOLD)
    assert code == 0
    assert "right pin" in out
    assert status(run)["status"] == "do not use"
    code, _, err = accept(run, f"{RIG}-1")
    assert code == 2
    assert "throw 3 (lock): right pin was looked at and NOT seen in its hole" in err
    code, out, _ = run("sheet", "reject", f"{RIG}-1", "--because", "right pin not seen", "--signed", "M. K.")
    assert (code, "rejected and sealed" in out) == (0, True)
    assert accept(run, f"{RIG}-1")[0] == 2


def test_the_way_back_cannot_be_skipped_at_any_step(run):
    enter_again(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    assert status(run)["status"] == "in service"
    assert enter(run, "lock 9s 6.5A stalled", kind="spot")[0] == 1
    assert status(run)["status"] == "do not use"
    found = {"cause_found": "bent pin"}

    assert clear(run, **found, service="ffff", sheet=f"{RIG}-1")[0] == 2
    early = service(run, found="", fixed="")
    assert "no repair is logged" in clear(run, **found, service=early, sheet=f"{RIG}-1")[2]
    enter_again(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-3")[0] == 0
    repair = service(run)
    for sheet in (f"{RIG}-1", f"{RIG}-3"):
        code, _, err = clear(run, **found, service=repair, sheet=sheet)
        assert code == 2
        assert "planned after the order and after the repair" in err
    enter_again(run, GOOD, *TOLD, kind="seasonal")
    assert accept(run, f"{RIG}-4")[0] == 0
    assert clear(run, **found, service=repair, sheet=f"{RIG}-4")[0] == 2
    enter_again(run, GOOD, *TOLD)
    assert clear(run, **found, service=repair, sheet=f"{RIG}-5")[0] == 2
    assert accept(run, f"{RIG}-5")[0] == 0
    assert "--cause-found is missing" in clear(run, cause_found=" ", service=repair, sheet=f"{RIG}-5")[2]
    assert status(run)["status"] == "do not use"

    assert clear(run, **found, service=repair, sheet=f"{RIG}-5")[0] == 0
    assert status(run)["status"] == "in service"
    assert run("check")[0] == 0


@pytest.mark.parametrize("option", list(SEEN))
def test_in_a_pipe_each_missing_answer_is_refused_with_the_option_that_gives_it(run, option):
    enter(run, UNSEEN, *TOLD)
    code, out, err = accept(run, f"{RIG}-1", **{option[2:].replace("-", "_"): None})
    assert (code, out) == (2, "")
    assert f"{option} is missing" in err
    assert err.count("\n") == 1
    code, out, _ = run("sheet", "show", f"{RIG}-1", "--json")
    shown = json.loads(out)
    assert shown["state"] == "open"
    assert all(throw["seen"]["left_pin"] == "not looked" for throw in shown["throws"])


@pytest.mark.parametrize(
    ("option", "answer"),
    [
        ("left_pin", "no"),
        ("right_pin", "no"),
        ("left_pin", "not looked"),
        ("right_pin", "not looked"),
        ("load_check", "failed"),
        ("load_check", "not done"),
        ("retained_power_off", "no"),
        ("retained_power_off", "not tried"),
    ],
)
def test_any_answer_but_yes_is_refused_and_a_no_takes_it_out_of_use(run, option, answer):
    enter(run, UNSEEN, *TOLD)
    assert accept(run, f"{RIG}-1", **{option: answer})[0] == 2
    assert json.loads(run("sheet", "show", f"{RIG}-1", "--json")[1])["state"] == "open"
    expected = "do not use" if answer in ("no", "failed") else "in service"
    assert status(run)["status"] == expected
    assert not status(run)["commissioned"]


def test_the_accepted_sheet_prints_the_bound_and_what_the_blanks_cost(run):
    enter(run, UNSEEN)
    code, out, _ = accept(run, f"{RIG}-1")
    assert code == 0
    assert "at least 54.9 % succeed each way (0.05^(1/5), rounded down)" in out
    assert "At best 'watch' (this sheet, not the rig's status)" in out
    assert status(run)["status"] == "in service"
    assert "seen in its hole (torch, both sides)" in out
    assert "Baseline set (lock, unlock)" in out


def test_four_lock_throws_are_too_few(run):
    enter(run, "\n".join(PAIR * 4 + PAIR[1:]), *TOLD)
    code, _, err = accept(run, f"{RIG}-1")
    assert (code, "5 lock throws required, 4 on the sheet" in err) == (2, True)


def test_a_pin_is_seen_throw_by_throw_and_a_no_needs_a_reason_to_be_corrected(run):
    enter(run, UNSEEN, *TOLD)
    words = ["sheet", "see", f"{RIG}-1", "--seen-how", "torch", "--by", "M. K."]
    seen = ["--left-pin", "yes", "--load-check", "done", "--retained-power-off", "yes"]
    assert run(*words, "--throw", "1", *seen, "--right-pin", "no")[0] == 0
    assert run(*words, "--throw", "1", *seen, "--right-pin", "yes")[0] == 0
    assert "throw 1 (lock): right pin" in accept(run, f"{RIG}-1")[2]
    assert run(*words, "--throw", "1", *seen, "--right-pin", "yes", "--reason", "wrong side written")[0] == 0
    assert accept(run, f"{RIG}-1")[0] == 0
    assert status(run)["status"] == "do not use"
    assert run(*words, "--throw", "2", *seen)[0] == 2


def test_a_baseline_stays_until_a_service_or_a_reason(run):
    for number in (1, 2):
        enter_again(run, GOOD, *TOLD)
        code, out, _ = accept(run, f"{RIG}-{number}")
        assert code == 0
    assert "The previous baseline stays in use" in out
    enter_again(run, GOOD, *TOLD)
    assert "Baseline set" in accept(run, f"{RIG}-3", new_baseline="new attachment")[1]
    service(run)
    enter_again(run, GOOD, *TOLD)
    assert "Baseline set" in accept(run, f"{RIG}-4")[1]


def test_the_commands_run_in_a_process_of_their_own(run):
    enter(run, UNSEEN, *TOLD)
    words = [word for pair in SEEN.items() for word in pair]
    done = throwbook(run.path, "sheet", "accept", f"{RIG}-1", *words, "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert (told["state"], told["sealed"], told["status"]) == ("accepted", True, "in service")


def test_a_throw_left_out_stays_on_the_sheet_and_does_not_count(run):
    enter(run, UNSEEN, *TOLD)
    words = ["sheet", "leave-out", f"{RIG}-1", "--throw", "3"]
    assert run(*words)[0] == 2
    code, out, _ = run(*words, "--because", "the other attachment was on", "--by", "M. K.")
    assert (code, "the other attachment was on" in out) == (0, True)
    assert "5 lock throws required, 4 on the sheet" in accept(run, f"{RIG}-1")[2]


def test_a_changed_rating_judges_again_beside_the_old_verdict_and_takes_the_rig_up(run):
    enter(run, UNSEEN, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    words = ["sheet", "rejudge", f"{RIG}-1", "--reason", "rating misread", "--by", "M. K."]
    code, out, _ = run(*words)
    assert (code, "10 throws judged again, 0 with another verdict" in out) == (0, True)
    with open_logbook(run.path) as book:
        weaker = RIG_FILE.read_text("utf-8").replace(
            'full_load_current = "3.6 A"', 'full_load_current = "2.0 A"'
        )
        book.add_rig(RIG, weaker, "M. K.", datetime(2026, 3, 2, tzinfo=UTC))
    code, out, _ = run(*words)
    assert (code, "pass -> fail" in out) == (1, True)
    assert status(run)["status"] == "restricted"
    shown = json.loads(run("sheet", "show", f"{RIG}-1", "--json")[1])
    assert (shown["state"], shown["sealed"]) == ("accepted", True)
    assert run("check")[0] == 0
