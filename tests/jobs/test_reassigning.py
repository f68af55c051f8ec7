"""An imported throw that is of another rig, or of none: put right by a signed correction, and no way out of ``do not use``."""

from datetime import timedelta
from pathlib import Path

import pytest

from tests.cli.sheet_steps import RIG, RIG_FILE
from tests.jobs.test_latch_in_logbooks import YES, clear, throw
from tests.jobs.test_throws_that_prove_nothing import BY, LATER, bring, files
from tests.made_strokes import NOON, stroke
from throwbook.core.status.latch import DO_NOT_USE, IN_SERVICE, RESTRICTED, WATCH
from throwbook.errors import InputError
from throwbook.files.trace_file import write_trace
from throwbook.jobs import latch, logbook_care, sheets, sign_off
from throwbook.jobs.papers import material_in
from throwbook.jobs.reassign import NOBODY, Correction, reassign
from throwbook.logbook import open_logbook
from throwbook.report.sections import status as status_log

OTHER = "yard-loader"


def new(path: Path, *rigs: str) -> Path:
    with open_logbook(path) as book:
        for rig in rigs:
            book.add_rig(rig, RIG_FILE.read_text("utf-8").replace(f'"{RIG}"', f'"{rig}"'), BY, NOON)
    return path


@pytest.fixture
def path(tmp_path) -> Path:
    return new(tmp_path / "a.throwbook", RIG, OTHER)


@pytest.fixture
def stalled(tmp_path) -> Path:
    write_trace(stroke(77, stalls_at_s=9.0, minutes=300), tmp_path / "stalled.csv")
    return tmp_path / "stalled.csv"


def level(path: Path, rig: str) -> str:
    with open_logbook(path, read_only=True) as book:
        return latch.status(book, rig).level


def put_right(path: Path, sheet: str, to: str, throws=(1,), **changed: str):
    told = {"because": "the wrong folder", "signed": BY} | changed
    return reassign(path, Correction(sheet, throws, to, told["because"], told["signed"]), LATER)


def test_another_rigs_stall_takes_that_rig_out_of_use_and_eases_this_one(path, stalled):
    name = bring(path, [stalled], "spot").sheet.name
    assert (level(path, RIG), level(path, OTHER)) == (DO_NOT_USE, IN_SERVICE)
    done = put_right(path, name, OTHER)
    assert (done.status.level, done.other_status.level) == (WATCH, DO_NOT_USE)
    assert [one.cause for one in done.status.open] == ["reassigned throw"]
    assert sheets.view(path, name).trials[0].left_out == f"of rig {OTHER}"
    assert logbook_care.check(str(path))[1].problems == ()


def test_it_eases_nothing_once_the_order_on_the_other_rig_is_gone(path, stalled):
    from tests.raw_file import raw

    name = bring(path, [stalled], "spot").sheet.name
    put_right(path, name, OTHER)
    with raw(path) as db:
        db.execute("DROP TRIGGER latch_order_no_delete")
        db.execute("DELETE FROM latch_order WHERE rig = ?", [OTHER])
    assert level(path, RIG) == DO_NOT_USE


def test_a_stall_is_not_lost_on_a_rig_by_whose_rating_it_is_none(path, stalled):
    strong = RIG_FILE.read_text("utf-8").replace(f'"{RIG}"', '"strong"').replace('"3.6 A"', '"20 A"')
    with open_logbook(path) as book:
        book.add_rig("strong", strong, BY, NOON)
    name = bring(path, [stalled], "spot").sheet.name
    assert put_right(path, name, "strong").other_status.level == DO_NOT_USE


def test_nobodys_throw_waives_the_repair_alone(path, tmp_path, stalled):
    name = bring(path, [stalled], "spot").sheet.name
    assert put_right(path, name, NOBODY).status.level == DO_NOT_USE
    sheet = bring(path, files(tmp_path, seed=7, each_way=5), now=LATER).sheet.name
    with pytest.raises(InputError, match="no accepted commissioning sheet"):
        clear(path, "", sheet, LATER)
    with pytest.raises(InputError, match="before the order that this sheet is to clear"):
        sign_off.accept(path, sheet, YES, BY, LATER)


