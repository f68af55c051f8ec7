"""What an earlier version judged is judged again after an upgrade, and only ever tightens a status."""

import asyncio
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tests.cli.sheet_steps import GOOD, RIG, RIG_FILE
from tests.command import throwbook_said as throwbook
from tests.made_strokes import stroke
from throwbook.core.assessment import (
    EARLIER_METHODS,
    METHOD_VERSION,
    PASS,
    WATCH,
    Sign,
)
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.records import Decision, PinAnswers
from throwbook.core.sheets.hand_readings import parse_lines
from throwbook.core.status.latch import DO_NOT_USE, IN_SERVICE, RESTRICTED
from throwbook.core.status.status_text import reasons
from throwbook.core.trace import Trace
from throwbook.errors import InputError
from throwbook.jobs import latch, sign_off
from throwbook.jobs.enter import HandEntry, enter
from throwbook.jobs.find import opened, rig_of
from throwbook.jobs.judgements import judge_again
from throwbook.jobs.logbook_care import back_up, check, judge_stored_again
from throwbook.jobs.rig_list import list_rigs
from throwbook.jobs.unfinished import JUDGE_AGAIN
from throwbook.logbook import Logbook, open_logbook
from throwbook.logbook.trials import EARLIER, JUDGED_EARLIER

NOON = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
BY = "M. K."
OLD = EARLIER_METHODS[-1]
YES = PinAnswers("yes", "yes", "lamp, both sides", "yes", "yes")
TOLD = {"hours_since_movement": 16.0, "worked_before": "no"}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "log.throwbook"
    with open_logbook(file) as book:
        book.add_rig(RIG, RIG_FILE.read_text("utf-8"), BY, NOON)
    return file


def good_throw_then_stall() -> tuple[Trace, Trace]:
    """One record, and the first throw in it: 16 s, three seconds of rest, then 16 s that end in a stall."""
    good, bad = stroke(seed=1), stroke(seed=2, stalls_at_s=8.0)
    first_s = float(good.time_s[-1]) + 0.005
    both = replace(
        good,
        time_s=np.concatenate([good.time_s, bad.time_s + first_s]),
        current_a=np.concatenate([good.current_a, bad.current_a]),
        voltage_v=np.concatenate([good.voltage_v, bad.voltage_v]),
    )
    return both, good


def as_an_earlier_version_kept_it(book: Logbook, record: Trace, judged: Trace, kind: str = "spot"):
    """The whole record on a sheet, judged by a part of it alone, as the first method did."""
    sheet = book.plan_sheet(RIG, kind, {}, BY, NOON)
    assessment = replace(assess_trace(judged, rig_of(book, RIG)), method_version=OLD)
    return book.add_trial(sheet.id, record, assessment, BY, NOON, software_version="0.1.0")


def test_one_record_on_two_rigs_of_an_old_logbook_holds_both_after_the_upgrade(path: Path):
    record = stroke(seed=1)
    with opened(path) as book:
        other = RIG_FILE.read_text("utf-8").replace(RIG, "other-loader")
        book.add_rig("other-loader", other, BY, NOON)
        as_an_earlier_version_kept_it(book, record, record)
        sheet = book.plan_sheet("other-loader", "spot", {}, BY, NOON)
        judged = replace(assess_trace(record, rig_of(book, RIG)), method_version=OLD)
        on_other = replace(record, rig="other-loader")
        book.add_trial(sheet.id, on_other, judged, BY, NOON, software_version="0.1.0")
        judge_again(book, NOON)
        for rig in (RIG, "other-loader"):
            found = latch.status(book, rig)
            assert found.level == RESTRICTED
            assert any(one.cause == "shared record" for one in found.open)


def status(path: Path):
    with opened(path, read_only=True) as book:
        return latch.status(book, RIG)


