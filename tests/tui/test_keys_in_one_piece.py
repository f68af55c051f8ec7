"""Over a slow line many keys come in one piece: each acts before the next one, also where it deletes or moves."""

from textual import events
from textual.keys import _character_to_key
from textual.widgets import Input

from tests.tui.bench import app_on, keys, settle
from tests.tui.test_stumbles import walked
from throwbook_tui.widgets.form import Choice


async def in_one_piece(pilot, *pressed: str) -> None:
    for one in pressed:
        single = len(one) == 1
        pilot.app.post_message(events.Key(_character_to_key(one) if single else one, one if single else None))
    await settle(pilot)


TYPED = [
    (("1", "4", ".", "7", "backspace", "6"), "14.6"),
    (("9", "9", "ctrl+u", "1", "4"), "14"),
    (("1", "4", "home", "delete", "2"), "24"),
]


def test_a_reading_is_what_was_typed(tmp_path):
    app = app_on(tmp_path)

    async def journey(pilot):
        await keys(pilot, "enter", "h", *"123456", "3", "ctrl+s", "enter")
        for pressed, left in TYPED:
            await in_one_piece(pilot, *pressed)
            assert isinstance(app.focused, Input)
            assert app.focused.value == left
            await keys(pilot, "end", "ctrl+u")

    walked(app, journey)


def test_a_choice_is_the_last_one_pressed(tmp_path):
    app = app_on(tmp_path)

    async def journey(pilot):
        await keys(pilot, "enter", "v")
        await in_one_piece(pilot, "right", "right", "1")
        assert isinstance(app.focused, Choice)
        assert app.focused.value == "greased"

    walked(app, journey)
