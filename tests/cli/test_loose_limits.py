"""Limits of a rig's own: they may tighten the rating's, never loosen them; an old looser one is told and bars an acceptance."""

from datetime import UTC, datetime

import pytest

from tests.cli.sheet_steps import GOOD, RIG, RIG_FILE, TOLD, accept, enter
from throwbook.core.machine.limits import LIMITS, MAX, looser_limits
from throwbook.files.rig_file import parse_rig
from throwbook.logbook import open_logbook

TEXT = RIG_FILE.read_text("utf-8")
ABSURD = [
    ("run_current", "900 A"),
    ("peak_run_current", "3.7 A"),
    ("travel_time_high", "9000 %"),
    ("travel_time_low", "1 %"),
    ("travel_done", "84 %"),
    ("supply_under_load", "0.001 V"),
    ("spread_run_current", "90 %"),
]
TIGHTER = [
    ("run_current", "2.5 A"),
    ("run_current", "3.6 A"),  # 80 % of the rating only warns: it may be given up, the rating may not
    ("peak_run_current", "3.6 A"),
    ("travel_time_high", "130 %"),
    ("supply_under_load", "90 %"),
    ("travel_done", "90 %"),
    ("spread_run_current", "30 %"),
]


def with_limit(name: str, value: str, more: str = "") -> str:
    return f'{TEXT}\n[limits]\n{name} = {{ value = "{value}", reason = "known" }}\n{more}'


@pytest.mark.parametrize(("name", "value"), ABSURD)
def test_a_limit_looser_than_any_reason_can_make_it_does_not_go_in(run, tmp_path, name, value):
    file = tmp_path / "loose.toml"
    file.write_text(with_limit(name, value), "utf-8")
    code, _, err = run("rig", "add", str(file), "--reason", "known")
    assert (code, err.count("\n")) == (2, 1)
    assert name in err
    with open_logbook(run.path, read_only=True) as book:
        assert len(book.rig_revisions(RIG)) == 1


@pytest.mark.parametrize(("name", "value"), TIGHTER)
def test_a_limit_that_tightens_goes_in(run, tmp_path, name, value):
    file = tmp_path / "tight.toml"
    file.write_text(with_limit(name, value), "utf-8")
    assert run("rig", "add", str(file), "--reason", "known")[0] == 0


def test_an_old_looser_limit_is_read_and_told_and_bars_an_acceptance(run, tmp_path):
    loose = with_limit("run_current", "900 A")
    with open_logbook(run.path) as book:
        book.add_rig(RIG, loose, "M. K.", datetime(2026, 3, 2, tzinfo=UTC))
    assert "above 3.6 A, the full-load current" in run("rig", "show", RIG)[1]
    enter(run, GOOD, *TOLD)
    code, _, err = accept(run, f"{RIG}-1")
    assert (code, "above 3.6 A, the full-load current" in err) == (2, True)
    other = tmp_path / "same-limit.toml"
    other.write_text(loose.replace("IP66", "IP65"), "utf-8")
    assert run("rig", "add", str(other), "--reason", "another label")[0] == 0
    other.write_text(TEXT, "utf-8")
    assert run("rig", "add", str(other), "--reason", "the limit was wrong")[0] == 0
    assert run("sheet", "rejudge", f"{RIG}-1", "--reason", "the limit was wrong")[0] == 0
    assert accept(run, f"{RIG}-1")[0] == 0


def test_no_limit_starts_looser_than_it_may_become():
    for name, rule in LIMITS.items():
        assert rule.share <= rule.loosest if rule.side == MAX else rule.share >= rule.loosest, name
    assert looser_limits(parse_rig(TEXT, "test").rig) == {}