def test_a_stall_hidden_behind_a_good_throw_takes_the_rig_out_of_use_after_the_upgrade(path: Path):
    with opened(path) as book:
        kept = as_an_earlier_version_kept_it(book, *good_throw_then_stall())
    assert kept.judgement.assessment.verdict in (PASS, WATCH)
    before = status(path)
    assert before.level == WATCH  # nothing was raised; that it isn't judged again yet is said
    assert reasons(before) == ["watch: 1 stored throw was judged by an earlier version, and not again yet"]
    assert [one.step for one in before.pending] == [JUDGE_AGAIN]
    assert list_rigs(path, NOON.date())[0].rig_status.status == before
    done = judge_stored_again(str(path), NOON + timedelta(days=30))
    assert (done.judged, done.left, [one.cause for one in done.raised]) == (1, [], ["stall"])
    after = status(path)
    assert (after.level, after.pending, [one.cause for one in after.open]) == (DO_NOT_USE, (), ["stall"])
    with opened(path, read_only=True) as book:
        _, _, judgements = book.revisions(kept.id)
    assert {one.assessment.method_version for one in judgements} == {OLD, METHOD_VERSION}
    again = next(one for one in judgements if one.replaces)
    assert (again.rig_revision, again.baseline) == (kept.judgement.rig_revision, None)
    assert judge_stored_again(str(path), NOON).judged == 0  # once is enough
    assert check(str(path))[1].problems == ()


def test_until_then_no_sheet_is_accepted_and_no_order_cleared(path: Path):
    with opened(path) as book:
        as_an_earlier_version_kept_it(book, stroke(seed=3), stroke(seed=3))
    name = enter(
        path, RIG, HandEntry(parse_lines(GOOD), "commissioning", answers=TOLD, seen_how="lamp"), BY, NOON
    ).state.name
    latch.raise_by_hand(path, RIG, "person: watch", "it squeaks", BY, NOON)
    clearing = latch.Clearing(status(path).open_ids, BY, "greased")
    with pytest.raises(
        InputError, match=r"not accepted: 1 stored throw was judged by an earlier.*Judge again"
    ):
        sign_off.accept(path, name, YES, BY, NOON)
    with pytest.raises(
        InputError, match=r"not cleared: 1 stored throw was judged by an earlier.*Judge again"
    ):
        latch.clear(path, RIG, clearing, BY, NOON)
    judge_stored_again(str(path), NOON)
    latch.clear(path, RIG, clearing, BY, NOON)
    sign_off.accept(path, name, YES, BY, NOON)


def test_a_judgement_that_became_milder_lowers_nothing(path: Path):
    good = stroke(seed=4)
    with opened(path) as book:
        sheet = book.plan_sheet(RIG, "spot", {}, BY, NOON)
        stalled = assess_trace(stroke(seed=4, stalls_at_s=8.0), rig_of(book, RIG))
        old = replace(stalled, method_version=OLD)
        kept = book.add_trial(sheet.id, good, old, BY, NOON, software_version="0.1.0")
        latch.raise_for(book, book.sheet(sheet.id), kept, BY, NOON)
    assert judge_stored_again(str(path), NOON).raised == []
    assert status(path).level == DO_NOT_USE
    with opened(path) as book:  # nor does it when the order is taken out of the file
        book.db.execute("DROP TRIGGER latch_order_no_delete")
        book.db.execute("DELETE FROM latch_order")
        assert latch.status(book, RIG).level == DO_NOT_USE


def test_what_was_cleared_and_shows_no_more_than_before_is_not_raised_anew(path: Path):
    record = stroke(seed=5)
    drag = Sign("drag", WATCH, "0.4 A above the baseline over the whole travel")
    with opened(path) as book:
        kept = as_an_earlier_version_kept_it(book, record, record)
        judged = replace(kept.judgement.assessment, signs=(drag,), verdict=WATCH)
        book.judge(kept.id, judged, BY, NOON, "0.1.0", reason="by a baseline")
        [kept] = book.trials(rig=RIG)
        latch.raise_for(book, book.sheet(kept.placement.sheet), kept, BY, NOON)
        assert [one.cause for one in book.orders(RIG)] == ["watch sign"]
        again = replace(judged, method_version=METHOD_VERSION)
        book.judge(kept.id, again, BY, NOON, "0.2.0", reason="as the pass does")
    clearing = latch.Clearing(status(path).open_ids, BY, "greased, three clean checks")
    latch.clear(path, RIG, clearing, BY, NOON)
    with opened(path) as book:
        [again] = book.trials(rig=RIG)
        past = [one.assessment for one in book.revisions(kept.id)[2]]
        state = book.sheet(kept.placement.sheet)
        assert latch.raise_shown_now(book, state, again, past, BY, NOON) == []


