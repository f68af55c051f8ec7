"""The papers by command: written whole, told where, refused in one line."""

import json
import re
from pathlib import Path

import pytest

from tests.cli.sheet_steps import GOOD, RIG, TOLD, accept, enter
from tests.report.page_words import html_text

DAY = ("--issued", "2026-04-01")
SAMPLES = Path(__file__).parents[2] / "sample-runs"


@pytest.fixture
def filled(run):
    assert enter(run, GOOD, *TOLD)[0] == 0
    assert accept(run, f"{RIG}-1")[0] == 0
    return run


@pytest.mark.parametrize(
    ("command", "names"),
    [
        (("report", RIG), (f"report-{RIG}.pdf", f"report-{RIG}.html")),
        (("sheet", "print", f"{RIG}-1"), (f"sheet-{RIG}-1.pdf", f"sheet-{RIG}-1.html")),
        (("sheet", "blank", RIG, "--kind", "seasonal"), (f"blank-seasonal-{RIG}.pdf",)),
        (("cab-card", RIG, "--voltage", "12.4V"), (f"cab-card-{RIG}.pdf", f"cab-card-{RIG}-pocket.pdf")),
    ],
)
def test_each_paper_is_written_and_told(filled, tmp_path, command, names):
    folder = tmp_path / "papers"
    code, out, err = filled(*command, "--folder", str(folder), "--json", *DAY)
    assert (code, err) == (0, "")
    told = json.loads(out)
    assert [Path(file).name for file in told["files"]] == list(names)
    assert sorted(path.name for path in folder.iterdir()) == sorted(names)
    assert "-20260401-" in told["number"]


def test_a_sheet_filled_by_hand_is_printed_without_records_to_draw(filled, tmp_path):
    filled("sheet", "print", f"{RIG}-1", "--folder", str(tmp_path), *DAY)
    page = (tmp_path / f"sheet-{RIG}-1.html").read_text("utf-8")
    assert "Measured by hand: there are no records to draw." in page
    assert "accepted" in page


def test_the_same_day_gives_the_same_files_and_another_day_another_number(filled, tmp_path):
    numbers = []
    for folder, day in (("one", "2026-04-01"), ("two", "2026-04-01"), ("three", "2026-04-02")):
        _, out, _ = filled("report", RIG, "--folder", str(tmp_path / folder), "--json", "--issued", day)
        numbers.append(json.loads(out)["number"])
    for ending in ("pdf", "html"):
        same = [(tmp_path / folder / f"report-{RIG}.{ending}").read_bytes() for folder in ("one", "two")]
        assert same[0] == same[1]
    assert numbers[0] == numbers[1] != numbers[2]


def test_a_rig_without_a_throw_has_a_blank_sheet_and_a_card_and_a_report(run, tmp_path):
    for command in (("report",), ("sheet", "blank"), ("cab-card",)):
        assert run(*command, RIG, "--folder", str(tmp_path), *DAY)[0] == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("report", "nobody"), "nobody"),
        (("sheet", "print", "nobody-1"), "nobody-1"),
        (("cab-card", RIG, "--issued", "first of May"), "'first of May' is not a date: --issued"),
        (("cab-card", RIG, "--voltage", "12"), "has no unit"),
    ],
)
def test_what_is_wrong_is_said_in_one_line_and_nothing_is_written(run, tmp_path, words, said):
    folder = tmp_path / "papers"
    code, out, err = run(*words, "--folder", str(folder))
    assert code == 2
    assert out == ""
    assert said.partition(":")[0] in err
    assert len(err.strip().splitlines()) == 1
    assert not folder.exists()


def test_a_folder_that_cannot_be_written_is_an_outside_failure(filled, tmp_path):
    (tmp_path / "file").write_text("in the way")
    code, _, err = filled("report", RIG, "--folder", str(tmp_path / "file" / "papers"))
    assert code == 3
    assert "writing failed" in err


def test_the_air_that_every_file_carries_is_recorded_where_nobody_typed_it(run, tmp_path):
    files = []
    for file in sorted((SAMPLES / "baseline").glob("*.csv"))[:4]:
        text = "".join(
            line
            for line in file.read_text("utf-8").splitlines(True)
            if "made_by" not in line and "# rig" not in line
        )
        files.append(tmp_path / file.name)
        files[-1].write_text(text, "utf-8")
    code, _, err = run("import", "--rig", RIG, "--kind", "seasonal", *map(str, files))
    assert code in (0, 1), err
    assert "Air temperature? not recorded" not in run("sheet", "show", f"{RIG}-1")[1]
    assert run("report", RIG, "--folder", str(tmp_path), *DAY)[0] in (0, 1)
    page = html_text((tmp_path / f"report-{RIG}.html").read_text("utf-8"))
    assert "comparison with checks in other weather" not in page
    assert re.search(r"Air temperature\s+[-0-9.]+ degC", page)
    assert re.search(r"(?i)operator\s+not recorded", page)
