"""The commands of the board path as a person types them, against a simulated board on a real pseudo-terminal."""

import json
import subprocess
import threading
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tests import command
from tests.keyboard import at_a_terminal, plain
from tests.ports.bench import board_on_a_cable, throw_source
from tests.ports.stream_board import IDENTITY, lines_of, stream_board, throw_rows
from throwbook.core.sheets.conditions import FOR_PRACTICE
from throwbook.files.journal import read_journal
from throwbook.files.trace_file import read_trace
from throwbook.jobs.find import journal_folder, opened
from throwbook.protocol.session import Session
from throwbook.protocol.simulated_board import IDENTITY as PLAIN_BOARD
from throwbook.protocol.simulated_board import Readings, Trouble

pytestmark = pytest.mark.long

RIG_FILE = Path(__file__).parent / "quarry-loader.toml"
LIMIT_S = 60.0


@pytest.fixture
def run(in_empty_folder):
    return in_empty_folder


def record_args(port: str, *more: object) -> list[object]:
    return ["record", "--rig", RIG_FILE, "--port", port, "--direction", "lock", *more]


def test_find_says_who_is_there_and_why_nobody_is(run):
    with board_on_a_cable() as (port, _):
        code, out, _ = run("board", "find", "--json", "--port", port.name, "--port", "/dev/ttyNOSUCH")
    found = [json.loads(line) for line in out.splitlines()]
    assert code == 0
    assert (found[0]["board"], found[0]["baud"], found[0]["because"]) == ("rehearsal", 115_200, "")
    assert (found[1]["board"], found[1]["because"]) == (None, "there is no such port")


def test_find_without_any_board_ends_with_3_and_what_to_do(run):
    code, _, err = run("board", "find", "--port", "/dev/ttyNOSUCH")
    assert code == 3
    assert "Plug the board in" in err


def test_check_of_a_good_board_is_good(run):
    with board_on_a_cable(throw_source(rest_s=1e6)) as (port, _):
        code, out, _ = run("board", "check", "--json", "--port", port.name, "--seconds", "1.5s")
    found = json.loads(out)
    lines = {line["name"]: line for line in found["lines"]}
    assert code == 0
    assert found["good"]
    assert lines["rate"]["value"] == pytest.approx(200, rel=0.001)
    assert lines["loss"]["value"] == 0
    assert lines["noise"]["value"] == pytest.approx(0.01, rel=0.2)
    assert lines["voltage"]["value"] == pytest.approx(12.6, abs=0.01)


AT_REST, A_THROW = throw_source(rest_s=1e6), throw_source()


def switched(time_s):
    """At rest: the left switch closed, the right one open, the probe without an answer at first."""
    closed, degrees = np.ones(len(time_s), bool), np.where(time_s < 0.5, np.nan, 7.0)
    return Readings(*AT_REST(time_s), closed, ~closed, degrees)


PINS = replace(PLAIN_BOARD, channels="IVST", version=2)


def test_check_says_how_the_pin_switches_stand_and_how_warm_it_is_at_the_board(run):
    with board_on_a_cable(switched, identity=PINS) as (port, _):
        code, out, _ = run("board", "check", "--json", "--port", port.name, "--seconds", "1.5s")
        _, text, _ = run("board", "check", "--port", port.name, "--seconds", "1s")
    lines = {line["name"]: line for line in json.loads(out)["lines"]}
    assert code == 0
    assert (lines["left switch"]["say"], lines["right switch"]["say"]) == (
        "LEFT SWITCH closed",
        "RIGHT SWITCH open",
    )
    assert lines["temperature"]["value"] == 7.0
    assert "LEFT SWITCH closed" in text


def test_check_of_a_probe_that_does_not_answer_is_not_good(run):
    def broken(time_s):
        return switched(time_s)._replace(temperature_c=np.full(len(time_s), np.nan))

    with board_on_a_cable(broken, identity=PINS) as (port, _):
        code, out, _ = run("board", "check", "--port", port.name, "--seconds", "1s")
    assert code == 1
    assert "the temperature probe does not answer" in out


