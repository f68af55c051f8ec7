"""Journey 2: a commissioning sheet, guided, from the cautions to the signature."""

from pathlib import Path

import pytest

from tests.tui.bench import RIG, Clock, PlayedBoard, app_on, keys, settle, until_held, write
from tests.tui.logbooks import thrown
from throwbook.jobs.sheets import view

pytestmark = pytest.mark.long


async def plan_commissioning(pilot, look):
    await keys(pilot, "enter", "s")
    await look("cautions")
    await keys(pilot, *"123456")
    await keys(pilot, "2", *["enter"] * 5)
    await write(pilot, "16")
    await keys(pilot, "enter")
    await write(pilot, "no")
    await keys(pilot, "enter")
    await write(pilot, "4")
    await keys(pilot, "enter")
    await write(pilot, "machine battery")
    await look("questions")
    await keys(pilot, "ctrl+s")


async def see_both_pins(pilot):
    await keys(pilot, "1", "enter", "1", "enter", "1", "enter", "1", "enter")


def test_a_guided_commissioning_from_the_cautions_to_the_signature(tmp_path: Path, walk):
    clock = Clock()
    board = PlayedBoard(clock, hold_at=0.6)
    app = app_on(tmp_path, clock, board)

    async def journey(pilot, look):
        await plan_commissioning(pilot, look)
        await look("planned")
        await keys(pilot, "enter")
        await look("ready")
        app.simulate_key("enter")
        await until_held(pilot, board)
        await look("running", workers_run=True, picture=True)
        board.go.set()
        await settle(pilot)
        await look("judged")
        await keys(pilot, "enter")
        await look("pins-asked")
        await see_both_pins(pilot)
        await write(pilot, "lamp, both sides")
        await keys(pilot, "ctrl+s")
        await look("resting")
        for number in (2, 3):
            await keys(pilot, "enter")
            if number == 2:
                await look("rest-not-over")
                await keys(pilot, "n")
                clock.go_on(60)
                await keys(pilot, "enter")
            await keys(pilot, "enter", "enter")
            if number % 2:
                await see_both_pins(pilot)
                await keys(pilot, "ctrl+s")
            clock.go_on(60)
        # The screen asks for the others as it did for these.
        await keys(pilot, "escape")
        thrown(
            tmp_path / "fellside.throwbook",
            f"{RIG}-1",
            ["unlock", "lock"] * 3 + ["unlock"],
            clock,
            None,
            3,
            4,
        )
        await keys(pilot, "enter")
        await look("all-thrown")
        await keys(pilot, "enter")
        await look("sign")
        await write(pilot, "M. K.")
        await keys(pilot, "ctrl+s")
        await look("sure")
        await keys(pilot, "y")
        await look("statement")
        await keys(pilot, "escape")
        await look("sealed")

    walk(app, journey)
    found = view(tmp_path / "fellside.throwbook", f"{RIG}-1")
    assert found.state.state == "accepted"
    assert len(found.trials) == 10
