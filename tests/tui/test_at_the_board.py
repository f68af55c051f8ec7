"""What somebody with a board stumbled on, each kept from coming back; one size is enough for these."""

import asyncio
from dataclasses import fields, replace
from datetime import date

import pytest

from tests.tui.bench import NOW, RIG, Clock, PlayedBoard, app_on, keys, said, screen_text, settle, until_held
from tests.tui.test_journey_after_a_crash import journal_of_a_crash
from tests.tui.test_stumbles import level
from throwbook.core.analysis.calibration import CalibrationPoint
from throwbook.core.analysis.live import AT_STALL, LiveFigures
from throwbook.core.simulator import SimulatedFault
from throwbook.core.status.maintenance import Moment, ServiceEntry
from throwbook.jobs.board import AskedPort, check_board
from throwbook.jobs.latch import raise_by_hand
from throwbook.jobs.maintenance import add as add_service
from throwbook.jobs.sheets import view
from throwbook.jobs.steps_to_clear import steps_to_clear
from throwbook.ports.serial_port import PortInfo
from throwbook.protocol.simulated_board import IDENTITY
from throwbook_tui.present import three_digits
from throwbook_tui.record_text import warning_line
from throwbook_tui.screens.calibrate import ReadPoint, point_cell
from throwbook_tui.screens.record import RUNNING, RecordScreen
from throwbook_tui.screens.trend import TrendScreen
from throwbook_tui.widgets.chart import round_marks

pytestmark = pytest.mark.long


def walked(app, journey, size=(80, 24)) -> None:
    async def go() -> None:
        async with app.run_test(size=size) as pilot:
            await settle(pilot)
            await journey(pilot)

    asyncio.run(go())


def test_esc_ends_a_running_throw_keeps_it_and_is_not_called_back(commissioned_logbook):
    clock = Clock()
    board = PlayedBoard(clock, hold_at=0.4)
    app = app_on(commissioned_logbook.parent, clock, board)

    async def journey(pilot):
        await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter")
        app.simulate_key("enter")
        await until_held(pilot, board)
        assert app.screen.phase == RUNNING
        assert "Enter end it by hand" in said(app)
        assert "Esc back" not in said(app)
        await keys(pilot, "escape")
        assert isinstance(app.screen, RecordScreen)
        assert "Enter go on" in said(app)
        assert "Esc back" in said(app)

    walked(app, journey)


def test_while_it_is_armed_everybody_is_told_to_stay_clear(commissioned_logbook):
    class Silent(PlayedBoard):
        """Ready, and no current yet."""

        def __call__(self, plan, **calls):
            recording = super().__call__(plan, **calls)
            played = recording.run

            def run():
                self.held.set()
                self.go.wait(30)
                return played()

            recording.run = run
            return recording

    board = Silent(Clock())
    app = app_on(commissioned_logbook.parent, Clock(), board)

    async def journey(pilot):
        await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter")
        app.simulate_key("enter")
        await until_held(pilot, board)
        await pilot.pause()
        assert "Everyone clear of the attachment. Hands off the pins" in said(app)
        board.go.set()
        await settle(pilot)

    walked(app, journey)


def test_a_rest_cut_short_is_not_called_recorded(commissioned_logbook):
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter", "enter", "enter", "escape")
        assert "left for the duty cycle" in said(app)
        await keys(pilot, "enter", *["1", "enter"] * 4, "t", "ctrl+s")
        await keys(pilot, "d", "enter")
        assert "Throw anyway?" in said(app)
        assert "The throw may show 'rest too short'" in said(app)

    walked(app, journey)


def test_an_old_repair_is_not_named_as_the_answer_to_what_asks_for_none(commissioned_logbook):
    path = str(commissioned_logbook)
    repair = ServiceEntry(
        "", RIG, "repaired", date(2025, 4, 1), found=Moment("burr"), fixed=Moment("filed"), by="M. K."
    )
    add_service(path, repair, NOW)
    raise_by_hand(path, RIG, "person: watch", "sounds dry", "M. K.", NOW)
    assert steps_to_clear(path, RIG).repair is None
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "w", "enter")
        assert "clear an order" in said(app)
        assert "burr" not in app.screen.form.values().values()

    walked(app, journey)


def test_a_complaint_goes_when_what_it_complained_of_is_put_right(commissioned_logbook):
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "v", "ctrl+s")
        assert "press its number" in said(app)
        await keys(pilot, "1")
        assert "press its number" not in said(app)

    walked(app, journey)


def test_who_signs_sees_what_the_throws_gave_to_watch(seasons_logbook):
    app = app_on(seasons_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "enter", "m")
        assert "Figures of the sheet so far: watch. Signs to watch: drag (throw " in said(app)

    walked(app, journey)


def test_a_line_of_a_list_goes_on_under_its_words(tmp_path):
    app = app_on(tmp_path)

    async def journey(pilot):
        await keys(pilot, "enter", "s")
        rows = screen_text(app).splitlines()
        first = next(number for number, row in enumerate(rows) if "[ ] 1. A half-locked" in row)
        assert rows[first + 1].startswith("         clear the area")

    walked(app, journey)


@pytest.mark.parametrize(
    ("low", "high", "most", "marks"),
    [
        (0.0, 6.25, 4, ["0", "2", "4", "6"]),
        (0.0, 13.3, 9, ["0", "2", "4", "6", "8", "10", "12"]),
        (2.552, 2.9, 4, ["2.6", "2.7", "2.8", "2.9"]),
        (-0.013, 0.031, 4, ["-0.01", "0.00", "0.01", "0.02", "0.03"][1::2]),
        (0.0, 0.0, 4, []),
        (1.0, 1.0 + 1e-9, 0, []),
    ],
)
def test_axes_carry_round_figures(low, high, most, marks):
    assert [word for _, word in round_marks(low, high, most)] == marks


