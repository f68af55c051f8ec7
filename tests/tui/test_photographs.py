"""Pictures of a folder put to the left and the right pin of a throw, from the keyboard."""

import os
from contextlib import nullcontext
from datetime import timedelta
from pathlib import Path

import pytest

from tests.made_pictures import photo
from tests.raw_file import raw
from tests.tui.bench import NOW, RIG, Clock, app_on, keys, said, settle, write
from tests.tui.logbooks import ASKED, thrown
from tests.tui.test_stumbles import walked
from throwbook.jobs.find import opened
from throwbook.jobs.photographs import newest
from throwbook.jobs.sheets import plan, view
from throwbook_tui.present import BAD, STRONG
from throwbook_tui.screens.photographs import PhotographsScreen

WALL = NOW.replace(tzinfo=None)
"""What a camera writes: no offset."""


@pytest.fixture
def sheet(tmp_path):
    """An open sheet with a lock throw that was looked at, an unlock throw after it, and the app on it."""
    app = app_on(tmp_path)
    path = Path(app.desk.logbook)
    name = plan(path, RIG, "spot", "M. K.", NOW, 2, ASKED)[0].name
    thrown(path, name, ["lock", "unlock"], Clock(), None, 1)
    return app, name


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "stick"
    made.mkdir()
    for number in range(15):
        path = photo(made / f"IMG_{number:02}.jpg", WALL + timedelta(minutes=number))
        os.utime(path, (1_700_000_000 + number, 1_700_000_000 + number))
    old = photo(made / "old.jpg", WALL - timedelta(hours=5))
    os.utime(old, (1_700_000_100, 1_700_000_100))
    (made / "list.txt").write_text("no picture", "utf-8")
    return made


async def to_the_photographs(pilot, app):
    await keys(pilot, "enter", "enter", "p")
    assert isinstance(app.screen, PhotographsScreen)


async def choose(pilot, folder):
    await keys(pilot, "f")
    await write(pilot, str(folder))
    await keys(pilot, "ctrl+s")


def test_the_newest_pictures_are_listed_and_one_key_puts_one_to_a_pin(sheet, folder):
    app, name = sheet

    async def journey(pilot):
        await to_the_photographs(pilot, app)
        assert "No folder is chosen yet." in said(app)
        await choose(pilot, folder)
        shown = said(app)
        assert "12 newest of 16 pictures" in shown
        assert shown.index("old.jpg") < shown.index("IMG_14.jpg") < shown.index("IMG_04.jpg")
        assert "IMG_03.jpg" not in shown
        assert "list.txt" not in shown
        await keys(pilot, "down", "l")
        assert "IMG_14.jpg is kept for the LEFT pin, without place data." in said(app)
        await keys(pilot, "down", "r")
        assert "RIGHT pin: in its hole; photograph: IMG_13.jpg" in said(app)
        await keys(pilot, "escape", "p")
        assert "LEFT pin: in its hole; photograph: IMG_14.jpg" in said(app)
        assert "12 newest of 16 pictures" in said(app)  # the folder is remembered

    walked(app, journey)
    kept = view(app.desk.logbook, name).photographs.values()
    assert [{pin: one.file for pin, one in found.items()} for found in kept if found] == [
        {"left": "IMG_14.jpg", "right": "IMG_13.jpg"}
    ]


def test_while_one_pins_picture_is_stored_the_other_pins_is_taken_and_a_key_twice_stores_once(sheet, folder):
    app, name = sheet

    async def journey(pilot):
        await to_the_photographs(pilot, app)
        await choose(pilot, folder)
        await keys(pilot, "down")
        with raw(Path(app.desk.logbook)) as other:
            other.execute("BEGIN IMMEDIATE")  # another program writes: each job waits
            for pressed in ("l", "l", "r"):
                app.simulate_key(pressed)
                await pilot.pause()
        await settle(pilot)
        assert "LEFT pin: in its hole; photograph: IMG_14.jpg" in said(app)
        assert "RIGHT pin: in its hole; photograph: IMG_14.jpg" in said(app)

    walked(app, journey)
    with opened(app.desk.logbook) as book:
        assert sorted(one.pin for one in book.photographs(book.sheet(name).sheet.id)) == ["left", "right"]


def test_a_picture_that_goes_while_its_folder_is_read_is_passed_over(folder, monkeypatch):
    with os.scandir(folder) as entries:
        listed = list(entries)
    (folder / "IMG_03.jpg").unlink()
    monkeypatch.setattr(os, "scandir", lambda _: nullcontext(listed))
    found, count = newest(folder, 99)
    assert (len(found), count) == (15, 15)
    assert "IMG_03.jpg" not in {one.path.name for one in found}