def thrown(time_s):
    """A throw at whose end the left switch has closed; 7 degC at the probe."""
    current_a, voltage_v = A_THROW(time_s)
    closed = time_s > 12.0
    return Readings(current_a, voltage_v, closed, closed & False, np.full(len(time_s), 7.0))


@pytest.mark.parametrize(
    ("typed", "kept", "said"),
    [
        ((), None, "The probe at the board reads 7 degC"),
        (("--ambient", "board"), 7.0, ""),
        (("--ambient", "12degC"), 12.0, ""),
        (
            ("--ambient", "20degC"),
            20.0,
            "typed as 20 degC, and the probe at the board reads 7 degC: more than 8 K apart",
        ),
    ],
)
def test_the_probes_temperature_is_offered_and_never_taken_unasked(run, tmp_path: Path, typed, kept, said):
    with board_on_a_cable(thrown, identity=PINS, speed=16.0) as (port, _):
        _, out, err = run(*record_args(port.name, "--out", tmp_path / "t.csv", *typed))
    trace = read_trace(tmp_path / "t.csv")
    assert trace.ambient_c == kept
    assert trace.head.get("ambient_from") == ("board" if "board" in typed else None)
    assert said in " ".join(err.split())
    assert ("--ambient board takes" in err) == bool(said)
    assert "LEFT SWITCH closed, RIGHT SWITCH open." in out


@pytest.mark.parametrize(
    ("trouble", "name"), [(Trouble(lost_samples=0.05), "loss"), (Trouble(clock_drift=0.08), "clock")]
)
def test_check_names_what_is_wrong(run, trouble: Trouble, name: str):
    with board_on_a_cable(throw_source(rest_s=1e6), trouble=trouble) as (port, _):
        code, out, _ = run("board", "check", "--json", "--port", port.name, "--seconds", "2s")
    assert code == 1
    assert not next(line for line in json.loads(out)["lines"] if line["name"] == name)["good"]


def test_check_of_a_board_whose_lines_end_in_cr_and_lf_is_good(run):
    rest = lines_of(throw_rows(run_s=0.0, rest_s=3.0))
    with stream_board(rest, line_end=b"\r\n") as port:
        _, out, _ = run("board", "check", "--json", "--port", port.name, "--seconds", "2s")
    found = json.loads(out)
    assert found["board"] == "yard-7"
    assert "no line dropped" in next(line for line in found["lines"] if line["name"] == "loss")["say"]


def test_check_tells_a_board_that_said_who_it_is_from_one_that_did_not(run):
    rows = throw_rows(run_s=0.0, rest_s=5.0)
    with stream_board(lines_of(rows), identity=IDENTITY[:-2] + b"I") as port:
        code, _, err = run("board", "check", "--port", port.name, "--seconds", "1s")
    assert code == 3
    assert "board yard-7 gives its name, but no sample that can be read" in err
    assert 'too many fields; first one: "D,0,0,' in err
    with stream_board([], identity=b"X,1") as port:
        code, _, err = run("board", "check", "--port", port.name, "--seconds", "1s")
    assert code == 3
    assert "something sends, but it does not give its name" in err
    assert 'unknown message; first one: "X,1*' in err


def test_a_board_that_cannot_measure_is_refused_by_name_by_find_and_by_check(run):
    with stream_board([], identity=b"B,1,yard-7,x,200,0,20000,20000,IV") as port:
        code, out, _ = run("board", "find", "--json", "--port", port.name)
        assert code == 3
        assert "board yard-7 can't be used, its current step is 0" in json.loads(out)["because"]
        code, _, err = run("board", "check", "--port", port.name)
    assert code == 3
    assert "it said B,1,yard-7,x,200,0,20000,20000,IV" in err


