"""Journeys 4, 6 and 7: the seasonal check, the history in depth, a service and its effect."""

from pathlib import Path

import pytest

from tests.tui.bench import NOW, RIG, Clock, PlayedBoard, app_on, keys, said, write
from tests.tui.logbooks import ASKED, sheet_of, thrown
from throwbook.core.sheets.hand_readings import HandThrow, Reading
from throwbook.core.simulator import SimulatedFault
from throwbook.jobs.enter import HandEntry, enter
from throwbook.jobs.judgements import trial_view
from throwbook.jobs.sheets import leave_out, plan, view
from throwbook.jobs.trend import rig_trend
from throwbook_tui.screens.trial import seen_again

pytestmark = pytest.mark.long

PINS = ("1", "enter", "1", "enter", "1", "enter", "1", "enter")


async def questions(pilot):
    await keys(pilot, "3", *["enter"] * 5)
    for text in ("72 h", "no", "12 degC", "machine battery"):
        await write(pilot, text)
        await keys(pilot, "enter")
    await keys(pilot, "ctrl+s")


def test_a_seasonal_check_as_found_first_against_the_baseline(seasons_logbook, walk):
    clock = Clock()
    board = PlayedBoard(clock, [SimulatedFault("even-friction", 0.2)] * 6)
    board.count = 200
    app = app_on(seasons_logbook.parent, clock, board)

    async def journey(pilot, look):
        await keys(pilot, "enter", "s", *"123456")
        await questions(pilot)
        await keys(pilot, "enter", "enter")
        await look("as-found-judged")
        await keys(pilot, "enter", *PINS)
        await write(pilot, "lamp")
        await keys(pilot, "ctrl+s")
        clock.go_on(60)
        # The screen asks for the others as in a commissioning.
        await keys(pilot, "escape")
        heavier = SimulatedFault("even-friction", 0.2)
        ways = ["unlock", "lock", "unlock", "lock", "unlock"]
        thrown(seasons_logbook, f"{RIG}-7", ways, clock, heavier, 201, 2)
        await keys(pilot, "up", "enter")
        await look("all-thrown")
        await keys(pilot, "escape", "r")
        await look("trend")

    walk(app, journey)
    found = view(seasons_logbook, f"{RIG}-7")
    assert len(found.trials) == 6
    points = rig_trend(seasons_logbook, RIG, NOW.date()).trends[0].points
    assert points[-1].sheet == f"{RIG}-7"
    assert points[-1].n == 2  # of three lock throws the one as found is kept apart


def test_the_history_from_the_list_to_one_throw_in_depth(seasons_logbook, walk):
    app = app_on(seasons_logbook.parent)

    async def journey(pilot, look):
        await look("rigs")
        await keys(pilot, "enter")
        await look("sheets")
        await keys(pilot, "2")
        await look("throws")
        await keys(pilot, "enter")
        await look("one-throw")
        await keys(pilot, "g")
        await look("one-throw-drawn")
        await keys(pilot, "escape", "3")
        await look("services")
        await keys(pilot, "enter")
        await look("one-service")
        await keys(pilot, "escape", "r")
        await look("trend", picture=True)
        await keys(pilot, "right", "p")
        await look("trend-points")
        # As the rig's screen promised.
        assert "Since the last accepted sheet - 2025-09-11: watch: running current" in said(app)

    walk(app, journey)


def test_a_service_is_entered_and_its_effect_seen_after_the_next_check(seasons_logbook, walk):
    clock = Clock()
    app = app_on(seasons_logbook.parent, clock)

    async def journey(pilot, look):
        await keys(pilot, "enter", "v", "1", "enter", "enter")
        for text in (
            "heavier since spring",
            "2026-03-10",
            "dry screw",
            "2026-03-13",
            "greased",
            "2026-03-14",
        ):
            await write(pilot, text)
            await keys(pilot, "enter")
        await write(pilot, "runs free")
        await look("filled")
        await keys(pilot, "ctrl+s")
        await look("logged")
        later = Clock(NOW.replace(month=4))
        sheet_of(Path(app.desk.logbook), "seasonal", later, 3, first=300)
        clock.moment = later.now()
        await keys(pilot, "r")
        await look("effect")
        assert "helped" in said(app)

    walk(app, journey)


def test_dates_that_run_backwards_are_refused(seasons_logbook, walk):
    app = app_on(seasons_logbook.parent)

    async def journey(pilot, look):
        await keys(pilot, "enter", "v", "1", "enter")
        await keys(pilot, "enter", "enter", "enter")
        await write(pilot, "dry screw")
        await keys(pilot, "enter")
        await write(pilot, "2026-13-40")
        assert "not a date: type it like 2026-03-14" in said(app)
        await keys(pilot, "ctrl+s")
        assert "THROWBOOK | yard-loader | service" in said(app)

    walk(app, journey)


def test_a_heavy_throw_says_whether_the_next_ones_were_heavy_too(seasons_logbook):
    clock = Clock()
    state, _ = plan(seasons_logbook, RIG, "seasonal", "M. K.", clock.now(), 3, ASKED)
    heavier = SimulatedFault("even-friction", 0.3)
    thrown(seasons_logbook, state.name, ["lock"], clock, heavier, 300)
    thrown(seasons_logbook, state.name, ["unlock", "lock", "unlock", "lock"], clock, None, 301, 2)
    first, _, second, *_ = view(seasons_logbook, state.name).trials
    alone = trial_view(seasons_logbook, first.id)
    assert (alone.later, alone.later_alike) == (2, 0)
    assert seen_again(alone) == "Not seen again in the 2 lock throws after it on this sheet."
    thrown(seasons_logbook, state.name, ["lock"], clock, heavier, 310, 6)
    again = trial_view(seasons_logbook, first.id)
    assert seen_again(again) == "Seen again in 1 of the 3 lock throws after it on this sheet."
    assert trial_view(seasons_logbook, second.id).later == 2


def test_throws_by_hand_and_those_left_out_say_nothing_of_a_recorded_one(seasons_logbook):
    clock = Clock()
    state, _ = plan(seasons_logbook, RIG, "seasonal", "M. K.", clock.now(), 3, ASKED)
    heavier = SimulatedFault("even-friction", 0.3)
    thrown(seasons_logbook, state.name, ["lock", "lock"], clock, heavier, 300)
    by_hand = HandThrow("lock", Reading(14.3, 0.1), Reading(2.0, 0.1))
    enter(
        seasons_logbook,
        RIG,
        HandEntry([by_hand], "", state.name, thrown_at=clock.now()),
        "M. K.",
        clock.now(),
    )
    leave_out(seasons_logbook, state.name, 2, "thrown the wrong way", "M. K.", clock.now())
    first = view(seasons_logbook, state.name).trials[0]
    assert trial_view(seasons_logbook, first.id).later == 0
