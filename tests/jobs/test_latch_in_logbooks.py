"""The latch in real logbook files: entered, merged, backed up, restored, under wrong clocks.

The pure rules have their ten thousand histories in ``tests/core/status/test_status_histories``; here fewer go through the files.
"""

import contextlib
import random
import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.sheet_steps import GOOD, ONE_PIN, RIG, RIG_FILE
from tests.raw_file import raw
from throwbook.core.records import ACCEPTED, Decision, PinAnswers
from throwbook.core.sheets.hand_readings import parse_lines
from throwbook.core.status.latch import CAUSES, DO_NOT_USE, IN_SERVICE
from throwbook.core.status.maintenance import Moment, ServiceEntry
from throwbook.errors import InputError
from throwbook.jobs import (
    latch,
    logbook_care,
    maintenance,
    sign_off,
)
from throwbook.jobs import (
    sheets as sheet_view,
)
from throwbook.jobs.enter import HandEntry, enter
from throwbook.logbook import open_logbook

pytestmark = pytest.mark.long

NOON = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
TOLD = {"hours_since_movement": 16.0, "worked_before": "no"}
YES = PinAnswers("yes", "yes", "torch", "yes", "yes")
HISTORIES, AT_ONCE = 8, 4
STEPS = 12


def new_logbook(path: Path) -> Path:
    with open_logbook(path) as book:
        book.add_rig(RIG, RIG_FILE.read_text("utf-8"), "M. K.", NOON)
    return path


def throw(path: Path, text: str, now: datetime, kind: str = "commissioning"):
    return enter(
        path,
        RIG,
        HandEntry(parse_lines(text), kind, answers=TOLD, seen_how="torch", thrown_at=now, again=True),
        "M. K.",
        now,
    )


def stall(path: Path, now: datetime):
    return throw(path, "lock 9s 6.5A stalled", now, "spot")


def repair(path: Path, now: datetime) -> str:
    entry = ServiceEntry(
        "", RIG, "repaired", now.date(), found=Moment("bent pin"), fixed=Moment("new pin"), by="M. K."
    )
    return maintenance.add(path, entry, now).entry.id


def commission(path: Path, now: datetime) -> str:
    name = throw(path, GOOD, now).state.name
    sign_off.accept(path, name, YES, "M. K.", now)
    return name


def clear(path: Path, service: str, sheet: str, now: datetime):
    with open_logbook(path, read_only=True) as book:
        open_ids = tuple(one.ids[0] for one in latch.status(book, RIG).open)
    brought = latch.Clearing(open_ids, "M. K.", "repaired and proved", "bent pin", service, sheet)
    return latch.clear(path, RIG, brought, "M. K.", now)


def level(path: Path) -> str:
    with open_logbook(path, read_only=True) as book:
        return latch.status(book, RIG).level


def test_a_restored_copy_is_put_right_by_the_merge(tmp_path):
    path = new_logbook(tmp_path / "a.throwbook")
    commission(path, NOON)
    logbook_care.back_up(str(path), tmp_path / "old.throwbook", NOON)
    stall(path, NOON)
    for here, other in ((tmp_path / "old.throwbook", path), (path, tmp_path / "old.throwbook")):
        logbook_care.take_in(str(here), other)
        assert level(here) == DO_NOT_USE


def test_a_way_back_walked_in_one_logbook_counts_in_the_other_after_a_merge_only(tmp_path):
    one = new_logbook(tmp_path / "a.throwbook")
    stall(one, NOON)
    two = tmp_path / "b.throwbook"
    logbook_care.back_up(str(one), two, NOON)
    clear(one, repair(one, NOON), commission(one, NOON), NOON)
    assert (level(one), level(two)) == (IN_SERVICE, DO_NOT_USE)
    logbook_care.take_in(str(two), one)
    assert level(two) == IN_SERVICE


def test_a_stall_in_the_other_logbook_meanwhile_stays_after_the_merge(tmp_path):
    one = new_logbook(tmp_path / "a.throwbook")
    stall(one, NOON)
    two = tmp_path / "b.throwbook"
    logbook_care.back_up(str(one), two, NOON)
    stall(two, NOON - timedelta(days=3000))
    clear(one, repair(one, NOON), commission(one, NOON), NOON)
    logbook_care.take_in(str(one), two)
    assert level(one) == DO_NOT_USE


def test_a_clock_years_ahead_or_behind_changes_nothing(tmp_path):
    path = new_logbook(tmp_path / "a.throwbook")
    sheet = commission(path, NOON + timedelta(days=4000))
    service = repair(path, NOON + timedelta(days=4000))
    stall(path, NOON - timedelta(days=4000))
    with pytest.raises(InputError, match="planned after the order and after the repair"):
        clear(path, service, sheet, NOON + timedelta(days=8000))
    assert level(path) == DO_NOT_USE