def test_the_worse_of_both_judgements_counts_when_a_sheet_is_to_be_accepted(path: Path):
    """Five throws each way by hand; an earlier method failed one of them on the same grounds."""
    name = enter(
        path, RIG, HandEntry(parse_lines(GOOD), "commissioning", answers=TOLD, seen_how="lamp"), BY, NOON
    ).state.name
    with opened(path) as book:
        first = book.trials(sheet=book.sheet(name).sheet.id)[0]
        now = first.judgement.assessment
        failed = replace(
            now,
            method_version=OLD,
            checks=tuple(replace(one, decision="fail") for one in now.checks),
            verdict="fail",
        )
        book.judge(first.id, failed, BY, NOON, "0.1.0", reason="as an earlier version did")
    assert judge_stored_again(str(path), NOON).judged == 1
    with opened(path, read_only=True) as book:
        [again] = [one for one in book.trials(sheet=book.sheet(name).sheet.id) if one.id == first.id]
        assert again.judgement.assessment.verdict == now.verdict
    with pytest.raises(InputError, match=r"throw 1 \(lock\)"):
        sign_off.accept(path, name, YES, BY, NOON)


def test_an_accepted_sheet_that_no_longer_passes_holds_the_rig_and_carries_nothing(path: Path):
    """One of its throws by hand stands at a reading that this method doesn't pass: the sealed judgement said it did."""
    lines = GOOD.replace(
        "lock 15.20s 2.10A 2.90A", "lock 15.20s 4.40A 4.60A", 1
    )  # over the full-load current
    name = enter(
        path, RIG, HandEntry(parse_lines(lines), "commissioning", answers=TOLD, seen_how="lamp"), BY, NOON
    ).state.name
    with opened(path) as book:
        state = book.sheet(name)
        locks = [one for one in book.trials(sheet=state.sheet.id) if one.direction == "lock"]
        over = max(locks, key=lambda one: one.judgement.assessment.figures.run_current_a.value)
        passed = min(locks, key=lambda one: one.judgement.assessment.figures.run_current_a.value)
        old = replace(passed.judgement.assessment, method_version=OLD)
        book.judge(over.id, old, BY, NOON, "0.1.0", reason="as an earlier version did")
        sign_off.write_down(book, state, [one.id for one in locks], YES, BY, NOON)
        rig = rig_of(book, RIG)
        acceptance = book.judged(state.sheet.id, rig, BY, NOON)
        decision = book.supersede(
            Decision(state.sheet.id, "accepted", BY, {"statement": "it passed then"}, NOON, BY)
        )
        book.seal_sheet(state.sheet.id, decision.id, NOON)
        assert acceptance.missing  # the present rules see the worse judgement at once
        orders = [one.id for one in book.orders(RIG)]
    assert orders
    done = judge_stored_again(str(path), NOON)
    assert "acceptance lapsed" in [one.cause for one in done.raised]
    held = status(path)
    assert held.level in (RESTRICTED, DO_NOT_USE)
    assert any(name in one.sentence and "acceptance lapsed" in one.sentence for one in held.open)
    with opened(path, read_only=True) as book:
        assert not book.holds(state.sheet.id, rig, set())
    assert judge_stored_again(str(path), NOON).raised == []


