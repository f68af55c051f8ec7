"""Journey 9: papers and data from the keyboard."""

from pathlib import Path

from logger.logbook import open_logbook
from tests.tui.bench import RIG, app_on, keys, said, settle


def test_export_backup_and_check_from_the_keyboard(seasons_logbook, walk, monkeypatch, size):
    folder = seasons_logbook.parent / f"{size[0]}"
    folder.mkdir()
    monkeypatch.chdir(folder)
    app = app_on(seasons_logbook.parent)

    async def make(pilot, name: str) -> None:
        chosen = app.screen.query_one("Table")
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
        assert "there is something with this name already" in said(app)
        await keys(pilot, "escape")
        await make(pilot, "check")
        assert "nothing is changed, nothing is lost" in said(app)
        await keys(pilot, "escape", "enter", "p")
        await look("papers-of-a-rig")
        await make(pilot, "cab card")
        await keys(pilot, "ctrl+s")
        assert "is written" in said(app)
        await make(pilot, "blank commissioning sheet")
        await keys(pilot, "ctrl+s")
        assert "is written" in said(app)
        await make(pilot, "report")
        await keys(pilot, "ctrl+s")
        assert "is written" in said(app)
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
