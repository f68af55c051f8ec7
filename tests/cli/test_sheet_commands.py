"""From a rejected sheet to a stall and the whole way back, through the commands a mechanic types."""

import io
import json
import os
import pty
import re
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from logger.cli import diagnostics
from logger.cli.main import throwbook
from logger.logbook import open_logbook

RIG_FILE = Path(__file__).with_name("quarry-loader.toml")
RIG = "quarry-loader"
PAIR = [
    "lock 15.20s 2.10A 2.90A 12.40V both seen, load check done, stayed put",
    "unlock 14.60s 1.80A 2.40A 12.50V",
]
GOOD = "\n".join(PAIR * 5)
ONE_PIN = "\n".join([*PAIR, PAIR[0].replace("both seen", "left seen, right not seen"), PAIR[1], *PAIR * 3])
UNSEEN = GOOD.replace("both seen, load check done, stayed put", "")
TOLD = ["--hours-since", "16h", "--worked-before", "no", "--ambient", "4degC", "--operator", "M. K."]
SEEN = {
    "--left-pin": "yes",
    "--right-pin": "yes",
    "--seen-how": "torch, both sides",
    "--load-check": "done",
    "--retained-power-off": "yes",
    "--signed": "M. K.",
}


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    """The command on a logbook of its own: exit code, stdout, stderr."""
    path = tmp_path / "Fellside Yard é.throwbook"
    with open_logbook(path) as book:
        book.add_rig(RIG, RIG_FILE.read_text("utf-8"), "M. K.", datetime(2026, 3, 1, tzinfo=UTC))

    def command(*words: str, stdin: str = "") -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "stdin", io.StringIO(stdin))
        code = diagnostics.run(throwbook, ["--logbook", str(path), *words])
        told = capsys.readouterr()
        return code, told.out, told.err

    command.path = path
    return command


def enter(run, text: str, *more: str, kind: str = "commissioning"):
    words = ["enter", "--rig", RIG, "--kind", kind, "--paste", "--seen-how", "torch", "--by", "M. K.", *more]
    return run(*words, stdin=text)


def enter_again(run, text: str, *more: str, kind: str = "commissioning"):
    return enter(run, text, *more, "--again", kind=kind)


def accept(run, name: str, **changed: str | None):
    options = SEEN | {f"--{key.replace('_', '-')}": value for key, value in changed.items()}
    words = [word for option, value in options.items() if value is not None for word in (option, value)]
    return run("sheet", "accept", name, *words)


def status(run) -> dict:
    code, out, _ = run("status", RIG, "--json")
    assert code == 0
    return json.loads(out)


def service(run, **changed: str) -> str:
    given = {"seen": "short of its hole", "found": "bent pin", "fixed": "new pin"} | changed
    words = [word for name, value in given.items() for word in (f"--{name}", value)]
    code, out, err = run("service", "add", RIG, "--action", "repaired", "--by", "M. K.", *words)
    assert code == 0, err
    return re.search(r"Logged as (\w+)", out)[1]


def clear(run, **given: str):
    words = ["order", "clear", RIG, "--all", "--because", "repaired and proved", "--signed", "M. K."]
    return run(
        *words, *(word for name, text in given.items() for word in (f"--{name.replace('_', '-')}", text))
    )


def test_one_pin_not_seen_takes_the_rig_out_of_use_and_the_sheet_is_not_accepted(run):
    code, out, _ = enter(run, ONE_PIN, *TOLD)
    assert code == 0
    assert "right pin" in out
    assert status(run)["status"] == "do not use"
    code, _, err = accept(run, f"{RIG}-1")
    assert code == 2
    assert "throw 3 (lock): right pin was looked at and not seen in its hole" in err
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
        assert "planned after it and after its repair" in err
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
    assert "at least 55 % of lock throws succeed (0.05^(1/5) = 0.549)" in out
    assert "Verdict no better than watch" in out
    assert "each by itself (torch, both sides)" in out
    assert "Baseline frozen for: lock, unlock" in out


