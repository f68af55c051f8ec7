"""Every screen at every size, in both unit systems: nothing that is asked stands off the screen, nothing is cut."""

from collections.abc import Callable
from typing import Any

import pytest
from textual.widgets import Static

from tests.tui.bench import NOW, RIG, Clock, app_on, settle
from tests.tui.logbooks import ASKED, thrown
from tests.tui.test_stumbles import walked
from throwbook.core.records import PinAnswers
from throwbook.core.rig import METRIC, US
from throwbook.jobs.find import opened
from throwbook.jobs.latch import raise_by_hand
from throwbook.jobs.rig_list import Wanted
from throwbook.jobs.rig_setup import add_setup, setup_of
from throwbook.jobs.rigs import rig_history
from throwbook.jobs.sheets import plan, view
from throwbook.jobs.sign_off import accept
from throwbook.jobs.steps_to_clear import steps_to_clear
from throwbook_tui import context
from throwbook_tui.widgets.form import Form
from throwbook_tui.widgets.frame import RowTable

SIZES = {METRIC: ((80, 24), (100, 30), (120, 40), (200, 60)), US: ((80, 24),)}
"""US values are longer: they are looked at where there is least room."""
FIELDS_AT = ((80, 24), (200, 60))
"""Where the cursor is put on each field: with the least room and with the most."""
LEAST_ROWS = 6
"""Of a form that are in sight: less can't be filled in without losing one's place."""


class Book:
    """A logbook with three winters, an open sheet and an order, and what each screen is opened with."""

    def __init__(self, path) -> None:
        self.path = path
        self.sheet = plan(path, RIG, "seasonal", "M. K.", NOW)[0].name
        clock = Clock()
        done = plan(path, RIG, "seasonal", "M. K.", NOW, 3, ASKED)[0].name
        thrown(path, done, ["lock", "unlock"] * 3, clock, None, 400)
        self.accepted = accept(path, done, PinAnswers(), "M. K.", clock.now())
        raise_by_hand(path, RIG, "person: watch", "sounds dry", "M. K.", NOW)

    def args(self) -> dict[str, Callable[[], tuple[Any, ...]]]:
        path, history = self.path, rig_history(self.path, RIG, NOW.date())
        full = history.sheets[0].state.name
        shown = view(path, full)
        with opened(path, read_only=True) as book:
            trial = book.trials(rig=RIG)[0].id
        rig = {
            name: (lambda: (RIG,))
            for name in (
                "rig",
                "rig setup",
                "service",
                "trend",
                "papers",
                "way back",
                "take out",
                "sheet plan",
                "practice",
            )
        }
        return rig | {
            "board": lambda: (),
            "board settings": lambda: (),
            "calibrate": lambda: ("played", 115200, "A1B2"),
            "cautions": lambda: (RIG, "commissioning"),
            "clear": lambda: (RIG, steps_to_clear(path, RIG)),
            "confirm": lambda: ("Record it?", "It cannot be deleted. " * 6),
            "enter": lambda: (RIG, self.sheet, "lock"),
            "help": lambda: ("rig",),
            "leave out": lambda: (full, 1),
            "meter": lambda: (),
            "meters": lambda: (),
            "find rigs": lambda: (Wanted(),),
            "import": lambda: (),
            "search": lambda: (),
            "missing": lambda: (shown,),
            "photograph folder": lambda: ("",),
            "photographs": lambda: (full, 1, shown),
            "questions": lambda: (self.sheet, {}, METRIC),
            "record": lambda: (RIG, self.sheet, "lock"),
            "recover": lambda: (),
            "restore": lambda: (),
            "rigs": lambda: (),
            "service view": lambda: (history.services[0],),
            "sheet": lambda: (self.sheet,),
            "sighting": lambda: (full, 1, shown),
            "sign": lambda: (shown,),
            "statement": lambda: (self.accepted,),
            "trial": lambda: (trial,),
            "where": lambda: ("report", path.with_name("report")),
        }


def cut(app) -> list[str]:
    """What of the frame and the tables isn't whole."""
    found = []
    for widget in app.screen.query("Notice, KeyLine").results(Static):
        if widget.display and widget.virtual_size.height > widget.container_size.height:
            found.append(f"{type(widget).__name__} is cut")
    found += [
        f"table {one.id} goes on to the right"
        for one in app.screen.query(RowTable)
        if one.display and one.max_scroll_x > 0
    ]
    return found


async def off_screen(app, pilot) -> list[str]:
    """Fields that aren't in sight when they have the cursor, and a form that is squeezed."""
    found = []
    for form in app.screen.query(Form):
        if form.container_size.height < min(LEAST_ROWS, sum(one.size.height for one in form.fields)):
            found.append(f"only {form.container_size.height} rows of the form are in sight")
        for field in form.fields:
            field.focus_answer()
            await settle(pilot)
            if not form.region.contains_region(
                field.region.intersection(app.screen.region)
            ) or not app.screen.region.contains_region(field.region):
                found.append(f"{field.spec.key} is out of sight")
    return found


@pytest.fixture
def book(seasons_logbook):
    return Book(seasons_logbook)


@pytest.mark.long
@pytest.mark.parametrize("units", [METRIC, US])
def test_nothing_asked_stands_off_the_screen_and_nothing_is_cut(book, units):
    add_setup(book.path, setup_of(book.path, RIG) | {"units": units}, "M. K.", NOW, "as it is read here")
    app = app_on(book.path.parent)
    app.desk.logbook = str(book.path)
    wrong = []

    async def journey(pilot):
        for name, args in book.args().items():
            await pilot.resize_terminal(*SIZES[units][0])
            app.push_screen(context.screen(name, *args()))
            await settle(pilot)
            for size in SIZES[units]:
                await pilot.resize_terminal(*size)
                await settle(pilot)
                found = cut(app) + (await off_screen(app, pilot) if size in FIELDS_AT else [])
                wrong.extend(f"{name} at {size[0]}x{size[1]}: {what}" for what in found)
            app.pop_screen()
            await settle(pilot)

    walked(app, journey)
    assert not wrong, "\n".join(wrong)
    assert set(book.args()) == set(context.DOORS)
