"""Meters kept as instruments: a sheet names them, its throws are read with what their data sheets say, papers name them."""

import csv
import json
import sqlite3
from math import sqrt
from pathlib import Path

import pytest

from tests.cli.sheet_steps import accept
from tests.cli.test_cheap_meter import US_RIG, shown, throws
from throwbook.core.sheets.hand_readings import (
    Accuracy,
    Instruments,
    Reading,
    instruments_from,
    instruments_kept,
    with_meters,
)
from throwbook.logbook import open_logbook

CLAMP = (
    "meter",
    "add",
    "clamp 1",
    "--kind",
    "clamp",
    "--resolution",
    "0.1A",
    "--accuracy",
    "2.5 % + 1 digits",
)
NO_HOLD = (*CLAMP, "--peak-hold", "no", "--checked", "2026-03-01", "--by", "M. K.")
WATCH = ("meter", "add", "watch", "--kind", "stopwatch", "--resolution", "0.1s", "--by", "M. K.")
VOLTS = (
    "meter",
    "add",
    "volts",
    "--kind",
    "multimeter",
    "--resolution",
    "0.01V",
    "--accuracy",
    "0.5% + 2 digits",
)
WHEN = ("--at", "2026-04-01T09:00")


@pytest.fixture
def yard(run, tmp_path):
    """The rig with two meters written down, and a way to type throws on a new sheet of it."""
    file = tmp_path / "yard.toml"
    file.write_text(US_RIG, "utf-8")
    for words in (("rig", "add", str(file)), NO_HOLD, WATCH):
        code, _, err = run(*words)
        assert code == 0, err

    def typed(text: str, *more: str, kind: str = "commissioning"):
        words = ("enter", "--rig", "yard", "--kind", kind, "--paste", "--by", "M. K.", "--again", *WHEN)
        return run(*words, *more, stdin=text)

    return typed


def expanded(value, share, digits, step, by_eye=0.0):
    """Written out from JCGM 100 4.3.7 and F.2.2.1: rectangles of the accuracy, of one digit, and of reading by eye; k = 2."""
    halves = (share * value + digits * step, step / 2.0, by_eye * value)
    return 2.0 * sqrt(sum(half**2 / 3.0 for half in halves))


def test_meters_are_listed_as_their_data_sheets_have_them(run, yard):
    code, out, err = run("meter", "list", "--json")
    assert (code, err) == (0, "")
    clamp, watch = map(json.loads, out.splitlines())
    assert {
        key: clamp[key] for key in ("name", "kind", "resolution", "unit", "accuracy", "peak_hold", "checked")
    } == {
        "name": "clamp 1",
        "kind": "clamp",
        "resolution": 0.1,
        "unit": "A",
        "accuracy": "2.5% + 1 digits",
        "peak_hold": False,
        "checked": "2026-03-01",
    }
    assert (watch["unit"], watch["checked"]) == ("s", None)
    assert "2026-03-01" in run("meter", "list")[1]


def test_the_throws_of_a_sheet_are_read_with_the_meters_it_names(run, yard):
    assert yard(throws(times=(14.3,)), "--meter", "clamp 1", "--meter", "watch")[0] == 0
    assert yard(throws(times=(14.3,)))[0] == 0
    [named], [assumed] = shown(run)["throws"], shown(run, "yard-2")["throws"]
    assert named["run_current_a_u"] == pytest.approx(expanded(2.0, 0.025, 1.0, 0.1, 0.05), rel=1e-9)
    assert assumed["run_current_a_u"] == pytest.approx(expanded(2.0, 0.02, 3.0, 0.1, 0.05), rel=1e-9)
    assert named["travel_time_s_u"] == assumed["travel_time_s_u"]
    assert not [note for note in named["notes"] if "clamp meter 2% + 3 digits (assumed)" in note]
    assert [note for note in assumed["notes"] if "clamp meter 2% + 3 digits (assumed)" in note]


