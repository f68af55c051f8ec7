"""The owner's Monday on the first screen: who comes first and why, found, sorted, imported, put on the wall."""

import asyncio

import pytest

from tests.benchmarks.yard import build
from tests.tui.bench import NOW, SIZES, app_on, keys, said, settle, write
from throwbook.jobs.worsening import work_out_trends
from throwbook_tui.widgets.frame import RowTable

RIGS = 12


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = tmp_path_factory.mktemp("yard") / "fellside.throwbook"
    build(path, RIGS, NOW.date())
    work_out_trends(path)
    return path


@pytest.fixture
def app(made, tmp_path):
    for file in made.parent.glob("fellside.throwbook*"):
        if file.is_file():
            (tmp_path / file.name).write_bytes(file.read_bytes())
    return app_on(tmp_path, rig=False)


def rows(app) -> list[str]:
    return [key for key, _ in app.screen.query_one(RowTable)._filled]


def test_the_rigs_that_need_somebody_stand_on_top_and_the_list_narrows_and_sorts(app, walk):
    async def journey(pilot, look):
        await look("first-ten")
        await keys(pilot, "a", "s")
        await look("all-by-rig")
        await keys(pilot, "o")
        await look("only-some")
        await write(pilot, "yard 2")
        await keys(pilot, "ctrl+s")
        await look("found")

    walk(app, journey)


def run(app, journey, size=SIZES[0]) -> None:
    async def go() -> None:
        async with app.run_test(size=size) as pilot:
            await settle(pilot)
            await journey(pilot)

    asyncio.run(go())


@pytest.mark.parametrize("case", [str.lower, str.upper])
def test_letters_count_with_shift_too(app, case):
    async def journey(pilot):
        assert len(rows(app)) == 10
        await keys(pilot, case("a"))
        assert len(rows(app)) == RIGS
        await keys(pilot, case("s"))
        assert rows(app) == sorted(rows(app))
        await keys(pilot, case("t"))
        assert "rig-0000 | trend" in said(app)

    run(app, journey, SIZES[0])


def test_what_is_found_is_shown_whole_and_escape_shows_all_again(app):
    async def journey(pilot):
        first = rows(app)
        await keys(pilot, "o")
        await write(pilot, "yard 2")
        await keys(pilot, "ctrl+s")
        assert set(rows(app)) == {"rig-0001", "rig-0005", "rig-0009"}
        assert "3 of 12 rigs: 'yard 2' in the name or machine" in said(app)
        await keys(pilot, "escape")
        assert rows(app) == first
        await keys(pilot, "o")
        await write(pilot, "nowhere")
        await keys(pilot, "ctrl+s")
        assert "No rig fits." in said(app)

    run(app, journey, SIZES[0])


def test_the_wall_list_is_written_where_it_is_wanted(app):
    async def journey(pilot):
        await keys(pilot, "w", "ctrl+s")
        await settle(pilot)
        assert "The wall list is ready" in said(app)
        app.screen.reload()
        await settle(pilot)
        assert "The wall list is ready" in said(app), "reading the list again wipes it not"
        (file,) = app.desk.papers_of("all rigs").glob("wall-*.pdf")
        assert file.read_bytes().startswith(b"%PDF")

    run(app, journey, SIZES[0])


def test_a_folder_is_imported_and_what_nobody_can_tell_is_left(app, tmp_path):
    folder = tmp_path / "stick"
    folder.mkdir()
    (folder / "throw.csv").write_text("time_s,current_a\n0,0\n1,1\n", "utf-8")

    async def journey(pilot):
        await keys(pilot, "i")
        await write(pilot, str(folder))
        await keys(pilot, "enter", "3", "ctrl+s")
        await settle(pilot)
        assert "Left where they are: - throw.csv" in said(app)

    run(app, journey, SIZES[0])


@pytest.mark.long
def test_trends_that_are_not_known_come_while_the_list_is_there(app, tmp_path):
    (tmp_path / "fellside.throwbook.trends").unlink()

    async def journey(pilot):
        assert app.screen._found.trends_known
        assert "at its limit" in said(app)

    run(app, journey, SIZES[0])


@pytest.mark.parametrize("size", SIZES)
def test_no_word_of_the_list_is_cut(app, size):
    async def journey(pilot):
        shown = said(app)
        for one in app.screen._shown[:6]:
            assert all(word in shown for word in (one.need.cause + " " + one.need.step).split())

    run(app, journey, size)
