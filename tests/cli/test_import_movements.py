"""A trace file with more than one movement: each is a throw of its own, and none is passed over."""

import json
import shutil
from datetime import UTC, datetime

import pytest

from tests.cli.sheet_steps import RIG, TOLD, accept, status
from tests.made_strokes import RIG as DRAWN_RIG
from tests.odd_names import MARK, odd, odd_names
from tests.records_of_several import GOOD, JOG, LIGHT, SHORT, STALLED, STANDING, record, write
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs.recording import throws_of
from throwbook.logbook import open_logbook

NOW = datetime(2026, 4, 1, tzinfo=UTC)
SPLIT = ("--movements", "split")


def bring(run, *files, kind="spot", options=()):
    code, out, err = run("import", "--rig", RIG, "--kind", kind, *TOLD, *options, *map(str, files))
    assert "Traceback" not in err
    return code, out, err


def throws(run, sheet=f"{RIG}-1"):
    code, out, err = run("sheet", "show", sheet, "--json")
    assert code == 0, err
    return json.loads(out)["throws"]


def signs_of(throw):
    return {each["sign"] for each in throw["signs"]}


HIDDEN = {
    0.35: (STALLED, "stall", 1, "do not use"),
    2.0: (SHORT, "stopped-short", 1, "do not use"),
    5.0: (LIGHT, "light-run", 0, "watch"),
}
"""What may hide after this rest [s]: each rest and each fault once; the other pairs are long."""


@pytest.mark.parametrize(
    ("rest_s", "hidden", "sign", "code", "level"),
    [
        pytest.param(rest_s, *hidden, marks=() if HIDDEN[rest_s] is hidden else pytest.mark.long)
        for rest_s in HIDDEN
        for hidden in HIDDEN.values()
    ],
)
def test_what_stands_behind_a_good_throw_is_judged_and_raised(
    run, tmp_path, hidden, sign, code, level, rest_s
):
    file = write(tmp_path, "lock-1.csv", record([GOOD, hidden], rest_s=rest_s))
    done, out, err = bring(run, file, options=SPLIT)
    assert done == code, err
    assert "lock-1.csv: 2 movements: lock, " in out
    first, second = throws(run)
    assert (first["file"].endswith("lock-1.csv#1"), second["file"].endswith("lock-1.csv#2")) == (True, True)
    assert (first["movement"], second["movement"], second["movements"]) == (1, 2, 2)
    assert first["verdict"] == "pass"
    assert sign in signs_of(second)
    assert "movement 2 of 2" in run("sheet", "show", f"{RIG}-1")[1]
    assert status(run)["status"] == level


@pytest.mark.parametrize("rest_s", [0.35, 1.0, 5.0])
def test_a_stall_that_was_let_go_is_a_throw_before_the_good_one(run, tmp_path, rest_s):
    file = write(tmp_path, "lock-1.csv", record([STANDING, GOOD], rest_s=rest_s))
    assert bring(run, file, options=SPLIT)[0] == 1
    assert [each["verdict"] for each in throws(run)] == ["fail", "pass"]
    assert status(run)["status"] == "do not use"


def test_the_sign_of_the_current_tells_the_way_back_and_nothing_is_asked(run, tmp_path):
    file = write(tmp_path, "both.csv", record([GOOD, GOOD, STALLED], signs=[1, -1, 1]))
    code, out, _ = bring(run, file)
    assert code == 1
    assert "both.csv: 3 movements: lock, unlock, lock." in out
    assert [each["direction"] for each in throws(run)] == ["lock", "unlock", "lock"]


def test_in_a_pipe_a_direction_that_nothing_tells_is_refused_with_the_options_that_answer(run, tmp_path):
    file = write(tmp_path, "lock-1.csv", record([GOOD, SHORT]))
    code, out, err = bring(run, file)
    assert (code, out) == (2, "")
    assert "2 movements: lock, direction not known" in err
    assert "--movements split" in err
    assert "--direction 'lock-1.csv#2=unlock'" in err
    assert "No sheet" in run("sheet", "list")[1] or RIG not in run("sheet", "list")[1]
    code, out, _ = bring(run, file, options=("--direction", "lock-1.csv#2=unlock"))
    assert code == 1
    assert [each["direction"] for each in throws(run)] == ["lock", "unlock"]
    assert status(run)["status"] == "restricted"