def test_a_throw_added_later_is_read_with_the_sheets_meters_too(run, yard):
    assert run("sheet", "plan", "yard", "--kind", "spot", "--meter", "clamp 1", "--by", "M. K.")[0] == 0
    assert yard("lock 14.3s 2.0A", "--sheet", "yard-1")[0] == 0
    [one] = shown(run)["throws"]
    assert one["run_current_a_u"] == pytest.approx(expanded(2.0, 0.025, 1.0, 0.1, 0.05), rel=1e-9)
    assert shown(run)["answers"]["meters"] == ["clamp 1"]
    assert shown(run)["answers"]["instruments"] == "clamp 1"
    code, out, _ = run(
        "sheet", "plan", "yard", "--kind", "commissioning", "--meter", "clamp 1", "--json", "--by", "M. K."
    )
    assert code == 0
    given = run(
        "sheet", "plan", "yard", "--kind", "commissioning", "--json", "--by", "M. K.",
        "--clamp-accuracy", "2.5% + 1 digits", "--clamp-step", "0.1A",
    )[1]  # fmt: skip
    assert json.loads(out)["by_hand"] == json.loads(given)["by_hand"]


@pytest.mark.parametrize(
    ("typed", "meant"), [("2.00A", 0.1), ("2.0A", 0.1), ("2A", 1.0)], ids=["finer", "as it shows", "coarser"]
)
def test_a_reading_is_no_finer_than_the_meter_shows_nor_than_it_was_typed(run, yard, typed, meant):
    assert yard(f"lock 14.3s {typed}", "--meter", "clamp 1")[0] == 0
    [one] = shown(run)["throws"]
    assert one["run_current_a_u"] == pytest.approx(expanded(2.0, 0.025, 1.0, meant, 0.05), rel=1e-9)


def test_a_meter_without_hold_gives_no_peak_and_what_it_leaves_open_is_said_as_for_a_blank(run, yard):
    code, _, err = yard(throws("2.0A 2.6A"), "--meter", "clamp 1")
    assert code == 2
    assert "throw 1: meter 'clamp 1' holds no peak" in err
    assert shown_sheets(run) == []
    assert yard(throws(), "--meter", "clamp 1")[0] == 0
    code, out, err = accept(run, "yard-1")
    assert (code, err) == (0, "")
    assert "Not proved, because nobody could read it: peak running current, voltage under load." in out


def shown_sheets(run):
    return [json.loads(line) for line in run("sheet", "list", "--json")[1].splitlines()]


def test_a_new_check_of_a_meter_leaves_what_was_read_before_as_it_was(run, yard):
    assert yard(throws(times=(14.3,)), "--meter", "clamp 1")[0] == 0
    before = shown(run)
    again = (*CLAMP, "--peak-hold", "no", "--checked", "2026-09-01", "--by", "M. K.")
    assert run(*again)[0] == 0
    changed = (*CLAMP[:-1], "5 % + 1 digits", "--peak-hold", "no", "--by", "M. K.")
    code, _, err = run(*changed)
    assert code == 2
    assert "'clamp 1' is in this logbook with another data sheet" in err
    assert run(*changed, "--reason", "its data sheet was found")[0] == 0
    assert shown(run)["throws"] == before["throws"]
    used = {one["checked"]: one["accuracy"] for one in shown(run)["meters"]}
    assert used["2026-03-01"] == "2.5% + 1 digits"
    listed = json.loads(run("meter", "list", "--json")[1].splitlines()[0])
    assert listed["accuracy"] == "5% + 1 digits"


