"""``throwbook assess`` as a fitter or a script meets it: real files, the real command, exit codes, one-line errors."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests import command
from tests.files.bad_traces import BAD_CHOICES, BAD_TRACES, GOOD
from tests.keyboard import at_a_terminal
from tests.made_strokes import stroke
from throwbook.files.trace_file import write_trace

RIG_FILE = Path(__file__).with_name("quarry-loader.toml")
CLAIMS = ("locked", "engaged", "safe")


@pytest.fixture(scope="module")
def traces(tmp_path_factory):
    """A folder with a baseline of each direction and a few throws of known kind."""
    folder = tmp_path_factory.mktemp("traces")
    (folder / "baseline").mkdir()
    for seed in range(5):
        for direction in ("lock", "unlock"):
            trace = stroke(seed, direction=direction, minutes=10 * seed)
            write_trace(trace, folder / "baseline" / f"{direction}-{seed}.csv")
    write_trace(stroke(20, minutes=100), folder / "good.csv")
    write_trace(stroke(21, bump_a=0.7, minutes=110), folder / "bind.csv")
    write_trace(stroke(22, stalls_at_s=10.0, minutes=120), folder / "stall.csv")
    write_trace(stroke(23, direction="unlock", minutes=130), folder / "unlock.csv")
    return folder


def assess(*arguments, cwd=command.TOP):
    """The command without a process of its own."""
    return command.throwbook_said(None, "assess", "--rig", RIG_FILE, *arguments, cwd=cwd)


def assess_alone(*arguments, cwd):
    """The same in a process of its own, as a person runs it."""
    return command.throwbook(None, "assess", "--rig", RIG_FILE, *arguments, cwd=cwd)


def test_a_good_throw_passes_with_exit_code_0(traces):
    done = assess("--baseline", "baseline", "good.csv", cwd=traces)
    assert (done.returncode, done.stderr) == (0, "")
    row = next(line for line in done.stdout.splitlines() if line.startswith("good.csv"))
    assert row.split()[:3] == ["good.csv", "lock", "pass"]
    assert "2.88 A" in row
    assert "1 throw: 1 pass." in done.stdout


def test_a_failed_throw_gives_exit_code_1_with_reason_cause_rivals_and_action(traces):
    done = assess_alone("--baseline", "baseline", "good.csv", "stall.csv", cwd=traces)
    assert (done.returncode, done.stderr) == (1, "")
    told = done.stdout[done.stdout.index("stall.csv: FAIL") :]
    for label in ("Why:", "Likely cause:", "Could also be:", "To tell:"):
        assert label in told
    assert "Do not use." in told
    assert "2 throws: 1 pass, 1 FAIL." in told


def test_a_warning_alone_is_exit_code_0(traces):
    done = assess("--baseline", "baseline", "bind.csv", cwd=traces)
    assert done.returncode == 0
    assert "binding spot at 55 % of stroke" in done.stdout


def test_the_cautions_stand_above_what_went_wrong(traces):
    done = assess("--baseline", "baseline", "stall.csv", cwd=traces)
    assert done.stdout.index("isolate the power and take the key out") < done.stdout.index("stall.csv: FAIL")
    assert "look at each pin separately" in done.stdout


def test_a_pass_still_says_to_look_at_both_pins(traces):
    assert "look at each pin separately" in assess("--baseline", "baseline", "good.csv", cwd=traces).stdout


def test_nothing_is_ever_called_locked_engaged_or_safe(traces):
    done = assess("--baseline", "baseline", "good.csv", "bind.csv", "stall.csv", "unlock.csv", cwd=traces)
    words = done.stdout.lower().replace("half-locked", "").split()
    assert not [word for word in words if word.strip(".,;:()") in CLAIMS]


def test_json_is_one_object_a_line_in_the_order_of_the_files_and_always_exit_code_0(traces):
    names = ["stall.csv", "good.csv", "unlock.csv", "bind.csv"]
    done = assess("--baseline", "baseline", "--json", *names, cwd=traces)
    assert (done.returncode, done.stderr) == (0, "")
    records = [json.loads(line) for line in done.stdout.splitlines()]
    assert [record["file"] for record in records] == names
    assert [record["verdict"] for record in records] == ["fail", "pass", "pass", "watch"]
    assert records[2]["direction"] == "unlock"
    assert records[0]["end"] == "stall"


def test_a_folder_stands_for_the_traces_in_it(traces):
    done = assess("--json", "baseline", cwd=traces)
    assert len(done.stdout.splitlines()) == 10


def test_each_direction_is_held_against_its_own_baseline(traces):
    done = assess("--baseline", "baseline", "unlock.csv", cwd=traces)
    assert "Baseline for lock: 5 throws." in done.stdout
    assert "Baseline for unlock: 5 throws." in done.stdout


def test_without_a_baseline_it_says_so(traces):
    said = assess("good.csv", cwd=traces).stdout
    assert "Judged by the data sheet alone" in said
    assert "No baseline: drag, binding and free play cannot be judged." in said


def test_another_programs_file_is_read_with_its_columns_and_units_named(traces, tmp_path):
    rows = (traces / "good.csv").read_text().split("time_s,current_a,voltage_v\n")[1]
    table = "t,I,U\n"
    for row in rows.splitlines():
        time_s, current_a, voltage_v = map(float, row.split(","))
        table += f"{time_s * 1000:.3f},{current_a * 1000:.3f},{voltage_v}\n"
    (tmp_path / "bench.csv").write_text(table)
    columns = ("--column", "time=t [ms]", "--column", "current=I [mA]", "--column", "voltage=U")
    done = assess("--json", "--direction", "lock", *columns, tmp_path / "bench.csv")
    theirs, ours = json.loads(done.stdout), json.loads(assess("--json", traces / "good.csv").stdout)
    for figure in ("travel_time_s", "run_current_a", "inrush_a", "mean_voltage_v"):
        assert theirs[figure] == pytest.approx(ours[figure], rel=1e-6)


def test_a_file_of_another_rig_is_judged_but_noted(traces, tmp_path):
    text = (traces / "good.csv").read_text().replace("quarry-loader", "yard-loader")
    (tmp_path / "other.csv").write_text(text)
    done = assess("--json", tmp_path / "other.csv")
    assert done.returncode == 0
    assert "the file names the rig 'yard-loader'" in " ".join(json.loads(done.stdout)["notes"])


@pytest.mark.parametrize("case", BAD_TRACES, ids=lambda case: case.name)
def test_bad_input_is_one_line_on_stderr_nothing_on_stdout_and_exit_code_2(tmp_path, case):
    (tmp_path / "good.csv").write_text(GOOD)
    bad = tmp_path / "bad.csv"
    bad.write_bytes(case.content)
    columns = [part for column in case.columns for part in ("--column", column)]
    for extra in ((), ("--json",)):
        done = assess(*extra, *columns, tmp_path / "good.csv" if not columns else bad, bad)
        assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
        assert done.stderr.startswith(f"throwbook: {bad}, line {case.line}: ")
        assert case.words in done.stderr
        assert done.stderr.rstrip("\n").isprintable()


def test_bad_input_of_the_contract_in_a_process_of_its_own(tmp_path):
    case = next(case for case in BAD_TRACES if case.name == "binary")
    (tmp_path / "bad.csv").write_bytes(case.content)
    done = assess_alone("bad.csv", cwd=tmp_path)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)


def test_ten_gigabytes_are_refused_at_once_in_one_line(tmp_path):
    with open(tmp_path / "huge.csv", "wb") as file:
        file.write(GOOD.encode())
        file.truncate(10 * 2**30)
    done = assess_alone("huge.csv", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "throwbook: huge.csv: 10,240 MiB is more than a trace may hold (256 MiB). "
        "Cut the one throw out of it, or raise --max-mib\n"
    )


def test_the_limits_can_be_set(traces):
    done = assess("--max-rows", "100", traces / "good.csv")
    assert done.returncode == 2
    assert "more than 100 rows" in done.stderr


@pytest.mark.parametrize(("choice", "words"), BAD_CHOICES)
def test_a_column_that_says_nothing_is_refused(traces, choice, words):
    done = assess("--column", choice, traces / "good.csv")
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr


def test_a_stall_in_the_baseline_is_refused_by_name(traces):
    done = assess("--baseline", traces / "stall.csv", traces / "good.csv")
    assert (done.returncode, done.stdout) == (2, "")
    assert "stall.csv" in done.stderr
    assert "not fit for a baseline" in done.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "FILE"),
        (["none.csv"], "there is no such file"),
        (["--plot", "x.jpg", "good.csv"], "End the name in .png, .svg or .pdf"),
        (["--plot", "x.png", "good.csv", "bind.csv"], "holds one drawing, not 2"),
        (["--direction", "unlock", "good.csv"], "the file says lock, --direction says unlock"),
        (["--max-rows", "0", "good.csv"], "--max-rows"),
    ],
)
def test_wrong_use_is_one_line_and_exit_code_2(traces, arguments, words):
    done = assess(*arguments, cwd=traces)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert words in done.stderr


def test_a_plot_that_cannot_be_written_is_exit_code_3(traces):
    done = assess("--plot", "none/x.png", "good.csv", cwd=traces)
    assert (done.returncode, done.stderr.count("\n")) == (3, 1)


@pytest.mark.long
def test_a_plot_is_drawn_where_asked(traces, tmp_path):
    done = assess(
        "--baseline", "baseline", "--plot", tmp_path / "all.pdf", "good.csv", "stall.csv", cwd=traces
    )
    assert done.returncode == 1
    assert (tmp_path / "all.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.long  # no bar on a terminal: only in test-all; one in a pipe breaks every test of an empty stderr
def test_a_progress_bar_shows_on_a_terminal_only(traces):
    words = ("assess", "--rig", RIG_FILE, "--baseline", "baseline", "good.csv")
    _, shown = at_a_terminal(command.command(None, *words), cwd=traces)
    assert "judging" in shown
    assert "judging" not in assess("--baseline", "baseline", "good.csv", cwd=traces).stderr


@pytest.mark.long  # traces kept while many files are judged: only in test-all
def test_many_files_take_no_more_memory_than_few(traces):
    program = """