def test_check_with_the_actuator_running_says_so(run):
    with board_on_a_cable(throw_source(rest_s=0.5)) as (port, _):
        code, out, _ = run("board", "check", "--port", port.name, "--seconds", "1.5s")
    assert code == 1
    assert "actuator at rest" in out


def test_record_writes_a_trace_that_assess_judges_the_same(run, tmp_path: Path):
    with board_on_a_cable(speed=16) as (port, _):
        code, out, _ = run(*record_args(port.name, "--json", "--out", "lock-1.csv", "--ambient", "4 degC"))
    judged = json.loads(out)
    assert code == 0
    again = json.loads(run("assess", "--json", "--rig", RIG_FILE, "lock-1.csv")[1])
    assert {name: again[name] for name in judged if name != "file"} == {
        name: judged[name] for name in judged if name != "file"
    }
    assert read_trace(tmp_path / "lock-1.csv").ambient_c == 4.0
    assert not list(tmp_path.glob("*.unfinished/*"))


def test_a_throw_that_fails_ends_with_1(run):
    with board_on_a_cable(throw_source(run_a=4.2), speed=16) as (port, _):
        code, out, _ = run(*record_args(port.name))
    assert code == 1
    assert "FAIL" in out


def test_a_pulled_cable_ends_with_3_and_the_trace_is_there(run, tmp_path: Path):
    def source(time_s):
        if time_s[-1] > 6:
            port.close()
        return throw_source()(time_s)

    with board_on_a_cable(source, speed=8) as (port, _):
        code, out, err = run(*record_args(port.name, "--out", "cut.csv"))
    assert code == 3
    assert "Plug the board in again" in err
    assert "Kept in cut.csv" in out
    assert read_trace(tmp_path / "cut.csv").time_s[-1] > 4


def test_an_existing_trace_file_is_never_overwritten(run, tmp_path: Path):
    (tmp_path / "lock-1.csv").write_text("mine")
    with board_on_a_cable(speed=16) as (port, _):
        code, _, err = run(*record_args(port.name, "--out", "lock-1.csv"))
    assert code == 2
    assert "already" in err
    assert (tmp_path / "lock-1.csv").read_text() == "mine"
    assert run("record", "--recover", "--out", "lock-2.csv")[0] == 0  # its journal was kept
    assert len(read_trace(tmp_path / "lock-2.csv")) > 2000


def test_what_is_missing_is_named(run):
    code, _, err = run("record", "--rig", RIG_FILE, "--direction", "lock")
    assert code == 2
    assert "--port is missing" in err


def test_killed_in_mid_record_it_loses_at_most_a_quarter_second_and_the_next_start_recovers(
    run, tmp_path: Path
):
    flowing = threading.Event()
    plain = throw_source()

    def source(time_s):
        if time_s[-1] > 5.0:
            flowing.set()
        return plain(time_s)

    with board_on_a_cable(source) as (port, board):
        line = command.command(None, *record_args(port.name, "--out", "never.csv"))
        with subprocess.Popen(line, env=command.environment(), cwd=tmp_path) as process:
            assert flowing.wait(LIMIT_S)
            sent_before = board.injected.sent
            process.kill()
            process.wait(LIMIT_S)
    assert not (tmp_path / "never.csv").exists()
    (journal,) = tmp_path.glob("*.unfinished/*.journal")
    session = Session()
    session.start(200)
    session.receive(read_journal(journal).received)
    assert session.lost == 0
    assert session.samples >= sent_before - 0.250 * 200
    code, _, err = run("record", "--recover", "--out", "recovered.csv")
    assert code in (0, 1)
    assert "recovered from an interrupted recording" in err
    trace = read_trace(tmp_path / "recovered.csv")
    assert trace.time_s[-1] > 3.0
    assert trace.current_a[-1] == pytest.approx(1.6, abs=0.1)
    assert not journal.exists()