def test_four_lock_throws_are_too_few(run):
    enter(run, "\n".join(PAIR * 4 + PAIR[1:]), *TOLD)
    code, _, err = accept(run, f"{RIG}-1")
    assert (code, "5 lock throws are asked for, 4 are on the sheet" in err) == (2, True)


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
    assert not status(run)["next_check"]["overdue"]


def test_a_baseline_stays_until_a_service_or_a_reason(run):
    for number in (1, 2):
        enter_again(run, GOOD, *TOLD)
        code, out, _ = accept(run, f"{RIG}-{number}")
        assert code == 0
    assert "The old baseline stays" in out
    enter_again(run, GOOD, *TOLD)
    assert "Baseline frozen" in accept(run, f"{RIG}-3", new_baseline="new attachment")[1]
    service(run)
    enter_again(run, GOOD, *TOLD)
    assert "Baseline frozen" in accept(run, f"{RIG}-4")[1]


def test_the_commands_run_in_a_process_of_their_own(run):
    enter(run, UNSEEN, *TOLD)
    words = [word for pair in SEEN.items() for word in pair]
    command = [sys.executable, "-m", "logger", "--logbook", str(run.path)]
    top = str(Path(__file__).parents[2])
    done = subprocess.run(
        [*command, "sheet", "accept", f"{RIG}-1", *words, "--json"],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": top},
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert (told["state"], told["sealed"], told["status"]) == ("accepted", True, "in service")


def at_terminal(run, *words: str, typed: str) -> tuple[int, str]:
    """The command with a person at the keyboard: exit code and all that the terminal showed."""
    ours, theirs = pty.openpty()
    os.write(ours, typed.encode())
    done = subprocess.Popen(
        [sys.executable, "-m", "logger", "--logbook", str(run.path), *words],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    os.close(theirs)
    shown = b""
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:  # Linux says so when the other side has closed
            piece = b""
        if not piece:
            break
        shown += piece
    os.close(ours)
    return done.wait(), shown.decode()


def test_at_a_terminal_what_is_missing_is_asked_with_the_caution_beside_it(run):
    enter(run, UNSEEN, *TOLD)
    code, shown = at_terminal(
        run, "sheet", "accept", f"{RIG}-1", typed="y\nyes\nyes\ntorch\ndone\nyes\nM. K.\n"
    )
    assert code == 0, shown
    assert "Look at both pins at every change, each by itself" in " ".join(shown.split())
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


def test_a_paper_sheet_typed_in_twice_is_noticed(run):
    enter(run, UNSEEN, *TOLD)
    code, _, err = enter(run, UNSEEN, *TOLD)
    assert (code, f"stand on sheet {RIG}-1 already" in err, "--again" in err) == (2, True, True)
    assert enter(run, UNSEEN.replace("15.20", "15.30"), *TOLD)[0] == 0
    assert enter(run, UNSEEN, *TOLD, "--again")[0] == 0


def test_a_throw_left_out_stays_on_the_sheet_and_does_not_count(run):
    enter(run, UNSEEN, *TOLD)
    words = ["sheet", "leave-out", f"{RIG}-1", "--throw", "3"]
    assert run(*words)[0] == 2
    code, out, _ = run(*words, "--because", "the other attachment was on", "--by", "M. K.")
    assert (code, "the other attachment was on" in out) == (0, True)
    assert "5 lock throws are asked for, 4 are on the sheet" in accept(run, f"{RIG}-1")[2]


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


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        (None, "no such file"),
        (b"\xff\xfe\x00lock", "no text"),
        (b"lock 1s\n" * 200_000, "far too long"),
        (b"", "no throw"),
    ],
)
def test_a_file_that_is_no_paper_sheet_is_refused_in_one_line(run, tmp_path, content, complaint):
    file = tmp_path / "sheet.txt"
    if content is not None:
        file.write_bytes(content)
    code, out, err = run("enter", "--rig", RIG, "--file", str(file))
    assert (code, out, complaint in err, err.count("\n")) == (2, "", True, 1)