def test_no_path_of_the_logbook_accepts_a_sheet_without_its_sightings(tmp_path):
    path = new_logbook(tmp_path / "a.throwbook")
    name = throw(path, ONE_PIN, NOON).state.name
    with pytest.raises(InputError, match="right pin was looked at and NOT seen"):
        sign_off.accept(path, name, YES, "M. K.", NOON)
    with open_logbook(path) as book:
        state = book.sheet(name)
        with pytest.raises(ValueError, match=r"Logbook\.accept"):
            book.decide(state.sheet.id, ACCEPTED, "M. K.", {}, "M. K.", NOON)
        forged = book.add(Decision(state.sheet.id, ACCEPTED, "M. K.", {}, NOON, "M. K."))
        assert book.sheet(name).state == "open"
        book.seal_sheet(state.sheet.id, forged.id, NOON)
    _, found = logbook_care.check(str(path))
    assert [problem.where for problem in found.problems] == [f"sheet {name}"]
    service = repair(path, NOON)
    with pytest.raises(InputError, match="no accepted commissioning sheet"):
        clear(path, service, name, NOON)


def test_a_sighting_changed_in_the_file_takes_its_sheet_out_of_the_proof(tmp_path):
    path = new_logbook(tmp_path / "a.throwbook")
    stall(path, NOON)
    clear(path, repair(path, NOON), commission(path, NOON), NOON)
    assert level(path) == IN_SERVICE
    with raw(path) as db:
        db.execute("DROP TRIGGER sighting_no_update")
        db.execute("UPDATE sighting SET how = 'from the cab' WHERE rowid = (SELECT min(rowid) FROM sighting)")
    assert level(path) == DO_NOT_USE


def test_an_order_changed_or_taken_out_of_the_file_leaves_the_rig_out_of_use(tmp_path):
    path = new_logbook(tmp_path / "a.throwbook")
    stall(path, NOON)
    latch.raise_by_hand(path, RIG, "person: watch", "sounds rough", "M. K.", NOON)
    changes = (
        "UPDATE latch_order SET cause = 'watch sign', level = 'watch' WHERE cause = 'stall'",
        "DELETE FROM latch_order WHERE cause = 'stall'",
    )
    for number, change in enumerate(changes):
        copy = tmp_path / f"{number}.throwbook"
        shutil.copy(path, copy)
        with raw(copy) as db:
            db.execute("DROP TRIGGER latch_order_no_update")
            db.execute("DROP TRIGGER latch_order_no_delete")
            db.execute(change)
        assert level(copy) == DO_NOT_USE


