"""Status, orders and services through the commands; what is asked at a terminal."""

import json

from tests.cli.sheet_steps import (
    GOOD,
    RIG,
    TOLD,
    UNSEEN,
    accept,
    at_terminal,
    clear,
    enter,
    enter_again,
    service,
    status,
)
from throwbook.logbook import open_logbook


def test_a_person_takes_a_rig_up_and_down_to_watch(run):
    assert (
        run("order", "raise", RIG, "--cause", "person: watch", "--because", "sounds rough", "--by", "M. K.")[
            0
        ]
        == 0
    )
    assert status(run)["status"] == "watch"
    assert run("order", "clear", RIG, "--all", "--because", "greased", "--signed", " ")[0] == 2
    assert clear(run)[0] == 0
    assert status(run)["status"] == "in service"
    listed = [json.loads(line) for line in run("order", "list", RIG, "--json")[1].splitlines()]
    assert [one["action"] for one in listed] == ["raise", "clear"]


def test_overdue_is_shown_with_the_rig_and_a_check_answers_it(run):
    words = ["service", "add", RIG, "--action", "greased", "--on", "2026-01-10", "--due", "2026-04-10"]
    code, out, _ = run(*words, "--by", "M. K.")
    assert code == 0
    assert "overdue: check was due 2026-04-10" in out
    assert status(run)["next_check"]["overdue"]
    assert "overdue" in run("service", "list", RIG)[1]
    enter_again(run, GOOD, *TOLD, kind="seasonal")
    assert status(run)["next_check"]["overdue"]
    assert accept(run, f"{RIG}-1")[0] == 0
    assert not status(run)["next_check"]["overdue"]


def test_a_service_entry_is_corrected_by_another_that_stands_beside_it(run):
    first = service(run)
    words = [
        "service",
        "add",
        RIG,
        "--action",
        "replaced",
        "--found",
        "worn pin",
        "--by",
        "M. K.",
        "--corrects",
        first,
    ]
    assert "--reason" in run(*words)[2]
    assert run(*words, "--reason", "it was replaced")[0] == 0
    entries = [json.loads(line) for line in run("service", "list", RIG, "--json")[1].splitlines()]
    assert [one["action"] for one in entries] == ["replaced"]
    with open_logbook(run.path, read_only=True) as book:
        assert len(book.services(RIG, every_revision=True)) == 2


def test_at_a_terminal_what_is_missing_is_asked_with_the_caution_beside_it(run):
    enter(run, UNSEEN, *TOLD)
    code, shown = at_terminal(
        run, "sheet", "accept", f"{RIG}-1", typed="y\nyes\nyes\ntorch\ndone\nyes\nM. K.\n"
    )
    assert code == 0, shown
    assert "At every attachment change, look at each pin separately" in " ".join(shown.split())
    assert "accepted and sealed" in shown
    with open_logbook(run.path, read_only=True) as book:
        assert book.sheet(f"{RIG}-1").decision.statement["cautions_read"] is True


def test_at_a_terminal_cautions_that_were_not_kept_to_leave_the_sheet_open(run):
    enter(run, UNSEEN, *TOLD)
    code, shown = at_terminal(run, "sheet", "accept", f"{RIG}-1", typed="n\n")
    assert (code, "It stays open" in shown) == (2, True)


def test_at_a_terminal_a_blank_question_stays_not_recorded(run):
    code, shown = at_terminal(run, "sheet", "plan", RIG, "--kind", "seasonal", typed="16\nno\n4\n\n\n\n\n\n")
    assert code == 0, shown
    told = json.loads(run("sheet", "show", f"{RIG}-1", "--json")[1])["answers"]
    assert told == {"hours_since_movement": 16.0, "worked_before": "no", "ambient_c": 4.0}
