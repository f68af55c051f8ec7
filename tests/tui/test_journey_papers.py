"""Journey 9: papers and data from the keyboard."""

import asyncio
import os
import sys
import threading

import pytest

from tests.tui.bench import NOW, RIG, RIG_FILE, app_on, keys, said, settle, write
from throwbook.core.sheets.conditions import FOR_PRACTICE
from throwbook.jobs.logbook_care import back_up
from throwbook.logbook import open_logbook
from throwbook_tui.context import show_file
from throwbook_tui.screens.papers import Made, Paper


async def make(pilot, name: str) -> None:
    """Choose a paper."""
    chosen = pilot.app.screen.query_one("RowTable")
    chosen.move_cursor(row=list(pilot.app.screen._offered).index(name))
    await keys(pilot, "enter")


@pytest.mark.long
def test_export_backup_and_check_from_the_keyboard(commissioned_logbook, walk):
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot, look):
        await keys(pilot, "l")
        await look("whole-logbook")
        await make(pilot, "backup")
        await keys(pilot, "ctrl+s")
        assert "it was read again and is complete" in said(app)
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
        await make(pilot, "export")
        await keys(pilot, "ctrl+s")
        assert "trials.csv" in said(app)

    walk(app, journey)
    folder = commissioned_logbook.parent / "papers"
    with open_logbook(folder / "logbook" / "logbook-backup-20260314.throwbook", read_only=True) as book:
        assert book.rig_names() == [RIG]
    assert_printed(folder, "cab-card")
    assert (folder / RIG / f"{RIG}-export-20260314" / "trials.csv").is_file()


def assert_printed(folder, *kinds: str) -> None:
    for kind in kinds:
        papers = list((folder / RIG / f"{RIG}-{kind}-20260314").glob("*.pdf"))
        assert papers
        assert all(one.read_bytes().startswith(b"%PDF") for one in papers)


@pytest.mark.long  # a paper that the screen asks for wrongly; make test prints the cab card, tests/report the report
def test_the_report_and_a_blank_sheet_from_the_keyboard(seasons_logbook, walk):
    app = app_on(seasons_logbook.parent)

    async def journey(pilot, look):
        await keys(pilot, "enter", "p")
        for name in ("blank commissioning sheet", "report"):
            await make(pilot, name)
            await keys(pilot, "ctrl+s")
            assert "is ready" in said(app)

    walk(app, journey)
    assert_printed(seasons_logbook.parent / "papers", "report", "blank")


@pytest.mark.parametrize("left", [0, 5000])
def test_a_damaged_logbook_is_put_back_from_a_backup_and_every_rig_is_restricted(seasons_logbook, left):
    backup = seasons_logbook.with_name("backup.throwbook")
    back_up(str(seasons_logbook), backup, NOW)
    with open_logbook(backup, read_only=True) as book:
        throws = len(book.trials(RIG))
    seasons_logbook.write_bytes(seasons_logbook.read_bytes()[:left])
    app = app_on(seasons_logbook.parent, rig=False)

    async def journey() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            await keys(pilot, "l", "down", "down", "enter")
            await write(pilot, str(backup))
            await keys(pilot, "ctrl+s", "y")
            assert "Restored:" in said(app)
            assert f"somebody signs that nothing worse was written since the backup: {RIG}." in said(app)

    asyncio.run(journey())
    with open_logbook(seasons_logbook, read_only=True) as book:
        assert len(book.trials(RIG)) == throws


def test_the_newest_backup_is_proposed_with_its_rigs_and_another_one_may_be_typed(seasons_logbook):
    folder = seasons_logbook.parent / "papers" / "logbook"
    folder.mkdir(parents=True)
    older, newer, damaged, practice = (folder / f"logbook-backup-{n}.throwbook" for n in range(4))
    with open_logbook(practice) as book:
        book.add_rig(RIG, RIG_FILE.read_text("utf-8"), "M. K.", NOW, FOR_PRACTICE)
    damaged.write_bytes(b"not a logbook")
    for age, file in enumerate((newer, older)):
        back_up(str(seasons_logbook), file, NOW)
        os.utime(file, (1e9 - age, 1e9 - age))
    app = app_on(seasons_logbook.parent)

    async def journey() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            await keys(pilot, "l", "down", "down", "enter")
            assert app.screen.form.field("backup").value == str(newer)
            assert f"the newest backup found here, with {RIG}" in said(app)
            await write(pilot, str(older))
            assert app.screen.form.field("backup").value == str(older)

    asyncio.run(journey())


def test_a_second_paper_waits_for_the_first(seasons_logbook, monkeypatch):
    monkeypatch.chdir(seasons_logbook.parent)
    app = app_on(seasons_logbook.parent)
    begun, go = threading.Event(), threading.Event()

    def slow(logbook, rig, where, now):
        begun.set()
        go.wait(30)
        return Made(["Done."], None)

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


@pytest.mark.skipif(os.name == "nt", reason="Windows opens files by itself")
@pytest.mark.parametrize(
    ("viewer", "refused"), [("exit 0", 0), ("echo no display >&2; exit 3", 3), (None, 1)]
)
def test_a_viewer_that_cannot_open_a_paper_is_told_and_writes_nothing_over_the_screen(
    tmp_path, monkeypatch, capfd, viewer, refused
):
    name = "open" if sys.platform == "darwin" else "xdg-open"
    if viewer is not None:
        (tmp_path / name).write_text(f"#!/bin/sh\n{viewer}\n", "utf-8")
        (tmp_path / name).chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert show_file("report.pdf") == refused
    assert capfd.readouterr() == ("", "")