def test_a_photograph_never_makes_a_pin_that_was_not_in_its_hole_look_good(tmp_path, folder):
    from tests.cli.sheet_steps import PAIR
    from throwbook.core.sheets.hand_readings import parse_lines
    from throwbook.jobs.enter import HandEntry, enter
    from throwbook.jobs.sheets import photograph

    app = app_on(tmp_path)
    path = Path(app.desk.logbook)
    plan(path, RIG, "spot", "M. K.", NOW, 2, ASKED)
    line = PAIR[0].replace("both seen", "left seen, right not seen")
    enter(path, RIG, HandEntry(parse_lines(line), "spot", sheet=f"{RIG}-1", thrown_at=NOW), "M. K.", NOW)
    photograph(
        path, f"{RIG}-1", [1], {"left": folder / "IMG_00.jpg", "right": folder / "IMG_01.jpg"}, "M. K.", NOW
    )

    async def journey(pilot):
        await to_the_photographs(pilot, app)
        tones = {pin: app.screen._pin(pin).tone for pin in ("left", "right")}
        assert "RIGHT pin: NOT in its hole; photograph: IMG_01.jpg" in said(app)
        assert tones == {"left": STRONG, "right": BAD}

    walked(app, journey)


@pytest.mark.long
def test_one_of_another_time_is_asked_about(sheet, folder):
    app, name = sheet

    async def journey(pilot):
        await to_the_photographs(pilot, app)
        await choose(pilot, folder)
        assert "5 hours before" in said(app)
        await keys(pilot, "l")
        assert "5 hours before throw 1. Is it the right photograph?" in said(app)
        await keys(pilot, "n")
        assert "LEFT pin: in its hole; no photograph" in said(app)
        await keys(pilot, "l", "y")
        assert "LEFT pin: in its hole; photograph: old.jpg" in said(app)

    walked(app, journey)
    [kept] = [found for found in view(app.desk.logbook, name).photographs.values() if found]
    assert kept["left"].reason == "taken 5 hours before the throw; confirmed"


@pytest.mark.long
def test_a_pin_without_an_answer_takes_none(tmp_path, folder):
    app = app_on(tmp_path)
    path = Path(app.desk.logbook)
    plan(path, RIG, "spot", "M. K.", NOW, 2, ASKED)
    from tests.cli.sheet_steps import PAIR
    from throwbook.core.sheets.hand_readings import parse_lines
    from throwbook.jobs.enter import HandEntry, enter

    bare = PAIR[0].partition("both")[0]
    enter(path, RIG, HandEntry(parse_lines(bare), "spot", sheet=f"{RIG}-1", thrown_at=NOW), "M. K.", NOW)

    async def journey(pilot):
        await to_the_photographs(pilot, app)
        await choose(pilot, folder)
        await keys(pilot, "r")
        assert "nobody has answered for the right pin of throw 1" in said(app)
        assert "A photograph is no sighting." in said(app)

    walked(app, journey)
    assert not any(view(path, f"{RIG}-1").photographs.values())


@pytest.mark.long
def test_a_stick_that_was_pulled_and_pictures_that_are_none_are_one_line(sheet, folder):
    app, _ = sheet

    async def journey(pilot):
        await to_the_photographs(pilot, app)
        await choose(pilot, folder)
        for path in folder.glob("*.jpg"):
            path.write_bytes(b"no picture any more")
        await keys(pilot, "n", "l")
        assert "this is neither JPEG nor PNG" in said(app)
        for path in folder.iterdir():
            path.unlink()
        await keys(pilot, "l")
        assert "there is no such file" in said(app)
        folder.rmdir()
        await keys(pilot, "n")
        assert "there is no such folder. Is the stick plugged in?" in said(app)
        await keys(pilot, "l")
        assert "There is no picture here." in said(app)

    walked(app, journey)


@pytest.mark.long
def test_ten_thousand_files_a_pipe_and_links_keep_nobody_waiting(sheet, tmp_path):
    app, _ = sheet
    many = tmp_path / "many"
    many.mkdir()
    for number in range(10_000):
        (many / f"{number}.jpg").touch()
    if hasattr(os, "mkfifo"):
        os.mkfifo(many / "pipe.jpg")
    (many / "link.jpg").symlink_to("/dev/zero")
    (many / "folder.png").mkdir()
    newest = photo(many / "real.jpg", WALL)
    os.utime(newest, (4_000_000_000, 4_000_000_000))

    async def journey(pilot):
        await to_the_photographs(pilot, app)
        await choose(pilot, many)
        assert "12 newest of 10001 pictures" in said(app)
        assert "pipe.jpg" not in said(app)
        assert "link.jpg" not in said(app)
        await keys(pilot, "l")
        assert "real.jpg is kept for the LEFT pin" in said(app)
        await keys(pilot, "down", "r")
        assert "this file is empty" in said(app)

    walked(app, journey)


@pytest.mark.long
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_both_pins_the_caution_and_the_list_are_in_sight(sheet, folder, size):
    app, _ = sheet

    async def journey(pilot):
        await to_the_photographs(pilot, app)
        await choose(pilot, folder)
        await settle(pilot)
        for text in ("LEFT pin:", "RIGHT pin:", "A photograph is no sighting.", "IMG_04.jpg", "look again"):
            assert text in said(app), text

    walked(app, journey, size)
