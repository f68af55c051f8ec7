"""Calibrations from the command line: kept, used, and every throw of the board judged by them."""

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tests.cli.test_board_commands import RIG_FILE, record_args
from tests.ports.bench import board_on_a_cable
from throwbook.core.sheets.conditions import FOR_PRACTICE
from throwbook.files.trace_file import read_trace
from throwbook.jobs.find import opened


@pytest.fixture
def run(in_empty_folder):
    return in_empty_folder


def calibrate(run, *pairs: str):
    args = [arg for pair in pairs for arg in ("--pair", pair)]
    return run(
        "board", "calibrate", "--board", "rehearsal", "--instrument", "bench meter 3",
        "--accuracy", "0.2% + 2 digits", "--due", "2027-03-14", "--json", *args,
    )  # fmt: skip


def test_a_calibration_is_kept_used_and_written_into_the_trace(run, tmp_path: Path):
    code, out, _ = calibrate(run, "0.000A=0.050A", "2.000A=2.010A", "4.000A=3.970A")
    made = json.loads(out)
    assert code == 0
    assert made["gain"] == pytest.approx(4 / 3.92, abs=1e-6)
    assert made["due_on"] == "2027-03-14"
    with board_on_a_cable(speed=16) as (port, _):
        run(*record_args(port.name, "--out", "lock-1.csv"))
    trace = read_trace(tmp_path / "lock-1.csv")
    assert trace.head["calibration"] == made["id"]
    running = trace.current_a[(trace.time_s > 4) & (trace.time_s < 10)]
    assert np.mean(running) == pytest.approx(made["zero_a"] + made["gain"] * 1.6, abs=0.005)


def test_the_uncertainty_of_the_calibration_is_that_of_the_verdict(run, tmp_path: Path):
    u_share = {}
    for name, accuracy in (("fine", "0.1% + 1 digits"), ("coarse", "5% + 1 digits")):
        run(
            "board", "calibrate", "--board", "rehearsal", "--instrument", name, "--accuracy", accuracy,
            "--pair", "0.000A=0.000A", "--pair", "2.000A=2.000A", "--pair", "4.000A=4.000A",
        )  # fmt: skip
        with board_on_a_cable(speed=16) as (port, _):
            run(*record_args(port.name, "--out", f"{name}.csv"))
        judged = json.loads(run("assess", "--json", "--rig", RIG_FILE, f"{name}.csv")[1])
        u_share[name] = judged["run_current_a_u"] / judged["run_current_a"]
    assert u_share["fine"] < 0.01
    assert u_share["coarse"] > 0.04


def test_one_reading_is_no_calibration(run):
    code, _, err = calibrate(run, "2.000A=2.010A")
    assert code == 2
    assert "two different currents" in err


def test_a_trial_goes_into_the_logbook_and_is_judged_anew_when_the_calibration_changes(run, tmp_path: Path):
    book_path = tmp_path / "book.throwbook"
    with opened(book_path) as book:
        book.add_rig("quarry-loader", RIG_FILE.read_text(), "M. K.", datetime.now(UTC), FOR_PRACTICE)
    with board_on_a_cable(speed=16) as (port, _):
        code, out, _ = run("record", "--rig", "quarry-loader", "--port", port.name, "--direction", "lock")
    assert code == 0
    assert "on sheet" in out
    _, out, _ = calibrate(run, "0.000A=0.000A", "2.200A=2.000A", "4.400A=4.000A")
    assert json.loads(out)["judged_anew"] == 1
    with opened(book_path, read_only=True) as book:
        (logged,) = book.trials("quarry-loader")
        _, _, judgements = book.revisions(logged.id)
    currents = [one.assessment.figures.run_current_a.value for one in judgements]
    assert currents == [pytest.approx(1.6, abs=0.02), pytest.approx(1.6 * 1.1, abs=0.02)]


def test_a_calibration_by_which_an_old_throw_fails_takes_its_rig_up_at_once(run, tmp_path: Path):
    with opened(tmp_path / "book.throwbook") as book:
        book.add_rig("quarry-loader", RIG_FILE.read_text(), "M. K.", datetime.now(UTC), FOR_PRACTICE)
    with board_on_a_cable(speed=16) as (port, _):
        run("record", "--rig", "quarry-loader", "--port", port.name, "--direction", "lock")
    assert json.loads(run("status", "quarry-loader", "--json")[1])["status"] == "in service"
    calibrate(run, "0.000A=0.000A", "3.900A=2.000A", "7.800A=4.000A")  # 1.6 A were 3.1 A: the limit is 2.88 A
    assert json.loads(run("status", "quarry-loader", "--json")[1])["status"] in ("restricted", "do not use")