import sys
from tests.memory import peak_kib
from throwbook.jobs.assess import assess_files
from tests.made_strokes import RIG
assess_files([sys.argv[1]] * 5, RIG)
before = peak_kib()
assess_files([sys.argv[1]] * 200, RIG)
print(peak_kib() - before)
"""
    done = subprocess.run(
        [sys.executable, "-c", program, traces / "good.csv"], capture_output=True, text=True, check=True
    )
    # 200 traces of 3,200 rows are 15 MB as plain arrays: they can't all have been kept.
    assert int(done.stdout) < 8 * 1024


def test_a_reader_that_goes_away_is_no_failure(traces):
    command = [
        sys.executable,
        "-m",
        "throwbook",
        "assess",
        "--rig",
        str(RIG_FILE),
        "--json",
        *["stall.csv"] * 30,
    ]
    env = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=traces, env=env
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.readline()
        running.stdout.close()
        assert running.stderr.read() == b""
    assert running.returncode == 0


def test_a_file_name_can_hold_no_terminal_command(traces, tmp_path):
    name = command.as_file_name("good\x1b[2J\x1b[31m.csv")
    (tmp_path / name).write_bytes((traces / "good.csv").read_bytes())
    bad = command.as_file_name("bad\x1b[2J.csv")
    (tmp_path / bad).write_text("nothing")
    assert "\x1b" not in assess(name, cwd=tmp_path).stdout
    refused = assess(bad, cwd=tmp_path)
    assert refused.returncode == 2
    assert "\x1b" not in refused.stderr
