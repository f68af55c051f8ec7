"""Throws that can't carry what they are asked for: undated ones, light runs, records of another rig, old ones for a check that is due."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.cli.sheet_steps import GOOD, RIG, RIG_FILE
from tests.jobs.test_latch_in_logbooks import TOLD, YES, clear, level, repair, stall, throw
from tests.made_strokes import NOON, stroke
from throwbook.core.sheets.hand_readings import parse_lines
from throwbook.core.status.latch import DO_NOT_USE, IN_SERVICE
from throwbook.core.status.maintenance import SEASON, Moment, ServiceEntry
from throwbook.errors import InputError
from throwbook.files.trace_file import write_trace
from throwbook.jobs import (
    latch,
    maintenance,
    sheets,
    sign_off,
)
from throwbook.jobs import (
    sheets as sheet_view,
)
from throwbook.jobs.enter import HandEntry, enter
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.logbook import open_logbook

BY = "M. K."
LATER = NOON + timedelta(days=1)
LIGHT = 0.5
"""Of a usual load: some 0.8 A where the motor alone draws 0.9 A."""


@pytest.fixture
def path(tmp_path) -> Path:
    with open_logbook(tmp_path / "a.throwbook") as book:
        book.add_rig(RIG, RIG_FILE.read_text("utf-8"), BY, NOON)
    return tmp_path / "a.throwbook"


def files(
    folder: Path, *, seed: int = 0, each_way: int = 5, dated: bool = True, **drawn: float
) -> list[Path]:
    made = []
    for number in range(2 * each_way):
        direction = ("lock", "unlock")[number % 2]
        trace = stroke(100 * seed + number, direction=direction, minutes=10 * number, **drawn)
        file = folder / f"throw-{seed}-{number}.csv"
        write_trace(trace if dated else replace(trace, started=None), file)
        made.append(file)
    return made


def bring(path: Path, listed: list[Path], kind: str = "commissioning", now=LATER, rig: str = RIG, **more):
    told = ImportPlan(rig, kind, listed, TOLD, **more)
    return import_traces(path, told, BY, now, settle=lambda doubt: None)


def accept(path: Path, name: str, now=LATER):
    return sign_off.accept(path, name, YES, BY, now)


# ---- undated throws ----


def test_undated_records_do_not_lead_out_of_do_not_use_and_dated_ones_do(path, tmp_path):
    stall(path, NOON - timedelta(hours=1))
    service = repair(path, NOON)
    listed = files(tmp_path, dated=False)
    name = bring(path, listed).sheet.name
    assert "no date and time was recorded" in sheet_view.view(path, name).acceptance.missing[0]
    with pytest.raises(InputError, match=r"no date and time was recorded"):
        accept(path, name)
    with pytest.raises(InputError, match="no accepted commissioning sheet"):
        clear(path, service, name, LATER)
    started = [NOON + timedelta(minutes=10 * number) for number in range(10)]
    dated = bring(path, files(tmp_path, seed=7, dated=False), started=started).sheet.name
    accept(path, dated)
    clear(path, service, dated, LATER)
    assert level(path) == IN_SERVICE


def test_undated_throws_by_hand_do_not_lead_out_of_do_not_use(path):
    stall(path, NOON - timedelta(hours=1))
    repair(path, NOON)
    undated = HandEntry(parse_lines(GOOD), "commissioning", answers=TOLD, seen_how="torch")
    name = enter(path, RIG, undated, BY, LATER).state.name
    with pytest.raises(InputError, match=r"no date and time was recorded"):
        accept(path, name)


def test_undated_throws_commission_a_rig_that_is_not_out_of_use(path, tmp_path):
    latch.raise_by_hand(path, RIG, "person: watch", "a noise", BY, NOON)
    name = bring(path, files(tmp_path, dated=False)).sheet.name
    accept(path, name)
    assert sheet_view.view(path, name).state.state == "accepted"


def test_a_start_is_given_to_each_file_that_has_none_and_to_no_other(path, tmp_path):
    undated = files(tmp_path, each_way=1, dated=False)
    with pytest.raises(InputError, match="1 start for 2 files"):
        bring(path, undated, started=[NOON])
    with pytest.raises(InputError, match="says itself when it was thrown"):
        bring(path, files(tmp_path, seed=1, each_way=1), started=[NOON, NOON])


# ---- light runs ----


def test_a_commissioning_of_light_runs_is_not_accepted(path, tmp_path):
    name = bring(path, files(tmp_path, scale=LIGHT)).sheet.name
    with pytest.raises(InputError, match="light run"):
        accept(path, name)


def test_a_bench_sheet_on_which_the_actuator_ran_lower_shows_that_it_is_no_light_run(path, tmp_path):
    bring(path, files(tmp_path, scale=0.42, each_way=2), "bench")
    name = bring(path, files(tmp_path, seed=7, scale=LIGHT)).sheet.name
    accept(path, name)
    assert sheet_view.view(path, name).state.state == "accepted"


def test_the_light_runs_themselves_called_a_bench_sheet_show_nothing(path, tmp_path):
    light = files(tmp_path, scale=LIGHT)
    bring(path, light[:4], "bench")
    name = bring(path, [*light, *files(tmp_path, seed=1, scale=LIGHT, each_way=1)]).sheet.name
    with pytest.raises(InputError, match="light run"):
        accept(path, name)


def test_a_light_run_by_hand_is_not_accepted(path):
    text = GOOD.replace("15.20s 2.10A 2.90A", "12.80s 0.92A 1.10A").replace(
        "14.60s 1.80A 2.40A", "12.70s 0.90A 1.05A"
    )
    name = throw(path, text, NOON).state.name
    with pytest.raises(InputError, match="light run"):
        accept(path, name)


def test_a_light_run_imported_as_bench_is_judged_as_a_throw_of_the_machine_when_it_is_asked_for_as_one(
    path, tmp_path
):
    accept(path, bring(path, files(tmp_path)).sheet.name)
    (light, *_) = files(tmp_path, seed=2, each_way=1, scale=LIGHT)
    assert bring(path, [light], "bench").status.level == IN_SERVICE
    done = bring(path, [light], "spot")
    assert (len(done.logged), done.known) == (1, ())
    assert level(path) == DO_NOT_USE
    again = bring(path, [light], "seasonal")
    assert (again.logged, len(again.known)) == ((), 1)


def test_a_bench_throw_with_another_date_in_its_head_is_judged_as_the_throw_it_is(path, tmp_path):
    accept(path, bring(path, files(tmp_path)).sheet.name)
    (light, *_) = files(tmp_path, seed=2, each_way=1, scale=LIGHT)
    bring(path, [light], "bench")
    later = tmp_path / "later.csv"
    write_trace(stroke(200, scale=LIGHT, minutes=700), later)
    bring(path, [later], "spot")
    assert level(path) == DO_NOT_USE
    with open_logbook(path, read_only=True) as book:
        assert book.read("SELECT count(*) FROM trial WHERE trace IN (SELECT trace FROM trial GROUP BY trace HAVING count(*) > 1)")[0][0] == 0  # fmt: skip


# ---- one record, two rigs ----


def test_the_same_samples_are_not_taken_for_a_second_rig_whatever_their_head_says(path, tmp_path):
    with open_logbook(path) as book:
        other = RIG_FILE.read_text("utf-8").replace(f'"{RIG}"', '"yard-loader"')
        book.add_rig("yard-loader", other, BY, NOON)
    listed = files(tmp_path, each_way=1)
    bring(path, listed)
    headless = tmp_path / "headless.csv"
    rows = [line for line in listed[0].read_text("utf-8").splitlines() if not line.startswith("#")]
    headless.write_text("\n".join(rows) + "\n", "utf-8")
    from throwbook.jobs.assess import TraceReading

    for file, reading in ((listed[0], TraceReading()), (headless, TraceReading(direction="lock"))):
        with pytest.raises(InputError, match=rf"already on rig '{RIG}' \({RIG}-1\).*reassign"):
            import_traces(
                path,
                ImportPlan("yard-loader", "spot", [file]),
                BY,
                LATER,
                reading=reading,
                settle=lambda _: None,
            )


# ---- the check that is due ----


@pytest.fixture
def overdue(path):
    accept_day = ServiceEntry(
        "", RIG, "greased", date(2026, 1, 10), due_on=date(2026, 3, 1), fixed=Moment("greased"), by=BY
    )
    maintenance.add(path, accept_day, NOON)
    assert due(path).overdue
    return path


def due(path: Path):
    with open_logbook(path, read_only=True) as book:
        return latch.rig_status(book, RIG, LATER.date()).next_check


def test_a_plan_an_open_sheet_old_files_or_a_rejected_sheet_do_not_answer_a_check_that_is_due(
    overdue, tmp_path
):
    before = due(overdue).on
    sheets.plan(overdue, RIG, "seasonal", BY, NOON)
    name = throw(overdue, GOOD, NOON, "seasonal").state.name
    assert due(overdue).on == before
    sign_off.reject(overdue, name, "the other attachment", BY, NOON)
    assert due(overdue).on == before
    old = bring(overdue, _old(tmp_path), "seasonal").sheet.name
    accept(overdue, old)
    assert due(overdue).on == before
    throw(overdue, "lock 9s 6.5A stalled", NOON, "seasonal")
    assert due(overdue).on == before


def _old(folder: Path) -> list[Path]:
    made = []
    for number, direction in enumerate(("lock", "unlock") * 3):
        file = folder / f"old-{number}.csv"
        trace = stroke(900 + number, direction=direction, minutes=10 * number - 60 * 24 * 730)
        write_trace(trace, file)
        made.append(file)
    return made


def test_an_accepted_check_answers_from_the_day_of_its_throws(overdue, tmp_path):
    name = bring(overdue, files(tmp_path, each_way=3), "seasonal").sheet.name
    assert due(overdue).overdue
    accept(overdue, name)
    assert due(overdue).on == NOON.date() + (date(2026, 3, 1) - date(2026, 1, 10))


def test_an_accepted_check_without_a_date_does_not_answer(overdue, tmp_path):
    name = bring(overdue, files(tmp_path, each_way=3, dated=False), "seasonal").sheet.name
    accept(overdue, name)
    assert due(overdue).overdue


def test_an_order_changed_in_the_file_counts_as_one_that_took_the_rig_out_of_use(path, tmp_path):
    from tests.raw_file import raw

    latch.raise_by_hand(path, RIG, "person: watch", "a noise", BY, NOON)
    with raw(path) as db:
        db.execute("DROP TRIGGER latch_order_no_update")
        db.execute("UPDATE latch_order SET because = 'nothing'")
    assert level(path) == DO_NOT_USE
    name = bring(path, files(tmp_path, dated=False)).sheet.name
    with pytest.raises(InputError, match="no date and time was recorded"):
        accept(path, name)


def test_a_sign_off_sets_the_next_check_where_nobody_wrote_when_it_was_thrown(path, tmp_path):
    """Typed in without a date: the papers give the day it was written down, and the check is due a season after it."""
    undated = HandEntry(parse_lines(GOOD), "commissioning", answers=TOLD, seen_how="torch")
    name = enter(path, RIG, undated, BY, NOON).state.name
    assert due(path).on is None
    accept(path, name)
    assert due(path).on == NOON.date() + SEASON


def test_records_without_a_date_set_a_check_where_none_is_set(path, tmp_path):
    name = bring(path, files(tmp_path, dated=False), now=NOON).sheet.name
    accept(path, name)
    assert due(path).on == NOON.date() + SEASON
