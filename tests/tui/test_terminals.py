"""Other terminals: ASCII alone, no colour, night; keys that must not lose anything."""

import asyncio
import io

import pytest

from tests.tui.bench import Clock, PlayedBoard, app_on, keys, said, screen_text, settle, until_held, write
from throwbook.core.simulator import SimulatedFault
from throwbook_tui.context import plain_letters
from throwbook_tui.help_text import PAGES


@pytest.mark.long
def test_ascii_alone_is_enough_for_every_kind_of_screen(seasons_logbook, monkeypatch):
    clock = Clock()
    board = PlayedBoard(clock, [SimulatedFault("obstruction", place=0.5)], hold_at=0.4)
    app = app_on(seasons_logbook.parent, clock, board)
    app.desk.ascii = True

    async def go():
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            seen = [screen_text(app)]
            for path in (("enter",), ("2",), ("enter",), ("g",), ("escape", "r"), ("right",), ("f1",)):
                await keys(pilot, *path)
                seen.append(screen_text(app))
            await keys(pilot, "escape", "escape", "t", *"123456", "ctrl+s", "enter")
            app.simulate_key("enter")
            await until_held(pilot, board)
            seen.append(screen_text(app))
            board.go.set()
            await settle(pilot)
            seen.append(screen_text(app))
            return seen

    seen = asyncio.run(go())
    assert "full load 3.6 A" in seen[-2]
    for text in seen:
        assert text.isascii(), [letter for letter in text if not letter.isascii()]


@pytest.mark.parametrize(
    ("name", "value"),
    [("LC_ALL", "C"), ("LANG", "POSIX"), ("TERM", "linux"), ("TERM", "vt220"), ("THROWBOOK_ASCII", "1")],
)
def test_a_terminal_without_the_letters_to_draw_with_is_noticed(monkeypatch, name, value):
    for one in ("LC_ALL", "LC_CTYPE", "LANG", "THROWBOOK_ASCII"):
        monkeypatch.delenv(one, raising=False)
    monkeypatch.setattr("sys.stdout", io.TextIOWrapper(io.BytesIO(), "utf-8"))
    monkeypatch.setenv("LANG", "de_DE.UTF-8")
    assert not plain_letters()
    monkeypatch.setenv(name, value)
    assert plain_letters()


def test_without_colour_every_state_still_has_its_word(seasons_logbook, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    app = app_on(seasons_logbook.parent)

    async def go():
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            assert "! watch" in said(app)
            await keys(pilot, "enter", "2")
            assert "drag" in said(app)
            assert "[2]>throws" in said(app)
            strips = app.screen._compositor.render_strips(app.size)
            return {segment.style.color for strip in strips for segment in strip if segment.style}

    colours = asyncio.run(go())
    assert all(one is None or one.triplet is None or len(set(one.triplet)) == 1 for one in colours)


def test_day_and_night_look_as_reviewed(seasons_logbook, walk):
    app = app_on(seasons_logbook.parent)

    async def journey(pilot, look):
        await keys(pilot, "enter", "f8")
        assert app.theme == "night"
        await look("night")
        await keys(pilot, "r", "f8", "escape")
        assert app.theme == "day"
        await look("day-again")

    walk(app, journey)


@pytest.mark.parametrize("page", PAGES)
def test_every_help_page_is_written_in_whole_sentences(page: str):
    assert PAGES[page]
    assert all(text == "" or text[-1] in ".:?" for text in PAGES[page])


def test_the_program_is_not_ended_under_a_running_recording(tmp_path):
    clock = Clock()
    board = PlayedBoard(clock, hold_at=0.5)
    app = app_on(tmp_path, clock, board)

    async def go():
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter")
            app.simulate_key("enter")
            await until_held(pilot, board)
            app.simulate_key("ctrl+q")
            for _ in range(5):
                await pilot.pause()
            assert "A throw is being recorded" in said(app)
            board.go.set()
            await settle(pilot)
            assert "Kept on yard-loader-1" in said(app)

    asyncio.run(go())


@pytest.mark.long
def test_words_can_be_clicked(seasons_logbook):
    app = app_on(seasons_logbook.parent)

    async def go():
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            line = screen_text(app).splitlines()
            row = next(number for number, text in enumerate(line) if "N new rig" in text)
            await pilot.click(offset=(line[row].index("N new rig"), row))
            await settle(pilot)
            assert "values from the data sheet" in said(app)
            await write(pilot, "quarry-loader")
            assert "quarry-loader" in said(app)

    asyncio.run(go())
