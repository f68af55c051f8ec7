"""The demo is the main job: it must end as its story says, from the real logbook it leaves behind."""

from contextlib import suppress
from datetime import date

import pytest

from throwbook.core.status.latch import DO_NOT_USE, IN_SERVICE
from throwbook.errors import InputError
from throwbook.jobs import latch
from throwbook.jobs.demo import LOGBOOK, run_demo
from throwbook.jobs.logbook_care import check
from throwbook.logbook import open_logbook


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    chapters = []
    folder = tmp_path_factory.mktemp("demo") / "here"
    return run_demo(folder, chapters.append), chapters


class EnoughError(Exception):
    """The reader has seen what it wants."""


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    """The story up to the rig's return to use; its seasons and papers are left to the whole one."""
    chapters = []
    folder = tmp_path_factory.mktemp("demo") / "begun"

    def read(chapter):
        chapters.append(chapter)
        if "commissioned again" in chapter.title:
            raise EnoughError

    with suppress(EnoughError):
        run_demo(folder, read)
    return folder / LOGBOOK, chapters


def in_service_again(logbook):
    with open_logbook(logbook, read_only=True) as book:
        states = [state.state for state in book.sheets("yard-loader") if state.sheet.kind == "commissioning"]
        return (latch.status(book, "yard-loader").level, states) == (IN_SERVICE, ["rejected", "accepted"])


def test_one_pin_not_seen_takes_the_rig_out_of_use(begun):
    _, chapters = begun
    told = next(one for one in chapters if "one pin not seen" in one.title)
    assert any("rejected" in line and DO_NOT_USE in line for line in told.says)


def test_it_is_in_service_after_cause_repair_recommissioning_and_signature(begun):
    logbook, _ = begun
    assert in_service_again(logbook)
    _, checked = check(str(logbook))
    assert not checked.problems


@pytest.mark.long
def test_it_ends_in_service_with_a_logbook_that_is_whole(played):
    demo, _ = played
    assert in_service_again(demo.logbook)
    _, checked = check(str(demo.logbook))
    assert not checked.problems


@pytest.mark.long
def test_the_first_winter_raises_nothing_and_the_burr_is_named_before_it_stalls(played):
    demo, _ = played
    with open_logbook(demo.logbook, read_only=True) as book:
        seasonal = [
            (
                one.trial.started,
                {sign.sign for sign in one.judgement.assessment.signs if sign.level != "info"},
            )
            for one in book.trials(rig="yard-loader")
            if book.sheet(one.placement.sheet).sheet.kind == "seasonal"
        ]
    before = [signs for started, signs in seasonal if started.year < 2025]
    assert not any(before)
    summer_2025 = [signs for started, signs in seasonal if (started.year, started.month) == (2025, 7)]
    assert summer_2025
    assert all(signs == {"binding-spot", "switch-lag"} for signs in summer_2025)


@pytest.mark.long
def test_the_right_pin_begins_to_lag_in_the_second_winter_is_named_and_proved_after_the_grease(played):
    demo, chapters = played
    with open_logbook(demo.logbook, read_only=True) as book:
        sides = {
            (one.trial.started.date(), sign.side)
            for one in book.trials(rig="yard-loader")
            for sign in one.judgement.assessment.signs
            if sign.sign == "switch-lag"
        }
        greased = max(one.fixed.date() for one in book.services("yard-loader"))
        newest = book.sheets("yard-loader")[-1].sheet
        assert {one.pin for one in book.photographs(newest.id)} == {"left", "right"}
    assert {side for _, side in sides} == {"right"}
    assert min(day for day, _ in sides) == date(2025, 1, 12)
    assert max(day for day, _ in sides) < greased
    trend, helped = (
        next(one.says for one in chapters if one.title == title)
        for title in ("Trend over the seasons", "Did the service help?")
    )
    assert any("switch lag" in line and "RIGHT SWITCH later" in line for line in trend)
    assert [line.rpartition(": ")[2] for line in helped if line.startswith("switch lag")] == ["helped"] * 2
    report = (demo.folder / "papers" / "report-yard-loader.html").read_text(encoding="utf-8")
    assert report.count('alt="Photograph of the right pin') == 2


def test_a_folder_with_something_in_it_is_refused(tmp_path):
    (tmp_path / "mine.txt").write_text("keep")
    with pytest.raises(InputError, match="isn't empty"):
        run_demo(tmp_path, lambda chapter: None)


@pytest.mark.long
def test_it_leaves_the_papers_in_a_folder_and_says_where(played):
    demo, chapters = played
    assert sorted(path.name for path in (demo.folder / "papers").iterdir()) == sorted(
        path.name for path in demo.papers
    )
    assert {path.name.split("-")[0] for path in demo.papers} == {"report", "blank", "cab"}
    assert any(str(demo.folder / "papers") in line for chapter in chapters for line in chapter.says)


def test_two_photographs_stand_beside_what_was_seen_at_the_accepted_commissioning(begun):
    logbook, chapters = begun
    with open_logbook(logbook, read_only=True) as book:
        [state] = [one for one in book.sheets("yard-loader") if one.state == "accepted"]
        kept = book.photographs(state.sheet.id)
        assert {one.pin for one in kept} == {"left", "right"}
        assert all(one.taken and not one.reason and book.picture(one.picture) for one in kept)
        covered = {name for seal in book.seals("yard-loader") for name in seal.covers}
        assert {f"photograph:{one.id}" for one in kept} <= covered
    assert any("photograph" in line for one in chapters for line in one.says)
