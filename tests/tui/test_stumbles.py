"""What people stumbled on in the terminal, each kept from coming back; one size is enough for these."""

import asyncio
from pathlib import Path

import pytest
from textual import events
from textual.keys import _character_to_key

from tests.tui.bench import NOW, RIG, Clock, PlayedBoard, app_on, keys, said, settle, write
from throwbook.core.records import SEEN
from throwbook.core.sheets.conditions import FOR_PRACTICE
from throwbook.core.simulator import SimulatedFault
from throwbook.jobs.find import opened
from throwbook.jobs.latch import raise_by_hand
from throwbook.jobs.rig_list import overview
from throwbook_tui.fields import FieldSpec, check_field
from throwbook_tui.screens.dialogs import place_complaint
from throwbook_tui.screens.photographs import folder_complaint
from throwbook_tui.screens.restore import file_complaint
from throwbook_tui.screens.sheet import SheetScreen
from throwbook_tui.screens.status import StepsToClearScreen

pytestmark = pytest.mark.long


def walked(app, journey, size=(80, 24)) -> None:
    async def go() -> None:
        async with app.run_test(size=size) as pilot:
            await settle(pilot)
            await journey(pilot)

    asyncio.run(go())


def level(path: Path) -> str:
    return overview(str(path), NOW.date()).rigs[0].rig_status.status.level


def out_of_use(path: Path) -> None:
    raise_by_hand(str(path), RIG, "damage", "left pin bent", "M. K.", NOW)


def test_a_throw_of_a_rig_that_was_out_of_use_before_goes_back_to_its_sheet(commissioned_logbook):
    out_of_use(commissioned_logbook)
    clock = Clock()
    board = PlayedBoard(clock, [None, SimulatedFault("obstruction", place=0.55)])
    app = app_on(commissioned_logbook.parent, clock, board)

    async def journey(pilot):
        await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter", "enter", "enter")
        assert "throw 1: both pins" in said(app)
        await keys(pilot, "1", "enter", "1", "enter", "1", "enter", "1")
        await write(pilot, "lamp")
        await keys(pilot, "ctrl+s")
        clock.go_on(100)
        await keys(pilot, *["d"] * ("lock throw" not in said(app)), "enter", "enter", "enter")
        assert isinstance(app.screen, StepsToClearScreen)  # this one stalled

    walked(app, journey)


@pytest.mark.parametrize("odd", ["~nobody-of-this-name/x", "x" * 5000, "no\0ne"])
def test_a_path_that_no_system_takes_is_complained_of_while_it_is_typed(odd, tmp_path):
    assert file_complaint(odd) == "there is no such file"
    assert folder_complaint(odd) == "there is no such folder"
    assert place_complaint(f"{odd}/report.pdf", tmp_path / "usual.pdf").startswith("there is no folder")


def test_a_dash_is_no_cause_on_the_way_back(commissioned_logbook):
    out_of_use(commissioned_logbook)
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "w", "enter", "tab", "tab")
        await write(pilot, "-")
        await keys(pilot, "tab", "tab")
        await write(pilot, "nothing")
        await keys(pilot, "ctrl+s")
        assert "'found' ('-') only repeats what was seen" in " ".join(said(app).split())
        await write(pilot, "bent in a collision")
        await keys(pilot, "ctrl+s")
        assert "'fixed' ('nothing') names no work" in " ".join(said(app).split())
        await keys(pilot, "ctrl+u")
        await write(pilot, "new pin")
        await keys(pilot, *["shift+tab"] * 5, "ctrl+u")
        await write(pilot, "2020-01-01")
        await keys(pilot, "ctrl+s")
        assert "earlier work cannot clear it" in " ".join(said(app).split())
        await keys(pilot, "ctrl+u")
        await write(pilot, NOW.date().isoformat())
        await keys(pilot, "ctrl+s")
        assert "[x] 2. log the repair" in said(app)

    walked(app, journey)


def test_a_clearance_that_does_not_count_is_refused_before_it_is_asked(commissioned_logbook):
    raise_by_hand(str(commissioned_logbook), RIG, "person: restricted", "a noise", "M. K.", NOW)
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "w", "enter")
        await write(pilot, "heard nothing")
        await keys(pilot, "tab", "tab")
        await write(pilot, "42")
        await keys(pilot, "ctrl+s")
        text = " ".join(said(app).split())
        assert "not signed with a name" in text
        assert "Clear 'restricted'" not in text
        await write(pilot, "M. K.")
        await keys(pilot, "ctrl+s")
        assert "Clear 'restricted'" in " ".join(said(app).split())

    walked(app, journey)


def test_a_commissioning_sheet_before_the_repair_is_warned_of(commissioned_logbook):
    out_of_use(commissioned_logbook)
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "s", *"123456", "2")
        assert "a commissioning sheet planned now will not clear it" in said(app)
        await keys(pilot, "3")
        assert "will not clear it" not in said(app)

    walked(app, journey)


def test_an_empty_field_that_is_needed_is_called_missing_not_hinted_at(commissioned_logbook):
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "u", "ctrl+s")
        assert "what happened: choose one: press its number" in said(app)
        await keys(pilot, "1", "tab", "tab", "ctrl+u", "ctrl+s")
        assert "your name: required, still empty" in said(app)

    walked(app, journey)


