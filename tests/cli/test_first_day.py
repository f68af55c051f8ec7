"""All on one day: commissioned, a pin not seen, repaired, commissioned anew, checked. Then trend and report."""

import json

import pytest

from tests.cli.sheet_steps import GOOD, RIG, TOLD, accept, clear, enter, enter_again, service, status

UNSEEN_PIN = "lock 15.40s 2.30A 3.00A 12.40V left seen, right not seen"


@pytest.fixture
def day(run):
    enter(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    enter(run, UNSEEN_PIN, *TOLD, kind="seasonal")
    entry = service(run)
    enter_again(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-3")[0] == 0
    assert clear(run, cause_found="bent pin", service=entry, sheet=f"{RIG}-3")[0] == 0
    enter_again(run, GOOD, *TOLD, kind="seasonal")
    assert status(run)["status"] == "in service"
    return run


def test_the_trend_of_a_rig_repaired_on_its_first_day_starts_anew_after_the_repair(day):
    code, out, err = day("trend", RIG, "--json")
    assert (code, err) == (0, "")
    lines = [json.loads(line) for line in out.splitlines()]
    run_current = next(one for one in lines if (one["direction"], one["figure"]) == ("unlock", "run_current"))
    assert [one["state"] for one in run_current["points"]] == ["baseline", "baseline", "in control"]
    assert day("trend", RIG)[0] == 0
    assert day("trend")[0] == 0


@pytest.mark.long  # a report that fails on a first day, only in test-all; its trend, which the report draws, is asked for above
def test_the_report_of_a_rig_repaired_on_its_first_day_is_written(day, tmp_path):
    code, _, err = day("report", RIG, "--folder", str(tmp_path / "papers"))
    assert code == 0, err
