"""What is signed, found or answered and can't be meant so: refused, or told before the signature and in the statement."""

import json
from datetime import datetime, timedelta

import pytest

from tests.cli.sheet_steps import (
    GOOD,
    PAIR,
    RIG,
    TOLD,
    UNSEEN,
    accept,
    clear,
    enter,
    enter_again,
    service,
    status,
)
from throwbook.core.status.latch import CAUSES, DO_NOT_USE
from throwbook.core.status.raising import repeats_symptom
from throwbook.jobs.steps_to_clear import not_proved_in
from throwbook.logbook import open_logbook

STALLED = "lock 15.20s 2.10A 2.90A 12.40V stalled"


@pytest.fixture
def recommissioned(run):
    enter(run, STALLED, *TOLD, kind="spot")
    entry = service(run)
    enter_again(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-2")[0] == 0
    return {"service": entry, "sheet": f"{RIG}-2"}


def test_a_number_signs_nothing(run, recommissioned):
    words = ["order", "clear", RIG, "--all", "--because", "proved", "--cause-found", "bent pin"]
    more = [word for key, text in recommissioned.items() for word in (f"--{key}", text)]
    names = ("0", "42", "-")
    for name in names:
        assert run(*words, *more, "--signed", name)[0] == 2
        assert status(run)["status"] == "do not use"
    enter_again(run, UNSEEN, *TOLD)
    for name in names:
        assert accept(run, f"{RIG}-3", signed=name)[0] == 2
        assert run("sheet", "reject", f"{RIG}-3", "--because", "other attachment", "--signed", name)[0] == 2


def test_a_cause_found_that_repeats_what_was_seen_is_refused(run, recommissioned):
    for text in ("lock stalled", "It stalled.", "stall", "the motor stood still", "0", "unknown"):
        code, _, err = clear(run, cause_found=text, **recommissioned)
        assert (code, "only repeats what was seen" in err) == (2, True)
    assert clear(run, cause_found="pin broken at its clevis", **recommissioned)[0] == 0
    assert status(run)["status"] == "in service"


@pytest.mark.parametrize("cause", [name for name, (level, _) in CAUSES.items() if level == DO_NOT_USE])
def test_no_real_cause_is_taken_for_its_symptom(cause):
    real = (
        "bent pin",
        "mud in the left hole",
        "worn nut",
        "sheared clevis pin",
        "battery flat",
        "broken wire",
        "rust",
    )
    assert [text for text in real if repeats_symptom(text, [cause])] == []
    assert repeats_symptom(cause.removeprefix("person: "), [cause])


@pytest.mark.parametrize("cause", [name for name, (level, _) in CAUSES.items() if level == DO_NOT_USE])
def test_words_of_work_that_only_begin_like_words_of_no_cause_say_something(cause):
    work = ("cleaned", "machined", "undersized", "turnbuckle", "locknut gone", "wrong pin", "hard grease")
    assert [text for text in work if repeats_symptom(text, [cause])] == []


EMPTY = (
    "see above",
    "ditto",
    "as above",
    "all good",
    "nothing wrong",
    "no fault visible",
    "hard to say",
    "it jammed",
    "stopping",
    "the pins moved",
)


@pytest.mark.parametrize("text", EMPTY)
def test_words_that_repeat_or_deny_are_no_cause(text):
    assert repeats_symptom(text, ["stall"])


def test_a_service_whose_finding_repeats_what_was_seen_says_so(run):
    enter(run, STALLED, *TOLD, kind="spot")
    words = [
        "service",
        "add",
        RIG,
        "--action",
        "repaired",
        "--found",
        "it stalled",
        "--fixed",
        "greased",
        "--by",
        "M. K.",
    ]
    assert "only repeats what was seen" in run(*words)[1]


def test_hours_since_it_last_moved_are_held_against_the_throws_of_the_logbook(run):
    now = datetime.now().astimezone()
    enter(run, PAIR[0], *TOLD, "--at", (now - timedelta(minutes=12)).isoformat(), kind="spot")
    out = enter_again(run, UNSEEN, *TOLD, "--at", (now - timedelta(minutes=2)).isoformat())[1]
    assert "16 h since it last moved is recorded, but the logbook holds a throw 10 min before" in out
    shown = json.loads(run("sheet", "show", f"{RIG}-2", "--json")[1])
    assert [text.startswith("16 h") for text in shown["doubts"]] == [True, False]
    assert "Doubtful: 16 h" in accept(run, f"{RIG}-2")[1]


def test_true_hours_and_hours_without_an_earlier_throw_raise_no_doubt(run):
    now = datetime.now().astimezone()
    enter(run, PAIR[0], *TOLD, "--at", (now - timedelta(hours=17)).isoformat(), kind="spot")
    assert "since it last moved" not in enter_again(run, UNSEEN, *TOLD)[1]


@pytest.mark.parametrize(("apart_s", "told"), [(20, True), (90, False)])
def test_a_duty_cycle_broken_throw_after_throw_is_told_at_the_signature(run, apart_s, told):
    begun = datetime.now().astimezone() - timedelta(hours=1)
    run("sheet", "plan", RIG, "--kind", "commissioning", *TOLD, "--by", "M. K.")
    for number, line in enumerate(UNSEEN.splitlines()):
        at = (begun + timedelta(seconds=apart_s * number)).isoformat()
        words = ["enter", "--rig", RIG, "--sheet", f"{RIG}-1", "--paste", "--at", at, "--by", "M. K."]
        assert run(*words, stdin=line)[0] == 0
    out = accept(run, f"{RIG}-1")[1]
    assert ("shorter than the duty cycle of 25 % calls for" in out) == told


def test_times_that_cannot_be_take_a_reason_at_the_signature_and_stay_said(run):
    begun = datetime.now().astimezone() - timedelta(hours=1)
    run("sheet", "plan", RIG, "--kind", "commissioning", *TOLD, "--by", "M. K.")
    for number, line in enumerate(UNSEEN.splitlines()):
        at = (begun + timedelta(seconds=7 * number)).isoformat()
        enter(run, line, "--sheet", f"{RIG}-1", "--at", at)
    code, _, err = accept(run, f"{RIG}-1")
    assert (code, "9 throws began before the previous throw had ended" in err) == (2, True)
    assert "rests" not in err
    assert accept(run, f"{RIG}-1", doubts_because="-")[0] == 2
    code, out, _ = accept(run, f"{RIG}-1", doubts_because="typed from a note, stamped by the computer")
    assert (code, "Accepted all the same because: typed from a note" in out) == (0, True)
    with open_logbook(run.path, read_only=True) as book:
        assert any("doubtful: 9 throws began" in text for text in not_proved_in(book, RIG))


def test_every_short_rest_is_counted(run):
    begun = datetime.now().astimezone() - timedelta(hours=1)
    run("sheet", "plan", RIG, "--kind", "commissioning", *TOLD, "--by", "M. K.")
    for number, line in enumerate(UNSEEN.splitlines()):
        enter(run, line, "--sheet", f"{RIG}-1", "--at", (begun + timedelta(seconds=20 * number)).isoformat())
    assert "the rests before 9 throws were shorter" in run("sheet", "show", f"{RIG}-1")[1]
