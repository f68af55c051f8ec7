"""The demo is the main job: it must end as its story says, from the real logbook it leaves behind."""

import pytest

from throwbook.core.status.latch import DO_NOT_USE, IN_SERVICE
from throwbook.errors import InputError
from throwbook.jobs import latch
from throwbook.jobs.demo import run_demo
from throwbook.jobs.logbook_care import check
from throwbook.logbook import open_logbook


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    chapters = []
    folder = tmp_path_factory.mktemp("demo") / "here"
    return run_demo(folder, chapters.append), chapters


def test_one_pin_not_seen_takes_the_rig_out_of_use(played):
    _, chapters = played
    told = next(one for one in chapters if "one pin not seen" in one.title)
    assert any("rejected" in line and DO_NOT_USE in line for line in told.says)


def test_it_ends_in_service_after_cause_repair_recommissioning_and_signature(played):
    demo, _ = played
    with open_logbook(demo.logbook, read_only=True) as book:
        assert latch.status(book, "yard-loader").level == IN_SERVICE
        states = [state.state for state in book.sheets("yard-loader") if state.sheet.kind == "commissioning"]
    assert states == ["rejected", "accepted"]


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
    assert all(signs == {"binding-spot"} for signs in summer_2025)


def test_the_logbook_it_leaves_is_whole(played):
    demo, _ = played
    _, checked = check(str(demo.logbook))
    assert not checked.problems


def test_a_folder_with_something_in_it_is_refused(tmp_path):
    (tmp_path / "mine.txt").write_text("keep")
    with pytest.raises(InputError, match="isn't empty"):
        run_demo(tmp_path, lambda chapter: None)


def test_it_leaves_the_papers_in_a_folder_and_says_where(played):
    demo, chapters = played
    assert sorted(path.name for path in (demo.folder / "papers").iterdir()) == sorted(
        path.name for path in demo.papers
    )
    assert {path.name.split("-")[0] for path in demo.papers} == {"report", "blank", "cab"}
    assert any(str(demo.folder / "papers") in line for chapter in chapters for line in chapter.says)