class History:
    """Logbooks under random hands; ``born`` is the true step at which each row was first seen."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.rng = random.Random(seed)
        self.books = [new_logbook(folder / f"{name}.throwbook") for name in "ab"]
        self.folder, self.step = folder, 0
        self.born: dict[str, int] = {}
        self.services: list[str] = []
        self.sheets: list[str] = []

    def now(self) -> datetime:
        return NOON + timedelta(days=self.rng.randint(-3000, 3000))

    def play(self) -> None:
        moves = [
            self.stall,
            self.stall,
            self.repair,
            self.commission,
            self.clear,
            self.clear,
            self.steps_to_clear,
        ]
        moves += [self.steps_to_clear, self.merge, self.restore]
        for _ in range(STEPS):
            self.step += 1
            path = self.rng.choice(self.books)
            self.rng.choice(moves)(path)
            for each in self.books:
                self.note(each)
                assert self.leaks(each) == []

    def stall(self, path: Path) -> None:
        stall(path, self.now())

    def repair(self, path: Path) -> None:
        self.services.append(repair(path, self.now()))

    def commission(self, path: Path) -> None:
        with contextlib.suppress(InputError):  # by a wrong clock its throws came before what it answers
            self.sheets.append(commission(path, self.now()))

    def clear(self, path: Path) -> None:
        if self.services and self.sheets:
            try:
                clear(path, self.rng.choice(self.services), self.rng.choice(self.sheets), self.now())
            except InputError:
                return

    def steps_to_clear(self, path: Path) -> None:
        service = repair(path, self.now())
        self.note(path)
        self.step += 1
        try:
            sheet = commission(path, self.now())
        except InputError:
            return
        self.note(path)
        self.step += 1
        with open_logbook(path, read_only=True) as book:
            anything = latch.status(book, RIG).open
        if anything:  # by a wrong clock the work came before what it mends
            with contextlib.suppress(InputError):
                clear(path, service, sheet, self.now())

    def merge(self, path: Path) -> None:
        other = next(one for one in self.books if one != path)
        logbook_care.take_in(str(path), other)

    def restore(self, path: Path) -> None:
        kept = path.with_suffix(".kept")
        if kept.exists():
            path.unlink()
            shutil.copy(kept, path)
        else:
            logbook_care.back_up(str(path), kept, NOON)

    def note(self, path: Path) -> None:
        with open_logbook(path, read_only=True) as book:
            rows = [*book.orders(RIG), *book.services(RIG), *(one.sheet for one in book.sheets(RIG))]
        for row in rows:
            self.born.setdefault(row.id, self.step)

    def leaks(self, path: Path) -> list[str]:
        with open_logbook(path, read_only=True) as book:
            if latch.status(book, RIG).level == DO_NOT_USE:
                return []
            orders = book.orders(RIG)
            accepted = {one.sheet.id for one in book.sheets(RIG) if one.state == ACCEPTED}
        found = []
        for order in orders:
            if order.clears or CAUSES[order.cause][0] != DO_NOT_USE:
                continue
            walked = any(
                order.id in one.clears
                and one.signed
                and one.sheet in accepted
                and self.born[order.id] <= self.born[one.service] < self.born[one.sheet] <= self.born[one.id]
                for one in orders
            )
            if not walked:
                found.append(order.id)
        return found


# A leak through the rules is found by the 1,000 histories of test_status_histories; here it is one through the jobs.
@pytest.mark.parametrize(
    "seed",
    [pytest.param(seed, marks=pytest.mark.long if seed >= AT_ONCE else ()) for seed in range(HISTORIES)],
)
def test_no_history_of_real_logbooks_leaks_out_of_do_not_use(seed, tmp_path):
    history = History(seed, tmp_path)
    history.play()
    for path in history.books:
        assert logbook_care.check(str(path))[1].problems == ()


def test_the_view_of_a_sheet_says_what_an_acceptance_lacks(tmp_path):
    path = new_logbook(tmp_path / "a.throwbook")
    name = throw(path, ONE_PIN, NOON).state.name
    found = sheet_view.view(path, name)
    assert found.acceptance.missing[0] == "throw 3 (lock): right pin was looked at and NOT seen in its hole"
    assert replace(found.plan, answers=()) == found.plan


def test_old_throws_cannot_stand_in_for_new_ones_after_a_repair(tmp_path):
    path = new_logbook(tmp_path / "a.throwbook")
    stall(path, NOON)
    service = repair(path, NOON)
    old = HandEntry(
        parse_lines(GOOD), "commissioning", answers=TOLD, seen_how="torch", thrown_at=NOON - timedelta(days=9)
    )
    name = enter(path, RIG, old, "M. K.", NOON).state.name
    sign_off.accept(path, name, YES, "M. K.", NOON)  # a sheet of its own days, and no answer to the stall
    with pytest.raises(InputError, match="no accepted commissioning sheet"):
        clear(path, service, name, NOON)
    with open_logbook(path, read_only=True) as book:
        assert latch.status(book, RIG).level == latch.DO_NOT_USE


def test_the_same_watch_sign_on_one_sheet_is_one_order_until_it_is_cleared(tmp_path):
    path = new_logbook(tmp_path / "a.throwbook")
    low = "lock 16.0s 2.10A 2.90A 11.00V at rest 10.95V under load"
    state = throw(path, f"{low}\n{low.replace('16.0', '16.1')}", NOON, "seasonal").state

    def orders():
        with open_logbook(path, read_only=True) as book:
            return [one for one in book.orders(RIG) if one.details.get("sign") == "low-supply"]

    assert len(orders()) == 1
    with open_logbook(path, read_only=True) as book:
        open_ids = tuple(one.ids[0] for one in latch.status(book, RIG).open)
    latch.clear(path, RIG, latch.Clearing(open_ids, "M. K.", "battery charged"), "M. K.", NOON)
    more = HandEntry(parse_lines(low.replace("16.0", "16.2")), "", sheet=state.name)
    enter(path, RIG, more, "M. K.", NOON)
    assert len(orders()) == 2


def test_each_stall_on_a_sheet_is_an_order_of_its_own(tmp_path):
    path = new_logbook(tmp_path / "a.throwbook")
    throw(path, "lock 9s 6.5A stalled\nlock 9s 6.6A stalled", NOON, "seasonal")
    with open_logbook(path, read_only=True) as book:
        assert [one.cause for one in book.orders(RIG)].count("stall") == 2