def test_the_next_recording_says_that_one_broke_off(run, tmp_path: Path):
    with board_on_a_cable(speed=16) as (port, _):
        (tmp_path / "taken.csv").write_text("mine")
        run(*record_args(port.name, "--out", "taken.csv"))
        _, _, err = run(*record_args(port.name, "--out", "next.csv"))
    assert "1 recording was interrupted and never judged: throwbook record --recover" in err


def test_given_up_before_any_current_it_is_a_file_and_no_throw(tmp_path: Path):
    """Ctrl-C in a real process while it waits for the current."""
    book = tmp_path / "book.throwbook"
    with opened(book) as logbook:
        logbook.add_rig("quarry-loader", RIG_FILE.read_text(), "M. K.", datetime.now(UTC), FOR_PRACTICE)
    waiting, at_rest = threading.Event(), throw_source(rest_s=3600.0)

    def source(time_s):
        if time_s[-1] > 5.0:
            waiting.set()
        return at_rest(time_s)

    with board_on_a_cable(source, speed=4) as (port, _):
        words = ("record", "--rig", "quarry-loader", "--port", port.name, "--direction", "lock")
        line = command.command(book, *words)
        _, said = at_a_terminal(line, "\x03", waiting.is_set, cwd=tmp_path)
    assert "Not in the logbook: no current flowed before it was interrupted" in plain(said)
    assert list(tmp_path.glob("quarry-loader-lock-*.csv"))
    with opened(book, read_only=True) as logbook:
        assert logbook.trials("quarry-loader") == []


def test_a_line_begun_at_the_keyboard_and_never_ended_holds_up_no_recording(tmp_path: Path):
    with board_on_a_cable(speed=16) as (port, _):
        line = command.command(tmp_path / "book", *record_args(port.name, "--out", tmp_path / "lock.csv"))
        code, said = at_a_terminal(line, "begun", "Ready: throw now", cwd=tmp_path)
    assert code == 0, said
    assert read_trace(tmp_path / "lock.csv").time_s[-1] > 3.0


def test_enter_ends_a_recording_whatever_was_typed_before_it(tmp_path: Path):
    with board_on_a_cable(throw_source(rest_s=3600.0), speed=16) as (port, _):
        line = command.command(tmp_path / "book", *record_args(port.name, "--out", tmp_path / "lock.csv"))
        _, said = at_a_terminal(line, "oops\b\n", "waiting for current", cwd=tmp_path)
    assert (tmp_path / "lock.csv").exists(), said


def test_rehearse_refuses_what_it_does_not_know_and_lists_what_it_does(run):
    code, _, err = run("board", "rehearse", "--rig", RIG_FILE, "--trouble", "gremlins")
    assert code == 2
    assert "Choose from" in err
    code, out, _ = run("board", "rehearse", "--rig", RIG_FILE, "--list")
    assert code == 0
    assert "local-bind" in out
    assert "flipped-bits" in out


def test_ctrl_c_ends_a_simulated_board(tmp_path: Path):
    words = ("board", "rehearse", "--rig", RIG_FILE)
    code, said = at_a_terminal(command.command(tmp_path / "book", *words), "\x03", "Ctrl-C ends it")
    assert code == 0, said
    assert "0 samples sent" in plain(said)


@pytest.mark.parametrize("where", [(), ("--number", 0)], ids=["terminal", "network"])
def test_a_new_user_rehearses_in_one_terminal_and_records_in_another(tmp_path: Path, where: tuple):
    """Both commands as processes of their own, with a fault and line trouble."""
    book = tmp_path / "book.throwbook"
    rehearse = command.command(
        book, "board", "rehearse", "--rig", RIG_FILE, "--speed", 10, "--fault", "even-friction=0.5",
        "--trouble", "flipped-bits=0.0002", *where,
    )  # fmt: skip
    with subprocess.Popen(rehearse, env=command.environment(), stdout=subprocess.PIPE, text=True) as board:
        port = board.stdout.readline().split(" is on ")[1].split(";")[0]
        done = command.throwbook(
            book, *record_args(port, "--json", "--out", tmp_path / "a.csv"), timeout=LIMIT_S
        )
        board.terminate()
        board.wait(LIMIT_S)
    judged = json.loads(done.stdout)
    assert judged["usable"]
    assert judged["end"] == "cut-off"
    assert read_trace(tmp_path / "a.csv").head["lost_samples"] > 0