@odd_names
def test_files_named_in_the_letters_of_an_older_computer_are_taken_in_and_so_are_logbooks(run, tmp_path):
    file = write(tmp_path, odd("lock-Fév.csv"), record([GOOD, SHORT]))
    code, out, err = bring(run, file, options=("--direction", f"{file.name}#2=unlock"))
    assert (code, err, f"lock-F{MARK}v.csv: 2 movements: lock, unlock" in out) == (1, "", True)
    assert [each["file"] for each in throws(run)] == [f"{tmp_path}/lock-F{MARK}v.csv#{n}" for n in (1, 2)]
    copy = str(tmp_path / odd("Fév.throwbook"))
    assert run("backup", copy)[0] == 0
    assert run("backup", "--restore", copy, "--by", "M. K.")[::2] == (0, "")
    assert run("merge", copy)[::2] == (0, "")
    assert run("check")[0] == 0


def test_without_an_answer_the_worse_cause_counts(run, tmp_path):
    file = write(tmp_path, "unlock-1.csv", record([GOOD, SHORT], direction="unlock"))
    assert bring(run, file, options=SPLIT)[0] == 1
    assert status(run)["status"] == "do not use"  # as an unlock throw it would only restrict
    assert any("both ways, and the worse counts" in note for note in throws(run)[1]["notes"])


def test_refuse_stores_nothing_however_much_is_known(run, tmp_path):
    one = write(tmp_path, "one.csv", record([GOOD]))
    both = write(tmp_path, "both.csv", record([GOOD, GOOD], signs=[1, -1], minutes=5))
    code, _, err = bring(run, one, both, options=("--movements", "refuse"))
    assert (code, "both.csv" in err, "2 movements: lock, unlock" in err) == (2, True, True)
    assert bring(run, one, options=("--movements", "refuse"))[0] == 0


@pytest.mark.parametrize(
    "option", ["up", "lock-1.csv#2", "lock-1.csv#9=lock", "lock-1.csv#2=up", "#2=lock", "lock-1.csv#x=lock"]
)
def test_a_direction_that_fits_nothing_is_refused(run, tmp_path, option):
    file = write(tmp_path, "lock-1.csv", record([GOOD, SHORT]))
    code, _, err = bring(run, file, options=("--direction", option))
    assert code == 2
    assert "--direction" in err


def test_the_same_file_again_is_known_in_all_its_movements_whatever_it_is_called(run, tmp_path):
    whole = record([GOOD, STALLED])
    file = write(tmp_path, "lock-1.csv", whole)
    copy = write(tmp_path, "copy.csv", whole, started=NOW)
    bring(run, file, options=SPLIT)
    for again in (file, copy):
        code, out, _ = bring(run, again, options=SPLIT)
        assert code == 0
        assert f"already on sheet {RIG}-1" in out
        assert "Every file is in the logbook already" in out
    code, out, _ = bring(run, write(tmp_path, "turned.csv", whole, direction="unlock"), options=SPLIT)
    assert "Every file is in the logbook already" in out


def test_a_movement_that_stands_in_the_logbook_by_itself_is_not_stored_twice(run, tmp_path):
    whole = write(tmp_path, "lock-1.csv", record([GOOD, STALLED]))
    bring(run, whole, options=SPLIT)
    with open_logbook(run.path, read_only=True) as book:
        part = book.trace(book.trials(rig=RIG)[1].id)
    own = tmp_path / "second.csv"
    write_trace(part, own)
    code, out, _ = bring(run, own)
    assert (code, "already on sheet" in out) == (0, True)


def stored_whole(path, file):
    """What an earlier version stored of a file: the record as one throw, judged by its first movement."""
    first = assess_trace(record([GOOD]), DRAWN_RIG)
    with open_logbook(path) as book, book.transaction():
        sheet = book.plan_sheet(RIG, "spot", {}, "M. K.", NOW)
        book.add_trial(
            sheet.id, read_trace(file), first, "M. K.", NOW, software_version="1.0", file="lock-1.csv"
        )


