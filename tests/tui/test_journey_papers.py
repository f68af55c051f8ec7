"""Journey 9: papers and data from the keyboard."""

import asyncio
import threading
from pathlib import Path

from tests.tui.bench import NOW, RIG, app_on, keys, said, settle
from throwbook.jobs.logbook_care import back_up
from throwbook.logbook import open_logbook
from throwbook_tui.screens.papers import Paper


def test_export_backup_and_check_from_the_keyboard(seasons_logbook, walk, monkeypatch):
    folder = seasons_logbook.parent / "papers"
    folder.mkdir()
    monkeypatch.chdir(folder)
    app = app_on(seasons_logbook.parent)

    async def make(pilot, name: str) -> None:
        chosen = app.screen.query_one("RowTable")
        chosen.move_cursor(row=list(app.screen._offered).index(name))
        await keys(pilot, "enter")

    async def journey(pilot, look):
        await keys(pilot, "l")
        await look("whole-logbook")
        await make(pilot, "backup")
        await keys(pilot, "ctrl+s")
        assert "it was read again and is whole" in said(app)
        await make(pilot, "backup")
        place = app.screen.form.field("path")
        assert place.value.endswith("logbook-backup-20260314-2.throwbook")
        place.set(place.value.replace("-2.throw", ".throw"))
        await settle(pilot)
        assert "something with this name is there already" in said(app)
        await keys(pilot, "escape")
        await make(pilot, "check")
        assert "no change or loss was found" in said(app)
        await keys(pilot, "escape", "enter", "p")
        await look("papers-of-a-rig")
        await make(pilot, "cab card")
        await keys(pilot, "ctrl+s")
        assert "is ready" in said(app)
        await make(pilot, "blank commissioning sheet")
        await keys(pilot, "ctrl+s")
        assert "is ready" in said(app)
        await make(pilot, "report")
        await keys(pilot, "ctrl+s")
        assert "is ready" in said(app)
        await make(pilot, "export")
        await keys(pilot, "ctrl+s")
        assert "trials.csv" in said(app)

    walk(app, journey)
    with open_logbook(folder / "logbook-backup-20260314.throwbook", read_only=True) as book:
        assert book.rig_names() == [RIG]
    for kind in ("report", "cab-card", "blank"):
        papers = list((folder / f"{RIG}-{kind}-20260314").glob("*.pdf"))
        assert papers
        assert all(one.read_bytes().startswith(b"%PDF") for one in papers)
    assert (Path(folder) / f"{RIG}-export-20260314" / "trials.csv").is_file()


def test_a_backup_put_back_as_the_help_says_opens_with_all_it_held(seasons_logbook):
    backup = seasons_logbook.with_name("backup.throwbook")
    back_up(str(seasons_logbook), backup, NOW)
    with open_logbook(backup, read_only=True) as book:
        throws = len(book.trials(RIG))
    seasons_logbook.write_bytes(b"lost")  # damaged, and a journal of it left behind
    seasons_logbook.with_name(seasons_logbook.name + "-wal").write_bytes(b"left behind")
    for old in seasons_logbook.parent.glob(seasons_logbook.name + "*"):
        if not old.is_dir():
            old.rename(old.with_name("old-" + old.name))
    backup.rename(seasons_logbook)
    app = app_on(seasons_logbook.parent)

    async def journey() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            assert f" {throws} " in f"{said(app)} "
            await keys(pilot, "l", "down", "down", "enter")
            assert "no change or loss was found" in said(app)

    asyncio.run(journey())


def test_a_second_paper_waits_for_the_first(seasons_logbook, monkeypatch):
    monkeypatch.chdir(seasons_logbook.parent)
    app = app_on(seasons_logbook.parent)
    begun, go = threading.Event(), threading.Event()

    def slow(logbook, rig, where, now):
        begun.set()
        go.wait(30)
        return ["Done."]

    async def journey() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            await keys(pilot, "enter", "p")
            app.screen._offered["report"] = Paper("report", "", "report", None, True, slow)
            app.simulate_key("enter")
            while not begun.is_set():
                await asyncio.sleep(0.005)
            app.simulate_key("enter")
            await pilot.pause()
            assert "report is not done yet" in said(app)
            go.set()
            await settle(pilot)
            assert "Done." in said(app)

    asyncio.run(journey())
