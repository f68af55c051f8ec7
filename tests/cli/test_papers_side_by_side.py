"""One rig's life with a stall in it, its papers read side by side: a step, a gap, a day, a name is the same in every place."""

import json
import re
from datetime import datetime
from pathlib import Path

import pytest

from tests.cli.sheet_steps import GOOD, RIG, RIG_FILE, TOLD, accept, enter, service
from throwbook.jobs.find import opened
from throwbook.jobs.papers import Issue, _form_source, material_in
from throwbook.jobs.rigs import rig_history
from throwbook.report.document import words as words_of
from throwbook.report.forms import cab_card
from throwbook.report.report import rig_report
from throwbook_tui.rows import rig_rows

TODAY = datetime.now().astimezone().date()
GAP = re.compile(r"Not covered:? +(.*)")


def card_of(run, folder: Path) -> str:
    return words_of(cab_card(_form_source(run.path, RIG, "spot", Issue(folder, TODAY), None)))


def report_of(run) -> str:
    with opened(run.path, read_only=True) as book:
        return words_of(rig_report(material_in(book, RIG, TODAY)))


@pytest.fixture
def repaired(run):
    """Commissioned, stalled, repaired: out of use, with two of its steps done."""
    enter(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    enter(run, "lock 9.00s 6.5A stalled", "--as-read", kind="spot")
    run.service = service(run)
    return run


def steps(text: str) -> list[str]:
    return re.findall(r"step \d+: (.*)", text)


def test_the_steps_of_the_way_back_are_the_same_in_every_place(repaired, tmp_path):
    said = steps(repaired("status", RIG)[1])
    assert [one.startswith("done: ") for one in said] == [True, True, False, False]
    assert steps(repaired("rig", "show", RIG)[1]) == said
    assert steps(repaired("status")[1]) == said
    greased = repaired("service", "add", RIG, "--action", "greased", "--by", "M. K.")[1]
    assert steps(greased) == said
    card = card_of(repaired, tmp_path)
    report = report_of(repaired)
    for step in said:
        assert step.partition(": throwbook ")[0] in card, step
        assert step in report, step
    assert "throwbook" not in card, "a command for a person in a cab"


def test_what_the_status_does_not_cover_stands_wherever_the_status_does(run, tmp_path):
    enter(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    (gap,) = GAP.findall(run("status", RIG)[1])
    assert "attachment fitted" in gap, "a blank that lowers no verdict is left out"
    for asked in (("rig", "show", RIG), ("service", "list", RIG)):
        assert GAP.findall(run(*asked)[1]) == [gap], asked
    raised = run("order", "raise", RIG, "--cause", "person: watch", "--because", "noisy", "--by", "M. K.")[1]
    assert GAP.findall(raised) == [gap]
    assert f"Not covered: {gap.rstrip('.')}" in card_of(run, tmp_path)
    assert f"Not covered: {gap.rstrip('.')}" in report_of(run)


def test_the_next_check_is_one_day_everywhere_though_nobody_wrote_when_it_was_thrown(run, tmp_path):
    enter(run, GOOD, *TOLD, "undated")
    assert accept(run, f"{RIG}-1")[0] == 0
    due = json.loads(run("status", RIG, "--json")[1])["next_check"]["on"]
    assert due is not None
    assert f"check on {due}" in run("rig", "list")[1]
    assert f"By {due}." in run("trend", RIG)[1]
    card = card_of(run, tmp_path)
    assert f"Next check: due {due}" in card
    assert f"Counts until {due}" in card
    assert f"Next check: due {due}." in report_of(run)


def test_who_saw_the_pins_is_one_name_though_an_account_typed_them_in(run, tmp_path):
    words = ["enter", "--rig", RIG, "--kind", "commissioning", "--paste", "--seen-how", "torch", *TOLD]
    run(*words, stdin=GOOD)
    assert accept(run, f"{RIG}-1", signed="C. Green")[0] == 0
    assert "Recorded by C. Green. " in run("sheet", "show", f"{RIG}-1")[1]
    report = report_of(run)
    seen = report[report.index("What a person saw") : report.index("'not looked at' means")]
    assert seen.count("C. Green") == 5


def test_a_figure_is_rounded_alike_on_the_screen_and_on_paper(run):
    enter(run, GOOD, *TOLD)
    shown = run("sheet", "show", f"{RIG}-1")[1]
    printed = report_of(run)
    rows = [line for line in printed.splitlines() if re.match(r"\d+ \| (lock|unlock) \|", line)]
    assert len(rows) == 10
    for row, line in zip(rows, re.findall(r"^ +\d+ +(?:lock|unlock) .*", shown, re.M), strict=True):
        number, way, time, _, run_current, peak = row.split(" | ")[:6]
        assert line.split()[:2] == [number, way]
        assert all(one in line for one in (f"{time} s", f"{run_current} A", f"{peak} A")), (row, line)


def test_a_temperature_stands_in_the_rig_s_own_unit_and_in_no_more_digits_than_were_typed(run, tmp_path):
    text = RIG_FILE.read_text("utf-8").replace('units = "metric"', 'units = "us"').replace(RIG, "us-loader")
    assert 'units = "us"' in text
    (tmp_path / "us.toml").write_text(text, "utf-8")
    assert run("rig", "add", str(tmp_path / "us.toml"), "--by", "M. K.")[0] == 0
    words = ["enter", "--rig", "us-loader", "--kind", "commissioning", "--paste", "--seen-how", "torch"]
    run(*words, "--ambient", "72degF", stdin=GOOD)
    assert "Air temperature? 72.0 degF\n" in run("sheet", "show", "us-loader-1")[1]
    assert "72 degF" in run("trend", "us-loader")[1]
    with opened(run.path, read_only=True) as book:
        report = words_of(rig_report(material_in(book, "us-loader", TODAY)))
    assert "Air temperature: 72.0 degF" in report
    assert "Air [degF]" in report


def test_a_throw_that_stalled_is_no_part_of_a_mean_of_clean_throws(repaired):
    row = next(
        line for line in report_of(repaired).splitlines() if line.startswith("2 | ") and "spot" in line
    )
    assert row.split(" | ")[7:10] == ["-", "-", "fail"], row


def test_a_sheet_that_a_no_followed_is_nowhere_merely_accepted(run, tmp_path):
    enter(run, GOOD, *TOLD)
    assert accept(run, f"{RIG}-1")[0] == 0
    seen = ["--left-pin", "no", "--right-pin", "yes", "--seen-how", "torch", "--by", "M. K."]
    assert run("sheet", "see", f"{RIG}-1", "--throw", "1", *seen)[0] in (0, 1)
    assert run("status", RIG, "--json")[1].count('"status": "do not use"') == 1
    said = "accepted, a NO since"
    assert said in run("sheet", "list", RIG)[1]
    assert said in run("rig", "show", RIG)[1]
    assert json.loads(run("sheet", "list", RIG, "--json")[1])["no_since"] is True
    assert f"(commissioning): {said}" in run("sheet", "show", f"{RIG}-1")[1]
    report = report_of(run)
    assert f"State: {said}" in report
    history = rig_history(run.path, RIG, TODAY)
    assert said in [
        getattr(cell, "text", cell) for _, cells in rig_rows("sheets", history, []) for cell in cells
    ]


def test_a_spot_sheet_is_not_said_to_answer_what_it_cannot_clear(repaired):
    said = repaired("sheet", "plan", RIG, "--kind", "spot", "--by", "M. K.", *TOLD)[1]
    assert "answers" not in said
    assert re.search(r"The \d+ open orders? of this rig stay open: a spot sheet clears none\.", said)
