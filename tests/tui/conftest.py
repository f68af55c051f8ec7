"""Walks over the screens, and the logbooks that they begin with."""

import asyncio
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.scrollbar import ScrollBar

from tests.tui.bench import SIZES, settle
from tests.tui.logbooks import commissioned, copied, with_seasons
from tests.tui.reviewed import ReviewedScreens
from throwbook_tui.app import ThrowbookApp
from throwbook_tui.screens.page import Page

Walk = Callable[[Pilot[None], Callable[..., Coroutine[Any, Any, None]]], Coroutine[Any, Any, None]]


@pytest.fixture(autouse=True)
def _a_colour_terminal(monkeypatch):
    """What the person's own environment says must not change a reviewed screen."""
    for name in ("NO_COLOR", "THROWBOOK_THEME", "THROWBOOK_ASCII", "THROWBOOK_BY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLORTERM", "truecolor")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setattr(
        ScrollBar, "renderer", ScrollBar.renderer
    )  # a plain terminal's stays for the whole process


@pytest.fixture
def walk(request):
    """Runs a journey on an app. ``look(name)`` holds the screen against the reviewed one at the size that it has and then
    at the other one, where the journey goes on: so keys are pressed, and screens redrawn, at both.
    """
    name = request.node.originalname.removeprefix("test_")
    reviewed = ReviewedScreens(name, request.config.getoption("--snapshot-update"))

    def run(app: ThrowbookApp, journey: Walk) -> None:
        async def look(name: str, workers_run: bool = False, picture: bool = False) -> None:
            first = SIZES.index(app.size)
            for size in (SIZES[first], SIZES[1 - first]):
                if app.size != size:
                    await run.pilot.resize_terminal(*size)
                if not workers_run:
                    await settle(run.pilot)
                if isinstance(app.screen, Page):
                    app.screen.repaint()  # clocks tick by real time; here they show the clock handed in
                await run.pilot.pause()
                reviewed.look(app, name)
                if picture and size == SIZES[1]:
                    reviewed.picture(app, name)

        async def go() -> None:
            async with app.run_test(size=SIZES[0]) as pilot:
                run.pilot = pilot
                await settle(pilot)
                for widget in app.screen.query("Input"):
                    widget.cursor_blink = False
                await journey(pilot, look)

        asyncio.run(go())
        reviewed.end()

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