def test_nobodys_throw_is_cleared_by_cause_commissioning_and_signature(path, tmp_path, stalled):
    name = bring(path, [stalled], "spot").sheet.name
    put_right(path, name, NOBODY)
    proof = []
    for number in range(10):
        trace = stroke(700 + number, direction=("lock", "unlock")[number % 2], minutes=400 + 10 * number)
        write_trace(trace, tmp_path / f"proof-{number}.csv")
        proof.append(tmp_path / f"proof-{number}.csv")
    sheet = bring(path, proof).sheet.name
    sign_off.accept(path, sheet, YES, BY, LATER)
    with open_logbook(path, read_only=True) as book:
        ids = tuple(one.ids[0] for one in latch.status(book, RIG).open)
    for lacking in ({"cause_found": ""}, {"sheet": ""}, {"signed": "0"}):
        told = {"signed": BY, "because": "nobody's file", "cause_found": "a file of a training bench"}
        brought = latch.Clearing(ids, **(told | {"sheet": sheet} | lacking))
        with pytest.raises(InputError, match="not cleared"):
            latch.clear(path, RIG, brought, BY, LATER)
    latch.clear(path, RIG, latch.Clearing(ids, **told, sheet=sheet), BY, LATER)
    assert level(path, RIG) == IN_SERVICE


def test_what_was_typed_or_accepted_stays_where_it_is(path, tmp_path):
    typed = throw(path, "lock 9s 6.5A stalled", NOON, "spot").state.name
    with pytest.raises(InputError, match="was not imported"):
        put_right(path, typed, OTHER)
    accepted = bring(path, [*files(tmp_path, seed=7)], "seasonal").sheet.name
    with open_logbook(path, read_only=True) as book:
        after = book.sheet(accepted).sheet.plan["throws_after"]
    assert after
    fresh = new(tmp_path / "b.throwbook", RIG, OTHER)
    name = bring(fresh, files(tmp_path, seed=7)).sheet.name
    sign_off.accept(fresh, name, YES, BY, LATER)
    with pytest.raises(InputError, match="accepted"):
        put_right(fresh, name, OTHER)


def test_a_recorded_throw_stays_where_it_is(path, stalled):
    name = bring(path, [stalled], "spot").sheet.name
    with open_logbook(path) as book:
        recorded = book.add_trial(
            book.sheet(name).sheet.id,
            stroke(78, stalls_at_s=9.0, minutes=310),
            book.trials(rig=RIG)[0].judgement.assessment,
            BY,
            LATER + timedelta(seconds=1),
            software_version="1",
            file="20260315T120001",
        )
    assert recorded.placement.position == 2
    with pytest.raises(InputError, match="throw 2 was not imported"):
        put_right(path, name, OTHER, (2,))


@pytest.mark.parametrize(
    ("changed", "what"), [({"because": "-"}, "no reason"), ({"signed": "0"}, "nobody has signed")]
)
def test_a_correction_takes_a_reason_and_a_name(path, stalled, changed, what):
    name = bring(path, [stalled], "spot").sheet.name
    with pytest.raises(InputError, match=what):
        put_right(path, name, OTHER, **changed)
    assert level(path, RIG) == DO_NOT_USE


def test_a_throw_put_right_can_be_imported_again_and_is_known_there(path, stalled):
    name = bring(path, [stalled], "spot").sheet.name
    put_right(path, name, OTHER)
    assert len(bring(path, [stalled], "spot", rig=OTHER).known) == 1
    with pytest.raises(InputError, match="already moved to another rig"):
        put_right(path, name, OTHER)


def test_the_correction_stands_in_the_log_of_the_report_of_both_rigs(path, stalled):
    name = bring(path, [stalled], "spot").sheet.name
    put_right(path, name, OTHER)
    for rig, words in ((RIG, f"throw 1 of {name} is of rig {OTHER}"), (OTHER, "by mistake")):
        with open_logbook(path, read_only=True) as book:
            made = material_in(book, rig, LATER.date())
        assert any(words in one.because for one in made.orders)
        assert words in str(status_log(made))


def test_a_merge_that_brings_one_record_onto_two_rigs_holds_both(tmp_path):
    one, two = new(tmp_path / "a.throwbook", RIG), new(tmp_path / "b.throwbook", OTHER)
    listed = files(tmp_path, each_way=1)
    bring(one, listed, "spot")
    bring(two, listed, "spot", rig=OTHER)
    for _ in range(2):  # the second time nothing is new
        logbook_care.take_in(str(one), two, now=LATER)
        assert (level(one, RIG), level(one, OTHER)) == (RESTRICTED, RESTRICTED)
    with open_logbook(one, read_only=True) as book:
        assert len(book.orders(RIG)) == 2