def test_a_record_that_an_earlier_version_stored_whole_is_known_and_judged_again_wholly(run, tmp_path):
    file = write(tmp_path, "lock-1.csv", record([GOOD, STALLED]))
    stored_whole(run.path, file)
    assert status(run)["status"] == "in service"
    code, out, _ = bring(run, file, options=SPLIT)
    assert (code, f"already on sheet {RIG}-1" in out) == (0, True)
    code, out, _ = run("sheet", "rejudge", f"{RIG}-1", "--reason", "several movements", "--by", "M. K.")
    assert "fail" in out
    assert status(run)["status"] == "do not use"


def test_a_movement_of_a_record_that_stands_whole_is_known(run, tmp_path):
    file = write(tmp_path, "lock-1.csv", record([GOOD, STALLED]))
    part = write(tmp_path, "stall.csv", throws_of(read_trace(file), DRAWN_RIG, {})[1].trace)
    stored_whole(run.path, file)
    code, out, _ = bring(run, part)
    assert (code, f"already on sheet {RIG}-1, in its whole record" in out) == (0, True)


def test_a_merge_tells_of_a_record_that_stands_whole_and_in_movements(run, tmp_path):
    file = write(tmp_path, "lock-1.csv", record([GOOD, STALLED]))
    older = tmp_path / "older"
    shutil.copy(run.path, older)  # the same rig, on another computer
    stored_whole(older, file)
    bring(run, file, options=SPLIT)
    code, out, err = run("merge", str(older))
    assert code == 0, err
    assert "movement by movement: leave it out here" in out


def test_judged_again_each_movement_gives_the_same(run, tmp_path):
    files = [
        write(tmp_path, f"lock-{n}.csv", record(kinds, minutes=5 * n, seed=10 * n))
        for n, kinds in enumerate([[JOG, GOOD], [GOOD, STALLED], [STANDING, GOOD], [GOOD, SHORT, LIGHT]])
    ]
    bring(run, *files, options=SPLIT)
    before = throws(run)
    run("sheet", "rejudge", f"{RIG}-1", "--reason", "to see", "--by", "M. K.")
    after = throws(run)
    assert len(before) == 9
    # What a throw shows beside others of its set (spread, duty) isn't its own, and isn't judged again.
    own = [name for name in before[0] if name.endswith("_u") or f"{name}_u" in before[0]]
    for old, new in zip(before, after, strict=True):
        for name in ["movement", "movements", "direction", "end", "travel_fraction", "diagnoses", *own]:
            if name != "diagnoses" or "duty-exceeded" not in signs_of(old):
                assert new[name] == old[name], name
        assert signs_of(new) == signs_of(old) - {"duty-exceeded"}
        assert new["verdict"] == old["verdict"] or "duty-exceeded" in signs_of(old)


def test_five_lock_records_that_each_hide_a_stall_are_no_commissioning(run, tmp_path):
    kinds = {"lock": [GOOD, STALLED], "unlock": [GOOD]}
    files = [
        write(
            tmp_path,
            f"{n}-{way}.csv",
            record(kinds[way], direction=way, minutes=4 * n + 2 * m, seed=10 * n + m),
        )
        for n in range(5)
        for m, way in enumerate(kinds)
    ]
    code, _, err = bring(run, *files, kind="commissioning", options=SPLIT)
    assert code == 1, err
    assert accept(run, f"{RIG}-1")[0] == 2
    missing = json.loads(run("sheet", "show", f"{RIG}-1", "--json")[1])["missing"]
    assert any("stall" in text for text in missing), missing
    assert status(run)["commissioned"] is False


def test_trend_export_and_sheet_list_every_movement(run, tmp_path):
    file = write(tmp_path, "both.csv", record([GOOD, GOOD, GOOD], signs=[1, -1, 1]))
    bring(run, file, kind="seasonal")  # the first is as found, and stands apart
    code, out, _ = run("trend", RIG, "--json")
    assert code == 0
    points = [(each["direction"], len(each["points"])) for each in map(json.loads, out.splitlines())]
    assert {way for way, n in points if n} == {"lock", "unlock"}
    run("export", str(tmp_path / "out"))
    head, *rows = (tmp_path / "out" / "trials.csv").read_text("utf-8").splitlines()
    assert {"movement", "movements"} <= set(head.split(","))
    assert [row.split(",")[head.split(",").index("movement")] for row in rows] == ["1", "2", "3"]