def test_a_throw_that_cannot_be_judged_again_is_told_of_and_stands_in_no_others_way(path: Path):
    with opened(path) as book:
        spoilt = as_an_earlier_version_kept_it(book, stroke(seed=6), stroke(seed=6))
        as_an_earlier_version_kept_it(book, *good_throw_then_stall())
        book.db.execute("DROP TRIGGER trace_no_update")
        book.db.execute("UPDATE trace SET data = x'00' WHERE digest = ?", [spoilt.trial.trace])
    done = judge_stored_again(str(path), NOON)
    assert (done.judged, len(done.left)) == (1, 1)
    assert spoilt.id[:8] in done.left[0]
    assert status(path).level == DO_NOT_USE
    assert len(status(path).pending) == 1


def test_a_new_throw_is_in_neither_index_and_the_question_reads_no_table_of_judgements(path: Path):
    with opened(path) as book:
        sheet = book.plan_sheet(RIG, "spot", {}, BY, NOON)
        judged = assess_trace(stroke(seed=7), rig_of(book, RIG))
        book.add_trial(sheet.id, stroke(seed=7), judged, BY, NOON, software_version="0.2.0")
        assert book.judged_earlier() == {}
        assert book.read(f"SELECT count(*) FROM ({EARLIER})")[0][0] == 0
        plan = [row[3] for row in book.read(f"EXPLAIN QUERY PLAN {JUDGED_EARLIER}")]
    told = [line for line in plan if "judgement" in line]
    assert len(told) == len(EARLIER_METHODS) + 1
    assert all("COVERING INDEX judgement_" in line for line in told), plan


def test_a_logbook_with_nothing_older_is_not_opened_for_writing(path: Path):
    before = path.stat().st_mtime_ns
    assert judge_stored_again(str(path), NOON).judged == 0
    assert path.stat().st_mtime_ns == before
    assert status(path).level == IN_SERVICE


def test_the_first_screen_judges_again_by_itself(path: Path):
    from tests.tui.bench import settle
    from throwbook_tui.app import ThrowbookApp
    from throwbook_tui.context import Desk

    with opened(path) as book:
        as_an_earlier_version_kept_it(book, *good_throw_then_stall())
    app = ThrowbookApp(Desk(logbook=str(path), by=BY, now=lambda: NOON))

    async def seen() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)

    asyncio.run(seen())
    assert status(path).level == DO_NOT_USE
    assert status(path).pending == ()


def test_nothing_is_restored_while_stored_throws_are_judged_again(path: Path, tmp_path: Path):
    from tests.tui.bench import said, settle
    from throwbook_tui.app import ThrowbookApp
    from throwbook_tui.context import Desk

    backup = tmp_path / "backup.throwbook"
    back_up(str(path), backup, NOON)
    with opened(path) as book, book.transaction():
        as_an_earlier_version_kept_it(book, *good_throw_then_stall())
    app = ThrowbookApp(Desk(logbook=str(path), by=BY, papers=tmp_path))

    async def tried() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            with opened(path) as book, book.transaction():  # judging waits for the end of this
                while not app.desk.judging_again:
                    await asyncio.sleep(0.005)
                app.screen.open_screen("restore")
                await pilot.pause()
                app.screen.form.field("backup").set(str(backup))
                await pilot.pause()
                app.simulate_key("ctrl+s")
                await pilot.pause()
                assert "are being judged again" in said(app)
            await settle(pilot)
            assert not app.desk.judging_again
            app.simulate_key("ctrl+s")
            await settle(pilot)
            assert "Restore the logbook from backup.throwbook?" in said(app)

    asyncio.run(tried())


def test_check_judges_again_and_says_what_it_raised(path: Path):
    with opened(path) as book:
        as_an_earlier_version_kept_it(book, *good_throw_then_stall())
    told = throwbook(path, "status", RIG)
    assert "judged by an earlier version, and not again yet" in told.stdout
    assert "throwbook check" in told.stdout
    done = throwbook(path, "check")
    assert done.returncode == 0, done.stderr
    assert "1 stored throw judged again by this version: 1 order raised." in done.stdout
    assert f"{RIG}: stall" in done.stdout
    assert "DO NOT USE" in throwbook(path, "status", RIG).stdout
    assert json.loads(throwbook(path, "check", "--json").stdout)["judged_again"] == 0