WRONG = {
    "no kind": (("meter", "add", "x", "--resolution", "0.1A", "--accuracy", "2%"), "--kind"),
    "no resolution": (("meter", "add", "x", "--kind", "clamp", "--accuracy", "2%"), "--resolution"),
    "no accuracy": (("meter", "add", "x", "--kind", "clamp", "--resolution", "0.1A"), "--accuracy"),
    "no word of a hold": (CLAMP, "--peak-hold"),
    "a resolution of another kind": (
        (
            "meter",
            "add",
            "x",
            "--kind",
            "clamp",
            "--resolution",
            "0.1V",
            "--accuracy",
            "2%",
            "--peak-hold",
            "no",
        ),
        "'0.1V' is no last digit of a clamp. Type it like 0.1 A.",
    ),
    "no resolution at all": (
        (
            "meter",
            "add",
            "x",
            "--kind",
            "clamp",
            "--resolution",
            "0A",
            "--accuracy",
            "2%",
            "--peak-hold",
            "no",
        ),
        "no clamp steps by 0A",
    ),
    "no accuracy in it": (
        (
            "meter",
            "add",
            "x",
            "--kind",
            "clamp",
            "--resolution",
            "0.1A",
            "--accuracy",
            "good",
            "--peak-hold",
            "no",
        ),
        "--accuracy: 'good' is not an accuracy",
    ),
    "checked in the future": (
        (*CLAMP, "--peak-hold", "no", "--checked", "2099-01-01"),
        "--checked: the check is dated in the future",
    ),
    "no name": ((*CLAMP[:2], "-", *CLAMP[3:], "--peak-hold", "no"), "'-' is no name"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_meter_that_says_too_little_is_refused(run, yard, case):
    words, said = WRONG[case]
    code, out, err = run(*words, "--by", "M. K.")
    assert (code, out) == (2, "")
    assert said in err
    assert len(run("meter", "list", "--json")[1].splitlines()) == 2


@pytest.mark.parametrize(
    ("named", "said"),
    [
        (("clamp 9",), "no meter 'clamp 9' in this logbook. It has: clamp 1, clamp 2, watch."),
        (("clamp 1", "clamp 2"), "two meters read the current: clamp 1, clamp 2"),
    ],
)
def test_meters_that_cannot_be_meant_are_refused_and_nothing_is_stored(run, yard, named, said):
    assert run(*CLAMP[:2], "clamp 2", *CLAMP[3:], "--peak-hold", "yes", "--by", "M. K.")[0] == 0
    words = [word for name in named for word in ("--meter", name)]
    for code, _, err in (
        yard(throws(), *words),
        run("sheet", "plan", "yard", "--kind", "spot", "--by", "M. K.", *words),
    ):
        assert code == 2
        assert said in err
    assert shown_sheets(run) == []


def test_meters_go_along_with_exports_merges_and_papers(run, yard, tmp_path):
    assert run(*VOLTS, "--by", "M. K.")[0] == 0
    assert yard(throws("2.0A 12.40V"), "--meter", "clamp 1", "--meter", "watch", "--meter", "volts")[0] == 0
    assert accept(run, "yard-1")[0] == 0
    assert run("export", str(tmp_path / "out"))[0] == 0
    with (tmp_path / "out" / "meters.csv").open(encoding="utf-8") as file:
        rows = {row["meter"]: row for row in csv.DictReader(file)}
    assert (rows["clamp 1"]["checked"], rows["volts"]["unit"], rows["watch"]["counts"]) == (
        "2026-03-01",
        "V",
        "yes",
    )
    with (tmp_path / "out" / "trials.csv").open(encoding="utf-8") as file:
        assert {frozenset(row["meters"].split()) for row in csv.DictReader(file) if row["rig"] == "yard"} == {
            frozenset(row["id"] for row in rows.values())
        }
    other = tmp_path / "other.throwbook"
    assert run("--logbook", str(other), "merge", str(run.path))[0] == 0
    code, out, _ = run("--logbook", str(other), "meter", "list", "--json")
    assert (code, out) == (0, run("meter", "list", "--json")[1])
    assert run("--logbook", str(other), "check")[0] == 0
    assert run("report", "yard", "--folder", str(tmp_path / "papers"))[0] == 0
    [page] = (tmp_path / "papers").glob("*.html")
    said = page.read_text("utf-8")
    assert "Meters that throws by hand were read from" in said
    assert "2026-03-01" in said.partition("Meters that throws by hand were read from")[2]


def test_a_meter_changed_behind_the_programs_back_breaks_the_seal_of_the_sheet(run, yard):
    assert yard(throws(), "--meter", "clamp 1")[0] == 0
    assert accept(run, "yard-1")[0] == 0
    assert run("check")[0] == 0
    with sqlite3.connect(run.path) as db:
        [guard] = db.execute("SELECT sql FROM sqlite_schema WHERE name = 'meter_no_update'").fetchone()
        db.execute("DROP TRIGGER meter_no_update")
        db.execute("UPDATE meter SET share = 0.001 WHERE name = 'clamp 1'")
        db.execute(guard)
    db.close()
    code, out, err = run("check")
    assert code != 0
    assert "a row of meter" in out + err
    assert "the seal doesn't match" in out + err


def test_what_was_used_comes_back_as_it_was_kept(run, yard):
    with open_logbook(Path(run.path), read_only=True) as book:
        used = with_meters(Instruments(names="as found"), book.meters())
    assert instruments_from(json.loads(json.dumps(instruments_kept(used)))) == used
    assert used.amps(Reading(2.0, 0.1)).u < Instruments().amps(Reading(2.0, 0.1)).u
    plain = Instruments(Accuracy(0.01, 2.0))
    assert instruments_kept(plain).keys() == {"clamp", "volt", "names"}
    assert instruments_from(instruments_kept(plain)) == plain
