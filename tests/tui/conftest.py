"""Reviewed screens: each is an SVG file beside the tests; `pytest --snapshot-update` writes them anew for review."""

import asyncio
import os
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest
from pytest_textual_snapshot import SVGImageExtension
from textual.pilot import Pilot

from tests.tui.bench import SIZES, screen_text, settle
from tests.tui.logbooks import commissioned, copied, with_seasons
from throwbook_tui.app import ThrowbookApp
from throwbook_tui.screens.page import Page

WIDE_AND_LONG = (
    "test_a_guided_commissioning_",
    "test_a_seasonal_check_as_found_",
    "test_a_rig_is_set_up_",
    "test_a_service_is_entered_",
    "test_a_stall_takes_the_rig_out_",
    "test_export_backup_and_check_",
)
"""Walks that are only long at the wide size. Each goes at 80x24 every time; that the frame, the lists, the forms, the
charts and a sheet fill a wide screen as reviewed is seen in the other walks at 120x40.
"""

Walk = Callable[[Pilot[None], Callable[..., Coroutine[Any, Any, None]]], Coroutine[Any, Any, None]]


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    for item in items:
        if item.name.startswith(WIDE_AND_LONG) and "[120x40" in item.name:
            item.add_marker(pytest.mark.long)


@pytest.fixture(autouse=True)
def _a_colour_terminal(monkeypatch):
    """What the person's own environment says must not change a reviewed screen."""
    for name in ("NO_COLOR", "THROWBOOK_THEME", "THROWBOOK_ASCII", "THROWBOOK_BY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLORTERM", "truecolor")
    monkeypatch.setenv("TERM", "xterm-256color")


@pytest.fixture(params=SIZES, ids=["80x24", "120x40"])
def size(request) -> tuple[int, int]:
    return request.param


@pytest.fixture
def walk(snapshot, size):
    """Runs a journey on an app; ``look(name)`` holds the screen against the reviewed one."""
    reviewed = snapshot.use_extension(SVGImageExtension)
    shown = Path(os.environ["TB_SHOW"]) if "TB_SHOW" in os.environ else None

    def run(app: ThrowbookApp, journey: Walk) -> None:
        differing = []

        async def look(name: str, workers_run: bool = False) -> None:
            if not workers_run:
                await settle(run.pilot)
            if isinstance(app.screen, Page):
                app.screen.repaint()  # clocks on the screen tick by real time; here they show the clock handed in
            await run.pilot.pause()
            if shown is not None:
                (shown / f"{name}-{size[0]}x{size[1]}.txt").write_text(screen_text(app) + "\n", "utf-8")
            if app.export_screenshot() != reviewed(name=f"{size[0]}x{size[1]}-{name}"):
                differing.append(name)

        async def go() -> None:
            async with app.run_test(size=size) as pilot:
                run.pilot = pilot
                await settle(pilot)
                for widget in app.screen.query("Input"):
                    widget.cursor_blink = False
                await journey(pilot, look)

        asyncio.run(go())
        assert not differing, f"screens differ from the reviewed ones: {differing}"

    return run


@pytest.fixture(scope="session")
def commissioned_once(tmp_path_factory) -> Path:
    return commissioned(tmp_path_factory.mktemp("commissioned"))


@pytest.fixture(scope="session")
def seasons_once(tmp_path_factory) -> Path:
    return with_seasons(tmp_path_factory.mktemp("seasons"))


@pytest.fixture
def commissioned_logbook(commissioned_once, tmp_path) -> Path:
    return copied(commissioned_once, tmp_path)


@pytest.fixture
def seasons_logbook(seasons_once, tmp_path) -> Path:
    return copied(seasons_once, tmp_path)