def test_figures_below_each_other_have_three_digits():
    assert [three_digits(value) for value in (2.8, 2.86, 12.0, 0.5, 118.0)] == [
        "2.80",
        "2.86",
        "12.0",
        "0.500",
        "118",
    ]


@pytest.mark.parametrize(("answer", "kept"), [("n", 0), ("y", 1)])
def test_a_recording_without_current_is_a_throw_only_if_somebody_threw(commissioned_logbook, answer, kept):
    board = PlayedBoard(Clock(), [SimulatedFault("limit-open")])
    app = app_on(commissioned_logbook.parent, Clock(), board)

    async def journey(pilot):
        await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter", "enter")
        assert "No current was measured. Was the switch thrown?" in said(app)
        await keys(pilot, answer)
        assert ("No current flowed in the whole record" if kept else "Nothing was recorded.") in said(app)

    walked(app, journey)
    assert len(view(str(commissioned_logbook), "yard-loader-2").trials) == kept
    assert level(commissioned_logbook) == ("restricted" if kept else "in service")


def test_an_armed_recording_that_broke_off_before_any_current_restricts_no_rig(
    commissioned_logbook, monkeypatch
):
    monkeypatch.chdir(commissioned_logbook.parent)
    journal_of_a_crash(commissioned_logbook, 0.8)  # the rehearsed throw comes after 1 s
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter")
        assert "nobody knows whether the switch was thrown" in said(app)
        await keys(pilot, "enter")

    walked(app, journey)
    assert level(commissioned_logbook) == "in service"
    assert list(commissioned_logbook.parent.glob("yard-loader-lock-*.csv"))


def test_a_digit_too_many_is_not_how_the_pins_were_seen(commissioned_logbook):
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "t", *"123456", "ctrl+s", "enter", "enter", "enter", "enter")
        await keys(pilot, *["1", "enter"] * 5, "enter")
        assert "Fill in how the pins were seen" in said(app)

    walked(app, journey)


def test_a_board_that_shows_nothing_of_the_current_is_asked_about(tmp_path):
    point = ReadPoint("2.00 A", CalibrationPoint(2.0, 0.02, 0.0004, 0.001), "2026-03-14 09:12")
    assert "Does the same current flow through both?" in point_cell(point, "2026-03-14 09:13").text
    near = ReadPoint("2.00 A", CalibrationPoint(2.0, 0.02, 2.2, 0.001), "2026-03-14 09:12")
    assert point_cell(near, "2026-03-14 09:13").text.startswith("[x]")


def test_a_rehearsal_board_is_not_taken_for_a_real_rig_but_for_one_in_a_practice_logbook(tmp_path):
    app = app_on(tmp_path, port="")
    app.desk.find_boards = lambda names=(): [
        AskedPort(PortInfo("rehearsed", "", "", "", ""), IDENTITY, 115200, "")
    ]

    async def journey(pilot):
        await keys(pilot, "b")
        assert "X practise" not in said(app)
        await keys(pilot, "enter")
        assert "Its throws prove nothing about the real machine" in said(app)
        assert not app.desk.port
        app.desk.simulated = True
        await keys(pilot, "enter")
        assert app.desk.port == "rehearsed"

    walked(app, journey)


def test_practice_with_a_pin_that_stays_behind_has_a_board_with_both_switches(tmp_path):
    app = app_on(tmp_path, port="")

    async def journey(pilot):
        await keys(pilot, "enter", "x", "5", "enter")
        assert "PRACTICE" in said(app)
        assert app.desk.port.startswith("socket://")

    walked(app, journey)
    lines = {one.name: one.say for one in check_board(app.desk.port, seconds=0.5).lines}
    app.desk.stop_rehearsal.set()
    assert (lines["left switch"], lines["right switch"]) == ("LEFT SWITCH open", "RIGHT SWITCH open")


def test_a_trend_opens_on_the_figure_that_its_advice_is_about(seasons_logbook):
    app = app_on(seasons_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "r")
        shown = app.screen._found
        first = shown.trends[app.screen._at]
        assert "running current" in shown.action.why
        assert first.figure == "run_current"
        slower = replace(shown, action=replace(shown.action, why="travel time is up 7 %"))
        assert shown.trends[TrendScreen._named_by_action(slower)].figure == "travel_time"

    walked(app, journey)


def test_at_a_standstill_it_says_what_to_do():
    figures = LiveFigures(**{one.name: 0.0 for one in fields(LiveFigures)} | {"warning": AT_STALL})
    assert warning_line(figures).startswith("!! RELEASE THE SWITCH")
    assert len(warning_line(figures)) <= 78
    assert warning_line(replace(figures, warning="")) == ""


def test_the_list_of_rigs_shows_the_way_out_of_practice_and_no_key_that_does_nothing(tmp_path):
    app = app_on(tmp_path, rig=False)

    async def journey(pilot):
        assert "Enter open" not in said(app)
        assert "Esc" not in said(app)
        app.desk.practice, app.desk.real_logbook = True, app.desk.logbook
        app.screen.refresh_bindings()
        await settle(pilot)
        assert "Esc end practice" in said(app)
        await keys(pilot, "escape")
        assert not app.desk.practice
        assert "Esc end practice" not in said(app)

    walked(app, journey)
