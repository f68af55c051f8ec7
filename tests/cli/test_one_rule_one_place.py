"""Rules of the latch that stand in one place: what a repair is, which sign takes a rig out of use, whose calibration counts."""

import json
import shlex
from datetime import UTC, datetime

import numpy as np
import pytest

from tests.cli.sheet_steps import RIG, TOLD, enter, service, status
from tests.core.sheet_builders import throw
from tests.made_strokes import NOON, stroke
from throwbook.core.analysis.calibration import CalibrationPoint
from throwbook.core.assessment import CLOSED, OPEN, Sign
from throwbook.core.status.latch import CAUSES, DO_NOT_USE
from throwbook.core.status.raising import SIGN_CAUSES, orders_of_record, takes_out_of_use
from throwbook.files.trace_file import write_trace
from throwbook.jobs.calibrate import calibrated, store
from throwbook.logbook import open_logbook

STALLED = "lock 15.20s 2.10A 2.90A 12.40V stalled"
NO_REPAIR = [
    "--action inspected --found 'bent pin' --fixed 'new pin'",
    "--action repaired --found 'bent pin'",
    "--action repaired --found . --fixed .",
]


@pytest.mark.parametrize("words", NO_REPAIR)
def test_what_is_no_repair_is_none_for_service_status_plan_and_clearance(run, words):
    enter(run, STALLED, *TOLD, kind="spot")
    assert (
        "does not yet count as the repair"
        in run("service", "add", RIG, *shlex.split(words), "--by", "M. K.")[1]
    )
    assert "done: repair" not in run("status", RIG)[1]
    assert "no repair is logged" in run("sheet", "plan", RIG, "--kind", "commissioning", "--by", "M. K.")[1]


def test_a_repair_is_one_for_service_status_and_plan(run):
    enter(run, STALLED, *TOLD, kind="spot")
    service(run)
    assert "done: repair" in run("status", RIG)[1]
    planned = run("sheet", "plan", RIG, "--kind", "commissioning", "--by", "M. K.")[1]
    assert "no repair is logged" not in planned


@pytest.mark.parametrize("reads", [None, OPEN, CLOSED])
@pytest.mark.parametrize("key", [*SIGN_CAUSES, ("over-rated", "lock"), ("stall", ""), ("stopped-short", "")])
def test_assess_and_status_take_a_rig_out_of_use_by_the_same_table(key, reads):
    name, direction = key
    sign = Sign(name, "fail", "seen", value=reads)
    judged = throw(1, direction, signs=[sign], verdict="fail").assessment
    raised = {CAUSES[one.cause][0] for one in orders_of_record("spot", judged)}
    assert (DO_NOT_USE in raised) == takes_out_of_use(sign, direction)


def test_assess_of_a_throw_that_did_not_start_says_what_the_status_says(run, tmp_path):
    trace = stroke()
    quiet = np.random.default_rng(1).normal(0.0, 0.012, len(trace))
    file = tmp_path / "quiet.csv"
    write_trace(type(trace)(trace.time_s, quiet, np.full(len(trace), 12.6), "lock", RIG, NOON), file)
    said = run("assess", "--rig", RIG, str(file))[1]
    assert "did not start" in said.lower() or "no start" in said.lower()
    run("import", "--rig", RIG, "--kind", "spot", str(file), "--by", "M. K.")
    assert status(run)["status"] == "restricted"
    assert "Do not use" not in said


def test_a_throw_judged_again_keeps_the_calibration_it_was_judged_with(run, tmp_path):
    points = [CalibrationPoint(amps, 0.01, amps * 1.02, 0.01) for amps in (0.0, 2.0, 4.0)]
    record, _ = store(
        calibrated("shunt-1", points, "meter 3", NOON.date()), run.path, "M. K.", datetime.now(UTC)
    )
    trace = stroke()
    head = {"board": "shunt-1", "calibration": record.id}
    file = tmp_path / "lock.csv"
    write_trace(type(trace)(*[getattr(trace, name) for name in ("time_s", "current_a", "voltage_v", "direction", "rig", "started", "ambient_c")], head), file)  # fmt: skip
    run("import", "--rig", RIG, "--kind", "spot", str(file), "--by", "M. K.")
    run("sheet", "rejudge", f"{RIG}-1", "--reason", "once more", "--by", "M. K.")
    with open_logbook(run.path, read_only=True) as book:
        _, _, judgements = book.revisions(book.trials(rig=RIG)[0].id)
    assert [one.calibration for one in judgements] == [record.id, record.id]
    assert json.loads(run("sheet", "show", f"{RIG}-1", "--json")[1])["state"] == "open"