def test_what_was_chosen_in_one_list_opens_as_what_it_is_though_another_list_is_shown_by_now(
    commissioned_logbook,
):
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter")
        app.screen.query_one("#sheets").action_select_cursor()  # as a click does
        app.screen.action_show_list("throws")
        await settle(pilot)
        assert isinstance(app.screen, SheetScreen)
        assert "no such throw" not in said(app)

    walked(app, journey)


def test_every_throw_of_the_list_opens_with_its_record(commissioned_logbook):
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "2")
        for number in range(10):
            await keys(pilot, *["down"] * (number > 0), "enter")
            assert "running current" in said(app)
            await keys(pilot, "escape")

    walked(app, journey)


def test_how_the_pins_were_seen_is_proposed_and_typing_replaces_it(commissioned_logbook):
    clock = Clock()
    app = app_on(commissioned_logbook.parent, clock, PlayedBoard(clock))

    async def look(pilot, how: str):
        await keys(pilot, "enter", "1", "enter", "1", "enter", "1", "enter", "1", "enter")
        await write(pilot, how)
        await keys(pilot, "ctrl+s")

    async def journey(pilot):
        await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter", "enter", "enter")
        await look(pilot, "lamp")
        clock.go_on(100)
        await keys(pilot, "d", "enter", "enter", "enter")
        assert "throw 2: both pins" in said(app)
        await keys(pilot, "enter", "1", "enter", "1", "enter", "1", "enter", "1", "enter")
        assert app.screen.form.field("how").value == "lamp"
        await write(pilot, "mirror")
        assert app.screen.form.field("how").value == "mirror"

    walked(app, journey)


def test_a_number_with_a_decimal_comma_gets_its_unit_and_a_duty_cycle_of_25_its_percent():
    speed, share = FieldSpec("s", "speed", "speed"), FieldSpec("d", "duty cycle", "share")
    assert check_field(speed, "12,5").complete == "12,5 mm/s"
    assert check_field(speed, "12,5 mm/s").say == "= 12.5 mm/s"
    assert not check_field(speed, "1,500").complete
    assert check_field(share, "25").complete == "25 %"
    assert check_field(share, "25 %").say == check_field(share, "0.25").say == "= 25 %"


def test_keys_that_come_in_one_piece_over_a_slow_line_go_into_the_fields_they_were_meant_for(
    commissioned_logbook,
):
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "s", *"123456", "3", *["tab"] * 5)
        for letter in "16\rno wind\t4\r":
            pressed = {"\t": "tab", "\r": "enter"}.get(letter) or _character_to_key(letter)
            app.post_message(events.Key(pressed, letter))
        await settle(pilot)
        values = app.screen.form.values()
        assert (values["hours_since_movement"], values["worked_before"]) == ("16 h", "no wind")
        assert values["ambient_c"] == "4 degC"
        assert values["supply"] == ""

    walked(app, journey)


def test_a_form_that_is_cleared_is_as_it_began_its_choices_made(tmp_path):
    app = app_on(tmp_path)

    async def journey(pilot):
        await keys(pilot, "n")
        began = app.screen.form.values()
        await write(pilot, "quarry-loader")
        await keys(pilot, "enter", "2")
        assert app.screen.form.values() != began
        await keys(pilot, "ctrl+l", "y")
        assert app.screen.form.values() == began
        assert began["units"] == "metric"

    walked(app, journey)


def test_a_practice_logbook_opened_by_its_name_says_practice_on_every_screen(tmp_path):
    app = app_on(tmp_path)
    path = tmp_path / "fellside.throwbook"
    with opened(path) as book, book.transaction():
        text = book.rig(RIG).toml + "\n# again\n"
        book.add_rig(RIG, text, "M. K.", NOW, FOR_PRACTICE)

    async def journey(pilot):
        assert "PRACTICE" in said(app)
        await keys(pilot, "enter")
        assert "PRACTICE" in said(app)

    walked(app, journey)


def test_a_draft_found_on_the_way_back_does_not_hide_what_the_entry_must_hold(commissioned_logbook):
    out_of_use(commissioned_logbook)
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "w", "enter")
        await write(pilot, "pin bent")
        await keys(pilot, "escape", "enter")
        assert "pin bent" in said(app)
        assert "both 'found' and 'fixed' must be filled in" in " ".join(said(app).split())

    walked(app, journey)


def test_a_digit_that_is_held_down_answers_one_question(commissioned_logbook):
    clock = Clock()
    app = app_on(commissioned_logbook.parent, clock, PlayedBoard(clock))

    def answers() -> list[str]:
        return [app.screen.form.field(name).value for name in SEEN]

    async def journey(pilot):
        await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter", "enter", "enter")
        await keys(pilot, "1")
        for pause_s in (0.5, 0.03, 0.03, 0.03, 0.03):
            clock.go_on(pause_s)
            await keys(pilot, "1")
        assert answers() == ["yes", "", "", ""]
        assert "RIGHT pin: look first." in said(app)
        clock.go_on(2.0)
        await keys(pilot, "1")
        assert answers() == ["yes", "yes", "", ""]

    walked(app, journey)


def test_what_u_does_to_the_rig_is_said_for_each_answer(commissioned_logbook):
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "u")
        for answer, level in (
            ("2", "Do not use."),
            ("5", "'restricted'"),
            ("6", "'watch'"),
            ("1", "Do not use."),
        ):
            await keys(pilot, answer)
            assert level in said(app)

    walked(app, journey)