def test_a_throw_is_held_only_against_throws_of_its_own_place_bench_or_machine(run, tmp_path: Path):
    with opened(tmp_path / "book.throwbook") as book:
        book.add_rig("quarry-loader", RIG_FILE.read_text(), "M. K.", datetime.now(UTC), FOR_PRACTICE)

    def lock(run_a: float, seed: int, *more: str) -> str:
        with board_on_a_cable(throw_source(run_a=run_a, seed=seed), speed=16) as (port, _):
            words = ["record", "--rig", "quarry-loader", "--port", port.name, "--direction", "lock", *more]
            code, out, err = run(*words)
        assert code in (0, 1), err
        return out

    for seed in (1, 2, 3):
        lock(0.92, seed, "--kind", "bench", *(["--sheet", "quarry-loader-1"] if seed > 1 else []))
    assert "Baseline for lock: provisional" in lock(
        0.92, 4, "--sheet", "quarry-loader-1"
    )  # the sheet says: bench
    on_the_machine = lock(1.6, 5, "--kind", "spot")
    assert "Judged by the data sheet alone" in on_the_machine
    with opened(tmp_path / "book.throwbook", read_only=True) as book:
        kinds = {state.name: state.sheet.kind for state in book.sheets("quarry-loader")}
    assert kinds == {"quarry-loader-1": "bench", "quarry-loader-2": "spot"}


def test_a_bench_test_is_judged_from_files_and_from_its_sheet(run, tmp_path: Path):
    with opened(tmp_path / "book.throwbook") as book:
        book.add_rig("quarry-loader", RIG_FILE.read_text(), "M. K.", datetime.now(UTC), FOR_PRACTICE)
    no_load = throw_source(run_a=0.92, run_s=12.4)
    for direction in ("lock", "unlock"):
        with board_on_a_cable(no_load, speed=16) as (port, _):
            sheet = [] if direction == "lock" else ["--sheet", "quarry-loader-1"]
            code, _, err = run(
                "record", "--rig", "quarry-loader", "--port", port.name, "--direction", direction,
                "--kind", "bench", "--out", f"{direction}.csv", *sheet,
            )  # fmt: skip
            assert code in (0, 1), err
    code, out, _ = run("board", "bench", "--rig", RIG_FILE, "--json", "lock.csv", "unlock.csv")
    judged = json.loads(out)
    assert (code, judged["verdict"], judged["throws_used"]) == (0, "pass", 2)
    assert judged["cut_off"] == {"lock": "pass", "unlock": "pass"}
    assert judged["no_load_current_a"] == pytest.approx(0.92, abs=0.02)
    from_sheet = json.loads(run("board", "bench", "--sheet", "quarry-loader-1", "--json")[1])
    assert from_sheet["r_ohm"] == pytest.approx(judged["r_ohm"])
    code, out, _ = run("board", "bench", "--sheet", "quarry-loader-1")
    assert code == 0
    assert 'no_load_current = "0.9' in out


def test_the_rest_that_the_duty_cycle_asks_for_is_shown_and_kept(run, tmp_path: Path):
    with board_on_a_cable(speed=16) as (port, _):
        _, out, _ = run(*record_args(port.name, "--out", "lock-1.csv"))
    assert "calls for 36 s before the next throw" in out  # 12 s at a duty of 25 %
    assert read_trace(tmp_path / "lock-1.csv").head["duty_rest_s"] == pytest.approx(36.0, abs=0.1)


def test_journals_stand_beside_the_logbook_they_belong_to(tmp_path: Path):
    assert journal_folder(str(tmp_path / "a.throwbook")) == tmp_path / "a.throwbook.unfinished"
